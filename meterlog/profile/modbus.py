"""A map of Modbus RTU registers, written out in the language's own terms.

Source of the frame: MODBUS over Serial Line V1.02 and MODBUS Application Protocol V1.1b3: address, function,
count of bytes, registers with the high byte first, CRC-16 with the low byte first; an exception answer has
the function's top bit set and one code. [from memory; the CRC is the catalogue's CRC-16/MODBUS]
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from meterlog.profile.content import Field, Says, Shows, When
from meterlog.profile.facts import NO_FACTS, Facts
from meterlog.profile.kinds import parse_kind
from meterlog.profile.places import Span
from meterlog.profile.wire import Ask, Check, Cut, Length, Request
from meterlog.profile.words import bare

if TYPE_CHECKING:
    from meterlog.profile.language import Said
    from meterlog.source import Problems

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


def written_out(said: Said, problems: Problems) -> Said:
    """The profile with `ask`, `frame`, `check` and `messages` made from its registers."""
    modbus = said.modbus
    assert modbus
    for key in ("frame", "check", "messages", "text"):
        if getattr(said, key):
            said.where.tell(problems, key, expected="nothing beside `modbus`, which makes it", saw=key)
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
        readings = tuple(
            replace(
                shows, register=None, function=None, address=None, bytes=_span(4 + 2 * (at - start), 2 * size, first)
            )
            for at, size, shows in block.registers
        )
        messages[name] = bare(
            Says,
            where,
            readings=readings,
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
        readings=(),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Registers that are asked for together: (register, registers, reading) of each."""

    address: int
    function: int
    registers: tuple[tuple[int, int, Shows], ...]

    @property
    def start(self) -> int:
        return self.registers[0][0]

    @property
    def count(self) -> int:
        return self.registers[-1][0] + self.registers[-1][1] - self.start


def _blocks(said: Said, problems: Problems) -> list[Block]:
    """The readings by what they are asked for with."""
    assert said.modbus
    found: list[Block] = []
    for shows in said.readings:
        size = _registers(shows, problems)
        if size and shows.register is not None:
            address, function = shows.address or said.modbus.address, shows.function or said.modbus.function
            plain = replace(shows, kind=shows.kind or "u16 big")
            found.append(Block(address=address, function=function, registers=((shows.register, size, plain),)))
    if not found and not len(problems):
        said.modbus.where.tell(problems, expected="readings with their registers", saw="none")
    blocks: list[Block] = []
    for block in sorted(found, key=lambda block: (block.address, block.function, block.start)):
        joined = _joined(blocks[-1], block) if blocks and said.modbus.ask == "together" else None
        blocks[-1:] = [joined] if joined else [*blocks[-1:], block]
    return blocks


def _registers(shows: Shows, problems: Problems) -> int | None:
    """How many registers a reading takes; None where it does not say, which is told."""
    if shows.register is None:
        shows.where.tell(problems, expected="the key 'register'", saw="no such key")
        return None
    try:
        size = parse_kind(shows.kind or "u16 big").size
    except ValueError as error:
        shows.where.tell(
            problems, "as", expected="how it is read, such as i16 big or f32 CDAB", saw=shows.kind, hint=str(error)
        )
        return None
    if size is None or size % 2:
        shows.where.tell(problems, "as", expected="a number of whole registers, such as i16 big", saw=shows.kind)
        return None
    return size // 2


def _joined(block: Block, following: Block) -> Block | None:
    """Two blocks as one; None where they do not touch, or would be more than one answer holds."""
    same = (block.address, block.function) == (following.address, following.function)
    if not same or block.start + block.count != following.start or block.count + following.count > MOST_REGISTERS:
        return None
    return replace(block, registers=block.registers + following.registers)


def _span(place: int, size: int, first: int) -> Span:
    """Bytes counted from 1 in the frame, as the profile counts them."""
    return Span(place - first, place - first + size - 1)
