"""Verdicts on captures: rules, bounds, proofs, leads, unknown accuracy."""

from dataclasses import replace

import pytest
from check_tables import number, rows
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.base.readings import Bound, Capture, Form, Reading
from meterlog.base.uncertainty import Error, estimate, rectangle
from meterlog.judging import Accuracy, Context, Outcome, Result, Verdict, judge, measured, parse_accuracy
from meterlog.judging.limit import Limit, Rule
from meterlog.procedure import kinds
from meterlog.procedure.judged_step import judge_capture
from meterlog.procedure.steps import Step


def limit(low=None, high=None, **more):
    return Limit(**{"low": low, "high": high, "unit": "ohm", "text": "as written", "source": "a test", **more})


def step(*limits, **more):
    return Step(key="a", title="a step", kind=kinds.MEASURE, limits=limits, **more)


def capture(counts, *, deviation=0.0, how="settled", **form):
    form = Form(**{"quantity": "resistance", "unit": "ohm", "scale": 1.0, "decimals": 2, **form})
    return Capture(form=form, counts=counts, count=12, spread=3 * deviation, deviation=deviation, started=0.0,
                   ended=3.0, first=3, last=14, how=how)  # fmt: skip


def normal(value, u, quantity="resistance"):
    return Result(quantity=quantity, number=estimate(value, Error(name="a normal", standard_uncertainty=u)))


@pytest.mark.parametrize("row", rows("decisions.csv"))
def test_decisions(row):
    held = limit(number(row["low"]), number(row["high"]))
    verdict = judge(normal(float(row["value"]), float(row["u"])), held)
    assert verdict.outcome == row["verdict"]
    assert verdict.probability == pytest.approx(float(row["probability"]), abs=6e-5)


ACCURACIES = [
    ("0.5 % + 3 counts", Accuracy(part_of_reading=0.005, counts=3)),
    ("0.5% + 3d", Accuracy(part_of_reading=0.005, counts=3)),
    ("± (0.5 % of reading + 3 digits)", Accuracy(part_of_reading=0.005, counts=3)),
    ("+/-(1.2% rdg + 5 dgts)", Accuracy(part_of_reading=0.012, counts=5)),
    ("2 % + 0.1 ohm", Accuracy(part_of_reading=0.02, floor=0.1)),
    ("2 % + 100 mΩ", Accuracy(part_of_reading=0.02, floor=0.1)),
    ("50 ppm", Accuracy(part_of_reading=5e-5)),
    ("1 count", Accuracy(counts=1)),
    ("0.5 degC", Accuracy(floor=0.5)),
]


@pytest.mark.parametrize(("text", "accuracy"), ACCURACIES)
def test_accuracy_as_manuals_print_it(text, accuracy):
    found = parse_accuracy(text)
    assert (found.part_of_reading, found.counts, found.floor) == pytest.approx(
        (accuracy.part_of_reading, accuracy.counts, accuracy.floor)
    )


WRONG = [
    ("good", '\'good\' is no accuracy: write "0.5 % + 3 counts" or "2 % + 0.1 ohm"'),
    ("-1 %", '\'-1 %\' is no accuracy: write "0.5 % + 3 counts" or "2 % + 0.1 ohm"'),
    ("0.5 % + 3", "'3' in '0.5 % + 3' has no unit: write \"0.5 % + 3 counts\" or \"2 % + 0.1 ohm\""),
    ("1 % of range", '\'% of range\' is of what? write "0.5 % + 3 counts" or "2 % + 0.1 ohm"'),
    ("1 % + 2 mV", "expected a unit like ohm, saw 'mV' in '1 % + 2 mV'"),
]


@pytest.mark.parametrize(("text", "message"), WRONG)
def test_a_wrong_accuracy_says_what_to_write(text, message):
    with pytest.raises(WrongValue) as error:
        parse_accuracy(text, like="ohm")
    assert str(error.value) == message


ACCURACY = parse_accuracy("1 % + 3 counts")
NULL = measured(capture(12), accuracy=ACCURACY, of="leads")


def test_a_pass_shows_its_arithmetic():
    verdict = judge_capture(step(limit(high=0.4)), capture(46, deviation=0.005), accuracy=ACCURACY, null=NULL)
    assert verdict.outcome is Outcome.PASS
    assert verdict.why == "0.340 Ω ± 0.053 Ω lies within the limit of at most 0.4 Ω."
    assert verdict.trail == (
        "shown: 0.46 Ω, last digit 0.01 in SI",
        "  accuracy: 0.01 × 0.46 + 3 × 0.01 + 0 = 0.0346",
        "  calibration: its age is not known, the accuracy is taken as stated",
        "  u = 0.0346 / √3 = 0.01998",
        "  spread: s = 0.005 of 12 readings, worth 1 independent ones (correlation 1): u = 0.005",
        "leads: 0.12 Ω, last digit 0.01 in SI",
        "  accuracy: 0.01 × 0.12 + 3 × 0.01 + 0 = 0.0312",
        "  calibration: its age is not known, the accuracy is taken as stated",
        "  u = 0.0312 / √3 = 0.01801",
        "leads: 120 mΩ, u = 18.01 mΩ; 460 mΩ − leads = 340 mΩ",
        "result 0.340 Ω: u = 0.02736, k = 1.936 (the sum of 2 rectangles and a normal), U = 0.05296, 95.45 %",
        "limits at most 0.4 Ω (a test); rule: guard band",
        "guard band w = 1 × U = 0.05296: passes at most 0.347 Ω",
        "a value just within that would be outside the limit with probability 0.0228",
        "probability of conformity 0.9927, as far as the meter can say",
    )


def test_without_a_null_low_ohms_may_be_the_leads():
    verdict = judge_capture(step(limit(high=0.3)), capture(46), accuracy=ACCURACY)
    assert verdict.outcome is Outcome.UNDECIDED
    assert verdict.why == (
        "The leads were not nulled: up to 0.5 Ω of 0.46 Ω may be theirs, which decides between fail and not."
    )
    assert judge_capture(step(limit(high=1.0)), capture(46), accuracy=ACCURACY).outcome is Outcome.PASS
    assert judge_capture(step(limit(high=1.0)), capture(4600), accuracy=ACCURACY).outcome is Outcome.FAIL


def test_a_meter_in_relative_mode_has_already_subtracted():
    verdict = judge_capture(step(), capture(34, flags=("relative",)), accuracy=ACCURACY, null=NULL)
    assert verdict.value == pytest.approx(0.34)
    assert verdict.standard_uncertainty == pytest.approx((0.01928**2 + 0.01801**2) ** 0.5, abs=2e-5)


def test_an_unknown_accuracy_is_said():
    verdict = judge_capture(step(limit(high=100.0)), capture(6000), accuracy=None)
    assert verdict.outcome is Outcome.PASS
    assert verdict.why == (
        "60.0000 Ω ± 0.0048 Ω lies within the limit of at most 100 Ω. "
        "The accuracy of the instrument is not known: only its resolution and the spread are counted."
    )


BOUNDS = [  # bound, counts, how, quantity, limit, outcome, why
    (Bound.ABOVE, 220, "one minute", "insulation_resistance", (1e6, None), "pass",
     "More than 2.2 GΩ lies within the limit of at least 1 MΩ. The leads were not proved: one that is off "
     "its point reads the same."),
    (Bound.OVERLOAD, None, "open proved", "resistance", (None, 1.0), "fail",
     "More than 6 MΩ lies outside the limit of at most 1 Ω."),
    (Bound.OVERLOAD, None, "open proved", "resistance", (20e6, None), "undecided",
     "The reading says only > 6 MΩ: that can be within the limit of at least 20 MΩ or not."),
    (Bound.OVERLOAD, None, "switch", "resistance", (None, 1.0), "fail",
     "More than 6 MΩ lies outside the limit of at most 1 Ω. That the tips were on the points was said, not seen. "
     "The leads were not proved: one that is off its point reads the same."),
    (Bound.OVERLOAD, None, "switch", "resistance", (1e6, None), "undecided",
     "The circuit reads open, but the leads were not proved before and after: the probes may have been off. "
     "That the tips were on the points was said, not seen. "
     "The leads were not proved: one that is off its point reads the same."),
    (Bound.OVERLOAD, None, "bound held", "resistance", (None, 1.0), "undecided",
     "The circuit reads open, but the leads were not proved before and after: the probes may have been off."),
    (Bound.OVERLOAD, None, "open proved", "resistance", (1e6, None), "pass",
     "More than 6 MΩ lies within the limit of at least 1 MΩ."),
    (Bound.BELOW, 1, "bound held", "insulation_resistance", (1e8, None), "fail",
     "Less than 10 MΩ lies outside the limit of at least 100 MΩ."),
    (Bound.OPEN_SENSOR, None, "settled", "temperature", (None, 300.0), "not judged",
     "The sensor is broken or not plugged in."),
]  # fmt: skip


@pytest.mark.parametrize(("bound", "counts", "how", "quantity", "held", "outcome", "why"), BOUNDS)
def test_bounds_are_judged_as_bounds(bound, counts, how, quantity, held, outcome, why):
    shown = capture(counts, how=how, quantity=quantity, unit="Gohm", scale=1e9, bound=bound, range_top=6e6)
    verdict = judge_capture(step(limit(*held)), shown, accuracy=ACCURACY)
    assert (verdict.outcome, verdict.why) == (outcome, why)
    assert verdict.value is None


SAID = "contact: said by a press while this showed; the display alone can't tell these points from the air"
SEEN = (
    "contact: seen; direct volts stood at 5 V or more, and leads in the air keep no such level (common practice, no"
    " source; of 19,500 simulated stretches of air up to 4 V none was taken for it)"
)
HOW_CONTACT_IS_KNOWN = [  # how, quantity and mode, bound, limit, end of why, line of the trail
    ("open proved, contact said", "resistance", "", Bound.OVERLOAD, (1e6, None),
     " That the tips were on the points was said, not seen.", SAID),
    ("bound held, contact said", "insulation_resistance", "", Bound.ABOVE, (1e6, None),
     " That the tips were on the points was said, not seen.", SAID),
    ("dead proved, contact seen", "voltage", "dc", None, (None, 34.0),
     " at most 34 V. Read on direct volts: alternating ones do not show there.", SEEN),
]  # fmt: skip


@pytest.mark.parametrize(("how", "quantity", "mode", "bound", "held", "why", "line"), HOW_CONTACT_IS_KNOWN)
def test_a_verdict_says_how_contact_is_known(how, quantity, mode, bound, held, why, line):
    proof, unit = ((1, 2), (3, 3), (9, 10)), "V" if quantity == "voltage" else "Gohm"
    form = {
        "unit": unit,
        "scale": 0.1 if quantity == "voltage" else 1e9,
        "bound": bound,
        "range_top": 6e6,
        "mode": mode,
    }
    shown = capture(220 if bound is not Bound.OVERLOAD else None, how=how, quantity=quantity, **form)
    verdict = judge_capture(
        step(limit(*held)), replace(shown, proof=proof if "proved" in how else ()), accuracy=ACCURACY
    )
    assert (verdict.outcome, verdict.why[-len(why) :]) == (Outcome.PASS, why)
    assert line in verdict.trail


BOUND_TABLE = [  # bound, edge, low, high, outcome: the decision table for bounds
    ("above", 5.0, 4.0, None, "pass"),
    ("above", 3.0, 4.0, None, "undecided"),
    ("above", 5.0, None, 4.0, "fail"),
    ("above", 3.0, None, 4.0, "undecided"),
    ("above", 7.0, 4.0, 6.0, "fail"),
    ("above", 5.0, 4.0, 6.0, "undecided"),
    ("below", 3.0, 4.0, None, "fail"),
    ("below", 5.0, 4.0, None, "undecided"),
    ("below", 3.0, None, 4.0, "pass"),
    ("below", 5.0, None, 4.0, "undecided"),
    ("below", 3.0, 4.0, 6.0, "fail"),
    ("below", 7.0, 4.0, 6.0, "undecided"),
]


@pytest.mark.parametrize(("bound", "edge", "low", "high", "outcome"), BOUND_TABLE)
def test_the_table_of_bounds(bound, edge, low, high, outcome):
    assert judge(Result(quantity="resistance", number=edge, bound=bound), limit(low, high)).outcome == outcome


def test_a_bound_is_made_safe_by_its_uncertainty():
    shown = capture(101, quantity="insulation_resistance", unit="Mohm", scale=1e6, bound=Bound.ABOVE, how="one minute")
    assert judge_capture(step(limit(1e6)), shown, accuracy=ACCURACY).outcome is Outcome.UNDECIDED
    assert judge_capture(step(limit(0.9e6)), shown, accuracy=ACCURACY).outcome is Outcome.PASS


def test_in_circuit_a_resistance_is_a_lower_bound():
    context = Context(in_circuit=True)
    proved = judge_capture(step(limit(None, 50.0)), capture(6000), accuracy=ACCURACY, context=context)
    assert (proved.outcome, proved.bound) == ("fail", "above")
    assert (
        judge_capture(step(limit(None, 70.0)), capture(6000), accuracy=ACCURACY, context=context).outcome == "undecided"
    )


def test_a_frozen_display_is_not_taken():
    verdict = judge_capture(step(limit(high=1.0)), capture(46, flags=("hold",)), accuracy=ACCURACY)
    assert (verdict.outcome, verdict.why) == ("not judged", "The display was frozen (hold).")


def test_no_limit_is_recorded_not_judged():
    verdict = judge_capture(step(), capture(6000), accuracy=ACCURACY)
    assert (verdict.outcome, verdict.why) == ("not judged", "There is no limit: recorded, not judged.")
    assert verdict.value == 60.0
    assert verdict.expanded_uncertainty > 0


WIDENED = [  # context, half width of 1 % + 3 counts at 60.00 ohm (0.63)
    (Context(), 0.63),
    (Context(ambient_k=296.15), 0.63),
    (Context(ambient_k=306.15), 0.63 + 5 * 0.1 * 0.63),  # 33 °C is 5 K above 28
    (Context(ambient_k=283.15), 0.63 + 8 * 0.1 * 0.63),  # 10 °C is 8 K below 18
    (Context(calibration_age_s=86400.0), 0.63),
    (Context(calibration_age_s=2 * 365 * 86400.0 + 5000), 2 * 0.63),
]


@pytest.mark.parametrize(("context", "half_width"), WIDENED)
def test_heat_and_age_widen_the_accuracy(context, half_width):
    accuracy = Accuracy(part_of_reading=0.01, counts=3, temperature_span=(291.15, 301.15), temperature_part_per_k=0.1)
    result = measured(capture(6000), accuracy=accuracy, context=context)
    assert result.u == pytest.approx(half_width / 3**0.5)


def test_a_percentage_of_a_temperature_is_of_the_degrees_shown():
    shown = capture(210, quantity="temperature", unit="degC", decimals=1, offset=273.15)
    assert measured(shown, accuracy=parse_accuracy("1 %+1 count")).u == pytest.approx((0.21 + 0.1) / 3**0.5)


@pytest.mark.parametrize(("correlation", "worth"), [(0.0, 12.0), (1.0, 1.0)])
def test_correlated_readings_tell_less(correlation, worth):
    shown = capture(6000, deviation=0.6)
    alone = measured(capture(6000), accuracy=ACCURACY).u
    found = measured(shown, accuracy=ACCURACY, context=Context(correlation=correlation)).u
    assert found == pytest.approx((alone**2 + 0.36 / worth) ** 0.5)


def test_resolution_is_counted_once():
    with_counts = measured(capture(6000), accuracy=parse_accuracy("3 counts"))
    assert with_counts.u == pytest.approx(0.03 / 3**0.5)
    without = measured(capture(6000), accuracy=parse_accuracy("0.1 %"))
    assert without.u == pytest.approx(((0.06**2 + 0.005**2) / 3) ** 0.5)


def test_limits_of_the_jurisdiction_come_first():
    own = step(limit(high=50.0), limit(high=70.0, where="there"))
    outcomes = [
        judge_capture(own, capture(6000), accuracy=ACCURACY, context=Context(where=w)) for w in ("", "there", "x")
    ]
    assert [verdict.outcome for verdict in outcomes] == ["fail", "pass", "fail"]
    only = step(limit(high=70.0, where="there"))
    assert judge_capture(only, capture(6000), accuracy=ACCURACY).outcome == "not judged"


RULES = [  # rule, guard, value of u 0.02 against at most 0.3, outcome
    (Rule.SIMPLE, 1.0, 0.299, "pass"),
    (Rule.SIMPLE, 1.0, 0.301, "fail"),
    (Rule.PROBABILITY, 1.0, 0.266, "pass"),
    (Rule.PROBABILITY, 1.0, 0.270, "undecided"),
    (Rule.PROBABILITY, 1.0, 0.334, "fail"),
    (Rule.GUARD, 0.83, 0.266, "pass"),
    (Rule.GUARD, 1.5, 0.266, "undecided"),
    (Rule.GUARD, -1.0, 0.339, "pass"),
    (Rule.GUARD, -1.0, 0.341, "fail"),
]


@pytest.mark.parametrize(("rule", "guard", "value", "outcome"), RULES)
def test_rules(rule, guard, value, outcome):
    assert judge(normal(value, 0.02), limit(high=0.3), rule, Context(guard=guard)).outcome == outcome


def test_an_uncertain_value_inside_a_narrow_interval_is_undecided_not_failed():
    verdict = judge(normal(10.0, 50.0), limit(9.5, 10.5), Rule.PROBABILITY)
    assert verdict.outcome is Outcome.UNDECIDED
    assert verdict.advice == "No value could pass: U must be below 0.5 Ω. Use a better instrument or range."


@pytest.mark.parametrize("row", range(4))
def test_a_verdict_survives_json(row):
    verdicts = [
        judge_capture(step(limit(high=0.4)), capture(46, deviation=0.005), accuracy=ACCURACY, null=NULL),
        judge_capture(step(limit(high=0.4)), capture(46), accuracy=None),
        judge_capture(step(), capture(46, flags=("hold",)), accuracy=None),
        judge(Result(quantity="resistance", number=4.5e9, bound="above"), limit(1e6)),
    ]
    assert Verdict.from_json(verdicts[row].to_json()) == verdicts[row]


RANK = {"fail": 0, "undecided": 1, "pass": 2}


@settings(deadline=None)
@given(
    value=st.floats(-10, 10),
    low=st.one_of(st.none(), st.floats(-10, 0)),
    high=st.one_of(st.none(), st.floats(0, 10)),
    half_width=st.floats(0.001, 5.0),
    factor=st.floats(1.0, 10.0),
    rule=st.sampled_from(Rule),
    spread=st.floats(0.0, 1.0),
)
def test_a_larger_uncertainty_never_makes_a_pass(value, low, high, half_width, factor, rule, spread):
    def outcome(a):
        scatter = Error(name="spread", standard_uncertainty=spread, distribution="readings", degrees_of_freedom=4.0)
        result = Result(quantity="resistance", number=estimate(value, rectangle("accuracy", a), scatter))
        return judge(result, limit(low, high), rule).outcome

    if low is None and high is None:
        assert outcome(half_width) == "not judged"
    elif outcome(half_width * factor) == "pass":
        assert outcome(half_width) == "pass"


@settings(deadline=None)
@given(st.integers(1, 99999), st.sampled_from([("mohm", 1e-3, 3), ("kohm", 1e3, -3)]), st.floats(0.01, 1000.0))
def test_units_never_matter(counts, other, high):
    unit, scale, shift = other
    plain = judge_capture(step(limit(high=high)), capture(counts), accuracy=ACCURACY, null=NULL)
    shown = capture(counts, unit=unit, scale=scale, decimals=2 - shift)
    same = judge_capture(step(limit(high=high)), shown, accuracy=ACCURACY, null=NULL)
    assert same.outcome == plain.outcome
    assert (same.value, same.expanded_uncertainty) == pytest.approx((plain.value, plain.expanded_uncertainty))


@pytest.mark.parametrize(
    ("counts", "held", "why"),
    [
        (0, Limit(low=None, high=0.3, unit="ohm", text="at most 0.3 ohm", source="a test"),
         "It is no more than 0.029 Ω, which lies within the limit of at most 0.3 Ω."),
        (-1, Limit(low=-0.5, high=0.5, unit="ohm", text="-0.5 .. 0.5 ohm", source="a test"),
         "It is no more than 0.039 Ω, which lies within the limits of ± 0.5 Ω."),
        (20, Limit(low=0.3e6, high=None, unit="Mohm", text="at least 0.3 Mohm", source="a test"),
         "200 mΩ ± 29 mΩ lies outside the limit of at least 0.3 MΩ."),
        (0, Limit(low=None, high=0.02, unit="ohm", text="at most 0.02 ohm", source="a test"),
         "It is no more than 0.029 Ω, which is too close to the limit for this measurement (at most 0.02 Ω)."),
    ],
)  # fmt: skip
def test_a_value_is_told_as_a_person_writes_it(counts, held, why):
    """By hand: 3 counts of 0.01 ohm as a rectangle, U = 0.9545 × 0.03 ohm = 0.0286 ohm."""
    form = Form(quantity="resistance", unit="ohm", scale=1.0, decimals=2, flags=("relative",))
    capture = Capture.of_one(Reading(form, counts), 0.0, "settled")
    verdict = judge(measured(capture, accuracy=Accuracy(counts=3)), held)
    assert verdict.why == why
