"""Watches every link for the step at hand: one window for each display that gives its quantity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.judging.applied_voltage import wrong_voltage
from meterlog.walk.answers import answer_for, wanted_by
from meterlog.walk.at_time_watch import AtTime
from meterlog.walk.dead_proof import DeadProof
from meterlog.walk.functions import FunctionWatch
from meterlog.walk.heated import HeatingLog
from meterlog.walk.live import LiveGuard
from meterlog.walk.settle import Advice, DisplayStream, Lift, Live, OpenLeads, Refuse, Sample, Signal, Sort, State
from meterlog.walk.settle.contact import departure
from meterlog.walk.timed_watch import Ran, Runs

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from meterlog.base.readings import Capture, Reading
    from meterlog.procedure.steps import Step
    from meterlog.walk.live import Guarded
    from meterlog.walk.open_proof import ClosingShort
    from meterlog.walk.settle import StepWatch, Want
    from meterlog.walk.sloped import Sloped
    from meterlog.walk.timed_watch import Switched

DisplayKey = tuple[str, str]
"""A display: its link's name and its channel."""


@dataclass(frozen=True, slots=True)
class LeftPoints:
    """The leads left what was captured."""


@dataclass(frozen=True, slots=True)
class OtherFunction:
    """An instrument stands on a function that the step does not want."""

    shows: str
    mode: str


WatchSignal = Signal | LeftPoints | OtherFunction | Runs | Ran


def _without_leads(step: Step) -> bool:
    """Whether a step is read on a meter that the appliance is plugged into: there are no leads to lift."""
    return step.energised and not step.points


class Watch:
    """All links, aimed at one step at a time.

    `gives` says which quantities each instrument can show, as far as known.
    """

    def __init__(self, at: float, gives: Mapping[str, frozenset[str]]) -> None:
        self._at, self._gives = at, gives
        self._streams: dict[DisplayKey, DisplayStream] = {}
        self._said_nothing: set[str] = set()
        self._answers: dict[DisplayKey, StepWatch | Switched | Sloped] = {}
        self._of_run: list[Callable[[HeatingLog], None]] = []
        self._functions: FunctionWatch | None = None
        self._voltage: dict[DisplayKey, str] = {}
        self._lift: tuple[DisplayKey, Lift, Capture] | None = None
        self._closing: ClosingShort | None = None
        self._lifted: DisplayKey | None = None
        self._again = False
        self._guarded: Guarded | None = None
        self._guards: dict[DisplayKey, LiveGuard] = {}
        self.target: Step | None = None
        self.want: Want | None = None

    def aim(self, step: Step | None, *, again: bool = False) -> None:
        """Watch for a step from now on; None: for nothing. The leads may still lie on the last points."""
        self._lift = None
        if step is not None and step is self.target and not again:
            return
        self.target, self._again = step, again
        self.want = wanted_by(step) if step else None
        self._answers, self._of_run = {}, []
        self._voltage = {}
        self._functions = FunctionWatch(step, self.want, self._gives) if step and self.want else None
        for key, stream in self._streams.items():
            self._look_at(key, stream)
        self._lifted = None

    def guard(self, guarded: Guarded | None) -> None:
        """From now on, whatever the step at hand waits for, look out for points that are live; None: for none."""
        self._guarded, self._guards = guarded, {}

    def await_lift(self, key: DisplayKey, capture: Capture, at: float, closing: ClosingShort | None = None) -> None:
        """From now on only see whether the leads leave what was captured, and a short that still belongs to it."""
        self._lift, self._answers, self._closing = (key, Lift(at), capture), {}, closing

    def remember(self, key: DisplayKey, capture: Capture) -> None:
        """Keep a captured plateau: to stand there still is no new answer. And take no second one."""
        value = capture.reading.value
        if key in self._streams and self.want and self.want.open_leads is OpenLeads.REST and value is not None:
            self._streams[key].plateau[self.want.quantity] = value
        self.target, self._answers = None, {}

    def hear(self, source: str, ordinal: int, reading: Reading, at: float) -> list[tuple[DisplayKey, WatchSignal]]:
        """Take a link's next reading; what it means for the step, with the display it came from."""
        key = (source, reading.form.channel)
        stream = self._streams.get(key)
        if stream is None:
            since = float("-inf") if source in self._said_nothing else self._at
            stream = self._streams[key] = DisplayStream(*key, since=since)
        sample = Sample(ordinal, at, reading)
        stream.hear(sample)
        return self._take(key, stream, sample)

    def nothing(self, source: str, at: float) -> list[tuple[DisplayKey, WatchSignal]]:
        """A link says that it has no value: an insulation tester between tests."""
        self._said_nothing.add(source)
        return self._rest([entry for entry in self._idling() if entry[0][0] == source], at, told=True)

    def tick(self, at: float) -> list[tuple[DisplayKey, WatchSignal]]:
        """Time passed: a tester that is silent at rest rests."""
        return self._rest(self._idling(), at, told=False)

    def end(self) -> list[tuple[DisplayKey, WatchSignal]]:
        """No reading will come any more: what can be finished is."""
        finished = [(key, each) for key, each in self._answers.items() if isinstance(each, AtTime | HeatingLog)]
        return [(key, signal) for key, answer in finished for signal in answer.finish()]

    @property
    def wake_at(self) -> float | None:
        """When `tick` has something to find, None when only readings do."""
        times = [stream.idle_from(told=False) for _, stream in self._idling()]
        return min((at for at in times if at is not None), default=None)

    def _idling(self) -> list[tuple[DisplayKey, DisplayStream]]:
        """Displays whose silence says that no test runs."""
        if self.want is None or self.want.open_leads is not OpenLeads.IDLE:
            return []
        shown = [(key, stream) for key, stream in self._streams.items() if stream.last is not None]
        return [(key, each) for key, each in shown if each.last and self.want.matches(each.last.reading.form)]

    def _rest(
        self, streams: list[tuple[DisplayKey, DisplayStream]], at: float, *, told: bool
    ) -> list[tuple[DisplayKey, WatchSignal]]:
        out: list[tuple[DisplayKey, WatchSignal]] = []
        for key, stream in streams:
            begins = stream.idle_from(told=told)
            if begins is not None and at >= begins:
                out += self._take(key, stream, stream.rest(at))
        return out

    def _take(self, key: DisplayKey, stream: DisplayStream, sample: Sample) -> list[tuple[DisplayKey, WatchSignal]]:
        live = self._live(key, sample) if self._guarded is not None else None
        if live is not None:
            for answer in self._answers.values():
                if isinstance(answer, DeadProof):
                    answer.forget()
            return [(key, live)]
        if self._lift is not None:
            return self._lifting(key, stream, sample)
        if self.target is None or self.want is None:
            return []
        return self._watch(key, stream, sample)

    def _live(self, key: DisplayKey, sample: Sample) -> Live | None:
        """A live point, on whatever voltage function; a power meter shows the mains that it stands on."""
        guarded = self._guarded
        assert guarded is not None
        source, channel = key
        is_other = guarded.instruments and source not in guarded.instruments
        if is_other or channel != "main" or "power" in self._gives.get(source, ()):
            return None
        if key not in self._guards:
            self._guards[key] = LiveGuard(guarded.limit, guarded.source)
        return self._guards[key].take(sample)

    def gone(self, source: str) -> None:
        """A link was lost: its displays' next readings come after a silence, however short it was."""
        for (name, _), stream in self._streams.items():
            if name == source:
                stream.cut()

    def confirm(self, at: float) -> list[tuple[DisplayKey, WatchSignal]]:
        """What a press means at this moment, first of all for the display that it says something of.

        A settled run, a bound that shows now, that the tips are on the points; else why it means nothing.
        """
        found: list[tuple[DisplayKey, WatchSignal]] = []
        for key, answer in self._answers.items():
            found += [(key, signal) for signal in self._confirmed(key, answer, at)]
        return sorted(found, key=lambda each: isinstance(each[1], Refuse))

    def _confirmed(self, key: DisplayKey, answer: StepWatch | Switched | Sloped, at: float) -> list[Signal]:
        """What a display shows counts while it is fresh: a tester that is silent at rest shows nothing then."""
        stream = self._streams[key]
        if stream.is_cut:
            return [Refuse(f"The link of {key[0]} was lost: nothing shows now.")]
        if stream.last is not None and at - stream.last.at > stream.pace.longest_gap:
            return [Refuse(f"{key[0]} has sent nothing for {at - stream.last.at:.0f} s: nothing shows now.")]
        return answer.confirm()

    def tell_log(self, fact: Callable[[HeatingLog], None]) -> None:
        """What a person said of the heating run at hand, for the thermometers that keep its log and those to come."""
        self._of_run.append(fact)
        for answer in self._answers.values():
            if isinstance(answer, HeatingLog):
                fact(answer)

    def could_answer(self, step: Step) -> bool:
        """Whether readings can answer a step: not where every instrument is known not to give its quantity."""
        want = wanted_by(step)
        if want is None:
            return False
        sources = [step.instrument] if step.instrument in self._gives else list(self._gives)
        return not sources or any(want.quantity in self._gives[source] for source in sources)

    def has(self, key: DisplayKey) -> bool:
        return key in self._streams

    def states(self) -> dict[DisplayKey, State]:
        """Where each watched display stands with the step."""
        return {key: answer.state for key, answer in self._answers.items()}

    @property
    def in_the_way(self) -> str:
        """The state that keeps every display of the step from being taken: leads still on something, HOLD; "" for none.

        What lies in no air, such as a thermometer, has no leads to lift.
        """
        states = set(self.states().values())
        held = (
            {State.FROZEN} if self.want and self.want.open_leads is OpenLeads.REST else {State.FROZEN, State.LIFT_FIRST}
        )
        return states.pop().value if len(states) == 1 and states <= held else ""

    def last(self) -> dict[DisplayKey, Sample]:
        """The last reading of every display."""
        return {key: stream.last for key, stream in self._streams.items() if stream.last is not None}

    def _look_at(self, key: DisplayKey, stream: DisplayStream) -> None:
        """Begin to watch a display whose last reading the step can use."""
        step, want = self.target, self.want
        if step is None or want is None or stream.last is None or step.instrument not in ("", key[0]):
            return
        sort = want.sort(stream.last.reading, stream)
        if sort is not Sort.OTHER:
            left = key == self._lifted or want.has_left(stream.last.reading, stream)
            lifted = sort is Sort.APART or left or _without_leads(step)
            answer = self._begin(key, step, want, stream, lifted=lifted)
            if not lifted and sort is not Sort.FROZEN and not stream.after_silence:
                answer.take(stream.last, sort)  # the leads lie on something: see them leave it

    def _begin(
        self, key: DisplayKey, step: Step, want: Want, stream: DisplayStream, *, lifted: bool
    ) -> StepWatch | Switched | Sloped:
        answer = self._answers[key] = answer_for(step, want, stream, again=self._again, lifted=lifted)
        if isinstance(answer, HeatingLog):
            for fact in self._of_run:
                fact(answer)
        return answer

    def _watch(self, key: DisplayKey, stream: DisplayStream, sample: Sample) -> list[tuple[DisplayKey, WatchSignal]]:
        step, want, form = self.target, self.want, sample.reading.form
        assert step is not None
        assert want is not None
        out: list[tuple[DisplayKey, WatchSignal]] = []
        if self._functions and self._functions.take(key[0], form):
            out.append((key, OtherFunction(form.quantity, form.mode)))
        sort = want.sort(sample.reading, stream)
        if step.instrument not in ("", key[0]):
            return out
        why = wrong_voltage(form, step.test_voltage) if want.matches(form) else ""
        if why != self._voltage.get(key, ""):
            self._voltage[key] = why
            out += [(key, Advice(why))] if why else []
        if why:
            sort = Sort.OTHER
        answer = self._answers.get(key)
        if answer is None:
            if sort is Sort.OTHER:
                return out
            answer = self._begin(key, step, want, stream, lifted=_without_leads(step))
        return out + [(key, signal) for signal in answer.take(sample, sort)]

    def _lifting(self, key: DisplayKey, stream: DisplayStream, sample: Sample) -> list[tuple[DisplayKey, WatchSignal]]:
        assert self._lift is not None
        waits_for, lift, capture = self._lift
        if key != waits_for:
            return []
        sort = self._sort_after(capture, sample, stream)
        lifted = lift.take(sort, sample.at)
        if self._closing is not None and sort is not Sort.OTHER:
            lifted = self._closing.take(sample, sort, lifted=lifted)
        if not lifted and not lift.function_changed:
            return []
        self._lift, self._lifted = None, key if lifted else None
        return [(key, LeftPoints())]

    def _sort_after(self, capture: Capture, sample: Sample, stream: DisplayStream) -> Sort:
        """What a reading after a capture says: still on the same, or away from it."""
        want = self.want
        if want is None:
            return Sort.OTHER
        value, stood = sample.reading.value, capture.reading.value
        if want.open_leads is OpenLeads.REST and want.matches(sample.reading.form) and value is not None:
            near = departure(want.quantity, sample.reading.form.resolution)
            return Sort.APART if stood is None or abs(value - stood) > near else Sort.NUMBER
        return want.sort(sample.reading, stream)
