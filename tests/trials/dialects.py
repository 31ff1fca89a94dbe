"""Random dialects of invented instruments, with the truth of every frame: what the proposer is tried on.

Written from general knowledge of how meters put numbers into bytes; shares no code with the product.
"""

from __future__ import annotations

import random
import struct
from dataclasses import dataclass, field

FUNCTIONS = {  # name: (mode, ranges as (decimals, unit), largest count)
    "dcv": ("DC", [(3, "V"), (2, "V"), (1, "V"), (1, "mV")], 5999),
    "acv": ("AC", [(3, "V"), (2, "V"), (1, "V")], 5999),
    "ohm": ("", [(1, "ohm"), (3, "kohm"), (2, "kohm"), (3, "Mohm")], 5999),
    "cap": ("", [(3, "nF"), (2, "uF"), (1, "uF")], 5999),
    "dca": ("DC", [(1, "mA"), (3, "A")], 5999),
    "temp": ("", [(1, "degC")], 5999),
    "freq": ("", [(2, "Hz"), (3, "kHz")], 5999),
}
SIGNED = {"dcv", "dca", "temp"}


@dataclass
class Shown:
    """What the display shows at one frame."""

    t: float
    function: str
    range: int
    counts: int  # signed
    hold: bool
    over: bool
    negative: bool

    @property
    def mode(self):
        return FUNCTIONS[self.function][0]

    @property
    def decimals(self):
        return FUNCTIONS[self.function][1][self.range][0]

    @property
    def unit(self):
        return FUNCTIONS[self.function][1][self.range][1]

    def digits(self, width=0):
        d = self.decimals
        text = f"{abs(self.counts):0{max(width, d + 1)}d}"
        text = f"{text[:-d]}.{text[-d:]}" if d else text
        return ("-" if self.negative else "") + text

    def typed(self):
        """As its user writes a note."""
        head = "OL" if self.over else self.digits()
        return " ".join(w for w in (head, self.unit, self.mode, "HOLD" if self.hold else "") if w)


@dataclass
class Stream:
    """A recording with its truth."""

    name: str
    events: list  # (t, "in" or "out", bytes)
    frames: list  # (t of its last byte, bytes on the wire, Shown or None)
    framing: str
    check: str  # "" where there is none
    features: dict = field(default_factory=dict)


def course(rng, seconds=60.0, rate=4.0, functions=None):
    """What one person does with a meter for a minute: functions and ranges change, values wander, HOLD now and then."""
    functions = functions or rng.sample(sorted(FUNCTIONS), rng.choice([3, 4, 5]))
    out, t = [], 0.5
    function, rng_i, value, hold, over = functions[0], 0, 1000, False, False
    until = 0.0
    while t < seconds:
        if t >= until:
            until = t + rng.uniform(2.0, 7.0)
            if rng.random() < 0.6:
                function = rng.choice(functions)
            rng_i = rng.randrange(len(FUNCTIONS[function][1]))
            value = rng.randrange(200, FUNCTIONS[function][2])
            if function in SIGNED and rng.random() < 0.35:
                value = -value
            hold = rng.random() < 0.12
            over = rng.random() < 0.12 and function in ("ohm", "dcv")
        if not hold:
            value += rng.choice([-3, -1, 0, 0, 1, 2])
        out.append(Shown(t, function, rng_i, value, hold, over, value < 0 and not over))
        t += 1.0 / rate
    return out, functions


# ---- checks ----


def crc(data, width, poly, init, refin, refout, xorout):
    def rev(v, n):
        return int(f"{v:0{n}b}"[::-1], 2)

    mask, reg = (1 << width) - 1, init
    for byte in data:
        byte = rev(byte, 8) if refin else byte
        for i in range(7, -1, -1):
            top = (reg >> (width - 1)) & 1
            reg = (reg << 1) & mask
            if top ^ ((byte >> i) & 1):
                reg ^= poly
    return (rev(reg, width) if refout else reg) ^ xorout


def checks(rng):
    """(name, size, function of the bytes before it)."""
    start = rng.choice([0, 0, 1, 2])
    plus = rng.choice([0, 0, 0, 0x55])
    poly = rng.randrange(1, 1 << 16) | 1
    return rng.choice([
        ("", 0, lambda b: b""),
        ("sum-8", 1, lambda b: bytes([(sum(b[start:]) + plus) & 255])),
        ("negated sum-8", 1, lambda b: bytes([-sum(b[start:]) & 255])),
        ("xor-8", 1, lambda b: bytes([__import__("functools").reduce(lambda x, y: x ^ y, b[start:], 0)])),
        ("sum-16", 2, lambda b: (sum(b[start:]) & 0xFFFF).to_bytes(2, "big")),
        ("crc-8", 1, lambda b: bytes([crc(b[start:], 8, 0x07, 0, False, False, 0)])),
        ("crc-16 modbus", 2, lambda b: crc(b, 16, 0x8005, 0xFFFF, True, True, 0).to_bytes(2, "little")),
        ("crc-16 ccitt", 2, lambda b: crc(b, 16, 0x1021, 0xFFFF, False, False, 0).to_bytes(2, "big")),
        ("crc-16 unlisted", 2, lambda b: crc(b, 16, poly, 0x1234, False, False, 0).to_bytes(2, "big")),
    ])  # fmt: skip


# ---- how a reading becomes bytes ----


def codes(rng, count, bits=8):
    return rng.sample(range(1 << bits), count)


class Binary:
    """lead, function, range, number, flags; the order and the number's form are random."""

    def __init__(self, rng, functions):
        self.function = dict(zip(functions, codes(rng, len(functions)), strict=True))
        self.range = codes(rng, 4, 4)
        self.form = rng.choice(
            [
                "i16 big",
                "i16 little",
                "sm16 big",
                "u16 sign bit",
                "i32 little",
                "bcd",
                "f32 big",
                "f32 little",
                "u24 sign bit",
            ]
        )
        self.flags_before = rng.random() < 0.5
        self.hold, self.neg, self.over = rng.sample([1, 2, 4, 8, 16, 32, 64, 128], 3)
        self.joined = rng.random() < 0.4
        self.lead = rng.choice([b"\xaa\x55", b"\xdc\xba", b"\x55", b"\x02", b"\xf0"])
        self.pad = rng.choice([b"", b"\x00", b"\x30"])
        self.signed = self.form in ("u16 sign bit", "bcd", "u24 sign bit")

    def number(self, s):
        n, a = s.counts, abs(s.counts)
        if s.over:
            n = a = {"f32 big": 0, "f32 little": 0}.get(self.form, 9999 if self.form == "bcd" else 0x7FFF)
        if self.form == "i16 big":
            return struct.pack(">h", n)
        if self.form == "i16 little":
            return struct.pack("<h", n)
        if self.form == "sm16 big":
            return struct.pack(">H", a | (0x8000 if n < 0 else 0))
        if self.form == "u16 sign bit":
            return struct.pack(">H", a)
        if self.form == "u24 sign bit":
            return a.to_bytes(3, "little")
        if self.form == "i32 little":
            return struct.pack("<i", n)
        if self.form == "bcd":
            return bytes.fromhex(f"{a:04d}")
        value = float("inf") if s.over else n / 10**s.decimals
        return struct.pack(">f" if self.form == "f32 big" else "<f", value)

    def body(self, s):
        flags = (
            (self.hold if s.hold else 0)
            | (self.over if s.over else 0)
            | (self.neg if self.signed and s.negative else 0)
        )
        f, r = self.function[s.function], self.range[s.range]
        head = bytes([f, r]) if not self.joined else bytes([f & 0xF0 | r]) + bytes([f])
        parts = [bytes([flags]), self.number(s)]
        if not self.flags_before:
            parts.reverse()
        return self.lead + head + b"".join(parts) + self.pad


class Text:
    def __init__(self, rng, functions):
        self.end = rng.choice([b"\r\n", b"\r", b"\n"])
        self.comma = rng.random() < 0.2
        self.layout = rng.choice(["mode num unit", "num unit mode", "csv", "code digits"])
        self.units = {"ohm": rng.choice(["Ohm", "OHM", "R"]), "kohm": "kOhm", "Mohm": "MOhm", "degC": "C"}
        self.width = rng.choice([0, 8])
        self.code = {f: chr(c) for f, c in zip(functions, rng.sample(range(0x41, 0x5B), len(functions)), strict=True)}
        self.sep = rng.choice([",", ";"]) if not self.comma else ";"

    def line(self, s):
        number = ("OL" if s.over else s.digits(5)).rjust(self.width)
        number = number.replace(".", ",") if self.comma else number
        unit = self.units.get(s.unit, s.unit)
        mode = s.mode or "--"
        if self.layout == "mode num unit":
            return f"{mode:<3}{number} {unit:<5}{'H' if s.hold else ' '}"
        if self.layout == "num unit mode":
            return f"{number} {unit} {mode}{' HOLD' if s.hold else ''}"
        if self.layout == "csv":
            return self.sep.join([mode, number.strip(), unit, "1" if s.hold else "0"])
        digits = "-----" if s.over else f"{abs(s.counts):05d}"
        return f"{self.code[s.function]}{s.range}{'-' if s.negative else '+'}{digits}{'H' if s.hold else 'N'}"

    def body(self, s):
        return self.line(s).encode("ascii")


SEGMENTS = {
    "0": "abcdef",
    "1": "bc",
    "2": "abged",
    "3": "abgcd",
    "4": "fgbc",
    "5": "afgcd",
    "6": "afgedc",
    "7": "abc",
    "8": "abcdefg",
    "9": "abcdfg",
    "L": "fed",
    " ": "",
}


class Segments:
    """14 numbered bytes, the lower half of each lights four segments; places of lamps are random."""

    def __init__(self, rng, functions):
        self.order = rng.choice(["efadcgb", "adcbfge", "agfedcb"])
        self.lamp = {}
        places = [(b, i) for b in (9, 10, 11, 12, 13) for i in range(4)] + [(0, i) for i in range(4)]
        rng.shuffle(places)
        for name in ("AC", "DC", "HOLD", "m", "k", "M", "n", "u", "V", "A", "ohm", "F", "Hz", "degC"):
            self.lamp[name] = places.pop()

    def body(self, s):
        low = [0] * 14
        text = " 0L " if s.over else f"{abs(s.counts):04d}"
        for d, char in enumerate(text):
            lit = [1 if seg in SEGMENTS[char] else 0 for seg in self.order]
            # seven bits over two bytes, highest first: 3 then 4
            value = int("".join(map(str, lit)), 2)
            low[1 + 2 * d] |= value >> 4
            low[2 + 2 * d] |= value & 15
        if s.negative:
            low[1] |= 8
        point = 4 - s.decimals
        if not s.over and s.decimals:
            low[1 + 2 * point] |= 8
        unit, prefix = s.unit, ""
        if unit not in self.lamp:
            prefix, unit = unit[0], unit[1:]
        for lamp in [unit, prefix, s.mode, "HOLD" if s.hold else ""]:
            if lamp:
                b, i = self.lamp[lamp]
                low[b] |= 1 << i
        return bytes((i + 1) << 4 | v for i, v in enumerate(low))


class DigitBytes:
    """Range, four figures, function, status, options as characters."""

    def __init__(self, rng, functions):
        self.function = dict(zip(functions, rng.sample(range(0x30, 0x40), len(functions)), strict=True))
        self.first = rng.choice([0x30, 0x40])
        self.neg, self.over, self.hold = rng.sample([1, 2, 4, 8], 3)

    def body(self, s):
        digits = "9999" if s.over else f"{abs(s.counts):04d}"
        status = 0x30 | (self.neg if s.negative else 0) | (self.over if s.over else 0)
        mode = 0x30 | {"DC": 8, "AC": 4, "": 0}[s.mode]
        return (
            bytes([self.first + s.range])
            + digits.encode()
            + bytes([self.function[s.function], status, 0x30 | (self.hold if s.hold else 0), mode])
        )


# ---- framings ----


def escaped(data, by, marks, xor):
    out = bytearray()
    for b in data:
        out += bytes([by, b ^ xor]) if b in marks or b == by else bytes([b])
    return bytes(out)


def stream(seed, seconds=60.0):
    rng = random.Random(seed)
    shown, functions = course(rng, seconds, rng.choice([2.0, 3.0, 4.0, 5.0]))
    kind = rng.choice(
        [
            "binary",
            "binary",
            "binary",
            "text",
            "text",
            "segments",
            "digits",
            "escaped",
            "length",
            "scrambled",
            "reports",
            "asked text",
            "hex text",
        ]
    )
    check, size, prove = checks(rng)
    features = {"kind": kind}
    name = f"dialect-{seed}"
    asked = b""
    if kind in ("binary", "scrambled", "escaped", "length", "reports", "hex text"):
        coder = Binary(rng, functions)
        features["form"] = coder.form
    elif kind == "segments":
        coder, check, size = Segments(rng, functions), "", 0
    elif kind == "digits":
        coder = DigitBytes(rng, functions)
        check, size = "", 0
    else:
        coder, check, size = Text(rng, functions), "", 0
        features["layout"] = coder.layout
    frames = []
    scramble = rng.choice([lambda b: (b << 4 | b >> 4) & 255, lambda b: int(f"{b:08b}"[::-1], 2), lambda b: b ^ 0x5A])
    end_mark = rng.choice([b"", b"", b"\x03", b"\r\n"])
    for s in shown:
        body = coder.body(s)
        if kind == "binary":
            data = body + (prove(body) if size else b"") + (end_mark if size else b"\r\n")
        elif kind == "scrambled":
            data = bytes(scramble(b) for b in body + (prove(body) if size else b""))
        elif kind == "escaped":
            inner = body[len(coder.lead) :]
            inner += prove(inner) if size else b""
            data = b"\x7e" + escaped(inner, 0x7D, {0x7E}, 0x20) + b"\x7e"
        elif kind == "length":
            extra = b"\x01\x02" if s.hold else b""
            inner = body[len(coder.lead) :] + extra
            head = coder.lead + bytes([len(coder.lead) + 1 + len(inner) + size])
            data = head + inner + (prove(head + inner) if size else b"")
        elif kind == "reports":
            whole = body + (prove(body) if size else b"")
            data = b"".join(
                bytes([len(whole[i : i + 7])]) + whole[i : i + 7].ljust(7, b"\0") for i in range(0, len(whole), 7)
            )
        elif kind == "hex text":
            whole = body + (prove(body) if size else b"")
            data = b":" + whole.hex().upper().encode() + b"\r\n"
        elif kind == "segments":
            data = body
        elif kind == "digits":
            data = body + b"\r\n"
        else:
            data = body + coder.end
            if kind == "asked text":
                asked = b"READ?\n"
        frames.append((s.t, data, s))
    events = []
    for t, data, _ in frames:
        if asked:
            events.append((t - 0.06, "out", asked))
        cut = rng.randrange(0, len(data) + 1)
        for piece, at in ((data[:cut], t - 0.012), (data[cut:], t)):
            if piece:
                events.append((round(at, 3), "in", piece))
    return Stream(name, events, frames, kind, check if size else "", features)
