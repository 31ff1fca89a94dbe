"""A dead circuit: a known source before and after, and in between the tips known to be on the points.

source ──stands──▶ points ──said or seen, and it stays low──▶ source again ──stands──▶ dead
  ▲                  │ ▲                    │
  └── live point ────┘ └── tips left, volts ┘   each told in words
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp
from statistics import fmean
from typing import TYPE_CHECKING

from meterlog.base.units import show
from meterlog.walk.live import SOURCE_LEAST, SOURCE_MOST, is_source
from meterlog.walk.proofs import BLIND_S, STILL_THERE, ProofWatch, Spell, lengthened
from meterlog.walk.settle import (
    LIFT_S,
    STRAY_VOLTS,
    Criterion,
    DisplayStream,
    Lost,
    Refuse,
    Sample,
    Signal,
    Sort,
    Stage,
    State,
    StatedContact,
    Window,
    capture_of,
    function_of,
    same_range,
    shown_words,
)
from meterlog.walk.settle.window import COVERAGE, PERIODS

if TYPE_CHECKING:
    from meterlog.base.readings import Capture

SOURCE_S = 1.2
SOURCE_STILL = 0.02
"""Readings of the source agree to so much of it."""
SOURCE_SAME = 0.03
"""The source after reads as before, to so much of it."""
DECLARED_LEAST, DECLARED_MOST = 0.5, 2.0
"""What a person says is the known source reads so many times what the step states of it."""
DEAD_VOLTS = 1.0
"""What counts as dead where a step prints no limit."""
SEEN_VOLTS = 5.0
"""Direct volts that stand so high are no leads in the air: those wander, and lower. Common practice, no source."""
LEVEL_VOLTS = 1.0
"""Direct volts from here on are more than what shows while nothing is touched."""
RISE_S = 60.0
"""Volts that would pass the limit within so long at the pace at which they rise are a charge that comes back."""
LEFT_S = 0.8
"""Volts that fall faster than with this time constant were left: a charge falls more slowly through a meter."""
REST_S = 10.0
"""A claim that has led to nothing for so long is told."""

DEAD_SAID, DEAD_SEEN = "dead proved, contact said", "dead proved, contact seen"
NOT_KNOWN = (
    "not proved dead: nobody said, and nothing showed, that the tips were on the points;"
    " touch the points, press with the tips on them, stay until the tone, then the source"
)
LEFT_TOO_SOON = "the tips left the points before the tone: touch them, press, and stay until the tone"
COMES_BACK = "the volts rise: a charge comes back; discharge it, and press again with the tips on the points"
RESTLESS = "it does not come to rest: keep the tips still on the points"
OTHER_FUNCTION = "the meter shows another function than at the known source: the proof begins again"
SILENCE = "the meter was silent: press again with the tips on the points"
HOLD_SOURCE = "if that was the known source, hold the tips on it until the tone"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Source:
    """The known source, as it was touched."""

    span: tuple[int, int]
    volts: float
    words: str


class DeadProof(ProofWatch):
    """A known source, the points at or below the step's limit, the known source again: then it is dead.

    That the tips are on the points is said by a press there, after which they stay until the window of
    the step is full; or it is seen, where direct volts stand at a level that leads in the air never
    keep. What the points read counts from the press on. A charge that falls is taken as it falls below
    the limit; one that comes back is told. Signals `Stage` "points" and "source".

    Args:
        source: V that the step states of its known source, > 0; limit: V that still count as dead.
    """

    def __init__(self, stream: DisplayStream, criterion: Criterion, hold_s: float, source: float, limit: float) -> None:
        super().__init__(stream)
        self._function: tuple[str, ...] = ()
        self._source, self._limit = abs(source), limit
        self._criterion = lengthened(criterion, hold_s)
        self._level = Window(self._criterion)
        self._start_again()

    def _start_again(self) -> None:
        self._first: _Source | None = None
        self._standing = Spell(SOURCE_S)
        self._visiting, self._left_at = False, float("-inf")
        self._has_left = False
        self._claimed: Sample | None = None
        self._is_blind, self._is_asked = False, False
        self._run: list[Sample] = []
        self._found: Capture | None = None
        self._was_apart = False
        self._level.clear()

    @property
    def _has_begun(self) -> bool:
        return self._first is not None

    def _after_silence(self) -> list[Signal]:
        self._standing.clear()
        return self._drop_claim(SILENCE)

    def _as_apart(self, sample: Sample, sort: Sort) -> Sort:
        """Off the source is apart: the leads may still lie on it from the step before."""
        return Sort.NUMBER if is_source(sample.reading, self._source) else Sort.APART

    # A press -----------------------------------------------------------------------------------

    def _said(self, last: Sample) -> list[Signal]:
        size = abs(last.reading.value) if last.reading.value is not None else None
        if size is None:
            return [Refuse("The display shows no number: wait for one, with the tips on the points, and press again.")]
        if self._first is None and size <= max(self._limit, DECLARED_MOST * self._source):
            return self._said_source(last, size)
        if self._first is not None and self._is_source(last):
            return [
                Refuse(f"The display shows {shown_words(last.reading)}, as the known source does: go to the points.")
            ]
        if size > self._limit:
            over = f"{shown_words(last.reading)} is above {show(self._limit, 'volt')}"
            return [Refuse(f"{over}: these points are not dead. Isolate, discharge, and begin at the known source.")]
        if self._is_asked and self._found is None:
            self._is_blind, self._is_asked = False, False
            return [StatedContact(shown_words(last.reading))]
        self._claimed, self._run, self._found, self._has_left = last, [last], None, True
        self._is_blind, self._is_asked = False, False
        self.state = State.SETTLING
        return [StatedContact(shown_words(last.reading))]

    def _said_source(self, last: Sample, size: float) -> list[Signal]:
        """Whoever presses at the beginning says that what stands there is the known source."""
        low, high = DECLARED_LEAST * self._source, DECLARED_MOST * self._source
        if not (low <= size <= high and self._standing.is_long_enough):
            return [
                Refuse(f"First the known source of {show(self._source, 'volt')}: hold the tips on it until the tone.")
            ]
        self._source = size
        return self._sourced()

    # Readings ----------------------------------------------------------------------------------

    def _step(self, sample: Sample, sort: Sort) -> list[Signal]:
        was, self._function = self._function, function_of(sample.reading.form)
        if self._has_begun and was != self._function:
            self.forget()
            return [Lost(0.0, OTHER_FUNCTION)]
        if sample.reading.value is None:
            self._standing.clear()
            return self._drop_claim(
                f"{shown_words(sample.reading)}: press again once a number shows, tips on the points"
            )
        if self._first is not None and _size(sample) > max(self._limit, SOURCE_MOST * self._source):
            return self._above(sample)
        if self._is_source(sample) and not self._falls_through(sample):
            return self._at_source(sample)
        return self._left_source(sample) + self._elsewhere(sample)

    def _above(self, sample: Sample) -> list[Signal]:
        """One reading that neither source nor dead points give: a contact may be bad, and the points live."""
        self.forget()
        why = f"not proved dead: {shown_words(sample.reading)} showed; isolate, discharge, begin at the known source"
        return [Lost(0.0, why)]

    def _is_source(self, sample: Sample) -> bool:
        return is_source(sample.reading, self._source)

    def _stands(self, sample: Sample) -> bool:
        """Whether volts have stood for as long as a source must."""
        begun = self._standing.first
        if begun is not None and abs(_size(sample) - _size(begun)) > SOURCE_STILL * _size(begun):
            self._standing.clear()
        return self._standing.add(sample)

    def _falls_through(self, sample: Sample) -> bool:
        """Whether a charge at the points falls through the volts of the source: what stands there is the source."""
        if self._claimed is None or self._found is not None or not self._run:
            return False
        falls = _size(sample) <= (1 + SOURCE_STILL) * _size(self._run[-1])
        return falls and not self._stands(sample)

    def _at_source(self, sample: Sample) -> list[Signal]:
        self.state, self._left_at = State.CONTACT, float("-inf")
        self._visiting = self._visiting or self._first is None or self._has_left
        out = self._drop_claim(LEFT_TOO_SOON)
        return out + self._sourced() if self._stands(sample) else out

    def _sourced(self) -> list[Signal]:
        """The source has stood: the first, the one that ends the proof, or the first still."""
        assert self._standing.first is not None
        reading = self._standing.first.reading
        now = _Source(span=self._standing.span, volts=_size(self._standing.first), words=shown_words(reading))
        before, found, has_left = self._first, self._found, self._has_left
        self._visiting = False
        if before is None:
            self._first = now
            return [Stage("points")]
        if not has_left:
            self._first = replace(now, span=(before.span[0], now.span[1]))
            return []
        if found is not None and abs(now.volts - before.volts) <= SOURCE_SAME * before.volts:
            return self._captured(replace(found, proof=(before.span, *found.proof, now.span)))
        self.forget()
        self._first, self._visiting = now, False
        why = (
            NOT_KNOWN
            if found is None
            else (
                f"not proved dead: the known source read {before.words} before and {now.words} after;"
                " begin again at the points"
            )
        )
        return [Lost(SOURCE_S, why, "points", is_whole=found is None)]

    def _left_source(self, sample: Sample) -> list[Signal]:
        """Off the source, a bounce or a lift: one that came too soon is told."""
        if self._left_at == float("-inf"):
            self._left_at = sample.at
        if sample.at - self._left_at < LIFT_S:
            return []
        was_too_short, self._visiting = self._visiting, False
        self._has_left = self._has_left or self._first is not None
        return self._advise(HOLD_SOURCE) if was_too_short and self._first is None else []

    def _elsewhere(self, sample: Sample) -> list[Signal]:
        if self._first is None:
            return self._before_source(sample)
        if not self._is_source(sample):
            self._standing.clear()
        self.state = State.APART if self._claimed is None else State.SETTLING
        if self._claimed is not None:
            return self._at_points(sample) if self._found is None else []
        return self._seen(sample) if self._found is None else []

    def _before_source(self, sample: Sample) -> list[Signal]:
        """Other volts stand where the source is wanted."""
        if not self._stands(sample) or not LEVEL_VOLTS <= _size(sample) <= self._limit:
            return []
        known, low, high = (show(times * self._source, "volt", 3) for times in (1.0, SOURCE_LEAST, SOURCE_MOST))
        return self._advise(
            f"{shown_words(sample.reading)} stands there, and the known source of {known} should read {low} to {high};"
            " if it is your known source, press with the tips on it"
        )

    def _at_points(self, sample: Sample) -> list[Signal]:
        """The tips are said to be on the points: what they read from then on."""
        if _size(sample) > self._limit:
            return self._drop_claim(f"{shown_words(sample.reading)} at the points: not dead")
        if self._run and self._was_left(sample):
            return self._drop_claim(LEFT_TOO_SOON)
        assert self._claimed is not None
        self._is_blind = self._is_blind or (self._run == [self._claimed] and sample.at - self._claimed.at > BLIND_S)
        if same_range(sample.reading.form) != same_range(self._run[-1].reading.form):
            self._run = []
        self._run.append(sample)
        if self._is_source(sample):
            return []  # it may be the source already
        if not self._is_full():
            late = sample.at - self._claimed.at > max(REST_S, 2 * self._needed_s)
            return self._advise(RESTLESS) if late else []
        if self._comes_back():
            return self._drop_claim(COMES_BACK)
        if self._is_blind:
            self._is_asked = True
            return self._advise(STILL_THERE)
        said = (self._claimed.ordinal, self._claimed.ordinal)
        self._found = capture_of(self._run, DEAD_SAID, (said,))
        return [Stage("source")]

    def _seen(self, sample: Sample) -> list[Signal]:
        """Nobody said anything: direct volts may stand there all the same, once the tips were off the source."""
        self._was_apart = self._was_apart or _size(sample) < LEVEL_VOLTS
        if not self._was_apart or sample.reading.form.mode != "dc" or not SEEN_VOLTS <= _size(sample) <= self._limit:
            self._level.clear()
            return []
        run = self._level.add(sample, self._stream.pace.period)
        if run is None:
            return []
        self._found = replace(run, how=DEAD_SEEN, proof=((run.first, run.last),))
        return [Stage("source")]

    @property
    def _needed_s(self) -> float:
        return max(self._criterion.length_s, PERIODS * self._stream.pace.period)

    def _is_full(self) -> bool:
        """Whether the run is as long as the step wants, without holes."""
        lasted, period = self._run[-1].at - self._run[0].at, self._stream.pace.period
        expected = lasted / period if period else 0.0
        return lasted >= self._needed_s and len(self._run) >= max(self._criterion.readings, COVERAGE * expected)

    def _was_left(self, sample: Sample) -> bool:
        """Whether volts that were no leads' in the air are gone at once, as when the tips leave them."""
        before, seconds = _size(self._run[-1]), sample.at - self._run[-1].at
        stood = before > max(LEVEL_VOLTS, 2 * STRAY_VOLTS[sample.reading.form.mode])
        return stood and _size(sample) < before * exp(-seconds / LEFT_S)

    def _comes_back(self) -> bool:
        """Whether the volts rise, beyond what floating points wander, so that they would pass the limit soon."""
        third = max(1, len(self._run) // 3)
        begin, end = self._run[:third], self._run[-third:]
        rise = fmean(map(_size, end)) - fmean(map(_size, begin))
        seconds = fmean(each.at for each in end) - fmean(each.at for each in begin)
        wanders = rise <= 2 * STRAY_VOLTS[self._run[-1].reading.form.mode]
        return not wanders and fmean(map(_size, end)) + RISE_S * rise / seconds > self._limit

    def _drop_claim(self, why: str) -> list[Signal]:
        """What was said no longer holds, unless it has been answered already."""
        if self._claimed is None or self._found is not None:
            return []
        self._claimed, self._run, self._is_asked = None, [], False
        return self._advise(why, "points")


def _size(sample: Sample) -> float:
    assert sample.reading.value is not None, "only numbers come here"
    return abs(sample.reading.value)
