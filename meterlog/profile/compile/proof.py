"""A profile's checks: to generated code, to a function of bytes, and onto requests."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from meterlog.base.source import near_miss
from meterlog.conversation.checksum import PLAIN, Sum, by_place, calculation, catalogue
from meterlog.conversation.reasons import Damage
from meterlog.conversation.written import WAYS
from meterlog.profile.compile.layout import Layout, integer

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.compile.values import Values
    from meterlog.profile.language.wire import Check

INLINE_LENGTH = 32
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
    elif kind not in PLAIN and kind not in catalogue():
        hint = near_miss(kind, [*PLAIN, *catalogue(), "crc"])
        hint = (
            hint.upper().replace("DID YOU MEAN", "did you mean")
            if hint.startswith("did")
            else f"{', '.join(PLAIN)}, or a name of the CRC catalogue"
        )
        check.where.tell(problems, "kind", expected="a kind of check", saw=check.kind, hint=hint)
        return None
    return Sum(
        kind=kind,
        turn=turn,
        init=check.init,
        plus=check.plus,
        mask=check.mask,
        width=check.width,
        poly=check.poly,
        reflect_in=check.reflect_in,
        reflect_out=check.reflect_out,
        xor_out=check.xor_out,
    )


def write_check(check: Check, values: Values) -> None:
    """Code that rejects a frame whose check differs."""
    made = sum_of(check, values.problems)
    if made is None:
        return
    layout, code = values.layout, values.code
    values.reach(
        check.where, [check.at.first, check.at.last, *([check.over.first, check.over.last] if check.over else [])]
    )
    held = _held(check, made, values)
    if held is None:
        return
    first, end = over(check, layout)
    text = f"f[{first}:{'' if end is None else end}]"
    if check.of == "hex":
        code.add(f"pairs = {code.constant(unhexed, 'unhexed')}({text})")
        values.fail("pairs is None", Damage(f"{DAMAGED}{_plural(check)}: what it proves is no pairs of hex digits"))
        text = "pairs"
    if check.of == "bytes" and layout.length is not None and end is not None and end - first <= INLINE_LENGTH:
        proved = _inline(made, first, end, values)
    else:
        proved = f"{code.constant(calculation(made), 'check')}({text})"
    code.add(f"if {proved} != {held}: return {code.constant(_why(check, made), 'wrong')}({proved}, {held})")


def _why(check: Check, made: Sum) -> object:
    figures = -(-made.bits // 8) * 2
    place = f"{DAMAGED}{_plural(check)}"
    return lambda want, saw: Damage(f"{place}: expected 0x{want:0{figures}X}, saw 0x{saw:0{figures}X}")


def _plural(check: Check) -> str:
    return f"{'s' if check.at.first != check.at.last else ''} {check.at}"


def unhexed(text: bytes) -> bytes | None:
    """The bytes that pairs of hex digits say; None where there are others.

    >>> unhexed(b"07ff"), unhexed(b"07f"), unhexed(b"0 7f")
    (b'\\x07\\xff', None, None)
    """
    return bytes.fromhex(text.decode()) if _PAIRS.fullmatch(text) else None


def over(check: Check, layout: Layout) -> tuple[int, int | None]:
    """The bytes that a check proves, as a Python slice."""
    if check.over is not None:
        return layout.bounds(check.over)
    return 0, layout.index(check.at.first)


def _held(check: Check, made: Sum, values: Values) -> str | None:
    """The expression of the check that the frame holds."""
    layout, code = values.layout, values.code
    size = layout.size(check.at)
    way = WAYS.get(check.kind_of_text)
    holds = 256 if way is None else len(way.characters)
    if size is None or (holds**size < 1 << made.bits and made.mask is None):
        expected = f"{-(-made.bits // 8)} bytes" if way is None else f"enough {way.of} for {made.bits} bits"
        if check.kind_of_text in ("bytes", "hex"):
            expected = f"{-(-made.bits // 8)} bytes, or twice as many hex digits"
        check.where.tell(values.problems, "at", expected=expected, saw=f"bytes {check.at}")
        return None
    if way is None:
        return integer(layout, check.at, signed=False, order=check.order)
    text = layout.slice(check.at)
    if check.order == "little":
        text = f"{code.constant(turned, 'turned')}({text}, {2 if check.kind_of_text == 'hex' else 1})"
    code.add(f"saw = {code.constant(way.read, 'read')}({text})")
    values.fail("saw is None", Damage(f"{DAMAGED}{_plural(check)}: no {way.of}"))
    return "saw"


def turned(text: bytes, size: int) -> bytes:
    """Pieces of a size, the last first.

    >>> turned(b"1A2B", 2)
    b'2B1A'
    """
    return b"".join(text[place : place + size] for place in range(len(text) - size, -1, -size))


def _inline(made: Sum, first: int, end: int, values: Values) -> str:
    """The check of a frame of known length, a look-up for each byte."""
    code, whole = values.code, (1 << made.bits) - 1
    if made.kind in PLAIN and made.kind != "xor-8":
        text = f"(sum(f[{first}:{end}]) + {made.init or 0})"
    elif made.kind == "xor-8":
        text = "(" + " ^ ".join([*(f"f[{place}]" for place in range(first, end)), str(made.init or 0)]) + ")"
    else:
        constant, rows = by_place(made, end - first)
        looked = [f"{code.constant(row, 'row')}[f[{first + place}]]" for place, row in enumerate(rows)]
        text = "(" + " ^ ".join([*looked, str(constant)]) + ")"
    text = {"negated": f"-{text}", "inverted": f"~{text}", "": text}[made.turn]
    if made.plus:
        text = f"({text} + {made.plus})"
    mask = whole if made.mask is None else whole & made.mask
    is_clean = made.kind not in ("sum-8", "sum-16", "sum-32") and not made.turn and not made.plus and made.mask is None
    return text if is_clean else f"({text} & {mask})"


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
