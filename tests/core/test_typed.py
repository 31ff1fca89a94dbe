"""A reading that a person types: how it is written, what it may answer, and that it is judged like any other."""

import pytest
from walking import Bench, step

from meterlog.base.errors import WrongValue
from meterlog.judging import Limit
from meterlog.procedure.case import Case, conclude
from meterlog.procedure.kinds import KINDS
from meterlog.procedure.typed import read_typed, reading_typed, typed_answer, typed_capture, typed_text
from meterlog.walk import NOTHING
from meterlog.walk.happenings import Captured, ReadingTyped, Refused

EARTH = step("earth", limits=(Limit(low=None, high=0.3, unit="ohm", text="at most 0.3 ohm", source="invented"),))
MEG = Limit(low=1e6, high=None, unit="Mohm", text="at least 1 Mohm", source="invented")
INSULATION = step("insulation", "insulation_resistance", test_voltage=500.0, limits=(MEG,))


def concluded(of, text, leads=None):
    from walking import procedure

    capture = typed_capture(of, read_typed(text), 3.0)
    answers = {of.key: typed_answer(capture)}
    return conclude(Case(procedure=procedure(of), answers=answers), of)


@pytest.mark.parametrize(
    ("text", "words", "instrument", "accuracy"),
    [
        ("0.09 ohm on earth tester", "0.09 ohm", "earth tester", ""),
        ("0,09 Ohm ± 2 % + 3 digits on the 25 A earth tester", "0.09 Ohm", "25 A earth tester", "2 % + 3 digits"),
        ("> 200 MOhm +/- 5 % on a borrowed tester", "> 200 MOhm", "borrowed tester", "5 %"),
        ("0.35 ohm nulled on tester on loan", "0.35 ohm nulled", "tester on loan", ""),
    ],
)
def test_a_reading_is_typed_as_a_person_writes_it(text, words, instrument, accuracy):
    typed = read_typed(text)
    assert (typed.words, typed.instrument, typed.accuracy) == (words, instrument, accuracy)
    again = read_typed(typed_text(words, instrument, accuracy))
    assert again == typed


@pytest.mark.parametrize(
    ("words", "quantity", "digits", "resolution"),
    [("0,090 ohm", "resistance", "0.090", 0.001), ("2.20 GOhm", "insulation_resistance", "2.20", 1e7),
     ("21.4 °C", "temperature", "21.4", 0.1), ("0.35 ohm nulled", "resistance", "0.35", 0.01)],
)  # fmt: skip
def test_its_digits_are_kept_and_tell_the_resolution(words, quantity, digits, resolution):
    reading = reading_typed(read_typed(f"{words} on x"), quantity, "")
    assert (reading.digits, reading.form.resolution) == (digits, pytest.approx(resolution))


@pytest.mark.parametrize(
    ("text", "of", "why"),
    [
        ("0.09 ohm", EARTH, "write the value, its unit and the instrument, such as"),
        ("0.09 on tester", EARTH, 'write a number and its unit, such as "0.42 ohm"'),
        ("0.09 V on tester", EARTH, "expected a unit like ohm, saw 'V'"),
        ("overload on tester", EARTH, 'type what it showed, not "overload"'),
        ("0.09 ohm ± about 2 on tester", EARTH, "is no accuracy"),
        ("0.95 F on bridge", step("c", "capacitance"), "950 mF is beyond any appliance: did you mean 0.95 uF?"),
        ("0.1 V on tester", step("dead", "voltage", kind=KINDS["dead"]), "A dead circuit is proved with a meter that"),
        ("> 40 Mohm on tester", step("open", kind=KINDS["open"]), "An open circuit is proved with a meter that is"),
        ("0.1 ohm on tester", step("leads", kind=KINDS["leads"]), "The leads are those of the meter that is heard"),
        ("800 W on it", step("run", "power", kind=KINDS["heating run"]), "A heating run is read from its whole trace"),
    ],
)
def test_what_cannot_be_typed_is_refused_in_words(text, of, why):
    with pytest.raises(WrongValue) as told:
        typed_capture(of, read_typed(text), 0.0)
    assert why in str(told.value)


def test_it_is_judged_by_the_accuracy_that_was_typed():
    # by hand: 2 % of 0.09 ohm and 3 counts of 0.01 ohm are 31.8 mohm; U = 0.95 · 1.65 …: below 0.3 ohm either way
    verdict = concluded(EARTH, "0.09 ohm ± 2 % + 3 counts on earth tester 25 A")
    assert verdict.outcome == "pass"
    assert "Typed by hand" in verdict.why
    assert any("typed from earth tester 25 A" in line for line in verdict.trail)
    assert verdict.standard_uncertainty == pytest.approx((0.02 * 0.09 + 3 * 0.01) / 3**0.5)  # GUM F.2.2.1, a/√3


def test_without_an_accuracy_that_is_said():
    assert "The accuracy of the instrument is not known" in concluded(EARTH, "0.09 ohm on tester").why


def test_its_leads_are_its_own_instruments():
    assert concluded(EARTH, "0.5 ohm ± 1 % on tester").outcome == "undecided", "up to 0.5 ohm may be its leads'"
    assert concluded(EARTH, "0.5 ohm nulled ± 1 % on tester").outcome == "fail"


def test_a_bound_is_judged_as_a_bound():
    assert concluded(INSULATION, "> 200 Mohm ± 5 % on insulation tester").outcome == "pass"
    assert concluded(INSULATION, "0,4 MOhm ± 5 % on insulation tester").outcome == "fail"


def test_on_the_walk_it_answers_the_check_at_hand():
    bench = Bench(EARTH, step("next", "voltage"), assume=NOTHING)
    typed, captured, *_ = bench.act("type 0.09 ohm ± 2 % on earth tester")[1:]
    assert isinstance(typed, ReadingTyped)
    assert (typed.words, typed.instrument, typed.accuracy) == ("0.09 ohm", "earth tester", "2 %")
    assert isinstance(captured, Captured)
    assert (captured.capture.how, captured.capture.count, captured.source) == ("typed", 0, "")
    assert bench.walk.step.key == "next"
    assert bench.walk.snapshot().steps[0].typed


def test_on_the_walk_a_proof_takes_none():
    dead = step("dead", "voltage", kind=KINDS["dead"], source_voltage=9.0, limits=(MEG,))
    bench = Bench(dead, assume=NOTHING)
    (refused,) = bench.act("type 0.0 V on voltage tester")
    assert isinstance(refused, Refused)
    assert refused.why.startswith("A dead circuit is proved")
    assert "type" not in {offer.word for offer in bench.walk.snapshot().more}


def test_it_is_offered_where_it_may_answer():
    bench = Bench(EARTH, assume=NOTHING)
    assert bench.walk.snapshot().more[0].word == "type"
