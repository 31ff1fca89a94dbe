"""Single bits with a meaning each, as one code that a form is kept under."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.compile.meaning import Lamps

if TYPE_CHECKING:
    from meterlog.profile.compile.values import Values
    from meterlog.profile.compile.view import FrameReader, View
    from meterlog.profile.language.content import Says


def lamps(says: Says, values: Values) -> tuple[FrameReader, Lamps]:
    """What answers all bits of a message that mean something, and what looks them up."""
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
    picked = sorted(masks.items())

    def code(view: View) -> bytes:
        frame = view.frame
        return bytes([frame[index] & mask for index, mask in picked])

    return code, Lamps(rows)
