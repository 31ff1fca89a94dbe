"""Instruments of kinds that do not ship, written from an invented manual page: each is read as its display shows."""

import pytest

from meterlog.profile.compile.compiler import compiled_anew

METERS = {
    "Four channels, BCD with a sign nibble": """
profile: cold-a
title: Four channels, BCD with a sign nibble
frame: {start: hex 3E, length: 10}
check: {kind: xor-8, at: -1}
fields:
  s1: {bits: 1.7..4, means: {0: normal, 0xF: negative}}
  v1: {bits: 1.3..0 2.7..0, as: bcd, special: {999: open sensor}}
  s2: {bits: 3.7..4, means: {0: normal, 0xF: negative}}
  v2: {bits: 3.3..0 4.7..0, as: bcd, special: {999: open sensor}}
readings:
  - {value: v1, by: s1, channel: T1, step: 0.1 degC}
  - {value: v2, by: s2, channel: T2, step: 0.1 degC}
examples:
  - {frame: hex 3E F0 52 09 99 00 00 00 00 0C, shows: [T1 = -5.2 degC, T2 = open sensor degC]}
""",
    "Clamp meter in hex text": """
profile: cold-b
title: Clamp meter in hex text
frame: {start: "*", end: <CR>}
fields:
  function: {bytes: 1..2, as: hex, means: {01: ac current, 02: ac voltage}}
  range: {bytes: 3..3, as: hex, under: function, means: {01: {0: 60.00 A, 1: 600.0 A}, 02: {0: 600.0 V}}}
  raw: {bytes: 4..7, as: signed hex}
  hold: {bytes: 8..9, as: hex, bits: 0, means: {0: normal, 1: flag hold}}
readings:
  - {value: raw}
examples:
  - {frame: "*01104D201<CR>", shows: 123.4 A ac current (hold)}
""",
    "UTF-8 unit": """
profile: cold-c
title: UTF-8 unit
frame: {end: <LF>}
text: "{value} {unit}"
fields:
  value: {special: {O.L: overload}}
  unit: {means: {Ω: ohm, kΩ: kohm, "°C": degC}}
readings:
  - value: value
examples:
  - {frame: "0.420 kΩ<LF>", shows: 0.420 kohm}
  - {frame: "O.L kΩ<LF>", shows: overload kohm}
""",
    "Multi-line answer with an end mark, status word, times": """
profile: cold-d
title: Multi-line answer with an end mark, status word, times
ask: {requests: [DATA?<CR>], every: 2 s}
frame: {end: "END<CR><LF>", longest: 200}
text: "P={p} W<CR><LF>U={u} V<CR><LF>I={i} {iu}<CR><LF>"
fields:
  iu: {means: {A: A, mA: mA}}
readings:
  - {value: p, channel: power, unit: W, quantity: power}
  - {value: u, channel: voltage, unit: V, mode: ac}
  - {value: i, channel: current, by: iu}
examples:
  - frame: "P=897.5 W<CR><LF>U=229.8 V<CR><LF>I=4.02 A<CR><LF>END<CR><LF>"
    shows: [power = 897.5 W, voltage = 229.8 V ac, current = 4.02 A]
""",
    "Micro-ohm meter, point code and multiplier code": """
profile: cold-e
title: Micro-ohm meter, point code and multiplier code
frame: {length: 9, start: <STX>, end: <CR>}
fields:
  digits: {bytes: 1..4, as: digits}
  point: {byte: 5, as: text, means: {"0": decimals 0, "1": decimals 1, "2": decimals 2, "3": decimals 3}}
  unit: {byte: 6, as: text, means: {u: uohm, m: mohm, " ": ohm}}
  state: {byte: 7, as: text, means: {O: overload, " ": normal, C: reject current circuit open}}
readings:
  - {value: digits}
examples:
  - {frame: "<STX>04202m <CR>", shows: 4.20 mohm}
  - {frame: "<STX>99990uO<CR>", shows: overload uohm}
  - {frame: "<STX>99990uC<CR>", rejected: current circuit}
""",
    "Unit in one message, point in another, each with a reading of its own": """
profile: cold-g
title: Unit in one message, point in another, each with a reading of its own
frame: {end: <LF>}
messages:
  unit:
    when: {starts: U}
    text: U{unit}{a}
    keep: unit
    fields: {unit: {as: text, means: {V: V, R: ohm}}, a: {as: digits}}
    readings: [{value: a, channel: first}]
  point:
    when: {starts: P}
    text: P{point}/{b}
    keep: point
    fields: {point: {as: digits, means: {1: decimals 1, 2: decimals 2}}, b: {as: digits}}
    readings: [{value: b, channel: second}]
examples:
  - {after: P1/5<LF>, frame: UV42<LF>, shows: first = 4.2 V}
  - {after: [P1/5<LF>, UR7<LF>], frame: P2/42<LF>, shows: second = 0.42 ohm}
  - {frame: UV42<LF>, rejected: nothing has told point yet}
""",
    "End marks of two lengths": """
profile: cold-f
title: End marks of two lengths
frame: {end: [<CR><LF>, <LF>]}
messages:
  volts:
    when: {byte: 0, is: 0x56}
    readings: [{bytes: 1..3, as: digits, unit: V}]
examples:
  - {frame: V123<CR><LF>, shows: 123 V}
  - {frame: V123<LF>, shows: 123 V}
  - {frame: V12<CR><LF>, rejected: too short}
  - {frame: V12<LF>, rejected: too short}
  - {frame: <LF>, rejected: no message}
""",
}


@pytest.mark.parametrize("title", METERS)
def test_its_examples_decode(title):
    assert compiled_anew(METERS[title], title).said.examples
