"""Tones for what happened, as WAV files made from a few notes: told apart by number, length and direction.

captured        one short high note            not taken       one long low note
pass            two notes, up                  fail            two notes, down
undecided       two notes, level               wrong function  three short notes, level
frozen          four short low notes           lost link       three notes, down
go on           two very short notes, up       said            one very short note
advice          two low notes, level
live point      ten short notes, high and low in turn: longer than any other
"""

from __future__ import annotations

import io
import math
import wave
from array import array
from functools import cache

RATE = 22050
LOUDNESS = 0.5
EDGE_S = 0.008
"""Each note swells and fades for so long, so that it does not click."""
REST = 0.0

Note = tuple[float, float]
"""Frequency, Hz (0 for a rest), and length, s."""

TONES: dict[str, tuple[Note, ...]] = {
    "captured": ((1320.0, 0.12),),
    "pass": ((880.0, 0.12), (1320.0, 0.18)),
    "fail": ((880.0, 0.16), (440.0, 0.3)),
    "undecided": ((880.0, 0.14), (REST, 0.06), (880.0, 0.14)),
    "wrong function": ((660.0, 0.09), (REST, 0.06), (660.0, 0.09), (REST, 0.06), (660.0, 0.09)),
    "not taken": ((220.0, 0.7),),
    "frozen": ((330.0, 0.08), (REST, 0.05)) * 4,
    "go on": ((990.0, 0.07), (1480.0, 0.09)),
    "said": ((1480.0, 0.06),),
    "advice": ((294.0, 0.16), (REST, 0.05), (294.0, 0.16)),
    "live point": ((1760.0, 0.11), (880.0, 0.11)) * 5,
    "lost link": ((660.0, 0.2), (494.0, 0.2), (330.0, 0.4)),
}


@cache
def wav(name: str) -> bytes:
    """The tone of that name as a WAV file: mono, 16 bits. Raises: KeyError."""
    samples = array("h")
    for frequency, seconds in TONES[name]:
        samples.extend(_note(frequency, seconds))
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(samples.tobytes())
    return out.getvalue()


def _note(frequency: float, seconds: float) -> list[int]:
    count = round(seconds * RATE)
    edge = EDGE_S * RATE
    return [
        round(32767 * LOUDNESS * min(1.0, n / edge, (count - n) / edge) * math.sin(2 * math.pi * frequency * n / RATE))
        for n in range(count)
    ]
