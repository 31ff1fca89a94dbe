"""A heating result in words for the bench, and as plain data whose keys carry their units."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal, standard_uncertainty
from meterlog.base.units import show, to_place
from meterlog.heating.answer.methods import heat_up_time
from meterlog.heating.water import ZERO_CELSIUS

if TYPE_CHECKING:
    from meterlog.heating.answer.result import HeatingResult
    from meterlog.heating.balance.found import Found
    from meterlog.heating.balance.load import End
    from meterlog.heating.trace.periods import Plateau


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A period of a run: its span, s, the load's level at its ends, °C, and the slope of the line through it, K/s."""

    period: str
    from_s: float
    to_s: float
    from_C: float  # noqa: N815  (a key of the JSON: the unit as it is written)
    to_C: float  # noqa: N815
    slope_K_per_s: float  # noqa: N815

    @property
    def is_still(self) -> bool:
        """Nothing was heated."""
        return not self.period.startswith(HEATING)

    @property
    def level(self) -> float:
        """Half-way, °C."""
        return (self.from_C + self.to_C) / 2.0


HEATING = "heating"


def periods(answer: HeatingResult) -> list[Period]:
    """The still stretch before, the heating and the plateau after, of each load; those that were found.

    The lines of the still ones are the picture's: through the levels at start and stop, cooling as the load does.
    """
    return [period for name, found in answer.loads() for period in _periods_of(found, name, answer.second is not None)]


def _periods_of(found: Found, name: str, is_one_of_two: bool) -> list[Period]:
    of, heating = f", {name}" if is_one_of_two else "", found.heating
    rows = [_still(f"before{of}", found, found.before, heating.start, found.first)] if found.before else []
    slope = found.rise / heating.duration
    rows.append(_period(HEATING + of, (heating.start, heating.stop), heating.start, found.first, slope))
    if found.after:
        rows.append(_still(f"after{of}", found, found.after, heating.stop, found.last))
    return rows


def _still(period: str, found: Found, stretch: Plateau, moment: float, end: End) -> Period:
    return _period(period, (stretch.first, stretch.last), moment, end, found.drift(end))


def _period(period: str, span: tuple[float, float], moment: float, end: End, slope: float) -> Period:
    """The line through the level of an end at its moment."""
    level = end.kelvin - ZERO_CELSIUS
    low, high = (level + slope * (at - moment) for at in span)
    return Period(period=period, from_s=span[0], to_s=span[1], from_C=low, to_C=high, slope_K_per_s=slope)


def as_dict(answer: HeatingResult) -> dict[str, Any]:
    """Everything the run found, for JSON."""
    return {
        "power_W": answer.power,
        "standard_uncertainty_W": answer.standard_uncertainty,
        "expanded_uncertainty_W": answer.expanded_uncertainty,
        "coverage_factor": answer.coverage_factor,
        "coverage_probability": 0.9545,
        "degrees_of_freedom": answer.degrees_of_freedom,
        "method": answer.method,
        "definition": answer.definition,
        "energy_J": answer.energy,
        "repeated_runs_W": list(answer.repeats),
        **_detected(answer),
        "vessels": _vessels(answer),
        "periods": [asdict(period) for period in periods(answer)],
        "budget": [
            {
                "source": line.name,
                "distribution": line.distribution,
                "contribution_W": line.contribution,
                "share": line.share,
                "degrees_of_freedom": line.degrees_of_freedom,
                "from": line.source,
            }
            for line in answer.budget
        ],
        "largest_parts": [line.name for line in answer.budget[:3]],
        "improvements": [
            {"what": i.what, "expanded_now_W": i.expanded_now, "expanded_then_W": i.expanded_then}
            for i in answer.improvements
        ],
        "corrections": {
            "applied": [{"what": c.what, "adds_W": c.watts, "from": c.why} for c in answer.applied],
            "refused": [asdict(part) for part in answer.refused],
        },
        "other_methods": [{"method": b.method, "power_W": b.watts, "leaves_out": b.leaves_out} for b in answer.beside],
        "electrical": _electrical(answer),
        "cycling": _cycling(answer),
        "heat_up": _heat_up(answer),
        "verdict": answer.verdict.as_dict() if answer.verdict else None,
        "notes": list(answer.notes),
    }


def _detected(answer: HeatingResult) -> dict[str, Any]:
    heating, found = answer.heating, answer.found
    if heating is None:
        return {"detected": None}
    return {
        "detected": {
            "start_s": heating.start,
            "stop_s": heating.stop,
            "start_standard_uncertainty_s": heating.u_start,
            "stop_standard_uncertainty_s": heating.u_stop,
            "from": heating.how,
            "warm_up_s": heating.warm_up,
            "heating_s": nominal(found.duration) if found else heating.duration,
            "heating_standard_uncertainty_s": standard_uncertainty(found.duration) if found else None,
            "probe_in_load": heating.in_load,
            "before_s": _span(found.before) if found else None,
            "plateau_s": _span(found.after) if found else None,
            "first_temperature_C": found.first.kelvin - ZERO_CELSIUS if found else None,
            "last_temperature_C": found.last.kelvin - ZERO_CELSIUS if found else None,
            "probe_lag_s": found.lag if found else None,
        }
    }


def _vessels(answer: HeatingResult) -> list[dict[str, Any]] | None:
    """Each vessel of two heated together; null for a single load."""
    if answer.second is None:
        return None
    return [
        {
            "vessel": name.removesuffix(" vessel"),
            "before_s": _span(found.before),
            "plateau_s": _span(found.after),
            "first_temperature_C": found.first.kelvin - ZERO_CELSIUS,
            "last_temperature_C": found.last.kelvin - ZERO_CELSIUS,
            "rise_K": found.rise,
            "heat_J": nominal(found.energy),
        }
        for name, found in answer.loads()
    ]


def _span(stretch: Plateau | None) -> list[float] | None:
    return [stretch.first, stretch.last] if stretch else None


def _electrical(answer: HeatingResult) -> dict[str, Any] | None:
    if answer.electrical is None:
        return None
    e = answer.electrical
    return {
        "energy_J": e.energy,
        "mean_power_W": e.mean_power,
        "on_power_W": e.on_power,
        "efficiency": e.efficiency,
        "efficiency_standard_uncertainty": e.u_efficiency,
    }


def _heat_up(answer: HeatingResult) -> dict[str, float] | None:
    """How long this load takes from 15 to 95 °C at this power with nothing lost: a kettle's usual question."""
    if answer.power is None or answer.power <= 0.0 or answer.found is None or answer.second is not None:
        return None
    first, last = 15.0, 95.0
    seconds = heat_up_time(answer.power, 1.0, answer.found.capacity, last - first)
    return {"from_C": first, "to_C": last, "seconds": seconds}


def _cycling(answer: HeatingResult) -> dict[str, Any] | None:
    if answer.cycling is None:
        return None
    c = answer.cycling
    on_power = answer.power / c.duty if answer.power is not None else None
    return {
        "on_s": c.on_s,
        "period_s": c.period_s,
        "duty": c.duty,
        "count": c.count,
        "useful_power_while_on_W": on_power,
    }


def as_text(answer: HeatingResult) -> str:
    """The result for a person, the answer first."""
    if answer.power is None or answer.expanded_uncertainty is None:
        return "\n".join(f"no power: {part.why}\n  {part.advice}" for part in answer.refused)
    expanded = answer.expanded_uncertainty
    lines = [
        f"useful power {to_place(answer.power, expanded)} W ± {to_place(expanded, expanded)} W "
        f"(k = {answer.coverage_factor:.2f})"
    ]
    if answer.verdict and answer.verdict.limit:
        lines.append(f"{answer.verdict.outcome}: {answer.verdict.why}")
    lines += [f"  {line}" for line in (answer.verdict.trail if answer.verdict else ())]
    lines += [f"refused  {part.what}: {part.why}" for part in answer.refused]
    lines.append("largest parts of the uncertainty")
    lines += [
        f"  {show(line.contribution, 'watt', 2):>8s}  {line.share:4.0%}  {line.name}" for line in answer.budget[:3]
    ]
    lines += [f"what would help: {part}" for part in answer.improvements]
    lines.append("by other methods")
    lines += [
        f"  {b.method:11s} {to_place(b.watts, expanded):>8s} W  leaves out: {b.leaves_out}" for b in answer.beside
    ]
    return "\n".join(lines)
