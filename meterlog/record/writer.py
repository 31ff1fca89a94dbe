"""The writing door of the record: what is kept, and when, whatever database is behind it.

`meterlog.store.writer` keeps it in a bench's SQLite. Nothing is acknowledged before it is committed.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.base.readings import Capture, StreamOutcome
    from meterlog.base.seals import Seal
    from meterlog.procedure.steps import Procedure


class Now(NamedTuple):
    """Both clocks at one moment, given by the edge: the record reads none itself."""

    utc_ms: int
    monotonic_ms: int
    boot: str

    @property
    def utc(self) -> str:
        """ISO 8601 with milliseconds and Z."""
        stamp = datetime.fromtimestamp(self.utc_ms // 1000, UTC)
        return stamp.strftime("%Y-%m-%dT%H:%M:%S") + f".{self.utc_ms % 1000:03d}Z"


class RecordWriter(Protocol):
    """All that writes to one record. Ids are the record's own; times of outcomes are s on the link's clock."""

    def open_link(self, name: str, profile: str, facts: str, url: str, now: Now) -> int:
        """A new opening of an instrument's link; `profile` and `facts` are whole texts. Answers its id."""
        ...

    def close_link(self, link: int) -> None: ...

    def outcomes(self, link: int, outcomes: Sequence[StreamOutcome], job: int | None, step: int | None) -> bool:
        """Keep outcomes of one link in stream order; False when they are only counted."""
        ...

    def sent(self, link: int, data: bytes, at: float, job: int | None, step: int | None) -> None: ...

    def keep_text(self, kind: str, name: str, body: str) -> str:
        """Keep a text that evidence rests on; answers its hash."""
        ...

    def open_job(
        self, ref: str, procedure: Procedure, plate: Mapping[str, str], personal: Mapping[str, str], now: Now
    ) -> tuple[int, dict[str, int]]:
        """A new job with its steps; personal fields go behind digests. Answers (job id, step ids by key)."""
        ...

    def resume_job(self, ref: str) -> tuple[int, dict[str, int]]:
        """The ids of a job that was opened before. Raises: CannotDo when there is none."""
        ...

    def capture(self, job: int, step: int, link: int | None, capture: Capture) -> int: ...

    def verdict(self, job: int, step: int, capture: int | None, row: Mapping[str, Any], now: Now) -> int: ...

    def event(
        self, kind: str, now: Now, facts: Mapping[str, Any] | None = None, *, job: int | None = None,
        step: int | None = None, link: int | None = None, who: str = "", whence: str = "",
    ) -> int:  # fmt: skip
        """Keep an act or a change of state; `kind` is an `ActKind`. Answers its id."""
        ...

    def disclose(self, job: int | None, name: str, value: str, content: bytes | None = None) -> str:
        """Keep a personal field apart; answers the digest that stands for it."""
        ...

    def commit(self, now: Now) -> Seal | None:
        """Write all that waits under one seal; None when nothing waits."""
        ...


def canonical(value: Any) -> str:
    """JSON in one spelling: sorted keys, no blanks, so that its hash is its own."""
    text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return _NOT_PRINTED.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


_NOT_PRINTED = re.compile(r"[\x7f-\x9f\u2028\u2029]")
"""Control characters and line ends that JSON lets stand as they are."""
