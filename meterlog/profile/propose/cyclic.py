"""Cyclic redundancy checks, found from the frames alone.

The exclusive or of two frames of one length is, as a polynomial over two elements, a multiple of the generator: start
value and final xor cancel. The greatest common divisor of several such differences is the generator.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Any

from meterlog.conversation.checksum import Sum, calculation, catalogue
from meterlog.profile.propose.proofs import FEWEST, MANY, SKIPS, found_check, holds, number, orders

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from meterlog.profile.propose.proofs import Body, FoundCheck

_SAMPLE, _SAMPLES = 12, 4


def cyclic(bodies: Sequence[Body], size: int) -> FoundCheck | None:
    """The cyclic check of `size` bytes; None where none holds for nearly all."""
    width = 8 * size
    by_length: dict[int, list[Body]] = {}
    for body in bodies:
        by_length.setdefault(len(body[0]), []).append(body)
    same = max(by_length.values(), key=len)
    if len(same) < FEWEST:
        return None
    for skip, reflected, order in product(SKIPS, (False, True), orders(size)):
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
    if len(same) >= MANY:
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
        for skip in SKIPS:
            if holds(bodies, prove, skip, order):
                return found_check(made._names[0], bodies, width // 8, skip, order, {}, prove)
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
        if holds(bodies, prove, skip, order):
            more = {"width": width, "poly": f"0x{poly:X}", "init": f"0x{init:X}"}
            more |= {"xor out": f"0x{xor_out:X}"} if xor_out else {}
            more |= {"reflect in": True, "reflect out": True} if reflected else {}
            return found_check("crc", bodies, width // 8, skip, order, more, prove)
    return None


def _made(poly: int, width: int, init: int, reflected: bool, xor_out: int) -> Any:
    return calculation(Sum(kind="crc", width=width, poly=poly, init=init, reflect_in=reflected,
                           reflect_out=reflected, xor_out=xor_out))  # fmt: skip


def _start_value(body: Body, skip: int, poly: int, width: int, reflected: bool, order: str, xor_out: int) -> int | None:
    """The start value that gives a frame its check: one linear equation for each bit, over two elements."""
    data = body[0][skip:]
    zero = _made(poly, width, 0, reflected, xor_out)(data)
    target = zero ^ number(body[1], order)
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
