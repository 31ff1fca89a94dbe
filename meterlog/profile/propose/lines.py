"""Lines of text: from the notes to the digits of a line and what the rest of it means.

A line is what stands before the digits, the digits, and what stands behind them; both sides together are the state. In
both, figures that run with the clock and the characters of a check are no part of it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

from meterlog.profile.propose import timing
from meterlog.profile.propose.running import running
from meterlog.profile.propose.states import Contradiction, StateMeaning

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterator, Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame, Framing
    from meterlog.profile.propose.notes import DisplayNote

_Key = TypeVar("_Key")

RUNS, PROOF = "\ue000", "\ue001"
"""Characters that stand in a line for figures that run, and for one character of its check."""

_NUMBER = re.compile(r"(?:(?<![-+])[-+] *)?(?:\d+(?:[.,]\d+)?|(?<![\w.,])\.\d+)")
_FIGURES = re.compile(r"\d+")
_FEWEST_DIGITS = 6
_WIDTHS = (3, 4, 5, 6)
_MOST_NUMBERS = 6
_NONE: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class CutLine:
    """A line cut at its digits; blanks around them belong to them."""

    before: str
    number: str
    after: str

    @property
    def state(self) -> tuple[str, str, bool]:
        """What tells the state: both sides, and whether the digits bring a point."""
        return self.before, self.after, bool(self.point)

    @property
    def point(self) -> str:
        return next((c for c in self.number if c in ".,"), "")


@dataclass(frozen=True, slots=True, kw_only=True)
class TextStates:
    """What is known of lines.

    Attributes:
        known: what each state means. overs: the same for whole lines that were noted as over the range.
        comma: whether a comma is the point.
        sign_is_apart: whether the sign belongs to the state.
        figures: digits without a point, as a pattern.
        lines: each line of the recording, cut; None where it has no such digits. texts: the same whole.
    """

    known: Mapping[tuple[str, str, bool], StateMeaning]
    overs: Mapping[str, StateMeaning]
    comma: bool
    sign_is_apart: bool
    figures: str
    lines: tuple[CutLine | None, ...]
    texts: tuple[str, ...]

    def unknown(self, times: Sequence[float]) -> list[tuple[float, Hashable]]:
        """The lines of states that no note has shown: when, s, and what parts their states."""
        rows = zip(times, self.lines, self.texts, strict=True)
        return [
            (time, line.state if line else text)
            for time, line, text in rows
            if not (line and line.state in self.known) and text not in self.overs
        ]


@dataclass(frozen=True, slots=True)
class _Digits:
    """Where a line's digits may stand: its `which`th number, or the characters from `first` of a fixed width."""

    which: int = 0
    first: int | None = None
    width: int = 0
    sign_is_apart: bool = False

    def cut(self, text: str) -> CutLine | None:
        if self.first is not None:
            last = self.first + self.width
            number = text[self.first : last]
            is_whole = number.isascii() and number.isdigit()
            return CutLine(text[: self.first], number, text[last:]) if is_whole else None
        found = list(_NUMBER.finditer(text))
        if self.which >= len(found):
            return None
        match = found[self.which]
        first = match.start()
        if self.sign_is_apart:
            first = match.end() - len(match[0].lstrip("+- "))
        else:
            while first and text[first - 1] == " ":
                first -= 1
        return CutLine(text[:first], text[first : match.end()], text[match.end() :])

    def gives(self, line: CutLine | None, note: DisplayNote, *, points: bool) -> bool:
        """Whether a line's digits are a note's; `points`: where lines bring a point, one without it has no decimals."""
        if line is None or note.counts is None:
            return False
        text = line.number.replace(" ", "").replace(",", ".")
        figures = text.lstrip("+-")
        if points and len(figures.partition(".")[2]) != note.decimals:
            return False
        value = int(figures.replace(".", "") or "0")
        return value == note.counts and (self.sign_is_apart or text.startswith("-") == note.negative or not value)


def _ways(texts: Sequence[str]) -> Iterator[_Digits]:
    """What needs the least luck first; a place of its own only where all lines are of one length."""
    for sign_is_apart in (False, True):
        for which in range(_MOST_NUMBERS):
            yield _Digits(which=which, sign_is_apart=sign_is_apart)
    length = len(texts[0])
    if all(len(text) == length for text in texts):
        for width in _WIDTHS:
            for first in range(length - width + 1):
                yield _Digits(first=first, width=width, sign_is_apart=True)


def propose_text(framing: Framing, check_size: int, notes: Sequence[DisplayNote]) -> TextStates:
    """The states of lines, whose last `check_size` characters are a check. Raises: Contradiction."""
    times = [frame.at for frame in framing.frames]
    texts = [_text_of(frame, framing, check_size) for frame in framing.frames]
    numeric = [note for note in notes if not note.is_over]
    different = {note.counts for note in numeric if note.counts}
    if len(different) < 2 or sum(len(str(counts)) for counts in different) < _FEWEST_DIGITS:
        raise Contradiction("note two more values that differ in most figures", [])
    for way in _ways(texts):
        lines = [way.cut(text) for text in texts]
        points = any(line is not None and line.point for line in lines)
        for around in (0, timing.AROUND):
            found = [_of(way, lines, times, note, around, points=points) for note in numeric]
            if None not in found:
                return _learn(times, texts, way, list(zip(numeric, found, strict=True)), notes, is_timed=not around)
    raise Contradiction("no number of a line is what every note says: one of the notes may be wrong", [])


def _of(
    way: _Digits,
    lines: Sequence[CutLine | None],
    times: Sequence[float],
    note: DisplayNote,
    around: int,
    *,
    points: bool,
) -> int | None:
    near = timing.near(times, note, around)
    return timing.nearest(near, timing.own_index(times, note), lambda i: way.gives(lines[i], note, points=points))


def _text_of(frame: CutFrame, framing: Framing, check_size: int) -> str:
    """A line without its marks, a character a byte."""
    text = frame.raw[framing.start : len(frame.raw) - framing.end].decode("latin-1")
    return text[: len(text) - check_size] + PROOF * check_size


# ---- what runs ----


def _clocks(times: Sequence[float], lines: Sequence[CutLine | None]) -> tuple[frozenset[int], frozenset[int]]:
    """Which figures run: before the digits counted from the left, behind them counted from the right."""
    cut = [(time, line) for time, line in zip(times, lines, strict=True) if line is not None]
    of_cut = [time for time, _ in cut]
    left = _columns([_FIGURES.findall(line.before) for _, line in cut])
    right = _columns([_FIGURES.findall(line.after)[::-1] for _, line in cut])
    return running(of_cut, left), running(of_cut, right)


def _with_colons(text: str) -> str:
    """A line in which what colons join to figures that run, as in 09:14:55 (ISO 8601), runs too."""
    return re.sub(rf"(?:\d+:)*{RUNS}(?::(?:\d+|{RUNS}))*", lambda clock: re.sub(r"\d+", RUNS, clock[0]), text)


def _columns(rows: Sequence[Sequence[str]]) -> dict[int, list[int | None]]:
    least = min((len(row) for row in rows), default=0)
    return {at: [int(row[at]) if len(row[at]) < 9 else None for row in rows] for at in range(least)}


def _masked(text: str, left: frozenset[int], right: frozenset[int]) -> str:
    found = list(_FIGURES.finditer(text))
    spans = [m.span() for at, m in enumerate(found) if at in left or len(found) - 1 - at in right]
    for first, last in reversed(spans):
        text = text[:first] + RUNS + text[last:]
    return _with_colons(text)


# ---- what the rest means ----


def _learn(
    times: Sequence[float], plain: Sequence[str], way: _Digits, placed: Sequence[tuple[DisplayNote, int | None]],
    notes: Sequence[DisplayNote], *, is_timed: bool,
) -> TextStates:  # fmt: skip
    cut = [way.cut(text) for text in plain]
    left, right = _clocks(times, cut)
    lines = [
        line and CutLine(_masked(line.before, left, _NONE), line.number, _masked(line.after, _NONE, right))
        for line in cut
    ]
    texts = [_masked(text, left, right) for text in plain]
    known: dict[tuple[str, str, bool], StateMeaning] = {}
    for note, index in placed:
        line = lines[index] if index is not None else None
        if index is None or line is None:
            continue
        states = {
            each.state if (each := lines[i]) else None for i in timing.still(times, note, index, is_timed=is_timed)
        }
        if len(states) == 1:
            _add(known, line.state, StateMeaning(
                facts=note.meaning, decimals=None if line.point else note.decimals,
                is_negative=way.sign_is_apart and note.negative, is_over=False, learned_at=(note.at,),
            ))  # fmt: skip
    overs = _overs(times, texts, notes)
    if any(line is not None and texts[i] in overs and line.state in known for i, line in enumerate(lines)):
        raise Contradiction("a line was noted both as a number and as over the range", [])
    comma = any(index is not None and (line := lines[index]) is not None and line.point == "," for _, index in placed)
    return TextStates(
        known=known, overs=overs, comma=comma, sign_is_apart=way.sign_is_apart, lines=tuple(lines), texts=tuple(texts),
        figures=rf"\d{{{way.width}}}" if way.width else r"\d+",
    )  # fmt: skip


def _overs(times: Sequence[float], texts: Sequence[str], notes: Sequence[DisplayNote]) -> dict[str, StateMeaning]:
    """What whole lines that were noted as over the range mean; one that means several things is not known."""
    found: dict[str, list[StateMeaning]] = {}
    for note in notes:
        index = timing.own_index(times, note)
        if note.is_over and all(texts[i] == texts[index] for i in timing.still(times, note, index, is_timed=False)):
            meaning = StateMeaning(
                facts=note.meaning, decimals=None, is_negative=False, is_over=True, learned_at=(note.at,)
            )
            found.setdefault(texts[index], []).append(meaning)
    return {
        text: replace(each[0], learned_at=tuple(at for meaning in each for at in meaning.learned_at))
        for text, each in found.items()
        if len({meaning.words for meaning in each}) == 1
    }


def _add(known: dict[_Key, StateMeaning], state: _Key, meaning: StateMeaning) -> None:
    before = known.get(state)
    if before is not None and before.words != meaning.words:
        raise Contradiction("two notes say different things of one line", (*before.learned_at, *meaning.learned_at))
    known[state] = replace(meaning, learned_at=(*(before.learned_at if before else ()), *meaning.learned_at))
