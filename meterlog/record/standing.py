"""Of several verdicts on a step, the one that counts: the rule for walk, pages, sheets, commands and audit alike.

Which of several captures counts is the step's to say: `procedure.steps.Step.counting`.
"""

from __future__ import annotations

from operator import attrgetter
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable

V = TypeVar("V")

Linked = tuple[int, int, int | None]
"""A verdict's id, its step's id, and the id of the verdict that it supersedes."""


def standing(
    verdicts: Iterable[V],
    first: Collection[int] = (),
    *,
    linked: Callable[[V], Linked] = attrgetter("id", "step", "supersedes"),
) -> dict[int, V]:
    """By step, the verdict that counts: of those that nothing supersedes the last; for the steps `first`, the first.

    Verdicts come oldest first; `linked` reads one.
    """
    known = [(linked(verdict), verdict) for verdict in verdicts]
    superseded = {supersedes for (_, _, supersedes), _ in known}
    by_step: dict[int, list[V]] = {}
    for (number, step, _), verdict in known:
        if number not in superseded:
            by_step.setdefault(step, []).append(verdict)
    return {step: kept[0 if step in first else -1] for step, kept in by_step.items()}
