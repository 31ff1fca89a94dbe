"""How a serial line is set, from what a profile says of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.line import AtBaud

if TYPE_CHECKING:
    from meterlog.profile import Profile


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSettings:
    """Baud rate and shape of a character; levels of DTR and RTS, None leaves them as they are."""

    baud: int = 9600
    data_bits: int = 8
    parity: str = "N"
    stop_bits: float = 1
    dtr: bool | None = None
    rts: bool | None = None

    @property
    def bits_a_byte(self) -> float:
        """Bits on the wire for each byte: its own, a start bit, parity and stop bits."""
        return 1 + self.data_bits + (self.parity != "N") + self.stop_bits

    def rates(self, data: bytes) -> tuple[int, int]:
        """Bits a second at which bytes are written, and at which what answers them comes."""
        if not isinstance(data, AtBaud):
            return self.baud, self.baud
        sent_at = data.sent_at or self.baud
        return sent_at, data.answered_at or sent_at


def settings_of(profile: Profile) -> LineSettings:
    """The line settings that a profile states; 9600 8N1 where it states none."""
    line = profile.line
    if line is None:
        return LineSettings()
    return LineSettings(
        baud=line.baud,
        data_bits=line.data_bits,
        parity=line.parity[0].upper(),
        stop_bits=float(line.stop_bits),
        dtr=line.dtr,
        rts=line.rts,
    )
