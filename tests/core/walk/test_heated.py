"""A heating step from readings and acts to watts: the run is the thermometer's log, with its timing.

The true power is put into the trace by hand: 1 kg of water takes 4184 J/(kg K) (IAPWS-95 at 20 °C),
so 900 W for 60 s lift it by 12.9 K, here without loss, vessel or lag.
"""

from dataclasses import replace

import pytest

from meterlog.base.readings import Form, Reading
from meterlog.judging import parse_accuracy
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.procedure.case import Case, StepAnswer, conclude
from meterlog.procedure.steps import Procedure, Step
from meterlog.walk import Act
from meterlog.walk.happenings import Captured, Refused, Timed
from meterlog.walk.heated import AFTER_S
from meterlog.walk.session import ByCase, Judged, Session, answers_by

CELSIUS = Form(quantity="temperature", unit="degC", scale=1.0, offset=273.15, decimals=2)
WATTS = Form(quantity="power", unit="W", scale=1.0)
RUN = Step(
    key="run",
    title="One litre heated",
    kind=kinds.HEATING_RUN,
    energised=True,
    inputs={"mass": "water mass", "vessel": "beaker", "rated": "rated output"},
    limits=(Limit(low=0.85, high=1.15, unit="W", text="rated output ± 15 %", source="invented", of="rated output"),),
)
PROCEDURE = Procedure(key="oven", title="", appliance="", source="", cautions=(), steps=(RUN,))
ENTRIES = {"water mass": "1000 g ± 2 g", "beaker": "1 J/K ± 1 J/K", "rated output": "900 W"}


def temperature(t, power=900.0):
    """°C of the water: heated from 60 s to 120 s."""
    return 15.0 + power * min(max(t - 60.0, 0.0), 60.0) / 4184.0


def walked(acts, until=240, power=900.0, entries=ENTRIES, mains=None):
    """The session's events when readings come each second and acts at their times."""
    profiles = {}
    session = Session(PROCEDURE, profiles, judge=ByCase(PROCEDURE, answers_by(profiles), entries=entries))
    events = session.start(0.0)
    for t in range(until):
        for word in acts.get(t, ()):
            events += session.act(Act(word=word), float(t))
        if mains:
            events += session.reading("power meter", t, Reading(WATTS, round(mains if 60 <= t < 120 else 1)), float(t))
        is_out = mains and 58 <= t < 135
        counts = round((21.0 if is_out else temperature(t, power)) * 100)
        events += session.reading("thermometer", t, Reading(CELSIUS, counts), float(t))
    return session, events


def capture_of(events):
    return next(event.capture for event in events if isinstance(event, Captured))


def test_the_run_reaches_from_before_to_a_minute_and_a_half_after():
    _, events = walked({60: ["start"], 120: ["stop"]})
    capture = capture_of(events)
    assert (capture.how, capture.first, capture.last) == ("heating run", 0, 210)
    assert (capture.timing.started, capture.timing.stopped) == (60.0, 120.0)
    timed = next(event for event in events if isinstance(event, Timed))
    assert (timed.started, timed.stopped) == (60.0, 120.0)


def verdict_of(events):
    return next(event.verdict for event in events if isinstance(event, Judged))


@pytest.mark.parametrize(("power", "outcome"), [(900.0, "pass"), (500.0, "undecided")])
def test_its_power_is_held_against_the_plate(power, outcome):
    _, events = walked({60: ["start"], 120: ["stop"]}, power=power)
    verdict = verdict_of(events)
    assert verdict.outcome == outcome, verdict
    assert verdict.value == pytest.approx(power, abs=verdict.expanded_uncertainty)


def test_that_the_probe_was_under_is_asked_for_and_said_before_and_after():
    """Said of both sides, a low power fails the plate; it stands in the run's timing."""
    _, events = walked({10: ["immersed"], 60: ["start"], 120: ["stop"], 130: ["immersed"]}, power=500.0)
    assert verdict_of(events).outcome == "fail"
    assert capture_of(events).timing.immersed == (("", 10.0), ("", 130.0))
    session, _ = walked({}, until=5)
    assert session.walk.snapshot().phase == "stir"
    assert session.walk.snapshot().press == "immersed"
    session.act(Act(word="press"), 6.0)
    assert session.walk.snapshot().phase == "start"


def test_what_is_said_before_the_thermometer_shows_anything_counts():
    """It was switched on late, or its link was lost meanwhile."""
    acts = {20: ("immersed",), 60: ("start",), 120: ("stop",), 130: ("immersed",)}
    session = Session(PROCEDURE, {}, judge=ByCase(PROCEDURE, answers_by({}), entries=ENTRIES))
    events = session.start(0.0)
    for t in range(250):
        for word in acts.get(t, ()):
            events += session.act(Act(word=word), float(t))
        if t > 22:
            counts = round(temperature(t, 500.0) * 100)
            events += session.reading("thermometer", t, Reading(CELSIUS, counts), float(t))
    assert capture_of(events).timing.immersed == (("", 20.0), ("", 130.0))


def test_said_late_it_is_read_for_a_minute_more():
    _, events = walked({60: ["start"], 120: ["stop"], 170: ["immersed"]}, until=260)
    assert capture_of(events).last == 230


@pytest.mark.parametrize(("to", "why"), [("second", "Name none: there is one load."), ("", "")])
def test_a_vessel_is_named_only_where_there_are_two(to, why):
    session, _ = walked({}, until=5)
    events = session.act(Act(word="immersed", to=to), 6.0)
    assert [each.why for each in events if isinstance(each, Refused)] == ([why] if why else [])


def test_without_the_waters_mass_it_is_not_judged_and_says_why():
    _, events = walked({60: ["start"], 120: ["stop"]}, entries={})
    verdict = verdict_of(events)
    assert (verdict.outcome, verdict.why) == ("not judged", "the mass of the water was neither weighed nor entered")


def test_a_run_that_nobody_timed_ends_when_it_rises_no_more():
    _, events = walked({})
    capture = capture_of(events)
    assert capture.timing is None
    assert capture.last == 210


def test_a_run_does_not_end_while_it_is_heated_with_the_probe_out():
    """A probe taken out of cold water warms to the air's temperature and finds no new height, for two minutes."""
    session, events = walked({60: ["start"]}, until=240, mains=1400)
    assert not [event for event in events if isinstance(event, Captured)]
    assert session.walk.snapshot().phase == "run"


def test_the_way_from_warm_air_into_cold_water_is_no_rise():
    _, events = walked({}, until=200, power=-300.0)
    assert not [event for event in events if isinstance(event, Captured)]


def test_it_can_be_taken_sooner_but_not_before_heating_has_ended():
    _, events = walked({60: ["start"], 70: ["confirm"], 120: ["stop"], 150: ["confirm"]})
    refused = next(event for event in events if isinstance(event, Refused))
    assert refused.why == "Nothing waits to be confirmed."
    assert capture_of(events).last == 149


def test_the_mass_may_come_from_a_scale():
    """1 kg on a scale of 1 g steps that is right to ± 1 g: half width 1 g (rectangular), by hand."""
    grams = Form(quantity="mass", unit="g", scale=0.001)
    weighed = Step(key="weigh", title="", kind=kinds.MEASURE, quantity="mass")
    run = replace(RUN, inputs=RUN.inputs | {"mass": "weigh"})
    procedure = replace(PROCEDURE, steps=(weighed, run))
    _, events = walked({60: ["start"], 120: ["stop"]}, entries={})
    log = tuple((float(t), Reading(CELSIUS, round(temperature(t) * 100))) for t in range(211))
    on_scale = capture_of(events)
    on_scale = replace(
        on_scale, form=grams, counts=1000, count=5, spread=0.0, deviation=0.0, timing=None, how="settled"
    )
    answers = {
        "weigh": StepAnswer(capture=on_scale, accuracy=parse_accuracy("1 g", "kilogram")),
        "run": StepAnswer(capture=capture_of(events), log=lambda: log),
    }
    verdict = conclude(
        Case(procedure=procedure, entries={key: ENTRIES[key] for key in ("beaker", "rated output")}, answers=answers),
        run,
    )
    mass = next(line for line in verdict.budget if line.name == "mass of the water")
    assert mass.standard_uncertainty == pytest.approx(0.001 / 3**0.5, rel=1e-3)
    assert verdict.outcome == "pass"


def test_a_power_meter_tells_when_it_was_heated():
    """Nobody pressed anything and the probe was out meanwhile: 1400 W from 60 s to 120 s, read once a second."""
    _, events = walked({}, mains=1400)
    verdict = verdict_of(events)
    assert any("power log" in line for line in verdict.trail), verdict.trail
    assert verdict.outcome == "pass"
    assert verdict.value == pytest.approx(900.0, abs=verdict.expanded_uncertainty)


def in_two_vessels(loads, channels=("T1", "T2"), shown=("T1", "T2", "T4")):
    """The verdict on 420 W into one litre and 480 W into another, a probe in each and one in the room."""
    step = replace(
        RUN,
        inputs=RUN.inputs
        | {"second vessel": "1 J/K ± 1 J/K"}
        | loads
        | ({"channels": ", ".join(channels)} if channels else {}),
    )
    procedure = replace(PROCEDURE, steps=(step,))
    profiles = {}
    entries = ENTRIES | {"second water": "1000 g ± 2 g"}
    session = Session(procedure, profiles, judge=ByCase(procedure, answers_by(profiles), entries=entries))
    events = session.start(0.0)
    watts = {"T1": 420.0, "T2": 480.0}
    for t in range(240):
        for word in {60: ["start"], 120: ["stop"]}.get(t, ()):
            events += session.act(Act(word=word), float(t))
        for place, channel in enumerate(shown):
            celsius = temperature(t, watts[channel]) if channel in watts else 21.0
            reading = Reading(replace(CELSIUS, channel=channel), round(celsius * 100))
            events += session.reading("thermometer", 3 * t + place, reading, float(t))
    return verdict_of(events)


@pytest.mark.parametrize(
    ("channels", "shown"), [(("T1", "T2"), ("T1", "T2", "T4")), (("T2", "T1"), ("T1", "T2")), ((), ("T2", "T1"))]
)
def test_two_vessels_are_added_up(channels, shown):
    verdict = in_two_vessels({"second mass": "second water"}, channels, shown)
    assert verdict.outcome == "pass"
    assert verdict.value == pytest.approx(900.0, abs=verdict.expanded_uncertainty)
    starts = [line for line in verdict.trail if line.startswith(("first vessel from", "second vessel from"))]
    assert len(starts) == 2


@pytest.mark.parametrize(
    ("loads", "channels", "shown", "why"),
    [({"second mass": "not entered"}, ("T1", "T2"), ("T1", "T2"),
      "the mass of the water in the second vessel was neither weighed nor entered"),
     ({"second mass": "second water"}, (), ("T1", "T2", "T4"),
      "two vessels need two channels of the thermometer, and these read: T1, T2, T4"),
     ({"second mass": "second water"}, ("T1", "T3"), ("T1", "T2"),
      "two vessels need two channels of the thermometer, and these read: T1, T2")],
)  # fmt: skip
def test_vessels_that_do_not_pair_are_not_judged(loads, channels, shown, why):
    verdict = in_two_vessels(loads, channels, shown)
    assert (verdict.outcome, verdict.why) == ("not judged", why)


def test_after_the_stop_it_says_how_long_to_stir_and_what_is_waited_for():
    session, _ = walked({60: ["start"], 120: ["stop"]}, until=150)
    shown = session.walk.snapshot()
    assert shown.phase == "after"
    assert shown.words == (
        "Mains off. Put the whole probe under the surface and say so; stir for 10 s, then hold it still. The run is "
        f"taken {AFTER_S:.0f} s after Stop."
    )
    session.act(Act(word="immersed"), 150.0)
    assert session.walk.snapshot().words == (
        f"Stir for 10 s, then hold it still: the level and its drift are waited for, until {AFTER_S:.0f} s after Stop."
    )


def test_what_a_run_shows_is_its_power_and_no_temperature_out_of_it():
    session, events = walked({60: ["start"], 120: ["stop"]})
    [step] = session.walk.snapshot().steps
    assert (step.captures, step.shown) == (1, None)
    assert verdict_of(events).unit == "watt"


CARRIED = {  # what the person does, by the second: one probe, first vessel, second, heat, second, first
    10: ("immersed", "first"), 40: ("immersed", "second"), 80: ("start", ""), 140: ("stop", ""),
    150: ("immersed", "second"), 185: ("immersed", "first"),
}  # fmt: skip


def carried(acts=CARRIED, until=280, named=True):
    """The session's events when one probe is carried between a litre that gets 420 W and one that gets 480 W."""
    told = {"second mass": "second water", "second vessel": "1 J/K ± 1 J/K", "warm up": "0 s ± 0.1 s"}
    step = replace(RUN, inputs=RUN.inputs | told)
    procedure, profiles = replace(PROCEDURE, steps=(step,)), {}
    entries = ENTRIES | {"second water": "1000 g ± 2 g"}
    session = Session(procedure, profiles, judge=ByCase(procedure, answers_by(profiles), entries=entries))
    events, stands = session.start(0.0), "air"
    for t in range(until):
        word, to = acts.get(t, ("", ""))
        if word == "start":
            stands = "air"
        stands = to if word == "immersed" else stands
        if word:
            events += session.act(Act(word=word, to=to if named else ""), float(t))
        watts = {"first": 420.0, "second": 480.0}.get(stands)
        celsius = 21.0 if watts is None else temperature(t - 20.0, watts)
        events += session.reading("thermometer", t, Reading(CELSIUS, round(celsius * 100)), float(t))
    return session, events


def test_one_probe_carried_between_two_vessels_tells_the_power_of_both():
    _, events = carried()
    verdict = verdict_of(events)
    assert verdict.value == pytest.approx(900.0, abs=verdict.expanded_uncertainty)
    assert verdict.outcome == "pass"
    assert capture_of(events).timing.immersed == (
        ("first", 10.0), ("second", 40.0), ("second", 150.0), ("first", 185.0),
    )  # fmt: skip
    assert capture_of(events).last == 245, "a minute after the probe was put into the last vessel"


def test_a_pedal_takes_the_vessels_in_turn_and_the_words_ask_for_each():
    asked = []
    for until in (5, 20, 50, 145, 155, 190):
        acts = CARRIED | {150: ("immersed", "first"), 185: ("immersed", "second")}
        session, _ = carried(acts, until, named=False)
        asked.append(session.walk.snapshot().words)
    first, second, start, after, again, held = asked
    assert first == after
    assert first.startswith("In the first vessel: the whole probe under")
    assert second == again
    assert second.startswith("Hold it for half a minute. Then in the second vessel")
    assert start == "Hold it there for half a minute. Then say when it is switched on."
    assert held.startswith("Stir for 10 s, then hold it still")


def test_both_vessels_are_offered_by_name():
    session, _ = carried(until=5)
    offered = [(each.word, each.to) for each in session.walk.snapshot().acts]
    assert offered == [("immersed", "first"), ("immersed", "second"), ("start", ""), ("next", "")]
