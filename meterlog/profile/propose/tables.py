"""States as the fields of a profile: bits never set, a bit for each flag that has one, and a table of the rest.

Folded or not, what a profile reads is the same: the states that notes have shown are listed one by one, and a
combination that none has shown is rejected, however plain its parts look.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.propose import written
from meterlog.profile.propose.states import bit_width, bits_text

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.profile.propose.states import KnownStates, MaskedBits, StateMeaning

_MOST_BITS = 64


def state_lines(
    states: KnownStates, known: Mapping[int, StateMeaning], more: Sequence[str] = (), *, is_listed: bool = False
) -> list[str]:
    """The fields that tell a state, those that never changed, and `more` fields before them.

    `is_listed`: what the message is known by lists its states already.
    """
    idle = [f"# bytes not looked at, proved to say nothing of the display: {', '.join(map(str, states.idle))}"]
    out = [*(idle if states.idle else []), "fields:", *more, *_never_changed(states.fixed)]
    flags, places, rest = _folded(states.places, known)
    if flags and is_listed:
        out.append("  state:")
    elif flags:
        listed = ", ".join(code_text(code, states.places) for code in known)
        out.append("  state_known:  # the states that notes have shown; any other is not known, and rejected")
        out += [f"    bits: {bits_text(states.places)}", f"    is: [{listed}]", "  state:"]
    else:
        out.append("  state:  # any other code is a state that is not known, and rejected")
    out += [f"    bits: {bits_text(places)}", "    means:"]
    out += written.state_table(rest, lambda code: code_text(code, places), "      ")
    if flags:
        out += ["bits:  # set in all notes that say so, and in no other"]
        out += [f"  {byte}.{bit}: {words}" for (byte, bit), words in flags.items()]
    return out


def _never_changed(fixed: Sequence[tuple[int, int, int]]) -> list[str]:
    """Bits that were never set together, the others byte by byte."""
    out: list[str] = []
    unset: list[MaskedBits] = [(byte, mask) for byte, mask, value in fixed if not value]
    while unset:
        taken = [part for at, part in enumerate(unset) if bit_width(unset[: at + 1]) <= _MOST_BITS]
        out.append(f"  unused_{taken[0][0]}: {{bits: {bits_text(taken)}, is: 0}}  # never set")
        unset = unset[len(taken) :]
    for byte, mask, value in fixed:
        if value:
            where = f"byte: {byte}" if mask == 0xFF else f"bits: {bits_text([(byte, mask)])}"
            out.append(f"  fixed_{byte}: {{{where}, is: 0x{value:02X}}}  # never anything else")
    return out


def code_text(code: int, places: Sequence[MaskedBits]) -> str:
    """A code in hex, with as many digits as its bits need."""
    return f"0x{code:0{-(-bit_width(places) // 4)}X}"


# ---- flags that are a bit of their own ----


def _folded(
    places: Sequence[MaskedBits], known: Mapping[int, StateMeaning]
) -> tuple[dict[tuple[int, int], str], Sequence[MaskedBits], Mapping[int, StateMeaning]]:
    """(bits with what they say, the places of the other bits, a table of these); no bits where nothing folds."""
    row = [(byte, bit) for byte, mask in places for bit in range(7, -1, -1) if mask >> bit & 1]
    column = {bit: tuple(bool(code >> len(row) - 1 - at & 1) for code in known) for at, bit in enumerate(row)}
    flags: dict[tuple[int, int], str] = {}
    for words in dict.fromkeys(words for meaning in known.values() for words in _apart(meaning)):
        said = tuple(words in _apart(meaning) for meaning in known.values())
        fits = [bit for bit in row if column[bit] == said and bit not in flags]
        if len(fits) == 1 and len(set(said)) == 2:
            flags[fits[0]] = words
    left = [bit for bit in row if bit not in flags]
    rest: dict[int, StateMeaning] = {}
    for code, meaning in known.items():
        short = int("".join(str(code >> len(row) - 1 - row.index(bit) & 1) for bit in left) or "0", 2)
        plain = _without(meaning, set(flags.values()))
        before = rest.setdefault(short, plain)
        if before.words != plain.words:
            return {}, places, known
        if before is not plain:
            rest[short] = replace(before, learned_at=(*before.learned_at, *plain.learned_at))
    return (flags, _masked(left), rest) if flags and left else ({}, places, known)


def _apart(meaning: StateMeaning) -> list[str]:
    """What of a meaning may have a bit of its own: flags, and the sign."""
    flags = [part for part in meaning.facts.split("; ") if part.startswith("flag ")]
    return [*flags, *(["negative"] if meaning.is_negative else [])]


def _without(meaning: StateMeaning, words: set[str]) -> StateMeaning:
    facts = "; ".join(part for part in meaning.facts.split("; ") if part not in words)
    return replace(meaning, facts=facts, is_negative=meaning.is_negative and "negative" not in words)


def _masked(bits: Sequence[tuple[int, int]]) -> list[MaskedBits]:
    masks: dict[int, int] = {}
    for byte, bit in bits:
        masks[byte] = masks.get(byte, 0) | 1 << bit
    return list(masks.items())
