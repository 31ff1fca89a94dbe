"""Every sentence beside the digits is derived from what is true now, and goes with it."""

from dataclasses import replace

import pytest
from walking import procedure, step

from meterlog.daemon.link_states import LinkState
from meterlog.daemon.status import DisplayedReading, LinkStatus
from meterlog.procedure import kinds
from meterlog.procedure.steps import Step
from meterlog.walk import Walk
from meterlog.walk.snapshot import WatchedDisplay
from meterlog.web.at_hand import _mains, _needs, _state
from meterlog.web.display import displays

OHMS = Step(key="earth", title="Earth", kind=kinds.MEASURE, points=("a", "b"), quantity="resistance")
HEATED = Step(key="run", title="Run", kind=kinds.HEATING_RUN, quantity="power", energised=True)


def reading(quantity="resistance", mode="", **more):
    shown = {"channel": "main", "shown": "1.2", "value": 1.2, "unit": "ohm", "bound": None, "edge": None, "flags": ()}
    return DisplayedReading(**{**shown, "quantity": quantity, "mode": mode, **more})


def link(name, *readings):
    return LinkStatus(
        link=name, profile="", state=LinkState.LISTENING, why="", hint="", url="", readings=readings, utc_ms=0,
        count=0, rejected=0, skipped_bytes=0, bytes_not_kept=0, line_errors={},
    )  # fmt: skip


def walk(**states):
    displays = tuple(WatchedDisplay(source=name, channel="main", state=state) for name, state in states.items())
    return replace(Walk(procedure(step("a"))).snapshot(), displays=displays)


def test_the_instrument_that_the_step_reads_comes_first():
    links = [link("thermometer", reading("temperature", unit="degC")), link("multimeter", reading())]
    assert [each.link for each in displays(links, walk(), OHMS)] == ["multimeter", "thermometer"]
    assert [each.link for each in displays(links, walk(), HEATED)] == ["thermometer", "multimeter"]


def test_another_function_is_told_while_it_shows_and_no_longer():
    (wrong,) = displays([link("multimeter", reading("voltage", "dc"))], walk(multimeter="apart"), OHMS)
    assert wrong.with_step == "this check wants resistance"
    (right,) = displays([link("multimeter", reading())], walk(multimeter="apart"), OHMS)
    assert right.with_step == "probes apart"


def test_a_heating_run_wants_a_temperature_and_no_power():
    (shown,) = displays([link("multimeter", reading())], walk(), HEATED)
    assert shown.with_step == "this check wants temperature"


@pytest.mark.parametrize("state", ["apart", "contact", "lift first"])
def test_a_thermometer_has_no_probes_to_lift(state):
    (shown,) = displays([link("thermometer", reading("temperature"))], walk(thermometer=state), HEATED)
    assert shown.with_step == ""


def test_what_is_no_longer_read_is_said():
    (shown,) = displays([link("multimeter", reading(is_stale=True))], walk(multimeter="contact"), OHMS)
    assert (shown.with_step, shown.reading.is_stale) == ("no longer read", True)


@pytest.mark.parametrize(
    ("phase", "words"),
    [("cautions", "with mains on"), ("start", "with mains on"), ("run", "mains is on"), ("after", ""), ("lift", "")],
)
def test_mains_is_said_to_be_on_while_it_is(phase, words):
    assert _mains(phase, HEATED) == words
    assert _mains(phase, OHMS) == ""


def test_a_proof_that_lapsed_is_shown_as_a_memory_and_led_to_again():
    before = Walk(procedure(step("plug-dead", kind=kinds.DEAD), step("capacitor-dead", kind=kinds.DEAD))).snapshot()
    lapsed, undone = before.steps
    proofs = (replace(lapsed, state="pass", lapsed=True), undone)
    assert [_state(each) for each in proofs] == ["passed, counts no more", "not done"]
    assert _needs(replace(before, steps=proofs, needs=("",)), None) == [("plug-dead", "the proof that it is dead")]
