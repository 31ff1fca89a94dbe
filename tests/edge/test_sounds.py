"""What is said, and that saying it never holds anything up."""

import io
import json
import os
import string
import wave

import pytest
from walking import KOHM, OHM, OVER, procedure, step

from meterlog.base.readings import Bound, Form, Reading
from meterlog.judging import Outcome, Verdict
from meterlog.sounds import Sounds, catalogue, languages
from meterlog.sounds.programs import PLAYERS, VOICES, command, first_of
from meterlog.sounds.sentences import FOLDER
from meterlog.sounds.tones import TONES, wav
from meterlog.walk import Phase
from meterlog.walk import happenings as told
from meterlog.walk.phases import awaited_in
from meterlog.walk.session import Judged
from meterlog.walk.settle import Sample, capture_of

STEPS = procedure(step("a", points=("plug earth pin", "cabinet metal")), step("b"))
INSULATION = Form(quantity="insulation_resistance", unit="Gohm", scale=1e9, decimals=1, bound=Bound.ABOVE)
SPOKEN = [  # reading, as a person says it
    (Reading(Form(quantity="resistance", unit="ohm", scale=1.0, decimals=2), 42), "zero point four two ohms"),
    (Reading(Form(quantity="resistance", unit="ohm", scale=1.0, decimals=1, width=3), 471), "47 point one ohms"),
    (Reading(Form(quantity="voltage", unit="V", scale=1.0), -15), "minus 15 volts"),
    (Reading(Form(quantity="time", unit="s", scale=1.0), 1), "one second"),
    (Reading(Form(quantity="resistance", unit="ohm", scale=1.0, decimals=-2), 15), "1500 ohms"),
    (Reading(Form(quantity="temperature", unit="degC", scale=1.0, decimals=1), 205), "20 point five degrees"),
    (Reading(OVER, None), "over range"),
    (Reading(INSULATION, 22), "more than two point two gigohms"),
]
SAID = [
    (told.StepBegan(step="a", at=0.0), "a. plug earth pin and cabinet metal."),
    (told.StepBegan(step="b", at=0.0), "b."),
    (told.WrongFunction(step="a", at=0.0, source="meter", shows="voltage", wants="resistance"),
     "meter stands on volts. This step wants ohms."),
    (told.WrongFunction(step="a", at=0.0, source="meter", shows="voltage", wants="voltage", shows_mode="ac",
                        wants_mode="dc"),
     "meter stands on AC volts. This step wants DC volts."),
    (told.NotTaken(step="a", at=0.0, source="meter", lasted_s=2.0), "Not taken: lift and touch again."),
    (told.NotTaken(step="a", at=0.0, source="meter", lasted_s=2.0, why="the test ended after 49 s"),
     "Not taken: the test ended after 49 s."),
    (told.Proof(step="a", at=0.0, source="meter", wants="short"), "It read open. Now the tips together."),
    (told.Waiting(step="b", at=0.0, needs=("a", "")), "This waits for a, the proof that the appliance is dead."),
    (told.Overrode(step="b", at=0.0, needs=("a",), reason="seen before"), "Passed without a: seen before."),
    (told.Passed(step="b", at=0.0, how="skipped", reason="no access"), "Left: no access."),
    (told.Refused(step="b", at=0.0, word="stop", why="No timed step runs."), "No timed step runs."),
    (told.Frozen(step="b", at=0.0, source="meter"), "The display holds. Release hold, then lift the leads."),
    (told.Lifted(step="b", at=0.0, source="meter"), ""),
    (Judged(step="b", at=0.0, verdict=Verdict(outcome=Outcome.PASS, why="")), "Pass."),
    (told.JobDone(step="", at=0.0), "The end of the walk. See what is open."),
]  # fmt: skip


@pytest.mark.parametrize(("reading", "words"), SPOKEN)
def test_numbers_are_spoken_as_people_say_them(reading, words):
    assert catalogue().reading(reading) == words


@pytest.mark.parametrize(("event", "words"), SAID)
def test_events_have_their_sentence(event, words):
    assert catalogue().say(event, STEPS) == words


@pytest.mark.parametrize("phase", Phase)
def test_a_phase_asks_for_a_press_only_where_a_pedal_does_something(phase):
    assert bool(phase.press) >= ("ress" in catalogue().asked(phase))


@pytest.mark.parametrize(
    ("phase", "stage", "words"),
    [("stir", "first", "The first vessel: the whole probe under, and stir. Press when it is under."),
     ("stir", "second", "Half a minute there. Then the second vessel: press when it is under."),
     ("after", "", "Mains off. The whole probe under, and press. Stir, then hold it still."),
     ("after", "under", "Stir, then hold it still."),
     ("watch", "short", "")],
)  # fmt: skip
def test_a_heating_run_says_where_the_probe_goes_next(phase, stage, words):
    assert catalogue().asked(awaited_in(phase, stage)) == words


def shape(value):
    """The keys of a catalogue, with the places in braces of each sentence."""
    if isinstance(value, dict):
        return {key: shape(each) for key, each in value.items()}
    if isinstance(value, str):
        return sorted(name for _, name, _, _ in string.Formatter().parse(value) if name)
    return len(value)


@pytest.mark.parametrize("language", languages())
def test_every_language_says_the_same_things(language):
    other = json.loads((FOLDER / f"{language}.json").read_text(encoding="utf-8"))
    assert shape(other) == shape(json.loads((FOLDER / "en.json").read_text(encoding="utf-8")))


@pytest.mark.parametrize("name", TONES)
def test_a_tone_is_a_sound_file_of_its_length(name):
    with wave.open(io.BytesIO(wav(name))) as file:
        seconds = file.getnframes() / file.getframerate()
    assert seconds == pytest.approx(sum(length for _, length in TONES[name]), abs=0.001)


def test_tones_are_told_apart():
    assert len({wav(name) for name in TONES}) == len(TONES)


@pytest.fixture
def program(tmp_path):
    """A program that writes down what it was told to say or play, and the file it writes to."""
    path, heard = tmp_path / "program", tmp_path / "heard"
    path.write_text(f'#!/bin/sh\nfor last; do :; done\necho "${{last##*/}}" >> {heard}\n')
    path.chmod(0o755)
    return str(path), heard


def captured():
    capture = capture_of([Sample(0, 0.0, Reading(OHM, 470)), Sample(1, 1.0, Reading(OHM, 470))], "settled")
    return told.Captured(step="a", at=1.0, source="meter", capture=capture)


def test_a_tone_then_the_words(program):
    path, heard = program
    sounds = Sounds(voice=(path, "{text}"), player=(path, "{file}"))
    sounds.event(captured(), STEPS)
    sounds.lost("meter")
    sounds.close(None)
    assert heard.read_text().splitlines() == [
        "captured.wav",
        "47 point zero ohms.",
        "lost-link.wav",
        "meter is silent.",
    ]


def test_who_speaks_is_never_kept_waiting(tmp_path):
    """The program hangs until its pipe is opened; meanwhile a hundred events are taken, and the last few said."""
    pipe, heard, path = tmp_path / "pipe", tmp_path / "heard", tmp_path / "program"
    os.mkfifo(pipe)
    path.write_text(f'#!/bin/sh\n[ -e {heard} ] || read _ < {pipe}\necho "$1" >> {heard}\n')
    path.chmod(0o755)
    sounds = Sounds(voice=(str(path), "{text}"))
    for number in range(100):
        sounds.event(told.Refused(step="", at=0.0, word="next", why=str(number)), STEPS)
    pipe.write_text("go on\n")
    sounds.close(None)
    said = heard.read_text().splitlines()
    assert said[-6:] == ["94", "95", "96", "97", "98", "99"]
    assert len(said) <= 7


def test_a_program_that_is_missing_is_no_error(tmp_path):
    sounds = Sounds(voice=(str(tmp_path / "none"), "{text}"))
    sounds.event(captured(), STEPS)
    sounds.close(None)
    silent = Sounds()
    silent.event(captured(), STEPS)
    silent.close()
    assert not silent.can_be_heard


def test_the_machine_s_own_programs_are_found():
    assert first_of(VOICES, {"espeak": "/usr/bin/espeak"}.get) == (
        "/usr/bin/espeak",
        "-v",
        "{language}",
        "--",
        "{text}",
    )
    assert first_of(PLAYERS, {}.get) == ()
    assert command(("/bin/say", "--", "{text}"), text="{odd} -x", language="en") == ["/bin/say", "--", "{odd} -x"]


def test_a_bound_on_a_range_is_said_with_its_edge():
    over = Form(quantity="resistance", unit="kohm", scale=1e3, decimals=3, bound=Bound.BELOW)
    assert catalogue().reading(Reading(over, 10)) == "less than zero point zero one zero kilohms"
    assert catalogue().reading(Reading(KOHM, 4700)) == "four point seven zero zero kilohms"
