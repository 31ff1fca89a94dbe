"""Compiled profiles against hand-written decoders tuned for the same frames, side by side in one run.

    python tests/bench/decode.py

Both take a frame as bytes and answer its readings with their forms, without a memo of frames. Each figure is
the least of several interleaved rounds, CPU time a frame; the ratio is hand-written / compiled: above 1
the compiled profile is the faster.
"""

from __future__ import annotations

import random
import re
import time
from pathlib import Path

from crccheck.crc import CrcModbus

from meterlog.base.readings import Form, Reading
from meterlog.conversation.drive import received
from meterlog.profile import compile_profile
from meterlog.profile.tools.bulk import decode_bulk

INSTRUMENTS = Path(__file__).parents[2] / "profiles" / "instruments"
CRC_PROFILE = """
profile: crc-frame
title: Eleven bytes with a CRC
frame: {start: hex AA 55, length: 11}
check: {kind: CRC-16/MODBUS, at: 9..10, order: little}
fields:
  function: {byte: 2, means: {1: dc voltage, 2: resistance}}
  range: {byte: 3, under: function, means: {1: {0: 6.000 V, 1: 60.00 V}, 2: {0: 600.0 ohm, 1: 6.000 kohm}}}
bits: {8.0: flag hold, 8.1: flag relative}
readings:
  - {bytes: 4..7, as: i32 big}
"""
ROUNDS, FRAMES = 9, 20_000
LIT = dict(zip("0123456789", (0x7D, 0x05, 0x5B, 0x1F, 0x27, 0x3E, 0x7E, 0x15, 0x7F, 0x3F), strict=True))


def segment_frame(counts: int) -> bytes:
    body = [
        0b0110,
        *(nibble for figure in f"{counts:04d}" for nibble in (LIT[figure] >> 4, LIT[figure] & 15)),
        2,
        0,
        4,
        0,
        0,
    ]
    body[3] |= 8
    return bytes((place << 4) & 0xF0 | nibble for place, nibble in enumerate(body, start=1))


def segments_by_hand():
    """Pairs of bytes to figures, the symbols' bytes to a form kept once made."""
    tables = []
    for place in range(4):
        first, second = (2 + 2 * place) << 4, (3 + 2 * place) << 4
        rows = {}
        for figure, code in LIT.items():
            for point in (0, 8):
                rows[bytes([first | point | code >> 4, second | code & 15])] = int(figure) * 10 ** (3 - place)
        tables.append(rows)
    one, two, three, four = tables
    forms: dict[tuple[int, int, int, int, bytes], Form] = {}

    def make(f: bytes) -> Form:
        return Form(quantity="resistance", unit="kohm", scale=1000.0, decimals=3, flags=("auto range",))

    def decode(f: bytes, kept: dict[str, object]) -> tuple[Reading, ...] | None:
        try:
            counts = one[f[1:3]] + two[f[3:5]] + three[f[5:7]] + four[f[7:9]]
        except KeyError:
            return None
        if f[1] & 8:
            counts = -counts
        key = (f[0], f[3] & 8, f[5] & 8, f[7] & 8, f[9:14])
        form = forms.get(key)
        if form is None:
            form = forms[key] = make(f)
        return (Reading(form, counts),)

    return decode


def line_by_hand():
    """One expression with groups, a form kept for each unit and number of figures."""
    match = re.compile(rb"T=(?: *([-+]?)(\d{3})\.(\d)| *(OPEN|OL) *)([CF])\r\n").fullmatch
    forms: dict[tuple[bytes, bool], Form] = {}

    def decode(f: bytes, kept: dict[str, object]) -> tuple[Reading, ...] | None:
        m = match(f)
        if m is None:
            return None
        sign, before, after, special, unit = m.groups()
        zero = False
        if special is not None:
            counts = 0
        else:
            counts = int(before + after)
            if sign == b"-":
                zero = not counts
                counts = -counts
        key = (unit, special, zero)
        form = forms.get(key)
        if form is None:
            form = forms[key] = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=1, width=3)
        return (Reading(form, counts),)

    return decode


def crc_by_hand():
    """A table for each place of the frame, fields by slices."""

    def table(place: int) -> list[int]:
        zero = CrcModbus.calc(bytes(9))
        return [CrcModbus.calc(bytes(place) + bytes([v]) + bytes(8 - place)) ^ zero for v in range(256)]

    a, b, c, d, e, g, h, i, j = (table(place) for place in range(9))
    constant = CrcModbus.calc(bytes(9))
    forms: dict[tuple[int, int, int], Form] = {}

    def decode(f: bytes, kept: dict[str, object]) -> tuple[Reading, ...] | None:
        crc = a[f[0]] ^ b[f[1]] ^ c[f[2]] ^ d[f[3]] ^ e[f[4]] ^ g[f[5]] ^ h[f[6]] ^ i[f[7]] ^ j[f[8]] ^ constant
        if crc != f[9] | f[10] << 8:
            return None
        counts = int.from_bytes(f[4:8], "big", signed=True)
        key = (f[2], f[3], f[8] & 3)
        form = forms.get(key)
        if form is None:
            form = forms[key] = Form(quantity="voltage", unit="V", scale=1.0, decimals=3)
        return (Reading(form, counts),)

    return decode


def crc_frame(counts: int) -> bytes:
    body = bytes([0xAA, 0x55, 1, 0]) + counts.to_bytes(4, "big", signed=True) + b"\0"
    return body + CrcModbus.calc(body).to_bytes(2, "little")


def least(decoders, frames) -> list[float]:
    """Least CPU time a frame of each decoder, µs, rounds interleaved."""
    kept: dict[str, object] = {}
    best = [float("inf")] * len(decoders)
    for _ in range(ROUNDS):
        for place, decode in enumerate(decoders):
            began = time.process_time()
            for frame in frames:
                decode(frame, kept)
            best[place] = min(best[place], (time.process_time() - began) / len(frames) * 1e6)
    return best


def bulk_table(cases) -> None:
    """The bulk path against the stream, frame by frame, on traces that wander as a meter does."""
    print(f"\n{'stretch':<20} {'one by one µs':>16} {'bulk µs':>12} {'ratio':>6}")
    for name, profile, make in cases:
        rng, value, frames = random.Random(2), 4200, []
        for _ in range(100_000):
            value = min(9000, max(1000, value + rng.randint(-40, 40)))
            frames.append(make(value))
        data = b"".join(frames)
        best = [float("inf")] * 2
        for _ in range(5):
            began = time.process_time()
            conversation = profile.conversation()
            count = sum(
                len(o.readings)
                for piece in range(0, len(data), 64)
                for o in conversation.feed(data[piece : piece + 64], 0.0)
            )
            between = time.process_time()
            bulk = decode_bulk(profile, received(data))
            best = [min(best[0], between - began), min(best[1], time.process_time() - between)]
        assert len(bulk.counts) == count == 100_000
        one, all_at_once = (seconds / 0.1 for seconds in best)
        print(f"{name:<20} {one:>16.3f} {all_at_once:>12.3f} {one / all_at_once:>6.1f}")


def main() -> None:
    rng = random.Random(1)
    shipped = {
        name: compile_profile((INSTRUMENTS / f"{name}.yaml").read_text(), name)
        for name in ("handheld-segments", "ascii-thermometer")
    }
    cases = [
        (
            "segments, 14 bytes",
            shipped["handheld-segments"],
            segments_by_hand(),
            [segment_frame(rng.randrange(10000)) for _ in range(FRAMES)],
        ),
        (
            "a line of text",
            shipped["ascii-thermometer"],
            line_by_hand(),
            [b"T=%+06.1fC\r\n" % (rng.randrange(-500, 3000) / 10) for _ in range(FRAMES)],
        ),
        (
            "CRC, 11 bytes",
            compile_profile(CRC_PROFILE, "crc-frame"),
            crc_by_hand(),
            [crc_frame(rng.randrange(-6000, 6000)) for _ in range(FRAMES)],
        ),
    ]
    print(f"{'frame':<20} {'hand-written µs':>16} {'compiled µs':>12} {'ratio':>6}")
    for name, profile, by_hand, frames in cases:
        decode = profile.messages[0].decode
        kept: dict[str, object] = {}
        for frame in frames[:200]:
            said = decode(frame, kept)
            assert isinstance(said, tuple), said
            assert said[0].counts == by_hand(frame, kept)[0].counts
        hand, compiled = least([by_hand, decode], frames)
        print(f"{name:<20} {hand:>16.3f} {compiled:>12.3f} {hand / compiled:>6.2f}")
    bulk_table(
        [
            ("segments, 14 bytes", shipped["handheld-segments"], segment_frame),
            ("a line of text", shipped["ascii-thermometer"], lambda value: b"T=%+06.1fC\r\n" % (value / 10)),
            ("CRC, 11 bytes", compile_profile(CRC_PROFILE, "crc-frame"), crc_frame),
        ]
    )


if __name__ == "__main__":
    main()
