"""Everything concluded reached again: steps from procedures, readings from bytes, captures from readings, verdicts.

Whether rows are those that were sealed is the store's to say (`meterlog.store.evidence`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog import __version__
from meterlog.record.acts import ActKind
from meterlog.record.audit import capture_differs, readings_again, verdict_differs
from meterlog.record.revisit import Revisit
from meterlog.record.suggested import suggestion_differs

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meterlog.base.readings import Reading
    from meterlog.record.kept import ActRecord, CaptureRecord, ChunkRecord, ConversationRecord, VerdictRecord
    from meterlog.record.reader import RecordReader


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that differs from what was sealed or concluded.

    A `remark` is no sign of a change: a verdict of another version of the program, whose methods have moved on.
    """

    where: str
    what: str
    remark: bool = False

    def __str__(self) -> str:
        return f"{self.where}: {self.what}"


def reached_again(reader: RecordReader) -> Iterator[Finding]:
    """What comes out differently now, row by row; and what can't be reached any more."""
    revisit = Revisit(reader)
    yield from as_far_as_it_goes("steps", _check_steps(revisit))
    for conversation in reader.conversations():
        yield from as_far_as_it_goes(f"link {conversation.links[0]}", _conversation_differs(revisit, conversation))
    for number in reader.numbers("capture"):
        yield from as_far_as_it_goes(f"capture {number}", _run_differs(revisit, number))
    for number in reader.numbers("verdict"):
        yield from as_far_as_it_goes(f"verdict {number}", _verdict_differs(revisit, number))
    for act in reader.acts(kinds=[ActKind.SUGGESTED]):
        yield from as_far_as_it_goes(f"event {act.id}", _suggestion_differs(revisit, act))


def as_far_as_it_goes(where: str, found: Iterable[Finding]) -> Iterator[Finding]:
    """What a check finds; and, where rows are so changed that it can't go on, that."""
    try:
        yield from found
    except Exception as error:  # rows may have been changed into anything: whatever breaks on them is a finding
        words = str(error).partition("\n")[0]
        yield Finding(where=where, what=f"can't be reached again: {type(error).__name__}, {words}")


def _check_steps(revisit: Revisit) -> Iterator[Finding]:
    """A job's steps against its procedure, whose hash is sealed."""
    for job in reversed(revisit.reader.jobs()):
        kept = [{name: getattr(step, name) for name in _SHOWN} for step in revisit.reader.steps(job.id)]
        if kept != [step.as_shown for step in revisit.procedure(job.procedure).steps]:
            yield Finding(where=f"job {job.ref}", what="its steps are not those of its procedure")


_SHOWN = ("key", "title", "kind", "points", "quantity", "limits")


def _conversation_differs(revisit: Revisit, conversation: ConversationRecord) -> Iterator[Finding]:
    """The kept chunks whose readings are not those that their bytes give again."""
    for chunk, now, kept in chunks_again(revisit, conversation.instrument.profile, revisit.reader.chunks(conversation)):
        if now != kept:
            differing = sum(a != b for a, b in zip(now, kept, strict=False)) + abs(len(now) - len(kept))
            what = f"{differing} readings of {chunk.instrument.name} decode differently"
            yield Finding(where=f"chunk {chunk.id}", what=what)


def chunks_again(
    revisit: Revisit, profile: str, chunks: Sequence[ChunkRecord]
) -> Iterator[tuple[ChunkRecord, list[Reading], list[Reading]]]:
    """Each of chunks that follow one another, with its readings now and as they were kept.

    They are read from the first of them on: where bytes mean what earlier ones said, that is the conversation's.
    """
    again = readings_again(revisit.profile(profile), revisit.reader.timeline(chunks))
    waiting, end = next(again, None), 0
    for chunk in chunks:
        now: list[Reading] = []
        end += len(chunk.raw)
        while waiting is not None and waiting[0] < end:
            now.append(waiting[1])
            waiting = next(again, None)
        yield chunk, now, revisit.reader.readings(chunk)


def conversation_behind(
    revisit: Revisit, capture: CaptureRecord
) -> Iterator[tuple[ChunkRecord, list[Reading], list[Reading]]]:
    """The chunks that hold a capture's readings, and all before them where what was said earlier counts, again."""
    assert capture.instrument
    reader = revisit.reader
    conversation = next(each for each in reader.conversations(capture.instrument.name) if capture.link in each.links)
    run = reader.chunks_of(capture)
    first = run[0].id if revisit.profile(capture.instrument.profile).steady else 0
    return chunks_again(revisit, capture.instrument.profile, reader.chunks(conversation, first, run[-1].id))


def _run_differs(revisit: Revisit, number: int) -> Iterator[Finding]:
    kept: CaptureRecord = revisit.capture(number)
    channel = kept.capture.form.channel
    same = [reading for _, reading in revisit.reader.run(kept) if reading.form.channel == channel]
    differs = capture_differs(kept.capture, same)
    if differs:
        yield Finding(where=f"capture {number}", what=differs)


def _verdict_differs(revisit: Revisit, number: int) -> Iterator[Finding]:
    kept: VerdictRecord = revisit.verdict(number)
    case = revisit.case(kept)
    step = case.procedure.step(revisit.key_of(kept))
    yield from _findings(f"verdict {number}", kept.program, verdict_differs(kept.result, case, step, kept.program))


def _suggestion_differs(revisit: Revisit, act: ActRecord) -> Iterator[Finding]:
    procedure = revisit.procedure(act.facts["procedure"])
    yield from _findings(f"event {act.id}", act.facts["program"], suggestion_differs(revisit.reader, procedure, act))


def _findings(where: str, program: str, differs: Iterable[str]) -> Iterator[Finding]:
    """What this version reaches otherwise is a finding; where another version concluded it, a remark."""
    for each in differs:
        if program == __version__:
            yield Finding(where=where, what=each)
        else:
            what = f"concluded by meterlog {program}, comes out otherwise by {__version__}: {each}"
            yield Finding(where=where, what=what, remark=True)
