"""What a walk that has come to its end amounts to: the tally, what is missing, and the way back to it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.procedure.steps import StepKind

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

GROUPS = {
    "fail": "failed",
    "lapsed": "passed before it was opened again: counts no more",
    "found wanting": "found not well",
    "undecided": "undecided",
    "not judged": "not judged",
    "captured": "without a verdict",
    "skipped": "skipped",
    "passed over": "passed over",
    "": "not done",
    "pass": "passed",
    "looked": "looked over",
    "computed": "worked out",
    "recorded": "recorded, with no limit to hold it against",
}
"""What each state of a check is called in the tally; what keeps a job from being whole comes first."""
WHOLE = ("pass", "looked", "computed", "recorded")


def ending(steps: Sequence[Mapping[str, Any]], unlimited: frozenset[str] = frozenset()) -> dict[str, Any]:
    """The tally of a walk's steps, worst first, with those that are not whole: `says`, `tally`, `open`.

    `unlimited`: keys of the steps that have no limit; what was measured there is whole once it is recorded.
    """
    by_state: dict[str, list[Mapping[str, Any]]] = {state: [] for state in GROUPS}
    for step in steps:
        by_state.setdefault(_state(step, unlimited), []).append(step)
    tally = [(GROUPS.get(state, state), len(found)) for state, found in by_state.items() if found]
    missing = [(GROUPS.get(s, s), step) for s, found in by_state.items() if s not in WHOLE for step in found]
    return {"says": _says(len(steps), len(missing)), "tally": tally, "open": missing}


def _state(step: Mapping[str, Any], unlimited: frozenset[str]) -> str:
    state: str = step["state"]
    if step["key"] in unlimited and state in ("not judged", "captured"):
        return "recorded"
    is_memory = step.get("lapsed") and step.get("safety") and step["kind"] not in (StepKind.LOOK, StepKind.DEAD)
    return "lapsed" if is_memory and state == "pass" else state


def _says(steps: int, missing: int) -> str:
    if not missing:
        return f"All {steps} checks are answered, and none of them failed."
    whole = steps - missing or "None"
    return f"{whole} of {steps} checks came out well."
