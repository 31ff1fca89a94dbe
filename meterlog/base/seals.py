"""Seals: what makes a change to kept evidence visible.

Every commit of the store is closed by one seal. Its header is one line of text; the hash of the
line is the link to the next seal and, later, a leaf of a public log:

    meterlog-seal 1 <bench> <number> <previous hash> <root> <utc> <monotonic ms> <boot> <leaves> <acts>

The root is the Merkle root (RFC 9162, section 2.1.1) of the commit's leaves. A leaf is a line of
canonical JSON (the subset of RFC 8785 with sorted ASCII keys, strings, and whole numbers below
2**53) that can be made again, byte for byte, from the rows it speaks of.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

FORMAT = 1
NO_SEAL = "0" * 64
"""Stands for the previous hash in the first seal."""

_canonical = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode
_KEY = re.compile(r"[a-z][a-z0-9_]*")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


def kept_line(text: str) -> str:
    """A text as a leaf can hold it: a control character, which only a machine writes here, as its escape.

    >>> kept_line("no port\\x07")
    'no port\\\\x07'
    """
    return _CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", text)


def leaf_text(fields: Mapping[str, str | int]) -> str:
    """The canonical line of a leaf.

    Raises: ValueError for a key, type or character that the subset does not allow.

    >>> leaf_text({"n": 0, "kind": "event"})
    '{"kind":"event","n":0}'
    """
    for key, value in fields.items():
        if not _KEY.fullmatch(key):
            raise ValueError(f"leaf key {key!r}: lower-case ASCII words only")
        if isinstance(value, bool) or not isinstance(value, str | int):
            raise ValueError(f"leaf field {key}: text or whole number, not {type(value).__name__}")
        if isinstance(value, int) and abs(value) >= 2**53:
            raise ValueError(f"leaf field {key}: {value} is not below 2**53")
        if isinstance(value, str) and _CONTROL.search(value):
            raise ValueError(f"leaf field {key}: control character")
    return _canonical(dict(fields))


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """The header of one commit.

    Attributes:
        bench: the bench's random identity, hex.
        number: 0, 1, 2 … without holes.
        previous: hash of the seal before, hex; NO_SEAL for number 0.
        root: Merkle root of this commit's leaves, hex.
        utc: ISO 8601 with milliseconds and Z.
        monotonic_ms, boot: the machine's monotonic clock and which boot it counts from.
        leaves, acts: how many leaves there are, and how many of them are acts.
    """

    bench: str
    number: int
    previous: str
    root: str
    utc: str
    monotonic_ms: int
    boot: str
    leaves: int
    acts: int

    @property
    def line(self) -> str:
        parts = (self.bench, self.number, self.previous, self.root, self.utc, self.monotonic_ms, self.boot)
        return f"meterlog-seal {FORMAT} " + " ".join(map(str, (*parts, self.leaves, self.acts)))

    @property
    def hash(self) -> str:
        return line_hash(self.line)


def line_hash(line: str) -> str:
    """SHA-256 of 0x00 and the header line, hex: a leaf hash as RFC 9162 makes it."""
    return sha256_hex(b"\x00" + line.encode())


def read_line(line: str) -> Seal:
    """The seal written in a header line. Raises: ValueError."""
    parts = line.split(" ")
    if len(parts) != 11 or parts[:2] != ["meterlog-seal", str(FORMAT)]:
        raise ValueError("not a seal of format 1")
    bench, number, previous, root, utc, monotonic, boot, leaves, acts = parts[2:]
    return Seal(
        bench=bench,
        number=int(number),
        previous=previous,
        root=root,
        utc=utc,
        monotonic_ms=int(monotonic),
        boot=boot,
        leaves=int(leaves),
        acts=int(acts),
    )


def sha256_hex(data: bytes) -> str:
    """SHA-256 of bytes, hex."""
    return hashlib.sha256(data).hexdigest()


def lines_digest(lines: Iterable[str]) -> str:
    """The digest of lines, joined by a line feed."""
    return sha256_hex("\n".join(lines).encode())


def with_content(value: str, content: bytes | None) -> str:
    """The text that a personal field's digest is made over: its value; of a photograph, with 0x00 and its SHA-256."""
    return value if content is None else f"{value}\x00{sha256_hex(content)}"


def digest(salt: bytes, name: str, value: str) -> str:
    """The salted digest that stands for a personal field in a job's evidence, hex."""
    return sha256_hex(salt + name.encode() + b"\x00" + value.encode())
