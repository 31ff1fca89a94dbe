"""Datasette over one database, opened read-only, behind the door."""

from __future__ import annotations

import secrets
import socket
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from meterlog.base.errors import CannotDo
from meterlog.web import labels, stream
from meterlog.web.door import ENTER, Door
from meterlog.web.uncounted import Uncounted

HERE = Path(__file__).parent
PORT = 8372
LET_GO_WITHIN_S = 1
DATABASE = "record"
"""The database's name in addresses, whatever its file is called."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """Where the pages are served: a bound socket and the addresses that lead there; `lan_url` may be "".

    `instead` is the usual port, where it was taken and this is another; None otherwise.
    """

    socket: socket.socket
    url: str
    lan_url: str
    token: str
    hosts: frozenset[str]
    instead: int | None = None


def application(database: Path, token: str = "", hosts: frozenset[str] = frozenset()) -> Any:
    """The ASGI application: Datasette with our plugin, over `database`, which is there."""
    from datasette.app import Datasette
    from datasette.database import Database
    from datasette.plugins import pm

    from meterlog.web import hooks

    if not pm.is_registered(hooks):
        pm.register(hooks, name="meterlog")
    datasette = Datasette(
        metadata=labels.metadata(DATABASE),
        settings=labels.SETTINGS,
        template_dir=str(HERE / "templates" / "stock"),
        cache_headers=False,
    )
    datasette.add_database(Database(datasette, path=str(database), is_mutable=True), name=DATABASE)
    return Door(Uncounted(datasette.app(), DATABASE), token, hosts)


def awaiting(database: Path, token: str = "", hosts: frozenset[str] = frozenset()) -> Any:
    """The ASGI application over a `database` that is not there yet: the way to it, then as `application`."""
    from meterlog.web.first import First

    return Door(First(database, lambda: application(database, token, hosts)), token, hosts)


def open_address(port: int | None, lan: bool) -> Opening:
    """A listening socket: on the loopback address, or on all with a new token.

    `port` None takes the usual one, or a free one when it is taken; 0 takes a free one.
    Raises: CannotDo when the port that was asked for can't be had.
    """
    bound = _bind("0.0.0.0" if lan else "127.0.0.1", port)
    number = bound.getsockname()[1]
    url, instead = f"http://127.0.0.1:{number}/", PORT if port is None and number != PORT else None
    if not lan:
        return Opening(socket=bound, url=url, lan_url="", token="", hosts=frozenset(), instead=instead)
    address, token = _own_address(), secrets.token_urlsafe(24)
    hosts = frozenset({address, socket.gethostname().lower(), f"{socket.gethostname().lower()}.local"})
    lan_url = f"http://{address}:{number}{ENTER}?token={token}"
    return Opening(socket=bound, url=url, lan_url=lan_url, token=token, hosts=hosts, instead=instead)


def _bind(address: str, port: int | None) -> socket.socket:
    for number in (PORT, 0) if port is None else (port,):
        bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            bound.bind((address, number))
            bound.listen(64)
        except OSError as error:
            bound.close()
            refused = error
        else:
            return bound
    raise CannotDo(
        f"port {number} can't be had: {refused.strerror}",
        "another browse may have it: end that one, or leave --port out, and a free one is taken",
    )


def _own_address() -> str:
    """This machine's address on the network that it would send by; no packet leaves.

    Raises: CannotDo when there is no network.
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address of no machine
        except OSError:
            raise CannotDo("this machine is on no network", "join one, or leave --lan out") from None
        address: str = probe.getsockname()[0]
        return address


def run(application: Any, opening: Opening) -> None:
    """Serve until the first interrupt or SIGTERM; pages that are open then, and their streams, are let go."""
    import uvicorn

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: Any) -> None:
            super().handle_exit(sig, frame)
            stream.end_all()

    config = uvicorn.Config(
        application, log_level="warning", lifespan="on", proxy_headers=False, server_header=False,
        timeout_graceful_shutdown=LET_GO_WITHIN_S,
    )  # fmt: skip
    with suppress(KeyboardInterrupt):
        Server(config).run(sockets=[opening.socket])
