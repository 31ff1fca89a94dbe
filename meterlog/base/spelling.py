"""How people write numbers, read at every border by one bounded grammar.

A decimal comma is a point ("0,42"); a mark that may stand for thousands ("1,000") is refused, never
guessed at. Lengths and exponents have ends, so that no text can cost more than it says.
"""

from __future__ import annotations

import re

from meterlog.base.errors import WrongValue

NUMBER = r"[-+]?(?:[0-9]{1,20}(?:\.[0-9]{0,20})?|\.[0-9]{1,20})(?:[eE][-+]?[0-9]{1,2})?"
"""A number in a text that went through `tidy`; finite, whatever is written."""

LONGEST, LONGEST_ENTRY, LONGEST_MARKING = 10_000, 200, 200
"""Characters of the longest text of quantities (some hundred readings of a run), of one entry, of a part's marking."""

_JOINED = re.compile(r"(?<![0-9.,])[0-9]+(?:[.,][0-9]+)+(?![0-9])")
_OTHER_SIGNS = (("−", "-"), ("–", "-"), ("+/-", "±"), ("+-", "±"), ("<=", "≤"), (">=", "≥"))
_SEPARATOR = re.compile(r"(?<![0-9]),|,(?![0-9])|;")
_RANGE = re.compile(
    rf"((?>{NUMBER}))\s*(%|[^\s0-9.+±%-][^+±%-]*?)?\s*(?:-|\.\.|\bto\b)\s*((?>{NUMBER})\s*(?:%|[^\s0-9.+±%-][^+±%]*))"
)


def tidy(text: str, longest: int = LONGEST) -> str:
    """A text of quantities in one spelling: decimal points, ±, ≤, single blanks.

    Raises: WrongValue when it is too long, cannot be printed, or a comma may mean thousands.

    >>> tidy("0,42  ohm +/- 1 %")
    '0.42 ohm ± 1 %'
    """
    if len(text) > longest:
        raise WrongValue(f"{len(text)} characters are too many: write at most {longest}")
    words = " ".join(text.split())
    if not words.isprintable():
        raise WrongValue(f"{words!r} holds a character that cannot be printed: leave it out")
    for other, sign in _OTHER_SIGNS:
        words = words.replace(other, sign)
    return _JOINED.sub(_with_point, words)


def _with_point(joined: re.Match[str]) -> str:
    number = joined[0]
    if "," not in number:
        return number
    whole, _, part = number.partition(",")
    if "." in number or "," in part:
        raise WrongValue(f'{number!r} holds marks for thousands: write it without them, such as "1000.5"')
    if len(part) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0":
        raise WrongValue(
            f'{number!r} can be {whole}.{part} or {whole}{part}: write "{whole}.{part}" or "{whole}{part}"'
        )
    return f"{whole}.{part}"


def words(text: str, longest: int, *, lines: bool = False) -> str:
    """What a person wrote, to be kept: one line with single blanks, or lines as they stand.

    Raises: WrongValue when it is too long, or holds what cannot be printed.

    >>> words("no access\\n to it", 100)
    'no access to it'
    """
    if len(text) > longest:
        raise WrongValue(f"{len(text)} characters are too many: write at most {longest}")
    kept = text.replace("\r\n", "\n").replace("\t", " ").strip() if lines else " ".join(text.split())
    if not kept.replace("\n", " ").isprintable():
        raise WrongValue("it holds a character that cannot be printed: leave it out")
    return kept


def parts_of(text: str) -> list[str]:
    """The parts of a list: between semicolons and commas, but for a decimal comma.

    >>> parts_of("10 s: 5,6 ohm, 20 s: 5,5 ohm")
    ['10 s: 5,6 ohm', '20 s: 5,5 ohm']
    """
    return [part.strip() for part in _SEPARATOR.split(text)]


def split_doubt(text: str) -> tuple[str, str]:
    """("1.01 kg", "0.005 kg") from "1.01 ± 0.005 kg": a value and what stands behind its ±, "" when nothing does.

    A unit that stands behind the whole is that of both. Raises: WrongValue for more than one ±.
    """
    words = tidy(text)
    if bracketed := re.fullmatch(r"\(([^()]*±[^()]*)\)\s*(\S.*)", words):
        words = f"{bracketed[1].strip()} {bracketed[2]}"
    value, sign, width = (part.strip() for part in words.partition("±"))
    if "±" in width:
        raise WrongValue(f'write one ±, such as "1000 g ± 2 g", not {text!r}')
    if sign and not width:
        raise WrongValue(f'write what stands behind the ±, such as "1000 g ± 2 g", not {text!r}')
    unit = re.fullmatch(rf"(?>{NUMBER})\s*([^\s0-9%.].*)", width)
    if unit and re.fullmatch(NUMBER, value):
        value = f"{value} {unit[1]}"
    elif re.fullmatch(NUMBER, width) and (unit := re.fullmatch(rf"(?>{NUMBER})\s*(\D.*)", value)):
        width = f"{width} {unit[1]}"
    return value, width


def split_range(text: str) -> tuple[str, str] | None:
    """("220 V", "240 V") from "220-240 V", "220 .. 240 V" or "220 V to 240 V"; None when it is no range."""
    found = _RANGE.fullmatch(tidy(text))
    if not found:
        return None
    unit = found[2] or found[3].removeprefix(_number_of(found[3])).strip()
    return f"{found[1]} {unit}", found[3]


def _number_of(measure: str) -> str:
    found = re.match(NUMBER, measure)
    assert found
    return found[0]
