"""Walks in tests: procedures in a line, readings by hand or from simulated streams."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.base.readings import Bound, Form, Reading
from meterlog.procedure import kinds
from meterlog.procedure.steps import Procedure, Step
from meterlog.walk import REPLAY, Assume, Walk
from meterlog.walk.happenings import Captured, Happening


def procedure(*steps: Step, cautions: tuple[str, ...] = ()) -> Procedure:
    return Procedure(key="p", title="P", appliance="any", source="invented", cautions=cautions, steps=steps)


def step(key: str, quantity: str = "resistance", kind: kinds.Kind = kinds.MEASURE, **more) -> Step:
    return Step(key=key, title=key, kind=kind, quantity=quantity, **more)


def look(key: str, **more) -> Step:
    return step(key, "", kind=kinds.LOOK, **more)


OHM = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=1, range_top=600.0)
KOHM = Form(quantity="resistance", unit="kohm", scale=1000.0, decimals=3, range_top=6000.0)
OVER = Form(quantity="resistance", unit="Mohm", scale=1e6, decimals=2, bound=Bound.OVERLOAD, range_top=6e7)
HELD = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=1, range_top=600.0, flags=("hold",))
JUNCTION = Form(quantity="junction_voltage", unit="V", scale=1.0, decimals=3)
OPEN_JUNCTION = Form(quantity="junction_voltage", unit="V", scale=1.0, decimals=3, bound=Bound.OVERLOAD)
FARAD = Form(quantity="capacitance", unit="nF", scale=1e-9, decimals=2)
OVER_FARAD = Form(quantity="capacitance", unit="uF", scale=1e-6, decimals=1, bound=Bound.OVERLOAD)
INSULATION = Form(quantity="insulation_resistance", unit="Mohm", scale=1e6, decimals=2)
ABOVE = Form(quantity="insulation_resistance", unit="Gohm", scale=1e9, decimals=1, bound=Bound.ABOVE)
CELSIUS = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=1)
AMPERE = Form(quantity="current", mode="ac", unit="A", scale=1.0, decimals=2)
VOLT = Form(quantity="voltage", mode="dc", unit="V", scale=1.0, decimals=3)


class Bench:
    """A walk with one meter that sends four readings a second."""

    def __init__(
        self, *steps: Step, assume: Assume = REPLAY, cautions: tuple[str, ...] = (), gap: float = 0.25, **more
    ) -> None:
        self.walk = Walk(procedure(*steps, cautions=cautions), assume=assume, **more)
        self.at, self.gap, self.count = 0.0, gap, 0
        self.told: list[Happening] = self.walk.start(0.0)

    def show(
        self, form: Form, counts: int | Iterable[int | None] | None, seconds: float, source: str = "meter"
    ) -> list[Happening]:
        """Show the same counts, or each of several in turn, for a time; what was told meanwhile."""
        out: list[Happening] = []
        series = list(counts) if isinstance(counts, Iterable) else [counts]
        for i in range(round(seconds / self.gap)):
            self.at = round(self.at + self.gap, 6)
            out += self.walk.reading(source, self.count, Reading(form, series[i % len(series)]), self.at)
            self.count += 1
        self.told += out
        return out

    def open(self, seconds: float = 1.5) -> list[Happening]:
        return self.show(OVER, None, seconds)

    def act(self, text: str) -> list[Happening]:
        from meterlog.walk import parse_act

        out = self.walk.act(parse_act(text), self.at)
        self.told += out
        return out

    def captured(self) -> list[tuple[str, str]]:
        """Step and digits of every capture so far."""
        return [(h.step, h.capture.reading.digits) for h in self.told if isinstance(h, Captured)]


def names(happenings: list[Happening]) -> list[str]:
    return [type(happening).__name__ for happening in happenings]
