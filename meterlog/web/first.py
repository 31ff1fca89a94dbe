"""The pages while there is no record yet: the way to the first job. As soon as there is one, its own pages."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

from meterlog.files.first_steps import FIRST_STEPS
from meterlog.links.ports import ports
from meterlog.web.alone import lives, reply

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.links.ports import Port

STATIC = Path(__file__).parent / "static"
STYLE = "/-/sheet/sheet.css"
LOOKS_AGAIN_S = 5
POLICY = "default-src 'none'; style-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

PAGE = Markup(
    """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>The first job · meterlog</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">
<meta http-equiv="refresh" content="{again}"><link rel="stylesheet" href="{style}"></head>
<body><main id="main"><h1>The way to the first job</h1>
<p>Nothing is recorded yet. The bench opens here by itself as soon as the last step listens.</p>
<h2>Plugged in now</h2>
<ul>{ports}</ul>
<h2>Step by step, in a terminal</h2>
<ol>{steps}</ol></main></body></html>
"""
)
NONE = Markup("<li>No serial port. Plug an instrument in, and switch its output on.</li>")


class First:
    """Stands in for the record's application until `database` is there; `record` makes that, once."""

    def __init__(self, database: Path, record: Callable[[], Any]) -> None:
        self._database, self._record = database, record
        self._pages: Any = None

    async def __call__(self, scope: dict[str, Any], receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            await lives(receive, send)
            return
        if self._pages is None and self._database.exists():
            self._pages = self._record()
        if self._pages is not None:
            await self._pages(scope, receive, send)
        elif scope["path"] == STYLE:
            await reply(send, "text/css", (STATIC / "sheet.css").read_bytes(), POLICY)
        else:
            await reply(send, "text/html; charset=utf-8", page(ports()).encode(), POLICY)


def page(found: list[Port]) -> str:
    """The way to the first job, with what is plugged in and what to type for each."""
    line = Markup("<li>{what}: <kbd>{typed}</kbd></li>")
    plugged = [
        line.format(what=port.description or port.device, typed=port.hint or f"meterlog profile try {port.stable}")
        for port in found
    ]
    steps = [line.format(what=what, typed=typed) for what, typed in FIRST_STEPS if typed != "meterlog browse"]
    return str(
        PAGE.format(
            again=LOOKS_AGAIN_S, style=STYLE, ports=Markup("").join(plugged) or NONE, steps=Markup("").join(steps)
        )
    )
