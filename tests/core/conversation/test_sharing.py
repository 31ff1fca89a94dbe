"""Instruments on one line: they are asked in turn, and what comes is the answer of the one that was asked last."""

import itertools
import random

import pytest

from meterlog.base.readings import Frame, Rejected
from meterlog.conversation.instruments import Instruments
from meterlog.profile.compile.compiler import compiled_anew


def asked_by(letter, requests=1, every="0.1 s"):
    """A profile whose answers say nothing of who gave them: only the order of the talk tells."""
    sends = ", ".join(f"{letter}{n}<CR>" for n in range(requests))
    return compiled_anew(
        f"profile: p-{letter.lower()}\ntitle: T\nask: {{requests: [{sends}], every: {every}, wait: 0.3 s}}\n"
        "frame: {end: <CR>}\ntext: '{number} V'\nreadings: [{value: number, unit: V}]\n",
        letter,
    )


def talk(bench, seconds, answer, rng):
    """Plays the instruments: `answer` gives, of a request, the bytes and how long they take; None for no answer.

    Returns the outcomes by name, and the requests with their times.
    """
    on_the_way, found, asked, now = [], {}, [], 0.0
    while now < seconds:
        for due in bench.due(now):
            found.setdefault(due.source, []).extend(due.outcomes)
            for request in due.requests:
                asked.append((due.source, now))
                found[due.source] += bench.sent(due.source, request, now)
                given = answer(request)
                if given is not None:
                    on_the_way.append((round(now + given[1], 3), given[0]))
        while on_the_way and min(on_the_way)[0] <= now:
            data = on_the_way.pop(on_the_way.index(min(on_the_way)))[1]
            source = bench.answering("a")
            found.setdefault(source, []).extend(bench.received(source, data, now))
        steps = [at for at, _ in on_the_way] + ([bench.wake_at] if bench.wake_at is not None else [])
        now = round(max(now + 0.001, min([*steps, now + rng.choice((0.01, 0.2))])), 3)
    return found, asked


def digits(outcomes):
    return {r.digits for o in outcomes if isinstance(o, Frame) for r in o.readings}


@pytest.mark.parametrize("seed", range(20))
def test_an_answer_is_never_taken_for_another_instruments(seed):
    """Answers come late, damaged or never; up to twice the wait they are their own instrument's."""
    rng = random.Random(seed)
    bench = Instruments()
    for name in "abc":
        bench.opened(name, asked_by(name.upper(), rng.randrange(1, 4)).conversation(), 0.0, "one line")
    numbers = {"A": b"1 V\r", "B": b"2 V\r", "C": b"3 V\r"}

    def answer(request):
        delay = rng.choice((0.01, 0.05, 0.2, 0.29, 0.35, 0.59))
        data = numbers[chr(request[0])]
        return None if rng.random() < 0.1 else (rng.choice((data, data, data, data[:2], b"x" + data)), delay)

    found, _ = talk(bench, 60.0, answer, rng)
    assert [digits(found[name]) for name in "abc"] == [{"1"}, {"2"}, {"3"}]


def test_nobody_speaks_while_another_may_be_answered():
    bench, rng = Instruments(), random.Random(1)
    for name in "ab":
        bench.opened(name, asked_by(name.upper()).conversation(), 0.0, "one line")
    found, asked = talk(bench, 5.0, lambda request: (b"1 V\r", 0.05) if request[:1] == b"A" else None, rng)
    for (_, before), (source, at) in itertools.pairwise(asked):
        if source == "a":
            assert at - before >= 0.6  # b never answers: for twice its wait the line stays its own
    assert any(isinstance(o, Rejected) for o in found["b"])
    assert digits(found["a"]) == {"1"}


def test_a_long_round_keeps_no_other_waiting_to_its_end():
    bench, rng = Instruments(), random.Random(2)
    bench.opened("a", asked_by("A", 10, every="10 ms").conversation(), 0.0, "one line")
    bench.opened("b", asked_by("B", every="10 ms").conversation(), 0.0, "one line")
    _, asked = talk(bench, 5.0, lambda request: (b"1 V\r", 0.05), rng)
    names = [name for name, _ in asked]
    assert abs(names.count("a") - names.count("b")) <= 2


def test_instruments_on_lines_of_their_own_do_not_wait_for_one_another():
    bench = Instruments()
    for name in "ab":
        bench.opened(name, asked_by(name.upper()).conversation(), 0.0)
    assert [(due.source, due.requests) for due in bench.due(0.0)] == [("a", [b"A0\r"]), ("b", [b"B0\r"])]
    bench.sent("b", b"B0\r", 0.0)
    assert bench.answering("a") == "a"
