"""What the voltmeter itself does to a voltage: its input resistance loads the source."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.judging.formula import derive
from meterlog.judging.method import GIVEN, Input, Method

if TYPE_CHECKING:
    from meterlog.judging.result import Result


def loaded_divider(voltage: Any, upper: Any, lower: Any, meter: Any) -> Any:
    """What a meter across the lower of two resistors shows, V.

    >>> round(loaded_divider(6.0, 1e3, 2e3, 1e6), 3)
    3.997
    """
    both = lower * meter / (lower + meter)
    return voltage * both / (upper + both)


def loading_error(source: Any, meter: Any) -> Any:
    """Part by which a meter reads low on a source of some resistance: −R/(R + R_meter).

    >>> round(100 * loading_error(75e3, 11.5e6), 6)
    -0.647948
    """
    return -source / (source + meter)


def unloaded(shown: Any, source: Any, meter: Any) -> Any:
    """The voltage without the meter, V: V (1 + R/R_meter)."""
    return shown * (1.0 + source / meter)


def without_meter(shown: Result, source: Result, meter: Result) -> Result:
    """The voltage that was there before the meter was connected."""
    return derive("voltage", unloaded, "V = Vm (1 + R/Rm) = {0} × (1 + {1}/{2})", shown, source, meter)


def with_meter(voltage: Result, upper: Result, lower: Result, meter: Result) -> Result:
    """What a meter across the lower of two resistors shows."""
    line = "V = {0} × (R2∥Rm)/(R1 + R2∥Rm), R1 = {1}, R2 = {2}, Rm = {3}"
    return derive("voltage", loaded_divider, line, voltage, upper, lower, meter)


def meter_loading(source: Result, meter: Result) -> Result:
    """By what part the meter reads low on a source."""
    return derive("ratio", loading_error, "−R/(R + Rm) = −{0}/({0} + {1})", source, meter)


METHODS = (
    Method(
        name="meter loading",
        title="By what part a meter reads low on a source of some resistance.",
        gives="ratio",
        inputs={
            "source": Input("resistance", "of the source"),
            "meter": Input("resistance", "input resistance of the meter", GIVEN, "10 Mohm"),
        },
        find=meter_loading,
    ),
    Method(
        name="divider with the meter",
        title="What a meter shows across the lower of two resistors.",
        gives="voltage",
        inputs={
            "voltage": Input("voltage", "across both"),
            "upper": Input("resistance", "in series with the meter"),
            "lower": Input("resistance", "across which the meter is"),
            "meter": Input("resistance", "input resistance of the meter", GIVEN, "10 Mohm"),
        },
        find=with_meter,
    ),
    Method(
        name="voltage without the meter",
        title="Voltage before the meter's own input resistance loaded it.",
        gives="voltage",
        inputs={
            "shown": Input("voltage", "as the meter shows it"),
            "source": Input("resistance", "of the source"),
            "meter": Input("resistance", "input resistance of the meter", GIVEN, "10 Mohm"),
        },
        find=without_meter,
    ),
)
