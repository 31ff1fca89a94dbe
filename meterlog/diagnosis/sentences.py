"""A suggestion in words: one sentence with its reason, no likelihood finer than tenths, no more than it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.diagnosis.belief import MOST_SHOWN
from meterlog.diagnosis.model import SOMETHING_ELSE, CheckOutcome

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from meterlog.diagnosis.model import Model
    from meterlog.diagnosis.suggestion import Suggestion
    from meterlog.procedure.steps import Procedure


def why_in_order(procedure: Procedure, complaint: str) -> str:
    """Why nothing is weighed."""
    stated = procedure.diagnosis
    if stated is None:
        return f"{procedure.title} states no faults"
    known = ", ".join(repr(name) for name in stated.complaints if name != complaint)
    return f"{procedure.title} states faults of {known}, and " + (
        f"none of {complaint!r}" if complaint else "no complaint is told"
    )


def shown_parts(suggestion: Suggestion) -> tuple[tuple[str, float], ...]:
    """Each part with its guarded probability, never above nine in ten, likeliest first."""
    by_part = suggestion.shown.parts
    return tuple(sorted(((name, min(p, MOST_SHOWN)) for name, p in by_part.items()), key=lambda pair: -pair[1]))


def in_ten(probability: float) -> str:
    """A probability in words, no finer than tenths.

    >>> in_ten(0.68)
    'about 7 in 10'
    """
    tenths = min(9, round(probability * 10))
    return f"about {tenths} in 10" if tenths else "less than 1 in 10"


def why_check(
    procedure: Procedure, model: Model, suggestion: Suggestion, findings: Collection[str], gate: str | None
) -> str:
    """What to do, how long it takes, what a fail would point to and what a pass would leave; first the `gate`."""
    check = suggestion.check
    assert check is not None
    before = dict(shown_parts(suggestion))
    failed = suggestion.shown.after(check, CheckOutcome.FAIL).parts
    passed = suggestion.shown.after(check, CheckOutcome.PASS).parts
    named = [name for name in failed if name != SOMETHING_ELSE]
    suspect = max(named, key=lambda name: failed[name] - before.get(name, 0.0))
    ahead = max(passed, key=lambda name: passed[name])
    there = {name for other in model.checks if other.key in findings for name in other.set_ups}
    ready = [name for name in check.set_ups if name in there]
    extra = f", {' and '.join(ready)} already" if ready and gate is None else ""
    minutes = f"{max(suggestion.minutes, 0.1):.2g} min"
    sentence = (
        f"{procedure.step(check.key).title}, {minutes}{extra}: a fail points to the {suspect} "
        f"(now {in_ten(before[suspect])}), a pass leaves {_the(ahead)} ahead ({in_ten(passed[ahead])})."
    )
    return f"First: {procedure.step(gate).title}; then: {sentence}" if gate else f"Next: {sentence}"


def why_stop(procedure: Procedure, model: Model, suggestion: Suggestion, findings: Mapping[str, CheckOutcome]) -> str:
    """Why measuring stops, and which part comes first; never to be renewed without a failed check of it alone."""
    if suggestion.misfit:
        return "What was found does not fit any fault that is stated: look again, and measure again what surprises."
    if not suggestion.renew:
        return "No part that is stated is left: it is something else."
    first, likely = suggestion.renew[0], dict(shown_parts(suggestion))
    if CheckOutcome.FAIL not in findings.values() and likely[SOMETHING_ELSE] > likely[first]:
        other = in_ten(likely[SOMETHING_ELSE])
        return f"More measuring is not worth it: no check has failed, and it is likeliest something else ({other})."
    named = {fault.key for fault in model.faults}
    of_it = {fault.key for fault in model.faults if fault.part == first}
    begun = f"More measuring is not worth it; first comes the {first} ({in_ten(likely[first])})"
    about = [check for check in model.checks if of_it & set(check.finds)]
    alone = [check for check in about if named & set(check.finds) <= of_it]
    failed = [check for check in alone if findings.get(check.key) is CheckOutcome.FAIL]
    if failed:
        return f"{begun}: {procedure.step(failed[-1].key).title.lower()} failed."
    left = [check for check in about if check.key not in findings]
    surest = max(left, key=lambda check: max(check.finds[fault] for fault in of_it & set(check.finds)), default=None)
    show = f"; {procedure.step(surest.key).title.lower()} would show it" if surest else ""
    return f"{begun}, but no check of it alone has failed: that is no reason to renew it{show}."


def _the(name: str) -> str:
    return name if name == SOMETHING_ELSE else f"the {name}"
