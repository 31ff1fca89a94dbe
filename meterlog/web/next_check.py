"""Which check next, as the bench page says it: one sentence with its reason, two others; or what to say for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.diagnosis.advice import next_step
from meterlog.diagnosis.sentences import in_ten
from meterlog.record.suggested import basis_of, states_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.record.reader import RecordReader
    from meterlog.walk import Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggested:
    """What the page says of the next check.

    Attributes:
        complaints: sentence by name of those that the procedure states, to choose from; `complaint` the one told.
        stated: the parts that it states.
        says: one sentence, "" until a complaint was told.
        step: key and title of the check suggested; None when there is none.
        others: key and title of the two next best.
        parts: each part with how likely it is, in words, likeliest first.
    """

    complaints: Mapping[str, str]
    stated: tuple[str, ...]
    complaint: str = ""
    says: str = ""
    step: tuple[str, str] | None = None
    others: tuple[tuple[str, str], ...] = ()
    parts: tuple[tuple[str, str], ...] = ()

    @property
    def shown(self) -> str:
        """The key of the check that is suggested, as an act tells what its page showed; "" for none."""
        return self.step[0] if self.step else ""


def suggested(reader: RecordReader, walk: Snapshot, procedure: Procedure | None) -> Suggested | None:
    """What is said of the next check of a walk's job; None where its procedure states no faults."""
    if procedure is None or procedure.diagnosis is None or walk.live:
        return None
    complaints = procedure.diagnosis.complaints
    stated = tuple(part.name for part in procedure.diagnosis.parts)
    basis = basis_of(reader, walk.job, procedure, states_of(walk))
    complaint = basis.question.complaint
    if complaint not in complaints:
        return Suggested(complaints=complaints, stated=stated)
    if basis.fitted:
        says = f"{', '.join(basis.fitted)}: fitted since. If the complaint is still there after it, say so again."
        return Suggested(complaints=complaints, stated=stated, complaint=complaint, says=says)
    advice = next_step(procedure, basis.question)

    def titled(key: str) -> tuple[str, str]:
        return key, procedure.step(key).title

    return Suggested(
        complaints=complaints,
        stated=stated,
        complaint=complaint,
        says=advice.why,
        step=titled(advice.step) if advice.step else None,
        others=tuple(titled(key) for key in advice.runners_up),
        parts=tuple((part, in_ten(probability)) for part, probability in advice.parts),
    )
