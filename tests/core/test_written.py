"""Values as a person writes them: read, or refused in words, whatever is typed."""

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.base.errors import WrongValue
from meterlog.judging import judge, parse_accuracy
from meterlog.judging.limit import Limit, Rule
from meterlog.judging.postprocess import METHODS, AtHand, post_process
from meterlog.judging.written import measured_series, measured_value

PIECES = ["0.42", "1e3", "-7", "1e99", "9" * 20, "0", ">", "<", "±", "%", "+", "counts", "ohm", "Mohm", "V", "degC",
          "overload", "10 s:", ",", " ", "..", "=", "nan", "inf", "µ", "Ω"]  # fmt: skip
TYPED = st.lists(st.sampled_from(PIECES), max_size=8).map(" ".join)
ANY = Limit(low=0.0, high=1.0, unit="ohm", text="", source="a test")


@settings(max_examples=300, deadline=None)
@given(TYPED, st.sampled_from(Rule), TYPED)
def test_any_value_is_judged_or_refused(text, rule, top):
    try:
        result = measured_value(text, "resistance", range_top=top)
    except WrongValue:
        return
    verdict = judge(result, ANY, rule)
    assert type(verdict).from_json(verdict.to_json()) == verdict


@settings(max_examples=300, deadline=None)
@given(TYPED)
def test_any_accuracy_and_any_run_is_read_or_refused(text):
    for read in (parse_accuracy, lambda typed: measured_series(typed, "resistance")):
        with suppress(WrongValue):
            read(text)


VALUE = st.one_of(
    st.tuples(st.sampled_from(["", ">", "<"]), st.floats(-1e6, 1e6, width=32), st.sampled_from(["", "± 1 %"])).map(
        lambda parts: (parts[0], f"{parts[1]:.4g}", parts[2])
    ),
    st.sampled_from([("", "0", ""), ("", "1e-9", ""), (">", "1e9", "")]),
)
UNITS = {
    "resistance": "ohm",
    "insulation_resistance": "Mohm",
    "voltage": "V",
    "junction_voltage": "V",
    "current": "A",
    "leakage_current": "mA",
    "capacitance": "uF",
    "temperature": "degC",
    "temperature_difference": "K",
    "ratio": "",
    "time": "s",
    "power": "W",
    "frequency": "Hz",
    "length": "m",
    "cross_section": "mm**2",
}


def typed(data, wanted):
    if wanted.kind == "word":
        return data.draw(st.sampled_from(wanted.words or ("474K", "4K7J", "junk")))
    count = 3 if wanted.kind in ("several", "series") else 1
    shown = []
    for n in range(count):
        sign, number, accuracy = data.draw(VALUE)
        bound = "" if wanted.kind == "given" else sign
        time = f"{10 * n} s: " if wanted.kind == "series" else ""
        shown.append(f"{time}{bound} {number} {UNITS[wanted.quantity]}")
    return ", ".join(shown) + (f" {accuracy}" if wanted.kind != "given" else "")


@settings(max_examples=40, deadline=None)
@given(st.data())
@pytest.mark.parametrize("method", METHODS.values(), ids=lambda method: method.name)
def test_any_inputs_of_a_method_give_a_result_or_a_reason(method, data):
    inputs = {name: typed(data, wanted) for name, wanted in method.inputs.items()}
    try:
        result = post_process(method.name, inputs, AtHand())
    except WrongValue:
        return
    assert (result.number is None) == bool(result.reason)
    verdict = judge(result, result.limit)
    assert type(verdict).from_json(verdict.to_json()) == verdict
