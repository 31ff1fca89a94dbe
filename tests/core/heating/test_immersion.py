"""No number from a probe that may have been in the room's air: what shows that it stood in the load."""

from dataclasses import replace

import numpy as np
import pytest
from heating_simulator import Bench, simulate

from meterlog.heating import (
    HeatingTrace,
    Load,
    LoggedQuantity,
    Plate,
    read_mass,
    read_moment,
    read_room,
    read_stated,
    read_vessel,
    run,
)
from meterlog.heating.answer.rating import plate_limit

LOAD = Load(mass=read_mass("1000 g ± 2 g"), vessel=read_vessel("250 J/K ± 10 J/K"))
OVEN = Bench(power=800, first=11, vessel=250, start=60, stop=150, end=320, warm_up=2, out=(52, 158), room=21)
BEFORE, AFTER = "the probe stood in the load before heating: ", "the probe stood in the load after heating: "


def told(bench, *, room="21 °C ± 0.5 K", hole=False, change=lambda t, v: v, **more):
    clock, shown, _ = simulate(bench)
    shown = change(clock, shown)
    kept = ~((clock >= bench.out[0]) & (clock < bench.out[1])) if hole else np.ones(clock.size, bool)
    series = LoggedQuantity(times=tuple(clock[kept]), values=tuple(np.round(shown[kept], 1) + 273.15), resolution=0.1)
    times = {"start": read_moment(f"{bench.start}"), "stop": read_moment(f"{bench.stop}")}
    return run(HeatingTrace(temperature=series), (LOAD,), ambient=read_room(room) if room else None, **times, **more)


def only(answer):
    [refused] = answer.refused
    return refused.what, refused.why


LEFT_OUT = replace(OVEN, out=(52, 1e9))


@pytest.mark.parametrize("room", ["21 °C ± 0.5 K", None])
@pytest.mark.parametrize("stop", [90, 150, 300])
@pytest.mark.parametrize("first", [5, 11, 16])
def test_a_probe_that_never_went_back_tells_no_power(room, stop, first):
    answer = told(replace(LEFT_OUT, stop=stop, end=stop + 170, first=first), room=room)
    assert answer.power is None
    what, why = only(answer)
    assert what in ("probe in the load", "plateau", "stable start"), why
    assert what != "probe in the load" or why.startswith("the readings after heating stand at 2")


def test_the_refusal_says_what_the_air_explains_and_what_to_do():
    [refused] = told(replace(LEFT_OUT, noise=0.0, stop=250, end=420)).refused
    assert refused.why == (
        "the readings after heating stand at 21.0 °C, as a probe in the room's air would: nothing shows that it went "
        "back into the load"
    )
    assert refused.advice.startswith("stir with the probe in the load and hold it there for 20 s more")


def test_a_load_that_ends_at_the_room_s_temperature_on_purpose_needs_somebody_to_say_so():
    cold = replace(OVEN, first=10, power=500, stop=160, out=(52, 168), probe_lag=9, end=330)  # 10.8 K up, a slow probe
    assert only(told(cold))[0] == "probe in the load"
    said = told(cold, stirred=("after",))
    assert said.founds[0].in_load[1] == AFTER + "said, not seen"
    assert said.power == pytest.approx(500, abs=said.useful.expanded_uncertainty)


def test_a_probe_in_the_air_before_heating_tells_no_power():
    clock_in_air = told(OVEN, change=lambda t, v: np.where(t < 158, 21.0, v))
    assert only(clock_in_air)[1].startswith("the readings before heating stand at 21.0 °C")
    same = told(replace(OVEN, first=21, power=600), stirred=())
    assert only(same)[0] == "probe in the load", "a load as warm as the room shows no more than the air"
    assert told(replace(OVEN, first=21, power=600), stirred=("before",)).power == pytest.approx(600, rel=0.04)


SHOWN = [  # bench, options, what shows it before and after
    (OVEN, {}, "it read +9.8 K from there once it was out", "26.9 °C is no"),
    (OVEN, {"room": None}, "it read +9.8 K from there once it was out", "26.9 °C is no"),
    (OVEN, {"hole": True}, "11.1 °C is no temperature that the air has", "26.9 °C is no"),
    (replace(OVEN, first=16), {"hole": True, "room": None}, "said by a log that is empty while the probe was out",
     "readings stepped by +9.3 K as it came back"),
    (replace(OVEN, first=8, power=600, stop=180, out=(52, 188)), {}, "it read +12.9 K",
     "readings stepped by +2.8 K as it came back"),
]  # fmt: skip


@pytest.mark.parametrize(("bench", "options", "before", "after"), SHOWN)
def test_what_shows_it_stands_in_the_trail(bench, options, before, after):
    answer = told(bench, **options)
    assert answer.power == pytest.approx(bench.power, abs=answer.useful.expanded_uncertainty)
    one, other = answer.founds[0].in_load
    assert one.startswith(BEFORE)
    assert before in one
    assert other.startswith(AFTER)
    assert after in other
    assert one in answer.verdict.trail
    assert other in answer.verdict.trail


def test_a_probe_that_stood_in_the_load_throughout_shows_it_by_the_rise():
    answer = told(replace(OVEN, out=(), warm_up=0))
    assert answer.founds[0].in_load == ("the probe stood in the load: its readings followed the rise",)


def test_a_probe_pulled_out_once_the_plateau_stood_does_no_harm_and_before_it_tells_nothing():
    def pulled(at):
        return told(OVEN, change=lambda t, v: np.where(t > at, 21 + (v - 21) * np.exp(-(t - at) / 20), v))

    late = pulled(230)
    assert late.power == pytest.approx(800, abs=late.useful.expanded_uncertainty)
    assert pulled(161).power is None


KETTLE = Bench(power=900, first=12, vessel=250, start=60, stop=180, end=300, room=24)


def put_in(air, at):
    """The log begins in the air, and the probe is put into the load."""
    return lambda t, v: np.where(t < at, air, v + (air - v) * np.exp(-np.maximum(t - at, 0) / 4))


@pytest.mark.parametrize("air", [24.0, 12.9, 9.0])
def test_what_the_probe_read_in_the_air_before_it_was_put_in_is_not_the_load_s(air):
    for bench in (KETTLE, replace(OVEN, room=air, first=14)):
        answer = told(bench, change=put_in(air, 16), room=f"{bench.room} °C ± 0.5 K", stirred=("before", "after"))
        assert answer.power == pytest.approx(bench.power, abs=answer.useful.expanded_uncertainty)
        assert answer.founds[0].before.first > 16


def test_a_load_does_not_cool_when_it_is_heated():
    """Put in as it is switched on: before, the readings were the air's."""
    answer = told(KETTLE, change=put_in(15.0, 62), room="15 °C ± 0.5 K", stirred=("after",))
    assert answer.founds[0].before is None, "its ramp alone tells the power"
    assert answer.power == pytest.approx(900, abs=answer.useful.expanded_uncertainty)


def test_a_probe_that_reads_neither_load_nor_air_while_it_was_heated_tells_no_power():
    """In the steam above the water: half way between the load and the air, with a lag of its own."""
    answer = told(KETTLE, change=lambda t, v: np.where((t > 62) & (t < 185), 38.0, v), stirred=("before", "after"))
    assert only(answer)[1].startswith("while it was heated the probe read 38.0 °C, which is neither")


PLATE = [(level, Plate(limit=plate_limit(read_stated(f"{level} W ± 5 %", "watt")))) for level in (800, 1000, 640)]
HELD = [  # bench, said, what it may be, outcomes against a plate that it meets, that is higher, that is lower
    (OVEN, ("before", "after"), "", "pass", "fail", "fail"),
    (OVEN, ("before",), ", a lower bound", "pass", "undecided", "fail"),
    (replace(OVEN, first=24, room=40, stop=110, end=280, out=(52, 118)), ("before",), ", an upper bound", "undecided",
     "fail", "undecided"),
    (replace(OVEN, first=28, room=20), (), ", which may be more or less than that", "undecided", "undecided",
     "undecided"),
    (replace(OVEN, out=(), warm_up=0), (), ", a lower bound", "pass", "undecided", "fail"),
    (replace(OVEN, out=(), warm_up=0), ("before",), "", "pass", "fail", "fail"),
]  # fmt: skip


@pytest.mark.parametrize(("bench", "said", "words", "met", "higher", "lower"), HELD)
def test_how_deep_it_stood_no_trace_shows_so_the_power_is_a_bound_until_somebody_says(
    bench, said, words, met, higher, lower
):
    """Half out of a load that is warmer than the air it reads low: of a power that is too low nothing follows."""
    for outcome, (level, plate) in zip((met, higher, lower), PLATE, strict=True):
        answer = told(bench, room=f"{bench.room} °C ± 0.5 K", stirred=said, plate=plate)
        assert answer.power == pytest.approx(800, abs=answer.useful.expanded_uncertainty)
        assert answer.unstated.words == words
        assert answer.verdict.outcome == outcome, (level, answer.verdict.why)
        assert ("no trace shows how deep" in " ".join(answer.notes)) == bool(words)


@pytest.mark.parametrize("dry", [0.15, 0.35, 0.6])
def test_a_probe_put_back_half_way_makes_no_claim_that_is_not_so(dry):
    half = told(OVEN, change=lambda t, v: np.where(t >= 158, v + dry * (21 - v), v), stirred=("before",))
    assert half.power is None or (half.unstated.more and half.power - half.useful.expanded_uncertainty < 800)
