"""Acts: any order, reasons in writing, gates, cautions, several captures."""

import pytest
from walking import OHM, Bench, look, names, step

from meterlog.base.errors import WrongValue
from meterlog.procedure import kinds
from meterlog.walk import NOTHING, WORDS, Act, Phase, parse_act
from meterlog.walk.happenings import Overrode, Passed, Refused, Waiting


def test_cautions_come_first_and_wait():
    bench = Bench(step("a", cautions=("hot",)), step("b"), assume=NOTHING, cautions=("unplug",))
    assert bench.told == []
    assert names(bench.act("acknowledge")) == ["Acted", "Acknowledged", "StepBegan"]
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
    bench.act("go to a")
    assert bench.told[-1] == Waiting(step="a", at=0.0, needs=("l",))
    assert bench.act("override") == [
        Refused(
            step="a", at=0.0, word="override", why="Write the reason for going on without what this step waits for."
        )
    ]
    assert bench.act("override looked at it yesterday")[1:] == [
        Overrode(step="a", at=0.0, needs=("l",), reason="looked at it yesterday")
    ]
    bench.open()
    bench.show(OHM, 470, 4.0)
    assert bench.captured() == [("a", "47.0")]


def test_measuring_again_adds_and_the_last_counts():
    bench = Bench(step("a"), step("b"))
    for counts in (470, 480):
        bench.open()
        bench.show(OHM, counts, 4.0)
        bench.act("go to a")
    ledger, first = bench.walk.ledger, bench.walk.procedure.step("a")
    assert [taken.capture.counts for taken in ledger.captures("a")] == [470, 480]
    assert ledger.counting(first).capture.counts == 480


def test_the_first_counts_where_a_step_says_so():
    bench = Bench(step("a", counts="first"), step("b"))
    for counts in (470, 480):
        bench.open()
        bench.show(OHM, counts, 4.0)
        bench.act("go to a")
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
    assert bench.act("skip no access")[1] == Passed(step="a", at=0.0, how="skipped", reason="no access")
    bench.act("back")
    assert bench.walk.step.key == "a"
    assert names(bench.act("back")) == ["Refused"]


def test_a_timed_step_from_acts_to_the_tenth_of_a_second():
    bench = Bench(step("t", "time", kind=kinds.TIMED), step("a"), assume=NOTHING)
    bench.walk.act(Act(word="start"), 1.0)
    told = bench.walk.act(Act(word="stop", uncertainty_s=0.03), 61.26)
    assert names(told) == ["Acted", "Timed", "Captured", "StepBegan"]
    assert (told[1].start_uncertainty_s, told[1].stop_uncertainty_s) == (0.1, 0.03)
    assert (told[2].source, told[2].capture.reading.digits, told[2].capture.count) == ("", "60.3", 0)


def test_a_pedal_does_what_fits():
    bench = Bench(look("l"), step("t", "time", kind=kinds.TIMED), step("a"), assume=NOTHING, cautions=("unplug",))
    told = []
    for _ in range(4):
        bench.at += 1.0
        told.append(names(bench.act("press")))
    assert told[0][1] == "Acknowledged"
    assert told[1][1] == "Passed"
    assert told[2] == ["Acted", "Started"]
    assert told[3][:3] == ["Acted", "Timed", "Captured"]


def test_a_note_is_kept():
    bench = Bench(step("a"))
    assert bench.act("note screw was loose")[1].text == "screw was loose"


def test_an_act_is_one_of_the_known_words():
    assert parse_act("go to hv-diode") == Act(word="go to", to="hv-diode")
    with pytest.raises(WrongValue) as wrong:
        parse_act("nextt")
    assert str(wrong.value) == (
        "expected an act, one of next, back, again, skip, note, confirm, wanting, go to, start, stop, acknowledge, "
        "override, immersed, press, type; saw 'nextt'"
    )


def test_in_a_replay_who_skips_has_read_the_cautions():
    bench = Bench(step("a"), step("b"), cautions=("unplug",))
    assert names(bench.act("skip no access")) == [
        "Acted", "Acknowledged", "StepBegan", "Passed", "StepBegan",
    ]  # fmt: skip
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


# What an act was meant for -------------------------------------------------------------------------


def test_an_act_meant_for_another_step_does_nothing_and_says_where_the_walk_stands():
    """A page that stood open while another phone went on."""
    bench = Bench(step("lead check"), step("dead proof"), assume=NOTHING)
    bench.act("go to dead proof")
    late = Act(word="skip", step="lead check", phase="watch", text="leads are new", id="skip-leads")
    assert [h.why for h in bench.walk.act(late, 1.0)] == [
        "That was meant for “lead check”; the walk stands at “dead proof”: Hold the probes on the points: it is "
        "taken by itself once it is still. Nothing was done."
    ]
    assert bench.walk.step.key == "dead proof"
    assert bench.walk.ledger.state(bench.walk.procedure.step("dead proof")) == ""


def test_an_act_meant_for_another_phase_does_nothing():
    """A double tap on "I have read them" confirms no look; one on "Start" stops no run."""
    bench = Bench(look("l", cautions=("hot",)), step("t", "time", kind=kinds.TIMED), assume=NOTHING)
    for number, (word, phase) in enumerate((("acknowledge", "cautions"), ("confirm", "cautions"))):
        told = bench.walk.act(Act(word=word, step="l", phase=phase, id=f"tap number {number}"), 1.0)
    assert [h.why for h in told] == [
        "That was meant for “l”; there the walk has gone on: Look, then say what you found. Nothing was done."
    ]
    bench.act("confirm")
    bench.walk.act(Act(word="start", step="t", phase="start", id="start it"), 2.0)
    assert names(bench.walk.act(Act(word="stop", step="t", phase="start", id="stop it"), 2.1)) == ["Refused"]
    assert bench.walk.phase == "run"


def test_an_act_that_comes_twice_is_done_once_and_answered_as_it_was():
    bench = Bench(look("l"), look("m"), look("n"), assume=NOTHING)
    tap = Act(word="confirm", step="l", phase="look", id="tap of a slow link")
    assert names(bench.walk.act(tap, 1.0)) == ["Acted", "Passed", "StepBegan"]
    assert bench.walk.act(tap, 1.2) == []
    assert bench.walk.step.key == "m"
    late = Act(word="confirm", step="l", phase="look", id="tap of another page")
    first, second = (bench.walk.act(late, at) for at in (1.3, 1.4))
    assert [h.why for h in second] == [h.why for h in first] != []


def test_an_identity_is_one_acts():
    bench = Bench(look("l"), look("m"), assume=NOTHING)
    bench.walk.act(Act(word="confirm", step="l", phase="look", id="the same one"), 1.0)
    told = bench.walk.act(Act(word="confirm", step="m", phase="look", id="the same one"), 1.2)
    assert [h.why for h in told] == ["Another act had this identity: nothing was done."]


def test_a_note_is_kept_for_the_step_that_it_names():
    bench = Bench(look("l"), look("m"), assume=NOTHING)
    bench.act("confirm")
    told = bench.walk.act(Act(word="note", step="l", phase="look", text="scorched", id="note on l"), 1.0)
    assert [(h.step, type(h).__name__) for h in told] == [("l", "Acted"), ("l", "Noted")]


def test_an_act_is_told_under_the_step_that_it_was_meant_for():
    bench = Bench(look("l"), look("m"), assume=NOTHING)
    told = bench.walk.act(Act(word="confirm", step="l", phase="look", id="well so far"), 1.0)
    assert (told[0].step, told[0].word, told[0].act) == ("l", "confirm", "well so far")


def test_again_measures_the_step_at_hand():
    bench = Bench(step("a"), step("b"))
    bench.open()
    bench.show(OHM, 470, 4.0)
    bench.open()
    assert bench.walk.step.key == "b"
    bench.act("again")
    assert bench.walk.step.key == "b"


def test_found_not_well_needs_its_words():
    bench = Bench(look("l"), look("m"), assume=NOTHING)
    assert [h.why for h in bench.act("wanting")] == ["Write what is not well: it stands in the record."]
    assert bench.walk.step.key == "l"


@pytest.mark.parametrize("phase", Phase)
def test_every_phase_has_words_and_a_way_on(phase):
    assert phase.words.endswith(".")
    assert phase.acts or phase is Phase.DONE
    assert {offer.word for offer in phase.acts} <= set(WORDS)
    assert phase.press in {"", *(offer.word for offer in phase.acts)}


def test_a_heating_run_that_was_switched_off_says_what_comes():
    bench = Bench(step("h", "power", kind=kinds.HEATING_RUN, method="enthalpy"), assume=NOTHING)
    bench.act("start")
    bench.act("stop")
    shown = bench.walk.snapshot()
    assert (shown.phase, shown.words, [each.label for each in shown.acts]) == (
        "after",
        "Mains off. Put the whole probe under the surface and say so; stir for 10 s, then hold it still. The run is "
        "taken 90 s after Stop.",
        ["The whole probe is under", "Take it now"],
    )


def test_a_pedal_takes_no_press_just_after_its_meaning_changed():
    """Two presses in a row: the second would say "looked, it is well" of what nobody saw."""
    bench = Bench(look("l", cautions=("hot",)), step("a"), assume=NOTHING)
    bench.at = 5.0
    assert names(bench.act("press")) == ["Acted", "Acknowledged"]
    bench.at = 5.3
    assert [h.why for h in bench.act("press")] == [
        "What a pedal means had only just changed. Look, then say what you found. Press again."
    ]
    bench.at = 5.8
    assert names(bench.act("press")) == ["Acted", "Passed", "StepBegan"]


def test_what_is_in_the_way_is_asked_for_first_and_no_points_where_there_are_none():
    bench = Bench(step("a", points=("p", "q")), step("air", "temperature"), assume=NOTHING)
    asked = lambda: (bench.walk.snapshot().words, bench.walk.snapshot().acts[0].label)  # noqa: E731
    bench.show(OHM, 470, 0.5)
    assert asked()[0] == "Lift the probes off first: they have lain on something since before this check."
    bench.open()
    assert asked() == (Phase.WATCH.words, "On the points: take it")
    bench.act("go to air")
    assert asked() == ("Wait until the display is still: it is taken by itself, or take it now.", "Take it now")


def test_what_no_instrument_of_the_bench_shows_is_said():
    bench = Bench(step("p", "power"), assume=NOTHING, gives={"meter": frozenset({"resistance"})})
    said = "No instrument here shows power: type it, or skip it."
    assert bench.walk.snapshot().words == said
