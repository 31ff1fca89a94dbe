"""Every post-processor's uncertainty against a million draws (JCGM 101): standard uncertainty and 95.45 % width.

Each input is drawn uniformly over its ± width; the formula is written out again here, on arrays.
"""

import numpy as np
import pytest
from captures import RISE, taken

from meterlog.base.uncertainty import COVERAGE, budget_of
from meterlog.base.units import QUANTITIES, parse, si_factor, split_measure
from meterlog.judging.postprocess import METHODS, AtHand, post_process

DRAWS = 1_000_000
K = 273.15


def kelvin_exponent(t):
    """The thermosetting law's exponent on the cool side."""
    t = t - K + 273.0
    return 1245.0 * (1 / t - 1 / 313.0)


def straight_line(times, values):
    times = np.array(times)
    values = np.array(values)
    return ((times - times.mean())[:, None] * (values - values.mean(axis=0))).sum(axis=0) / (
        (times - times.mean()) ** 2
    ).sum()


def log_line(t, readings, final):
    """R at time 0 by a line through the logarithms."""
    t = np.array(t)
    logs = np.log(np.array(readings) - final)
    tilt = straight_line(t, logs)
    return final + np.exp(logs.mean(axis=0) - tilt * t.mean())


COOLING = "10 s: 5.638 ohm, 20 s: 5.572 ohm, 30 s: 5.509 ohm, 40 s: 5.452 ohm, 50 s: 5.398 ohm, 60 s: 5.347 ohm"

FORMULAS = [  # method, inputs, the formula on arrays of its uncertain inputs in their order
    ("leads off", {"reading": "0.46 ohm ± 0.03 ohm", "leads": "0.12 ohm ± 0.02 ohm"}, lambda r, n: r - n),
    ("reversed current",
     {"forward": "20.24 mV ± 0.05 mV", "backward": "-20.16 mV ± 0.05 mV", "current": "0.2 A ± 2 mA"},
     lambda a, b, i: (a - b) / (2 * i)),
    ("mean of repeats", {"repeats": "0.34 ohm ± 0.03 ohm, 0.34 ohm ± 0.02 ohm"}, lambda a, b: (a + b) / 2),
    ("protective conductor", {"resistance": "0.22 ohm ± 0.03 ohm", "length": "10 m"}, lambda r: r),
    ("insulation by class", {"resistance": "1.3 Mohm ± 0.1 Mohm", "protection class": "I"}, lambda r: r),
    ("input power",
     {"power": "1820 W ± 20 W", "rated": "2 kW", "voltage": "221 V ± 2 V", "rated voltage": "230 V"},
     lambda p, u: p * (230 / u) ** 2),
    ("input power", {"power": "310 W ± 5 W", "rated": "300 W", "kind": "motor"}, lambda p: p),
    ("insulation at temperature", {"resistance": "8 Mohm ± 0.3 Mohm", "temperature": "22 degC ± 1 degC"},
     lambda r, t: r * 0.5 ** ((40 + K - t) / 10)),
    ("insulation at temperature",
     {"resistance": "8 Mohm ± 0.3 Mohm", "temperature": "22 degC ± 1 degC", "law": "thermosetting"},
     lambda r, t: r * np.exp(kelvin_exponent(40 + K) - kelvin_exponent(t))),
    ("polarisation index", {"minute": "14 Gohm ± 0.3 Gohm", "ten": "38 Gohm ± 1 Gohm"}, lambda a, b: b / a),
    ("absorption ratio", {"half": "8.8 Gohm ± 0.2 Gohm", "minute": "14 Gohm ± 0.3 Gohm"}, lambda a, b: b / a),
    ("winding minimum", {"resistance": "5 Mohm ± 0.2 Mohm", "rated voltage": "480 V"}, lambda r: r),
    ("junctions", {"forward": "2.4 V ± 0.03 V", "junctions": "4"}, lambda v: v / 4),
    ("diode both ways", {"forward": "0.582 V ± 0.008 V", "reverse": "> 2.5 V"}, lambda v: v),
    ("capacitance against marking", {"capacitance": "0.95 uF ± 0.02 uF", "marked": "1 uF"}, lambda c: c),
    ("resistance against marking", {"resistance": "4.68 kohm ± 40 ohm", "marking": "4K7J"}, lambda r: r),
    ("capacitance behind a leak", {"shown": "10.25 uF ± 0.2 uF", "leak": "1 kohm ± 20 ohm"},
     lambda c, r: (c + np.sqrt(c**2 - 4 / (2 * np.pi * 100 * r) ** 2)) / 2),
    ("capacitance by charging", {"shown": "1.622 uF ± 0.02 uF", "leak": "100 kohm ± 1 kohm"},
     lambda c, r: -c * 0.5 / (r * 1e-5 * np.log((1e-5 * r - 0.6) / (1e-5 * r - 0.1)))),
    ("meter loading", {"source": "1 Mohm ± 50 kohm"}, lambda r: -r / (r + 1e7)),
    ("divider with the meter",
     {"voltage": "6 V ± 0.05 V", "upper": "1 kohm ± 10 ohm", "lower": "2 kohm ± 20 ohm", "meter": "10 kohm"},
     lambda v, a, b: v / (1 + a * (1 / b + 1e-4))),
    ("discharge time",
     {"capacitance": "1 uF ± 0.03 uF", "bleeder": "10 Mohm ± 0.3 Mohm", "start": "2970 V", "safe": "34 V"},
     lambda c, r: r * c * np.log(2970 / 34)),
    ("voltage left", {"capacitance": "0.47 uF ± 5 nF", "bleeder": "1 Mohm ± 10 kohm", "start": "325 V"},
     lambda c, r: 325 * np.exp(-1 / (r * c))),
    ("stored energy", {"capacitance": "1 uF ± 0.03 uF", "voltage": "2970 V"}, lambda c: c * 2970**2 / 2),
    ("bleeder", {"shown": "5 Mohm ± 0.1 Mohm", "leak": "10 Mohm"}, lambda r: 1 / (1 / r - 1e-7)),
    ("voltage without the meter", {"shown": "110 V ± 1 V", "source": "1 Mohm ± 50 kohm"},
     lambda v, r: v * (1 + r / 1e7)),
    ("winding at temperature", {"resistance": "4.62 ohm ± 0.03 ohm", "temperature": "27.3 degC ± 1 degC"},
     lambda r, t: r * 254.5 / (234.5 + t - K)),
    ("winding temperature",
     {"hot": "100 ohm ± 0.3 ohm", "cold": "80 ohm ± 0.3 ohm", "start": "20 degC ± 0.5 degC"},
     lambda h, c, t: h / c * (234.5 + t - K) - 234.5 + K),
    ("winding rise",
     {"hot": "5.71 ohm ± 0.035 ohm", "cold": "4.62 ohm ± 0.035 ohm", "start": "21.0 degC ± 0.5 degC",
      "ambient": "24.5 degC ± 0.5 degC"},
     lambda h, c, t, a: (h - c) / c * (234.5 + t - K) - (a - t)),
    ("switch off resistance", {"cooling": COOLING + " ± 2 mohm", "final": "4.67 ohm ± 0.01 ohm"},
     lambda *r: log_line([10, 20, 30, 40, 50, 60], r[:6], r[6])),
    ("switch off resistance", {"cooling": COOLING + " ± 0.5 mohm"},
     lambda a, b, c, d, e, f: b + (b - d) ** 2 / (d - f)),
    ("element band", {"resistance": "26.4 ohm ± 0.3 ohm", "power": "2 kW", "voltage": "230 V"}, lambda r: r),
    ("element power", {"resistance": "26.4 ohm ± 0.3 ohm", "voltage": "230 V", "ratio": "1.02"},
     lambda r: 230**2 / (r * 1.02)),
    ("thermistor temperature", {"resistance": "8.03 kohm ± 80 ohm", "at 25": "10 kohm", "b": "3977 K"},
     lambda r: 1 / (1 / 298.15 + np.log(r / 1e4) / 3977)),
    ("thermistor at 25",
     {"resistance": "8.03 kohm ± 80 ohm", "temperature": "30 degC ± 0.5 degC", "at 25": "10 kohm", "b": "3977 K"},
     lambda r, t: r * np.exp(-3977 * (1 / t - 1 / 298.15))),
    ("symmetry", {"windings": "6.00 ohm ± 0.02 ohm, 6.30 ohm ± 0.02 ohm, 6.15 ohm ± 0.02 ohm"},
     lambda a, b, c: (b - a) / ((a + b + c) / 3)),
    ("terminal sum",
     {"common start": "11 ohm ± 0.1 ohm", "common run": "4 ohm ± 0.05 ohm", "start run": "15 ohm ± 0.1 ohm"},
     lambda s, r, both: s + r - both),
    ("leakage at voltage", {"current": "0.2 mA ± 5 uA", "used": "120 V ± 1 V"}, lambda i, u: i * 230 / u),
    ("leakage", {"current": "0.4 mA ± 20 uA", "path": "touch"}, lambda i: i),
    ("capacitive current", {"capacitance": "4.7 nF ± 0.2 nF"}, lambda c: 2 * np.pi * 50 * c * 230),
    ("ratio", {"above": "12.0 ohm ± 0.1 ohm", "below": "4.0 ohm ± 0.05 ohm"}, lambda a, b: a / b),
    ("drift", {"run": "0 s: 1.00 ohm, 10 s: 1.10 ohm, 20 s: 1.20 ohm ± 0.01 ohm"},
     lambda *r: straight_line([0, 10, 20], r) * 20),
    ("trend", {"run": "0 s: 2.0 ohm, 1e7 s: 2.1 ohm, 2e7 s: 2.2 ohm ± 0.05 ohm", "over": "31557600 s"},
     lambda *r: straight_line([0, 1e7, 2e7], r) * 31557600),
]  # fmt: skip


def drawn(dice, text, quantity):
    """Arrays for every "x ± w" in a text; a list and a run have one width behind all or behind each."""
    si = QUANTITIES[quantity].si
    parts = [part.split(":")[-1] for part in text.split(",")]
    if "±" not in text:
        return []
    behind = parts[-1].partition("±")[2].strip()
    out = []
    for part in parts:
        shown, _, width = part.partition("±")
        digits, unit = split_measure((width or behind).strip())
        half = float(digits) * si_factor(unit)[0]
        out.append(parse(shown.strip(), si) + dice.uniform(-half, half, DRAWS))
    return out


@pytest.mark.parametrize(("name", "inputs", "formula"), FORMULAS, ids=lambda one: one if isinstance(one, str) else "")
def test_a_method_agrees_with_a_million_draws(name, inputs, formula):
    dice = np.random.default_rng(20)
    method = METHODS[name]
    arrays = [
        array for key, text in inputs.items() for array in drawn(dice, text, method.inputs[key].quantity or "ratio")
    ]
    draws = formula(*arrays)
    result = post_process(name, inputs, AtHand())
    budget = budget_of(result.number)
    centre = formula(*(np.array([array.mean()]) for array in arrays))[0]
    assert result.value == pytest.approx(centre, rel=2e-3, abs=1e-9 + 5e-3 * draws.std())
    assert budget.standard == pytest.approx(draws.std(), rel=0.01)
    width = np.quantile(np.abs(draws - np.median(draws)), COVERAGE)
    assert budget.expanded == pytest.approx(width, rel=0.015)


def test_every_method_is_drawn():
    assert {name for name, _, _ in FORMULAS} | {"batch risk", "in circuit", "lead drift"} == set(METHODS)


@pytest.mark.parametrize(("whose", "chosen"), [("taken", True), ("refused", False)])
def test_batch_risk_agrees_with_draws(whose, chosen):
    dice = np.random.default_rng(21)
    parts = 0.12 * dice.standard_normal(4 * DRAWS)
    shown = parts + 0.04 * dice.standard_normal(4 * DRAWS)
    good, accepted = np.abs(parts) <= 0.2, np.abs(shown) <= 0.18
    expected = np.mean(accepted & ~good) if chosen else np.mean(good & ~accepted)
    inputs = {
        "scatter": "0.12 ohm",
        "meter": "0.04 ohm",
        "tolerance": "0.2 ohm",
        "acceptance": "0.18 ohm",
        "whose": whose,
    }
    assert post_process("batch risk", inputs, AtHand()).value == pytest.approx(expected, rel=0.02)


def test_the_drift_of_the_leads_agrees_with_draws():
    dice = np.random.default_rng(23)
    draws = dice.uniform(-0.005, 0.005, DRAWS) - dice.uniform(-0.005, 0.005, DRAWS)
    found = post_process("lead drift", {"after": "0.14 ohm ± 1 %", "before": "0.12 ohm ± 1 %"}, AtHand())
    assert found.value == pytest.approx(0.02)
    assert found.u == pytest.approx(draws.std(), rel=0.01)


def test_a_shared_gain_agrees_with_draws():
    """Two readings of one meter: its gain error drawn once, each reading's counts drawn apart."""
    dice = np.random.default_rng(22)
    gain = dice.uniform(-0.01, 0.01, DRAWS)
    hot = 5.71 * (1 + gain) + dice.uniform(-0.03, 0.03, DRAWS)
    cold = 4.62 * (1 + gain) + dice.uniform(-0.03, 0.03, DRAWS)
    start, ambient = (t + dice.uniform(-0.6, 0.6, DRAWS) for t in (294.15, 297.65))
    draws = (hot - cold) / cold * (234.5 + start - K) - (ambient - start)
    result = post_process("winding rise", RISE, AtHand(taken={"hot": taken(571), "cold": taken(462)}), own="hot")
    assert result.u == pytest.approx(draws.std(), rel=0.01)
