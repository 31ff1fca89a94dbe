"""Commented starting files for a new profile, one for each kind of instrument."""

from __future__ import annotations

HEAD = """\
profile: {key}
title: What it is, in a line
licence: Apache-2.0
source: the manual and page that this was written from

line: {{baud: 9600}}   # also: data bits, parity, stop bits, dtr, rts, wake, wait
"""

KINDS: dict[str, tuple[str, str]] = {
    "line": (
        "one line of text for each measurement",
        """\
frame: {end: <CR><LF>}          # what ends a line; add `start:` where every line begins alike

text: "{function} {value} {unit}"   # one line as it arrives; {name} for every part that changes

fields:
  function: {means: {DC: dc, AC: ac}}                # every code of the manual; any other is rejected
  value: {as: decimal, special: {OL: overload}}      # decimal 3.1 where the places are fixed
  unit: {means: {V: V, mV: mV, OHM: ohm}}

readings:
  - {value: value}

examples:   # from the manual, or from `meterlog record`; checked whenever the profile is loaded
  - {frame: "DC 12.34 V<CR><LF>", shows: 12.34 V dc voltage}
  - {frame: "AC OL V<CR><LF>", shows: overload V}
""",
    ),
    "binary": (
        "binary frames of a fixed length",
        """\
first byte: 0                   # what the manual calls the first byte: 0 or 1
frame: {start: hex AA 55, length: 8}   # also `end:`, `after end:`, `escape:` for stuffed bytes, `xor:` for a key
check: {kind: sum-8, at: -1}    # also xor-8, sum-16, negated sum-8, CRC-16/MODBUS, …; `over:` says of which bytes

fields:
  function:
    byte: 2
    means: {0x01: dc voltage, 0x02: resistance}
  range:
    byte: 3
    under: function             # the table differs for each function
    means:
      0x01: {0x00: 6.000 V, 0x01: 60.00 V}           # a range as its end looks: unit and point at once
      0x02: {0x00: 600.0 ohm, 0x01: 6.000 kohm}

bits:
  6.0: flag hold
  6.1: overload

readings:
  - {bytes: 4..5, as: i16 big}

examples:
  - {frame: hex AA 55 01 00 04 D2 00 D6, shows: 1.234 V dc voltage}
""",
    ),
    "segments": (
        "the lit segments of a display",
        """\
first byte: 1
frame: {length: 6, numbered: {bits: 7..4, first: 1}}   # each byte carries its number in its upper half

fields:
  display:
    segments: efadcgb           # the segment of each bit, highest first: a top, b c right, d bottom, e f left, g middle
    digits: [1.2..0 2.3..0, 3.2..0 4.3..0]
    points: [3.3]               # the bit of the point after each digit
    special: {0L: overload}

bits:
  5.0: V
  5.1: ohm
  6.0: flag hold

readings:
  - {value: display}

examples:
  - {frame: hex 10 25 3D 4B 51 60, shows: 1.2 V}
""",
    ),
    "polled": (
        "text answers to text requests",
        """\
ask:
  every: 1 s                    # from one round to the next
  wait: 2 s                     # after this a request counts as not answered: longer than the slowest answer
  # echo: true                  # where two wires give back what is sent
  requests:
    - {send: MEAS:VOLT?<LF>, means: channel voltage; V; dc}
    - {send: MEAS:CURR?<LF>, means: channel current; A; dc}
frame: {end: [<CR><LF>, <LF>]}

text: "{value}"

fields:
  value: {as: decimal, special: {9.9E+37: overload}}

readings:
  - {value: value}

examples:
  - {request: MEAS:VOLT?<LF>, frame: +1.2345E+01<LF>, shows: voltage = 12.345 V dc}
""",
    ),
    "modbus": (
        "a map of Modbus RTU registers",
        """\
ask: {every: 1 s, wait: 300 ms, pause: 20 ms}
modbus: {address: 1, function: 4}     # 3 reads holding registers, 4 input registers

# fields:                             # a point, unit or state in a register of its own
#   point: {register: 0x0010}         # then `decimals: point` at the reading

readings:
  - {register: 0x0000, as: f32 big, decimals: 2, unit: degC}     # or CDAB, BADC, little: the order of its bytes
  - {register: 0x0002, as: i16 big, step: 0.1 V, mode: ac, channel: mains}

examples:
  - request: hex 01 04 00 00 00 03 B0 0B
    frame: hex 01 04 06 41 AC 00 00 08 FC F8 1B
    shows: [21.50 degC, mains = 230.0 V ac]
""",
    ),
    "parts": (
        "comma-separated lines",
        """\
frame: {end: [<CR><LF>, <LF>], longest: 120}
split: {by: ",", parts: 4}      # leave `parts` out where a header line names the columns, and use the names

fields:
  state: {part: 4, as: text, means: {OK: normal, LB: flag low battery}}

readings:
  - {part: 2, as: decimal, unit: degC, channel: T1, special: {open: open sensor}}
  - {part: 3, as: decimal, unit: degC, channel: T2, special: {open: open sensor}}

examples:
  - {frame: "12:30:05,21.4,open,OK<CR><LF>", shows: [T1 = 21.4 degC, T2 = open sensor degC]}
""",
    ),
}


def draft(kind: str, key: str) -> str:
    """A commented profile of a kind, complete and without a problem."""
    head = HEAD.format(key=key)
    return head + KINDS[kind][1]
