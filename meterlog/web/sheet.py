"""One page: its data read in one visit to the database, its template, its strict headers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

from datasette.utils.asgi import NotFound, Response

from meterlog import __version__
from meterlog.store.reader import StoredRecord

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from meterlog.record.reader import RecordReader

P = ParamSpec("P")
T = TypeVar("T")

STRICT = (
    "default-src 'none'; script-src 'self'; manifest-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""The content policy of our own pages: nothing inline, nothing from elsewhere."""


def database_name(datasette: Any) -> str:
    """The name of the database that the pages are about."""
    name: str = datasette.plugin_config("meterlog")["database"]
    return name


def database_path(datasette: Any) -> Path:
    """Its file."""
    from pathlib import Path

    return Path(datasette.get_database(database_name(datasette)).path)


async def read(
    datasette: Any, question: Callable[Concatenate[RecordReader, P], T], *args: P.args, **more: P.kwargs
) -> T:
    """What a question to the record finds, in one visit."""
    database = datasette.get_database(database_name(datasette))
    found: T = await database.execute_fn(lambda db: question(StoredRecord(db), *args, **more))
    return found


async def sheet(
    datasette: Any, request: Any, template: str, status: int = 200, room: str = "meterlog", **context: Any
) -> Any:
    """A page of our own from `templates/`, or a sheet from the room `report`."""
    common = {
        "version": __version__,
        "database": database_name(datasette),
        "may_act": bool(request.actor),
        "here": request.path,
    }
    body = await datasette.render_template(f"{room}/{template}", {**common, **context}, request=request)
    return Response.html(body, status=status, headers={"content-security-policy": STRICT})


def number_of(request: Any, name: str = "number") -> int:
    """A row's number from the address. Raises: NotFound."""
    text = request.url_vars[name]
    if not text.isdecimal() or len(text) > 18:
        raise NotFound(f"Nothing is numbered {text}.")
    return int(text)
