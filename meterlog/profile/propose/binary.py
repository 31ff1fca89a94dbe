"""Frames of bytes: from the notes to digits, states and the lines of a profile."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import moments, written
from meterlog.profile.propose.moments import NotedState
from meterlog.profile.propose.numbers import NumberPlace, fitting
from meterlog.profile.propose.segments import Display, find_display
from meterlog.profile.propose.states import Contradiction, KnownStates, StateMeaning, code_of, learn, width

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.states import MaskedBits

TOO_LITTLE = "the notes don't tell yet where the digits stand: note two more values that differ in most figures"


def propose_binary(
    framing: Framing, size: int, notes: Sequence[DisplayNote]
) -> tuple[NumberPlace, KnownStates, Sequence[CutFrame]]:
    """The digits' place and the states of the length of frame that most notes are of.

    Raises: Contradiction, with what is missing or does not fit.
    """
    every = [frame.at for frame in framing.frames]
    early = [note.at for note in notes if moments.own(every, note) < 0]
    if early:
        raise Contradiction("a note lies before the first frame", early)
    lengths = [len(framing.frames[moments.own(every, note)].data) for note in notes]
    length = max(sorted(set(lengths)), key=lengths.count)
    of_it = [note for note, each in zip(notes, lengths, strict=True) if each == length]
    frames = [frame for frame in framing.frames if len(frame.data) == length]
    times = [frame.at for frame in frames]
    numeric = [note for note in of_it if not note.is_over]
    end = length - framing.end - size
    for around in (0, moments.AROUND):
        candidates = [[frames[i].data for i in moments.near(times, note, around)] for note in numeric]
        places = fitting(candidates, numeric, framing.start, end)
        if places:
            break
    place = _chosen(places, frames, numeric)
    indices = {note: _index(frames, times, place, note) for note in of_it}
    is_timed = not around and moments.are_timed(
        times, [(note, indices[note]) for note in numeric], lambda i, note: place.gives(frames[i].data, note)
    )
    noted = [_noted(times, note, indices[note], place, is_timed=is_timed) for note in of_it]
    guard = _guard(place, [frames[indices[note]].data for note in numeric])
    taken = {byte: 0x7F if byte == guard else 0xFF for byte in range(place.first, place.last + 1)}
    return place, learn(frames, range(framing.start, end), taken, place.value, noted), frames


def _index(frames: Sequence[CutFrame], times: Sequence[float], place: NumberPlace, note: DisplayNote) -> int:
    """The frame that a note is of."""
    index = max(0, moments.own(times, note))
    if note.is_over:
        return index
    found = moments.nearest(
        moments.near(times, note, moments.AROUND), index, lambda i: place.gives(frames[i].data, note)
    )
    return index if found is None else found


def _noted(times: Sequence[float], note: DisplayNote, index: int, place: NumberPlace, *, is_timed: bool) -> NotedState:
    meaning = StateMeaning(
        facts=note.meaning,
        decimals=None if note.is_over else note.decimals,
        is_negative=note.negative and not place.has_sign,
        is_over=note.is_over,
        learned_at=(note.at,),
    )
    return NotedState(
        note=note, meaning=meaning, index=index, still=moments.still(times, note, index, is_timed=is_timed)
    )


def _chosen(places: Sequence[NumberPlace], frames: Sequence[CutFrame], notes: Sequence[DisplayNote]) -> NumberPlace:
    """One place, where all that fit agree, or lie within one another so that the state tells them apart."""
    if not places:
        raise Contradiction(_unexplained(notes), [])
    has_negative = any(note.negative for note in notes)
    ranked = sorted(
        places, key=lambda p: (not (has_negative and p.has_sign), p.last - p.first, _ORDER.index(p.kind[0]), p.first)
    )
    if has_negative and ranked[0].has_sign and not ranked[0].is_float:
        whole = [p for p in ranked if p.kind[0] == ranked[0].kind[0] and not p.is_float]
        ranked.insert(0, max(whole, key=lambda p: p.last - p.first))
    first = ranked[0]
    for other in ranked[1:]:
        is_nested = (first.first <= other.first and other.last <= first.last) or (
            other.first <= first.first and first.last <= other.last
        )
        if not is_nested and any(first.value(frame.data) != other.value(frame.data) for frame in frames):
            raise Contradiction(
                f"the digits may stand at bytes {first.span} or {other.span}: note a value when they differ", []
            )
    return first


_ORDER = "uisdbf"


def _unexplained(notes: Sequence[DisplayNote]) -> str:
    if len({note.counts for note in notes}) < 3:
        return TOO_LITTLE
    wrong = "one of the notes may be wrong, or numbers are written in a way that is not known here"
    return f"no place in the frame gives the digits of every note: {wrong}"


def _guard(place: NumberPlace, noted: Sequence[bytes]) -> int | None:
    """The byte of the number's top bit, where no note has shown that bit set."""
    if place.kind[0] not in "uis" or place.kind.startswith("unpacked"):
        return None
    top = place.last if place.kind.endswith("little") else place.first
    return None if any(data[top] & 0x80 for data in noted) else top


def lines(place: NumberPlace, states: KnownStates) -> list[str]:
    """The fields and readings of a profile; overload, where it was noted, is a message of its very bytes.

    A binary fraction has no last digit: its states are parted by the decimals that the display showed.
    """
    groups: dict[int | None, dict[int, StateMeaning]] = {}
    for code, meaning in states.known.items():
        groups.setdefault(meaning.decimals if place.is_float else None, {})[code] = meaning
    messages = [_over(place, states)] if states.overs else []
    for decimals, known in groups.items():
        said = f", decimals: {decimals}" if decimals is not None else ""
        plain = {code: replace(meaning, decimals=None) for code, meaning in known.items()} if place.is_float else known
        body = _message(states, plain, f"{{bytes: {place.span}, as: {place.kind}{said}}}")
        messages.append(_known_by(states.places, known, body, f"shown_{len(messages)}"))
    if len(messages) == 1 and not states.overs:
        return [line[2:] for line in messages[0][2:]]
    return ["messages:", *("  " + line for message in messages for line in message)]


def _known_by(places: Sequence[MaskedBits], codes: Mapping[int, StateMeaning], body: list[str], name: str) -> list[str]:
    listed = ", ".join(code_text(code, places) for code in codes)
    return [f"{name}:", f"  when: {{bits: {all_bits(places)}, is: [{listed}]}}", *("  " + line for line in body)]


def _over(place: NumberPlace, states: KnownStates) -> list[str]:
    by_state = {code >> states.own_width: meaning for code, meaning in states.overs.items()}
    body = _message(states, by_state, f"{{byte: {place.first}}}")
    return _known_by(states.over_places, states.overs, body, "over")


def _message(states: KnownStates, known: Mapping[int, StateMeaning], reading: str) -> list[str]:
    return [*state_lines(states, known), "readings:", f"  - {reading}"]


def state_lines(states: KnownStates, known: Mapping[int, StateMeaning]) -> list[str]:
    """The fields that tell a state, and those that never changed."""
    idle = [f"# bytes not looked at, proved to say nothing of the display: {', '.join(map(str, states.idle))}"]
    out = [*(idle if states.idle else []), "fields:"]
    for byte, mask, value in states.fixed:
        where = f"byte: {byte}" if mask == 0xFF else f"bits: {all_bits([(byte, mask)])}"
        out.append(f"  fixed_{byte}: {{{where}, is: 0x{value:02X}}}  # never anything else")
    out += ["  state:  # any other code is a state that is not known, and rejected"]
    out += [f"    bits: {all_bits(states.places)}", "    means:"]
    return [*out, *written.table(known, lambda code: code_text(code, states.places), "      ")]


def code_text(code: int, places: Sequence[MaskedBits]) -> str:
    """A code in hex, with as many digits as its bits need."""
    return f"0x{code:0{-(-width(places) // 4)}X}"


def all_bits(places: Sequence[MaskedBits]) -> str:
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


def unknown_at(states: KnownStates, frames: Sequence[CutFrame]) -> list[float]:
    """When frames came whose state no note has shown, s."""
    return [
        frame.at
        for frame in frames
        if code_of(frame.data, states.places) not in states.known
        and (not states.overs or code_of(frame.data, states.over_places) not in states.overs)
    ]


def propose_segments(
    framing: Framing, notes: Sequence[DisplayNote]
) -> tuple[Display, KnownStates, Sequence[CutFrame], bool]:
    """The display and the states of numbered frames; whether an overload's word was noted too.

    Raises: Contradiction.
    """
    frames = framing.frames
    times = [frame.at for frame in frames]
    own = [max(0, moments.own(times, note)) for note in notes]
    numeric = [(note, i) for note, i in zip(notes, own, strict=True) if not note.is_over]
    display = find_display([(note, frames[i].data) for note, i in numeric], len(frames[0].data))
    if display is None:
        raise Contradiction(_unexplained([note for note, _ in numeric]), [])
    shows = [display.value(frame.data) for frame in frames]
    of_note = dict(numeric)
    is_timed = moments.are_timed(times, numeric, lambda i, note: shows[i] == shows[of_note[note]])
    noted = []
    for note, index in zip(notes, own, strict=True):
        negative = note.negative and not display.has_minus
        meaning = StateMeaning(
            facts=note.meaning, decimals=None, is_negative=negative, is_over=False, learned_at=(note.at,)
        )
        kept = moments.still(times, note, index, is_timed=is_timed)
        noted.append(NotedState(note=note, meaning=meaning, index=index, still=kept))
    states = learn(
        frames, range(len(frames[0].data)), _with_numbers(display), display.value, noted, over_by_bytes=False
    )
    return display, states, frames, any(note.is_over for note in notes)


def _with_numbers(display: Display) -> dict[int, int]:
    """The display's bits, and the numbers of the bytes in their upper halves, which the framing holds already."""
    return {byte: 0xF0 | display.taken.get(byte, 0) for byte in range(16)}


def segment_lines(display: Display, states: KnownStates, *, with_over: bool) -> list[str]:
    """The fields and readings of a profile."""
    over = ["    special: {0L: overload, L: overload}"] if with_over else []
    head, fields, *rest = (
        [*state_lines(states, states.known)] if states.idle else ["", *state_lines(states, states.known)]
    )
    return [*([head] if head else []), fields, *display.lines(), *over, *rest, "readings:", "  - {value: display}"]
