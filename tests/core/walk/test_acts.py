"""Acts: any order, reasons in writing, gates, cautions, several captures."""

import pytest
from walking import OHM, Bench, names, step

from meterlog.base.errors import WrongValue
from meterlog.procedure.steps import StepKind
from meterlog.walk import NOTHING, Act, parse_act
from meterlog.walk.happenings import Overrode, Passed, Refused, Waiting


def look(key, **more):
    return step(key, "", kind=StepKind.LOOK, **more)


def test_cautions_come_first_and_wait():
    bench = Bench(step("a", cautions=("hot",)), step("b"), assume=NOTHING, cautions=("unplug",))
    assert bench.told == []
    assert names(bench.act("acknowledge")) == ["Acknowledged", "StepBegan"]
    bench.open()
    bench.show(OHM, 470, 5.0)
    assert bench.captured() == []
    bench.act("acknowledge")
    bench.open()
    bench.show(OHM, 470, 5.0)
    assert bench.captured() == [("a", "47.0")]


def test_a_look_is_confirmed_or_found_wanting():
    bench = Bench(look("l"), look("m"), step("a"), assume=NOTHING)
    bench.act("confirm")
    bench.act("wanting cord is cut")
    assert [(h.step, h.how, h.reason) for h in bench.told if isinstance(h, Passed)] == [
        ("l", "looked", ""),
        ("m", "found wanting", "cord is cut"),
    ]


def test_hands_free_a_look_is_left_when_the_next_points_are_touched():
    bench = Bench(look("l"), step("a"))
    bench.open()
    assert bench.walk.step.key == "l"
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]
    assert bench.walk.ledger.state(bench.walk.procedure.step("l")) == "not judged"


def test_hands_free_a_step_that_no_instrument_answers_is_left():
    bench = Bench(step("c", "capacitance"), step("a"), gives={"meter": frozenset({"resistance"})})
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]


def test_a_gate_waits_and_is_passed_with_a_reason_that_is_kept():
    bench = Bench(look("l"), step("a", needs=("l",)), assume=NOTHING)
    bench.act("next")
    assert bench.told[-1] == Waiting(step="a", at=0.0, needs=("l",))
    assert bench.act("override") == [
        Refused(
            step="a", at=0.0, word="override", why="Write the reason for going on without what this step waits for."
        )
    ]
    assert bench.act("override looked at it yesterday") == [
        Overrode(step="a", at=0.0, needs=("l",), reason="looked at it yesterday")
    ]
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]


def test_the_proof_of_dead_ends_when_mains_is_on():
    bench = Bench(step("d", "voltage", kind=StepKind.DEAD), step("a", needs_dead=True), assume=NOTHING)
    ledger, (dead, measure) = bench.walk.ledger, bench.walk.procedure.steps
    assert ledger.missing(measure) == ("",)
    ledger.judge("d", "pass")
    assert ledger.missing(measure) == ()
    ledger.energise()
    assert ledger.missing(measure) == ("",)
    assert ledger.missing(dead) == ()


def test_measuring_again_adds_and_the_last_counts():
    bench = Bench(step("a"), step("b"))
    for counts in (470, 480):
        bench.open()
        bench.show(OHM, counts, 4.0)
        bench.act("again")
    ledger, first = bench.walk.ledger, bench.walk.procedure.step("a")
    assert [taken.capture.counts for taken in ledger.captures("a")] == [470, 480]
    assert ledger.counting(first).capture.counts == 480


def test_the_first_counts_where_a_step_says_so():
    bench = Bench(step("a", counts="first"), step("b"))
    for counts in (470, 480):
        bench.open()
        bench.show(OHM, counts, 4.0)
        bench.act("again")
    assert bench.walk.ledger.counting(bench.walk.procedure.step("a")).capture.counts == 470


def test_after_an_act_the_leads_may_still_lie_on_the_last_points():
    bench = Bench(step("a"), step("b"), step("c"))
    bench.open()
    bench.show(OHM, 470, 4.0)
    bench.act("next")
    bench.show(OHM, 470, 10.0)
    assert bench.captured() == [("a", "47.0")]
    bench.open()
    bench.show(OHM, 990, 4.0)
    assert bench.captured() == [("a", "47.0"), ("b", "99.0")]


def test_out_of_order_and_then_what_was_left_out():
    bench = Bench(step("a"), step("b"), step("c"))
    bench.act("go to c")
    for counts in (300, 100, 200):
        bench.open()
        bench.show(OHM, counts, 4.0)
    assert bench.captured() == [("c", "30.0"), ("a", "10.0"), ("b", "20.0")]
    assert names(bench.told)[-1] == "JobDone"


def test_going_back_and_skipping():
    bench = Bench(step("a"), step("b"))
    assert names(bench.act("skip")) == ["Refused"]
    assert bench.act("skip no access")[0] == Passed(step="a", at=0.0, how="skipped", reason="no access")
    bench.act("back")
    assert bench.walk.step.key == "a"
    assert names(bench.act("back")) == ["Refused"]


def test_a_timed_step_from_acts_to_the_tenth_of_a_second():
    bench = Bench(step("t", "time", kind=StepKind.TIMED), step("a"), assume=NOTHING)
    bench.walk.act(Act(word="start"), 1.0)
    told = bench.walk.act(Act(word="stop", uncertainty_s=0.03), 61.26)
    assert names(told) == ["Timed", "Captured", "StepBegan"]
    assert (told[0].start_uncertainty_s, told[0].stop_uncertainty_s) == (0.1, 0.03)
    assert (told[1].source, told[1].capture.reading.digits, told[1].capture.count) == ("", "60.3", 0)


def test_a_pedal_does_what_fits():
    bench = Bench(look("l"), step("t", "time", kind=StepKind.TIMED), step("a"), assume=NOTHING, cautions=("unplug",))
    told = [names(bench.act("press")) for _ in range(4)]
    assert told[0][0] == "Acknowledged"
    assert told[1][0] == "Passed"
    assert told[2] == ["Started"]
    assert told[3][:2] == ["Timed", "Captured"]


def test_a_note_is_kept():
    bench = Bench(step("a"))
    assert bench.act("note screw was loose")[0].text == "screw was loose"


def test_an_act_is_one_of_the_known_words():
    assert parse_act("go to hv-diode") == Act(word="go to", step="hv-diode")
    with pytest.raises(WrongValue) as wrong:
        parse_act("nextt")
    assert str(wrong.value) == (
        "expected an act, one of next, back, again, skip, note, confirm, wanting, go to, start, stop, acknowledge, "
        "override, press; saw 'nextt'"
    )


def test_in_a_replay_who_skips_has_read_the_cautions():
    bench = Bench(step("a"), step("b"), cautions=("unplug",))
    assert names(bench.act("skip no access")) == ["Acknowledged", "StepBegan", "Passed", "StepBegan"]
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("b", "47.0")]


def test_in_a_replay_who_goes_to_a_step_has_read_the_cautions():
    bench = Bench(step("a"), step("b"), cautions=("unplug",))
    bench.act("go to b")
    assert bench.walk.step.key == "b"


def test_at_the_bench_nothing_is_skipped_before_the_cautions():
    bench = Bench(step("a"), assume=NOTHING, cautions=("unplug",))
    assert [h.why for h in bench.act("skip no access")] == ["No step is at hand."]
