"""Running the demo: a bench of pseudo-terminals, the daemon as a process of its own, a summary."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any

import yaml

from meterlog.base.errors import CannotDo
from meterlog.base.units import show, show_with
from meterlog.daemon.client import ask, status_of
from meterlog.daemon.clock import Moment
from meterlog.demo.player import Player, Terminal
from meterlog.demo.scenario import scenario, timeline
from meterlog.record.overview import conclusions
from meterlog.store.reader import reading

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from meterlog.demo.scenario import Scenario

READY_WITHIN_S = 30.0
AFTER_S = 2.0
"""How long a job stays open after the last that was done, s."""


def run_demo(folder: Path, speed: float, told: Callable[[str], None]) -> Path:
    """Play the scenario into a new database; answers its path.

    Its last job ended about now, so that nothing lies in the future. It lies in `folder`, or beside it where an earlier
    demo lies there: what was recorded stays.

    Raises: CannotDo, when the folder can't be written, the daemon does not start or does not take what is played.
    """
    folder = _fresh(folder)
    playing = scenario()
    told(playing.scenario)
    database = folder / "demo.db"
    terminals = {name: Terminal() for name in playing.instruments}
    timelines = [timeline(job) for job in playing.jobs]
    moment = Moment.made(folder / "demo.clock", time.time() - sum(events[-1][0] + AFTER_S for events in timelines))
    player = Player(terminals, moment, database, speed)
    try:
        with _daemon(_bench_file(folder, playing, terminals), database, folder / "demo.clock"):
            for job, events in zip(playing.jobs, timelines, strict=True):
                ref = ask(
                    database, "open job", procedure=job.procedure, ref=job.ref, plate=dict(job.plate),
                    personal=dict(job.personal), who="repairer (invented)",
                )["job"]  # fmt: skip
                told(f"job {ref}: {job.procedure}, played up to {speed:g} times as fast as it happened")
                player.play(events)
                player.wait_until(moment.at + AFTER_S)
                ask(database, "close job", who="repairer (invented)")
    finally:
        for terminal in terminals.values():
            terminal.close()
    return database


def _fresh(folder: Path) -> Path:
    """The first of demo, demo-2, demo-3 … that holds no demo yet, made."""
    number, fresh = 1, folder
    while (fresh / "demo.db").exists():
        number += 1
        fresh = folder.with_name(f"{folder.name}-{number}")
    try:
        fresh.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotDo(f"{fresh} can't be made: {error.strerror}", "choose another folder with --folder") from None
    return fresh


def _bench_file(folder: Path, playing: Scenario, terminals: dict[str, Terminal]) -> Path:
    instruments = {
        name: {"profile": profile, "port": terminals[name].path, "calibrated": "2026-03-01"}
        for name, profile in playing.instruments.items()
    }
    path = folder / "bench.yaml"
    path.write_text(yaml.safe_dump({"bench": playing.bench, "instruments": instruments}, sort_keys=False))
    return path


@contextlib.contextmanager
def _daemon(bench: Path, database: Path, clock: Path) -> Iterator[None]:
    """The daemon over a bench file, until it is left; its log lies beside the database."""
    words = ["listen", "--bench", str(bench), "--db", str(database), "--played-clock", str(clock), "--no-sounds"]
    log = database.with_name("daemon.log")
    with open(log, "w", encoding="utf-8") as out:
        process = subprocess.Popen([sys.executable, "-m", "meterlog", *words], stderr=out, stdout=out)
        try:
            _wait_for(database, process)
            yield
        finally:
            process.terminate()
            process.wait(timeout=READY_WITHIN_S)


def _wait_for(database: Path, process: subprocess.Popen[bytes]) -> None:
    """Until the daemon answers and every link listens. Raises: CannotDo."""
    deadline = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < deadline and process.poll() is None:
        with contextlib.suppress(CannotDo):
            if all(link.state in ("listening", "silent") for link in status_of(database).links):
                return
        time.sleep(0.05)
    log = database.with_name("daemon.log")
    raise CannotDo("the demo's daemon did not start", f"see {log}")


def summary(database: Path) -> list[dict[str, Any]]:
    """Every verdict of the demo's jobs in the order in which they were reached, superseded ones too."""
    with reading(database) as reader:
        return [{**row, "result": _result(row["result"])} for row in conclusions(reader)]


def _result(text: str) -> str:
    """What a verdict was reached on: the value with its expanded uncertainty, or the bound."""
    result = json.loads(text)
    unit, value, edge = result["unit"], result["value"], result["edge"]
    if value is not None:
        return show_with(value, result["expanded_uncertainty"] or 0.0, unit)
    return f"{result['bound']} {show(edge, unit)}" if edge is not None else ""
