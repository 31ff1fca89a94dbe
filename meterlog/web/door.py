"""Who may come in, and what every answer carries.

The loopback address is the owner's. From elsewhere only a cookie opens, which the address in the
terminal's QR code sets; without one everything is refused. Names of the machine that were not told
to us are refused too (an address elsewhere must not be able to rename itself to ours), and so is a
change whose page of origin is not this server. A body is read here, up to its bound and no further. Datasette's
own addresses about itself are its owner's, on the loopback address.
"""

from __future__ import annotations

import hmac
import json
import re
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

from markupsafe import escape

from meterlog.web.photograph import LARGEST

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    Scope = dict[str, Any]
    Send = Callable[[dict[str, Any]], Awaitable[None]]

COOKIE = "meterlog_phone"
ENTER = "/enter"
OWNERS = "/-/"
"""Addresses that tell of the server itself: versions, settings, threads, databases."""
SHARED = ("/-/sheet/", "/-/static/")
LARGEST_FORM = 100_000
"""Bytes of a form; a page's forms are a few hundred."""
PHOTOGRAPH = re.compile(r"/job/[^/]+/photo")
LOOPBACK = frozenset({"localhost", "127.0.0.1", "[::1]"})
STOCK_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
    "object-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""For Datasette's own pages, which hold scripts of their own."""
ALWAYS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


NO_CODE = "This place is open to its owner. Scan the code that its terminal shows."
OLD_CODE = "This phone's code is an old one. Scan the new one that the terminal shows."


class Door:
    """Stands before the whole application.

    Args:
        token: what the QR code carries; "" lets nobody in but the loopback address.
        hosts: names, without port, by which this server may be called besides the loopback's.
        home: the page that the QR code leads to.
    """

    def __init__(self, app: Any, token: str = "", hosts: frozenset[str] = frozenset(), *, home: str = "/bench") -> None:
        self._app, self._token, self._hosts, self._home = app, token, LOOPBACK | hosts, home

    async def __call__(self, scope: Scope, receive: Any, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        host = headers.get("host", "")
        if host_name(host) not in self._hosts:
            await _say(send, headers, 421, f"This server is not called {host or 'nothing'!r}.")
        elif scope["path"] == ENTER:
            await self._enter(scope, headers, send)
        elif (actor := self._actor(scope, headers)) is None:
            await _say(send, headers, 403, OLD_CODE if COOKIE in headers.get("cookie", "") else NO_CODE)
        elif actor["id"] != "owner" and scope["path"].startswith(OWNERS) and not scope["path"].startswith(SHARED):
            await _say(send, headers, 404, "There is nothing at this address.")
        elif scope["method"] in ("GET", "HEAD"):
            await self._app({**scope, "meterlog_actor": actor}, receive, _with_headers(send))
        elif not is_ours(headers.get("origin", ""), host):
            await _say(send, headers, 403, "A change is taken only from a page of this server.")
        else:
            await self._change({**scope, "meterlog_actor": actor}, headers, receive, send)

    async def _change(self, scope: Scope, headers: dict[str, str], receive: Any, send: Send) -> None:
        """Pass a change on with its body, which is read up to its bound."""
        most = LARGEST if PHOTOGRAPH.fullmatch(scope["path"]) else LARGEST_FORM
        body = await _body(receive, most)
        if body is None:
            await _say(send, headers, 413, f"That is larger than {most // 1000:,} kB: it was not taken.")
            return
        waiting = [{"type": "http.request", "body": body, "more_body": False}]

        async def replay() -> dict[str, Any]:
            return waiting.pop() if waiting else await receive()

        await self._app(scope, replay, _with_headers(send))

    def _actor(self, scope: Scope, headers: dict[str, str]) -> dict[str, str] | None:
        whence = (scope.get("client") or ("",))[0]
        if _is_loopback(whence):
            return {"id": "owner", "whence": whence}
        if self._token and hmac.compare_digest(_cookie(headers.get("cookie", "")).encode(), self._token.encode()):
            return {"id": "phone", "whence": whence}
        return None

    async def _enter(self, scope: Scope, headers: dict[str, str], send: Send) -> None:
        """Put the token of the address into a cookie, and leave the address bar and the history clean."""
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        if not self._token or not hmac.compare_digest(given.encode(), self._token.encode()):
            await _say(send, headers, 403, OLD_CODE)
            return
        cookie = f"{COOKIE}={self._token}; HttpOnly; SameSite=Lax; Path=/"
        leads = [(b"location", self._home.encode()), (b"set-cookie", cookie.encode()), (b"cache-control", b"no-store")]
        await send({"type": "http.response.start", "status": 303, "headers": leads})
        await send({"type": "http.response.body", "body": b""})


def host_name(host: str) -> str:
    """A Host header without its port, small: "127.0.0.1:8001" is "127.0.0.1"."""
    name = host.strip().lower()
    return name[: name.index("]") + 1] if name.startswith("[") and "]" in name else name.partition(":")[0]


def is_ours(origin: str, host: str) -> bool:
    """Whether the page that a change comes from was served under the same name and port."""
    return bool(host) and urlsplit(origin).netloc.lower() == host.lower()


def _is_loopback(whence: str) -> bool:
    try:
        return ip_address(whence).is_loopback
    except ValueError:
        return False


def _cookie(header: str) -> str:
    try:
        found = SimpleCookie(header).get(COOKIE)
    except CookieError:
        return ""
    return found.value if found else ""


def _with_headers(send: Send) -> Send:
    async def sending(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            headers = list(message.get("headers", []))
            if not any(name.lower() == b"content-security-policy" for name, _ in headers):
                headers.append((b"content-security-policy", STOCK_POLICY.encode()))
            message = {**message, "headers": [*headers, *ALWAYS]}
        await send(message)

    return sending


async def _body(receive: Any, most: int) -> bytes | None:
    """The whole body of a request; None as soon as it is larger than `most` bytes, and for one that breaks off."""
    pieces: list[bytes] = []
    size, more = 0, True
    while more:
        message = await receive()
        piece = message.get("body", b"")
        size, more = size + len(piece), message.get("more_body", False)
        if message["type"] != "http.request" or size > most:
            return None
        pieces.append(piece)
    return b"".join(pieces)


PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{status}</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"></head>
<body><main><h1>{status}</h1><p>{words}</p></main></body></html>
"""
NAMES = {404: "Nothing here", 413: "Too large"}


async def _say(send: Send, asked: dict[str, str], status: int, words: str) -> None:
    """Refuse in words: for a script as JSON, for a browser as a page that fits a phone, else as plain text."""
    accepts = asked.get("accept", "")
    kind, body = "text/plain", words
    if "application/json" in accepts:
        kind, body = "application/json", json.dumps({"ok": False, "error": words})
    elif "text/html" in accepts:
        kind, body = "text/html", PAGE.format(status=NAMES.get(status, "Not open"), words=escape(words))
    headers = [(b"content-type", f"{kind}; charset=utf-8".encode()), (b"cache-control", b"no-store"), *ALWAYS]
    headers.append((b"content-security-policy", b"default-src 'none'"))
    if status == 413:
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body.encode()})
