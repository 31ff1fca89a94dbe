"""A live point is shouted at any moment of a step that is to show that it is dead."""

import dataclasses

import pytest
from walking import VOLT, Bench, step

from meterlog.base.readings import Bound, Form
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.walk import NOTHING, REPLAY
from meterlog.walk.happenings import Captured, LivePoint, Proof

AC = Form(quantity="voltage", mode="ac", unit="V", scale=1.0, decimals=1)
OVER_6 = Form(quantity="voltage", mode="dc", unit="V", scale=1.0, decimals=3, bound=Bound.OVERLOAD, range_top=6.0)
OVER_60 = Form(quantity="voltage", mode="dc", unit="V", scale=1.0, decimals=2, bound=Bound.OVERLOAD, range_top=60.0)


def dead_step(top=34.0, mode="dc", **more):
    limit = Limit(low=None, high=top, unit="V", text="", source="")
    return step("d", "voltage", kind=kinds.DEAD, mode=mode, source_voltage=9.0, limits=(limit,), **more)


def at_the_points(**more):
    bench = Bench(dead_step(**more))
    bench.show(VOLT, 3, 1.0)
    bench.show(VOLT, 9120, 1.75)
    return bench


def live(told):
    return [(h.value, h.shown) for h in told if isinstance(h, LivePoint)]


@pytest.mark.parametrize("volts", [41, 60, 120, 325])
def test_a_live_point_is_shouted_within_a_second_with_its_value(volts):
    bench = at_the_points()
    assert live(bench.show(VOLT, volts * 1000, 0.75)) == [(volts, f"{volts}.000 V")]


def test_it_is_shouted_once_a_contact_and_again_at_the_next():
    bench = at_the_points()
    assert len(live(bench.show(VOLT, 325000, 6.0))) == 1
    bench.show(VOLT, 3, 1.0)
    assert len(live(bench.show(VOLT, 325000, 6.0))) == 1


def test_after_a_live_point_neither_source_nor_points_of_before_count():
    bench = at_the_points()
    bench.show(VOLT, 3, 6.0)
    bench.show(VOLT, 325000, 5.0)
    bench.show(VOLT, 9120, 1.75)
    assert [h.wants for h in bench.told if isinstance(h, Proof)] == ["points", "points"]
    assert not any(isinstance(h, Captured) for h in bench.told)


def test_the_source_and_leads_in_the_air_are_no_live_point():
    bench = at_the_points(top=1.0)
    bench.show(VOLT, 3, 4.0)
    bench.show(VOLT, 9560, 5.0)
    assert live(bench.told) == []


def test_hum_of_leads_in_the_air_is_no_live_point_however_low_the_limit():
    bench = Bench(dead_step(top=0.3, mode="ac"))
    assert live(bench.show(AC, [5, 18, 12, 16], 10.0)) == []


def test_a_meter_falling_from_its_source_is_no_live_point():
    bench = at_the_points(top=1.0)
    assert live(bench.show(VOLT, [6000, 3900, 2500, 1600, 1050, 3], 1.5)) == []


def test_a_charge_above_the_limit_is_shouted_although_it_falls():
    bench = at_the_points()
    assert live(bench.show(VOLT, range(300000, 200000, -10000), 2.5)) == [(300.0, "300.000 V")]


def test_alternating_volts_are_shouted_in_a_step_on_direct_volts():
    bench = at_the_points()
    assert live(bench.show(AC, 2301, 1.0)) == [(230.1, "230.1 V")]


def test_volts_beyond_a_range_that_stays_are_shouted_those_of_a_range_hunt_are_not():
    bench = at_the_points()
    assert live(bench.show(OVER_6, None, 1.0) + bench.show(OVER_60, None, 1.0)) == []
    bench.show(VOLT, 3, 1.0)
    assert live(bench.show(OVER_6, None, 2.5)) == [(6.0, "over the meter's range")]


def test_it_is_shouted_while_the_step_waits_for_its_cautions():
    bench = Bench(dead_step(cautions=("charge",)), assume=NOTHING)
    bench.show(VOLT, 3, 1.0)
    assert live(bench.show(VOLT, 325000, 1.0)) == [(325.0, "325.000 V")]


def test_it_is_shouted_after_the_capture_while_the_leads_wait_to_be_lifted():
    bench = Bench(dead_step(), step("next", "voltage", mode="dc"), assume=REPLAY)
    bench.show(VOLT, 3, 1.0)
    bench.show(VOLT, 9120, 1.75)
    bench.show(VOLT, 3, 1.0)
    bench.act("press")
    bench.show(VOLT, 3, 4.0)
    assert [type(h) for h in bench.show(VOLT, 9120, 1.75)] == [Captured]
    assert live(bench.show(VOLT, 325000, 1.0)) == [(325.0, "325.000 V")]


def test_a_power_meter_that_shows_the_mains_is_no_live_point():
    bench = Bench(dead_step(), gives={"power meter": frozenset({"voltage", "power"}), "meter": frozenset({"voltage"})})
    assert live(bench.show(AC, 2300, 3.0, source="power meter")) == []


VOLTS = dataclasses.replace(VOLT, decimals=2)
WINDING = step("w", points=("a", "b"), needs=("d",), needs_dead=True)


def past_the_proof(**more):
    """A bench whose meter has just proved the points dead, and stands at a check that rests on it."""
    bench = Bench(dead_step(), WINDING, assume=NOTHING, conclude=lambda _: "pass", **more)
    bench.show(VOLTS, 0, 1.0)
    bench.show(VOLTS, 912, 1.75)
    bench.show(VOLTS, 0, 1.0)
    bench.act("press")
    bench.show(VOLTS, 0, 4.0)
    bench.show(VOLTS, 912, 1.75)
    bench.show(VOLTS, 0, 2.0)
    assert (bench.walk.step.key, bench.walk.phase.value) == ("w", "watch")
    return bench


@pytest.mark.parametrize(("form", "counts"), [(VOLTS, 32500), (VOLTS, -6000), (AC, 2300)])
def test_a_live_point_is_shouted_at_what_rests_on_a_proof_too_and_closes_its_gate(form, counts):
    bench = past_the_proof()
    assert len(live(bench.show(form, counts, 2.0))) == 1
    assert (bench.walk.phase.value, bench.walk.ledger.missing(WINDING)) == ("live", ("d",))
    bench.show(form, 0, 2.0)
    bench.act("press")
    assert (bench.walk.step.key, bench.walk.phase.value) == ("w", "gate")


def test_past_the_proof_its_source_and_another_meter_at_the_mains_outlet_are_no_live_point():
    bench = past_the_proof()
    bench.show(VOLTS, 912, 5.0)
    bench.show(AC, 2300, 5.0, source="outlet meter")
    assert live(bench.told) == []
    assert bench.walk.ledger.missing(WINDING) == ()
