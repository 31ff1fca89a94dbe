"""The bench file: which instruments stand where. YAML, read like profiles and procedures.

bench: workshop
instruments:
  multimeter:
    profile: handheld-segments
    port: /dev/serial/by-id/usb-adapter-port0
    calibrated: 2026-03-01
  thermometer:
    profile: ascii-thermometer
    usb serial: A5069RR4
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any

from meterlog.base.schema import (
    Key,
    ListOf,
    MapOf,
    Record,
    Scalar,
    Where,
    choice,
    quantity,
    read_text,
    text,
    whole,
    yes_no,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.source import Problems


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchInstrument:
    """One instrument of the bench: exactly one of `port` and `usb_serial` says where it is.

    Attributes:
        profile: key of a shipped profile, or a path to one.
        port: device path or link URL; "" where found by `usb_serial`; one that others have too is shared with them.
        address: where its profile is used at another address than its own; "" for its own.
        calibrated: date of its last calibration, None when not known.
        open_circuit: V that its resistance function shows at most, None when not known.
        ambient: K at which it is used, None for within its stated span.
    """

    profile: str
    port: str = ""
    usb_serial: str = ""
    address: str = ""
    calibrated: date | None = None
    open_circuit_voltage: float | None = None
    ambient: float | None = None
    note: str = ""
    where: Where | None = None

    def facts(self, name: str) -> str:
        """The instrument's facts as one canonical text: what a verdict rests on besides the profile."""
        facts: dict[str, Any] = {"instrument": name}
        if self.calibrated:
            facts["calibrated"] = self.calibrated.isoformat()
        if self.open_circuit_voltage is not None:
            facts["open_circuit_voltage_V"] = repr(self.open_circuit_voltage)
        if self.ambient is not None:
            facts["ambient_K"] = repr(self.ambient)
        return json.dumps(facts, sort_keys=True, separators=(",", ":"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """A foot switch on a control line of an instrument's port, and what pressing it means."""

    on: str
    line: str
    means: str = "press"
    where: Where | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pedal:
    """A pedal that is a keyboard to the computer, read from the kernel's input device."""

    device: str
    key: int | None = None
    means: str = "press"
    where: Where | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchFile:
    """All that stands on the bench."""

    bench: str
    instruments: Mapping[str, BenchInstrument]
    switches: tuple[Switch, ...] = ()
    pedals: Mapping[str, Pedal] = field(default_factory=dict)
    speech: bool | None = None
    tones: bool | None = None
    where: Where | None = field(default=None, compare=False)

    @property
    def lines(self) -> tuple[tuple[str, ...], ...]:
        """The instruments by the port that they are on, in the order of the file; each plays a recording for itself."""
        shared: dict[tuple[str, str], list[str]] = {}
        for name, instrument in self.instruments.items():
            own = name if instrument.port.startswith("recording:") else instrument.usb_serial
            shared.setdefault((instrument.port, own), []).append(name)
        return tuple(map(tuple, shared.values()))


def _date(value: str) -> date:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", value):
        raise ValueError('year, month and day, such as "2026-03-01"')
    return date.fromisoformat(value)


NAME = text('a name of letters, digits and "-", such as multimeter', r"[a-z][a-z0-9-]{0,30}")

INSTRUMENT = Record(
    "an instrument",
    BenchInstrument,
    {
        "profile": Key(shape=text("a profile's key or path"), doc="Which profile understands it.", required=True),
        "port": Key(shape=text("a device path or link URL"), doc="Where it is plugged in.", default=""),
        "usb serial": Key(shape=text("a USB serial number"), doc="Found by its adapter's serial number.", default=""),
        "address": Key(shape=text("an address"), doc="The address set in it, where not the profile's own.", default=""),
        "calibrated": Key(shape=Scalar("a date", _date), doc="Date of its last calibration."),
        "open circuit voltage": Key(
            shape=quantity("volt", "9 V", "0 V", "100 V"),
            doc="What its resistance function applies to open leads, at most.",
        ),
        "ambient": Key(
            shape=quantity("kelvin", "23 degC", "-40 degC", "60 degC"), doc="The temperature at which it is used."
        ),
        "note": Key(shape=text(), doc="Anything worth knowing.", default=""),
    },
)

MEANS = Key(
    shape=choice("press", "confirm", "next", "back", "again", "start", "stop", "acknowledge", "immersed"),
    doc="What pressing it does; press: whichever fits now.",
    default="press",
)

SWITCH = Record(
    "a switch",
    Switch,
    {
        "on": Key(shape=NAME, doc="The instrument whose port carries the switch.", required=True),
        "line": Key(shape=choice("cts", "dsr", "dcd", "ri"), doc="The control line that it closes.", required=True),
        "means": MEANS,
    },
)

PEDAL = Record(
    "a pedal",
    Pedal,
    {
        "device": Key(
            shape=text("a path such as /dev/input/by-id/usb-pedal-event-kbd"), doc="Its input device.", required=True
        ),
        "key": Key(shape=whole(1, 767), doc="The kernel's code of the key that counts; left out, any."),
        "means": MEANS,
    },
)

BENCH = Record(
    "a bench file",
    BenchFile,
    {
        "bench": Key(shape=text(), doc="The bench's name, for people.", required=True),
        "instruments": Key(shape=MapOf(NAME, INSTRUMENT, least=1), doc="What stands on it.", required=True),
        "switches": Key(shape=ListOf(SWITCH), doc="Foot switches on control lines.", default=()),
        "pedals": Key(shape=MapOf(NAME, PEDAL), doc="Keyboard-type pedals by name.", default={}),
        "speech": Key(shape=yes_no(), doc="Speak prompts and results; left out, where a program speaks."),
        "tones": Key(shape=yes_no(), doc="A tone for captured, pass, fail …; left out, where a program plays it."),
    },
)


def read_bench(source: str, name: str) -> BenchFile:
    """The bench written in a text. Raises: WrongText."""

    def check(bench: BenchFile, problems: Problems) -> None:
        for instrument in bench.instruments.values():
            if bool(instrument.port) == bool(instrument.usb_serial) and instrument.where:
                instrument.where.tell(
                    problems,
                    expected="one of the keys port and usb serial",
                    saw="both" if instrument.port else "neither",
                )
        for name, pedal in bench.pedals.items():
            if name in bench.instruments and pedal.where:
                pedal.where.tell(problems, expected="a name of its own", saw=f"{name}, which is an instrument")
        for switch in bench.switches:
            if switch.on not in bench.instruments and switch.where:
                switch.where.tell(problems, "on", expected="an instrument of this bench", saw=switch.on)

    bench: BenchFile = read_text(BENCH, source, name, check)
    return bench
