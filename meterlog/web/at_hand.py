"""The step at hand in words: what the walk says, with the procedure's text and the limit as a scale."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.base.errors import WrongValue
from meterlog.procedure.steps import StepKind
from meterlog.report import procedures, wording
from meterlog.store import queries

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.judging.limit import Limit
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.store.sqlite import Connection

PHASES: dict[str, str] = {
    "cautions": "Read the cautions, then say so.",
    "gate": "This check waits for others.",
    "look": "Look, then say what you found.",
    "watch": "Hold the probes on the points: it is taken by itself once it is still.",
    "run": "It runs. Say when it stops.",
    "lift": "Taken. Lift the probes, and the next check comes.",
    "done": "Every check is answered.",
}
"""What each phase of a walk asks for."""

STAGES: dict[str, str] = {
    "open": "The leads are proved. Now the points.",
    "short": "Open for long enough. Press the tips together once more.",
    "points": "The tester is proved. Now the points.",
    "source": "Near nothing at the points. Now the known source once more.",
    "stop": "It runs.",
}
"""What a proof wants next, by the word of its stage."""

BEGINNINGS: dict[StepKind, str] = {
    StepKind.OPEN: "Press the tips together, then hold the points, then the tips together again.",
    StepKind.DEAD: "Prove the tester on the known source, then hold the points, then the source again.",
    StepKind.LEADS: "Press the probe tips together and hold them still.",
    StepKind.TIMED: "Say when it starts.",
    StepKind.HEATING: "Have the thermometer in the stirred load, then say when it starts.",
    StepKind.AT_TIME: "Hold the probes on the points: the reading counts at its time.",
    StepKind.DERIVED: "Worked out from other checks.",
}
"""What a kind of check asks for while nothing is proved yet."""

DISPLAYS: dict[str, str] = {
    "lift first": "lift the probes first",
    "apart": "probes apart",
    "contact": "in contact",
    "settling": "settling",
    "captured": "taken",
    "frozen": "HOLD is on: nothing is taken",
    "wrong function": "on another function",
}
"""Where an instrument stands with the step, in words."""

ACTS: dict[str, list[tuple[str, str]]] = {
    "cautions": [("acknowledge", "I have read them")],
    "gate": [("next", "Next")],
    "look": [("confirm", "Looked: it is well"), ("wanting", "Looked: it is not")],
    "watch": [("confirm", "Take it now"), ("next", "Next")],
    "run": [("stop", "Stop")],
    "lift": [("next", "Next")],
    "done": [],
}
"""The acts of each phase, the first as the large button: word and label."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A limit drawn as a band on a line. Ends and limits in SI, places on the line from 0 to 1."""

    first: float
    last: float
    low: float | None
    high: float | None
    low_words: str
    high_words: str

    def place(self, value: float) -> float:
        """Where a value stands, 0 to 1; beyond the ends it stays at the end."""
        return min(max((value - self.first) / (self.last - self.first), 0.0), 1.0)

    @property
    def band(self) -> tuple[float, float]:
        """Where the accepted part begins and ends."""
        return (
            0.0 if self.low is None else self.place(self.low),
            1.0 if self.high is None else self.place(self.high),
        )


def scale_of(limit: Limit | None, si: str) -> Scale | None:
    """The line for a limit, with as much room outside as inside; None when there is nothing to draw."""
    if limit is None or limit.of or limit.is_open or (limit.low is None and limit.high is None):
        return None
    low, high = limit.low, limit.high
    if low is not None and high is not None:
        width = (high - low) or abs(high) or 1.0
        first, last = low - width / 2, high + width / 2
    elif high is not None:
        first, last = min(0.0, 2 * high), max(2 * abs(high), 1e-12)
    else:
        assert low is not None
        first, last = min(0.0, 2 * low), max(3 * abs(low), 1e-12)
    return Scale(
        first=first,
        last=last,
        low=low,
        high=high,
        low_words="" if low is None else units.show(low, si),
        high_words="" if high is None else units.show(high, si),
    )


def at_hand(db: Connection, walk: Mapping[str, Any]) -> dict[str, Any]:
    """Everything that the bench page shows of a walk's moment."""
    job = queries.job(db, walk["job"])
    if job is None:
        return {"walk": walk, "step": None, "last": None}
    procedure = procedures.read(job["procedure"], job["procedure_text"])
    key = walk["step"]
    step = procedures.step(procedure, key) if key else None
    limit = _limit(step, queries.where_of(db, job["id"]), job["plate"])
    position = next((n for n, each in enumerate(walk["steps"], 1) if each["key"] == key), None)
    last = queries.last_verdict(db, job["id"])
    return {
        "walk": walk,
        "job": job,
        "step": step,
        "position": position,
        "title": step.title if step else walk["title"],
        "cautions_were_read": walk["phase"] != "cautions" and not (step and step.energised),
        "asks": _asks(walk, step),
        "needs": [_title(procedure, need) for need in walk["needs"]],
        "limit": limit,
        "scale": scale_of(limit, units.QUANTITIES[step.quantity].si) if step and step.quantity else None,
        "acts": _acts(walk["phase"], step),
        "displays": {(d["source"], d["channel"]): DISPLAYS.get(d["state"], d["state"]) for d in walk["displays"]},
        "elapsed_s": since(walk["started"], time.monotonic()),
        "last": last,
        "here": [each for each in walk["steps"] if each["key"] == key and each["captures"]],
        "said": queries.verdict_of_step(db, job["id"], key) if key else None,
    }


def _title(procedure: Procedure | None, key: str) -> str:
    step = procedures.step(procedure, key)
    return step.title if step else key or "the proof that it is dead"


def since(started: float | None, now: float) -> float | None:
    """How long it runs, s; None before it began, and on the clock of a recording that is played faster than it went."""
    return now - started if started is not None and started <= now else None


def _asks(walk: Mapping[str, Any], step: Step | None) -> str:
    phase: str = walk["phase"]
    if phase == "watch" and step is not None:
        return STAGES.get(walk["stage"]) or BEGINNINGS.get(step.kind) or PHASES["watch"]
    return PHASES.get(phase, phase)


def _acts(phase: str, step: Step | None) -> list[tuple[str, str]]:
    if phase == "watch" and step is not None and step.kind in (StepKind.TIMED, StepKind.HEATING):
        return [("start", "Start"), ("next", "Next")]
    return ACTS.get(phase, [])


def _limit(step: Step | None, where: str, plate: Mapping[str, str]) -> Limit | None:
    limit = step.limit_for(where) if step else None
    if limit is None or step is None or not limit.of:
        return limit
    try:
        return limit.against({limit.of: units.parse(plate[limit.of], units.QUANTITIES[step.quantity].si)})
    except (KeyError, WrongValue):
        return limit


USUAL = ("auto range", "remote")
"""Flags that change nothing in what is read."""


def reading_words(reading: Mapping[str, Any]) -> dict[str, Any]:
    """A reading of the control socket with its display in words, for screen and scale."""
    bound = reading["bound"]
    digits = reading["shown"] if bound in (None, "above", "below") else {"overload": "OVER"}.get(bound, "OPEN")
    kind = wording.quantity(reading["quantity"]) + (f" {reading['mode'].upper()}" if reading["mode"] else "")
    return {
        "channel": reading["channel"],
        "digits": digits.replace("-", "−"),
        "unit": units.symbol(reading["unit"]),
        "kind": kind,
        "quantity": reading["quantity"],
        "value": reading["value"],
        "bound": bound,
        "edge": reading["edge"],
        "note": {"above": "more than this", "below": "less than this", "overload": "over the range",
                 "open sensor": "the sensor is open"}.get(bound or "", ""),
        "flags": [flag for flag in reading["flags"] if flag not in USUAL],
    }  # fmt: skip
