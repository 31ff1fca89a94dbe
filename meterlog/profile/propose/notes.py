"""Notes: what the display showed at a moment, as a person types it ("-0.42 mV AC HOLD", "OL kohm")."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

from meterlog.base.errors import WrongText
from meterlog.base.problem import Place, Problem
from meterlog.profile.language.facts import known_unit

OVER = frozenset({"OL", "0L", "O.L", "OL.", "0.L", "OVER", "OVERLOAD", "----", "---", "1."})
"""What displays show over their range."""

_DIGITS = re.compile(r"([-+−]?)(\d*)(?:[.,](\d+))?")
_MODES = {"AC": "ac", "DC": "dc", "AC+DC": "ac+dc", "~": "ac"}


@dataclass(frozen=True, slots=True, kw_only=True)
class DisplayNote:
    """What the display showed.

    Attributes:
        at: when, s of the recording.
        typed: as it was written.
        counts: the figures without their point, ≥ 0; None over the range.
        decimals: figures behind the point.
        within_s: how far from `at` the moment may be, s: what a slow link leaves unknown.
        unit, mode: "" where not written. flags: other words, in small letters, in order.
    """

    at: float
    typed: str
    channel: str
    counts: int | None
    decimals: int
    negative: bool
    unit: str
    mode: str
    flags: tuple[str, ...]
    within_s: float = 0.0

    @property
    def is_over(self) -> bool:
        return self.counts is None

    @property
    def meaning(self) -> str:
        """What the state means, apart from sign and point, as a profile writes facts."""
        said = " ".join(filter(None, (self.mode, self.unit)))
        return "; ".join(filter(None, (said, *(f"flag {flag}" for flag in self.flags))))


def parse_shows(typed: str, at: float, channel: str = "", within_s: float = 0.0) -> DisplayNote:
    """A note from what was typed. Raises: ValueError with what was not understood."""
    words = typed.replace("−", "-").split()
    if len(words) > 1 and words[0] in ("-", "+"):
        words = [words[0] + words[1], *words[2:]]
    if not words:
        raise ValueError("nothing is written: what did the display show?")
    head, *rest = words
    negative, counts, decimals = head.startswith("-"), None, 0
    if head.lstrip("+-").upper() not in OVER:
        match = _DIGITS.fullmatch(head)
        if not match or not (match[2] or match[3]) or len(head) > 16:
            raise ValueError(f"{head!r} is neither figures nor OL")
        decimals = len(match[3] or "")
        counts = int((match[2] or "") + (match[3] or ""))
    unit, mode, flags = "", "", []
    for word in rest:
        if word.upper() in _MODES and not mode:
            mode = _MODES[word.upper()]
        elif not unit and (named := _unit(word)):
            unit = named
        elif re.fullmatch(r"[A-Za-z][A-Za-z0-9-]{0,15}", word):
            flags.append(word.lower())
        else:
            raise ValueError(f"{word!r} is neither a unit nor a word")
    return DisplayNote(at=at, typed=typed.strip(), channel=channel, counts=counts, decimals=decimals,
                negative=negative and counts is not None, unit=unit, mode=mode, flags=tuple(sorted(flags)),
                within_s=within_s)  # fmt: skip


def _unit(word: str) -> str:
    try:
        return known_unit(word, word)
    except ValueError:
        return ""


def read_notes(text: str, name: str) -> tuple[DisplayNote, ...]:
    """The notes of a CSV text with the columns t_s, shows and, where a meter has several displays, channel.

    Raises: WrongText with every row that can't be read.
    """
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    problems: list[Problem] = []

    def wrong(line: int, expected: str, saw: str) -> None:
        problems.append(Problem(place=Place(name=name, line=line, column=1), path="", expected=expected, saw=saw[:60]))

    head = [cell.strip() for cell in rows[0]] if rows else []
    if not {"t_s", "shows"} <= set(head):
        wrong(1, "a first row t_s,shows", ",".join(head) or "an empty file")
        raise WrongText(problems)
    notes = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = dict(zip(head, row, strict=False))
        time = cells.get("t_s", "").strip()
        if not re.fullmatch(r"\d{1,7}(\.\d{1,6})?", time):
            wrong(line, "seconds since the recording began, such as 12.5", time or "nothing")
            continue
        try:
            notes.append(parse_shows(cells.get("shows", ""), float(time), cells.get("channel", "").strip()))
        except ValueError as error:
            wrong(line, "what the display showed, such as -0.42 mV AC", str(error))
    if problems:
        raise WrongText(problems)
    return tuple(sorted(notes, key=lambda note: note.at))
