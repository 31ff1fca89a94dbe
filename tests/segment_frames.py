"""Frames of the shipped segment profile for readings, put together from the table in the profile's head."""

from __future__ import annotations

from meterlog.readings import Reading
from meterlog.recording import Event, Recording

LIT = {"0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
       "8": "abcdefg", "9": "abcdfg", "L": "def", " ": ""}  # fmt: skip
UNITS = {"ohm": (12, 4), "V": (13, 4), "F": (12, 8), "degC": (14, 4)}
PREFIXES = {"k": (10, 2), "n": (10, 4), "u": (10, 8), "M": (11, 2), "m": (11, 8)}


def frame(reading: Reading) -> bytes:
    """The fourteen bytes that light what a reading shows; four digits at most."""
    low = [0] * 15  # low[n]: the lower half of byte n
    form = reading.form
    text = " 0L " if form.bound else f"{abs(reading.counts):04d}"
    assert len(text) == 4, f"{text} does not fit the display"
    for place, figure in enumerate(text):
        for segment in LIT[figure]:
            byte, bit = (
                (2 + 2 * place, "afe".index(segment)) if segment in "afe" else (3 + 2 * place, "bgcd".index(segment))
            )
            low[byte] |= 1 << bit
    if not form.bound and form.decimals:
        low[{3: 4, 2: 6, 1: 8}[form.decimals]] |= 8
    if not form.bound and reading.counts < 0:
        low[2] |= 8
    low[1] |= 4 if form.mode == "dc" else 8 if form.mode == "ac" else 0
    unit = form.unit
    if unit not in UNITS:
        byte, bit = PREFIXES[unit[0]]
        low[byte] |= bit
        unit = unit[1:]
    byte, bit = UNITS[unit]
    low[byte] |= bit
    if form.quantity == "junction_voltage":
        low[10] |= 1
    if form.quantity == "continuity":
        low[11] |= 1
    if "hold" in form.flags:
        low[12] |= 1
    return bytes((number << 4 | low[number]) & 0xFF for number in range(1, 15))


def recording(stream: list[tuple[float, Reading]], **head: str) -> Recording:
    """A recording of a stream, each frame in one piece."""
    events = tuple(Event(at, "in", frame(reading)) for at, reading in stream)
    return Recording(head={"profile": "handheld-segments", **head}, events=events)
