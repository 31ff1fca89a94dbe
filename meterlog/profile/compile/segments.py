"""Seven-segment digits: a top, b and c right, d bottom, e and f left, g middle.

The letters on which figures light which segments are common practice and differ in small ways; both
usual forms of 6, 7 and 9 are known, and everything else is no figure.
"""

from __future__ import annotations

FIGURES = {
    "abcdef": "0", "bc": "1", "abged": "2", "abgcd": "3", "fgbc": "4", "afgcd": "5", "afgedc": "6", "gfedc": "6",
    "abc": "7", "fabc": "7", "abcdefg": "8", "abcdfg": "9", "abcfg": "9",
    "": " ", "g": "-", "def": "L", "adefg": "E", "aefg": "F", "eg": "r", "egc": "n", "egcd": "o",
    "degf": "t", "bcdeg": "d", "cdefg": "b", "adef": "C", "abefg": "P", "bcefg": "H", "cefg": "h", "deg": "c",
    "abcefg": "A", "bcdef": "U", "cde": "u", "ef": "l", "c": "i",
}  # fmt: skip


def segment_table(letters: str) -> dict[int, str]:
    """From the number that a digit's bits make to its figure; `letters` name the bits, highest first.

    >>> segment_table("gfedcba")[0b0111111]
    '0'
    """
    bit = {letter: 1 << place for place, letter in enumerate(reversed(letters)) if letter != "-"}
    table: dict[int, str] = {}
    for lit, figure in FIGURES.items():
        table.setdefault(sum(bit[segment] for segment in lit), figure)
    return table
