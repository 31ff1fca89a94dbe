"""The shapes of names and sentences that every part of a procedure's text uses."""

from __future__ import annotations

from meterlog.base.schema import Scalar, text


def one_line(expected: str) -> Scalar:
    """A text whose line breaks and runs of blanks become single blanks."""
    return Scalar(expected, lambda value: " ".join(text(expected).parse(value).split()), {"type": "string"})


NAME = text('a name of small letters, digits and hyphens, such as "hv-diode"', r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
ENTRY = text('a name in plain words, such as "rated output"', r"[A-Za-z][A-Za-z0-9_]*([ -][A-Za-z0-9_]+)*")
SENTENCE = one_line("a sentence")
