"""How a check is written where it is no plain number of bytes: digits, nibbles, characters of six bits.

Source of `six bits`: SDI-12 version 1.4, 4.4.12: 0x40 or'ed with the CRC's top four bits, then with its next six, then
with its last six. The other ways are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Notation:
    """A way to write a number in characters, the most significant first.

    Attributes:
        of: what its characters are called in a message.
        characters: that of each value, from 0 up. or_lower: small letters are read as well.
    """

    of: str
    characters: bytes
    or_lower: bool = False

    def read(self, text: bytes) -> int | None:
        """The number; None where a character is none of this way's.

        >>> WAYS["six bits"].read(b"OqZ") == 0xFC5A, WAYS["decimal"].read(b"0x7")
        (True, None)
        """
        number = 0
        for byte in text.upper() if self.or_lower else text:
            value = self.characters.find(byte)
            if value < 0:
                return None
            number = number * len(self.characters) + value
        return number

    def write(self, number: int, size: int) -> bytes:
        """The number in so many characters, its lowest where it is larger."""
        out = bytearray()
        for _ in range(size):
            number, value = divmod(number, len(self.characters))
            out.append(self.characters[value])
        return bytes(reversed(out))


WAYS = {
    "hex": Notation(of="hex digits", characters=b"0123456789ABCDEF", or_lower=True),
    "decimal": Notation(of="decimal digits", characters=b"0123456789"),
    "nibbles": Notation(of="characters 0 to ?", characters=bytes(range(0x30, 0x40))),
    "six bits": Notation(of="characters @ to DEL", characters=bytes(range(0x40, 0x80))),
    "bcd": Notation(of="decimal figures", characters=bytes(v // 10 << 4 | v % 10 for v in range(100))),
}
"""Every way by the word that a profile says; bcd: two figures a byte."""
