"""The reading door of the record: what pages, sheets, commands and the audit ask, whatever database is behind it.

`meterlog.store.reader` answers from a bench's SQLite. Everything comes in the order in which it was
kept unless a method says otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from meterlog.base.readings import Form, Reading
    from meterlog.base.recording import Event
    from meterlog.record.history import StepMeasurement
    from meterlog.record.kept import (
        ActRecord,
        CaptureRecord,
        ChunkRecord,
        CommitId,
        ConversationRecord,
        JobRecord,
        PersonalField,
        ReadingRecord,
        StepRecord,
        TextRecord,
        VerdictRecord,
    )


RowKind = Literal["capture", "verdict"]


ReadingPlace = tuple[int, int, int, int, "int | None", int]
"""Of a kept reading: chunk, first byte there, id, form's id, counts, ms of the machine's monotonic clock."""


class RecordReader(Protocol):
    """A record, read only. A job, step, link, capture or verdict is named by its id in this record."""

    def seals(self, first: int = 0) -> Iterator[str]:
        """The header lines of the commits from number `first` on."""
        ...

    def identities(self) -> list[str]:
        """The identities that the record went under, 32 hex digits each; its own now is the last."""
        ...

    def seals_of(self, job: int) -> list[str]:
        """The header lines of the commits that hold anything of a job, in order."""
        ...

    def jobs(self, *, most: int | None = None, before: int | None = None, words: Sequence[str] = ()) -> list[JobRecord]:
        """Jobs, the newest first; at most so many, older than the id `before`, holding all of some words."""
        ...

    def job(self, name: str | int) -> JobRecord | None:
        """A job by its reference, or by its id."""
        ...

    def steps(self, job: int) -> list[StepRecord]:
        """The steps of a job in the order of its procedure."""
        ...

    def captures(self, job: int | None = None) -> list[CaptureRecord]:
        """The captures of a job, or all."""
        ...

    def capture(self, number: int) -> CaptureRecord | None: ...

    def verdicts(self, job: int | None = None) -> list[VerdictRecord]:
        """The verdicts of a job, or all."""
        ...

    def verdict(self, number: int) -> VerdictRecord | None: ...

    def acts(self, job: int | None = None, kinds: Sequence[str] = ()) -> list[ActRecord]:
        """The acts and changes of state of a job, or all; of some kinds only."""
        ...

    def measurements(self, step: str, appliance: str, most: int) -> list[StepMeasurement]:
        """The newest captures of a check of one type of appliance across jobs, of so many jobs, oldest first."""
        ...

    def measured_checks(self) -> dict[str, list[StepRecord]]:
        """By type of appliance, the checks of its newest job that one of the newest jobs with each measured."""
        ...

    def commit_of(self, kind: str, number: int) -> CommitId | None:
        """The commit that sealed a row, by its kind of leaf (LEAVES.md) and its id; readings by their chunk's."""
        ...

    def text(self, sha256: str) -> TextRecord | None:
        """A kept text by its hash."""
        ...

    def personal(self, job: int, *, with_content: bool = False) -> list[PersonalField]:
        """The personal fields of a job that are not erased; with the bytes of its photographs where asked for."""
        ...

    def photograph(self, digest: str) -> PersonalField | None:
        """A photograph that is not erased, by its digest."""
        ...

    @property
    def forms(self) -> Mapping[int, Form]:
        """The forms of readings by their id."""
        ...

    def numbers(self, kind: RowKind) -> list[int]:
        """The ids of all rows of a kind."""
        ...

    def instruments(self) -> list[str]:
        """The names of the instruments that anything is kept of."""
        ...

    def links_opened(self) -> dict[int, int]:
        """By link, when it was opened, ms of the machine's monotonic clock."""
        ...

    def places(self, conversation: ConversationRecord) -> Iterator[ReadingPlace]:
        """Where each kept reading of a conversation stands in its bytes."""
        ...

    def conversations(self, instrument: str | None = None) -> list[ConversationRecord]:
        """The conversations with an instrument of this name, or with all."""
        ...

    def chunks(self, conversation: ConversationRecord, first: int = 0, last: int = 2**62) -> list[ChunkRecord]:
        """The kept bytes of a conversation, in chunks from one id to another."""
        ...

    def chunks_of(self, capture: CaptureRecord) -> list[ChunkRecord]:
        """The kept bytes that a capture's run was read from."""
        ...

    def timeline(self, chunks: Iterable[ChunkRecord]) -> Iterator[Event]:
        """What was received and sent within chunks that follow one another, with the times that were kept.

        Bytes come as the outcomes that they were kept as, at the time of the last of them.
        """
        ...

    def readings(self, chunk: ChunkRecord) -> list[Reading]:
        """A chunk's kept readings."""
        ...

    def frames(self, capture: CaptureRecord, around_ms: int = 0) -> list[ReadingRecord]:
        """The readings of a capture's own link from its first to its last, each with its bytes.

        `around_ms`: those of its step within that time before and after it too.
        """
        ...

    def sent_before(self, reading: ReadingRecord) -> bytes:
        """What had been sent to the instrument before a reading's message came; empty for nothing."""
        ...

    def latest(self, within_ms: int) -> list[tuple[str, int, Reading]]:
        """(instrument's name, ms since 1970, reading) of the last readings of all links within a time of the newest."""
        ...

    def run(self, capture: CaptureRecord) -> tuple[tuple[float, Reading], ...]:
        """(time in s, reading) of a capture's instrument from its first to its last reading.

        A long run may have begun on an earlier link of the instrument; times are on the capture's link's clock.
        """
        ...

    def meanwhile(self, capture: CaptureRecord, quantities: frozenset[str]) -> tuple[tuple[float, Reading], ...]:
        """(time in s, reading) of what other instruments of the job read of some quantities during a capture."""
        ...
