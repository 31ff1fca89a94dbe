"""The step at hand in words: what the walk says, with the procedure's text and the limit as a scale."""

from __future__ import annotations

import secrets
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.procedure.entries import entry_values
from meterlog.procedure.steps import StepKind
from meterlog.report import procedures, wording
from meterlog.store import queries

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.judging.limit import Limit
    from meterlog.procedure.steps import Procedure, Step
    from meterlog.store.sqlite import Connection

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
    limit = _limit(procedure, step, queries.where_of(db, job["id"]), job["plate"])
    position = next((n for n, each in enumerate(walk["steps"], 1) if each["key"] == key), None)
    last = queries.last_verdict(db, job["id"])
    said = queries.verdict_of_step(db, job["id"], key) if key else None
    return {
        "walk": walk,
        "job": job,
        "step": step,
        "position": position,
        "title": step.title if step else walk["title"],
        "cautions_were_read": walk["phase"] != "cautions" and not (step and step.energised),
        "asks": walk["words"],
        "needs": [_title(procedure, need) for need in walk["needs"]],
        "limit": limit,
        "scale": scale_of(limit, units.QUANTITIES[step.quantity].si) if step and step.quantity else None,
        "act_id": secrets.token_hex(16),
        "displays": {(d["source"], d["channel"]): DISPLAYS.get(d["state"], d["state"]) for d in walk["displays"]},
        "elapsed_s": since(walk["started"], time.monotonic()),
        "last": last,
        "here": [
            each for each in walk["steps"] if each["key"] == key and each["captures"] and each["shown"] is not None
        ],
        "said": said,
        "found": wording.result(said) if said and step and step.kind is StepKind.HEATING else "",
    }


def _title(procedure: Procedure | None, key: str) -> str:
    step = procedures.step(procedure, key)
    return step.title if step else key or "the proof that it is dead"


def since(started: float | None, now: float) -> float | None:
    """How long it runs, s; None before it began, and on the clock of a recording that is played faster than it went."""
    return now - started if started is not None and started <= now else None


def _limit(procedure: Procedure | None, step: Step | None, where: str, plate: Mapping[str, str]) -> Limit | None:
    limit = step.limit_for(where) if step else None
    if limit is None or procedure is None or not limit.of:
        return limit
    try:
        return limit.against(entry_values(procedure, plate))
    except KeyError:
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
