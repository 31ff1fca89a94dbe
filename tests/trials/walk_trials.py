"""A model of the walk: random histories of one job, held against the rules of its gates.

    PYTHONPATH=.:tests python tests/trials/walk_trials.py [HISTORIES] [SEED]

Several clients act: fresh, stale and doubled acts; verdicts of all outcomes; breaks, mains on and off, live points.
After each move the model says what may stand open, from the steps' own words: what each answer was, and what has
happened since. It shares no code with the ledger.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterable

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from meterlog.base.readings import Form, Reading
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.procedure.steps import Point, Procedure, Step
from meterlog.walk import NOTHING, WORDS, Act, Phase, Walk
from meterlog.walk.happenings import Acted, Captured, LivePoint, Overrode, Passed, Refused, StepBegan
from meterlog.walk.timed_watch import timed_capture

VOLT = Form(quantity="voltage", mode="dc", unit="V", scale=1.0, decimals=3)
OUTCOMES = ("pass", "fail", "undecided", "not judged")
POINTS = (
    Point(name="pin", text="a pin", is_inside=False),
    Point(name="case", text="the case", is_inside=False),
    Point(name="tab", text="a tab", is_inside=True),
    Point(name="core", text="the core", is_inside=True),
)
OUTSIDE, INSIDE = ("pin", "case"), ("tab", "core")


def _limit(high: float, unit: str) -> tuple[Limit, ...]:
    return (Limit(low=None, high=high, unit=unit, text=f"at most {high:g} {unit}", source="invented"),)


def _step(key: str, kind: kinds.Kind = kinds.MEASURE, quantity: str = "resistance", **more: object) -> Step:
    return Step(key=key, title=key, kind=kind, quantity=quantity, **more)  # type: ignore[arg-type]


STEPS = (
    _step("unplugged", kinds.LOOK, "", cautions=("unplug",)),
    _step("leads", kinds.LEADS, limits=_limit(0.5, "ohm")),
    _step("pins dead", kinds.DEAD, "voltage", points=OUTSIDE, needs=("unplugged",), limits=_limit(34, "volt"),
          source_voltage=9.0, cautions=("prove the tester",)),
    _step("discharged", kinds.LOOK, "", needs=("unplugged", "pins dead")),
    _step("capacitor dead", kinds.DEAD, "voltage", points=INSIDE, needs=("discharged",), limits=_limit(50, "volt"),
          source_voltage=9.0),
    _step("sensor", points=INSIDE, needs=("pins dead", "capacitor dead"), needs_dead=True),
    _step("switch", points=INSIDE, needs=("pins dead", "capacitor dead"), needs_dead=True, limits=_limit(1, "ohm")),
    _step("fan", points=OUTSIDE),
    _step("refitted", kinds.LOOK, ""),
    _step("earth", points=OUTSIDE, needs=("refitted",), limits=_limit(0.3, "ohm"), cautions=("flex the cord",)),
    _step("insulation", quantity="insulation_resistance", points=OUTSIDE, needs=("refitted", "earth"),
          limits=_limit(1, "ohm")),
    _step("it runs", kinds.LOOK, "", energised=True, cautions=("attend",),
          needs=("switch", "refitted", "earth", "insulation")),
    _step("heating run", kinds.HEATING_RUN, "power", energised=True, cautions=("attend",), method="enthalpy",
          needs=("it runs",)),
    _step("dead again", kinds.DEAD, "voltage", points=OUTSIDE, needs=("it runs",), limits=_limit(34, "volt"),
          source_voltage=9.0),
    _step("warm winding", points=INSIDE, needs=("dead again", "sensor"), needs_dead=True, limits=_limit(90, "ohm")),
)  # fmt: skip
JOB = Procedure(
    key="p", title="P", appliance="any", source="invented", cautions=("unplug",), steps=STEPS, points=POINTS
)
KEYS = [step.key for step in STEPS]
PROOFS = {"pins dead", "capacitor dead", "dead again", "unplugged", "discharged"}
"""What mains, a live point and a break end: written by hand from the steps above."""
CLOSED = {"refitted", "earth", "insulation", "it runs", "heating run"}
"""What work inside ends; of the runs on mains not those that the step waited for."""
WAITED_FOR = {"warm winding": {"it runs"}}
LOOKED_FOR_A_GATE = {"unplugged", "discharged", "refitted"}
OPEN = {Phase.LOOK, Phase.WATCH, Phase.STIR, Phase.START}
"""What a step waits for once its gate is open; a heating run goes from one of these to another."""
RECORDED = {"sensor", "fan"}
"""Steps that nothing judges."""
SAFETY = {"unplugged", "leads", "pins dead", "discharged", "capacitor dead", "dead again", "refitted", "it runs",
          "earth", "insulation", "switch", "sensor"}  # fmt: skip
"""What is never left without a word: looks, leads, proofs, and what others rest on."""


class Model:
    """What each answer still carries, by the rules alone."""

    def __init__(self) -> None:
        self.carries: dict[str, bool] = {}
        self.owes: dict[str, set[str]] = {}

    def may_open(self, key: str) -> bool:
        return not self._lacks(JOB.step(key).needs)

    def overridden(self, key: str) -> None:
        """What a step was opened without is lacking behind it too."""
        self.owes[key] = self._lacks(JOB.step(key).needs)

    def _lacks(self, keys: Iterable[str]) -> set[str]:
        carried = [key for key in keys if self.carries.get(key, False)]
        behind = [self._lacks(self.owes.get(key, ())) for key in carried]
        return set(keys).difference(carried).union(*behind)

    def answered(self, key: str, outcome: str) -> None:
        self.carries[key] = outcome in ("pass", "looked") or (key in RECORDED and outcome == "not judged")

    def end(self, keys: set[str]) -> None:
        for key in keys:
            self.carries[key] = False


class History:
    """One job played by hand: moves in, and what must hold after each."""

    def __init__(self) -> None:
        self.model, self.at, self.taps = Model(), 0.0, 0
        self.sent: list[Act] = []
        self.seen: list[tuple[str, Phase]] = []
        self.counts: Counter[str] = Counter()
        self._begin()

    def _begin(self) -> None:
        self.outcome, self.readings = "pass", 0
        self.walk = Walk(JOB, at=self.at, assume=NOTHING, conclude=lambda _: self.outcome)
        self._took(self.walk.start(self.at), None, "", Phase.CAUTIONS)

    @property
    def here(self) -> tuple[str, Phase]:
        return (self.walk.step.key if self.walk.step else "", self.walk.phase)

    # moves ------------------------------------------------------------------------------------------

    def fresh(self, word: str, to: str, text: str) -> None:
        step, phase = self.here
        self._send(Act(word=word, step=step, phase=phase, to=to, text=text, id=self._identity()))

    def stale(self, word: str, to: str, text: str, back: int) -> None:
        """A page that shows what stood a while ago."""
        step, phase = self.seen[-1 - back % len(self.seen)]
        self._send(Act(word=word, step=step, phase=phase, to=to, text=text, id=self._identity()))

    def doubled(self, back: int) -> None:
        """The same act once more: a tap that was sent again."""
        if not self.sent:
            return
        act, before = self.sent[-1 - back % len(self.sent)], self._state()
        self.at += 0.05
        told = self.walk.act(act, self.at)
        assert not [each for each in told if not isinstance(each, Refused)], told
        assert self._state() == before, "a doubled act did something"
        self.counts["doubled acts"] += 1

    def pedal(self, wait_s: float) -> None:
        self.at += wait_s
        self._send(Act(word="press"), wait_s=0.0)

    def answer(self, outcome: str) -> None:
        """The leads were where they should be: the step at hand is captured and judged."""
        step, phase = self.here
        if phase not in (Phase.WATCH, Phase.RUN, Phase.AFTER):
            return
        self.at, self.outcome = self.at + 5.0, outcome
        told = self.walk._course.captured(("meter", "main"), timed_capture(self.at - 4.0, self.at), self.at)
        assert [each.step for each in told if isinstance(each, Captured)] == [step]
        self._took(told, None, step, phase)

    def live(self) -> None:
        """325 V, long enough, whatever is at hand."""
        step, phase = self.here
        told = []
        for _ in range(8):
            self.at = round(self.at + 0.25, 3)
            told += self.walk.reading("meter", self.readings, Reading(VOLT, 325_000), self.at)
            self.readings += 1
        self._took(told, None, step, phase)
        for volts in (0, 0, 0, 0):
            self.at = round(self.at + 0.5, 3)
            told = self.walk.reading("meter", self.readings, Reading(VOLT, volts), self.at)
            self._took(told, None, *self.here)
            self.readings += 1

    def broken_off(self) -> None:
        """The daemon ends, and goes on with what was kept."""
        ledger = self.walk.ledger
        taken = [(step.key, each) for step in STEPS for each in ledger.captures(step.key)]
        passed = dict(ledger._passed)
        void = [step.key for step in STEPS if ledger.state(step) == "to do again"]
        at_hand = self.walk.step.key if self.walk.step else ""
        self.at += 60.0
        self.outcome, self.readings = "pass", 0
        self.walk = Walk(JOB, at=self.at, begin=at_hand, assume=NOTHING, conclude=lambda _: self.outcome)
        self.walk.ledger.restore(taken, passed, void, dict(ledger._owed))
        self.walk.remember_acts(act.id for act in self.sent)
        self.model.end(PROOFS | LOOKED_FOR_A_GATE)
        self._took(self.walk.start(self.at), None, "", Phase.CAUTIONS)
        self.counts["breaks"] += 1

    # what must hold ---------------------------------------------------------------------------------------

    def _identity(self) -> str:
        self.taps += 1
        return f"tap {self.taps:06}"

    def _state(self) -> tuple[object, ...]:
        ledger = self.walk.ledger
        stands = ((ledger.state(each), len(ledger.captures(each.key)), ledger.stands(each)) for each in STEPS)
        return self.here, tuple(stands)

    def _send(self, act: Act, wait_s: float = 1.0) -> None:
        self.at += wait_s
        step, phase = self.here
        before = self._state()
        told = self.walk.act(act, self.at)
        refused = [each for each in told if isinstance(each, Refused)]
        if act.id:
            self.sent.append(act)
        if act.step is not None and act.word != "note" and (act.step, act.phase) != (step, phase):
            assert refused, f"{act} was taken at {step}, {phase}"
            self.counts["stale acts refused"] += 1
        if refused:
            assert refused[0].why
            assert self._state() == before, f"a refused {act.word} did something"
            self.counts["refused"] += 1
        else:
            acted = [each for each in told if isinstance(each, Acted)]
            assert [each.step for each in acted] == [step if act.step is None else act.step], told
            self.counts["taken"] += 1
        self._took(told, act, step, phase)

    def _took(self, told: list[object], act: Act | None, step: str, phase: Phase) -> None:
        """Follow the model through what happened; hold the walk to it."""
        overrode = {each.step for each in told if isinstance(each, Overrode)}
        for _ in overrode:
            assert act is not None
            assert act.word == "override"
            assert act.text
        for key in overrode:
            self.model.overridden(key)
        opened: list[str] = []
        for each in told:
            if isinstance(each, Passed):
                self._passed(each, act)
            elif isinstance(each, Captured):
                self.model.answered(each.step, self.outcome)
            elif isinstance(each, LivePoint):
                self.model.end(PROOFS)
                self.counts["live points"] += 1
            elif isinstance(each, StepBegan) and JOB.step(each.step).energised:
                self.model.end(PROOFS - _rests_on(each.step))
                opened.append(each.step)
        key, now = self.here
        stood_open = key == step and phase in OPEN
        if (now in OPEN and not stood_open) or key in overrode:
            assert key in overrode or self.model.may_open(key), f"{key} was opened behind a gate that is shut"
            self.counts["steps opened"] += 1
            if JOB.step(key).energised:
                self.model.end(PROOFS)
            elif set(INSIDE) & set(JOB.step(key).points):
                self.model.end(CLOSED - WAITED_FOR.get(key, set()))
        self.seen.append(self.here)

    def _passed(self, passed: Passed, act: Act | None) -> None:
        assert act is not None, "a step was passed and nobody acted"
        if act.step is not None:
            assert passed.step == act.step, "an act passed a step that it did not name"
        if passed.how == "passed over":
            assert passed.step not in SAFETY, f"{passed.step} was left without a word"
        if passed.how in ("skipped", "found wanting"):
            assert passed.reason
        self.model.answered(passed.step, passed.how)

    def holds(self) -> None:
        """The ledger and the model agree on every gate."""
        for step in STEPS:
            waits = bool(self.walk.ledger.missing(step))
            assert waits == (not self.model.may_open(step.key)), f"{step.key}: the ledger says it waits: {waits}"
        if self.walk.phase is Phase.LIVE:
            assert [offer.word for offer in self.walk.snapshot().acts] == ["acknowledge"]


def _rests_on(key: str) -> set[str]:
    needs = set(JOB.step(key).needs)
    return needs.union(*(_rests_on(need) for need in needs)) if needs else needs


ACTS = st.sampled_from([word for word in WORDS if word != "press"])
WORDS_OR_NONE = st.sampled_from(["", "a reason that someone wrote"])


class WalkMachine(RuleBasedStateMachine):
    """Hypothesis chooses the history, and shortens one that fails."""

    @initialize()
    def begin(self) -> None:
        self.history = History()

    @rule(word=ACTS, to=st.sampled_from(KEYS), text=WORDS_OR_NONE)
    def fresh(self, word: str, to: str, text: str) -> None:
        self.history.fresh(word, to, text)

    @rule(word=ACTS, to=st.sampled_from(KEYS), text=WORDS_OR_NONE, back=st.integers(0, 20))
    def stale(self, word: str, to: str, text: str, back: int) -> None:
        self.history.stale(word, to, text, back)

    @rule(back=st.integers(0, 20))
    def doubled(self, back: int) -> None:
        self.history.doubled(back)

    @rule(wait_s=st.sampled_from([0.1, 1.0]))
    def pedal(self, wait_s: float) -> None:
        self.history.pedal(wait_s)

    @rule(outcome=st.sampled_from(OUTCOMES))
    def answer(self, outcome: str) -> None:
        self.history.answer(outcome)

    @rule()
    def on_with_it(self) -> None:
        _on_with_it(self.history)

    @rule()
    def live(self) -> None:
        self.history.live()

    @rule()
    def broken_off(self) -> None:
        self.history.broken_off()

    @invariant()
    def holds(self) -> None:
        if hasattr(self, "history"):
            self.history.holds()


def _on_with_it(history: History) -> None:
    """Whoever works well does what is asked: so that histories come as far as mains."""
    _, phase = history.here
    if phase in (Phase.WATCH, Phase.RUN, Phase.AFTER):
        history.answer("pass")
    elif phase is not Phase.DONE:
        offer = history.walk.snapshot().acts[0]
        history.fresh(offer.word, offer.to, "well")


def play(rng: random.Random, moves: int) -> Counter[str]:
    """One random history; what happened in it, by kind."""
    history = History()
    for _ in range(moves):
        text = rng.choice(["", "a reason that someone wrote"])
        word, to, back = rng.choice([word for word in WORDS if word != "press"]), rng.choice(KEYS), rng.randrange(20)
        chance = rng.random()
        if chance < 0.55:
            _on_with_it(history)
        elif chance < 0.70:
            history.fresh(word, to, text)
        elif chance < 0.80:
            history.stale(word, to, text, back)
        elif chance < 0.86:
            history.doubled(back)
        elif chance < 0.91:
            history.pedal(rng.choice([0.1, 1.0]))
        elif chance < 0.97:
            history.answer(rng.choice(OUTCOMES))
        elif chance < 0.985:
            history.live()
        else:
            history.broken_off()
        history.holds()
    return history.counts


def main() -> None:
    histories, seed = (int(text) for text in (sys.argv[1:] + ["1000", "1"][len(sys.argv) - 1 :]))
    total: Counter[str] = Counter()
    for number in range(histories):
        rng = random.Random(seed * 1_000_003 + number)
        total += play(rng, rng.randrange(20, 80))
    print(f"| histories | {histories:,} |\n|---|--:|")
    for name, count in sorted(total.items()):
        print(f"| {name} | {count:,} |")
    print("| steps entered behind a shut gate; acts that changed another step | 0; 0 |")


if __name__ == "__main__":
    main()
