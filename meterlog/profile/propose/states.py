"""What the bytes beside the digits mean: one state for each pattern of them, known only where a note has shown it.

A pattern that no note has shown is never guessed at, however likely its parts look: the short cut, to keep the fewest
columns that explain the notes, decodes more and is wrong in one of ten.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from meterlog.profile.propose.running import decimal_of, running

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.timing import NotedState

_FLIPS = 10
_FLIP_SHARE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class StateMeaning:
    """What a state means: facts in the words of a profile, and the notes (by their times, s) that have shown it."""

    facts: str
    decimals: int | None
    is_negative: bool
    is_over: bool
    learned_at: tuple[float, ...]

    @property
    def words(self) -> str:
        """As a profile's table says it."""
        parts = [self.facts]
        if self.is_over:
            parts.append("overload")
        elif self.decimals is not None:
            parts.append(f"decimals {self.decimals}")
        if self.is_negative:
            parts.append("negative")
        return "; ".join(part for part in parts if part) or "normal"


MaskedBits = tuple[int, int]
"""A byte of a frame and the bits of it that count, as a mask."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownStates:
    """The states of one kind of frame.

    Attributes:
        places: the bits that tell the state, in the order of the frame.
        fixed: bits that never changed, with what stood there.
        idle: bytes that were proved to say nothing of the display.
        known: what each pattern means. seen: how many frames had it.
        over_places, overs: the same with the digits' own bits, for overload: only the very bits noted mean it.
    """

    places: tuple[MaskedBits, ...]
    fixed: tuple[tuple[int, int, int], ...]
    idle: tuple[int, ...]
    known: Mapping[int, StateMeaning]
    over_places: tuple[MaskedBits, ...] = ()
    overs: Mapping[int, StateMeaning] = field(default_factory=dict)

    @property
    def own_width(self) -> int:
        """How many bits of `over_places` are the digits' own; they stand last."""
        return bit_width(self.over_places) - bit_width(self.places)


class Contradiction(Exception):
    """Two notes say different things of one state, or a note fits no frame; `notes` are their times, s."""

    def __init__(self, why: str, notes: Sequence[float]) -> None:
        super().__init__(why)
        self.why = why
        self.notes = tuple(notes)


def bit_width(places: Sequence[MaskedBits]) -> int:
    """How many bits these are."""
    return sum(mask.bit_count() for _, mask in places)


def code_of(data: bytes, places: Sequence[MaskedBits]) -> int:
    """A frame's state as one number: the bits that count, the first the most significant."""
    code = 0
    for place, mask in places:
        code = code << mask.bit_count() | packed_bits(data[place], mask)
    return code


def packed_bits(byte: int, mask: int) -> int:
    """The masked bits of a byte, side by side."""
    value = 0
    for bit in range(7, -1, -1):
        if mask >> bit & 1:
            value = value << 1 | (byte >> bit & 1)
    return value


def learn_states(
    frames: Sequence[CutFrame], candidates: range, taken: Mapping[int, int], value: Callable[[bytes], object],
    noted: Sequence[NotedState], *, over_by_bytes: bool = True,
    clocks: frozenset[int] = frozenset(),
) -> KnownStates:  # fmt: skip
    """The states of frames of one length.

    Args:
        candidates: the bytes that may tell a state: neither marks nor check.
        taken: the bits that are the number's, as a mask for each byte; they tell no state.
        value: the number of a frame, for telling when the digits stay.
        noted: what each note says of the state of its frame.
        clocks: bytes that are known to run with the clock besides those that do in these frames.
        over_by_bytes: whether overload is known by the digits' very bits; else its state is learned like any other.

    Raises: Contradiction.
    """
    varying: list[MaskedBits] = []
    fixed: list[tuple[int, int, int]] = []
    idle: list[int] = []
    own: list[MaskedBits] = []
    clocks = (clocks | clocks_of(frames)) - taken.keys()
    for byte in candidates:
        moved = _moved(frames, byte)
        free = 0xFF & ~taken.get(byte, 0)
        if taken.get(byte, 0) & moved:
            own.append((byte, taken[byte] & moved))
        if byte in clocks or (free & moved and _flips(frames, value, byte, free)):
            idle.append(byte)
            continue
        if free & moved:
            varying.append((byte, free & moved))
        if free & ~moved:
            fixed.append((byte, free & ~moved, packed_bits(frames[0].data[byte], free & ~moved)))
    if not varying and fixed:
        byte, mask, _ = fixed.pop(0)
        varying.append((byte, mask))
    places, over_places = tuple(varying), (*varying, *own)
    if bit_width(over_places) > 64 or bit_width(places) > 64:
        over_places = ()
        if bit_width(places) > 64:
            raise Contradiction("more than 64 bits change beside the digits: too many for a table of states", [])
    codes = [code_of(frame.data, places) for frame in frames]
    numeric = [each for each in noted if not each.note.is_over]
    overs = [each for each in noted if each.note.is_over and over_by_bytes and over_places]
    for each in overs:
        _check_over(each.note, frames, codes, each.index, value)
    known = _known(codes, numeric)
    if not over_by_bytes:
        _add_overs(known, codes, [each for each in noted if each.note.is_over])
    return KnownStates(
        places=places,
        fixed=tuple(fixed),
        idle=tuple(idle),
        known=known,
        over_places=over_places,
        overs=_known([code_of(frame.data, over_places) for frame in frames], overs),
    )


def _check_over(
    note: DisplayNote, frames: Sequence[CutFrame], codes: Sequence[int], index: int, value: Callable[[bytes], object]
) -> None:
    """Over its range a display stands still: where the digits went on changing, the note is of another moment."""
    first = last = index
    while first > 0 and codes[first - 1] == codes[index]:
        first -= 1
    while last + 1 < len(codes) and codes[last + 1] == codes[index]:
        last += 1
    shown = [value(frame.data) for frame in frames[first : last + 1]]
    if sum(a != b for a, b in itertools.pairwise(shown)) > len(shown) // 4:
        raise Contradiction("a note says overload where the digits went on changing", [note.at])


def _moved(frames: Sequence[CutFrame], byte: int) -> int:
    """The bits of a byte that were ever different, as a mask."""
    first = frames[0].data[byte]
    moved = 0
    for frame in frames:
        moved |= frame.data[byte] ^ first
    return moved


def _known(codes: Sequence[int], noted: Sequence[NotedState]) -> dict[int, StateMeaning]:
    """What each code means by the notes; a note at which the code was changing tells nothing."""
    known: dict[int, StateMeaning] = {}
    for each in noted:
        code, times = codes[each.index], each.meaning.learned_at
        if any(codes[i] != code for i in each.still):
            continue
        before = known.get(code)
        if before is not None and before.words != each.meaning.words:
            raise Contradiction("two notes say different things of the same bytes", (*before.learned_at, *times))
        known[code] = replace(each.meaning, learned_at=(*(before.learned_at if before else ()), *times))
    return known


def _add_overs(known: dict[int, StateMeaning], codes: Sequence[int], noted: Sequence[NotedState]) -> None:
    """What overloads that a display spells out say of its lamps: neither point nor sign."""
    for each in noted:
        code = codes[each.index]
        if any(codes[i] != code for i in each.still):
            continue
        if known.setdefault(code, each.meaning).facts != each.meaning.facts:
            raise Contradiction(
                "two notes say different things of the same bytes", (*known[code].learned_at, each.note.at)
            )


def clocks_of(frames: Sequence[CutFrame]) -> frozenset[int]:
    """The bytes that run with the clock, of those that all frames have, as numbers or as packed decimal figures."""
    times = [frame.at for frame in frames]
    plain = {byte: [frame.data[byte] for frame in frames] for byte in range(min(len(frame.data) for frame in frames))}
    figures = {byte: [decimal_of(value) for value in column] for byte, column in plain.items()}
    return running(times, plain) | running(times, figures)


def _flips(frames: Sequence[CutFrame], value: Callable[[bytes], object], byte: int, mask: int) -> bool:
    """Whether a byte flips often while the digits stay: no person turns a dial so fast."""
    still = [(a, b) for a, b in itertools.pairwise(frames) if value(a.data) == value(b.data)]
    flips = sum((a.data[byte] ^ b.data[byte]) & mask != 0 for a, b in still)
    return flips >= _FLIPS and flips >= _FLIP_SHARE * len(still)


def bits_text(places: Sequence[MaskedBits]) -> str:
    """Bits as a profile writes them: 3.7..4 3.0 5.2..0."""
    return " ".join(f"{byte}.{run}" for byte, mask in places for run in _runs(mask))


def _runs(mask: int) -> list[str]:
    """Runs of set bits, the highest first: 0b11110001 is 7..4 and 0."""
    runs, high = [], None
    for bit in range(7, -2, -1):
        is_set = bit >= 0 and mask >> bit & 1
        if is_set and high is None:
            high = bit
        elif not is_set and high is not None:
            runs.append(f"{high}..{bit + 1}" if high > bit + 1 else f"{high}")
            high = None
    return runs
