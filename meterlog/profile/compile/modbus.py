"""A map of Modbus RTU registers, written out in the language's own terms.

Source of the frame: MODBUS over Serial Line V1.02 and MODBUS Application Protocol V1.1b3: address, function,
count of bytes, registers with the high byte first, CRC-16 with the low byte first; an exception answer has
the function's top bit set and one code. [from memory; the CRC is the catalogue's CRC-16/MODBUS]
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from meterlog.profile.language.content import Field, Says, Shows, When
from meterlog.profile.language.facts import NO_FACTS, Facts
from meterlog.profile.language.kinds import parse_kind
from meterlog.profile.language.places import Span
from meterlog.profile.language.wire import Ask, Check, Cut, Length, Request
from meterlog.profile.language.words import NAME, bare

if TYPE_CHECKING:
    from meterlog.base.source import Problems
    from meterlog.profile.language.keys import ProfileText

EXCEPTIONS = {
    1: "illegal function",
    2: "illegal data address",
    3: "illegal data value",
    4: "device failure",
    5: "accepted, not done yet",
    6: "device busy",
    8: "memory parity error",
    10: "gateway path unavailable",
    11: "gateway target failed to answer",
}
MOST_REGISTERS = 125


def written_out(said: ProfileText, problems: Problems) -> ProfileText:
    """The profile with `ask`, `frame`, `check` and `messages` made from its registers."""
    modbus = said.modbus
    assert modbus
    for key in ("frame", "check", "messages", "text", "bits"):
        if getattr(said, key):
            hint = "a field may say its register and `bits` of it" if key == "bits" else ""
            said.where.tell(problems, key, expected="nothing beside `modbus`, which makes it", saw=key, hint=hint)
    first = 1 - said.first_byte  # places below count from 1; a profile may count from 0
    blocks = _blocks(said, problems)
    where = modbus.where
    messages: dict[str, Says] = {}
    requests = []
    for block in blocks:
        address, function, start, count = block.address, block.function, block.start, block.count
        name = f"registers_{address}_{function}_{start}"
        requests.append(
            bare(
                Request,
                where,
                send=bytes([address, function, start >> 8, start & 255, count >> 8, count & 255]),
                with_check=True,
                answer=(name, f"exception_{address}"),
                means=NO_FACTS,
            )
        )
        messages[name] = bare(
            Says,
            where,
            fields={part.name: part.placed(start, first) for part in block.parts if part.name},
            readings=(*(part.placed(start, first) for part in block.parts if not part.name), *block.worked_out),
            keep=block.fields if any(other.has_readings for other in blocks if other is not block) else (),
            when=replace(bare(When, where), length=5 + 2 * count, starts=bytes([address, function])),
        )
    addresses = sorted({block.address for block in blocks})
    functions = sorted({block.function for block in blocks})
    code = replace(
        bare(Field, where),
        byte=_span(3, 1, first),
        means={str(k): Facts(reject=text) for k, text in EXCEPTIONS.items()},
    )
    refused = replace(bare(When, where), byte=_span(2, 1, first), value=tuple(str(f | 128) for f in functions))
    for address in addresses:
        messages[f"exception_{address}"] = bare(
            Says,
            where,
            fields={"code": code},
            reject="the device answers with an exception",
            when=replace(refused, starts=bytes([address])),
        )
    ask = said.ask or bare(Ask, where, requests=())
    length = bare(
        Length,
        where,
        byte=_span(2, 1, first),
        codes={str(f): bare(Length, where, byte=_span(3, 1, first), plus=5) for f in functions}
        | {str(f | 128): 5 for f in functions},
    )
    return replace(
        said,
        ask=replace(ask, requests=tuple(requests)),
        frame=bare(Cut, where, start=tuple(bytes([address]) for address in addresses), length=length, longest=260),
        check=(bare(Check, where, kind="crc-16/modbus", at=Span(-2, -1), order="little"),),
        messages=messages,
        fields={},
        readings=(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RegisterSpan:
    """Registers of a reading, or of a field by its name."""

    at: int
    size: int
    said: Shows | Field
    name: str = ""

    def placed(self, start: int, first: int) -> Any:
        """What was said, at its bytes in the answer that begins with a register."""
        place = 4 + 2 * (self.at - start)
        plain: dict[str, Any] = {"register": None, "function": None, "kind": self.said.kind or "u16 big"}
        if isinstance(self.said, Shows):
            plain["address"] = None
        return replace(self.said, bytes=Span(place - first, place - first + 2 * self.size - 1), **plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Registers that are asked for together, and readings worked out from their fields."""

    address: int
    function: int
    parts: tuple[RegisterSpan, ...]
    worked_out: tuple[Shows, ...] = ()

    @property
    def fields(self) -> tuple[str, ...]:
        return tuple(part.name for part in self.parts if part.name)

    @property
    def has_readings(self) -> bool:
        return bool(self.worked_out) or any(not part.name for part in self.parts)

    @property
    def start(self) -> int:
        return self.parts[0].at

    @property
    def count(self) -> int:
        return max(part.at + part.size for part in self.parts) - self.start


def _blocks(said: ProfileText, problems: Problems) -> list[Block]:
    """The registers by what they are asked for with; those of fields that others need come first."""
    assert said.modbus
    own, found = said.modbus.address, []
    read: list[tuple[str, Shows | Field]] = [("", shows) for shows in said.readings if not shows.value]
    for name, thing in [*said.fields.items(), *read]:
        size = _registers(thing, problems)
        address = (thing.address if isinstance(thing, Shows) else None) or own
        if address != own and said.fields:
            expected = "one device, where fields have registers"
            thing.where.tell(problems, "address", expected=expected, saw=str(address), hint="a profile for each device")
        if size and thing.register is not None:
            part = RegisterSpan(at=thing.register, size=size, said=thing, name=name)
            found.append(Block(address=address, function=thing.function or said.modbus.function, parts=(part,)))
    if len(found) == len(said.fields) and not any(shows.value for shows in said.readings) and not len(problems):
        said.modbus.where.tell(problems, expected="readings with their registers", saw="none")
    blocks: list[Block] = []
    for block in sorted(found, key=lambda block: (block.address, block.function, block.start)):
        joined = _joined(blocks[-1], block) if blocks and said.modbus.ask == "together" else None
        blocks[-1:] = [joined] if joined else [*blocks[-1:], block]
    for shows in said.readings if blocks else ():
        if shows.value:
            _work_out(shows, blocks)
    return sorted(blocks, key=lambda block: (block.has_readings, not block.fields))


def _work_out(shows: Shows, blocks: list[Block]) -> None:
    """Put a reading that is arithmetic over fields to the registers of the first of them."""
    names = re.findall(NAME, shows.value)
    homes = [at for at, block in enumerate(blocks) if any(part.name in names[:1] for part in block.parts)]
    at = homes[0] if homes else 0
    blocks[at] = replace(blocks[at], worked_out=(*blocks[at].worked_out, shows))


def _registers(said: Shows | Field, problems: Problems) -> int | None:
    """How many registers a reading or field takes; None where it does not say, which is told."""
    if said.register is None:
        said.where.tell(problems, expected="the key 'register'", saw="no such key")
        return None
    try:
        size = parse_kind(said.kind or "u16 big").size
    except ValueError as error:
        said.where.tell(
            problems, "as", expected="how it is read, such as i16 big or f32 CDAB", saw=said.kind, hint=str(error)
        )
        return None
    if size is None or size % 2:
        said.where.tell(problems, "as", expected="a number of whole registers, such as i16 big", saw=said.kind)
        return None
    return size // 2


def _joined(block: Block, following: Block) -> Block | None:
    """Two blocks as one; None where they do not touch, or would be more than one answer holds."""
    same = (block.address, block.function) == (following.address, following.function)
    both = replace(block, parts=block.parts + following.parts)
    return both if same and following.start <= block.start + block.count and both.count <= MOST_REGISTERS else None


def _span(place: int, size: int, first: int) -> Span:
    """Bytes counted from 1 in the frame, as the profile counts them."""
    return Span(place - first, place - first + size - 1)
