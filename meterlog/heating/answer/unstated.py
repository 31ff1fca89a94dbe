"""What can't be seen, and could only make the power more, or less, than it was found: a bound, not a number.

A vessel that nobody stated took heat that is not counted. A probe that stood half in the load reads between load and
air, as still and as steady as one in another load: no trace tells how deep it stood, a person does. So a power may
pass a limit and not fail it, or fail it and not pass it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.base.units import show
from meterlog.heating.trace.immersion import AFTER, BEFORE
from meterlog.judging import Outcome

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from meterlog.heating.balance.found import LoadBalance
    from meterlog.heating.balance.load import Load
    from meterlog.judging import Limit, Verdict

SLIGHT = 0.02
"""A level so near the air's, part of the rise, that a probe half out moves the power by 1 %, is let pass."""
VESSEL = "the vessel was not stated"
DEPTH = "nobody said that the whole probe was under the surface"
STATE_VESSEL = "State the vessel's mass and material, and judge the run again."
STATE_DEPTH = "Say that you stirred with the whole probe under the surface, before and after, or repeat the run so."


@dataclass(frozen=True, slots=True, kw_only=True)
class Unstated:
    """Why the power may be more, and why it may be less, than was found; neither of a number known on both sides."""

    more: tuple[str, ...] = ()
    less: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """What the number is then called, after a comma; "" for one that is known on both sides."""
        if self.more and self.less:
            return ", which may be more or less than that"
        return ", a lower bound" if self.more else ", an upper bound" if self.less else ""

    def held(self, verdict: Verdict, limit: Limit | None) -> Verdict:
        """A verdict on the number, as far as it stands for a power that may be more or less."""
        if limit is None or verdict.value is None or not (self.more or self.less):
            return verdict
        low, high, value = limit.low, limit.high, verdict.value
        fails, passes = verdict.outcome is Outcome.FAIL, verdict.outcome is Outcome.PASS
        too_low, too_high = low is not None and value < low, high is not None and value > high
        if low is not None and ((fails and too_low and self.more) or (passes and self.less)):
            proved = f"below {show(low, 'watt')} it proves nothing" if fails else _not_shown("least", low)
            return self._undecided(verdict, proved)
        if high is not None and fails and too_high and self.less:
            return self._undecided(verdict, f"above {show(high, 'watt')} it proves nothing")
        if high is not None and passes and self.more:
            return replace(
                verdict, why=f"{verdict.why} {self._sentence(_not_shown('most', high))}", advice=self._advice()
            )
        return verdict

    def _undecided(self, verdict: Verdict, proved: str) -> Verdict:
        return replace(verdict, outcome=Outcome.UNDECIDED, why=self._sentence(proved), advice=self._advice())

    def _sentence(self, proved: str) -> str:
        reasons = " and ".join(dict.fromkeys((*self.more, *self.less)))
        return f"{reasons[:1].upper()}{reasons[1:]}, so the power is{self.words.removeprefix(',')}: {proved}."

    def _advice(self) -> str:
        reasons = (*self.more, *self.less)
        return " ".join(advice for word, advice in ((VESSEL, STATE_VESSEL), (DEPTH, STATE_DEPTH)) if word in reasons)


def _not_shown(which: str, watts: float) -> str:
    return f"that it is at {which} {show(watts, 'watt')} is not shown"


def unstated_of(founds: Sequence[LoadBalance], loads: Sequence[Load], stirred: Collection[str]) -> Unstated:
    """What nobody stated of vessels and of the probe's depth, by the way in which it would move the power."""
    more = [] if all(load.vessel.pieces for load in loads) else [VESSEL]
    less: list[str] = []
    for found in founds:
        sides = ((BEFORE, -1.0, found.first), (AFTER, 1.0, found.last))
        if found.heating.in_load:  # the same depth throughout: a part of every kelvin is missing
            more += [] if stirred else [DEPTH]
            continue
        for side, sign, end in sides:
            over = sign * (end.kelvin - found.exchange.room)
            if side not in stirred and abs(over) > SLIGHT * found.rise:
                (more if over > 0.0 else less).append(DEPTH)
    return Unstated(more=tuple(dict.fromkeys(more)), less=tuple(dict.fromkeys(less)))
