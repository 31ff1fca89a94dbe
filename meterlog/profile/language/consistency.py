"""Keys that mean nothing beside one another: each is told, for what is passed over in silence is taken to count."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.profile.language.facts import Facts, mode_wrong
from meterlog.profile.language.wire import Reports

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.base.schema import Where
    from meterlog.base.source import Problems
    from meterlog.profile.language.content import Field, Says
    from meterlog.profile.language.keys import ProfileText
    from meterlog.profile.language.wire import Check, Cut, Length

ONLY_CRC = ("width", "poly", "reflect_in", "reflect_out", "xor_out")
ONLY_LENGTH = ("kind", "times", "plus")


def told_apart(said: ProfileText, problems: Problems) -> None:
    """Tell of every such pair in a profile."""
    if said.frame:
        _frame(said.frame, problems)
        if said.frame.length is not None and not isinstance(said.frame.length, int):
            _length(said.frame.length, problems)
    if said.line and said.line.wake_baud and not said.line.wake:
        said.line.where.tell(problems, "wake baud", expected="`wake` beside it", saw="no such key")
    for check in said.all_checks:
        _check(check, problems)
    for says in (said, *said.messages.values()):
        _says(says, problems)
        if said.frame and said.frame.end and isinstance(said.frame.length, int):
            _whole(says, said.frame, problems)
    for step in said.stream:
        if isinstance(step, Reports):
            _bits_of_a_byte(step.where, "count", step.count, problems)


def _bits_of_a_byte(where: Where, key: str, bits: tuple[int, int], problems: Problems) -> None:
    if bits[0] > 7:
        saw = f"{bits[0]}..{bits[1]}" if bits[0] != bits[1] else str(bits[0])
        hint = "a byte has bits 7..0; bit 0 is the smallest"
        where.tell(problems, key, expected="bits of a byte, such as 7..4 or 3", saw=saw, hint=hint)


def _frame(cut: Cut, problems: Problems) -> None:
    bit = "start bit" if cut.start_bit is not None else "end bit" if cut.end_bit is not None else ""
    if cut.after_end and not cut.end:
        hint = "where `length` ends the frame, its last bytes are simply part of it"
        cut.where.tell(problems, "after end", expected="`end` beside it", saw="no such key", hint=hint)
    if cut.end_bit is not None and cut.length is not None and not isinstance(cut.length, int):
        cut.where.tell(problems, "length", expected="`end bit` alone, which ends the frame", saw="`length` too")
    if cut.numbered:
        _bits_of_a_byte(cut.numbered.where, "bits", cut.numbered.bits, problems)
    if cut.numbered and not isinstance(cut.length, int):
        hint = "how many numbered bytes a frame has"
        cut.where.tell(problems, "numbered", expected="`length`, a number, beside it", saw="none", hint=hint)
    if cut.in_hex and not ((cut.end or cut.silence is not None) and cut.length is None):
        hint = "leave `length` out: the end mark, or silence, ends the frame"
        cut.where.tell(problems, "hex digits", expected="`end` or `silence` alone", saw="another end", hint=hint)
    for key in ("escape", "xor"):
        other = "numbered" if cut.numbered else bit
        if other and getattr(cut, key):
            cut.where.tell(problems, key, expected=f"nothing that changes bytes beside `{other}`", saw=f"`{key}`")
    for key in ("start", "end", "numbered", "silence"):
        if bit and getattr(cut, key):
            hint = "a byte that is always the same is a field with `is`"
            cut.where.tell(
                problems, key, expected=f"`{bit}` alone, which marks the frame", saw=f"`{key}` too", hint=hint
            )


def _length(said: Length, problems: Problems) -> None:
    for name in ONLY_LENGTH:
        if said.codes and getattr(said, name) not in ("", 1, 0):
            key = "as" if name == "kind" else name
            said.where.tell(problems, key, expected="it within the rows of `codes`", saw=f"{key} beside them")
    for row in said.codes.values():
        if not isinstance(row, int):
            _length(row, problems)


def _check(check: Check, problems: Problems) -> None:
    for name in ONLY_CRC:
        key = name.replace("_", " ")
        if check.kind.lower() != "crc" and getattr(check, name):
            hint = "a check of the catalogue, or a sum, has its own"
            check.where.tell(problems, key, expected="`kind: crc` beside it", saw=check.kind, hint=hint)
    at, over = check.at, check.over
    if (
        over
        and (over.first < 0) == (over.last < 0) == (at.first < 0)
        and at.first <= over.last
        and over.first <= at.last
    ):
        hint = "where all bytes together give 0, the check is `negated` over the others"
        check.where.tell(problems, "over", expected="bytes that do not hold the check", saw=str(over), hint=hint)


def _says(says: Says, problems: Problems) -> None:
    when = says.when
    if when and when.value and not (when.byte or when.bytes or when.bits):
        when.where.tell(problems, "is", expected="`byte`, `bytes` or `bits` beside it", saw="no place")
    if says.reject and says.readings:
        hint = "a code that rejects the frame means `reject …`"
        says.where.tell(problems, "reject", expected="no readings beside it", saw="both", hint=hint)
    for field in says.fields.values():
        _field(field, problems)
    _modes(says.where, "bits", says.bits.values(), problems)


def _whole(says: Says, cut: Cut, problems: Problems) -> None:
    """A frame of fixed length is matched whole: its line says the end mark, and its parts where they stand."""
    ends = tuple(end.decode("latin-1") for end in cut.end)
    if says.text and not cut.after_end and not says.text.endswith((*ends, "{_}", "{}")):
        hint = "a frame whose `length` is a number is matched whole, its end mark too"
        says.where.tell(problems, "text", expected="the end mark behind it", saw=says.text, hint=hint)
    if says.split and not says.split.over:
        hint = "else the last part would hold the end mark"
        says.split.where.tell(problems, "over", expected="the bytes that are split", saw="no such key", hint=hint)


def _modes(where: Where, key: str, said: Iterable[Facts | Mapping[str, Facts]], problems: Problems) -> None:
    for facts in said:
        if not isinstance(facts, Facts):
            _modes(where, key, facts.values(), problems)
        elif wrong := mode_wrong(facts):
            where.tell(problems, key, expected="no mode beside this quantity", saw=wrong)


def _field(field: Field, problems: Problems) -> None:
    _modes(field.where, "means", field.means.values(), problems)
    _modes(field.where, "special", field.special.values(), problems)
    if field.under and not (field.means or field.special):
        expected = "`means` or `special` beside it, a table for each code"
        field.where.tell(problems, "under", expected=expected, saw="no such key")
    for code, said in field.special.items():
        if not isinstance(said, Facts) and not field.under:
            hint = "a table below each code needs `under: FIELD`"
            field.where.tell(problems, "special", expected=f"what {code} means, in words", saw="a table", hint=hint)
        elif isinstance(said, Facts) and field.under and not field.means:
            hint = f"{code} is a code of {field.under} there; `any other` holds for those without a table"
            expected = f"a table of special values below {code}"
            field.where.tell(problems, "special", expected=expected, saw="words", hint=hint)
    for key in ("segments", "points", "minus"):
        if getattr(field, key) and not field.digits:
            field.where.tell(problems, key, expected="`digits` beside it", saw="no such key")
