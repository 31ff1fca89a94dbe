"""A bench's database for the tests of pages and reports: invented jobs, judged by the real evaluator."""

from __future__ import annotations

import json
import math
import struct
import zlib
from dataclasses import replace
from pathlib import Path

import heating_simulator
from heating_simulator import simulate

from meterlog.base.readings import Bound, Capture, Form, Frame, Reading, Rejected, Timing
from meterlog.judging import Accuracy
from meterlog.procedure.case import Case, StepAnswer, conclude
from meterlog.procedure.judged_step import judge_capture
from meterlog.procedure.language import read_procedure
from meterlog.record.writer import Now
from meterlog.store.writer import Writer

OVEN = Path(__file__).parents[1] / "profiles" / "procedures" / "microwave-oven.yaml"
OHMS = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=2, range="60 ohm", range_top=60.0)
KILOHMS = Form(quantity="resistance", unit="kohm", scale=1e3, decimals=3, range="6 kohm", range_top=6e3)
MEGOHMS = Form(quantity="resistance", unit="Mohm", scale=1e6, decimals=2, range="60 Mohm", range_top=6e7)
OPEN = replace(MEGOHMS, bound=Bound.OVERLOAD)
ACCURACY = Accuracy(part_of_reading=0.008, counts=3, source="invented manual, 0.8 % + 3")
BEGUN_MS = 1_790_000_000_000

MEASURED = [  # step, form, counts; invented
    ("fuse", OHMS, 9), ("cut-out", OHMS, 14), ("primary-switch-shut", OHMS, 8), ("primary-switch-open", OPEN, None),
    ("primary", OHMS, 171), ("secondary", replace(OHMS, decimals=1), 1034), ("diode-forward", OHMS, 42),
    ("diode-reverse", OHMS, 41), ("filament", OHMS, 99), ("protective-conductor", OHMS, 12),
]  # fmt: skip


def now(ms: int = 0) -> Now:
    return Now(BEGUN_MS + ms, 5_000 + ms, "boot-of-the-tests")


class Bench:
    """Plays one meter into a writer: 4 readings a second, each with its bytes."""

    def __init__(self, path: Path) -> None:
        self.writer = Writer(path, now())
        self.link = self.writer.open_link(
            "multimeter", "profile: bench-meter\n", "accuracy: invented\n", "loop://", now()
        )
        self.at, self.ordinal, self.start = 0.0, 0, 0

    def show(self, form: Form, counts: int | None, job: int, step: int) -> int:
        """One reading; answers its ordinal."""
        raw = b"\x55" + struct.pack("<i", counts if counts is not None else -1)
        self.writer.outcomes(self.link, [Frame(self.start, raw, self.at, (Reading(form, counts),))], job, step)
        self.at, self.ordinal, self.start = self.at + 0.25, self.ordinal + 1, self.start + len(raw)
        return self.ordinal - 1

    def measure(self, form: Form, counts: int | None, job: int, step: int) -> Capture:
        """Open leads, a contact that settles, open leads; answers the settled run."""
        for _ in range(5):
            self.show(OPEN, None, job, step)
        begun = self.at
        if form.bound is None:
            for i in range(4):
                self.show(form, round(counts * (1 + 0.8 * math.exp(-i))), job, step)
        settled_at = self.at
        kept = counts if form.bound is None else None
        ordinals = [self.show(form, kept + (i % 3 == 2) if kept is not None else None, job, step) for i in range(12)]
        assert settled_at >= begun
        ended = self.at - 0.25
        for _ in range(4):
            self.show(OPEN, None, job, step)
        spread = 0.0 if form.bound else form.resolution
        return Capture(
            form=form, counts=kept, count=12, spread=spread, deviation=spread / 2, started=settled_at, ended=ended,
            first=ordinals[0], last=ordinals[-1], how="open proved" if form.bound else "settled",
            proof=((ordinals[0] - 4, ordinals[0] - 1), (ordinals[-1], ordinals[-1] + 2)) if form.bound else (),
        )  # fmt: skip

    @property
    def now(self) -> Now:
        return now(round(self.at * 1000))


def verdict_row(bench: Bench, step, capture: Capture, supersedes: int | None = None, reason: str = "") -> dict:
    verdict = judge_capture(step, capture, accuracy=ACCURACY)
    return {
        "outcome": str(verdict.outcome), "why": verdict.why, "result": verdict.to_json(), "context": "{}",
        "procedure": bench.writer.keep_text("procedure", "microwave-oven", OVEN.read_text()),
        "profile": bench.writer.keep_text("profile", "multimeter", "profile: bench-meter\n"),
        "facts": bench.writer.keep_text("instrument", "multimeter", "accuracy: invented\n"),
        "program": "0.1.0", "supersedes": supersedes, "reason": reason,
    }  # fmt: skip


def play_job(
    bench: Bench, ref: str, personal: dict[str, str], scale: float = 1.0, until: int = 99, **plate: str
) -> None:
    """A job of the microwave oven procedure, measured as in `MEASURED` times `scale`; `plate` beside the usual."""
    procedure = read_procedure(OVEN.read_text(), "microwave-oven.yaml")
    plate = {"rated output": "900 W", "rated voltage": "230 V", **plate}
    job, steps = bench.writer.open_job(ref, procedure, plate, personal, bench.now)
    for key, form, counts in MEASURED[:until]:
        capture = bench.measure(form, round(counts * scale) if counts else counts, job, steps[key])
        number = bench.writer.capture(job, steps[key], bench.link, capture)
        row = verdict_row(bench, procedure.step(key), capture)
        judged = bench.writer.verdict(job, steps[key], number, row, bench.now)
        if key == "primary":
            again = verdict_row(bench, procedure.step(key), capture, judged, "the leads were nulled meanwhile")
            bench.writer.verdict(job, steps[key], number, again, bench.now)
        bench.writer.commit(bench.now)
    noise = Rejected(bench.start, b"\x55\x00\x01", bench.at, "byte 2: expected 0x01, saw 0x00")
    bench.writer.outcomes(bench.link, [noise], job, steps["fuse"])
    bench.start += 3
    note = bench.writer.disclose(job, "note", "Hums <loudly> & smells of warm varnish.")
    bench.writer.event("noted", bench.now, {"note": note}, job=job, step=steps["fuse"], whence="walk")
    for key, how, reason in (
        ("isolation", "looked", ""),
        ("damage", "found wanting", "cord nicked near the plug"),
        ("filament-to-case", "skipped", "no access before the rivets are drilled"),
    ):
        facts = {"how": how, "reason": reason, "who": "page"}
        bench.writer.event("passed", bench.now, facts, job=job, step=steps[key], whence="walk")
    photograph = bench.writer.disclose(job, "photograph", "image/png rating plate", small_png())
    bench.writer.event("photograph", bench.now, {"photograph": photograph}, job=job, who="page", whence="page")
    if until > 20:
        bench.writer.close_job(job, bench.now, {}, "repairer", "tests")
    bench.writer.commit(bench.now)


def small_png() -> bytes:
    """A 2 × 2 picture."""

    def part(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    pixels = zlib.compress(b"\x00\x20\x60\x50\xe0\xe0\xd0" * 2)
    head = part(b"IHDR", struct.pack(">IIBBBBB", 2, 2, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + part(b"IDAT", pixels) + part(b"IEND", b"")


CELSIUS = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=1)


def heated(path: Path) -> Path:
    """A database of one job, H-1: a litre in glass heated with 880 W for a minute, the probe out meanwhile."""
    writer = Writer(path, now())
    thermometer = (OVEN.parents[1] / "instruments" / "ascii-thermometer.yaml").read_text()
    link = writer.open_link("thermometer", thermometer, "{}", "loop://", now())
    procedure = read_procedure(OVEN.read_text(), "microwave-oven.yaml")
    entries = {"rated output": "900 W", "water mass": "1000 g ± 2 g", "vessel": "340 g glass"}
    job, steps = writer.open_job("H-1", procedure, entries, {}, now())
    times, celsius, _ = simulate(
        heating_simulator.Bench(power=880, first=12, vessel=230, out=(55, 130), stop=120, warm_up=2)
    )
    log = [(float(t), Reading(CELSIUS, round(10 * c))) for t, c in zip(times, celsius, strict=True)]
    for place, (at, reading) in enumerate(log):
        raw = struct.pack("<i", reading.counts)
        writer.outcomes(link, [Frame(4 * place, raw, at, (reading,))], job, steps["heating-run"])
    capture = Capture(
        form=CELSIUS, counts=log[0][1].counts, count=len(log), spread=0.0, deviation=0.0, started=0.0, ended=log[-1][0],
        first=0, last=len(log) - 1, how="heating run", timing=Timing(60.0, 120.0, 0.1, 0.1, (("", 20.0), ("", 132.0))),
    )  # fmt: skip
    number = writer.capture(job, steps["heating-run"], link, capture)
    answer = StepAnswer(capture=capture, instrument="thermometer", log=lambda: tuple(log))
    case = Case(procedure=procedure, entries=entries, answers={"heating-run": answer})
    verdict = conclude(case, procedure.step("heating-run"))
    row = {
        "outcome": str(verdict.outcome), "why": verdict.why, "result": verdict.to_json(),
        "context": json.dumps({"where": "", "entries": entries, "captures": {"heating-run": number}}),
        "procedure": writer.keep_text("procedure", "microwave-oven", OVEN.read_text()),
        "profile": writer.keep_text("profile", "thermometer", thermometer),
        "facts": writer.keep_text("instrument", "thermometer", "{}"),
        "program": "0.1.0", "supersedes": None, "reason": "",
    }  # fmt: skip
    writer.verdict(job, steps["heating-run"], number, row, now(300_000))
    writer.commit(now(300_000))
    writer.close(now(300_000))
    return path


def make(path: Path, **plate: str) -> Path:
    """A database with three ovens, two finished and one at hand; `plate` beside the usual of each."""
    bench = Bench(path)
    owner = {"owner": "Invented Community Kitchen", "complaint": "Hums, does not heat.", "serial_number": "INV-0001"}
    play_job(bench, "K-7", owner, **plate)
    play_job(bench, "K-8", {"complaint": "Trips <script>alert(1)</script> at once"}, 1.04, **plate)
    play_job(bench, "K-9", {"complaint": "Dead"}, 0.97, until=4, **plate)
    bench.writer.close(bench.now)
    return path
