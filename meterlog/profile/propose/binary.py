"""Frames of bytes: from the notes to digits, states and the lines of a profile."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import timing
from meterlog.profile.propose.bitfields import BitField, bit_fields
from meterlog.profile.propose.numbers import NumberPlace, are_enough, fitting
from meterlog.profile.propose.states import (
    Contradiction,
    KnownStates,
    StateMeaning,
    bits_text,
    clocks_of,
    code_of,
    learn_states,
)
from meterlog.profile.propose.tables import code_text, state_lines
from meterlog.profile.propose.timing import NotedState

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.states import MaskedBits

TOO_LITTLE = "the notes don't tell yet where the digits stand: note two more values that differ in most figures"


FramePlace = NumberPlace | BitField


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameLayout:
    """What frames of one length hold: where the digits stand, and the states; `is_only` where no other length came."""

    length: int
    is_only: bool
    place: FramePlace
    states: KnownStates


def propose_binary(framing: Framing, size: int, notes: Sequence[DisplayNote]) -> list[FrameLayout]:
    """The layout of each length of frame that notes are of, `size` bytes of check before the end mark.

    The digits are looked for where most notes are, and must stand in the other lengths at the same place.

    Raises: Contradiction, with what is missing or does not fit.
    """
    every = [frame.at for frame in framing.frames]
    early = [note.at for note in notes if timing.own_index(every, note) < 0]
    if early:
        raise Contradiction("a note lies before the first frame", early)
    by_length: dict[int, list[DisplayNote]] = {}
    for note in notes:
        by_length.setdefault(len(framing.frames[timing.own_index(every, note)].data), []).append(note)
    most = max(by_length, key=lambda length: (sum(not note.is_over for note in by_length[length]), -length))
    frames = [frame for frame in framing.frames if len(frame.data) == most]
    times = [frame.at for frame in frames]
    numeric = [note for note in by_length[most] if not note.is_over]
    for around in (0, timing.AROUND):
        candidates = [[frames[i].data for i in timing.near(times, note, around)] for note in numeric]
        places = _places(candidates, numeric, framing, most - framing.end - size)
        if places:
            break
    place = _chosen(places, frames, numeric)
    return [
        _layout(framing, size, length, place, by_length[length], is_timed=not around)
        for length in sorted(by_length, key=lambda length: length != most)
    ]


def _places(
    candidates: Sequence[Sequence[bytes]], notes: Sequence[DisplayNote], framing: Framing, end: int
) -> Sequence[FramePlace]:
    """Where the digits may stand: in whole bytes, else in bits; nowhere where the notes are too few."""
    if not are_enough(notes):
        return []
    return fitting(candidates, notes, framing.start, end) or [
        field for usable in _usable_bits(framing) for field in bit_fields(candidates, notes, framing.start, end, usable)
    ]


def _usable_bits(framing: Framing) -> list[int]:
    """The bits of a byte that may be a number's: all, and where only an end of a frame has the top one, all others."""
    within = {byte for frame in framing.frames for byte in frame.data[1:-1]}
    return [0xFF] if any(byte & 0x80 for byte in within) else [0xFF, 0x7F]


def _layout(
    framing: Framing, size: int, length: int, place: FramePlace, notes: Sequence[DisplayNote], *, is_timed: bool
) -> FrameLayout:
    frames = [frame for frame in framing.frames if len(frame.data) == length]
    times = [frame.at for frame in frames]
    end = length - framing.end - size
    numeric = [note for note in notes if not note.is_over]
    indices = {note: _index(frames, times, place, note) for note in notes}
    strays = [note.at for note in numeric if place.last >= end or not place.gives(frames[indices[note]].data, note)]
    if strays:
        raise Contradiction(f"in frames of {length} bytes the digits stand elsewhere, or a note is wrong", strays)
    is_timed = is_timed and timing.are_timed(
        times, [(note, indices[note]) for note in numeric], lambda i, note: place.gives(frames[i].data, note)
    )
    noted = [_noted(times, note, indices[note], place, is_timed=is_timed) for note in notes]
    taken = place.own([frames[indices[note]].data for note in numeric])
    states = learn_states(
        frames, range(framing.start, end), taken, place.value, noted, clocks=clocks_of(framing.frames)
    )
    return FrameLayout(length=length, is_only=len(frames) == len(framing.frames), place=place, states=states)


def _index(frames: Sequence[CutFrame], times: Sequence[float], place: FramePlace, note: DisplayNote) -> int:
    """The frame that a note is of."""
    index = max(0, timing.own_index(times, note))
    if note.is_over:
        return index
    found = timing.nearest(timing.near(times, note, timing.AROUND), index, lambda i: place.gives(frames[i].data, note))
    return index if found is None else found


def _noted(times: Sequence[float], note: DisplayNote, index: int, place: FramePlace, *, is_timed: bool) -> NotedState:
    meaning = StateMeaning(
        facts=note.meaning,
        decimals=None if note.is_over else note.decimals,
        is_negative=note.negative and not place.has_sign,
        is_over=note.is_over,
        learned_at=(note.at,),
    )
    return NotedState(
        note=note, meaning=meaning, index=index, still=timing.still(times, note, index, is_timed=is_timed)
    )


def _chosen(places: Sequence[FramePlace], frames: Sequence[CutFrame], notes: Sequence[DisplayNote]) -> FramePlace:
    """One place, where all that fit agree, or lie within one another so that the state tells them apart."""
    if not places:
        raise Contradiction(unexplained(notes), [])
    has_negative = any(note.negative for note in notes)
    ranked = sorted(
        places, key=lambda p: (not (has_negative and p.has_sign), p.last - p.first, _ORDER.find(p.kind[:1]), p.first)
    )
    if has_negative and ranked[0].has_sign and isinstance(ranked[0], NumberPlace) and not ranked[0].is_float:
        whole = [p for p in ranked if p.kind[:1] == ranked[0].kind[:1] and not p.is_float]
        ranked.insert(0, max(whole, key=lambda p: p.last - p.first))
    first = ranked[0]
    for other in ranked[1:]:
        is_nested = not isinstance(other, BitField) and (
            (first.first <= other.first and other.last <= first.last)
            or (other.first <= first.first and first.last <= other.last)
        )
        if not is_nested and any(first.value(frame.data) != other.value(frame.data) for frame in frames):
            raise Contradiction(
                f"the digits may stand at {first.span} or {other.span}: note a value when they differ", []
            )
    return first


_ORDER = "uisdbf"


def unexplained(notes: Sequence[DisplayNote]) -> str:
    if len({note.counts for note in notes}) < 3:
        return TOO_LITTLE
    wrong = "one of the notes may be wrong, or numbers are written in a way that is not known here"
    return f"no place in the frame gives the digits of every note: {wrong}"


def message_lines(layouts: Sequence[FrameLayout]) -> list[str]:
    """The fields and readings of a profile; overload, where it was noted, is a message of its very bytes.

    A binary fraction has no last digit: its states are parted by the decimals that the display showed.
    """
    first, messages = layouts[0], []
    if len(layouts) == 1 and first.is_only and not first.states.overs and len(_by_decimals(first)) == 1:
        ((decimals, known),) = _by_decimals(first).items()
        return _shown(first, decimals, known, is_listed=False)
    for layout in layouts:
        states = layout.states
        if states.overs:
            by_state = {code >> states.own_width: meaning for code, meaning in states.overs.items()}
            body = [*state_lines(states, by_state, is_listed=True), "readings:", f"  - {{byte: {layout.place.first}}}"]
            messages += _known_by(layout, states.over_places, states.overs, body, f"over_{layout.length}")
        for decimals, known in _by_decimals(layout).items():
            body = _shown(layout, decimals, known, is_listed=True)
            name = f"shown_{layout.length}" + ("" if decimals is None else f"_{decimals}")
            messages += _known_by(layout, states.places, known, body, name)
    return ["messages:", *("  " + line for line in messages)]


def _by_decimals(layout: FrameLayout) -> dict[int | None, dict[int, StateMeaning]]:
    """The known states, parted by their decimals where the digits are a binary fraction."""
    groups: dict[int | None, dict[int, StateMeaning]] = {}
    for code, meaning in layout.states.known.items():
        if layout.place.is_float:
            groups.setdefault(meaning.decimals, {})[code] = replace(meaning, decimals=None)
        else:
            groups.setdefault(None, {})[code] = meaning
    return groups


def _shown(
    layout: FrameLayout, decimals: int | None, known: Mapping[int, StateMeaning], *, is_listed: bool
) -> list[str]:
    said = f", decimals: {decimals}" if decimals is not None else ""
    fields = state_lines(layout.states, known, layout.place.field, is_listed=is_listed)
    return [*fields, "readings:", f"  - {{{layout.place.reading}{said}}}"]


def _known_by(
    layout: FrameLayout, places: Sequence[MaskedBits], codes: Mapping[int, StateMeaning], body: list[str], name: str
) -> list[str]:
    listed = ", ".join(code_text(code, places) for code in codes)
    length = "" if layout.is_only else f"length: {layout.length}, "
    known_by = f"  when: {{{length}bits: {bits_text(places)}, is: [{listed}]}}"
    return [f"{name}:", known_by, *("  " + line for line in body)]


def unknown_frames(layouts: Sequence[FrameLayout], frames: Sequence[CutFrame]) -> list[tuple[float, Hashable]]:
    """The frames whose state no note has shown: when they came, s, and what parts their states."""
    states_of = {layout.length: layout.states for layout in layouts}
    unknown: list[tuple[float, Hashable]] = []
    for frame in frames:
        length, states = len(frame.data), states_of.get(len(frame.data))
        code = code_of(frame.data, states.places) if states else None
        if states is None or (code not in states.known and not _is_over(frame.data, states)):
            unknown.append((frame.at, (length, code)))
    return unknown


def _is_over(data: bytes, states: KnownStates) -> bool:
    return bool(states.overs) and code_of(data, states.over_places) in states.overs
