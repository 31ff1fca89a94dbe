"""Every row of tests/checks/electrical.csv through our functions: published figures and outside arithmetic.

`inputs` are key=value joined by ";", lists by "|"; `tolerance` is absolute, in `unit`.
"""

import math

import pytest
from check_tables import rows

from meterlog.base.distributions import ErrorSum, student_quantile
from meterlog.base.readings import Capture, Form
from meterlog.base.uncertainty import (
    Error,
    budget_of,
    effective_count,
    effective_degrees_of_freedom,
    estimate,
    nominal,
    rectangle,
    standard_uncertainty,
)
from meterlog.judging import Result, judge, measured, parse_accuracy, risk
from meterlog.judging.formula import derive, exactly
from meterlog.judging.limit import Limit
from meterlog.judging.methods import (
    capacitance,
    discharge,
    insulation,
    leakage,
    loading,
    protective_conductor,
    resistance,
    winding,
)
from meterlog.judging.methods.ratio import quotient
from meterlog.judging.written import measured_series, measured_value

K0 = 273.15


def given(row):
    """The row's inputs: numbers where they are, lists of them, bounds and words as texts."""
    out = {}
    for part in row["inputs"].split(";"):
        key, _, text = part.partition("=")
        values = [number(one) for one in text.split("|")]
        out[key] = values if len(values) > 1 else values[0]
    return out


def number(text):
    try:
        return float(text)
    except ValueError:
        return text


def bound_or_value(text, unit="Mohm"):
    return measured_value(f"{text} {unit}", "insulation_resistance")


def normals(values):
    return [Error(name=str(i), standard_uncertainty=u) for i, u in enumerate(values)]


def cooling(i):
    text = ", ".join(f"{t} s: {r} ohm" for t, r in zip(i["t"], i["R"], strict=True))
    return measured_series(text, "resistance")


def ten_minutes(i, t1, t2):
    """The ratio of two readings of absorption A t^-n beside a leak R_L, at 500 V."""
    current = [i["A"] * t ** -i["n"] + i["U"] / i["RL"] for t in (t1, t2)]
    early, late = (exactly(i["U"] / c, "insulation_resistance") for c in current)
    return nominal(quotient(late, early).number)


def ratio_text(i):
    first, second = (bound_or_value(str(i[key]).replace(".0", "")) for key in ("R1", "R10"))
    found = quotient(second, first)
    if found.number is None:
        return "no value"
    return ({"above": ">", "below": "<", "": ""}[found.bound], nominal(found.number))


def verdict(i):
    if "R" in i:
        result = measured_value(f"{i['R']} ohm", "resistance")
        result = Result(quantity="resistance", number=nominal(result.number), bound=result.bound)
    else:
        error = Error(name="all", standard_uncertainty=i["U"] / 2)
        result = Result(quantity="resistance", number=estimate(i["y"], error))
    return judge(result, limit(i)).outcome


def limit(i):
    return Limit(low=i.get("L"), high=i.get("H"), unit="ohm", text="", source="check")


def conformity(i):
    error = Error(name="all", standard_uncertainty=i["u"])
    return judge(Result(quantity="resistance", number=estimate(i["y"], error)), limit(i)).probability


def accepted_wrongly():
    """Chance that a value on the guarded limit is outside, of a normal: k is 2 there."""
    budget = budget_of(estimate(0.0, *normals([1.0])))
    assert budget.coverage_factor == pytest.approx(2.0)
    return budget.cdf(-budget.expanded)


def trapezoid(i):
    """k of two rectangles with β = |a1 − a2|/(a1 + a2)."""
    total = ErrorSum((1 + i["beta"], 1 - i["beta"]), 0.0)
    return total.quantile(0.5 + i["p"] / 2) / total.standard_deviation


VOLTS = [5.007, 4.994, 5.005, 4.990, 4.999]
MILLIAMPERES = [19.663, 19.639, 19.640, 19.685, 19.678]
RADIANS = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]
SAMPLES = (VOLTS, [i / 1000 for i in MILLIAMPERES], RADIANS)


def mean(values):
    return math.fsum(values) / len(values)


def covariance(a, b):
    """Of the means of two columns that were read together."""
    return math.fsum((x - mean(a)) * (y - mean(b)) for x, y in zip(a, b, strict=True)) / (len(a) * (len(a) - 1))


MODEL = {
    "R": lambda v, i, cos, sin: v / i * cos,
    "X": lambda v, i, cos, sin: v / i * sin,
    "Z": lambda v, i, cos, sin: v / i,
}


def impedance(which, *, correlated=True):
    """(value, contributions by input, correlations) of JCGM 100 H.2, sensitivities from our estimates."""
    means = [mean(column) for column in SAMPLES]
    us = [math.sqrt(covariance(column, column)) for column in SAMPLES]
    v, i, phi = (estimate(m, Error(name=n, standard_uncertainty=u)) for m, u, n in zip(means, us, "vip", strict=True))
    turn = phi - means[2]
    cos = math.cos(means[2]) - math.sin(means[2]) * turn
    sin = math.sin(means[2]) + math.cos(means[2]) * turn
    lines = {line.name: line for line in budget_of(MODEL[which](v, i, cos, sin)).lines}
    signed = [lines[n].sensitivity * u if n in lines else 0.0 for n, u in zip("vip", us, strict=True)]
    pairs = [(0, 1), (0, 2), (1, 2)] if correlated else []
    r = {(a, b): covariance(SAMPLES[a], SAMPLES[b]) / (us[a] * us[b]) for a, b in pairs}
    return nominal(MODEL[which](v, i, cos, sin)), signed, r


def combined_uncertainty(signed, r):
    """JCGM 100, 5.2.2: from c_i u_i with their signs, and the correlations of pairs."""
    return math.sqrt(sum(c * c for c in signed) + 2 * sum(signed[a] * signed[b] * r for (a, b), r in r.items()))


def impedance_u(which, **how):
    _, signed, r = impedance(which, **how)
    return combined_uncertainty(signed, r)


def impedance_r(one, other):
    """Correlation of two results: from u of their sum."""
    (_, a, r), (_, b, _) = impedance(one), impedance(other)
    ua, ub = combined_uncertainty(a, r), combined_uncertainty(b, r)
    both = combined_uncertainty([x + y for x, y in zip(a, b, strict=True)], r)
    return (both**2 - ua**2 - ub**2) / (2 * ua * ub)


def substitution(i):
    """EA-4/02 S3: (R_S + drift) r."""
    parts = [exactly(i[key], "resistance") for key in ("RS", "drift", "r")]
    return derive("resistance", lambda rs, drift, r: (rs + drift) * r, "({0} + {1}) × {2}", *parts).value


def two_wires(i):
    """The reading through leads that, the leads taken off, leaves R."""
    through = i["R"] + i["leads"]
    left = resistance.leads_off(exactly(through, "resistance"), exactly(i["leads"], "resistance")).value
    return through if left == pytest.approx(i["R"]) else left


def shown_u(_):
    form = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=2)
    shown = Capture(form=form, counts=34, count=1, spread=0.0, deviation=0.0, started=0.0, ended=0.0, first=0, last=0,
                    how="settled")  # fmt: skip
    return measured(shown, accuracy=parse_accuracy("1 % + 3 counts")).u


def two_kinds(i):
    """u of a rectangle and of a mean of readings, in µV."""
    readings = Error(name="readings", standard_uncertainty=i["sA"])
    return standard_uncertainty(estimate(0.0, rectangle("maker", i["a"]), readings)) * 1e6


def student_k(i):
    """EA-4/02 S12, ν_eff rounded down as there."""
    (u1, nu1), (u2, _) = (part.split(":") for part in i["u"])
    dof = effective_degrees_of_freedom(math.hypot(float(u1), float(u2)), [(float(u1), float(nu1))])
    return student_quantile(0.5 + i["p"] / 2, math.floor(dof))


def rectangle_and_normal(i):
    total = ErrorSum((math.sqrt(3),), i["rho"])
    return total.quantile(0.5 + i["p"] / 2) / total.standard_deviation


def charging(i):
    return capacitance.charging_capacitance(i["C"], i["Rp"], i["I"], i["V1"], i["V2"]) * 1e6


IR = {"halving": insulation.halving, "thermoset": insulation.thermosetting}
FIND = {
    "temp_rise_R": lambda i: winding.temperature_rise(i["R1"], i["R2"], i["t1"] + K0, i["t2"] + K0, i["k"]),
    "winding_temp": lambda i: winding.temperature_from(i["R1"], i["R2"], i["t1"] + K0, i["k"]) - K0,
    "temp_linear_alpha": lambda i: (
        winding.temperature_from(i["R0"], i["R"], i["t0"] + K0, 1 / i["alpha"] - i["t0"]) - K0
    ),
    "alpha20_from_k": lambda i: winding.coefficient(i["k"], 20 + K0),
    "reduce_R": lambda i: winding.resistance_at(i["R"], i["t"] + K0, i["to"] + K0, i["k"]),
    "switchoff_exp3": lambda i: nominal(winding.switch_off_resistance(cooling(i), exactly(0.0, "time")).number),
    "switchoff_loglinear": lambda i: winding.log_line(list(zip(i["t"], i["R"], strict=True)), 0.0)[0],
    "PI": lambda i: nominal(quotient(*(exactly(i[key], "insulation_resistance") for key in ("R10", "R1"))).number),
    "IR_min_old": lambda i: insulation.lowest_before_1970(i["kV"] * 1e3) / 1e6,
    "IR_to_40": lambda i: IR[i["law"]](i["R"], i["t"] + K0, 40 + K0),
    "PI_absorption": lambda i: ten_minutes(i, 60, 600),
    "DAR_60_30": lambda i: ten_minutes(i, 30, 60),
    "ratio_bound": ratio_text,
    "gumH2_R": lambda i: impedance("R")[0],
    "gumH2_X": lambda i: impedance("X")[0],
    "gumH2_Z": lambda i: impedance("Z")[0],
    "gumH2_uR": lambda i: impedance_u("R"),
    "gumH2_uX": lambda i: impedance_u("X"),
    "gumH2_uZ": lambda i: impedance_u("Z"),
    "gumH2_rRX": lambda i: impedance_r("R", "X"),
    "gumH2_rRZ": lambda i: impedance_r("R", "Z"),
    "gumH2_rXZ": lambda i: impedance_r("X", "Z"),
    "gumH2_uR_uncorrelated": lambda i: impedance_u("R", correlated=False),
    "ea402_S9_uc": lambda i: standard_uncertainty(estimate(0.0, *normals(i["u"]))),
    "ea402_S9_U": lambda i: budget_of(estimate(0.0, rectangle("display", i["uc"] * math.sqrt(3)))).expanded,
    "ea402_S3_R": substitution,
    "ea402_S3_uc": lambda i: standard_uncertainty(estimate(0.0, *normals(i["u_mohm"]))),
    "ea402_S3_U": lambda i: budget_of(estimate(0.0, *normals([i["uc"]]))).expanded,
    "ea402_S12_k": student_k,
    "ea402_S10_k_trapezoid": trapezoid,
    "ea402_S11_k_trapezoid": trapezoid,
    "t_quantile": lambda i: student_quantile(0.5 + i["p"] / 2, i["nu"]),
    "rect4_U95": lambda i: ErrorSum(tuple(math.sqrt(3) * u for u in i["u"]), 0.0).quantile(0.975),
    "u_rect": shown_u,
    "gum_dvm_uc": two_kinds,
    "k_rect_normal": rectangle_and_normal,
    "n_eff_AR1": lambda i: effective_count(int(i["n"]), i["rho"]),
    "jcgm106_zener_pc": conformity,
    "jcgm106_container_pc": conformity,
    "jcgm106_oil_pc": conformity,
    "jcgm106_resistor_RC": lambda i: risk.consumers_risk(i["u0"], i["um"], i["T"], i["A"]),
    "jcgm106_resistor_RP": lambda i: risk.producers_risk(i["u0"], i["um"], i["T"], i["A"]),
    "PFA_guard": lambda i: accepted_wrongly(),
    "verdict": verdict,
    "verdict_bound": verdict,
    "earth_limit": lambda i: protective_conductor.limit_by_cord(i["L"], 1.0),
    "loaded_divider": lambda i: loading.loaded_divider(i["V"], i["R1"], i["R2"], i["Rm"]),
    "loading_error_pct": lambda i: 100 * loading.loading_error(1 / (1 / i["R1"] + 1 / i["R2"]), i["Rm"]),
    "two_wire_R": two_wires,
    "polarity_reversal_R": lambda i: resistance.reversed_current(i["Vp"], i["Vn"], i["I"]),
    "leak_current_mA": lambda i: leakage.capacitive_current(i["C"], i["U"], i["f"]) * 1e3,
    "C_charge_apparent": charging,
    "time_constant_37pct": lambda i: i["V0"] * round(discharge.voltage_left(1.0, 1.0, 1.0, 1.0), 2),
    "residual_1s": lambda i: discharge.voltage_left(i["C"], i["R"], i["V0"], 1.0),
    "discharge_time": lambda i: discharge.discharge_time(i["C"], i["R"], i["V0"], i["Vs"]),
}


@pytest.mark.parametrize("row", rows("electrical.csv"))
def test_electrical(row):
    found = FIND[row["quantity"]](given(row))
    if row["unit"] == "text":
        assert found == row["expected"]
        return
    sign, expected = row["expected"][:1], row["expected"]
    if sign in "<>":
        assert found[0] == sign
        found, expected = found[1], expected[1:]
    assert found == pytest.approx(float(expected), abs=float(row["tolerance"])), row["source"]
