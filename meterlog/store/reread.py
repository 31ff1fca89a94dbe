"""What verdicts would come to if the readings under them were those of another profile. Nothing kept is touched."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from meterlog.judging import Outcome, Verdict
from meterlog.procedure.case import conclude
from meterlog.store.revisit import Revisit
from meterlog.walk.answers import wanted_by
from meterlog.walk.settle import Held, Sample, capture_of
from meterlog.walk.settle.window import same_range

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.base.readings import Capture, Reading
    from meterlog.procedure.case import Answer
    from meterlog.profile import Profile
    from meterlog.store.redecode import LinkAgain
    from meterlog.store.sqlite import Connection
    from meterlog.walk.settle import Want

NO_CAPTURE = "its capture would not stand: its run is no longer readings of one range of what the step wants"


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """A verdict that rests on readings that differ: as it was concluded, and what it would come to."""

    number: int
    job: str
    step: str
    before: Verdict
    now: Verdict

    def as_dict(self) -> dict[str, Any]:
        return {
            "verdict": self.number,
            "job": self.job,
            "step": self.step,
            "before": _came_to(self.before),
            "now": _came_to(self.now),
            "why": self.now.why,
        }


def _came_to(verdict: Verdict) -> dict[str, Any]:
    value, bound = (verdict.edge, verdict.bound) if verdict.bound else (verdict.value, "")
    return {"outcome": str(verdict.outcome), "bound": bound, "value": value, "unit": verdict.unit}


@dataclass(slots=True)
class _Run:
    """The readings now of one capture's run, times in s on its link's clock."""

    first: int
    last: int
    opened_ms: int
    differs: bool = False
    now: list[tuple[float, Reading]] = field(default_factory=list)


class Rest:
    """The captures of an instrument, filled link by link in order; then the verdicts that rest on what differs."""

    def __init__(self, db: Connection, instrument: str, profile: Profile) -> None:
        self._db, self._profile, self._revisit = db, profile, Revisit(db)
        rows = db.execute(
            "SELECT c.id, c.first_reading, c.last_reading, l.opened_monotonic_ms FROM capture c "
            "JOIN link l ON l.id = c.link JOIN instrument i ON i.id = l.instrument WHERE i.name = ?",
            [instrument],
        )
        self._runs = {number: _Run(*run) for number, *run in rows}

    def take(self, again: LinkAgain) -> None:
        """Add a link's readings to the runs that they belong to."""
        for run in self._runs.values():
            now, differs = again.run(run.first, run.last)
            run.now += [((at - run.opened_ms) / 1000.0, reading) for at, reading in now]
            run.differs |= differs

    def changed(self) -> Iterator[Changed]:
        """Every verdict that counts and whose capture differs, or that another capture's difference changes."""
        rows = self._db.execute(
            "SELECT v.*, j.ref, s.key FROM verdict v JOIN job j ON j.id = v.job JOIN step s ON s.id = v.step "
            "WHERE NOT EXISTS (SELECT 1 FROM verdict later WHERE later.supersedes = v.id) ORDER BY v.id"
        )
        for row in rows.fetchall():
            captures = json.loads(row["context"])["captures"]
            differing = {key: n for key, n in captures.items() if n in self._runs and self._runs[n].differs}
            if differing:
                before, now = Verdict.from_json(row["result"]), self._conclude(row, differing)
                if row["capture"] in differing.values() or now.to_json() != before.to_json():
                    yield Changed(number=row["id"], job=row["ref"], step=row["key"], before=before, now=now)

    def _conclude(self, row: Any, differing: dict[str, int]) -> Verdict:
        """What a verdict comes to when its case's differing captures are those of the new readings."""
        case = self._revisit.case(row)
        answers = dict(case.answers)
        for key, number in differing.items():
            answer = self._answer(answers[key], self._runs[number], wanted_by(case.procedure.step(key)))
            if answer is not None:
                answers[key] = answer
            elif key == row["key"]:
                return Verdict(outcome=Outcome.NOT_JUDGED, why=NO_CAPTURE)
            else:
                del answers[key]
        return conclude(replace(case, answers=answers), case.procedure.step(row["key"]))

    def _answer(self, kept: Answer, run: _Run, want: Want | None) -> Answer | None:
        """An answer with the capture of the new readings; None when they make no capture of what was measured."""
        capture = _capture(kept.capture, run.now)
        if capture is None or (want is not None and not want.matches(capture.form)):
            return None
        return replace(kept, capture=capture, accuracy=self._profile.accuracy(capture.form), log=lambda: tuple(run.now))


def _capture(kept: Capture, run: list[tuple[float, Reading]]) -> Capture | None:
    """The capture of a run in a kept one's place: of numbers of one range, or of one bound; else None."""
    same = [(at, reading) for at, reading in run if reading.form.channel == kept.form.channel]
    forms = {reading.form for _, reading in same}
    if len({(form.bound, form.quantity) for form in forms}) != 1:
        return None
    samples = [Sample(place, at, reading) for place, (at, reading) in enumerate(same)]
    if samples[0].reading.form.bound is not None:
        held = Held(any_range=True)
        for sample in samples:
            held.add(sample)
        made = held.capture(kept.how, kept.proof)
    elif len({same_range(form) for form in forms}) == 1 and all(reading.counts is not None for _, reading in same):
        made = capture_of(samples, kept.how, kept.proof)
    else:
        return None
    return replace(made, first=kept.first, last=kept.last, timing=kept.timing)
