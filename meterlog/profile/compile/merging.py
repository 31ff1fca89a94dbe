"""What readings and the fields that they take say of each other: put together, and told where it does not fit."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from meterlog.profile.compile.arithmetic import operands
from meterlog.profile.language.content import Field
from meterlog.profile.language.words import NAME, bare

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.language.content import Says, Shows

PLACES = ("byte", "bytes", "part", "item", "register")


def put_together(says: Says, problems: Problems) -> Says:
    """The message with what its readings say of their fields (`as`, `special`) said by the fields themselves."""
    fields = dict(says.fields)
    for said in says.readings:
        if not _is_sound(said, problems) or not said.value or not (said.kind or said.special):
            continue
        key = "special" if said.special else "as"
        if not re.fullmatch(NAME, said.value):
            said.where.tell(problems, key, expected=f"`{key}` in the fields of this arithmetic", saw="it beside them")
            continue
        field = fields.get(said.value) or bare(Field, said.where)
        if (field.kind and said.kind) or (field.special and said.special):
            said.where.tell(problems, key, expected=f"`{key}` once, here or in the field", saw="it in both")
        fields[said.value] = replace(field, kind=field.kind or said.kind, special=field.special or said.special)
    _special_is_taken(fields, says, problems)
    return replace(says, fields=fields)


def _is_sound(said: Shows, problems: Problems) -> bool:
    """Whether a reading says place and point once; told where not."""
    before = len(problems)
    places = [key for key in PLACES if getattr(said, key) not in (None, "")]
    if said.value and places:
        expected = "one place: `value` names a field, which has its own"
        said.where.tell(problems, places[0], expected=expected, saw="two")
    if said.step and said.decimals:
        said.where.tell(problems, "decimals", expected="`step` alone, which says the point too", saw="both")
    return len(problems) == before


def _special_is_taken(fields: dict[str, Field], says: Says, problems: Problems) -> None:
    """A special value means nothing where no reading takes the number."""
    taken = {name for said in says.readings for text in (said.value, said.decimals) for name in operands(text)}
    for name, field in fields.items():
        if field.special and name not in taken and name not in says.kept:
            hint = "what the codes of a field mean for all readings is `means`"
            field.where.tell(problems, "special", expected="a reading that takes this number", saw="none", hint=hint)
