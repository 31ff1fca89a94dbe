"""What a person does during a walk, from a page, a command, a pedal or a recording.

next             leave this step, answered or not      back      the step before
again            the step captured last, once more     go to KEY that step, out of order
confirm          looked and found well; or take what shows now
wanting [text]   looked and found wanting              skip REASON   leave it, with the reason
start, stop      of a timed step                       note TEXT
acknowledge      the cautions were read                override REASON   pass a gate
press            a pedal: whichever of acknowledge, confirm, start, stop or next fits now
"""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.base.errors import WrongValue

WORDS = (
    "next", "back", "again", "skip", "note", "confirm", "wanting", "go to", "start", "stop", "acknowledge",
    "override", "press",
)  # fmt: skip
HAND_UNCERTAINTY_S = 0.1
"""Standard uncertainty of when a person acts. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """One act. `step` for go to, `text` for the reason or note; `uncertainty_s` of when it was done."""

    word: str
    step: str = ""
    text: str = ""
    who: str = ""
    uncertainty_s: float = HAND_UNCERTAINTY_S


def parse_act(text: str, who: str = "") -> Act:
    """The act written in a line such as "skip no access to the terminal" or "go to element".

    Raises: WrongValue when the first word is none of `WORDS`.
    """
    word = _word_of(text)
    if word:
        rest = text[len(word) :].strip()
        return Act(word=word, step=rest, who=who) if word == "go to" else Act(word=word, text=rest, who=who)
    raise WrongValue(f"expected an act, one of {', '.join(WORDS)}; saw {text!r}")


def is_act(text: str) -> bool:
    return bool(_word_of(text))


def _word_of(text: str) -> str:
    return next((word for word in WORDS if text == word or text.startswith(word + " ")), "")
