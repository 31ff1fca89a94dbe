"""What Datasette calls. Asleep unless the plugin's configuration names a database."""

from __future__ import annotations

import secrets
from pathlib import Path
from typing import Any

from datasette import hookimpl

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

    from meterlog.report.wording import FILTERS

    own = {"meterlog": FileSystemLoader(HERE / "templates"), "report": FileSystemLoader(REPORT / "templates")}
    env.loader = ChoiceLoader([PrefixLoader(own), env.loader])
    env.filters.update(FILTERS)
    env.globals["new_id"] = lambda: secrets.token_hex(8)  # of an act that is drawn, so that it is done once
    env.globals["pages"] = lambda: _pages(datasette)  # a page that tells of an error is given no links
    env.trim_blocks = env.lstrip_blocks = True
