"""Open and dead circuits are believed only between two readings of something known."""

from walking import JUNCTION, KOHM, OHM, OPEN_JUNCTION, VOLT, Bench, names, step

from meterlog.base.readings import Form
from meterlog.judging.limit import Limit
from meterlog.procedure.steps import StepKind
from meterlog.walk.happenings import Captured, LivePoint, NotTaken, Proof

SHORT, POINTS_SHORTED, FIVE_OHM = 2, 3, 50


def open_step(**more):
    bench = Bench(step("o", kind=StepKind.OPEN, hold_s=3.0, **more))
    bench.open()
    return bench


def test_open_is_proved_by_shorted_leads_before_and_after():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(4.0)
    told = bench.show(OHM, SHORT, 1.25)
    assert [h.wants for h in bench.told if isinstance(h, Proof)] == ["open", "short"]
    capture = next(h.capture for h in told if isinstance(h, Captured))
    assert (capture.how, capture.form.bound, capture.count) == ("open proved", "overload", 16)
    assert capture.proof == ((6, 10), (27, 30))
    assert (capture.started, capture.ended) == (3.0, 6.75)


def test_leads_in_the_air_are_no_open_circuit():
    bench = open_step()
    bench.open(60.0)
    assert bench.captured() == []


def test_an_open_shorter_than_the_hold_leaves_nothing_and_its_short_begins_anew():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(2.0)
    bench.show(OHM, SHORT, 1.25)
    assert bench.captured() == []
    bench.open(4.0)
    bench.show(OHM, SHORT, 1.25)
    assert [h.capture.how for h in bench.told if isinstance(h, Captured)] == ["open proved"]


def test_a_number_in_between_restarts_the_open_part():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(2.5)
    bench.show(KOHM, 3000, 0.5)
    bench.open(2.5)
    bench.show(OHM, SHORT, 1.25)
    assert bench.captured() == []


def test_bounce_at_the_second_short_keeps_the_open():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(4.0)
    bench.show(KOHM, 3000, 0.25)
    bench.open(0.25)
    bench.show(OHM, SHORT, 1.25)
    assert [h.capture.how for h in bench.told if isinstance(h, Captured)] == ["open proved"]


def test_a_number_that_settles_at_the_points_is_a_leak():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(1.0)
    bench.show(KOHM, 3000, 4.0)
    assert bench.captured() == [("o", "3.000")]


def test_points_that_are_shorted_are_believed_when_held():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.open(1.0)
    bench.show(OHM, POINTS_SHORTED, 5.0)
    assert bench.captured() == []
    bench.show(OHM, POINTS_SHORTED, 2.0)
    assert bench.captured() == [("o", "0.3")]


def test_a_coarse_zero_proves_no_short():
    bench = open_step()
    bench.show(KOHM, 0, 1.25)
    bench.open(4.0)
    bench.show(KOHM, 0, 1.25)
    assert bench.captured() == []


def test_no_proof_survives_another_function():
    bench = open_step()
    bench.show(OHM, SHORT, 1.25)
    bench.show(VOLT, 0, 1.0)
    bench.open(4.0)
    bench.show(OHM, SHORT, 1.25)
    assert bench.captured() == []


def test_an_open_junction_is_proved_in_volts():
    bench = Bench(step("o", "junction_voltage", kind=StepKind.OPEN))
    for form, counts, seconds in (
        (OPEN_JUNCTION, None, 2),
        (JUNCTION, 1, 1.25),
        (OPEN_JUNCTION, None, 4),
        (JUNCTION, 1, 1.25),
    ):
        bench.show(form, counts, seconds)
    assert [h.capture.how for h in bench.told if isinstance(h, Captured)] == ["open proved"]


def test_a_foot_switch_confirms_an_open_that_shows_now():
    bench = open_step()
    told = bench.act("confirm")
    assert [(h.capture.how, h.capture.form.bound) for h in told if isinstance(h, Captured)] == [("switch", "overload")]


def dead_step(top=1.0):
    limit = Limit(low=None, high=top, unit="V", text="", source="")
    bench = Bench(step("d", "voltage", kind=StepKind.DEAD, mode="dc", source_voltage=9.0, limits=(limit,)))
    bench.show(VOLT, 3, 1.0)
    return bench


def test_dead_is_proved_by_the_source_before_and_after():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 0, 4.0)
    told = bench.show(VOLT, 9050, 1.75)
    assert [h.wants for h in bench.told if isinstance(h, Proof)] == ["points", "source"]
    capture = told[0].capture
    assert (capture.how, capture.reading.digits, len(capture.proof)) == ("dead proved", "0.000", 2)


def test_without_the_second_source_nothing_is_dead():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 0, 30.0)
    assert bench.captured() == []


def test_a_charge_above_the_limit_begins_the_proof_again():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    told = bench.show(VOLT, range(6000, 3600, -30), 20.0)
    assert names(told) == ["LivePoint"]
    told = bench.show(VOLT, 9050, 1.75)
    assert [h.wants for h in told] == ["points"]


def test_the_lowest_steady_reading_is_the_points_not_the_air():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 400, 4.0)
    bench.show(VOLT, 2, 4.0)
    bench.show(VOLT, 400, 4.0)
    bench.show(VOLT, 9050, 1.75)
    assert bench.captured() == [("d", "0.002")]


def test_a_steady_voltage_is_a_live_point():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    told = bench.show(VOLT, 5000, 4.0)
    assert told == [LivePoint(step="d", at=told[0].at, source="meter", value=5.0, shown="5.000 V")]


MILLIVOLT = Form(quantity="voltage", mode="dc", unit="mV", scale=1e-3, decimals=1)
NEAR_NOTHING = (10, -62, 35, 80, -21, -74, 52, 5)


def test_points_that_float_wander_on_a_fine_display_and_are_dead():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    bench.show(MILLIVOLT, NEAR_NOTHING, 5.0)
    bench.show(VOLT, 9050, 1.75)
    assert [h.capture.how for h in bench.told if isinstance(h, Captured)] == ["dead proved"]


def test_steady_points_are_preferred_to_points_that_wander():
    bench = dead_step()
    bench.show(VOLT, 9050, 1.75)
    bench.show(MILLIVOLT, NEAR_NOTHING, 5.0)
    bench.show(VOLT, 150, 4.0)
    bench.show(MILLIVOLT, NEAR_NOTHING, 5.0)
    bench.show(VOLT, 9050, 1.75)
    assert bench.captured() == [("d", "0.150")]


CHARGE_WAS_THERE = "not proved dead: a charge was there; discharge it, and begin at the source"


def falling(start, stop, seconds):
    """Counts that fall as a charge does, four a second."""
    n = round(seconds * 4)
    return [round(start * (stop / start) ** (i / n)) for i in range(n)]


def test_leads_that_left_a_charge_prove_nothing_in_the_air():
    bench = dead_step(top=34.0)
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 3, 1.0)
    bench.show(VOLT, falling(30000, 2600, 20.0), 20.0)
    bench.show(VOLT, 3, 5.0)
    told = bench.show(VOLT, 9050, 1.75)
    assert [h.why for h in told if isinstance(h, NotTaken)] == [CHARGE_WAS_THERE]
    bench.show(VOLT, 3, 5.0)
    bench.show(VOLT, 9050, 1.75)
    assert bench.captured() == []
    bench.show(VOLT, 3, 5.0)
    bench.show(VOLT, 9050, 1.75)
    assert bench.captured() == [("d", "0.003")]


def test_a_charge_that_runs_down_at_the_points_is_dead_when_it_is_gone():
    bench = dead_step(top=34.0)
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 3, 1.0)
    bench.show(VOLT, falling(30000, 3, 40.0), 40.0)
    bench.show(VOLT, 3, 4.0)
    bench.show(VOLT, 9050, 1.75)
    assert bench.captured() == [("d", "0.003")]


def test_a_charge_that_falls_through_the_volts_of_the_source_is_no_source():
    bench = dead_step(top=34.0)
    bench.show(VOLT, falling(12000, 6000, 20.0), 20.0)
    assert [h for h in bench.told if isinstance(h, Proof)] == []


def test_a_charge_still_falling_at_the_second_source_is_told():
    bench = dead_step(top=34.0)
    bench.show(VOLT, 9050, 1.75)
    bench.show(VOLT, 3, 1.0)
    bench.show(VOLT, falling(30000, 2600, 12.0), 12.0)
    told = bench.show(VOLT, 9050, 1.75)
    assert [h.why for h in told if isinstance(h, NotTaken)] == [CHARGE_WAS_THERE]


def leak_then(*following):
    bench = Bench(step("o", kind=StepKind.OPEN, hold_s=3.0), *following)
    bench.open()
    bench.show(OHM, SHORT, 1.25)
    bench.open(1.0)
    bench.show(KOHM, 3000, 4.0)
    bench.open(1.0)
    return bench


def test_the_short_that_closes_a_leaks_test_answers_no_other_step():
    bench = leak_then(step("next"))
    bench.show(OHM, SHORT, 4.0)
    bench.open(1.0)
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "47.0")]


def test_after_a_leak_the_next_points_may_be_touched_at_once():
    bench = leak_then(step("next"))
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "47.0")]


def test_a_short_long_after_a_leak_is_the_next_step():
    bench = leak_then(step("next"))
    bench.open(3.0)
    bench.show(OHM, SHORT, 4.0)
    assert bench.captured() == [("o", "3.000"), ("next", "0.2")]


def test_a_leak_before_another_open_step_takes_the_short_as_its_beginning():
    bench = leak_then(step("again", kind=StepKind.OPEN, hold_s=3.0))
    bench.show(OHM, SHORT, 1.25)
    bench.open(4.0)
    bench.show(OHM, SHORT, 1.25)
    assert [h.capture.how for h in bench.told if isinstance(h, Captured)] == ["settled", "open proved"]
