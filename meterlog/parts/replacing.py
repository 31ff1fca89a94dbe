"""What may stand in for a part: value inside the old one's band, voltage at least as high, class as strict.

A fit by these rules is a proposal; the maker's part and the local rules come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.units import show
from meterlog.parts.preferred import RUN_MICROFARADS, between

if TYPE_CHECKING:
    from collections.abc import Iterator

    from meterlog.parts.part import Part

USUAL_CAPACITOR = 0.10
"""The band that is taken when a capacitor tells no tolerance. Common practice, no source."""

USUAL_RESISTOR = 0.05
"""The band that is taken when a resistor tells no tolerance. Common practice, no source."""

OVEN_VOLTS = 1800.0
"""From this AC voltage on, a capacitor is taken for the high-voltage one of a microwave oven. Common practice."""

IMPULSE_KV = {"X1": 4.0, "X2": 2.5, "X3": 0.0, "Y1": 8.0, "Y2": 5.0, "Y4": 2.5}
"""Impulse voltage of the suppression classes up to 1 µF (IEC 60384-14, maker and calculator pages; read
second-hand; X3 from memory): a class stands in for one with no more of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a replacement must be.

    Attributes:
        low, high: its marked value, SI, lies between these.
        series: the values that such a part is made in: "E24", or "run capacitors".
        preferred: those inside that band.
        rules: each rule in words, with where it comes from.
    """

    low: float
    high: float
    series: str
    preferred: tuple[float, ...]
    rules: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """Whether one part may stand in for another: why not, and what stays to be looked at."""

    fits: bool
    against: tuple[str, ...]
    look_at: tuple[str, ...]


def wanted(old: Part) -> Wanted:
    """What may replace a part."""
    low, high = _band(old)
    series = "run capacitors" if _is_run(old) else "E24"
    listed = [microfarads * 1e-6 for microfarads in RUN_MICROFARADS]
    inside = tuple(value for value in listed if low * (1 - 1e-9) <= value <= high * (1 + 1e-9))
    preferred = inside if series != "E24" else between(low, high, "E24") if low > 0 else ()
    return Wanted(low=low, high=high, series=series, preferred=preferred, rules=tuple(_rules(old, low, high)))


def fit(old: Part, new: Part) -> Fit:
    """Whether `new` may stand in for `old`, rule by rule."""
    against = [why for check in (_value, _tolerance, _power, _voltage, _class, _run) for why in check(old, new)]
    return Fit(fits=not against, against=tuple(against), look_at=tuple(_look_at(old, new)))


def _band(old: Part) -> tuple[float, float]:
    if old.band:
        return old.band
    usual = USUAL_CAPACITOR if old.unit == "farad" else USUAL_RESISTOR
    return old.value * (1 - usual), old.value * (1 + usual)


def _rules(old: Part, low: float, high: float) -> Iterator[str]:
    usual = USUAL_CAPACITOR if old.unit == "farad" else USUAL_RESISTOR
    told = old.tolerance.text if old.tolerance else f"none told, ± {100 * usual:g} % taken: common practice, no source"
    yield f"marked value from {show(low, old.unit)} to {show(high, old.unit)} (tolerance {told})"
    yield "tolerance no wider than the old part's"
    if old.unit == "ohm":
        power = f"power at least {old.power:g} W" if old.power else "power at least the old part's, by size and place"
        yield f"{power}; voltage rating at least the old part's: the marking does not tell"
        return
    kind = {"ac": " AC", "dc": " DC"}.get(old.mode, "")
    yield f"voltage at least {old.voltage:g} V{kind}" if old.voltage else "voltage: not told by the marking, look it up"
    if old.mode == "ac":
        yield "rated for AC: a DC rating does not stand in for it"
    if old.classes:
        yield (
            f"suppression class {'/'.join(old.classes)} or stricter: Y may replace X of the same voltage, "
            "X never replaces Y (a circuit page; read); never a part without a class"
        )
    if old.run:
        yield f"run-capacitor classes {' '.join(old.run)}: protection at least as high, an hours class at least as long"
    if _is_oven(old):
        yield (
            "made for microwave ovens (IEC 61270-1, catalogue page; read second-hand), with its bleeder inside "
            "if the old one had it"
        )


def _is_oven(part: Part) -> bool:
    return part.unit == "farad" and part.mode == "ac" and (part.voltage or 0.0) >= OVEN_VOLTS


def _value(old: Part, new: Part) -> Iterator[str]:
    low, high = _band(old)
    if not low * (1 - 1e-9) <= new.value <= high * (1 + 1e-9):
        yield f"{show(new.value, new.unit)} lies outside {show(low, old.unit)} to {show(high, old.unit)}"


def _tolerance(old: Part, new: Part) -> Iterator[str]:
    if not old.band or not new.band or not old.value or not new.value:
        return
    (old_low, old_high), (new_low, new_high) = old.band, new.band
    if (new_high - new_low) / new.value > (old_high - old_low) / old.value * (1 + 1e-9):
        assert old.tolerance is not None
        assert new.tolerance is not None
        yield f"tolerance {new.tolerance.text} is wider than {old.tolerance.text}"


def _power(old: Part, new: Part) -> Iterator[str]:
    if old.power is None:
        return
    if new.power is None:
        yield f"its marking tells no power, and {old.power:g} W is needed"
    elif new.power < old.power:
        yield f"{new.power:g} W is less than {old.power:g} W"


def _voltage(old: Part, new: Part) -> Iterator[str]:
    if old.voltage is None:
        return
    if new.voltage is None:
        yield f"its marking tells no voltage, and {old.voltage:g} V is needed"
        return
    if new.voltage < old.voltage:
        yield f"{new.voltage:g} V is less than {old.voltage:g} V"
    if old.mode == "ac" and new.mode != "ac":
        yield "its voltage is not marked as AC"


def _class(old: Part, new: Part) -> Iterator[str]:
    """Each class of the old part is met by one of the new: same letter and a number as low, or Y for X."""
    for need in old.classes:
        if not any(_meets(need, have) for have in new.classes):
            have = "/".join(new.classes) or "no suppression class"
            yield f"{have} does not stand in for {need}"


def _meets(need: str, have: str) -> bool:
    if have == need:
        return True
    is_allowed = have[0] == need[0] or have[0] == "Y"
    return is_allowed and IMPULSE_KV.get(have, 0.0) >= IMPULSE_KV.get(need, 99.0)


def _run(old: Part, new: Part) -> Iterator[str]:
    if old.run and not new.run:
        yield "its marking tells no run-capacitor class"
        return
    for need in old.run:
        same = [have for have in new.run if _kind(have) == _kind(need)]
        if _kind(need) == "hours" and not any(have <= need for have in same):
            yield f"hours class {' '.join(same) or 'not told'} is shorter than {need}"
        if _kind(need) == "protection" and not any(have[-1] >= need[-1] for have in same):
            yield f"protection {' '.join(same) or 'not told'} is less than {need}"


def _is_run(part: Part) -> bool:
    """A motor's run capacitor: marked as one, or for AC, from 1 µF, of no suppression class, below an oven's volts."""
    if part.run:
        return True
    return part.unit == "farad" and part.mode == "ac" and part.value >= 1e-6 and not part.classes and not _is_oven(part)


def _kind(run: str) -> str:
    """Protection as S0 to S3 (P0 to P2 on older ones): each holds what the one below does and more.

    0 none, 1 open or short without fire or shock, 2 open only, 3 open with next to nothing left. Source: IEC 60252-1
    (from memory; one maker's article describes 1 and 2 otherwise).
    """
    return "hours" if len(run) == 1 else "protection"


def _look_at(old: Part, new: Part) -> Iterator[str]:
    if new.tolerance is None:
        yield "its marking tells no tolerance"
    if old.unit == "ohm":
        yield "power and voltage rating, and whether it must be flameproof or fusible"
        return
    if any(have[0] == "Y" for have in new.classes) and any(need[0] == "X" for need in old.classes):
        yield "Y for X holds at the same voltage: compare both ratings"
    if _is_oven(old):
        yield "the bleeder inside: measure its ohms before fitting"
    yield "size, leads, temperature range, and pulse rating where it switches"
