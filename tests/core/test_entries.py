"""What is entered for a job: read when it is typed, with its unit, or words, or refused with that entry's examples."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.files import shipped
from meterlog.procedure import kinds
from meterlog.procedure.entries import entry_values, examples_of, read_entries, read_entry
from meterlog.procedure.language import read_procedure
from meterlog.procedure.steps import Procedure, Step

STEPS = (
    Step(key="run", title="Run", kind=kinds.HEATING_RUN, quantity="temperature", energised=True,
         inputs={"mass": "water mass", "vessel": "vessel", "ambient": "room"}),
    Step(key="capacitor", title="Capacitor", kind=kinds.MEASURE, quantity="capacitance",
         method="capacitance against marking", inputs={"marking": "capacitor marking"}),
)  # fmt: skip
ASKS = Procedure(
    key="oven",
    title="Oven",
    appliance="oven",
    source="a test",
    cautions=(),
    steps=STEPS,
    plate={"rated output": "power", "rated voltage": "voltage", "capacitance": "capacitance", "cord": "cross_section"},
    asked={"water mass": "mass", "vessel": "words", "turns ratio": "ratio", "room": "temperature",
           "capacitor marking": "words", "what the owner said": "words"},
)  # fmt: skip
READ = [  # entry, as typed, as kept, ends by hand
    ("rated output", "900 W", "900 W", (900.0, 900.0)),
    ("rated output", "0,9 kW", "0.9 kW", (900.0, 900.0)),
    ("rated output", "2000", "2000 W", (2000.0, 2000.0)),
    ("rated output", "2000-2400 W", "2000 W .. 2400 W", (2000.0, 2400.0)),
    ("rated output", "2000–2400", "2000 W .. 2400 W", (2000.0, 2400.0)),
    ("rated voltage", "220-240 V", "220 V .. 240 V", (220.0, 240.0)),
    ("rated voltage", "220 .. 240", "220 V .. 240 V", (220.0, 240.0)),
    ("cord", "0,75", "0.75 mm2", (0.75e-6, 0.75e-6)),
    ("cord", "0.75 mm²", "0.75 mm²", (0.75e-6, 0.75e-6)),
    ("water mass", "1000 g ± 2 g", "1000 g ± 2 g", (1.0, 1.0)),
    ("water mass", "1 L", "1 L", (0.9982, 0.9982)),
    ("water mass", "1 litre", "1 litre", (0.9982, 0.9982)),
    ("turns ratio", "12", "12", (12.0, 12.0)),
    ("turns ratio", "1.01 ± 0.005", "1.01 ± 0.005", (1.01, 1.01)),
    ("turns ratio", "5 %", "5 %", (0.05, 0.05)),
    ("room", "21 °C ± 0,5 K", "21 °C ± 0.5 K", (294.15, 294.15)),
    ("vessel", "steel, 300 g", "steel, 300 g", None),
    ("capacitor marking", "474K 275V~ X2", "474K 275V~ X2", None),
    ("what the owner said", "it  hums, 1,000 times a day", "it hums, 1,000 times a day", None),
]


@pytest.mark.parametrize(("name", "typed", "kept", "ends"), READ)
def test_an_entry_is_read_when_it_is_typed(name, typed, kept, ends):
    read = read_entry(ASKS, name, typed)
    assert read.text == kept
    assert (read.low, read.high) == (pytest.approx(ends) if ends else (None, None))
    assert read_entry(ASKS, name, kept) == read, "what is kept is read again in the same way"


def test_an_entry_that_cannot_be_read_counts_as_not_entered():
    told = {"rated output": "much", "water mass": "1 kg", "vessel": "glass", "unknown": "5 W"}
    assert entry_values(ASKS, told) == {"water mass": (1.0, 1.0)}


POWER = '\n  write "900 W", "0.9 kW" or "2000-2400 W"'
MASS = '\n  write "1000 g ± 2 g", "1 kg" or "1 L"'
REFUSED = [
    ("rated outpt", "900 W", "oven asks for no 'rated outpt'\n  did you mean 'rated output'?"),
    ("rated output", "lots", f"rated output: write a number and its unit, such as \"0.42 ohm\", not 'lots'{POWER}"),
    ("rated output", "900 V", f"rated output: expected a unit like watt, saw 'V' in '900 V'{POWER}"),
    ("rated output", "-900 W", "rated output: write more than nothing, not '-900 W'"),
    ("rated output", "0", "rated output: write more than nothing, not '0'"),
    ("rated output", "1,000 W",
     f"rated output: '1,000' can be 1.000 or 1000: write \"1.000\" or \"1000\"{POWER}"),
    ("rated output", "900 kw", f"rated output: unknown unit 'kw': did you mean kW?{POWER}"),
    ("rated output", "900 mW", f"rated output: 900 mW is beyond any appliance: did you mean 900 W?{POWER}"),
    ("rated output", "2400-2000 W",
     f"rated output: the lower end comes first, not '2400-2000 W'{POWER}"),
    ("capacitance", "0.95 F",
     'capacitance: 950 mF is beyond any appliance: did you mean 0.95 uF?\n  write "0.95 uF" or "4.7 nF"'),
    ("water mass", "0 g", f"water mass: the load must weigh more than nothing, not '0 g'{MASS}"),
    ("water mass", "1000", f"water mass: write a number and its unit, such as \"0.42 ohm\", not '1000'{MASS}"),
    ("vessel", "a jug",
     "vessel: write a mass and a material, such as \"340 g glass\", or \"250 J/K\", not 'a jug'\n"
     '  write "340 g glass", "steel, 300 g", "340 g glass + 120 g steel" or "250 J/K"'),
    ("capacitor marking", "unreadable",
     "capacitor marking: no capacitance is found in 'unreadable'\n"
     '  write what is printed on it, such as "474K 275V~ X2" or "0.95 uF ± 3 %"'),
    ("rated output", "9" * 201, "rated output: 201 characters are too many: write at most 200"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "typed", "said"), REFUSED)
def test_the_door_refuses_with_the_entrys_examples(name, typed, said):
    with pytest.raises(WrongValue) as caught:
        read_entries(ASKS, {name: typed})
    assert str(caught.value) == said


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(ASKS.entries)), st.text(max_size=20) | st.from_regex(r"[0-9,.]{1,6} ?[A-Za-z%µ²-]{0,4}"))
def test_whatever_is_typed_is_kept_or_refused(name, typed):
    try:
        kept = read_entries(ASKS, {name: typed})
    except WrongValue:
        return
    assert read_entries(ASKS, kept) == kept


@pytest.mark.parametrize("typed", ["II", "ii", "class II", "Class  II "])
def test_a_word_that_a_method_chooses_by_is_one_of_its_words(typed):
    heater = read_procedure(shipped.text_of(shipped.find("fan-heater", "profiles/procedures")), "fan-heater")
    assert read_entry(heater, "protection class", typed).text == "II"
    with pytest.raises(WrongValue, match="protection class: write I, II or III, not 'IV'"):
        read_entry(heater, "protection class", "IV")


@pytest.mark.parametrize("key", shipped.names("profiles/procedures"))
def test_every_example_of_a_shipped_procedure_is_read(key):
    """The form for a new job shows them; what it shows must be taken."""
    procedure = read_procedure(shipped.text_of(shipped.find(key, "profiles/procedures")), key)
    for name in procedure.entries:
        examples = examples_of(procedure, name)
        quoted = re.findall('"([^"]+)"', examples)
        assert quoted or examples == "in words", name
        for example in quoted:
            assert read_entry(procedure, name, example).text
