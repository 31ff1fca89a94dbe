"""Lines of text as a profile says them: a message for each way in which lines begin and end."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.profile.propose import written
from meterlog.profile.propose.lines import PROOF, RUNS
from meterlog.profile.propose.states import Contradiction

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.propose.lines import TextStates
    from meterlog.profile.propose.states import StateMeaning

_OVER = re.compile(r"[-+]?(?:[0O]\.?L\.?|\.[0O]L|OVER\w*|-{3,6})", re.IGNORECASE)
_MASKS = re.compile(f"[{RUNS}{PROOF}]")


def messages_of(states: TextStates) -> list[str]:
    """A profile's messages: overloads as whole lines, numbers by what stands around them."""
    out = ["messages:"]
    for number, (text, meaning) in enumerate(states.overs.items(), start=1):
        before, over, after = _over_in(text, next(iter(states.known), ("", "", False))[0])
        special = f", special: {{{written.single(over.strip())}: overload}}"
        head, tail = _unmasked_head(after)
        out += _message(f"over_{number}", before, re.escape(over), {head: meaning}, tail, f"decimal{special}")
    shapes = dict.fromkeys((before, point, _unmasked_head(after)[1]) for before, after, point in states.known)
    for number, (before, point, tail) in enumerate(sorted(shapes), start=1):
        heads = {
            _unmasked_head(after)[0]: meaning
            for (own, after, own_point), meaning in states.known.items()
            if (own, own_point, _unmasked_head(after)[1]) == (before, point, tail)
        }
        kind = "decimal comma" if states.comma and point else "decimal"
        out += _message(f"shown_{number}", before, _figures(states, has_point=point), heads, tail, kind)
    return out


def _figures(states: TextStates, *, has_point: bool) -> str:
    mark = re.escape("," if states.comma else ".")
    figures = rf"\d*{mark}\d+" if has_point else states.figures
    return figures if states.sign_is_apart else f" *[-+]? *{figures}"


def _over_in(text: str, before: str) -> tuple[str, str, str]:
    """A line over the range, cut at what stands for the digits.

    Where no word says it, that is the part between separators in which other lines, that begin with `before`, have
    their digits; else the longest part without a mask.
    """
    match = _OVER.search(text)
    parts = list(re.finditer(r"[^,;\t]+", text))
    place = len(re.findall(r"[,;\t]", before))
    if match is None and 0 < place < len(parts) and not _MASKS.search(parts[place][0]):
        match = parts[place]
    match = match or max(re.finditer(f"[^{RUNS}{PROOF}]+", text), key=lambda m: len(m[0]))
    return text[: match.start()], match[0], text[match.end() :]


def _unmasked_head(after: str) -> tuple[str, str]:
    """What stands behind the digits, parted where the first figures that run, or the check, begin."""
    masked = _MASKS.search(after)
    return (after[: masked.start()], after[masked.start() :]) if masked else (after, "")


def _escaped(text: str) -> str:
    return re.escape(text).replace(RUNS, r"\d+").replace(PROOF, "[0-9A-Fa-f]")


def _message(
    name: str, before: str, figures: str, heads: Mapping[str, StateMeaning], tail: str, kind: str
) -> list[str]:
    """Lines that begin and end alike; what stands between tells the state."""
    ends = "|".join(map(_escaped, heads))
    pattern = f"{_escaped(before)}(?P<value>{figures})(?P<after>{ends}){_escaped(tail)}"
    merged: dict[str, StateMeaning] = {}
    for head, meaning in heads.items():
        if merged.setdefault(head.strip(), meaning).words != meaning.words:
            raise Contradiction("lines that differ by blanks alone mean different things", meaning.learned_at)
    return [
        f"  {name}:",
        f"    pattern: {written.single(pattern)}",
        "    fields:",
        f"      value: {{as: {kind}}}",
        "      after:",
        "        means:",
        *written.state_table(merged, written.single, "          "),
        "    readings:",
        "      - {value: value}",
    ]
