"""The sender under supervision: a process of its own that is killed when it makes no progress, and begun again."""

from __future__ import annotations

import select
import subprocess
import sys
import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

STUCK_S = 60.0
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
CANNOT_SUCCEED = 4
"""The worker's exit status where trying again can't help: the record is another one, or the address is."""


def next_start_s(failures: int) -> float:
    """How long to wait before the next try, s: twice as long each time, a minute at most.

    >>> [next_start_s(n) for n in (1, 2, 3, 9)]
    [1.0, 2.0, 4.0, 60.0]
    """
    return min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** (failures - 1))


def supervise(
    worker: list[str], say: Callable[[str], None], ended: Callable[[], bool], stuck_s: float = STUCK_S
) -> int:
    """Run the worker until told to end; answers its status where it can't succeed, else 0.

    The worker writes a line for each sign of progress. One that says nothing for `stuck_s` hangs in a dead link, in
    spite of every time-out, and is killed.
    """
    failures = 0
    while not ended():
        with subprocess.Popen(worker, stdout=subprocess.PIPE, text=True) as process:
            progressed = _watch(process, say, ended, stuck_s)
        status = process.returncode
        if ended() or status == CANNOT_SUCCEED:
            return CANNOT_SUCCEED if status == CANNOT_SUCCEED else 0
        failures = 1 if progressed else failures + 1
        wait = next_start_s(failures)
        say(f"sending stopped; tried again in {wait:g} s")
        _sleep(wait, ended)
    return 0


def _watch(
    process: subprocess.Popen[str], say: Callable[[str], None], ended: Callable[[], bool], stuck_s: float
) -> bool:
    """Read the worker's lines until it ends, is stuck or is told to; whether it ever sent something."""
    assert process.stdout is not None
    heard, progressed = time.monotonic(), False
    while process.poll() is None:
        if ended():
            process.terminate()
            break
        if time.monotonic() - heard > stuck_s:
            say(f"no progress for {stuck_s:g} s: the sender is killed and begun again")
            process.kill()
            break
        if select.select([process.stdout], [], [], 0.2)[0]:
            line = process.stdout.readline()
            heard = time.monotonic()
            if line.startswith("sent ") and not progressed:
                progressed = True
                say("sending")
    return progressed


def _sleep(seconds: float, ended: Callable[[], bool]) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and not ended():
        time.sleep(0.1)


def worker_of(url_file: Path, database: Path) -> list[str]:
    """The command that sends, with the address in a file so that no password stands in the list of processes."""
    return [sys.executable, "-m", "meterlog", "send", "--worker", "--address", str(url_file), "--db", str(database)]
