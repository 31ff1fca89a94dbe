"""What one verdict was reached from: question, rule and source, capture, budget, bytes; for its page and the files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base import units
from meterlog.judging.limit import MARKS
from meterlog.report import procedures, wording
from meterlog.report.explained import explain
from meterlog.report.runs import heating_run
from meterlog.store import queries

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection


def reached_from(db: Connection, number: int) -> dict[str, Any] | None:
    """Everything a verdict was reached from; None when there is no such verdict."""
    verdict = queries.verdict(db, number)
    if verdict is None:
        return None
    capture = queries.capture(db, verdict["capture"]) if verdict["capture"] is not None else None
    readings = queries.readings_around(db, capture) if capture else []
    texts = {name: queries.text(db, verdict[name]) for name in ("procedure", "profile", "facts") if verdict[name]}
    written = texts.get("procedure")
    procedure = procedures.read(verdict["procedure"], written["body"]) if written else None
    frames = [row for row in readings if row["inside"]]
    profile = texts.get("profile")
    return {
        "verdict": verdict,
        "result": verdict["result"],
        "step": procedures.step(procedure, verdict["step_key"]),
        "capture": capture,
        "run": heating_run(db, number, verdict["kind"], verdict["step_key"]),
        "si": units.QUANTITIES[capture["form"].quantity].si if capture else "",
        "how": wording.HOW,
        "marks": MARKS,
        "readings": readings,
        "frames": frames,
        "explained": explain(db, profile["body"], frames[0]) if profile and frames else [],
        "texts": texts,
        "seal": queries.seal_of(db, verdict["job"], "verdict", number),
    }
