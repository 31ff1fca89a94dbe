"""Which bytes prove a frame, found from the frames alone: sums and exclusive ors, and any cyclic redundancy check.

For a CRC, the exclusive or of two frames of one length is, as a polynomial over two elements, a multiple of the
generator: start value and final xor cancel. The greatest common divisor of several such differences is the generator.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Any

from meterlog.conversation.checksum import KINDS, Sum, calculation, catalogue

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from meterlog.profile.propose.framing import CutFrame

FEWEST = 6
"""Different frames below which no check is proposed."""

_MANY, _STRAYS = 20, 0.2
"""Where so many different frames came, a check may fail for this part of them: damage does not hide it."""

_SKIPS = (0, 1, 2, 3)
_SAMPLE, _SAMPLES = 12, 4
_SIZES = (4, 2, 1)
"""The widest first: a narrow one holds for a part of it too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundCheck:
    """A check with its keys in a profile, `size` bytes before the end mark.

    It holds for `frames` different frames, and not for the `strays`: damaged ones, or of another kind.
    """

    name: str
    keys: Mapping[str, Any]
    size: int
    frames: int
    strays: frozenset[bytes] = frozenset()


def find_check(frames: Sequence[CutFrame], end: int) -> FoundCheck | None:
    """The check of these frames, an end mark of `end` bytes behind it; None where none holds for nearly all."""
    cut = sorted({frame.data[: len(frame.data) - end] for frame in frames})
    if len(cut) < FEWEST:
        return None
    for size in _SIZES:
        bodies = [(data[:-size], data[-size:]) for data in cut if len(data) > size + 2]
        if len(bodies) < FEWEST or len({check for _, check in bodies}) < 4:
            continue
        found = _sum(bodies, size) or _cyclic(bodies, size)
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
    if len(texts) - len(good) > _allowed(texts):
        return None
    bodies = {(text[start : len(text) - width - gap], bytes.fromhex(text[-width:].decode())): text for text in good}
    found = _sum([*bodies], size) or _cyclic([*bodies], size) if len({check for _, check in bodies}) >= 4 else None
    if found is None:
        return None
    skip = start + int(str(found.keys.get("over", 0)).partition("..")[0])
    keys = {**found.keys, "over": f"{skip}..{-width - gap - 1}", "at": f"{-width}..-1", "as": "hex"}
    joined = {data + check: text for (data, check), text in bodies.items()}
    strays = {joined[stray] for stray in found.strays} | (set(texts) - set(good))
    return replace(found, keys=keys, size=width, strays=frozenset(strays))


_HEX = frozenset(b"0123456789ABCDEFabcdef")

Body = tuple[bytes, bytes]


def _keys(kind: str, size: int, skip: int, **more: Any) -> dict[str, Any]:
    keys: dict[str, Any] = {"kind": kind}
    if skip:
        keys["over"] = f"{skip}..{-size - 1}"
    keys["at"] = f"{-size}..-1" if size > 1 else -1
    return keys | {name: value for name, value in more.items() if value}


# ---- sums and exclusive ors ----

_TURNS = ("", "negated", "inverted")


def _sum(bodies: Sequence[Body], size: int) -> FoundCheck | None:
    """The kinds of the profile language that are no CRC: as they are, then with a constant, then of seven bits."""
    ways = [(kind, order, skip) for kind, order, skip in product(KINDS, _orders(size), _SKIPS) if _is_of(kind, size)]
    for constant in (False, True):
        for kind, order, skip in ways:
            for turn in _TURNS:
                more = _holds_with(bodies, Sum(kind=kind, turn=turn), skip, order, constant=constant)
                if more is not None and not (kind == "sum-16" and _is_short(bodies, order)):
                    how = Sum(kind=kind, turn=turn, init=_number_in(more, "init"), plus=_number_in(more, "plus") or 0)
                    return _found(f"{turn} {kind}".strip(), bodies, size, skip, order, more, calculation(how))
    if size == 1 and all(check[0] < 0x80 for _, check in bodies):
        for skip in _SKIPS:
            if _holds(bodies, seven := calculation(Sum(kind="sum-8", mask=0x7F)), skip, "big"):
                return _found("sum-8", bodies, size, skip, "big", {"mask": "0x7F"}, seven)
    return None


def _number_in(said: Mapping[str, str], key: str) -> int | None:
    return int(said[key], 16) if key in said else None


def _orders(size: int) -> tuple[str, ...]:
    return ("big", "little")[:size]


def _is_of(kind: str, size: int) -> bool:
    return KINDS[kind].bits == 8 * size


def _found(
    name: str, bodies: Sequence[Body], size: int, skip: int, order: str, more: Mapping[str, Any], prove: Any
) -> FoundCheck:
    told = {"order": order if order == "little" else "", **more}
    strays = frozenset(data + check for data, check in bodies if prove(data[skip:]) != _number(check, order))
    return FoundCheck(
        name=name, keys=_keys(name, size, skip, **told), size=size, frames=len(bodies) - len(strays), strays=strays
    )


def _is_short(bodies: Sequence[Body], order: str) -> bool:
    """Whether the high byte of a sum is never anything but 0: then it is no part of it."""
    return all(check[0 if order == "big" else 1] == 0 for _, check in bodies)


def _holds_with(bodies: Sequence[Body], how: Sum, skip: int, order: str, *, constant: bool) -> dict[str, str] | None:
    """What must be said besides for a way to hold for all; None where it does not."""
    prove = calculation(how)
    if not constant:
        return {} if _holds(bodies, prove, skip, order) else None
    is_linear, mask = KINDS[how.kind].is_linear, (1 << how.bits) - 1
    if not (is_linear or how.kind in ("sum-8", "sum-16")) or how.turn == "inverted":
        return None
    differ = Counter(
        (value ^ sent) if is_linear else sent - value & mask
        for value, sent in ((prove(data[skip:]), _number(check, order)) for data, check in bodies)
    )
    found, count = differ.most_common(1)[0]
    if len(bodies) - count > _allowed(bodies):
        return None
    return {"init" if is_linear else "plus": f"0x{found:02X}"}


# ---- cyclic redundancy checks ----


def _cyclic(bodies: Sequence[Body], size: int) -> FoundCheck | None:
    width = 8 * size
    by_length: dict[int, list[Body]] = {}
    for body in bodies:
        by_length.setdefault(len(body[0]), []).append(body)
    same = max(by_length.values(), key=len)
    if len(same) < FEWEST:
        return None
    for skip, reflected, order in product(_SKIPS, (False, True), _orders(size)):
        for few in _samples(same):
            generator = _generator([(data[skip:], check) for data, check in few], reflected, order, width)
            if generator is None:
                continue
            found = _by_name(bodies, generator, reflected, order, width) or _by_parameters(
                bodies, few[0], generator, skip, reflected, order, width
            )
            if found is not None:
                return found
    return None


def _samples(same: Sequence[Body]) -> Iterator[Sequence[Body]]:
    """All frames; and where there are many, a few of them at a time, so that some are without a damaged one."""
    yield same
    if len(same) >= _MANY:
        step = max(1, len(same) // _SAMPLE)
        for first in range(min(_SAMPLES, step)):
            yield same[first::step][:_SAMPLE]


def _generator(same: Sequence[Body], reflected: bool, order: str, width: int) -> int | None:
    """The generator polynomial with its top bit, from the differences of frames of one length; None where none is."""
    words = [_word(data, check, reflected, order) for data, check in same]
    common = 0
    for word in words[1:]:
        common = _gcd(common, word ^ words[0])
    while common and not common & 1:
        common >>= 1
    for extra in (1, 3, 7, 5, 9, 11, 13, 15):
        quotient, rest = _divided(common, extra)
        if rest == 0 and quotient.bit_length() - 1 == width and quotient & 1:
            return quotient
    return None


def _word(data: bytes, check: bytes, reflected: bool, order: str) -> int:
    """A frame as a polynomial: bytes reversed where the smallest bit goes first, the check's byte order undone."""
    ordered = check if (order == "big") != reflected else check[::-1]
    whole = data + ordered
    if reflected:
        whole = bytes(int(f"{byte:08b}"[::-1], 2) for byte in whole)
    return int.from_bytes(whole, "big")


def _divided(a: int, b: int) -> tuple[int, int]:
    """Quotient and rest of polynomials over two elements."""
    quotient, size = 0, b.bit_length()
    while a.bit_length() >= size:
        shift = a.bit_length() - size
        quotient |= 1 << shift
        a ^= b << shift
    return quotient, a


def _gcd(a: int, b: int) -> int:
    while b:
        a, b = b, _divided(a, b)[1]
    return a


def _by_name(bodies: Sequence[Body], generator: int, reflected: bool, order: str, width: int) -> FoundCheck | None:
    poly = generator ^ 1 << width
    for name, made in catalogue().items():
        if made._width != width or made._poly != poly or made._reflect_input != reflected:
            continue
        prove = calculation(Sum(kind=name))
        for skip in _SKIPS:
            if _holds(bodies, prove, skip, order):
                return _found(made._names[0], bodies, width // 8, skip, order, {}, prove)
    return None


def _by_parameters(
    bodies: Sequence[Body], sound: Body, generator: int, skip: int, reflected: bool, order: str, width: int
) -> FoundCheck | None:
    """The start value is solved for, with no final xor or one of all ones: other pairs would be the same check."""
    poly, ones = generator ^ 1 << width, (1 << width) - 1
    for xor_out in (0, ones):
        init = _start_value(sound, skip, poly, width, reflected, order, xor_out)
        if init is None:
            continue
        prove = _made(poly, width, init, reflected, xor_out)
        if _holds(bodies, prove, skip, order):
            more = {"width": width, "poly": f"0x{poly:X}", "init": f"0x{init:X}"}
            more |= {"xor out": f"0x{xor_out:X}"} if xor_out else {}
            more |= {"reflect in": True, "reflect out": True} if reflected else {}
            return _found("crc", bodies, width // 8, skip, order, more, prove)
    return None


def _made(poly: int, width: int, init: int, reflected: bool, xor_out: int) -> Any:
    return calculation(Sum(kind="crc", width=width, poly=poly, init=init, reflect_in=reflected,
                           reflect_out=reflected, xor_out=xor_out))  # fmt: skip


def _start_value(body: Body, skip: int, poly: int, width: int, reflected: bool, order: str, xor_out: int) -> int | None:
    """The start value that gives a frame its check: one linear equation for each bit, over two elements."""
    data = body[0][skip:]
    zero = _made(poly, width, 0, reflected, xor_out)(data)
    target = zero ^ _number(body[1], order)
    rows: list[tuple[int, int]] = []  # (what a start value changes in the check, that start value)
    for bit in range(width):
        change, start = _made(poly, width, 1 << bit, reflected, xor_out)(data) ^ zero, 1 << bit
        for pivot, made_by in rows:
            if change ^ pivot < change:
                change, start = change ^ pivot, start ^ made_by
        if change:
            rows.append((change, start))
            rows.sort(reverse=True)
    init = 0
    for pivot, made_by in rows:
        if target ^ pivot < target:
            target, init = target ^ pivot, init ^ made_by
    return None if target else init


def _number(data: bytes, order: str) -> int:
    return int.from_bytes(data, "big" if order == "big" else "little")


def _holds(bodies: Sequence[Body], prove: Any, skip: int, order: str) -> bool:
    left = _allowed(bodies)
    for data, check in bodies:
        if prove(data[skip:]) != _number(check, order):
            if not left:
                return False
            left -= 1
    return True


def _allowed(bodies: Sequence[object]) -> int:
    """How many of these frames may be strays."""
    return int(_STRAYS * len(bodies)) if len(bodies) >= _MANY else 0
