"""What is kept, as typed records: commits, jobs, steps, captures, verdicts, acts, texts, chunks.

Every record of evidence carries the commit that sealed it: the bench's identity and the commit's
number there, which are one name for it on every bench and server. Ids are the database's own.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple

from meterlog.judging.verdict import Verdict
from meterlog.record.writer import canonical

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.readings import Capture, Reading


class CommitId(NamedTuple):
    """Which commit: the bench's identity, 32 hex digits, and the number of its seal."""

    bench: str
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRecord:
    """One appliance, one owner, one complaint. `digests` stand for the personal fields, decoys among them.

    `procedure` is the hash of its text; `closed_utc_ms` None while it is open, and where it was taken up since.
    """

    id: int
    ref: str
    appliance: str
    procedure: str
    procedure_name: str
    plate: Mapping[str, str]
    digests: tuple[str, ...]
    opened_utc_ms: int
    closed_utc_ms: int | None
    commit: CommitId | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRecord:
    """One check of a job's procedure as it is shown; `position` counts from 0."""

    id: int
    job: int
    position: int
    key: str
    title: str
    kind: str
    points: str
    quantity: str
    limits: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentRecord:
    """What stands on the bench: `profile` and `facts` are the hashes of its texts."""

    name: str
    profile: str
    facts: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureRecord:
    """A kept capture: ordinals in `capture` are reading ids, times are s since its link was opened.

    `link` and `instrument` are None for what the machine's own clock timed.
    """

    id: int
    job: int
    step: int
    capture: Capture
    link: int | None
    instrument: InstrumentRecord | None
    opened_utc_ms: int | None
    commit: CommitId | None

    @property
    def reading(self) -> Reading:
        """What the instrument showed: the median reading of the run."""
        return self.capture.reading

    @property
    def ended_utc_ms(self) -> int | None:
        """When its last reading came, ms since 1970."""
        return None if self.opened_utc_ms is None else self.opened_utc_ms + round(self.capture.ended * 1000)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictBasis:
    """What a verdict was concluded from besides its step: which captures counted, what was entered, whose limits.

    `captures` are ids by step key; `rule` is a decision rule other than the procedure's own, "" for none.
    """

    captures: Mapping[str, int] = field(default_factory=dict)
    entries: Mapping[str, str] = field(default_factory=dict)
    where: str = ""
    rule: str = ""

    def to_json(self) -> str:
        ruled = {"rule": self.rule} if self.rule else {}
        return canonical({"captures": self.captures, "entries": dict(self.entries), "where": self.where, **ruled})


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictRecord:
    """A kept verdict. `result` is `Verdict.to_json`, `context` is `VerdictBasis.to_json`."""

    id: int
    job: int
    step: int
    capture: int | None
    outcome: str
    why: str
    result: str
    context: str
    procedure: str
    profile: str | None
    facts: str | None
    program: str
    supersedes: int | None
    reason: str
    at_utc_ms: int
    commit: CommitId | None

    @property
    def verdict(self) -> Verdict:
        """The verdict itself. Raises: ValueError, KeyError or TypeError when no version of ours wrote it."""
        return Verdict.from_json(self.result)

    @property
    def basis(self) -> VerdictBasis:
        """What it was concluded from."""
        return VerdictBasis(**json.loads(self.context))


@dataclass(frozen=True, slots=True, kw_only=True)
class ActRecord:
    """What a person did, or a change of state. `kind` is one of `ActKind`, or a word of another version."""

    id: int
    kind: str
    at_utc_ms: int
    monotonic_ms: int
    boot: str
    job: int | None
    step: int | None
    link: int | None
    who: str
    whence: str
    facts: Mapping[str, Any]
    commit: CommitId | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TextRecord:
    """A profile, procedure or instrument text under the SHA-256 of its exact bytes."""

    sha256: str
    kind: str
    name: str
    body: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConversationRecord:
    """One conversation with an instrument: the links that it was kept under, one unless UTC was set meanwhile."""

    links: tuple[int, ...]
    instrument: InstrumentRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkRecord:
    """The bytes of one link within one commit, job and step; its readings are one range of ids."""

    id: int
    link: int
    job: int | None
    step: int | None
    at: int
    first_reading: int
    readings: int
    raw: bytes
    instrument: InstrumentRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRecord:
    """One kept reading with the bytes of its message; `place` counts bytes of the chunk from 0."""

    id: int
    chunk: int
    utc_ms: int
    at: int
    reading: Reading
    place: int
    frame: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonalField:
    """A name, note or photograph that stands apart behind its digest, and may be erased.

    `content` is a photograph's bytes where they were asked for.
    """

    digest: str
    job: int | None
    salt: bytes
    name: str
    value: str
    is_photograph: bool
    content: bytes | None
