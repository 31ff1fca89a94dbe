"""What a person does during a walk, from a page, a command, a pedal or a recording.

next             leave this step                       back      the step before
again            this step once more                   go to KEY that step, out of order
confirm [text]   looked and found well; or take what shows now
wanting TEXT     looked and found not well             skip REASON   leave it, with the reason
start, stop      of a timed step                       note TEXT
immersed [VESSEL]  the whole probe is under, of two vessels in the first or the second
acknowledge      the cautions were read                override REASON   pass a gate
type READING     what an instrument that is not heard showed, such as 0.09 ohm on earth tester
press            a pedal: the one act that the phase gives it

An act names the step and the phase that it was meant for, and has an identity of its own: one that no
longer fits is refused, one that comes twice is answered as it was the first time. Only a pedal names
none: it means what is asked now; and so does an act of a recording, which is played when it was done.
"""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.base.errors import WrongValue

WORDS = (
    "next", "back", "again", "skip", "note", "confirm", "wanting", "go to", "start", "stop", "acknowledge",
    "override", "immersed", "press", "type",
)  # fmt: skip
PEDAL = "pedal"
"""Who acts by a pedal."""
HAND_UNCERTAINTY_S = 0.1
"""Standard uncertainty of when a person acts. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One act.

    Attributes:
        step, phase: what it was meant for: a step's key, "" where none is at hand, and a word of
            `phases.Phase`; step None for what is asked now.
        to: the key of the step that "go to" leads to; the vessel of "immersed".
        text: the reason, the note, or the reading that is typed.
        id: its identity, "" for one that can't come twice.
        uncertainty_s: standard uncertainty of when it was done, s.
    """

    word: str
    step: str | None = None
    phase: str = ""
    to: str = ""
    text: str = ""
    who: str = ""
    id: str = ""
    uncertainty_s: float = HAND_UNCERTAINTY_S


def parse_act(text: str, who: str = "") -> Act:
    """The act written in a line such as "skip no access to the terminal" or "go to element".

    Raises: WrongValue when the first word is none of `WORDS`.
    """
    word = _word_of(text)
    if word:
        rest = text[len(word) :].strip()
        return Act(word=word, to=rest, who=who) if word in ("go to", "immersed") else Act(word=word, text=rest, who=who)
    raise WrongValue(f"expected an act, one of {', '.join(WORDS)}; saw {text!r}")


def is_act(text: str) -> bool:
    return bool(_word_of(text))


def _word_of(text: str) -> str:
    return next((word for word in WORDS if text == word or text.startswith(word + " ")), "")
