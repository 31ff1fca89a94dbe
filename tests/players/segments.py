"""The 14-byte segment frame, put together from what the display should show.

Written from the table in profiles/instruments/handheld-segments.yaml's head, not from its decoder:
byte n carries n in its upper half; bytes 2 to 9 the four digits, the others the symbols.
"""

from meterlog.base.readings import Reading
from meterlog.base.recording import Event, Recording

# a top, b upper right, c lower right, d bottom, e lower left, f upper left, g middle
FIGURES = {
    "0": "abcdef", "1": "bc", "2": "abdeg", "3": "abcdg", "4": "bcfg", "5": "acdfg", "6": "acdefg", "7": "abc",
    "8": "abcdefg", "9": "abcdfg", " ": "", "L": "def",
}  # fmt: skip
PLACES = {"e": (0, 2), "f": (0, 1), "a": (0, 0), "d": (1, 3), "c": (1, 2), "g": (1, 1), "b": (1, 0)}
SYMBOLS = {
    "remote": (1, 0), "auto": (1, 1), "dc": (1, 2), "ac": (1, 3), "diode": (10, 0), "k": (10, 1), "n": (10, 2),
    "u": (10, 3), "beep": (11, 0), "M": (11, 1), "%": (11, 2), "m": (11, 3), "hold": (12, 0), "rel": (12, 1),
    "ohm": (12, 2), "F": (12, 3), "battery": (13, 0), "Hz": (13, 1), "V": (13, 2), "A": (13, 3), "degC": (14, 2),
}  # fmt: skip


def frame(shown: str, *symbols: str) -> bytes:
    """The frame for four figures such as "0.042" or " 0L " with the symbols that are lit around them."""
    low = [0] * 15
    minus, digits = shown.startswith("-"), shown.removeprefix("-")
    if minus:
        low[2] |= 8
    figures = digits.replace(".", "")
    assert len(figures) == 4, shown
    point = digits.find(".")
    if point > 0:
        low[2 + 2 * point] |= 8
    for i, figure in enumerate(figures):
        for segment in FIGURES[figure]:
            byte, bit = PLACES[segment]
            low[2 + 2 * i + byte] |= 1 << bit
    for symbol in ("remote", *symbols):
        byte, bit = SYMBOLS[symbol]
        low[byte] |= 1 << bit
    return bytes(n << 4 | low[n] for n in range(1, 15))


def frame_of(reading: Reading) -> bytes:
    """The frame of a display that shows a reading; four figures at most."""
    form = reading.form
    shown = " 0L "
    if not form.bound:
        figures, point = f"{abs(reading.counts):04d}", 4 - form.decimals
        shown = ("-" if reading.counts < 0 else "") + (figures[:point] + "." + figures[point:]).rstrip(".")
    unit = form.unit if form.unit in SYMBOLS else form.unit[1:]
    lit = [unit, *form.unit.removesuffix(unit), *(flag for flag in ("hold",) if flag in form.flags)]
    lit += [form.mode] if form.mode else []
    lit += {"junction_voltage": ["diode"], "continuity": ["beep"]}.get(form.quantity, [])
    return frame(shown, *lit)


def recorded(stream: list[tuple[float, Reading]], **head: str) -> Recording:
    """A recording of a stream, each frame in one piece."""
    events = tuple(Event(at, "in", frame_of(reading)) for at, reading in stream)
    return Recording(head={"profile": "handheld-segments", **head}, events=events)


RANGES = {  # quantity: (full scale, decimals, symbols) from the lowest range up; 4000 counts, auto range
    "ohm": [
        (400.0, 1, ("ohm",)), (4e3, 3, ("k", "ohm")), (4e4, 2, ("k", "ohm")), (4e5, 1, ("k", "ohm")),
        (4e6, 3, ("M", "ohm")), (4e7, 2, ("M", "ohm")),
    ],
    "dc V": [(4.0, 3, ("V", "dc")), (40.0, 2, ("V", "dc")), (400.0, 1, ("V", "dc")), (1000.0, 0, ("V", "dc"))],
    "ac V": [(4.0, 3, ("V", "ac")), (40.0, 2, ("V", "ac")), (400.0, 1, ("V", "ac")), (750.0, 0, ("V", "ac"))],
    "diode": [(4.0, 3, ("diode", "V"))],
    "F": [
        (4e-9, 3, ("n", "F")), (4e-8, 2, ("n", "F")), (4e-7, 1, ("n", "F")), (4e-6, 3, ("u", "F")),
        (4e-5, 2, ("u", "F")), (4e-4, 1, ("u", "F")),
    ],
}  # fmt: skip
PREFIX = {"k": 1e3, "M": 1e6, "n": 1e-9, "u": 1e-6, "m": 1e-3}


def showing(quantity: str, value: float | None) -> bytes:
    """The frame of a meter on a function that sees an SI value; None is beyond its last range."""
    for full, decimals, symbols in RANGES[quantity]:
        if value is not None and abs(value) < full:
            factor = next((PREFIX[s] for s in symbols if s in PREFIX), 1.0)
            counts = f"{abs(value) / factor:.{decimals}f}".zfill(5 if decimals else 4)
            return frame(("-" if value < 0 else "") + counts, *symbols, "auto")
    _, _, symbols = RANGES[quantity][-1]
    return frame(" 0L ", *symbols, "auto")
