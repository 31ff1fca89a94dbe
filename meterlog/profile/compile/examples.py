"""A profile's examples: frames in, what the display showed expected out.

0.420 kohm                         digits and unit are always compared
sub = -12.50 mV ac voltage (hold; auto range)   channel, mode, quantity and flags where they are written
overload ohm, open sensor degC, > 2.2 Gohm, below kg, nothing
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.readings import Bound, Frame, Reading, Rejected, StreamOutcome
from meterlog.base.unit_names import plain
from meterlog.conversation.drive import drive, received
from meterlog.profile.language.facts import MODES

if TYPE_CHECKING:
    from collections.abc import Sequence

    from meterlog.base.source import Problems
    from meterlog.conversation.conversation import Conversation
    from meterlog.profile.language.keys import Example

_SHOWN = re.compile(
    r"(?:(?P<channel>[^=]+?) *= *)?(?P<edge>[<>] *)?"
    r"(?P<digits>[-+]?\d*\.?\d+(?:E\+\d+)?|overload|open sensor|above|below)"
    r"(?: +(?P<unit>[^ (]+(?: \* [^ (]+)?))?(?: +(?P<mode>ac\+dc|ac|dc))?"
    r"(?: +(?P<quantity>[a-z_ ]+?))?(?: *\((?P<flags>[^)]*)\))?",
)
_EDGES = {Bound.ABOVE: "> ", Bound.BELOW: "< "}


def shown(reading: Reading) -> str:
    """A reading as an example writes it, in full."""
    form = reading.form
    edge = _EDGES.get(form.bound, "") if form.bound else ""
    words = [edge + reading.digits if reading.digits else str(form.bound), form.unit, form.mode]
    text = " ".join(word for word in words if word) + " " + form.quantity.replace("_", " ")
    flags = f" ({'; '.join(form.flags)})" if form.flags else ""
    return (f"{form.channel} = " if form.channel != "main" else "") + text + flags


def agrees(reading: Reading, said: str) -> bool:
    """Whether a reading is what an example says; what the example leaves out is not compared."""
    match = _SHOWN.fullmatch(said.strip())
    if not match:
        return False
    form = reading.form
    edge = (match["edge"] or "").strip()
    expected_bound = {">": Bound.ABOVE, "<": Bound.BELOW}.get(edge)
    digits = match["digits"].removeprefix("+")
    if digits in tuple(Bound):
        expected_bound, digits = Bound(digits), ""
    if reading.digits != digits:
        return False
    flags = match["flags"]
    return (
        form.bound == expected_bound
        and (match["channel"] or "main").strip() == form.channel
        and (match["unit"] is None or plain(match["unit"]) == form.unit)
        and (match["mode"] is None or match["mode"] == form.mode)
        and (match["quantity"] is None or match["quantity"].strip().replace(" ", "_") == form.quantity)
        and (
            flags is None
            or sorted(word.strip() for word in re.split("[;,]", flags) if word.strip()) == list(form.flags)
        )
    )


def said_well(said: str) -> bool:
    """Whether the words after `shows` can be read at all."""
    match = _SHOWN.fullmatch(said.strip())
    return said.strip() == "nothing" or bool(match and match["digits"] and (match["mode"] in (None, *MODES)))


def heard(example: Example, conversation: Conversation, frame: bytes) -> list[StreamOutcome]:
    """What a frame gives where the example's stands: after its earlier frames and its request."""
    return _heard(example, conversation, frame)[1]


def _heard(
    example: Example, conversation: Conversation, frame: bytes
) -> tuple[list[StreamOutcome], list[StreamOutcome]]:
    """What the frames before it give, and what a frame gives behind them."""
    before = [event for earlier in example.after for event in received(earlier.frame, earlier.request)]
    start = sum(len(earlier.frame) for earlier in example.after)
    outcomes = list(drive(conversation, [*before, *received(frame, example.request)]))
    mine = [outcome.start + len(outcome.raw) > start for outcome in outcomes]
    first = mine.index(True) if True in mine else len(mine)
    return outcomes[:first], outcomes[first:]


def run(example: Example, conversation: Conversation, requests: Sequence[bytes], problems: Problems) -> None:
    """Decode one example and tell where it differs; `requests` are those of the profile, as they are sent."""
    where = example.where
    for request in [example.request, *(earlier.request for earlier in example.after)]:
        if request and request not in requests:
            hint = "sent are " + "; ".join(f"hex {request.hex(' ').upper()}" for request in requests[:4])
            saw = f"hex {request.hex(' ').upper()}"
            where.tell(problems, "request", expected="a request of this profile, its check too", saw=saw, hint=hint)
            return
    if example.rejected is not None and example.shows is not None:
        where.tell(problems, "rejected", expected="`shows` or `rejected`", saw="both")
        return
    earlier, found = _heard(example, conversation, example.frame)
    rejected = [o for o in found if isinstance(o, Rejected)]
    readings = [r for o in found if isinstance(o, Frame) for r in o.readings]
    framed = any(isinstance(o, Frame) for o in found)
    if example.rejected is not None:
        if framed or not any(example.rejected in o.reason for o in rejected):
            where.tell(
                problems, "rejected", expected=f"a rejection for {example.rejected!r}", saw=_found(found, readings)
            )
        return
    if example.shows is None:
        where.tell(problems, expected="the key 'shows' or 'rejected'", saw="neither")
        return
    wanted = [said for said in example.shows if said != "nothing"]
    unread = [said for said in wanted if not said_well(said)]
    if unread:
        where.tell(
            problems,
            "shows",
            expected='what the display showed, such as "0.420 kohm" or "sub = overload ohm"',
            saw=unread[0],
        )
    elif not framed or rejected or len(wanted) != len(readings) or not all(map(agrees, readings, wanted)):
        spoiled = next(
            (f"of the frames before it one is rejected: {o.reason}" for o in earlier if isinstance(o, Rejected)), ""
        )
        hint = spoiled or _zeros(readings, wanted) or "see `meterlog profile explain` for how the frame was read"
        where.tell(problems, "shows", expected="; ".join(example.shows), saw=_found(found, readings), hint=hint)


def _zeros(readings: Sequence[Reading], wanted: Sequence[str]) -> str:
    """What to do where the digits differ in zeros before them alone; else nothing."""
    for reading, said in zip(readings, wanted, strict=False):
        match = _SHOWN.fullmatch(said.strip())
        if match and reading.digits != match["digits"] and _stripped(reading.digits) == _stripped(match["digits"]):
            return "digits are kept as they come, zeros before them too: write what stands in the frame"
    return ""


def _stripped(digits: str) -> str:
    return re.sub(r"^([-+]?)0+(?=\d)", r"\1", digits)


def _found(found: list[StreamOutcome], readings: list[Reading]) -> str:
    reasons = [f"rejected: {o.reason}" for o in found if isinstance(o, Rejected)]
    if reasons or readings:
        return "; ".join(reasons or map(shown, readings))
    return "nothing" if any(isinstance(o, Frame) for o in found) else "no frame in these bytes"
