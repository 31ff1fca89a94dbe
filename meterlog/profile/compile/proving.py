"""What shows that a line is a frame from its first byte to its last."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.profile.language.places import characters

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from meterlog.profile.language.content import Says
    from meterlog.profile.language.wire import Check


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameProof:
    """What shows that a line is a frame from its first byte to its last.

    Attributes:
        is_whole: a check, or how the whole line looks, tells a frame from one that another runs into.
        beginnings: where the next frame may begin after damage: a start mark that a check proves or that no number
            looks like; else what a line begins with that stands nowhere else in one.
    """

    is_whole: bool = False
    beginnings: tuple[bytes, ...] = ()


def proof_of(starts: tuple[bytes, ...], checks: Sequence[Check], messages: Collection[Says]) -> FrameProof:
    """What proves the frames of a profile."""
    looks = all(says.checks or says.text or says.pattern or (says.split and says.split.parts) for says in messages)
    begun = [_begins(says) for says in messages]
    others = b"\0".join(_literals(says, begins) for says, begins in zip(messages, begun, strict=True))
    free = any(says.pattern or says.split or _takes_anything(says) for says in messages)
    alone = () if free else tuple({begins for begins in begun if begins and begins not in others})
    if starts:
        alone = starts if checks or not any(set(start) <= _NUMBER_BYTES for start in starts) else ()
    return FrameProof(is_whole=bool(checks) or looks, beginnings=alone)


_NUMBER_BYTES = frozenset(b"0123456789+-.,eE ")


def _begins(says: Says) -> bytes:
    """The text that a line begins with; nothing where a number may begin so, or nothing is said."""
    begins = re.split(r"\{|  *", says.text)[0].encode("latin-1")
    return b"" if set(begins) <= _NUMBER_BYTES else begins


def _literals(says: Says, begins: bytes) -> bytes:
    """All that may stand in a line behind what it begins with, but for its numbers."""
    codes = [code for said in says.fields.values() for code in (*said.means, *said.value, *said.special_words)]
    inner = re.sub(r"\{\w*\}", "\0", says.text).encode("latin-1")[len(begins) :]
    return inner + b"\0" + b"\0".join(characters(code).encode("latin-1") for code in codes)


def _takes_anything(says: Says) -> bool:
    """Whether a line has a part that may be any text."""
    numbers = {said.value for said in says.readings}
    for name in re.findall(r"\{(\w*)\}", says.text):
        said = says.fields.get(name)
        is_number = name in numbers if said is None or not said.kind else said.kind != "text"
        if not is_number and not (said and (said.means or said.value) and not said.under):
            return True
    return not says.text
