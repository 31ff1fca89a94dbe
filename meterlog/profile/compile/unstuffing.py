"""What a profile says of escapes and keys, to what undoes them in a frame once it is cut."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.conversation.stuffing import Escape, Undo
from meterlog.profile.language.places import parse_code

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.compile.layout import ByteNumbering
    from meterlog.profile.language.wire import Cut, Escaped

ALL_BYTES = range(256)


def undo_of(cut: Cut, layout: ByteNumbering, problems: Problems) -> Undo | None:
    """What is undone in each frame; None where nothing is, or where something is wrong, which is told."""
    escape = _escape(cut.escape, cut, problems) if cut.escape else None
    if escape is None and cut.xor is None and not cut.in_hex:
        return None
    over = None
    if cut.xor and cut.xor.over:
        over = layout.bounds(cut.xor.over)
        if over[0] < 0 and layout.length is None:
            cut.xor.where.tell(
                problems, "over", expected="bytes that begin at a place from the front", saw=str(cut.xor.over)
            )
            return None
    return Undo(
        starts=cut.start,
        ends=cut.end,
        behind=cut.after_end,
        escape=escape,
        in_hex=cut.in_hex,
        key=cut.xor.by if cut.xor else b"",
        over=over,
    )


def _escape(said: Escaped, cut: Cut, problems: Problems) -> Escape | None:
    """The escape byte and what stands behind it."""
    ways = [name for name in ("xor", "codes", "doubled") if getattr(said, name)]
    if len(ways) != 1:
        said.where.tell(
            problems,
            expected="one of xor, codes and doubled: what stands behind `by`",
            saw=" and ".join(ways) or "none",
        )
        return None
    if len(said.by) != 1 or said.by in (*cut.start, *cut.end):
        hint = "a mark of two bytes may begin with it, such as <DLE><STX>"
        said.where.tell(problems, "by", expected="one byte that is no mark itself", saw=said.by.hex(" "), hint=hint)
        return None
    by = said.by[0]
    if said.doubled:
        return Escape(by=by, stands_for={by: by})
    if said.xor is not None:
        marks = {mark[0] for mark in (*cut.start, *cut.end) if len(mark) == 1}
        return Escape(by=by, stands_for={byte: byte ^ said.xor for byte in ALL_BYTES if byte not in marks})
    try:
        return Escape(by=by, stands_for={_byte(code): _byte(meant) for code, meant in said.codes.items()})
    except ValueError as error:
        said.where.tell(problems, "codes", expected="bytes such as 0xDC: 0xC0", saw=str(error))
        return None


def _byte(code: str) -> int:
    try:
        value = parse_code(code)
    except ValueError:
        raise ValueError(code) from None
    if value not in ALL_BYTES:
        raise ValueError(code)
    return value
