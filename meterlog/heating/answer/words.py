"""A heating result in words for the bench, and as plain data whose keys carry their units."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.uncertainty import nominal, standard_uncertainty
from meterlog.base.units import show, to_place
from meterlog.heating.answer.methods import heat_up_time
from meterlog.heating.answer.powers import seconds_at_full_output
from meterlog.heating.water import ZERO_CELSIUS

if TYPE_CHECKING:
    from meterlog.heating.answer.result import HeatingResult
    from meterlog.heating.balance.found import LoadBalance
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
    return [period for name, found in answer.loads() for period in _periods_of(found, name, len(answer.founds) > 1)]


def _periods_of(found: LoadBalance, name: str, is_one_of_two: bool) -> list[Period]:
    of, heating = f", {name}" if is_one_of_two else "", found.heating
    rows = [_still(f"before{of}", found, found.before, heating.start, found.first)] if found.before else []
    slope = found.rise / heating.duration
    rows.append(_period(HEATING + of, (heating.start, heating.stop), heating.start, found.first, slope))
    if found.after:
        rows.append(_still(f"after{of}", found, found.after, heating.stop, found.last))
    return rows


def _still(period: str, found: LoadBalance, stretch: Plateau, moment: float, end: End) -> Period:
    return _period(period, (stretch.first, stretch.last), moment, end, found.drift(end))


def _period(period: str, span: tuple[float, float], moment: float, end: End, slope: float) -> Period:
    """The line through the level of an end at its moment."""
    level = end.kelvin - ZERO_CELSIUS
    low, high = (level + slope * (at - moment) for at in span)
    return Period(period=period, from_s=span[0], to_s=span[1], from_C=low, to_C=high, slope_K_per_s=slope)


def as_dict(answer: HeatingResult) -> dict[str, Any]:
    """Everything the run found, for JSON."""
    useful = answer.useful
    return {
        "power_W": useful.watts if useful else None,
        "standard_uncertainty_W": useful.standard_uncertainty if useful else None,
        "expanded_uncertainty_W": useful.expanded_uncertainty if useful else None,
        "coverage_factor": useful.coverage_factor if useful else None,
        "coverage_probability": 0.9545,
        "degrees_of_freedom": useful.degrees_of_freedom if useful else None,
        "clock_mean_W": useful.clock_mean if useful else None,
        "is_lower_bound": bool(answer.unstated.more) and not answer.unstated.less,
        "may_be_more": list(answer.unstated.more),
        "may_be_less": list(answer.unstated.less),
        "method": answer.method,
        "definition": answer.definition,
        "compared": answer.compared,
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
            for line in (useful.budget if useful else ())
        ],
        "largest_parts": [line.name for line in useful.budget[:3]] if useful else [],
        "improvements": [
            {"what": i.what, "expanded_now_W": i.expanded_now, "expanded_then_W": i.expanded_then}
            for i in (useful.improvements if useful else ())
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
    heating = answer.heating
    if heating is None:
        return {"detected": None}
    told: dict[str, Any] = {
        "start_s": heating.start,
        "stop_s": heating.stop,
        "start_standard_uncertainty_s": heating.u_start,
        "stop_standard_uncertainty_s": heating.u_stop,
        "from": heating.how,
    }
    if answer.founds and answer.warm_up:
        found, warm_up = answer.founds[0], answer.warm_up
        seconds = seconds_at_full_output(found, warm_up)
        told |= {
            "full_output_s": nominal(seconds),
            "full_output_standard_uncertainty_s": standard_uncertainty(seconds),
            "warm_up_s": warm_up.seconds,
            "warm_up_half_width_s": warm_up.half_width,
            "warm_up_from": warm_up.how,
            "pauses_s": [[pause.first, pause.last] for pause in heating.pauses],
            "probe_in_load": heating.in_load,
            "probe_in_load_by": list(found.in_load),
            "before_s": _span(found.before),
            "plateau_s": _span(found.after),
            "first_temperature_C": found.first.kelvin - ZERO_CELSIUS,
            "last_temperature_C": found.last.kelvin - ZERO_CELSIUS,
            "probe_lag_s": found.along.lag if found.along else None,
        }
    return {"detected": told}


def _vessels(answer: HeatingResult) -> list[dict[str, Any]] | None:
    """Each vessel of two heated together; null for a single load."""
    if len(answer.founds) < 2:
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
    if answer.power is None or answer.power <= 0.0 or len(answer.founds) != 1:
        return None
    first, last = 15.0, 95.0
    seconds = heat_up_time(answer.power, 1.0, answer.founds[0].capacity, last - first)
    return {"from_C": first, "to_C": last, "seconds": seconds}


def _cycling(answer: HeatingResult) -> dict[str, Any] | None:
    if answer.cycling is None:
        return None
    c = answer.cycling
    return {
        "on_s": c.on_s,
        "period_s": c.period_s,
        "duty": c.duty,
        "count": c.count,
    }


def as_text(answer: HeatingResult) -> str:
    """The result for a person, the answer first."""
    useful = answer.useful
    if useful is None:
        return "\n".join(f"no power: {part.why}\n  {part.advice}" for part in answer.refused)
    expanded, verdict = useful.expanded_uncertainty, useful.verdict
    lines = [
        f"useful power at full output {to_place(useful.watts, expanded)} W ± {to_place(expanded, expanded)} W "
        f"(k = {useful.coverage_factor:.2f}){answer.unstated.words}",
        f"mean over the clock {to_place(useful.clock_mean, expanded)} W",
    ]
    if verdict.limit:
        lines.append(f"{verdict.outcome}: {verdict.why}")
    lines += [f"  {line}" for line in verdict.trail]
    lines += [f"refused  {part.what}: {part.why}" for part in answer.refused]
    lines.append("largest parts of the uncertainty")
    lines += [
        f"  {show(line.contribution, 'watt', 2):>8s}  {line.share:4.0%}  {line.name}" for line in useful.budget[:3]
    ]
    lines += [f"what would help: {part}" for part in useful.improvements]
    lines.append("by other methods, at full output")
    lines += [
        f"  {b.method:11s} {to_place(b.watts, expanded):>8s} W  leaves out: {b.leaves_out}" for b in answer.beside
    ]
    return "\n".join(lines)
