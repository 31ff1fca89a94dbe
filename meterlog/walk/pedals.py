"""Control lines of a serial adapter as pedals: debounced, and each the act that it stands for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

DEBOUNCE_S = 0.03
"""A contact that has not changed for so long is at rest."""
PEDAL_UNCERTAINTY_S = 0.03
"""Standard uncertainty of when a pedal was pressed: its travel and the polling of the line."""
PEDALS: Mapping[str, str] = {"cts": "press", "dsr": "again", "dcd": "back", "ri": "next"}
"""What each line does when it goes on, unless the bench says otherwise: "meter cts" is that of one instrument."""


@dataclass(slots=True)
class _Contact:
    at_rest: bool = False
    now: bool = False
    changed: float = 0.0
    first: float | None = None


class Pedals:
    """Debounces control lines. A press counts from its first edge, and is told when the contact rests."""

    def __init__(self, words: Mapping[str, str] = PEDALS) -> None:
        self._words = words
        self._contacts: dict[tuple[str, str], _Contact] = {}

    def edge(self, source: str, line: str, on: bool, at: float) -> None:
        """A line changed."""
        contact = self._contacts.setdefault((source, line), _Contact())
        if on != contact.at_rest and contact.first is None:
            contact.first = at
        contact.now, contact.changed = on, at

    def pressed(self, at: float) -> list[tuple[str, float]]:
        """The acts that are certain by now, each with the time of its first edge."""
        out: list[tuple[str, float]] = []
        for (source, line), contact in self._contacts.items():
            if contact.first is None or at - contact.changed < DEBOUNCE_S:
                continue
            word = self._words.get(f"{source} {line}", self._words.get(line))
            if contact.now and not contact.at_rest and word:
                out.append((word, contact.first))
            contact.at_rest, contact.first = contact.now, None
        return sorted(out, key=lambda press: press[1])

    @property
    def wake_at(self) -> float | None:
        """When `pressed` must be asked next, None when every contact is at rest."""
        waiting = [contact.changed + DEBOUNCE_S for contact in self._contacts.values() if contact.first is not None]
        return min(waiting, default=None)
