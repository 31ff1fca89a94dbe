"""Gates: open on a pass or a written override, and closed again by whatever ends that."""

from pathlib import Path

import pytest
from walking import OHM, VOLT, Bench, look, names, step

from meterlog.base.readings import Reading
from meterlog.procedure import gates, kinds
from meterlog.procedure.language import read_procedure
from meterlog.procedure.steps import Limit, Point, Procedure
from meterlog.walk import NOTHING, Act, Walk
from meterlog.walk.happenings import LivePoint, ProofsEnded, Reopened, StepBegan, Waiting
from meterlog.walk.timed_watch import timed_capture

AT_MOST = (Limit(low=None, high=0.3, unit="ohm", text="at most 0.3 ohm", source="invented"),)
DEAD = (Limit(low=None, high=50.0, unit="volt", text="at most 50 V", source="invented"),)
POINTS = (
    Point(name="pin", text="a pin", is_inside=False),
    Point(name="case", text="the case", is_inside=False),
    Point(name="tab", text="a tab", is_inside=True),
    Point(name="core", text="the core", is_inside=True),
)
STEPS = (
    look("unplugged"),
    step("dead", "voltage", kind=kinds.DEAD, points=("pin", "case"), limits=DEAD, source_voltage=9.0,
         needs=("unplugged",)),
    step("winding", points=("tab", "core"), needs=("dead",), needs_dead=True, limits=AT_MOST),
    look("refitted"),
    step("earth", points=("pin", "case"), needs=("refitted",), limits=AT_MOST),
    step("insulation", "insulation_resistance", points=("pin", "case"), needs=("earth",), limits=AT_MOST),
    look("run", needs=("insulation", "earth", "refitted"), energised=True),
)  # fmt: skip
APPLIANCE = Procedure(key="p", title="P", appliance="any", source="invented", cautions=(), steps=STEPS, points=POINTS)


class Job:
    """A walk whose steps are answered by word: what their verdicts are to be."""

    def __init__(self, procedure=APPLIANCE):
        self.walk = Walk(procedure, assume=NOTHING)
        self.at, self.told = 0.0, self.walk.start(0.0)

    def act(self, word, **more):
        self.at += 1.0
        out = self.walk.act(Act(word=word, **more), self.at)
        self.told += out
        return out

    def answer(self, key, outcome="pass"):
        """The step's answer, as a capture and its verdict leave it."""
        self.walk.ledger.judge(key, outcome)

    @property
    def stands(self):
        return self.walk.snapshot().phase, self.walk.step.key if self.walk.step else ""

    def missing(self, key):
        return self.walk.ledger.missing(self.walk.procedure.step(key))


def passed_up_to(key):
    job = Job()
    for each in STEPS:
        if each.key == key:
            break
        if each.kind is kinds.LOOK:
            job.walk.ledger.leave(each, "looked")
        else:
            job.answer(each.key)
    job.act("go to", to=key)
    return job


@pytest.mark.parametrize("outcome", ["fail", "undecided", "not judged", ""])
def test_nothing_but_a_pass_opens_a_gate(outcome):
    job = passed_up_to("earth")
    job.answer("earth", outcome)
    job.act("go to", to="insulation")
    assert job.stands == ("gate", "insulation")
    assert job.told[-1] == Waiting(step="insulation", at=job.at, needs=("earth",))


def test_a_step_with_a_method_and_no_limit_of_its_own_passes_when_it_is_judged_only():
    """950 Ω of protective conductor, and the cord's length not entered: not judged, which is not passed."""
    steps = (step("earth", method="protective conductor"), look("run", needs=("earth",), energised=True))
    job = Job(Procedure(key="p", title="P", appliance="any", source="invented", cautions=(), steps=steps))
    job.answer("earth", "not judged")
    job.act("go to", to="run")
    assert job.stands == ("gate", "run")
    job.answer("earth", "pass")
    job.act("go to", to="run")
    assert job.stands == ("look", "run")


def test_a_step_that_nothing_judges_is_recorded_and_holds_nobody():
    bench = Bench(step("a"), step("b", needs=("a",)), assume=NOTHING)
    bench.show(OHM, 470, 0.25)
    bench.act("go to b")
    assert bench.walk.phase == "gate"
    bench.act("go to a")
    bench.open()
    bench.show(OHM, 470, 5.0)
    assert bench.walk.ledger.missing(bench.walk.procedure.step("b")) == ()


def test_at_a_gate_the_way_leads_to_what_is_missing_and_back():
    job = passed_up_to("earth")
    job.act("go to", to="run")
    first, second = job.walk.snapshot().acts
    assert (first.word, first.to, first.label) == ("go to", "earth", "To: earth")
    assert (second.word, bool(second.asks)) == ("override", True)
    job.act("go to", to="earth")
    job.answer("earth")
    assert job.walk._course.after(job.walk.procedure.step("earth")).key == "insulation"
    job.answer("insulation")
    assert job.walk._course.after(job.walk.procedure.step("insulation")).key == "run"


def test_a_written_override_opens_a_gate_once():
    job = passed_up_to("earth")
    job.act("go to", to="run")
    assert names(job.act("override")) == ["Refused"]
    assert names(job.act("override", text="measured on the workshop's tester"))[:2] == ["Acted", "Overrode"]
    assert job.stands == ("look", "run")
    job.act("go to", to="run")
    assert job.stands == ("gate", "run")


def test_an_override_opens_the_gate_that_it_was_written_at_and_none_behind_it():
    """Not isolated, and a reason written at the proof of dead: nothing inside is measured on that word."""
    job = Job()
    job.walk.ledger.leave(STEPS[0], "found wanting")
    job.act("go to", to="dead")
    assert job.missing("dead") == ("unplugged",)
    job.act("override", text="it is wired in")
    job.answer("dead")
    job.act("go to", to="winding")
    assert (job.stands, job.missing("winding")) == (("gate", "winding"), ("unplugged",))
    assert job.walk.snapshot().acts[0].to == "unplugged"
    job.act("override", text="it is wired in, and the breaker is locked")
    job.answer("winding")
    job.walk.ledger.leave(STEPS[0], "looked")
    assert job.missing("winding") == ()


def test_what_a_gate_was_passed_without_is_still_missing_after_a_break():
    job = Job()
    job.walk.ledger.restore([], {"dead": "pass"}, (), {"dead": ("unplugged",)})
    job.answer("dead")
    assert job.missing("winding") == ("unplugged",)


# What ends a result -------------------------------------------------------------------------------


def test_mains_on_ends_the_proofs_and_what_was_looked_at_for_them():
    job = passed_up_to("run")
    assert job.stands == ("look", "run")
    assert [h.keys for h in job.told if isinstance(h, ProofsEnded)] == [("unplugged", "dead")]
    job.act("go to", to="winding")
    assert job.stands == ("gate", "winding")
    assert job.missing("winding") == ("dead",)
    assert job.walk.snapshot().acts[0].to == "unplugged"


def test_a_proof_after_mains_opens_only_what_rests_on_it():
    """The plug's pins proved dead say nothing of the high-voltage capacitor."""
    steps = (
        step("pins", "voltage", kind=kinds.DEAD, points=("pin", "case"), limits=DEAD, source_voltage=9.0),
        step("capacitor", "voltage", kind=kinds.DEAD, points=("tab", "core"), limits=DEAD, source_voltage=9.0),
        step("winding", points=("tab", "core"), needs=("pins", "capacitor"), needs_dead=True),
        look("run", energised=True),
    )
    job = Job(Procedure(
        key="p", title="P", appliance="any", source="invented", cautions=(), steps=steps, points=POINTS,
    ))  # fmt: skip
    job.answer("pins")
    job.answer("capacitor")
    assert job.missing("winding") == ()
    job.act("go to", to="run")
    job.answer("pins")
    assert job.missing("winding") == ("capacitor",)


def test_reopened_after_refitting_it_is_refitted_and_proved_safe_again():
    job = passed_up_to("run")
    job.act("go to", to="winding")
    for key in ("unplugged", "dead"):
        job.answer(key)
    job.walk.ledger.leave(job.walk.procedure.step("unplugged"), "looked")
    told = job.act("go to", to="winding")
    assert job.stands == ("watch", "winding")
    assert [dict(h.keys) for h in told if isinstance(h, Reopened)] == [{"refitted": 0, "earth": 0, "insulation": 0}]
    assert job.missing("run") == ("insulation", "earth", "refitted")
    states = {each.key: each.state for each in job.walk.snapshot().steps}
    assert [states[key] for key in ("refitted", "earth", "insulation")] == ["to do again"] * 3
    job.answer("winding")
    assert job.walk._course.after(job.walk.procedure.step("winding")).key == "refitted"


def test_a_step_outside_reopens_nothing():
    job = passed_up_to("run")
    told = job.act("go to", to="earth")
    assert [h for h in told if isinstance(h, Reopened)] == []


def test_after_a_break_nothing_that_was_looked_at_or_proved_stands():
    job = Job()
    job.walk.ledger.restore([], {"unplugged": "looked", "dead": "pass", "refitted": "looked", "earth": "pass"})
    assert job.missing("winding") == ("dead",)
    assert job.missing("earth") == ("refitted",)
    assert job.missing("insulation") == ()


def test_a_live_point_closes_every_gate_and_waits_to_be_seen():
    job = passed_up_to("winding")
    job.act("go to", to="dead")
    for number in range(8):
        job.at = round(job.at + 0.25, 3)
        job.told += job.walk.reading("meter", number, Reading(VOLT, 325_000), job.at)
    assert [h.shown for h in job.told if isinstance(h, LivePoint)] == ["325.000 V"]
    assert job.stands == ("live", "dead")
    assert job.walk.snapshot().live == "325.000 V"
    assert job.missing("winding") == ("dead",)
    for word, more in (("next", {}), ("go to", {"to": "winding"}), ("skip", {"text": "why not"}), ("confirm", {})):
        assert names(job.act(word, **more)) == ["Refused"]
    assert job.stands == ("live", "dead")
    job.act("acknowledge")
    assert job.stands == ("gate", "dead")
    assert job.missing("dead") == ("unplugged",)


# What is never left without a word ------------------------------------------------------------------


@pytest.mark.parametrize("key", ["unplugged", "dead", "refitted", "earth", "insulation", "run"])
def test_next_leaves_no_look_no_proof_and_no_safety_check(key):
    job = passed_up_to(key)
    assert names(job.act("next")) == ["Refused"]
    assert "next" not in [each.word for each in job.walk.snapshot().acts]
    assert names(job.act("skip", text="not mine to do"))[:2] == ["Acted", "Passed"]


def test_next_leaves_what_nobody_rests_on():
    job = passed_up_to("winding")
    assert [h.how for h in job.act("next") if hasattr(h, "how")] == ["passed over"]


# Cautions ----------------------------------------------------------------------------------------------


def test_a_caution_is_acknowledged_once_a_job():
    bench = Bench(
        look("a", cautions=("unplug", "look first")), look("b", cautions=("look first",)), look("c"),
        assume=NOTHING, cautions=("unplug",),
    )  # fmt: skip
    bench.act("acknowledge")
    assert bench.walk.snapshot().unread == ("look first",)
    bench.act("acknowledge")
    told = bench.act("confirm")
    assert (bench.walk.step.key, bench.walk.phase) == ("b", "look")
    assert bench.walk.snapshot().cautions == ("look first",)
    assert isinstance(told[-1], StepBegan)


def test_a_caution_comes_back_with_its_hazard():
    steps = (
        step("dead", "voltage", kind=kinds.DEAD, cautions=("prove the tester",)),
        look("run", energised=True, cautions=("cabinet closed",)),
        look("survey", energised=True, cautions=("cabinet closed",)),
    )
    bench = Bench(*steps, assume=NOTHING)
    bench.act("acknowledge")
    bench.act("go to run")
    assert bench.walk.phase == "cautions"
    bench.act("acknowledge")
    bench.act("confirm")
    assert (bench.walk.step.key, bench.walk.phase) == ("survey", "look")
    bench.act("go to dead")
    assert bench.walk.phase == "cautions"
    bench.act("acknowledge")
    bench.act("go to run")
    assert bench.walk.phase == "cautions"


# The analysis on its own --------------------------------------------------------------------------------


def test_what_ends_what():
    assert gates.ended_by_mains(APPLIANCE) == {"unplugged", "dead"}
    assert gates.ended_by_a_break(APPLIANCE) == {"unplugged", "dead", "refitted"}
    assert gates.ended_by_opening(APPLIANCE, APPLIANCE.step("winding")) == {"refitted", "earth", "insulation", "run"}
    assert gates.ended_by_opening(APPLIANCE, APPLIANCE.step("earth")) == frozenset()


def test_a_run_that_the_inside_step_waits_for_is_not_to_be_done_again():
    """Warm windings are measured after the run: the run stands, the refit does not."""
    steps = (
        look("refitted"),
        look("run", needs=("refitted",), energised=True),
        step("dead again", "voltage", kind=kinds.DEAD, needs=("run",)),
        step("warm winding", points=("tab", "core"), needs=("dead again",), needs_dead=True),
    )
    procedure = Procedure(
        key="p", title="P", appliance="any", source="invented", cautions=(), steps=steps, points=POINTS
    )
    assert gates.ended_by_opening(procedure, procedure.step("warm winding")) == {"refitted"}


SHIPPED = sorted((Path(__file__).parents[3] / "profiles" / "procedures").glob("*.yaml"))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_procedure_that_goes_well_holds_nobody_and_ends(path):
    """Every step answered in order and passed: no gate closes on the way, and nothing is left to be done again."""
    walk = Walk(read_procedure(path.read_text(), path.name), conclude=lambda step: "pass")
    at = 0.0
    walk.start(at)
    for _ in range(4 * len(walk.procedure.steps)):
        at += 1.0
        if walk.phase == "done":
            break
        assert walk.phase != "gate", walk.snapshot().needs
        if walk.phase == "cautions":
            walk.act(Act(word="acknowledge"), at)
        elif walk.phase == "look":
            walk.act(Act(word="confirm"), at)
        else:
            walk._course.captured(("meter", "main"), timed_capture(at, at + 1.0), at)
    assert walk.phase == "done"
    assert all(walk.ledger.is_answered(step) for step in walk.procedure.steps)


@pytest.mark.parametrize("spelled", ["protective conductor", "protective-conductor", "Protective_Conductor"])
def test_the_protective_conductor_is_a_safety_check_however_its_method_is_spelled(spelled):
    earth = step("earth", points=("pin", "case"), method=spelled)
    other = Procedure(key="p", title="P", appliance="a", source="s", cautions=("c",), steps=(earth,))
    assert gates.is_safety_check(other, earth)
    assert not gates.may_be_passed_over(other, earth)
    assert [gates.is_of_another_class(earth, {"protection class": each}) for each in ("I", "II", "III")] == [
        False,
        True,
        True,
    ]
