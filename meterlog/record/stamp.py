"""A time stamp of somebody else's clock over a head: the request that is carried to an authority, and its answer read.

RFC 3161 sections 2.4.1 and 2.4.2 in DER. Whose signature is under an answer is openssl's to say: here is read what it
says, and of what.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

_INTEGER, _BOOLEAN, _OCTETS, _NULL, _OID, _SEQUENCE, _TIME = 0x02, 0x01, 0x04, 0x05, 0x06, 0x30, 0x18
_SHA256 = bytes.fromhex("608648016503040201")
"""2.16.840.1.101.3.4.2.1: RFC 5754, section 2.2."""
_TST_INFO = bytes.fromhex("2a864886f70d0109100104")
"""1.2.840.113549.1.9.16.1.4, id-ct-TSTInfo: RFC 3161, section 2.4.2."""
_GRANTED = (0, 1)
"""PKIStatus granted, granted with modifications: RFC 3161, section 2.4.2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What an answer says: that something with this SHA-256 was there at `time` (YYYYMMDDhhmmss[.f]Z)."""

    digest: bytes
    time: str


def request(data: bytes, nonce: int) -> bytes:
    """The request for a time stamp over data, with the authority's certificate asked for. `nonce` is above 0."""
    imprint = _der(_SEQUENCE, _algorithm() + _der(_OCTETS, hashlib.sha256(data).digest()))
    wanted = _whole(1) + imprint + _whole(nonce) + _der(_BOOLEAN, b"\xff")
    return _der(_SEQUENCE, wanted)


def read_answer(answer: bytes) -> Stamp:
    """What a carried answer says. Raises: ValueError, when it is none, was refused, or is of another digest's kind."""
    try:
        response = [*_parts(_only(answer, _SEQUENCE))]
        if int.from_bytes(next(_parts(response[0][1]))[1], "big") not in _GRANTED:
            raise ValueError("the authority did not grant it")
        signed = [*_parts(_only([*_parts(response[1][1])][1][1], _SEQUENCE))]
        kind, content = [*_parts(signed[2][1])][:2]
        if kind != (_OID, _TST_INFO):
            raise ValueError("it holds no time stamp")
        info = [*_parts(_only(_only(content[1], _OCTETS), _SEQUENCE))]
        imprint = [*_parts(info[2][1])]
        if next(_parts(imprint[0][1])) != (_OID, _SHA256):
            raise ValueError("its digest is no SHA-256")
        if info[4][0] != _TIME:
            raise ValueError("it says no time")
        return Stamp(digest=imprint[1][1], time=info[4][1].decode("ascii"))
    except (IndexError, StopIteration, UnicodeDecodeError) as error:
        raise ValueError(f"no answer to a request for a time stamp: {error!r}") from None


def _algorithm() -> bytes:
    return _der(_SEQUENCE, _der(_OID, _SHA256) + _der(_NULL, b""))


def _whole(number: int) -> bytes:
    return _der(_INTEGER, number.to_bytes(number.bit_length() // 8 + 1, "big"))


def _der(tag: int, content: bytes) -> bytes:
    """A value with its length before it: X.690, section 8.1."""
    size = len(content)
    if size < 0x80:
        return bytes([tag, size]) + content
    length = size.to_bytes((size.bit_length() + 7) // 8, "big")
    return bytes([tag, 0x80 | len(length)]) + length + content


def _parts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """The values that stand one after another: (tag, content). Raises: ValueError, when one is cut short."""
    at = 0
    while at < len(data):
        tag, size, at = data[at], data[at + 1], at + 2
        if size == 0x80:
            raise ValueError("a length that is not said: no DER")
        if size > 0x80:
            size, at = int.from_bytes(data[at : at + size - 0x80], "big"), at + size - 0x80
        if at + size > len(data):
            raise ValueError("it is cut short")
        yield tag, data[at : at + size]
        at += size


def _only(data: bytes, tag: int) -> bytes:
    """The content of the one value that stands there. Raises: ValueError."""
    values = [*_parts(data)]
    if len(values) != 1 or values[0][0] != tag:
        raise ValueError("no answer to a request for a time stamp")
    return values[0][1]
