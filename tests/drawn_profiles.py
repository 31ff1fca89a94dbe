"""Invented instruments: a profile, and frames with their truth, made together from one draw.

The encoder shares nothing with meterlog: it knows the dialect as a firmware does, and writes down what its display
showed.
"""

import random
import struct
from dataclasses import dataclass
from functools import reduce
from operator import xor

QUANTITIES = [
    ("dc voltage", "V", "dc"), ("ac voltage", "V", "ac"), ("resistance", "ohm", ""), ("dc current", "A", "dc"),
    ("temperature", "degC", ""), ("frequency", "Hz", ""),
]  # fmt: skip
NAMES = {"V": "voltage", "ohm": "resistance", "A": "current", "degC": "temperature", "Hz": "frequency"}


def crc_modbus(data):
    """CRC-16 of Modbus, bit by bit (MODBUS over Serial Line V1.02, appendix B)."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


CHECKS = {
    "sum-8": lambda data: sum(data) & 0xFF,
    "negated sum-8": lambda data: -sum(data) & 0xFF,
    "xor-8": lambda data: reduce(xor, data, 0),
    "CRC-16/MODBUS": crc_modbus,
    "sum-16": lambda data: sum(data) & 0xFFFF,
}


@dataclass
class Dialect:
    """A profile's text; `frame(rng)` answers bytes and what the display showed then, "" for no reading."""

    text: str
    frame: object
    check: str


def shown(counts, decimals, unit, quantity, mode, flags):
    digits = f"{abs(counts):0{decimals + 1}d}"
    digits = f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits
    flags = f" ({'; '.join(sorted(flags))})" if flags else ""
    return f"{'-' if counts < 0 else ''}{digits} {unit} {mode} {quantity}".replace("  ", " ") + flags


def dialect(seed):
    """One dialect: binary frames with codes and a check, or lines of text."""
    rng = random.Random(seed)
    return rng.choice((binary, binary, line))(rng)


def codes_of(rng, count):
    return rng.sample(range(1, 200), count)


def binary(rng):
    start = bytes(rng.sample(range(128, 256), rng.choice((1, 2))))
    kinds = rng.sample(QUANTITIES, rng.randrange(2, 5))
    functions = dict(zip(codes_of(rng, len(kinds)), kinds, strict=True))
    ranges = {code: decimals for decimals, code in enumerate(codes_of(rng, rng.randrange(1, 4)))}
    order, check = rng.choice(("big", "little")), rng.choice(list(CHECKS))
    held, size = rng.randrange(8), 2 if check in ("CRC-16/MODBUS", "sum-16") else 1
    where = len(start)
    length = where + 5 + size
    means = ", ".join(f"{code}: {quantity} in {unit}" for code, (quantity, unit, _) in functions.items())
    points = ", ".join(f"{code}: decimals {decimals}" for code, decimals in ranges.items())
    text = f"""profile: invented
title: An invented dialect
frame: {{start: hex {start.hex(" ").upper()}, length: {length}}}
check: {{kind: {check}, at: {length - size}..{length - 1}, order: {order}}}
fields:
  function: {{byte: {where}, means: {{{means}}}}}
  range: {{byte: {where + 1}, means: {{{points}}}}}
bits: {{{where + 4}.{held}: flag hold}}
readings:
  - {{bytes: {where + 2}..{where + 3}, as: i16 {order}}}
"""

    def frame(rng):
        function, range_code = rng.choice(list(functions)), rng.choice(list(ranges))
        counts, is_held = rng.randrange(-32000, 32000), rng.random() < 0.3
        body = start + bytes((function, range_code)) + struct.pack(">h" if order == "big" else "<h", counts)
        body += bytes((1 << held if is_held else 0,))
        value = CHECKS[check](body)
        _, unit, mode = functions[function]
        truth = shown(counts, ranges[range_code], unit, NAMES[unit], mode, ["hold"] if is_held else [])
        return body + value.to_bytes(size, order), truth

    return Dialect(text=text, frame=frame, check=check)


def line(rng):
    head = rng.choice(("M:", "#", "VAL=", "@@"))
    kinds = rng.sample(QUANTITIES, rng.randrange(2, 5))
    words = dict(zip(rng.sample(["DCV", "ACV", "OHM", "DCA", "TMP", "FRQ", "X1", "Q"], len(kinds)), kinds, strict=True))
    decimals = rng.randrange(4)
    means = ", ".join(f"{word}: {quantity} in {unit}" for word, (quantity, unit, _) in words.items())
    text = f"""profile: invented
title: An invented dialect of lines
frame: {{end: <CR><LF>}}
text: "{head}{{function}},{{value}},{{flags}};{{_}}"
check: {{kind: sum-16, over: 0..-5, at: -4..-1, as: hex}}
fields:
  function: {{means: {{{means}}}}}
  value: {{as: decimal *.{decimals}, special: {{OL: overload}}}}
  flags: {{means: {{H: flag hold, "-": normal}}}}
readings:
  - {{value: value}}
"""

    def frame(rng):
        word, is_held = rng.choice(list(words)), rng.random() < 0.3
        counts, is_over = rng.randrange(-9999, 9999), rng.random() < 0.1
        number = "OL" if is_over else shown(counts, decimals, "", "", "", []).strip()
        body = f"{head}{word},{number},{'H' if is_held else '-'};".encode()
        _, unit, mode = words[word]
        flags = ["hold"] if is_held else []
        truth = shown(counts, decimals, unit, NAMES[unit], mode, flags)
        if is_over:
            truth = f"overload {unit} {mode} {NAMES[unit]}".replace("  ", " ") + (" (hold)" if is_held else "")
        return body + f"{sum(body) & 0xFFFF:04X}\r\n".encode(), truth

    return Dialect(text=text, frame=frame, check="sum-16")
