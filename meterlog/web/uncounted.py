"""The tables of readings without their count: counting ten million rows would take most of the page's time."""

from __future__ import annotations

from typing import Any

TABLES = ("reading", "readings", "unread", "not_read", "reread", "read_again", "chunk")


class Uncounted:
    """Adds Datasette's own `_nocount=1` to the address of a large table."""

    def __init__(self, app: Any, database: str) -> None:
        self._app = app
        self._paths = {f"/{database}/{table}{kind}" for table in TABLES for kind in ("", ".json")}

    async def __call__(self, scope: dict[str, Any], receive: Any, send: Any) -> None:
        if scope["type"] == "http" and scope["path"] in self._paths:
            asked = scope["query_string"]
            scope = {**scope, "query_string": asked + b"&_nocount=1" if asked else b"_nocount=1"}
        await self._app(scope, receive, send)
