"""Strangers' dialects: invented instruments put together as protocol pages of many fields do it, with their truth.

Shares no code with the product, nor with `dialects.py`. What it draws from: number forms of IEEE 488.2 (NR1, NR2, NR3)
and IEEE 754, packed decimal figures, segment memories of LCD drivers (any lamp at any bit), checks of RFC 1071, 1146
and of cyclic codes, escapes of RFC 1055 and HDLC, checksum characters behind a star as NMEA 0183 has them, counters and
clocks within the frame. Common practice otherwise, no source.
"""

from __future__ import annotations

import random
import struct
from dataclasses import dataclass, field

# what a dial offers: mode, unit by range with its decimals, whether it may be negative
DIAL = {
    "V=": ("DC", (("mV", 1), ("V", 3), ("V", 2), ("V", 1)), True),
    "V~": ("AC", (("mV", 1), ("V", 3), ("V", 2)), False),
    "A=": ("DC", (("uA", 0), ("mA", 2), ("A", 3)), True),
    "A~": ("AC", (("mA", 2), ("A", 3)), False),
    "R": ("", (("ohm", 1), ("kohm", 3), ("kohm", 2), ("Mohm", 3)), False),
    "C": ("", (("nF", 2), ("uF", 3), ("uF", 1)), False),
    "Hz": ("", (("Hz", 1), ("kHz", 2)), False),
    "T": ("", (("degC", 1),), True),
}


@dataclass
class Moment:
    """What the display shows at one frame."""

    t: float
    turn: str
    range: int
    counts: int
    flags: tuple
    over: bool
    second: int  # of another display, which nobody notes

    @property
    def mode(self):
        return DIAL[self.turn][0]

    @property
    def unit(self):
        return DIAL[self.turn][1][self.range][0]

    @property
    def decimals(self):
        return DIAL[self.turn][1][self.range][1]

    @property
    def negative(self):
        return self.counts < 0

    def figures(self, least=0):
        body = str(abs(self.counts)).rjust(max(least, self.decimals + 1), "0")
        return body if not self.decimals else body[: -self.decimals] + "." + body[-self.decimals :]

    def typed(self):
        head = "OL" if self.over else ("-" if self.negative else "") + self.figures()
        return " ".join([head, self.unit, *([self.mode] if self.mode else []), *self.flags])


@dataclass
class Stream:
    """A recording with its truth, as `propose_trials` reads it."""

    name: str
    events: list
    frames: list
    framing: str
    check: str
    features: dict = field(default_factory=dict)


def evening(rng, seconds, pace):
    """Somebody measures for a minute: a few turns of the dial, ranges, a press of HOLD or REL now and then."""
    turns = rng.sample(sorted(DIAL), rng.randint(2, 4))
    top = rng.choice([1999, 3999, 5999, 9999])
    keys = rng.sample(["HOLD", "REL", "MAX", "AUTO"], 2)
    shown, now, flags, left, over, turn, which, aim = [], 0.4, (), 0, False, turns[0], 0, 500.0
    value = aim
    while now < seconds:
        if left <= 0:
            left = rng.randint(2, 6) / pace * rng.choice([2.0, 3.0, 4.0])
            turn = rng.choice(turns) if rng.random() < 0.5 else turn
            which = rng.randrange(len(DIAL[turn][1]))
            aim = rng.uniform(0.05, 0.98) * top * (-1 if DIAL[turn][2] and rng.random() < 0.3 else 1)
            value = aim * rng.uniform(0.6, 1.0)
            flags = tuple(key for key in keys if rng.random() < 0.12)
            over = turn in ("R", "V=") and rng.random() < 0.1
        if "HOLD" not in flags:
            value += 0.4 * (aim - value) + rng.gauss(0, 1.2)
        counts = round(value) if DIAL[turn][2] else abs(round(value))
        shown.append(Moment(now, turn, which, counts, flags, over, rng.randrange(400, 600)))
        now += 1 / pace
        left -= 1 / pace
    return shown, turns, keys


# ---- checks: (name, bytes, how) ----


def ring(data, width, poly, start, small_first, last):
    """A cyclic code by long division, bit by bit."""
    bits = []
    for byte in data:
        line = [byte >> i & 1 for i in range(8)]
        bits += line if small_first else line[::-1]
    reg = [start >> i & 1 for i in range(width - 1, -1, -1)]
    for bit in bits:
        out = reg.pop(0) ^ bit
        reg.append(0)
        if out:
            for i in range(width):
                reg[i] ^= poly >> (width - 1 - i) & 1
    number = int("".join(map(str, reg[::-1] if small_first else reg)), 2)
    return number ^ last


def ones(data, unit):
    total = 0
    for i in range(0, len(data), unit):
        total += int.from_bytes(data[i : i + unit].ljust(unit, b"\0"), "big")
        top = (1 << 8 * unit) - 1
        total = (total & top) + (total >> 8 * unit)
    return total


def pair(data):
    low = high = 0
    for byte in data:
        low = (low + byte) % 255
        high = (high + low) % 255
    return high * 256 + low


def proofs(rng):
    skip, extra, odd = rng.choice([0, 0, 1, 2]), rng.randrange(1, 256), rng.randrange(1, 1 << 16) | 1
    mirrored, after = rng.random() < 0.5, rng.choice([0, 0xFFFF])

    def one(how):
        return lambda d: bytes([how(d[skip:]) & 0xFF])

    def two(how, order):
        return lambda d: (how(d[skip:]) & 0xFFFF).to_bytes(2, order)

    def xored(d):
        value = 0
        for byte in d:
            value ^= byte
        return value

    order = rng.choice(["big", "little"])
    return rng.choice([
        ("", 0, lambda d: b""),
        ("sum", 1, one(sum)),
        ("sum with a constant", 1, one(lambda d: sum(d) + extra)),
        ("two's complement", 1, one(lambda d: -sum(d))),
        ("one's complement", 1, one(lambda d: ~sum(d))),
        ("exclusive or", 1, one(xored)),
        ("exclusive or with a constant", 1, one(lambda d: xored(d) ^ extra)),
        ("seven bits of the sum", 1, one(lambda d: sum(d) & 0x7F)),
        ("sum of 16 bits", 2, two(sum, order)),
        ("words added up", 2, two(lambda d: sum(d[i] << 8 | (d[i + 1] if i + 1 < len(d) else 0)
                                                 for i in range(0, len(d), 2)), order)),
        ("carries added back", 1, one(lambda d: ones(d, 1))),
        ("RFC 1071", 2, two(lambda d: ~ones(d, 2), order)),
        ("two sums", 2, two(pair, order)),
        ("cyclic 8", 1, one(lambda d: ring(d, 8, odd & 0xFF, extra, mirrored, 0))),
        ("cyclic 16", 2, two(lambda d: ring(d, 16, odd, 0xFFFF, mirrored, after), order)),
        ("cyclic 16, of Modbus", 2, lambda d: ring(d, 16, 0x8005, 0xFFFF, True, 0).to_bytes(2, "little")),
        ("cyclic 32", 4, lambda d: ring(d, 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF).to_bytes(4, "little")),
    ])  # fmt: skip


# ---- bodies: what a frame holds, before marks and checks ----


class Codes:
    """Codes for turns and ranges, bits for keys; function and range may share a byte."""

    def __init__(self, rng, turns, keys):
        self.share = rng.random() < 0.4
        self.turn = dict(zip(turns, rng.sample(range(16 if self.share else 256), len(turns)), strict=True))
        self.range = rng.sample(range(16), 4)
        bits = rng.sample(range(8), 4)
        self.bit = dict(zip([*keys, "minus", "over"], bits, strict=True))
        self.fixed = rng.choice([0, 0, 1 << next(b for b in range(8) if b not in bits)])

    def codes(self, m):
        turn, which = self.turn[m.turn], self.range[m.range]
        return bytes([turn << 4 | which]) if self.share else bytes([turn, which])

    def status(self, m, has_minus=True):
        marks = [*m.flags, *(["minus"] if has_minus and m.negative else []), *(["over"] if m.over else [])]
        return bytes([self.fixed | sum(1 << self.bit[mark] for mark in marks)])


class Numbers(Codes):
    """Codes, flags, a number, and now and then a counter, a clock, a second display, all in some order."""

    FORMS = ("i16", "i24", "i32", "u16", "u24", "sm16", "bcd", "figures", "f32", "f64", "tight", "tight")

    def __init__(self, rng, turns, keys):
        super().__init__(rng, turns, keys)
        self.form, self.order = rng.choice(self.FORMS), rng.choice(["big", "little"])
        self.fill = rng.choice([None, None, "counter", "seconds", "clock", "second"])
        self.parts = ["codes", "status", "number", *([self.fill] if self.fill else [])]
        rng.shuffle(self.parts)

    def number(self, m):
        n, size = abs(m.counts), {"16": 2, "24": 3, "32": 4}.get(self.form[-2:], 0)
        if self.form.startswith("f") and self.form != "figures":
            value = float("inf") if m.over else m.counts / 10**m.decimals
            return struct.pack({"big": ">", "little": "<"}[self.order] + ("f" if size else "d"), value)
        if self.form.startswith("i"):
            raw = ((1 << 8 * size - 1) - 1 if m.over else m.counts).to_bytes(size, "big", signed=True)
        elif self.form.startswith("sm"):
            raw = (0x7FFF if m.over else n | (m.negative << 15)).to_bytes(2, "big")
        elif self.form.startswith("u"):
            raw = ((1 << 8 * size) - 1 if m.over else n).to_bytes(size, "big")
        elif self.form == "tight":  # fourteen bits beside the sign and the overload
            raw = (0x8000 if m.over else n | m.negative << 14).to_bytes(2, "big")
        elif self.form == "bcd":
            raw = bytes.fromhex("9999" if m.over else f"{n:04d}")
        else:
            raw = bytes(int(c) for c in ("9999" if m.over else f"{n:04d}"))
        return raw if self.order == "big" else raw[::-1]

    def part(self, name, m, k):
        if name == "codes":
            return self.codes(m)
        if name == "status":
            return self.status(m, has_minus=self.form in ("u16", "u24", "bcd", "figures"))
        if name == "number":
            return self.number(m)
        if name == "counter":
            return bytes([k % 256])
        if name == "seconds":
            return int(m.t).to_bytes(2, self.order)
        if name == "clock":
            s = int(m.t) + 3600 * 9 + 55
            return bytes.fromhex(f"{s // 3600:02d}{s // 60 % 60:02d}{s % 60:02d}")
        return m.second.to_bytes(2, self.order)

    def body(self, m, k):
        return b"".join(self.part(name, m, k) for name in self.parts)


SHAPES = {"0": "ABCDEF", "1": "BC", "2": "ABDEG", "3": "ABCDG", "4": "BCFG", "5": "ACDFG", "6": "ACDEFG", "7": "ABC",
          "8": "ABCDEFG", "9": "ABCDFG", "L": "DEF", " ": "", "-": "G"}  # fmt: skip


class Lamps:
    """The memory of an LCD driver: figures at a regular distance or anywhere, lamps for units and keys."""

    def __init__(self, rng, turns, keys, numbered):
        self.wide = 4 if numbered else 8
        self.size = 14 if numbered else rng.choice([8, 9, 10])
        every = [(b, i) for b in range(self.size) for i in range(self.wide)]
        self.wild = rng.random() < 0.25
        self.blank = rng.random() < 0.5
        order = rng.sample(range(8), 8)
        first = rng.choice([0, 1, 2])
        self.cell = {}
        if self.wild:
            rng.shuffle(every)
        for d in range(4):
            for name, place in zip("ABCDEFGp", order, strict=True):
                if self.wild:
                    self.cell[d, name] = every.pop()
                elif numbered:
                    self.cell[d, name] = (first + 2 * d + place // 4, place % 4)
                else:
                    self.cell[d, name] = (first + d, place)
        rest = [place for place in every if place not in self.cell.values()]
        rng.shuffle(rest)
        names = ["minus", "DC", "AC", *keys, "m", "k", "M", "n", "u", "V", "A", "ohm", "F", "Hz", "degC"]
        self.lamp = {name: rest.pop() for name in names if rest}

    def body(self, m, k):
        on, text = set(), m.figures().replace(".", "").rjust(4, "0")
        if self.blank:
            keep = m.decimals + 1
            text = (text[:-keep].lstrip("0") + text[-keep:]).rjust(4)
        text = " 0L " if m.over else text[-4:]
        for d, char in enumerate(text):
            on |= {self.cell[d, s] for s in SHAPES[char]}
        if m.decimals and not m.over:
            on.add(self.cell[3 - m.decimals, "p"])
        unit, prefix = m.unit, ""
        if unit not in ("V", "A", "ohm", "F", "Hz", "degC"):
            prefix, unit = unit[0], unit[1:]
        lamps = [unit, prefix, m.mode, *m.flags, "minus" if m.negative and not m.over else ""]
        on |= {self.lamp[name] for name in lamps if name in self.lamp}
        return bytes(sum(1 << i for b, i in on if b == at) for at in range(self.size))


class Words:
    """Lines: columns of fixed width, or words; a clock, a counter or a checksum beside them; exponents."""

    def __init__(self, rng, turns, keys):
        self.kind = rng.choice(["columns", "columns", "words", "words", "values", "exponent"])
        self.extra = rng.choice(["", "", "clock", "count"]) if self.kind != "columns" else ""
        self.star = rng.choice(["", "", "xor", "sum"])
        self.comma = rng.random() < 0.15 and self.kind != "exponent"
        self.over = rng.choice(["OL", "O.L", "-----", "OVER"]) if self.kind != "exponent" else "+9.9000E+37"
        self.unit = {"ohm": rng.choice(["Ohm", "R", "OHM"]), "degC": "C", "uF": "uF", "uA": "uA"}
        self.letter = dict(zip(turns, rng.sample("ABCDEFGHIJKLMNPQRSTUVWXYZ", len(turns)), strict=True))
        self.flag = dict(zip(keys, rng.sample("hrxm", 2), strict=True))
        self.order = ["sign", "figures", "range", "turn", *keys]
        rng.shuffle(self.order)
        self.between = rng.choice(["", " ", ","])
        self.join = rng.choice([",", ";", " ", "\t"]) if not self.comma else ";"
        self.words = {"ohm": "Ohm", "kohm": "kOhm", "Mohm": "MOhm", "degC": "C"}

    def line(self, m, k):
        unit = self.unit.get(m.unit, self.words.get(m.unit, m.unit))
        figures = m.figures(4).replace(".", "," if self.comma else ".")
        number = self.over if m.over else ("-" if m.negative else "") + figures
        if self.kind == "columns":
            made = {"sign": "-" if m.negative else "+", "range": str(m.range), "turn": self.letter[m.turn],
                    "figures": "?0:?" if m.over else f"{abs(m.counts):04d}"}  # fmt: skip
            made |= {key: letter if key in m.flags else "." for key, letter in self.flag.items()}
            return self.between.join(made[name] for name in self.order)
        lead = {"": "", "clock": f"{9 + int(m.t) // 60:02d}:{int(m.t) % 60:02d}:00{self.join}",
                "count": f"{k:05d}{self.join}"}[self.extra]  # fmt: skip
        if self.kind == "words":
            return lead + f"{number:>9} {unit}{' ' + m.mode if m.mode else ''}{''.join(' ' + key for key in m.flags)}"
        if self.kind == "values":
            keys = self.join.join("1" if key in m.flags else "0" for key in self.flag)
            return lead + self.join.join([m.mode or "--", number, unit, keys])
        power = {"m": -3, "u": -6, "n": -9, "k": 3, "M": 6}.get(m.unit[0], 0) if m.unit != "mohm" else -3
        value = self.over if m.over else f"{'-' if m.negative else '+'}{m.figures()}E{power:+03d}"
        base = m.unit if not power else m.unit[1:]
        return lead + self.join.join([self.letter[m.turn] + m.mode, value, base, *m.flags])

    def body(self, m, k):
        line = self.line(m, k)
        proof = 0
        for byte in line.encode():
            proof = proof ^ byte if self.star == "xor" else proof + byte & 0xFF
        return (line + (f"*{proof:02X}" if self.star else "")).encode()


# ---- frames ----


def stuffed(data, mark, by, turn):
    return b"".join(bytes([by, b ^ turn]) if b in (mark, by) else bytes([b]) for b in data)


def stream(seed, seconds=60.0):
    """One dialect, by its number."""
    rng = random.Random(f"strangers {seed}")
    pace = rng.choice([2.0, 3.0, 4.0, 5.0])
    shown, turns, keys = evening(rng, seconds, pace)
    kind = rng.choice(["fixed", "fixed", "fixed", "lines", "lines", "lines", "lamps", "lamps", "numbered lamps",
                       "length told", "escaped", "top bit", "hex pairs", "asked", "asked lines"])  # fmt: skip
    check, size, prove = proofs(rng)
    lead = bytes(rng.choice([[0xAB], [0xA5, 0x5A], [0x5B, 0xB5], [0x68], [0xFE, 0xEF], [0x02]]))
    mark, by = rng.choice([(0x7E, 0x7D), (0xC0, 0xDB)])
    end, request = rng.choice([b"\r\n", b"\r", b"\n", b"\n\r"]), b""
    if "lines" in kind:
        body = Words(rng, turns, keys)
        check, size = body.star and f"star {body.star}", 0
    elif "lamps" in kind:
        body = Lamps(rng, turns, keys, "numbered" in kind)
    else:
        body = Numbers(rng, turns, keys)
    if kind in ("numbered lamps", "top bit"):
        check, size = "", 0
    if "asked" in kind:
        request = b"VAL?\r" if "lines" in kind else bytes([1, 3, 0, 0, 0, 4])
    always = rng.choice(["", "", "HOLD"])
    frames, events = [], []
    for k, m in enumerate(shown):
        inner = body.body(m, k)
        if "lines" in kind:
            data = inner + end
        elif kind == "numbered lamps":
            data = bytes(i + 1 << 4 | b for i, b in enumerate(inner))
        elif kind == "length told":
            if always in m.flags or (m.over and not always):
                inner += bytes([0x10, m.second % 256])
            head = lead + bytes([len(inner) + size])
            data = head + inner + prove(head + inner) * bool(size)
        elif kind == "escaped":
            data = bytes([mark]) + stuffed(inner + prove(inner) * bool(size), mark, by, 0x20) + bytes([mark])
        elif kind == "top bit":
            loose = int.from_bytes(inner, "big")
            count = -(-8 * len(inner) // 7)
            data = bytes((loose >> 7 * i & 0x7F) | (0x80 if i == count - 1 else 0) for i in range(count - 1, -1, -1))
        elif kind == "hex pairs":
            data = b":" + (inner + prove(inner) * bool(size)).hex().upper().encode() + end
        elif kind == "asked":
            head = bytes([1, 3, len(inner)])
            data = head + inner + prove(head + inner) * bool(size)
        else:
            data = lead + inner
            data += prove(data) * bool(size)
        frames.append((round(m.t, 3), data, m))
        if request:
            events.append((round(m.t - 0.09, 3), "out", request))
        half = rng.randrange(len(data) + 1) if rng.random() < 0.3 else 0
        events += [(round(m.t - 0.008, 3), "in", data[:half])] * bool(half)
        events += [(round(m.t, 3), "in", data[half:])] * bool(data[half:])
    told = ("form", "fill", "kind", "wild", "order", "extra")
    features = {name: getattr(body, name) for name in told if hasattr(body, name)}
    return Stream(f"stranger-{seed}", events, frames, kind, check if size or "star" in check else "", features)
