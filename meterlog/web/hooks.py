"""What Datasette calls. Asleep unless the plugin's configuration names a database."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any
from urllib.parse import quote

from datasette import hookimpl
from markupsafe import Markup

HERE = Path(__file__).parent
REPORT = HERE.parent / "report"


@hookimpl
def register_routes(datasette: Any) -> list[tuple[str, Any]]:
    if not datasette.plugin_config("meterlog"):
        return []
    from datasette.utils.asgi import asgi_static

    from meterlog.web import routes

    return [
        *routes.ROUTES,
        (r"^/-/sheet/(?P<path>paper\.css)$", asgi_static(REPORT)),
        (r"^/-/sheet/(?P<path>[\w.-]+)$", asgi_static(HERE / "static")),
    ]


@hookimpl
def menu_links(datasette: Any) -> list[dict[str, str]]:
    if not datasette.plugin_config("meterlog"):
        return []
    return _pages(datasette)


def _pages(datasette: Any) -> list[dict[str, str]]:
    from meterlog.web.routes import MENU

    return [{"href": datasette.urls.path(path), "label": label} for path, label in MENU]


LEADS_TO = {"job": "/job/", "capture": "/capture/", "verdict": "/verdict/"}
"""Columns of the tables and queries that name a page of their own."""


@hookimpl
def render_cell(value: Any, column: str, table: str | None, datasette: Any) -> Any:
    """A job's reference, a capture's or a verdict's number as the way to its page."""
    if not datasette.plugin_config("meterlog") or value in (None, ""):
        return None
    column = table[:-1] if column == "id" and table in ("captures", "verdicts") else column
    if column not in LEADS_TO or (column == "job") is not isinstance(value, str):
        return None
    return Markup('<a href="{}{}">{}</a>').format(LEADS_TO[column], quote(str(value), safe=""), value)


@hookimpl
def actor_from_request(request: Any) -> dict[str, str] | None:
    """Whom `meterlog.web.door` let in."""
    actor: dict[str, str] | None = request.scope.get("meterlog_actor")
    return actor


@hookimpl
def prepare_jinja2_environment(env: Any, datasette: Any) -> None:
    if not datasette.plugin_config("meterlog"):
        return
    from jinja2 import ChoiceLoader, FileSystemLoader, PrefixLoader

    from meterlog.files.first_steps import FIRST_STEPS
    from meterlog.report.wording import FILTERS

    own = {"meterlog": FileSystemLoader(HERE / "templates"), "report": FileSystemLoader(REPORT / "templates")}
    env.loader = ChoiceLoader([PrefixLoader(own), env.loader])
    env.filters.update(FILTERS)
    env.globals["first_steps"] = FIRST_STEPS
    env.globals["new_id"] = lambda: secrets.token_hex(8)  # of an act that is drawn, so that it is done once
    env.globals["pages"] = lambda: _pages(datasette)  # a page that tells of an error is given no links
    env.trim_blocks = env.lstrip_blocks = True
