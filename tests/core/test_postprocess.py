"""Methods on captures at hand: shared errors, leads, bounds, limits that a method gives, runs."""

from dataclasses import replace

import pytest
import scipy.stats
from captures import ONE_PERCENT, RISE, capture, taken
from hypothesis import given
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.base.readings import Bound, Form, Reading
from meterlog.base.uncertainty import budget_of
from meterlog.base.units import QUANTITIES
from meterlog.judging.limit import Limit
from meterlog.judging.method import check_inputs
from meterlog.judging.postprocess import METHODS, AtHand, CaptureAtHand, post_process
from meterlog.procedure import kinds
from meterlog.procedure.case import Case, StepAnswer, conclude
from meterlog.procedure.judged_step import judge_step
from meterlog.procedure.steps import Procedure, Step


def rise(**at_hand):
    return post_process("winding rise", RISE, AtHand(**at_hand), own="hot")


def test_the_gain_of_one_meter_cancels_in_a_rise():
    one = rise(taken={"hot": taken(571), "cold": taken(462)})
    two = rise(taken={"hot": taken(571), "cold": taken(462, instrument="other")})
    assert one.value == pytest.approx(56.7803, abs=1e-4), "E06"
    # counts 0.03/√3 ohm each; temperatures 0.6/√3 K; the shared 1 % multiplies (R2 − R1)/R1's ratio: nothing is left
    counts, kelvin = 0.03 / 3**0.5, 0.6 / 3**0.5
    expected = ((55.303 * counts) ** 2 + (68.351 * counts) ** 2 + (1.2359 * kelvin) ** 2 + kelvin**2) ** 0.5
    assert one.u == pytest.approx(expected, rel=1e-3)
    assert two.u > 1.2 * one.u


def test_the_leads_are_one_error_for_all():
    leads = taken(15)
    with_null = rise(taken={"hot": taken(571 + 15), "cold": taken(462 + 15)}, nulls=(leads,))
    assert with_null.value == pytest.approx(56.7803, abs=1e-4)
    hot, cold = (taken(counts).capture for counts in (586, 477))
    without = rise(
        taken={"hot": CaptureAtHand(capture=hot, instrument="m"), "cold": CaptureAtHand(capture=cold, instrument="m")}
    )
    assert without.value == pytest.approx(54.88, abs=0.01), "0.15 ohm un-nulled: 54.88 K, outside arithmetic"


def test_leads_before_and_after_differ():
    same = rise(taken={"hot": taken(571), "cold": taken(462)}, nulls=(taken(15), taken(15)))
    moved = rise(taken={"hot": taken(571), "cold": taken(462)}, nulls=(taken(15), taken(19)))
    assert moved.u > same.u
    assert "leads before 150 mΩ, after 190 mΩ: moved by 40 mΩ" in moved.trail


def test_an_excess_of_unnulled_leads_stays_with_what_is_worked_out():
    found = post_process("element power", {"voltage": "230 V"}, AtHand(taken={"own": taken(2645)}), own="own")
    assert found.excess == pytest.approx(230**2 / 26.45 - 230**2 / 25.95)


DRIFTS = [(12, 12, "pass"), (12, 14, "pass"), (14, 12, "pass"), (12, 15, "undecided"), (12, 16, "fail")]


@pytest.mark.parametrize(("before", "after", "outcome"), DRIFTS)
def test_leads_that_moved(before, after, outcome):
    leads = {"own": taken(after, is_null=True), "before": taken(before, is_null=True)}
    at_hand = AtHand(taken=leads, nulls=(leads["own"],))
    verdict = judge_step(step("lead drift", before="before"), at_hand)
    assert verdict.value == pytest.approx((after - before) / 100), "nothing is taken off the leads themselves"
    assert (verdict.outcome, verdict.limit.high) == (outcome, 0.03)


def test_a_part_in_circuit_is_a_bound():
    own = step("in circuit", limit(high=50.0))
    assert judge_step(own, AtHand(taken={"own": taken(6000)})).outcome == "fail"
    found = post_process("in circuit", {}, AtHand(taken={"own": taken(6000)}), own="own")
    assert (found.bound, found.edge) == ("above", 60.0)


def test_a_drift_has_the_scatter_about_its_line():
    times, ohms = [0.0, 10.0, 20.0, 30.0, 40.0], [1.00, 1.13, 1.18, 1.31, 1.39]
    run = ", ".join(f"{t:g} s: {r:.2f} ohm" for t, r in zip(times, ohms, strict=True))
    found = post_process("drift", {"run": run}, AtHand())
    line = scipy.stats.linregress(times, ohms)
    assert found.value == pytest.approx(40 * line.slope)
    scatter = next(part for part in budget_of(found.number).lines if part.name == "spread about the line")
    assert (scatter.contribution, scatter.degrees_of_freedom) == (pytest.approx(40 * line.stderr), 3.0)


@given(st.permutations(["0 s: 1.00 ohm", "10 s: 1.10 ohm", "20 s: 1.21 ohm", "30 s: 1.28 ohm"]))
def test_the_order_in_which_a_run_is_written_does_not_matter(rows):
    found, plain = (post_process("drift", {"run": ", ".join(each)}, AtHand()) for each in (rows, sorted(rows)))
    assert (found.value, found.u) == pytest.approx((plain.value, plain.u))


@given(st.permutations(["0.34 ohm", "0.36 ohm", "0.33 ohm", "0.35 ohm"]))
def test_the_order_of_repeats_does_not_matter(repeats):
    found = post_process("mean of repeats", {"repeats": ", ".join(repeats)}, AtHand())
    assert found.value == pytest.approx(0.345)
    scatter = 0.012910 / 2  # sample deviation of 0.33 to 0.36 by hand: sqrt(0.0005/3) = 0.012910
    assert found.u == pytest.approx((scatter**2 + 0.005**2 / 3 / 4) ** 0.5, rel=1e-4)


def step(method, *limits, how=kinds.DERIVED, quantity="resistance", **inputs):
    return Step(key="own", title="it", kind=how, quantity=quantity, method=method, inputs=inputs, limits=limits)


def limit(low=None, high=None, quantity="resistance"):
    return Limit(low=low, high=high, unit=QUANTITIES[quantity].si, text="", source="a test")


def test_a_method_gives_its_own_limit():
    at_hand = AtHand(taken={"own": taken(22)}, nulls=(taken(0),), entries={"cord": "10 m"})
    verdict = judge_step(step("protective conductor", how=kinds.MEASURE, length="cord"), at_hand)
    assert verdict.outcome == "pass"
    assert verdict.limit.high == pytest.approx(0.36667, abs=1e-5)
    strict = judge_step(step("protective conductor", limit(high=0.2), how=kinds.MEASURE, length="cord"), at_hand)
    assert (strict.outcome, strict.limit.high) == ("undecided", 0.2)


def test_what_cannot_be_worked_out_is_not_judged_and_said():
    verdict = judge_step(step("ratio", above="hot", below="gone"), AtHand(taken={"hot": taken(100)}))
    assert (verdict.outcome, verdict.why) == (
        "not judged",
        "write a number and its unit, such as \"0.42 ohm\", not 'gone'.",
    )


def insulation(counts, bound=None):
    return taken(
        counts, quantity="insulation_resistance", unit="Mohm", scale=1e6, decimals=0, bound=bound, how="one minute"
    )


RATIOS = [  # above, below (negative: a bound above it), value, bound: the table of censored readings
    (2500, 3000, 0.8333, ""),
    (-4500, 900, 5.0, "above"),
    (1500, -4500, 0.3333, "below"),
    (-4500, -4500, None, ""),
]


@pytest.mark.parametrize(("above", "below", "value", "bound"), RATIOS)
def test_bounds_go_through_a_ratio(above, below, value, bound):
    at_hand = {name: insulation(abs(n), Bound.ABOVE if n < 0 else None) for name, n in (("a", above), ("b", below))}
    found = post_process("polarisation index", {"ten": "a", "minute": "b"}, AtHand(taken=at_hand))
    assert (found.value if not bound else found.edge) == (pytest.approx(value, abs=1e-4) if value else None)
    assert found.bound == bound
    if value is None:
        assert found.reason == "The bounds push both ways: nothing is known."


def run_of(pairs, **form):
    form = Form(**{"quantity": "insulation_resistance", "unit": "Mohm", "scale": 1e6, **form})
    return tuple((100.0 + t, Reading(form, counts)) for t, counts in pairs)


def logged(rows):
    own = capture(rows[-1][1].counts, quantity="insulation_resistance", unit="Mohm", scale=1e6, decimals=0)
    return CaptureAtHand(capture=own, accuracy=ONE_PERCENT, instrument="tester", log=lambda: rows)


def test_ratios_in_time_come_from_a_logged_run():
    rows = run_of([(t, 8797 if t < 45 else 14245 if t < 300 else 37994) for t in range(601)])
    at_hand = AtHand(taken={"own": logged(rows)})
    index = post_process("polarisation index", {}, at_hand, own="own")
    assert index.value == pytest.approx(2.67, abs=0.005), "the row of 50 Gohm: 14245, 37994, PI 2.67"
    assert index.doubts == (
        "The one-minute value is above 5 GΩ, where the ratio means nothing: the resistance itself decides.",
    )
    ratio = post_process("absorption ratio", {}, at_hand, own="own")
    assert ratio.value == pytest.approx(1.62, abs=0.005), "the same row: DAR 1.62"
    counts = 3 / 14245 / 3**0.5  # the gain of 1 % is shared and cancels
    assert index.u / index.value == pytest.approx((counts**2 + (3 / 37994) ** 2 / 3) ** 0.5, rel=1e-6)


def test_a_run_that_ends_early_has_no_index():
    at_hand = AtHand(taken={"own": logged(run_of([(t, 100) for t in range(300)]))})
    found = post_process("polarisation index", {}, at_hand, own="own")
    assert (found.number, found.reason) == (None, "There is no reading at 600 s.")


def junction(counts, bound=None, top=3.0, how="open proved"):
    return taken(counts, quantity="junction_voltage", unit="V", decimals=3, bound=bound, range_top=top, how=how)


BLOCKS = junction(None, Bound.OVERLOAD)
DIODES = [  # forward, reverse, junctions, kind, outcome
    (junction(582), BLOCKS, "1", "silicon", "pass"),
    (junction(2), junction(3), "1", "silicon", "fail"),
    (junction(582), junction(600), "1", "silicon", "fail"),
    (BLOCKS, BLOCKS, "1", "silicon", "fail"),
    (BLOCKS, BLOCKS, "12", "stack", "not judged"),
    (junction(1250), BLOCKS, "2", "silicon", "pass"),
    (junction(301), BLOCKS, "1", "schottky", "pass"),
    (junction(582), junction(None, Bound.OVERLOAD, how="switch"), "1", "silicon", "undecided"),
]


@pytest.mark.parametrize(("forward", "reverse", "junctions", "kind", "outcome"), DIODES)
def test_diodes_both_ways(forward, reverse, junctions, kind, outcome):
    at_hand = AtHand(taken={"own": forward, "back": reverse})
    own = step("diode both ways", quantity="junction_voltage", reverse="back", junctions=junctions, kind=kind)
    assert judge_step(own, at_hand).outcome == outcome


def test_a_short_is_told():
    found = post_process("diode both ways", {"forward": "2 mV ± 1 mV", "reverse": "3 mV ± 1 mV"}, AtHand())
    assert found.trail[-1] == "2 mV one way and 3 mV the other: a short"
    leaky = post_process("diode both ways", {"forward": "0.58 V ± 1 mV", "reverse": "0.6 V ± 1 mV"}, AtHand())
    assert leaky.trail[-1] == "the other way: 600 mV, where it should block"


def test_an_open_circuit_that_nobody_said_the_tips_were_on_decides_nothing():
    over = taken(None, bound=Bound.OVERLOAD, range_top=6e6, how="bound held")
    verdict = judge_step(step("protective conductor", limit(high=0.3), length="5 m"), AtHand(taken={"own": over}))
    assert (verdict.outcome, verdict.why) == (
        "undecided",
        "The circuit reads open, but the leads were not proved before and after: the probes may have been off. "
        "A hand meter's reading is an indication, not the rated-current test.",
    )


def test_a_stack_that_reads_open_says_what_would_decide():
    own = step("diode both ways", quantity="junction_voltage", reverse="back", junctions="12", kind="stack")
    verdict = judge_step(own, AtHand(taken={"own": BLOCKS, "back": BLOCKS}))
    assert verdict.why == (
        "Both directions read open, but the meter supplies only 3 V and sound junctions may drop 12 V."
    )
    assert verdict.advice == (
        "Use a meter or a bench supply that gives more volts than the junctions drop, through a resistor."
    )


def test_windings_that_differ():
    at_hand = AtHand(taken={"a": taken(600), "b": taken(612), "c": taken(606)})
    found = post_process("symmetry", {"windings": "a, b, c"}, at_hand)
    assert found.value == pytest.approx(12 / 606)
    assert found.u == pytest.approx((2 * 0.03**2 / 3) ** 0.5 / 6.06, rel=0.02), "only counts are left"
    other = post_process("symmetry", {"windings": "c, a, b"}, at_hand)
    assert (other.value, other.u) == pytest.approx((found.value, found.u)), "their order does not matter"


def test_the_trend_of_an_appliance_from_job_to_job():
    year = 31557600.0
    earlier = {
        f"J{n}/earth": (1.7e9 + n * year, post_process("leads off", {"leads": "0 ohm ± 0.01 ohm"}, hand, own="own"))
        for n, hand in enumerate(AtHand(taken={"own": taken(counts)}) for counts in (20, 24, 28))
    }
    found = post_process("trend", {"run": "J2/earth, J0/earth, J1/earth"}, AtHand(earlier=earlier))
    assert found.value == pytest.approx(0.04), "0.20, 0.24, 0.28 ohm, a year apart"
    each = [((0.01 * v + 0.03) ** 2 / 3 + 0.01**2 / 3) ** 0.5 for v in (0.20, 0.28)]
    assert found.u == pytest.approx((each[0] ** 2 + each[1] ** 2) ** 0.5 / 2, rel=1e-6), "slope = (last − first)/2"


def test_a_repeat_that_is_a_bound_is_not_averaged():
    over = CaptureAtHand(capture=capture(None, bound=Bound.OVERLOAD, range_top=600.0), instrument="meter")
    found = post_process("mean of repeats", {"repeats": "a, b"}, AtHand(taken={"a": taken(600), "b": over}))
    assert (found.number, found.reason) == (None, "A repeat gave no value: bounds are not averaged.")


def test_a_case_concludes_a_derived_step():
    steps = (
        Step(key="leads", title="leads", kind=kinds.LEADS, quantity="resistance"),
        Step(key="cold", title="cold", kind=kinds.MEASURE, quantity="resistance"),
        step("element band", how=kinds.MEASURE, power="rated power", voltage="rated voltage"),
    )
    procedure = Procedure(key="k", title="t", appliance="kettle", source="s", cautions=(), steps=steps,
                          plate={"rated power": "power", "rated voltage": "voltage"})  # fmt: skip
    answer = StepAnswer(capture=capture(2660), accuracy=ONE_PERCENT, instrument="meter")
    case = Case(
        procedure=procedure,
        entries={"rated power": "2 kW", "rated voltage": "230 V"},
        answers={"leads": StepAnswer(capture=capture(15), accuracy=ONE_PERCENT, instrument="meter"), "own": answer},
    )
    verdict = conclude(case, steps[2])
    assert verdict.why == "26.45 Ω ± 0.29 Ω lies within the limits of 25.19 Ω to 29.39 Ω."
    assert verdict.limit.mark == "memory"
    untold = conclude(replace(case, entries={"rated voltage": "230 V"}), steps[2])
    assert untold.why == "rated power is not entered yet: enter it, and this check is judged with it."


def test_inputs_are_checked_by_name():
    method = METHODS["leakage"]
    assert check_inputs(method, {}, own_capture=True) == {"path": "earth", "heating": "0 W"}
    with pytest.raises(WrongValue, match="path is one of earth, touch, not 'wire'"):
        post_process("leakage", {"current": "0.2 mA", "path": "wire"}, AtHand())


def test_a_word_may_be_an_entry():
    at_hand = AtHand(entries={"protection class": "II"})
    result = post_process(
        "insulation by class", {"resistance": "3 Mohm", "protection class": "protection class"}, at_hand
    )
    assert result.limit.low == 2e6  # class II: makers' pages on DIN VDE 0701-0702:2008, read second-hand
    with pytest.raises(WrongValue, match="protection class is one of I, II, III, not 'protection class'"):
        post_process("insulation by class", {"resistance": "3 Mohm", "protection class": "protection class"}, AtHand())


INSULATION = [  # class, heating, least ohm; instrument makers' pages on DIN VDE 0701-0702:2008, read second-hand
    ("I", "no", 1e6), ("I", "yes", 0.3e6), ("II", "no", 2e6), ("II", "yes", 2e6), ("III", "no", 0.25e6),
]  # fmt: skip


@pytest.mark.parametrize(("protection_class", "heating", "least"), INSULATION)
def test_insulation_follows_the_class(protection_class, heating, least):
    told = {"resistance": "9 Mohm", "protection class": protection_class, "heating": heating}
    assert post_process("insulation by class", told, AtHand()).limit.low == least


def test_input_power_is_brought_to_the_rated_voltage_and_says_so():
    # 26.45 ohm takes 2000 W at 230 V and 220²/26.45 = 1829.9 W at 220 V, by hand
    told = {"power": "1830 W", "rated": "2000 W", "voltage": "220.0 V", "rated voltage": "230 V"}
    result = post_process("input power", told, AtHand())
    assert result.value == pytest.approx(2000.1, abs=0.2)
    assert (result.limit.low, result.limit.high) == (1800.0, 2100.0)
    assert "Read at 220 V and brought to 230 V by the square, as of a resistive load." in result.doubts


def test_a_plate_with_ranges_is_one_element_at_both_ends():
    # 220²/2000 = 24.2 ohm and 240²/2400 = 24.0 ohm; at 230 V 2186 W and 2204 W, -10 % 1967 W, +5 % 2314 W: by hand
    at_hand = AtHand(entries={"rated voltage": "220 V .. 240 V", "rated power": "2000 W .. 2400 W"})
    told = {"power": "2100 W", "rated": "rated power", "voltage": "225.0 V", "rated voltage": "rated voltage"}
    result = post_process("input power", told, at_hand)
    assert result.value == pytest.approx(2194.4, abs=0.1)
    assert (result.limit.low, result.limit.high) == (pytest.approx(1967.4, abs=0.5), pytest.approx(2314.2, abs=0.5))
    assert result.u < 1.5  # the plate's range is no error of the reading


def test_a_motor_is_compared_as_it_was_read():
    told = {"power": "380 W", "rated": "350 W", "kind": "motor", "voltage": "212 V", "rated voltage": "230 V"}
    result = post_process("input power", told, AtHand())
    assert (result.value, result.limit.low, result.limit.high) == (380.0, None, 410.0)
    assert result.doubts[-2:] == (
        "The mains was at 212 V, for a plate of 230 V.",
        "Compared as read, at 212 V: a motor's input does not follow the square of the voltage.",
    )


def test_without_the_mains_voltage_the_power_says_what_it_can_not():
    result = post_process("input power", {"power": "1830 W", "rated": "2000 W"}, AtHand())
    assert result.doubts[-1].startswith("The mains voltage was not measured meanwhile")


@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.name)
def test_every_method_is_described(method):
    assert method.title.endswith(".")
    assert all(
        wanted.doc and (wanted.quantity in QUANTITIES or wanted.kind == "word") for wanted in method.inputs.values()
    )
    assert not method.gives or method.gives in QUANTITIES
    assert METHODS[method.name] is method
