"""From a recording and notes to a proposal; what rests on too little is not proposed, and said.

A proposed profile is compiled by the one compiler and played over the recording that it was learned from: where a
note's moment does not give what the note says, nothing is proposed.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import binary, lines, patterns, written
from meterlog.profile.propose.checks import find_check, find_text_check
from meterlog.profile.propose.framing import FEWEST, NUMBERED, find_framing
from meterlog.profile.propose.proposal import Proposal
from meterlog.profile.propose.states import Contradiction
from meterlog.profile.propose.stream import bursts_of, requests_of
from meterlog.profile.propose.transform import find_transform, turned_ways
from meterlog.profile.propose.trial import tried

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.recording import Event
    from meterlog.profile.propose.checks import FoundCheck
    from meterlog.profile.propose.framing import Framing
    from meterlog.profile.propose.notes import DisplayNote
    from meterlog.profile.propose.states import StateMeaning

MOST_ASKED = 8


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
        return _with(known, why="no notes: what the bytes mean is not known yet", ask_at=_spread(framing.frames))
    try:
        return _with_notes(known, events, notes, name)
    except Contradiction as error:
        for words, again in turned_ways(bursts, framing) if not transform else ():
            proof = find_check(again.frames, again.end)
            if check is None or proof is not None:
                with contextlib.suppress(Contradiction):
                    return _with_notes(_with(known, transform=words, framing=again, check=proof), events, notes, name)
        at = ", ".join(f"{time:g} s" for time in error.notes)
        return _with(known, why=error.why + (f" (notes at {at})" if at else ""), ask_at=_spread(framing.frames))


def _check_of(framing: Framing) -> FoundCheck | None:
    if framing.is_text:
        return find_text_check(framing.frames, framing.start, framing.end)
    return find_check(framing.frames, framing.end)


def _with(known: Proposal, **changes: object) -> Proposal:
    return replace(known, **changes)  # type: ignore[arg-type]


def _with_notes(known: Proposal, events: Sequence[Event], notes: Sequence[DisplayNote], name: str) -> Proposal:
    framing = known.framing
    assert framing is not None
    head = written.head(name, framing, known.transform, known.check, requests_of(events))
    body, meanings, unknown = _body(known, framing, notes)
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
        ask_at=_longest(unknown),
    )


def _body(
    known: Proposal, framing: Framing, notes: Sequence[DisplayNote]
) -> tuple[list[str], list[StateMeaning], list[float]]:
    """(lines of the profile, what states mean, when frames of unknown states came). Raises: Contradiction."""
    size = known.check.size if known.check else 0
    if framing.is_text:
        try:
            text = lines.propose_text(framing, size, notes)
        except Contradiction:
            if len({len(frame.data) for frame in framing.frames}) > 1:
                raise
        else:
            meanings = [*text.known.values(), *text.overs.values()]
            return patterns.messages_of(text), meanings, [framing.frames[i].at for i in text.unknown]
    if framing.kind == NUMBERED:
        display, states, frames, with_over = binary.propose_segments(framing, notes)
        return (
            binary.segment_lines(display, states, with_over=with_over),
            [*states.known.values()],
            binary.unknown_at(states, frames),
        )
    place, states, frames = binary.propose_binary(framing, size, notes)
    meanings = [*states.known.values(), *states.overs.values()]
    return binary.lines(place, states), meanings, binary.unknown_at(states, frames)


def _spread(frames: Sequence[object]) -> tuple[float, ...]:
    times = [getattr(frame, "at", 0.0) for frame in frames]
    step = max(1, len(times) // MOST_ASKED)
    return tuple(round(time, 3) for time in times[step // 2 :: step][:MOST_ASKED])


def _longest(times: Sequence[float]) -> tuple[float, ...]:
    """The middles of the longest stretches of unknown states: one note there teaches most."""
    stretches: list[list[float]] = []
    for time in times:
        if stretches and time - stretches[-1][-1] < 1.0:
            stretches[-1].append(time)
        else:
            stretches.append([time])
    stretches.sort(key=len, reverse=True)
    return tuple(round(stretch[len(stretch) // 2], 3) for stretch in stretches[:MOST_ASKED])
