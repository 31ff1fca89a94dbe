"""Proofs of dead and of open by simulated hands, held against the truth of the bench.

    PYTHONPATH=.:tests:tests/trials python tests/trials/proof_trials.py [runs of each kind, each rate]

prints the tables of `proofs.md`. "false": taken as proved although what was really at the points denies it, or although
the tips were never there. "true": proved, and so it was. "other": another true answer (a leak, a short). "told": of the
rest, in how many the walk said in words what to do.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass, field, replace
from math import nan, sin

from hands import Bench, Place, charge, floating, returning, steady

from meterlog.base.readings import Capture
from meterlog.judging.limit import Limit
from meterlog.procedure import kinds
from meterlog.procedure.steps import Procedure, Step
from meterlog.walk import NOTHING, Act, Phase, Walk
from meterlog.walk.happenings import Advised, Captured, Happening, LivePoint, NotTaken, Proof, Refused

RATES = (1.0, 2.0, 3.0, 5.0, 10.0)
PATIENCE_S = 25.0
TONES = Proof | Captured | NotTaken | LivePoint
ASKS = ("press with the tips on it", "press with the tips together", "press again", "press, and stay", "press and stay")
SOON_S = 10.0
"""What stands above the limit when the tips leave it, or comes back within so long, was not dead."""
IN_WORDS = Advised | NotTaken | Refused | LivePoint

Do = tuple[str, object]
"""What hands do: ("on", a place or None), ("press", None), ("wait", seconds), ("tone", seconds at most).

A press is answered by why it was refused, or ""; a wait for a tone by the words that ask for another press, or "".
"""
Plan = Generator[Do, object, None]


@dataclass
class Hands:
    """Plays what hands do into a walk; the tone that they wait for is the walk's."""

    bench: Bench
    steps: tuple[Step, ...]
    told: list[Happening] = field(default_factory=list)
    times: list[float] = field(default_factory=list)

    def play(self, plan: Plan) -> None:
        procedure = Procedure(key="p", title="p", appliance="a", source="s", cautions=(), steps=self.steps)
        self.walk = Walk(procedure, assume=NOTHING)
        self.told += self.walk.start(0.0)
        answer: object = None
        while True:
            try:
                word, what = plan.send(answer)
            except StopIteration:
                return
            answer = self._do(word, what)

    def _do(self, word: str, what: object) -> object:
        if self.walk.phase is Phase.LIVE:
            self.told += self.walk.act(Act(word="acknowledge"), self.bench.at)
        match word:
            case "on":
                self.bench.move(what)
            case "press":
                new = self.walk.act(Act(word="confirm"), self.bench.at)
                self.told += new
                return next((each.why for each in new if isinstance(each, Refused)), "")
            case "wait":
                self._until(self.bench.at + what)
            case "tone":
                return self._until_tone(what)
        return None

    @property
    def taken(self) -> list[Captured]:
        """Captures of the first step."""
        return [each for each in self.told if isinstance(each, Captured) and each.step == self.steps[0].key]

    def _until(self, at: float) -> None:
        for when, reading in self.bench.readings(at):
            self._hear(when, reading)
        self.bench.at = max(at, self.bench.at)

    def _until_tone(self, patience_s: float) -> str:
        """Stay until a tone, or patience ends; then hear it. The words that ask for a press, "" where none do."""
        words, heard = "", False
        for when, reading in self.bench.readings(self.bench.at + patience_s):
            for each in self._hear(when, reading):
                heard = heard or isinstance(each, TONES)
                words = next((asks for asks in ASKS if isinstance(each, Advised) and asks in each.why), words)
            if heard or words:
                break
        self._until(self.bench.at + self.bench.rng.uniform(0.3, 0.9))
        return words

    def _hear(self, when: float, reading: object) -> list[Happening]:
        new = self.walk.reading("meter", len(self.times), reading, when)
        self.times.append(when)
        self.told += new
        return new


class Scene:
    """What both kinds of proof share: something known, points with a truth, and what hands do with them."""

    asks: str
    """The words that ask for a press while the tips are on what is known."""
    known: Place
    points: Place
    bench: Bench
    rng: random.Random

    def touch_known(self) -> Plan:
        """What is known, until the tone; and press there where that is asked for."""
        yield "on", self.known
        while (yield "tone", PATIENCE_S) == self.asks:
            yield "press", None
        yield "on", None
        yield "wait", self.rng.uniform(0.6, 2.5)

    def begin(self) -> Plan:
        yield "wait", 2.5
        yield from self.touch_known()

    def on_points(self) -> Plan:
        """As asked: on the points, a press, stay until the tone; press again where that is asked for."""
        yield "on", self.points
        for _ in range(6):
            yield "wait", self.rng.uniform(0.6, 1.6)
            refused = yield "press", None
            again = yield "tone", 0.5 if refused else PATIENCE_S
            if not (refused or again):
                break
            if refused and "press again" not in refused:  # off, and on again
                yield "on", None
                yield "wait", self.rng.uniform(1.0, 2.0)
                yield "on", self.points
        yield "on", None
        yield "wait", self.rng.uniform(0.6, 2.5)

    def as_asked(self) -> Plan:
        yield from self.begin()
        yield from self.on_points()
        yield from self.touch_known()

    def never_touched(self) -> Plan:
        yield from self.begin()
        yield "wait", self.rng.uniform(2.0, 15.0)
        yield from self.touch_known()
        yield from self.touch_known()

    def nobody_said(self) -> Plan:
        """On the points for any time, no press, then the air, then what is known, twice."""
        yield from self.begin()
        yield "on", self.points
        yield "wait", self.rng.uniform(0.3, 8.0)
        for _ in range(2):
            yield "on", None
            yield "wait", self.rng.uniform(0.5, 10.0)
            yield from self.touch_known()

    def away_before_the_tone(self) -> Plan:
        """A press on the points, and away; a wait in the air; what is known."""
        yield from self.begin()
        yield "on", self.points
        yield "wait", self.rng.uniform(0.6, 1.6)
        yield "press", None
        yield "wait", self.rng.uniform(0.3, 2.0)
        yield "on", None
        yield "wait", self.rng.uniform(0.5, 12.0)
        yield from self.touch_known()

    def fumbled(self) -> Plan:
        """Anything, in any order, for any time; a press only on the points."""
        yield "wait", 2.0
        for _ in range(self.rng.randint(4, 14)):
            where = self.rng.choice((self.known, self.known, self.points, None))
            yield "on", where
            yield "wait", self.rng.uniform(0.2, 5.0)
            if where is self.points and self.rng.random() < 0.5:
                yield "press", None
                yield "wait", self.rng.uniform(0.4, 6.0)

    def said_in_the_air(self) -> Plan:
        """A false word: a press while the tips are in the air."""
        yield from self.begin()
        yield "press", None
        yield "tone", PATIENCE_S
        yield from self.touch_known()


CHARGES = ("charged", "running_down", "recharging")


class DeadScene(Scene):
    """A known source, and points under whatever voltage."""

    asks = "press with the tips on it"

    def __init__(self, rng: random.Random, rate: float, points: str) -> None:
        self.rng = rng
        mode = "dc" if points in CHARGES else rng.choice(("dc", "dc", "ac"))
        self.limit = rng.choice((6.0, 34.0, 50.0))
        nominal = 9.0 if mode == "dc" else 12.0
        self.known = steady("known", nominal * rng.uniform(0.83, 1.12))
        limits = (Limit(low=None, high=self.limit, unit="V", text="", source=""),)
        self.step = Step(
            key="d", title="d", kind=kinds.DEAD, quantity="voltage", mode=mode, source_voltage=nominal, hold_s=3.0,
            limits=limits,
        )  # fmt: skip
        self.bench = _bench(rng, rate, "voltage", mode)
        self.points = getattr(self, points)()

    @property
    def steps(self) -> tuple[Step, ...]:
        return (self.step,)

    def dead(self) -> Place:
        """Joined through the appliance, floating as the air does, or with a little left."""
        left = self.rng.uniform(0.0, 0.12) * self.limit
        return self.rng.choice((steady("points", 0.0), floating("points"), steady("points", left)))

    def live(self) -> Place:
        least = max(15.0, 1.1 * self.limit)
        volts = self.rng.choice((15.0, 24.0, 41.0, 60.0, 110.0, 230.0, 325.0, self.rng.uniform(least, 325.0)))
        return steady("points", max(least, volts))

    def live_by_a_bad_contact(self) -> Place:
        """Live points that the tips touch for two thirds of the time, in pieces."""
        volts, pieces = self.live().truth(0.0), [self.rng.random() < 0.65 for _ in range(997)]
        return Place("points", lambda t: volts if pieces[int(3 * t) % 997] else nan, lambda _: volts)

    def live_otherwise(self) -> Place:
        """Alternating volts on the direct function, or the other way round: next to nothing shows."""
        volts = self.live().truth(0.0)
        return Place("points", lambda t: 0.002 * volts * sin(7 * t), lambda _: volts)

    def as_the_source(self) -> Place:
        return steady("points", self.known.truth(0.0))

    def charged(self) -> Place:
        return charge("points", self.rng.uniform(1.2, 9.0) * self.limit, self.rng.uniform(1.0, 20.0))

    def running_down(self) -> Place:
        return charge("points", self.rng.uniform(0.1, 0.9) * self.limit, self.rng.uniform(1.0, 30.0))

    def recharging(self) -> Place:
        least, most = self.rng.uniform(0.0, 0.2) * self.limit, self.rng.uniform(1.5, 5.0) * self.limit
        return returning("points", least, most, self.rng.uniform(4.0, 30.0))

    def discharged(self) -> Plan:
        """Volts are found and taken away, and the whole is done again as asked."""
        yield from self.begin()
        yield from self.on_points()
        yield "wait", 5.0
        self.points = self.dead()
        yield from self.touch_known()
        yield from self.on_points()
        yield from self.touch_known()

    def outcome(self, hands: Hands) -> str:
        if not hands.taken:
            return ""
        run = hands.taken[-1].capture
        begin = hands.times[run.proof[1][0]]  # said, or seen
        there = [stay for stay in self.bench.stays(begin, run.ended) if stay[0] and stay[0].name == "points"]
        left = [abs(self.bench.truth(place, until + soon)) for place, _, until in there for soon in (0.0, SOON_S)]
        return "true" if there and max(left) <= 1.02 * self.limit else "false"


class OpenScene(Scene):
    """Leads that can be pressed together, and points that conduct or not; the next step's points conduct well."""

    asks = "press with the tips together"

    def __init__(self, rng: random.Random, rate: float, points: str) -> None:
        self.rng = rng
        self.bench = _bench(rng, rate, "resistance", "")
        self.known = steady("known", 0.0)
        self.next_points = steady("next", rng.uniform(0.02, 0.8))
        step = Step(key="o", title="o", kind=kinds.OPEN, quantity="resistance", hold_s=rng.choice((3.0, 5.0)))
        self.steps = (step, Step(key="n", title="n", kind=kinds.MEASURE, quantity="resistance"))
        self.points = getattr(self, points)()

    def open(self) -> Place:
        return floating("points")

    def shorted(self) -> Place:
        return steady("points", self.rng.uniform(0.0, 0.6))

    def leaky(self) -> Place:
        return steady("points", 10 ** self.rng.uniform(1.0, 6.7))

    def held_briefly(self) -> Plan:
        """On the points for a few seconds, then a long wait in the air, then the tips together."""
        yield from self.begin()
        yield "on", self.points
        yield "wait", self.rng.uniform(0.3, 8.0)
        yield "on", None
        yield "wait", self.rng.uniform(4.0, 10.0)
        yield from self.touch_known()

    def closed_too_quickly(self) -> Plan:
        """The tips together for a moment at the end, and on to the next step's points."""
        yield from self.begin()
        yield from self.on_points()
        yield "on", self.known
        yield "wait", self.rng.uniform(0.05, 1.0)
        yield from self.go_on()

    def not_closed(self) -> Plan:
        """Straight on to the next step's points."""
        yield from self.begin()
        yield from self.on_points()
        yield from self.go_on()

    def go_on(self) -> Plan:
        yield "on", None
        yield "wait", self.rng.uniform(1.5, 9.0)
        yield "on", self.next_points
        yield "wait", self.rng.uniform(2.0, 9.0)
        yield "on", None
        yield "wait", 2.0

    def outcome(self, hands: Hands) -> str:
        if not hands.taken:
            return ""
        capture = hands.taken[-1].capture
        there = [place for place, *_ in self.bench.stays(capture.started, capture.ended) if place]
        if not capture.how.startswith("open proved"):
            return "other" if not self.points.is_open and self._agrees(capture) else "false"
        last = hands.times[capture.proof[-1][0]], hands.times[capture.proof[-1][1]]
        closed = [place for place, *_ in self.bench.stays(*last) if place]
        if self.points not in there or not self.points.is_open:
            return "false"
        return "true" if closed == [self.known] else "elsewhere"

    def _agrees(self, capture: Capture) -> bool:
        """Whether a value is what really is between the points, the leads, a few counts and 1 % apart."""
        real, shown = self.bench.truth(self.points, 0.0) + self.bench.lead_ohms, capture.reading.value
        return shown is not None and abs(shown - real) <= 0.01 * real + 4 * capture.form.resolution + 0.3


def _bench(rng: random.Random, rate: float, quantity: str, mode: str) -> Bench:
    fixed = quantity == "voltage" and rng.random() < 0.1
    return Bench(
        quantity=quantity, mode=mode, rate=rate, first_range=2 if fixed else 0,
        ranges_a_reading=0 if fixed else rng.choice((1, 2, max(1, round(3 / rate)))),
        lag_s=rng.choice((0.0, 0.0, 0.15, 0.35)) if quantity == "voltage" else 0.0,
        hum=rng.choice((0.0, 0.5, 1.8)) if mode == "ac" else rng.choice((0.0, 0.3, 1.0)), noise=rng.choice((1, 3)),
        drop=rng.choice((0.0, 0.01, 0.03, 0.03, 0.15)), lead_ohms=rng.uniform(0.1, 0.3), rng=rng,
    )  # fmt: skip


KINDS = (  # scene, points, what hands do, whether all was done as asked
    (DeadScene, "dead", "as_asked", True),
    (DeadScene, "running_down", "as_asked", True),
    (DeadScene, "charged", "discharged", True),
    (DeadScene, "dead", "never_touched", False),
    (DeadScene, "dead", "nobody_said", False),
    (DeadScene, "live", "as_asked", False),
    (DeadScene, "live", "nobody_said", False),
    (DeadScene, "live", "away_before_the_tone", False),
    (DeadScene, "live", "fumbled", False),
    (DeadScene, "live_by_a_bad_contact", "as_asked", False),
    (DeadScene, "live_by_a_bad_contact", "fumbled", False),
    (DeadScene, "as_the_source", "as_asked", False),
    (DeadScene, "as_the_source", "nobody_said", False),
    (DeadScene, "charged", "nobody_said", False),
    (DeadScene, "charged", "away_before_the_tone", False),
    (DeadScene, "charged", "fumbled", False),
    (DeadScene, "recharging", "as_asked", False),
    (DeadScene, "recharging", "fumbled", False),
    (OpenScene, "open", "as_asked", True),
    (OpenScene, "open", "never_touched", False),
    (OpenScene, "open", "nobody_said", False),
    (OpenScene, "open", "closed_too_quickly", False),
    (OpenScene, "open", "not_closed", False),
    (OpenScene, "shorted", "as_asked", False),
    (OpenScene, "shorted", "held_briefly", False),
    (OpenScene, "shorted", "away_before_the_tone", False),
    (OpenScene, "shorted", "fumbled", False),
    (OpenScene, "leaky", "as_asked", False),
    (OpenScene, "leaky", "held_briefly", False),
    (OpenScene, "leaky", "away_before_the_tone", False),
    (OpenScene, "leaky", "fumbled", False),
    (DeadScene, "live", "said_in_the_air", False),
    (OpenScene, "shorted", "said_in_the_air", False),
    (DeadScene, "live_otherwise", "as_asked", False),
)
FALSE_WORD = "said_in_the_air"
"""Nothing but the person could know it: no proof can be better than the word that it rests on."""
OTHER_VOLTS = "live_otherwise"
"""No display could know it: the verdict says which volts do not show there, and a procedure asks for both."""


def run(kind: tuple, rate: float, seed: str) -> tuple[str, Hands]:
    """One sequence: its outcome ("" for none), and the hands that did it."""
    scene_of, points, plan, _ = kind
    rng = random.Random(f"{seed} {scene_of.__name__} {points} {plan} {rate}")
    scene = scene_of(rng, rate, points)
    hands = Hands(bench=scene.bench, steps=scene.steps)
    hands.play(getattr(scene, plan)())
    return scene.outcome(hands), hands


def trial(kind: tuple, runs: int, rates: tuple[float, ...] = RATES, seed: int = 11) -> Counter[str]:
    """What became of so many sequences of a kind at each rate."""
    total: Counter[str] = Counter()
    for rate in rates:
        for number in range(runs):
            outcome, hands = run(kind, rate, f"{seed} {number}")
            total["runs"] += 1
            total[outcome or ("told" if any(isinstance(h, IN_WORDS) for h in hands.told) else "silent")] += 1
    return total


def stretches_taken_for_points(count: int, seconds: float = 20.0, seed: int = 11) -> int:
    """Of so many stretches of air on direct volts, in how many it was taken for volts that stand at the points.

    The air is made worse than usual: up to 4 V of static and of rectified hum that wander in 2 to 60 s.
    """
    taken = 0
    for number in range(count):
        rng = random.Random(f"air {seed} {number}")
        scene = DeadScene(rng, rng.choice(RATES), "dead")
        if scene.steps[0].mode != "dc":
            scene.step = replace(scene.step, mode="dc", source_voltage=9.0)
            scene.known, scene.bench = steady("known", 9.1), _bench(rng, scene.bench.rate, "voltage", "dc")
        volts, period, phase = rng.uniform(0.0, 4.0), rng.uniform(2.0, 60.0), rng.uniform(0.0, 6.3)
        static = Place("static", lambda t, v=volts, p=period, f=phase: v * sin(6.28 * t / p + f), lambda _: 0.0)
        hands = Hands(bench=scene.bench, steps=scene.steps)
        hands.play(_in_static(scene, static, seconds))
        taken += any(isinstance(each, Proof) and each.wants == "source" for each in hands.told)
    return taken


def _in_static(scene: Scene, static: Place, seconds: float) -> Plan:
    yield from scene.begin()
    yield "on", static
    yield "wait", seconds


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print("| points | what hands did | runs | true | other | false | elsewhere | told in words | not told |")
    print("|---|---|--:|--:|--:|--:|--:|--:|--:|")
    for kind in KINDS:
        total = trial(kind, runs)
        scene_of, points, plan, _ = kind
        words = f"{points.replace('_', ' ')} | {plan.replace('_', ' ')}"
        cells = " | ".join(
            str(total[each]) for each in ("runs", "true", "other", "false", "elsewhere", "told", "silent")
        )
        print(f"| {scene_of.__name__.removesuffix('Scene').lower()}: {words} | {cells} |", flush=True)
    count = 300 * runs
    print(f"\nOf {count} stretches of air, {stretches_taken_for_points(count)} were taken for volts at the points.")


if __name__ == "__main__":
    main()
