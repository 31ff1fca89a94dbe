"""What a kind of step is: everything that differs between kinds, in one record that each fills whole.

A member that a kind leaves out does not pass the type checker. What watches a link stands in `meterlog.walk.answers`,
since it knows streams of readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

PROBED = frozenset({"points", "instrument", "mode", "limits", "hold", "settling", "which counts", "rule"})
"""Keys of a step whose points are touched."""
JUDGED = frozenset({"quantity", "method", "with", "limits", "which counts", "rule"})
"""Keys of a step that is judged."""


class Opens(StrEnum):
    """What a step waits for once its gate is open."""

    LOOK = "look"  # the person looks and says
    WATCH = "watch"  # readings answer it
    START = "start"  # the person says when it starts
    STIR = "stir"  # the person puts the probe into the load, and says so
    COMPUTED = "computed"  # nothing: it answers itself


class Watched(Enum):
    """What watches a link for a step: see `meterlog.walk.answers`."""

    NOTHING = auto()
    SETTLED = auto()  # readings that stand still
    SHORTED = auto()  # the same, of leads held together
    OPEN = auto()  # between two shorts of the leads
    DEAD = auto()  # between two readings of a known source
    AT_TIME = auto()  # the reading when the time is up
    SWITCHED = auto()  # what comes and goes
    LOGGED = auto()  # the whole run


def never(_: str) -> bool:
    return False


def always(_: str) -> bool:
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of step.

    Attributes:
        name: its word, in procedures and in the record.
        needed, allowed: the keys that it must have and may have, beside those of every step.
        quantity: what it measures where the procedure need not say, "" where it must.
        wants_two_points: whether two points are touched, by the quantity measured.
        is_dead_only: the part must be dead: never in an energised step.
        proves_dead: it shows that the appliance is dead: mains ends it, and it waits for no such proof itself.
        is_null: its value is the leads' own, taken off what follows.
        is_left_in_words: never passed over by Next: only answered, or skipped with the reason.
        method_finds_limit: its method may find the limit that it is judged by.
        opens: what it waits for once its gate is open.
        watched: what watches a link for it.
        on_screen: what is asked for before anything is proved or taken, "" where its phase says it.
        on_sheet: how it is done, a few words.
        may_be_typed: what an instrument that is not heard showed may answer it.
        never_typed: why nothing typed, or no bound that is typed, answers it; a sentence, "" where all does.
        is_run: its capture is a whole log, which goes on after Stop: what it found comes from all of it.
    """

    name: str
    needed: frozenset[str]
    allowed: frozenset[str]
    quantity: str
    wants_two_points: Callable[[str], bool]
    is_dead_only: bool
    proves_dead: bool
    is_null: bool
    is_left_in_words: bool
    method_finds_limit: bool
    opens: Opens
    watched: Watched
    on_screen: str
    on_sheet: str
    may_be_typed: bool
    never_typed: str
    is_run: bool
