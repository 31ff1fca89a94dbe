"""What a value is held against: an acceptance interval with its source, and the rule that decides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


class Rule(StrEnum):
    """Decision rules, named as ILAC-G8 and JCGM 106 name them."""

    SIMPLE = "simple acceptance"
    GUARD = "guard band"
    PROBABILITY = "probability of conformity"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """An acceptance interval in SI with where it comes from. One side may be None.

    Attributes:
        low, high: bounds, SI; a value on the bound is inside. Parts of an entry when `of` is set.
        unit: the unit the limit was written in, for showing it.
        text: the limit as written ("at most 0.3 ohm").
        source: edition, clause; or "common practice, no source".
        mark: how the source was seen, one of `MARKS`.
        where: the jurisdiction that the limit belongs to, "" for all.
        of: the plate's or asked entry that `low` and `high` are parts of, "" when they are SI values.
        by: the word for the method's rule, where the limit is left to the method and names one.
        is_open: an open circuit passes and nothing else; both bounds are None then. Where both are
            None otherwise, the step's method finds them.
    """

    low: float | None
    high: float | None
    unit: str
    text: str
    source: str
    mark: str = ""
    where: str = ""
    of: str = ""
    by: str = ""
    is_open: bool = False

    @property
    def by_method(self) -> bool:
        """Whether the step's method finds the limit."""
        return self.low is None and self.high is None and not self.is_open

    def against(self, entries: Mapping[str, tuple[float, float]]) -> Limit:
        """The limit in SI, once the entry that it is a part of has its ends, SI; itself when it names none.

        Of a plate that states a range, the lower bound is a part of its lower end, the upper one of its upper end.

        Raises: KeyError, when the entry has no value yet.
        """
        if not self.of:
            return self
        ends = entries[self.of]
        low, high = (
            None if part is None else part * end for part, end in zip((self.low, self.high), ends, strict=True)
        )
        return replace(self, low=low, high=high, of="")


MARKS = {
    "read": "the passage was read",
    "read second-hand": "a page quoting it was read, not the source itself",
    "memory": "from memory, unchecked: confirm before relying on it",
    "computed here": "derived by arithmetic that the source states",
    "common practice": "a habit of the trade, no source",
}
"""How a limit's source was seen: the mark that travels with it, and what it means."""
