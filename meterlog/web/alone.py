"""Applications that stand without Datasette: the way to the first job, and a lesson."""

from __future__ import annotations

from typing import Any


async def lives(receive: Any, send: Any) -> None:
    """The life of an application that needs nothing before it starts and after it ends (ASGI, lifespan)."""
    while (await receive())["type"] != "lifespan.shutdown":
        await send({"type": "lifespan.startup.complete"})
    await send({"type": "lifespan.shutdown.complete"})


async def reply(send: Any, kind: str, body: bytes, policy: str, status: int = 200) -> None:
    """Answer a request once, with a content policy; nobody keeps a copy."""
    headers = [(b"content-type", kind.encode()), (b"cache-control", b"no-store"),
               (b"content-security-policy", policy.encode())]  # fmt: skip
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
