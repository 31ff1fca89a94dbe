"""What waits for the next commit: rows with their final ids, in the order in which they happened."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import Any

SPANS_KEPT = 4_000
"""Chunks whose ordinals can still be named: an hour and more of one commit a second."""


@dataclass(slots=True)
class Chunk:
    """The bytes of one link within one commit, job and step.

    Readings get their ids when the chunk ends, so that a chunk's readings are one range of ids.
    """

    id: int
    link: int
    job: int | None
    step: int | None
    at: int
    first_reading: int = 0
    raw: bytearray = field(default_factory=bytearray)
    readings: list[tuple[Any, ...]] = field(default_factory=list)
    unread: list[tuple[Any, ...]] = field(default_factory=list)
    sent: list[tuple[Any, ...]] = field(default_factory=list)

    @property
    def row(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "link": self.link,
            "job": self.job,
            "step": self.step,
            "at": self.at,
            "first_reading": self.first_reading,
            "readings": len(self.readings),
            "raw": bytes(self.raw),
        }


@dataclass(slots=True)
class OpenLink:
    """What the writer keeps of an open link."""

    id: int
    chunk: Chunk | None = None
    ordinal: int = 0
    spans: deque[tuple[int, int, int]] = field(default_factory=lambda: deque(maxlen=SPANS_KEPT))

    def opened_again(self, link: int) -> OpenLink:
        """The state of the same instrument's next link: its readings go on being counted."""
        return OpenLink(link, ordinal=self.ordinal, spans=self.spans)

    def reading_id(self, ordinal: int) -> int:
        """The id of a reading by its ordinal on this link. Raises: KeyError when it is too long ago."""
        for first, number, count in reversed(self.spans):
            if first <= ordinal < first + count:
                return number + ordinal - first
        raise KeyError(f"reading {ordinal} of link {self.id} is no longer at hand")


@dataclass(slots=True)
class Batch:
    """All rows of the next commit. A leaf is (kind, job, subject id); its numbers come with the seal.

    `plain` rows belong to no job; `late` rows are kept already and only get their leaves now.
    """

    plain: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    late: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    rows: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    rereads: list[tuple[Any, ...]] = field(default_factory=list)
    chunks: dict[int, Chunk] = field(default_factory=dict)
    leaves: list[tuple[str, int | None, int]] = field(default_factory=list)
    disclosures: list[tuple[Any, ...]] = field(default_factory=list)
    erasures: list[str] = field(default_factory=list)

    def add(self, kind: str, row: dict[str, Any]) -> None:
        """Put in a row that belongs to no job (a bench, text, instrument, link or form), with its leaf."""
        self.plain.append((kind, row))
        self.leaves.append((kind, None, row["id"]))

    @property
    def is_empty(self) -> bool:
        return not (
            self.rows
            or self.chunks
            or self.erasures
            or self.disclosures
            or any(kind == "link" for kind, _ in self.plain)
        )
