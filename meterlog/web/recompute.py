"""A verdict reached again from its bytes, for the page: what the audit does, for one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import MeterlogError
from meterlog.record.audit import capture_differs, verdict_differs
from meterlog.record.auditor import conversation_behind
from meterlog.record.revisit import Revisit

if TYPE_CHECKING:
    from meterlog.record.kept import CaptureRecord
    from meterlog.record.reader import RecordReader


@dataclass(frozen=True, slots=True, kw_only=True)
class Recomputed:
    """What came of it: what differs, in words; or why it could not be done."""

    frames: int = 0
    captures: int = 0
    differs: tuple[str, ...] = ()
    failed: str = ""


def recompute(reader: RecordReader, number: int) -> Recomputed:
    """Decode the bytes of every capture that a verdict rests on, compare, and conclude anew."""
    revisit = Revisit(reader)
    try:
        kept = revisit.verdict(number)
        numbers = sorted(set(kept.basis.captures.values()))
        frames, differs = 0, []
        for capture in numbers:
            seen, found = _capture_again(revisit, revisit.capture(capture))
            frames += seen
            differs += found
        case = revisit.case(kept)
        differs += verdict_differs(kept.result, case, case.procedure.step(revisit.key_of(kept)), kept.program)
    except (MeterlogError, KeyError, ValueError) as error:
        return Recomputed(failed=f"{type(error).__name__}: {error}".splitlines()[0])
    return Recomputed(frames=frames, captures=len(numbers), differs=tuple(differs))


def _capture_again(revisit: Revisit, kept: CaptureRecord) -> tuple[int, list[str]]:
    """(readings decoded, differences) of one capture."""
    differs, decoded = [], 0
    for chunk, now, before in conversation_behind(revisit, kept) if kept.link is not None else ():
        decoded += len(now)
        if now != before:
            differs.append(f"capture {kept.id}: the bytes of chunk {chunk.id} decode differently")
    channel = kept.capture.form.channel
    said = capture_differs(kept.capture, [r for _, r in revisit.reader.run(kept) if r.form.channel == channel])
    return decoded, [*differs, *([f"capture {kept.id} {said}"] if said else [])]
