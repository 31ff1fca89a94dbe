"""Every check case of the heating reference: published figures, and results of public libraries, with their source."""

import csv
from itertools import pairwise
from pathlib import Path

import pytest
from heating_examples import nine_a, nine_b

from meterlog.base.uncertainty import Error, budget_of, effective_degrees_of_freedom, estimate
from meterlog.heating import water
from meterlog.heating.answer import methods, rating
from meterlog.heating.balance import evaporation, exchange
from meterlog.heating.times import cycling
from meterlog.judging import Outcome, Result, judge
from meterlog.judging.limit import Limit

ZERO = 273.15
FILE = Path(__file__).parents[2] / "checks" / "heating.csv"
ROWS = list(csv.DictReader(FILE.read_text(encoding="utf-8").splitlines()))


def numbers(text):
    return [float(x) for x in text.split("|")]


def iec(mw_g, mc_g, T0, T1, T2, t):
    return methods.iec_60705_manner(water_g=mw_g, vessel_g=mc_g, rise=T2 - T1, over_room=T2 - T0, duration=t)


def two_litres(*rises):
    """A litre in each of two vessels for two minutes at full power: what `pair` adds up."""
    return sum(methods.quick(rise, 1.0, 120.0) for rise in rises)


def cup(V_mL, T1, T2, t):
    mass = V_mL * 1e-6 * 1000.0
    return mass * (water.enthalpy(T2 + ZERO) - water.enthalpy(T1 + ZERO)) / t


def pfaundler_old(N, R, Rp, T, Tp, Tm):
    """The handbook counts drifts as falls per interval, R before at T and R' after at T'; C is what is to be added."""
    got = exchange.regnault_pfaundler(before=(-R, T), after=(-Rp, Tp), first=T, last=Tp, mean=Tm, duration=N)
    return got.rise - (Tp - T)


def synthetic(C, k, Tenv, T0, P, tb, te):
    """The closed form of the reference: (T_b, T_e, function of time)."""
    from math import exp

    hot = Tenv + P / (C * k)
    t_b = Tenv + (T0 - Tenv) * exp(-k * tb)
    t_e = hot + (t_b - hot) * exp(-k * (te - tb))

    def at(t):
        if t <= tb:
            return Tenv + (T0 - Tenv) * exp(-k * t)
        return hot + (t_b - hot) * exp(-k * (t - tb)) if t <= te else Tenv + (t_e - Tenv) * exp(-k * (t - te))

    return t_b, t_e, at


def regnault_pfaundler_synthetic(C, k, Tenv, T0, P, tb, te, tend, dt):
    from meterlog.heating.trace.fits import fit_line

    t_b, t_e, at = synthetic(C, k, Tenv, T0, P, tb, te)
    grid = lambda a, b: [a + dt * i for i in range(round((b - a) / dt) + 1)]  # noqa: E731
    fore, main, after = (grid(*ends) for ends in ((0, tb), (tb, te), (te, tend)))
    before, behind = (fit_line(ts, [at(t) for t in ts]) for ts in (fore, after))
    mean = sum((at(a) + at(b)) / 2 * dt for a, b in pairwise(main)) / (te - tb)
    return exchange.regnault_pfaundler(
        before=(before.slope, before.level), after=(behind.slope, behind.level), first=t_b, last=t_e, mean=mean,
        duration=te - tb,
    ).rise  # fmt: skip


def dickinson_synthetic(C, k, Tenv, T0, P, tb, te):
    t_b, t_e, _ = synthetic(C, k, Tenv, T0, P, tb, te)
    return exchange.middle_drift(t_b, t_e, k * (Tenv - t_b), k * (Tenv - t_e), te - tb)


def cycle(V, seg):
    parts = [[float(x) for x in part.split(":")] for part in seg.split("|")]
    return cycling.average_power([(t, V * i * pf) for t, i, pf in parts])


def verdict(P, U, L, H):
    number = estimate(P, Error(name="all", standard_uncertainty=U / 2))
    limit = Limit(low=L, high=H, unit="watt", text="", source="")
    found = judge(Result(quantity="power", number=number), limit).outcome
    return {Outcome.PASS: "inside", Outcome.UNDECIDED: "cannot tell", Outcome.FAIL: "outside"}[found]


METHODS = {
    "iec60705_power": iec,
    "round50_rule_b": lambda P: methods.rounded_50(P),
    "heatup_time": lambda P, m_g, c, dT: methods.heat_up_time(P, m_g / 1000, c * 1000, dT),
    "factor_rule": lambda factor, dT: methods.quick(dT),
    "two_beaker_mean": lambda factor, T1a, T1b, T2a, T2b: two_litres(T2a - T1a, T2b - T1b),
    "cup_boil_mean_power": cup,
    "water_dh": lambda m_kg, T1, T2: m_kg * (water.enthalpy(T2 + ZERO) - water.enthalpy(T1 + ZERO)),
    "water_mean_cp": lambda T1, T2: water.mean_specific_heat(T1 + ZERO, T2 + ZERO),
    "water_cp": lambda T: water.specific_heat(T + ZERO),
    "water_rho": lambda T: water.density(T + ZERO),
    "boil_T": lambda p_kPa: water.boiling_point(p_kPa * 1000) - ZERO,
    "boil_T_altitude": lambda h_m: water.boiling_point(water.pressure_at(h_m)) - ZERO,
    "latent_heat": lambda T: water.latent_heat(T + ZERO) / 1000,
    "pfaundler_old": pfaundler_old,
    "regnault_pfaundler_synth": regnault_pfaundler_synthetic,
    "dickinson_mid_synth": dickinson_synthetic,
    "evap_exact": lambda m1, T1, m2, T2, Tv: evaporation.weighed_energy(m1, T1 + ZERO, m2, T2 + ZERO, Tv + ZERO),
    "boiloff_power": lambda dm_kg, t, T: evaporation.boil_off_power(dm_kg, t, T + ZERO),
    "efficiency": lambda m_kg, c, T1, T2, Pin, t: methods.efficiency(m_kg * c * (T2 - T1), Pin * t),
    "voltage_scale": lambda P, V, Vref: rating.at_rated_voltage(P, V, Vref),
    "duty_fraction": lambda t_on, t_w, T: cycling.part_power(1.0, t_on, t_w, T),
    "cycle_mean_power": cycle,
    "gum_9a_value": lambda: nine_a().nominal_value,
    "gum_9a_u": lambda: budget_of(nine_a()).standard,
    "gum_9a_u_offset_independent": lambda: budget_of(nine_a(offset_shared=False)).standard,
    "gum_9b_value": lambda: nine_b().nominal_value,
    "gum_9b_u": lambda: budget_of(nine_b()).standard,
    "welch_satterthwaite": lambda uc, terms: effective_degrees_of_freedom(
        uc, [tuple(float(x) for x in term.split(":")) for term in terms.split("|")]
    ),
    "tau_regression": lambda t, T, Ti, Tf: methods.first_order_lag(numbers(t), numbers(T), Ti, Tf),
    "leak_convert": lambda mW_cm2: rating.power_density(mW_cm2),
    "verdict": verdict,
}  # fmt: skip


def inputs_of(row):
    pairs = [part.split("=") for part in row["inputs"].split(";")]
    texts = ("seg", "terms", "t", "T")
    return {
        key: text if key in texts and ("|" in text or ":" in text) else float(text)
        for key, text in pairs
        if key != "see"
    }


@pytest.mark.parametrize("row", ROWS, ids=[row["case_id"] for row in ROWS])
def test_a_check_case_of_the_reference(row):
    found = METHODS[row["method"]](**inputs_of(row))
    if row["unit"] == "text":
        assert found == row["expected"]
    else:
        assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]) or 1e-9), row["source"]


def test_all_cases_are_here():
    """H37 to H42 are of bare sensors: no instrument here shows raw volts or ohms of one."""
    sensors = range(37, 43)
    assert [row["case_id"] for row in ROWS] == [f"H{n:02d}" for n in range(1, 47) if n not in sensors]
