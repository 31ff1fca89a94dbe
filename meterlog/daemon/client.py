"""Asks the daemon over its control socket."""

from __future__ import annotations

import contextlib
import json
import secrets
import socket
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo, WrongValue
from meterlog.base.plain import from_plain
from meterlog.daemon.status import Status
from meterlog.store.sqlite import lock_facts
from meterlog.walk import Snapshot

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


def _connect(database: Path, timeout_s: float | None) -> socket.socket:
    path = lock_facts(database).get("socket", "")
    client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    client.settimeout(timeout_s)
    try:
        client.connect(path)
    except OSError:
        client.close()
        raise CannotDo(f"no daemon writes {database}", "start it with: meterlog listen") from None
    return client


def ask(database: Path, do: str, timeout_s: float = 30.0, **more: Any) -> dict[str, Any]:
    """The daemon's answer to one request.

    Raises: CannotDo when no daemon answers, or when its answer is no; WrongValue when what was asked can't be read.
    """
    with _connect(database, timeout_s) as client, client.makefile("rwb") as stream:
        try:
            stream.write(json.dumps({"do": do, **more}).encode() + b"\n")
            stream.flush()
            line = stream.readline()
        except OSError as error:
            raise CannotDo(f"the daemon does not answer: {error}", "see its log") from None
    if not line:
        raise CannotDo("the daemon ended before it answered", "see its log")
    answer: dict[str, Any] = json.loads(line)
    if not answer.get("ok"):
        refused = CannotDo(answer.get("error", "the daemon refused"), answer.get("hint", ""))
        raise WrongValue(str(refused)) if answer.get("wrong") else refused
    return answer


def status_of(database: Path, timeout_s: float = 30.0) -> Status:
    """How the bench stands. Raises: CannotDo."""
    return from_plain(Status, ask(database, "status", timeout_s)["status"])


def walk_after(database: Path, do: str, timeout_s: float = 30.0, **more: Any) -> Snapshot:
    """How the walk stands after a request that answers it. Raises as `ask`."""
    return from_plain(Snapshot, ask(database, do, timeout_s, **more)["walk"])


def act(database: Path, walk: Snapshot, word: str, timeout_s: float = 30.0, **more: Any) -> Snapshot:
    """Do an act that is meant for a walk as a status or an answer showed it; how it stands then. Raises as `ask`."""
    meant = {"job": walk.job, "step": walk.step, "phase": walk.phase}
    return walk_after(database, "act", timeout_s, word=word, id=secrets.token_hex(16), **meant, **more)


def answers(database: Path) -> bool:
    """Whether a daemon writes this database."""
    try:
        _connect(database, 1.0).close()
    except CannotDo:
        return False
    return True


def watch(database: Path, timeout_s: float | None = None) -> Iterator[dict[str, Any]]:
    """The status, then every announcement, until the daemon ends. Raises: CannotDo."""
    with _connect(database, timeout_s) as client, client.makefile("rwb") as stream, contextlib.suppress(OSError):
        stream.write(b'{"do": "watch"}\n')
        stream.flush()
        for line in stream:
            yield json.loads(line)
