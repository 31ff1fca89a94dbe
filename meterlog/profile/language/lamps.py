"""Single bits with a meaning each, as one code that a form is kept under."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.compile.meaning import Lamps

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.profile.compile.layout import Layout
    from meterlog.profile.compile.values import Values
    from meterlog.profile.language.content import Says


def lamps(says: Says, values: Values) -> tuple[str, Lamps]:
    """The expression of all bits of a message that mean something, and what looks them up."""
    layout = values.layout
    places = {bits[0]: facts for bits, facts in says.bits.items()}
    for bits in says.bits:
        if len(bits) != 1 or bits[0].width != 1:
            words = " ".join(map(str, bits))
            says.where.tell(values.problems, "bits", expected="one bit for each meaning", saw=words)
        values.reach(says.where, [bit.byte for bit in bits])
    masks: dict[int, int] = {}
    for place in places:
        masks[layout.index(place.byte)] = masks.get(layout.index(place.byte), 0) | 1 << place.high
    order = {index: at for at, index in enumerate(sorted(masks))}
    rows = tuple((f"bit {p}", order[layout.index(p.byte)], 1 << p.high, facts) for p, facts in places.items())
    return _pieces(masks, layout), Lamps(rows)


def _pieces(masks: Mapping[int, int], layout: Layout) -> str:
    """The expression of the bytes that hold single bits: whole neighbours as a slice, others masked."""
    pieces: list[str] = []
    run: list[int] = []

    def close() -> None:
        if len(run) > 1:
            end = run[-1] + 1
            pieces.append(f"f[{run[0]}:{end if end else ''}]")
        elif run:
            pieces.append(f"f[{run[0]}]")
        run.clear()

    for index in sorted(masks):
        if not _only_lamps(index, masks[index], layout):
            close()
            pieces.append(f"f[{index}] & {masks[index]}")
            continue
        if run and run[-1] + 1 != index:
            close()
        run.append(index)
    close()
    return pieces[0] if len(pieces) == 1 else "(" + ", ".join(pieces) + ")"


def _only_lamps(index: int, mask: int, layout: Layout) -> bool:
    """Whether what else stands in a byte is the same in every frame."""
    allowed = layout.allowed[index] if 0 <= index < len(layout.allowed) else None
    return len({value & ~mask for value in (allowed if allowed is not None else range(256))}) == 1
