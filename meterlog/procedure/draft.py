"""The first draft of a procedure: every section once, with what to write there. It reads without a problem."""

from __future__ import annotations

DRAFT = """\
# A draft: change every line, then try   meterlog procedure check {name}.yaml
language: 1  # so that every later meterlog reads it as it was meant
procedure: {name}
title: Kettle element
appliance: heating appliance with one element, class I
source: the maker's service sheet, section 3

cautions: [local-rules, licence, isolate, keep-plug, unsure-stop]

plate:
  rated power: power
  rated voltage: voltage

points:
  outside:
    plug line pin: the plug's line pin
    plug neutral pin: the plug's neutral pin
    plug earth pin: the plug's earth pin
  inside:
    element tab 1: the element's first tab, wire off
    element tab 2: the element's second tab

steps:
  - step: isolation
    kind: look
    title: Unplugged, and the plug where only you can reach it
    cautions: [isolate]

  - step: lead-check
    kind: leads
    title: Probe tips pressed together
    cautions: [check-leads]

  - step: dead-ac
    kind: dead
    title: No mains between the plug's pins, on AC
    points: [plug line pin, plug neutral pin]
    reach: the known source a proving unit or an isolated 12 V AC supply
    mode: ac
    known source: 12 V
    limits:
      - is: at most 25 V
        source: AC that may be touched without a cover, a glossary on IEC 61140
        mark: read second-hand
    needs: [isolation]
    fail means: it is still connected, or a second supply feeds it

  - step: dead
    kind: dead
    title: No stored charge between the plug's pins, on DC
    points: [plug line pin, plug neutral pin]
    mode: dc
    known source: 9 V
    limits:
      - is: at most 34 V
        source: IEC 60335-1 clause 22.5, one second after unplugging
        mark: read second-hand
    needs: [isolation, dead-ac]
    fail means: the discharge resistor is open

  - step: element
    kind: measure
    title: Element, cold
    points: [element tab 1, element tab 2]
    reach: cabinet opened by someone competent to open it, element cold
    quantity: resistance
    limits:
      - is: 24.0 ohm +10 % -5 %
        source: rated voltage squared over rated power, 230 V and 2.2 kW
        mark: computed here
    fail means: open, the element is burnt out; low, turns are shorted

  - step: element-to-earth
    kind: measure
    title: Element to earth, 500 V DC
    points: [plug earth pin, plug line pin]
    quantity: insulation_resistance
    test voltage: 500 V
    limits:
      - is: at least 1 Mohm
        source: common practice, no source
        mark: common practice
    cautions: [insulation-voltage, insulation-discharge]
    needs: [dead]
    fail means: damp or a split in the element's sheath
"""


def draft(name: str) -> str:
    """The text of a first draft that carries `name`."""
    return DRAFT.format(name=name)
