"""The audit's arithmetic: kept evidence in, recomputed readings, captures and verdicts out.

Pure: what was kept is given as records; `meterlog.store.revisit` fetches them from a database.
"""

from __future__ import annotations

import json
import statistics
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.readings import Frame
from meterlog.conversation.drive import drive
from meterlog.procedure.case import conclude
from meterlog.procedure.typed import reading_typed

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from meterlog.base.readings import Capture, Reading, Typed
    from meterlog.base.recording import Event
    from meterlog.procedure.case import Case
    from meterlog.procedure.steps import Step
    from meterlog.profile import Profile


def readings_again(profile: Profile, timeline: Iterable[Event]) -> Iterator[tuple[int, Reading]]:
    """(place of its frame in the stream, reading) of all that a profile makes of kept bytes, at the times kept."""
    for outcome in drive(profile.conversation(), timeline):
        if isinstance(outcome, Frame):
            yield from ((outcome.start, reading) for reading in outcome.readings)


def capture_differs(capture: Capture, readings: Sequence[Reading]) -> str:
    """How a kept capture differs from the readings of its run, in words; "" when it does not.

    Its digits must be those of a reading of the run; its count and spread those of the whole run.
    """
    if capture.how == "timed":
        lasted = round((capture.ended - capture.started) * 10)
        return "" if lasted == capture.counts else f"shows {capture.reading.digits} s, lasted {lasted / 10} s"
    if capture.typed is not None:
        return _typing_differs(capture, capture.typed)
    if len(readings) != capture.count:
        return f"counts {capture.count} readings, its run has {len(readings)}"
    if capture.reading not in readings:
        return f"shows {capture.reading.digits} {capture.form.unit}, no reading of its run does"
    values = [reading.value for reading in readings if reading.value is not None]
    spread = max(values) - min(values) if values and capture.form.bound is None else 0.0
    if abs(spread - capture.spread) > 1e-9 * max(map(abs, values), default=1.0):
        return f"has the spread {capture.spread}, its run has {spread}"
    deviation = statistics.stdev(values) if len(values) > 1 and capture.form.bound is None else 0.0
    if abs(deviation - capture.deviation) > 1e-9 * max(map(abs, values), default=1.0):
        return f"has the deviation {capture.deviation}, its run has {deviation}"
    return ""


def _typing_differs(capture: Capture, typed: Typed) -> str:
    read = reading_typed(typed, capture.form.quantity, capture.form.mode)
    return "" if read == capture.reading else f"shows {capture.reading.words}, typed was {typed.words}"


WORDS = frozenset({"why", "advice", "trail"})
"""The parts of a verdict that are sentences: another version may word them differently."""


def verdict_differs(kept: str, case: Case, step: Step, program: str) -> list[str]:
    """The parts of a kept verdict (its JSON) that come out differently now; empty when none does.

    Its sentences are compared when this version of the program wrote them.
    """
    before, now = json.loads(kept), json.loads(conclude(case, step).to_json())
    changed = [name for name in _changed(before, now) if program == __version__ or name not in WORDS]
    return [f"{name}: was {_short(before.get(name))}, is {_short(now.get(name))}" for name in changed]


def _changed(before: dict[str, Any], now: dict[str, Any]) -> list[str]:
    return [name for name in sorted(before) if name not in now or not says_the_same(before[name], now[name])]


def says_the_same(kept: Any, now: Any) -> bool:
    """Whether all that was kept comes out the same; what a later version says besides is no difference."""
    if isinstance(kept, dict) and isinstance(now, dict):
        return all(name in now and says_the_same(value, now[name]) for name, value in kept.items())
    if isinstance(kept, list) and isinstance(now, list):
        return len(kept) == len(now) and all(map(says_the_same, kept, now))
    return bool(kept == now)


def _short(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 80 else text[:77] + "…"
