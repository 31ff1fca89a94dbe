"""Control lines as pedals: one press each, from its first edge."""

from meterlog.links.benchfile import SWITCH
from meterlog.walk import WORDS
from meterlog.walk.pedals import Pedals


def presses(edges, until=10.0):
    pedals, out = Pedals(), []
    for at, line, on in edges:
        out += pedals.pressed(at)
        pedals.edge("meter", line, on, at)
    return out + pedals.pressed(until)


def test_a_press_counts_from_its_first_edge():
    assert presses([(1.0, "cts", True), (1.2, "cts", False)]) == [("press", 1.0)]


def test_bounce_is_one_press():
    bounce = [
        (1.0, "cts", True),
        (1.004, "cts", False),
        (1.009, "cts", True),
        (1.5, "cts", False),
        (1.503, "cts", True),
    ]
    assert presses([*bounce, (1.506, "cts", False)]) == [("press", 1.0)]


def test_a_spike_is_no_press():
    assert presses([(1.0, "cts", True), (1.01, "cts", False)]) == []


def test_each_line_has_its_act():
    assert presses([(1.0, "dsr", True), (2.0, "dcd", True), (3.0, "ri", True)]) == [
        ("again", 1.0), ("back", 2.0), ("next", 3.0),
    ]  # fmt: skip


def test_a_line_may_mean_something_on_one_instrument_only():
    pedals = Pedals({"meter cts": "confirm"})
    pedals.edge("meter", "cts", True, 1.0)
    pedals.edge("scale", "cts", True, 1.0)
    assert pedals.pressed(2.0) == [("confirm", 1.0)]


def test_what_a_switch_of_the_bench_may_mean_is_an_act():
    means = SWITCH.keys["means"].shape.json_schema()["enum"]
    assert set(means) <= set(WORDS)


def test_it_says_when_to_ask_again():
    pedals = Pedals()
    assert pedals.wake_at is None
    pedals.edge("meter", "cts", True, 1.0)
    assert pedals.wake_at == 1.03
