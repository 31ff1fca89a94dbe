"""Which bytes prove a frame, found from the frames alone: the kinds that a profile knows, in bytes or in hex digits."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from itertools import product
from typing import TYPE_CHECKING

from meterlog.conversation.checksum import KINDS, Sum, calculation
from meterlog.profile.propose.cyclic import cyclic
from meterlog.profile.propose.proofs import FEWEST, SKIPS, FoundCheck, allowed, found_check, holds, number, orders

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame
    from meterlog.profile.propose.proofs import Body

_SIZES = (4, 2, 1)
"""The widest first: a narrow one holds for a part of it too."""


def find_check(frames: Sequence[CutFrame], end: int) -> FoundCheck | None:
    """The check of these frames, an end mark of `end` bytes behind it; None where none holds for nearly all."""
    cut = sorted({frame.data[: len(frame.data) - end] for frame in frames})
    if len(cut) < FEWEST:
        return None
    for size in _SIZES:
        bodies = [(data[:-size], data[-size:]) for data in cut if len(data) > size + 2]
        if len(bodies) < FEWEST or len({check for _, check in bodies}) < 4:
            continue
        found = _sum(bodies, size) or cyclic(bodies, size)
        if found is not None:
            return found
    return None


def find_text_check(frames: Sequence[CutFrame], start: int, end: int) -> FoundCheck | None:
    """The check of lines, written in hex as their last characters before the end mark; `size` counts those."""
    texts = sorted({frame.raw[: len(frame.raw) - end] for frame in frames})
    if len(texts) < FEWEST:
        return None
    for size in (2, 1):
        found = [each for gap in (1, 0) if (each := _hex_check(texts, start, size, gap))]
        if found:
            return min(found, key=lambda each: len(each.keys))
    return None


def _hex_check(texts: Sequence[bytes], start: int, size: int, gap: int) -> FoundCheck | None:
    """A check of `size` bytes in hex at the end of lines, `gap` characters behind what it proves."""
    width = 2 * size
    good = [text for text in texts if len(text) >= width + gap + 4 and set(text[-width:]) <= _HEX]
    if len(texts) - len(good) > allowed(texts):
        return None
    bodies = {(text[start : len(text) - width - gap], bytes.fromhex(text[-width:].decode())): text for text in good}
    found = _sum([*bodies], size) or cyclic([*bodies], size) if len({check for _, check in bodies}) >= 4 else None
    if found is None:
        return None
    skip = start + int(str(found.keys.get("over", 0)).partition("..")[0])
    keys = {**found.keys, "over": f"{skip}..{-width - gap - 1}", "at": f"{-width}..-1", "as": "hex"}
    joined = {data + check: text for (data, check), text in bodies.items()}
    strays = {joined[stray] for stray in found.strays} | (set(texts) - set(good))
    return replace(found, keys=keys, size=width, strays=frozenset(strays))


_HEX = frozenset(b"0123456789ABCDEFabcdef")

# ---- sums and exclusive ors ----

_TURNS = ("", "negated", "inverted")


def _sum(bodies: Sequence[Body], size: int) -> FoundCheck | None:
    """The kinds of the profile language that are no CRC: as they are, then with a constant, then of seven bits."""
    ways = [(kind, order, skip) for kind, order, skip in product(KINDS, orders(size), SKIPS) if _is_of(kind, size)]
    for constant in (False, True):
        for kind, order, skip in ways:
            for turn in _TURNS:
                more = _holds_with(bodies, Sum(kind=kind, turn=turn), skip, order, constant=constant)
                if more is not None and not (kind == "sum-16" and _is_short(bodies, order)):
                    how = Sum(kind=kind, turn=turn, init=_number_in(more, "init"), plus=_number_in(more, "plus") or 0)
                    return found_check(f"{turn} {kind}".strip(), bodies, size, skip, order, more, calculation(how))
    if size == 1 and all(check[0] < 0x80 for _, check in bodies):
        for skip in SKIPS:
            if holds(bodies, seven := calculation(Sum(kind="sum-8", mask=0x7F)), skip, "big"):
                return found_check("sum-8", bodies, size, skip, "big", {"mask": "0x7F"}, seven)
    return None


def _number_in(said: Mapping[str, str], key: str) -> int | None:
    return int(said[key], 16) if key in said else None


def _is_of(kind: str, size: int) -> bool:
    return KINDS[kind].bits == 8 * size


def _is_short(bodies: Sequence[Body], order: str) -> bool:
    """Whether the high byte of a sum is never anything but 0: then it is no part of it."""
    return all(check[0 if order == "big" else 1] == 0 for _, check in bodies)


def _holds_with(bodies: Sequence[Body], how: Sum, skip: int, order: str, *, constant: bool) -> dict[str, str] | None:
    """What must be said besides for a way to hold for all; None where it does not."""
    prove = calculation(how)
    if not constant:
        return {} if holds(bodies, prove, skip, order) else None
    is_linear, mask = KINDS[how.kind].is_linear, (1 << how.bits) - 1
    if not (is_linear or how.kind in ("sum-8", "sum-16")) or how.turn == "inverted":
        return None
    differ = Counter(
        (value ^ sent) if is_linear else sent - value & mask
        for value, sent in ((prove(data[skip:]), number(check, order)) for data, check in bodies)
    )
    found, count = differ.most_common(1)[0]
    if len(bodies) - count > allowed(bodies):
        return None
    return {"init" if is_linear else "plus": f"0x{found:02X}"}
