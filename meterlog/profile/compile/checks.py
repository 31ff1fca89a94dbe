"""A profile's checks: to what proves a frame, and onto requests."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.source import near_miss
from meterlog.conversation.checksum import KINDS, Sum, calculation, catalogue
from meterlog.conversation.notation import WAYS
from meterlog.conversation.reasons import Damage
from meterlog.profile.compile.layout import ByteNumbering, integer
from meterlog.profile.compile.view import NotBelieved

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.base.source import Problems
    from meterlog.profile.language.wire import Check

DAMAGED = "check in byte"
_PAIRS = re.compile(rb"(?:[0-9A-Fa-f]{2})*")


def sum_of(check: Check, problems: Problems) -> Sum | None:
    """The calculation that a check names; None when there is no such, which is told."""
    turn, kind = "", check.kind.lower()
    for word in ("negated", "inverted"):
        if kind.startswith(word + " "):
            turn, kind = word, kind.removeprefix(word + " ")
    if kind == "crc":
        missing = [name for name in ("width", "poly") if getattr(check, name) is None]
        if missing:
            check.where.tell(
                problems,
                expected=f"the key {missing[0]!r}: a crc by its parameters",
                saw="no such key",
                hint="or name it from the catalogue, such as CRC-16/MODBUS",
            )
            return None
    elif kind not in KINDS and kind not in catalogue():
        hint = near_miss(kind, [*KINDS, *catalogue(), "crc"])
        hint = (
            hint.upper().replace("DID YOU MEAN", "did you mean")
            if hint.startswith("did")
            else f"{', '.join(KINDS)}, or a name of the CRC catalogue"
        )
        check.where.tell(problems, "kind", expected="a kind of check", saw=check.kind, hint=hint)
        return None
    return Sum(
        kind=kind,
        turn=turn,
        init=check.init,
        plus=check.plus,
        mask=check.mask,
        modulo=check.modulo,
        width=check.width,
        poly=check.poly,
        reflect_in=check.reflect_in,
        reflect_out=check.reflect_out,
        xor_out=check.xor_out,
    )


def check_of(check: Check, layout: ByteNumbering, problems: Problems) -> Callable[[bytes], None] | None:
    """What rejects a frame whose check differs; None where the check is wrong, which is told."""
    made = sum_of(check, problems)
    held = _held(check, made, layout, problems) if made else None
    if made is None or held is None:
        return None
    proves, where, is_hex = calculation(made), slice(*over(check, layout)), check.of == "hex"
    place, figures = f"{DAMAGED}{_plural(check)}", -(-made.bits // 8) * 2

    def prove(frame: bytes) -> None:
        text: bytes | None = frame[where]
        if is_hex:
            text = unhexed(frame[where])
        if text is None:
            raise NotBelieved(Damage(f"{place}: what it proves is no pairs of hex digits"))
        want, saw = proves(text), held(frame)
        if want != saw:
            raise NotBelieved(Damage(f"{place}: expected 0x{want:0{figures}X}, saw 0x{saw:0{figures}X}"))

    return prove


def _plural(check: Check) -> str:
    return f"{'s' if check.at.first != check.at.last else ''} {check.at}"


def unhexed(text: bytes) -> bytes | None:
    """The bytes that pairs of hex digits say; None where there are others.

    >>> unhexed(b"07ff"), unhexed(b"07f"), unhexed(b"0 7f")
    (b'\\x07\\xff', None, None)
    """
    return bytes.fromhex(text.decode()) if _PAIRS.fullmatch(text) else None


def over(check: Check, layout: ByteNumbering) -> tuple[int, int | None]:
    """The bytes that a check proves, as a Python slice."""
    if check.over is not None:
        return layout.bounds(check.over)
    return 0, layout.index(check.at.first)


def _held(check: Check, made: Sum, layout: ByteNumbering, problems: Problems) -> Callable[[bytes], int] | None:
    """What answers the check that a frame holds."""
    size, way = layout.size(check.at), WAYS.get(check.kind_of_text)
    holds = 256 if way is None else len(way.characters)
    if size is None or (holds**size < made.values and made.mask is None):
        expected = (
            f"{-(-made.bits // 8)} bytes" if way is None else f"enough {way.of} for a check of {made.values:,} values"
        )
        if check.kind_of_text in ("bytes", "hex"):
            expected = f"{-(-made.bits // 8)} bytes, or twice as many hex digits"
        check.where.tell(problems, "at", expected=expected, saw=f"bytes {check.at}")
        return None
    if way is None:
        return integer(layout, check.at, signed=False, order=check.order)
    where, step = layout.slice(check.at), 2 if check.kind_of_text == "hex" else 1
    wrong, is_little = Damage(f"{DAMAGED}{_plural(check)}: no {way.of}"), check.order == "little"

    def held(frame: bytes) -> int:
        text = turned(frame[where], step) if is_little else frame[where]
        number = way.read(text)
        if number is None:
            raise NotBelieved(wrong)
        return number

    return held


def turned(text: bytes, size: int) -> bytes:
    """Pieces of a size, the last first.

    >>> turned(b"1A2B", 2)
    b'2B1A'
    """
    return b"".join(text[place : place + size] for place in range(len(text) - size, -1, -size))


def appended(data: bytes, check: Check, base: int, ends: tuple[bytes, ...], problems: Problems) -> bytes:
    """A request with its check behind it, before the end mark that it has; `base` is the number of the first byte."""
    made = sum_of(check, problems)
    if made is None:
        return data
    end = next((mark for mark in sorted(ends, key=len, reverse=True) if data.endswith(mark)), b"")
    data = data.removesuffix(end)
    proved: bytes | None = data[0 if check.over is None else max(check.over.first - base, 0) :]
    if check.of == "hex" and proved is not None:
        proved = unhexed(proved)
    if proved is None:
        check.where.tell(problems, "of", expected="requests of pairs of hex digits", saw=repr(data.decode("latin-1")))
        return data
    size = abs(check.at.last - check.at.first) + 1
    value, way = calculation(made)(proved), WAYS.get(check.kind_of_text)
    if way is None:
        packed = (value & (1 << 8 * size) - 1).to_bytes(size, "big" if check.order == "big" else "little")
    else:
        written = way.write(value, size)
        packed = turned(written, 2 if check.kind_of_text == "hex" else 1) if check.order == "little" else written
    return data + packed + end
