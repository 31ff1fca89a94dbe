"""`meterlog send`: a bench's record on its way to the workshop, in a process of its own beside the daemon."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meterlog.base.errors import CannotDo
from meterlog.cli.options import db_option
from meterlog.cli.workshop import address_of

if TYPE_CHECKING:
    from types import FrameType

ALIVE_S = 1.0
"""How often the worker tells its supervisor that it is alive, where there is nothing to send."""


@click.command()
@click.option(
    "--address", type=click.Path(path_type=Path), help="The file with the address; left out, beside the database."
)
@click.option("--once", is_flag=True, help="Send what is there now, and end.")
@click.option("--worker", is_flag=True, hidden=True)
@db_option
def send(address: Path | None, once: bool, worker: bool, db: Path) -> None:
    """Send what this bench keeps to its workshop, and go on; the daemon never waits for it.

    \b
    Example: meterlog send --db bench.db
    """
    file = address or address_of(db)
    url = _url_in(file)
    if once or worker:
        sys.exit(_work(url, db, worker=worker))
    from meterlog.workshop.supervise import supervise, worker_of

    asked: list[int] = []

    def end(number: int, frame: FrameType | None) -> None:
        asked.append(number)

    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, end)
    sys.exit(supervise(worker_of(file, db), lambda line: click.echo(line, err=True), lambda: bool(asked)) and 3)


def _url_in(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except OSError as error:
        hint = "join the workshop first: meterlog workshop join URL --label NAME"
        raise CannotDo(f"{path} can't be read: {error.strerror}", hint) from None


def _work(url: str, db: Path, *, worker: bool) -> int:
    """Send, behind all else; a worker goes on, and says each step on stdout for its supervisor. Answers the status."""
    from meterlog.workshop.sender import COPIED, Sender
    from meterlog.workshop.supervise import CANNOT_SUCCEED

    os.nice(10)
    heard = 0.0

    def told(count: int) -> None:
        nonlocal heard
        if worker and (count or time.monotonic() - heard > ALIVE_S):
            heard = time.monotonic()
            print(f"sent {count}" if count else "alive", flush=True)

    try:
        sender = Sender(url, db, told)
        try:
            count = sender.send_all()
            if not worker:
                click.echo(f"{count} commits sent; {sender.standing.last + 1} are there", err=True)
                return 0
            for _ in sender.follow(lambda: False):
                pass
        finally:
            sender.close()
    except CannotDo as error:
        click.echo(str(error), err=True)
        return CANNOT_SUCCEED if COPIED in str(error) or "another bench" in str(error) else CannotDo.exit_code
    return 0
