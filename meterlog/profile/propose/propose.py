"""From a recording and notes to a proposal; what rests on too little is not proposed, and said.

A proposed profile is compiled by the one compiler and played over the recording that it was learned from: where a
note's moment does not give what the note says, nothing is proposed.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import binary, lines, lit, patterns, written
from meterlog.profile.propose.checks import find_check, find_text_check
from meterlog.profile.propose.framing import FEWEST, NUMBERED
from meterlog.profile.propose.proposal import Proposal
from meterlog.profile.propose.rules import find_framing
from meterlog.profile.propose.states import Contradiction
from meterlog.profile.propose.stream import bursts_of, requests_of
from meterlog.profile.propose.timing import LATE_S
from meterlog.profile.propose.transform import find_transform, turned_ways
from meterlog.profile.propose.trial import tried

if TYPE_CHECKING:
    from collections.abc import Hashable, Sequence

    from meterlog.base.recording import Event
    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.proofs import FoundCheck
    from meterlog.profile.propose.states import StateMeaning

MOST_ASKED = 8

_Body = tuple[list[str], list["StateMeaning"], list[tuple[float, "Hashable"]]]
"""Lines of a profile, what states mean, and of each frame in an unknown state when it came and which state that is."""


def propose(events: Sequence[Event], notes: Sequence[DisplayNote], name: str) -> Proposal:
    """What a recording and notes tell of an instrument; `name` becomes the profile's key."""
    bursts = bursts_of(events)
    framing = find_framing(bursts)
    if framing is None:
        few = len(bursts) < FEWEST
        why = (
            f"{len(bursts)} bursts of bytes between pauses: at least {FEWEST} are needed"
            if few
            else ("no way of cutting is known that gives the cuts which the pauses show")
        )
        return Proposal(framing=None, why=why)
    transform: tuple[str, ...] = ()
    check = _check_of(framing)
    if check is None:
        turned = find_transform(bursts, framing)
        if turned is not None:
            transform, framing, check = turned
    known = Proposal(framing=framing, check=check, transform=transform)
    if not notes:
        return _with(known, why="no notes: what the bytes mean is not known yet", ask_at=_spread(framing.frames, ()))
    try:
        return _with_notes(known, events, notes, name)
    except Contradiction as error:
        for words, again in turned_ways(bursts, framing) if not transform else ():
            proof = find_check(again.frames, again.end)
            if check is None or proof is not None:
                with contextlib.suppress(Contradiction):
                    return _with_notes(_with(known, transform=words, framing=again, check=proof), events, notes, name)
        at = ", ".join(f"{time:g} s" for time in error.notes)
        return _with(known, why=error.why + (f" (notes at {at})" if at else ""), ask_at=_spread(framing.frames, notes))


def _check_of(framing: Framing) -> FoundCheck | None:
    if framing.is_text:
        return find_text_check(framing.frames, framing.start, framing.end)
    return find_check(framing.frames, framing.end)


def _sound(framing: Framing, check: FoundCheck | None) -> Framing:
    """The framing with the frames alone that its check holds for."""
    if check is None or not check.strays:
        return framing
    whole = [(frame, frame.raw if framing.is_text else frame.data) for frame in framing.frames]
    kept = tuple(frame for frame, data in whole if data[: len(data) - framing.end] not in check.strays)
    return replace(framing, frames=kept)


def _with(known: Proposal, **changes: object) -> Proposal:
    return replace(known, **changes)  # type: ignore[arg-type]


def _with_notes(known: Proposal, events: Sequence[Event], notes: Sequence[DisplayNote], name: str) -> Proposal:
    framing = known.framing
    assert framing is not None
    head = written.head(name, framing, known.transform, known.check, requests_of(events))
    body, meanings, unknown = _body(known, _sound(framing, known.check), notes)
    if not meanings:
        raise Contradiction("every note fell where the display was changing: note while it is still", [])
    profile = "\n".join([*head, *body]) + "\n"
    examples = written.examples(tried(profile, name, events, notes))
    if examples:
        profile += "\n".join(examples) + "\n"
        tried(profile, name, events, notes)
    return _with(
        known,
        profile=profile,
        states_known=tuple(dict.fromkeys(meaning.words for meaning in meanings)),
        states_unknown=len(unknown),
        why=f"{len(unknown)} of {len(framing.frames)} frames are in states that no note has shown" if unknown else "",
        ask_at=_telling(unknown, notes),
    )


def _body(known: Proposal, framing: Framing, notes: Sequence[DisplayNote]) -> _Body:
    """What the frames say, and what of them is not known. Raises: Contradiction."""
    size, frames = known.check.size if known.check else 0, framing.frames
    if framing.is_text:
        try:
            text = lines.propose_text(framing, size, notes)
        except Contradiction:
            if len({len(frame.data) for frame in frames}) > 1:
                raise
        else:
            meanings = [*text.known.values(), *text.overs.values()]
            return patterns.messages_of(text), meanings, text.unknown([frame.at for frame in frames])
    try:
        if framing.kind == NUMBERED:
            raise Contradiction(binary.TOO_LITTLE, [])
        layouts = binary.propose_binary(framing, size, notes)
    except Contradiction as error:
        try:
            display, states = lit.propose_segments(framing, size, notes)
        except Contradiction as other:
            raise (other if framing.kind == NUMBERED else error) from None
        over = any(note.is_over for note in notes)
        unknown = lit.unknown_displays(display, states, frames, with_over=over)
        return lit.display_lines(display, states, with_over=over), [*states.known.values()], unknown
    found = [meaning for each in layouts for meaning in (*each.states.known.values(), *each.states.overs.values())]
    return binary.message_lines(layouts), found, binary.unknown_frames(layouts, frames)


def _spread(frames: Sequence[CutFrame], notes: Sequence[DisplayNote]) -> tuple[float, ...]:
    """Moments all over the recording, the farthest from what was noted first."""
    step = max(1, len(frames) // (MOST_ASKED * (len(notes) + 1)))
    times = [frame.at for frame in frames[step // 2 :: step]]
    times.sort(key=lambda at: -min((abs(note.at - at) for note in notes), default=0.0))
    return tuple(round(at, 3) for at in times[:MOST_ASKED])


def _telling(unknown: Sequence[tuple[float, Hashable]], notes: Sequence[DisplayNote]) -> tuple[float, ...]:
    """A moment of each unknown state, the state that came most often first: the middle of where it stayed longest.

    A moment that was noted already taught nothing, and is not asked for again.
    """
    stays: dict[Hashable, list[list[float]]] = {}
    last: Hashable = None
    for time, state in unknown:
        runs = stays.setdefault(state, [])
        if not runs or state != last or time - runs[-1][-1] > 1.0:
            runs.append([])
        runs[-1].append(time)
        last = state
    asked = []
    for runs in sorted(stays.values(), key=lambda runs: -sum(map(len, runs))):
        open_times = [
            run[len(run) // 2]
            for run in sorted(runs, key=len, reverse=True)
            if not any(run[0] - LATE_S <= note.at <= run[-1] + LATE_S for note in notes)
        ]
        asked += open_times[:1]
    return tuple(round(time, 3) for time in asked[:MOST_ASKED])
