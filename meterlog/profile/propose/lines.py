"""Lines of text: from the notes to a pattern, its states and the lines of a profile.

A line is what stands before the digits, the digits, and what stands behind them; both sides together are the state.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import moments, written
from meterlog.profile.propose.states import Contradiction, StateMeaning

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote

_NUMBER = re.compile(r"(?:(?<![-+])[-+] *)?(?:\d+(?:[.,]\d+)?|(?<![\w.,])\.\d+)")
_FEWEST_DIGITS = 6


@dataclass(frozen=True, slots=True)
class CutLine:
    """A line cut at its digits; blanks around them belong to them."""

    before: str
    number: str
    after: str

    @property
    def state(self) -> tuple[str, str]:
        return self.before, self.after


@dataclass(frozen=True, slots=True, kw_only=True)
class TextStates:
    """What is known of lines.

    Attributes:
        known: what each (before, after) means. overs: lines with a text in the digits' place.
        point: "." or "," where lines bring their own, "" where the state says it.
        sign_is_apart: whether the sign belongs to the state, as of figures without a point.
        seen: how many lines had each state.
    """

    known: Mapping[tuple[str, str], StateMeaning]
    overs: Mapping[str, tuple[CutLine, StateMeaning]]
    point: str
    sign_is_apart: bool
    seen: Mapping[tuple[str, str], int]
    lines: tuple[CutLine | None, ...]


def propose_text(framing: Framing, notes: Sequence[DisplayNote]) -> TextStates:
    """The states of lines. Raises: Contradiction, with what is missing or does not fit."""
    times = [frame.at for frame in framing.frames]
    texts = [text_of(frame, framing) for frame in framing.frames]
    indices = [moments.own(times, note) for note in notes]
    numeric = [(n, i) for n, i in zip(notes, indices, strict=True) if not n.is_over]
    different = {n.counts for n, _ in numeric if n.counts}
    if len(different) < 2 or sum(len(str(counts)) for counts in different) < _FEWEST_DIGITS:
        raise Contradiction("note two more values that differ in most figures", [])
    for which, is_apart in ((0, False), (1, False), (2, False), (0, True), (1, True), (2, True), (3, False)):
        lines = [_cut(text, which, is_apart) for text in texts]
        for around in (0, moments.AROUND):
            found = [_of(lines, moments.near(times, n, around), i, n, is_apart) for n, i in numeric]
            placed = [
                (n, i, moments.still(times, n, i, is_timed=not around))
                for (n, _), i in zip(numeric, found, strict=True)
                if i is not None
            ]
            if len(placed) == len(numeric):
                overs = [
                    (n, i, moments.still(times, n, i, is_timed=False))
                    for n, i in zip(notes, indices, strict=True)
                    if n.is_over
                ]
                return _learn(lines, texts, placed, overs, is_apart=is_apart)
    raise Contradiction("no number of a line is what every note says: one of the notes may be wrong", [])


def text_of(frame: CutFrame, framing: Framing) -> str:
    """A line without its marks, a character a byte."""
    return frame.raw[framing.start : len(frame.raw) - framing.end].decode("latin-1")


def _cut(text: str, which: int, sign_is_apart: bool) -> CutLine | None:
    found = list(_NUMBER.finditer(text))
    if which >= len(found):
        return None
    match = found[which]
    first = match.start()
    if sign_is_apart:
        first = match.end() - len(match[0].lstrip("+- "))
    else:
        while first and text[first - 1] == " ":
            first -= 1
    return CutLine(text[:first], text[first : match.end()], text[match.end() :])


def _of(lines: Sequence[CutLine | None], near: range, index: int, note: DisplayNote, is_apart: bool) -> int | None:
    return moments.nearest(near, index, lambda i: _gives(lines[i], note, is_apart))


def _gives(line: CutLine | None, note: DisplayNote, is_apart: bool) -> bool:
    if line is None or note.counts is None:
        return False
    text = line.number.replace(" ", "").replace(",", ".")
    negative, figures = text.startswith("-"), text.lstrip("+-")
    if "." in figures:
        decimals = len(figures.partition(".")[2])
        same = decimals == note.decimals
    else:
        same = True
    value = int(figures.replace(".", "") or "0")
    return same and value == note.counts and (is_apart or negative == note.negative or value == 0)


def _learn(
    lines: Sequence[CutLine | None], texts: Sequence[str], placed: Sequence[tuple[DisplayNote, int, range]],
    overs: Sequence[tuple[DisplayNote, int, range]], *, is_apart: bool,
) -> TextStates:  # fmt: skip
    points = {next((c for c in line.number if c in ".,"), "") for _, i, _ in placed if (line := lines[i]) is not None}
    point = points.pop() if len(points) == 1 else "."
    known: dict[tuple[str, str], StateMeaning] = {}
    for note, index, still in placed:
        line = lines[index]
        around = {other.state if other else None for other in (lines[i] for i in still)}
        if line is None or len(around) > 1:
            continue
        meaning = StateMeaning(
            facts=note.meaning, decimals=None if point else note.decimals, is_negative=is_apart and note.negative,
            is_over=False, learned_at=(note.at,),
        )  # fmt: skip
        _add(known, line.state, meaning)
    seen: dict[tuple[str, str], int] = {}
    for line in lines:
        if line is not None:
            seen[line.state] = seen.get(line.state, 0) + 1
    return TextStates(
        known=known, overs=_overs(texts, overs), point=point, sign_is_apart=is_apart, seen=seen,
        lines=tuple(lines),
    )  # fmt: skip


def _add(known: dict[tuple[str, str], StateMeaning], state: tuple[str, str], meaning: StateMeaning) -> None:
    before = known.get(state)
    if before is not None and before.words != meaning.words:
        raise Contradiction("two notes say different things of one line", (*before.learned_at, *meaning.learned_at))
    known[state] = replace(meaning, learned_at=(*(before.learned_at if before else ()), *meaning.learned_at))


_OVER = re.compile(r"[-+]?(?:[0O]\.?L\.?|\.[0O]L|OVER\w*|-{3,6})", re.IGNORECASE)


def _overs(
    texts: Sequence[str], overs: Sequence[tuple[DisplayNote, int, range]]
) -> dict[str, tuple[CutLine, StateMeaning]]:
    """Overload by its whole line, cut at the text that stands in the digits' place."""
    found: dict[str, tuple[CutLine, StateMeaning]] = {}
    for note, index, still in overs:
        text = texts[index]
        match = _OVER.search(text)
        if match is None or any(texts[i] != text for i in still):
            continue
        line = CutLine(text[: match.start()], match[0], text[match.end() :])
        known = found.get(text)
        meaning = StateMeaning(
            facts=note.meaning, decimals=None, is_negative=False, is_over=False,
            learned_at=(*(known[1].learned_at if known else ()), note.at),
        )  # fmt: skip
        if known is not None and known[1].words != meaning.words:
            raise Contradiction("two notes say different things of one line", meaning.learned_at)
        found[text] = (line, meaning)
    return found


def lines_of(states: TextStates) -> list[str]:
    """A profile's messages: overloads as whole lines, numbers by what stands around them."""
    out = ["messages:"]
    for number, (line, meaning) in enumerate(states.overs.values(), start=1):
        out += _message(f"over_{number}", line.before, re.escape(line.number), {line.after: meaning}, "decimal",
                        over=line.number)  # fmt: skip
    figures = (
        rf"[-+]? *\d*{re.escape(states.point)}\d+"
        if states.point
        else r"\d+"
        if states.sign_is_apart
        else r"[-+]? *\d+"
    )
    kind = "decimal comma" if states.point == "," else "decimal"
    for number, before in enumerate(sorted({before for before, _ in states.known}), start=1):
        afters = {after: meaning for (b, after), meaning in states.known.items() if b == before}
        out += _message(f"shown_{number}", before, f" *{figures}", afters, kind)
    return out


def _message(
    name: str, before: str, figures: str, afters: Mapping[str, StateMeaning], kind: str, over: str = ""
) -> list[str]:
    """Lines that begin alike; what stands behind the digits tells the state."""
    ends = "|".join(re.escape(after) for after in afters)
    pattern = f"{re.escape(before)}(?P<value>{figures})(?P<after>{ends})"
    special = f", special: {{{written.single(over)}: overload}}" if over else ""
    merged: dict[str, StateMeaning] = {}
    for after, meaning in afters.items():
        key = after.strip()
        if key in merged and merged[key].words != meaning.words:
            raise Contradiction("lines that differ by blanks alone mean different things", meaning.learned_at)
        merged[key] = meaning
    return [
        f"  {name}:",
        f"    pattern: {written.single(pattern)}",
        "    fields:",
        f"      value: {{as: {kind}{special}}}",
        "      after:",
        "        means:",
        *written.table(merged, written.single, "          "),
        "    readings:",
        "      - {value: value}",
    ]
