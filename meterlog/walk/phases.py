"""What the step at hand waits for: each phase with its words and the acts that answer it.

The one place of these words: screens, voice and commands take them from here, so that no phase can be
without a sentence and a way on. A step's kind may say it better while it is watched: `asked`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from meterlog.procedure.kinds import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One act that is offered: its word, its label on a button, `asks` for the words that it needs ("" for none).

    `to` is the key of the step that a "go to" leads to, and the vessel of an "immersed".
    """

    word: str
    label: str
    asks: str = ""
    to: str = ""


NEXT = Offer(word="next", label="Next")
OVERRIDE = Offer(
    word="override",
    label="Go on all the same",
    asks="Why it is right to go on; this is kept and shown in the record",
)
IMMERSED = Offer(word="immersed", label="The whole probe is under")
SKIP = Offer(word="skip", label="Skip", asks="Why it is skipped")
TYPE = Offer(
    word="type",
    label="Type a reading",
    asks="What an instrument that is not heard showed, its accuracy, its name:"
    ' "0.09 ohm ± 2 % + 3 counts on earth tester"',
)
NOTE = Offer(word="note", label="Note", asks="Note on this check")
BACK = Offer(word="back", label="Back")
AGAIN = Offer(word="again", label="Again")


class Phase(StrEnum):
    """What the step at hand waits for. `words` ask for it on a screen; `acts` answer it, the main one first.

    `press` is what a pedal, which has one meaning at a time, does meanwhile: a word of `acts`, or "".
    What the voice says of a phase stands in its catalogues.
    """

    words: str
    press: str
    acts: tuple[Offer, ...]

    def __new__(cls, name: str, words: str, press: str, *acts: Offer) -> Self:
        member = str.__new__(cls, name)
        member._value_ = name
        member.words, member.press, member.acts = words, press, acts
        return member

    CAUTIONS = (
        "cautions", "Read the cautions, then say so.", "acknowledge",
        Offer(word="acknowledge", label="I have read them"),
    )  # fmt: skip
    GATE = "gate", "This check waits for others.", "", OVERRIDE
    LOOK = (
        "look", "Look, then say what you found.", "confirm",
        Offer(word="confirm", label="Looked: it is well"),
        Offer(word="wanting", label="Looked: it is not well", asks="What is not well; what rests on it stays shut"),
    )  # fmt: skip
    WATCH = (
        "watch", "Hold the probes on the points: it is taken by itself once it is still.", "confirm",
        Offer(word="confirm", label="On the points: take it"), NEXT,
    )  # fmt: skip
    STIR = (
        "stir",
        "Put the whole probe under the surface, and say so. Stir.",
        "immersed",
        IMMERSED, Offer(word="start", label="Start"), NEXT,
    )  # fmt: skip
    START = (
        "start", "Say when it starts.", "start",
        Offer(word="start", label="Start"), NEXT,
    )  # fmt: skip
    RUN = "run", "It runs. Say when it stops.", "stop", Offer(word="stop", label="Stop")
    AFTER = (
        "after",
        "Mains off. Put the whole probe under the surface and say so; stir for 10 s, then hold it still. "
        "The run is taken 90 s after Stop.",
        "immersed",
        IMMERSED, Offer(word="confirm", label="Take it now"),
    )  # fmt: skip
    LIVE = (
        "live", "Live: volts at points that should be dead. Take the tips off, keep away, isolate it.", "acknowledge",
        Offer(word="acknowledge", label="I have seen it: begin the proof again"),
    )  # fmt: skip
    LIFT = "lift", "Taken. Lift the probes, and the next check comes.", "next", NEXT
    DONE = "done", "The end of the walk: see what came out, and what is open.", ""


PHASES = [phase.value for phase in Phase]

STAY, UNDER = "stay", "under"
STAGES: dict[str, str] = {
    "open": "The leads are proved. Touch the points, and press with the tips on them.",
    "short": "Open for long enough. Press the tips together now, until the tone.",
    "points": "The tester is proved. Touch the points, and press with the tips on them.",
    STAY: "Stay on the points until the tone.",
    "source": "It read low for long enough. Now the known source once more, until the tone.",
    "stop": "It runs.",
    "first": "In the first vessel: the whole probe under the surface, and say so. Stir, and hold it for half a minute.",
    "second": "Hold it for half a minute. Then in the second vessel: the whole probe under, say so, stir, and hold it.",
    UNDER: "Stir for 10 s, then hold it still: the level and its drift are waited for, until 90 s after Stop.",
}
"""What a proof or a heating run wants next, by the word of its stage."""


def awaited_in(phase: str, stage: str) -> str:
    """The word of what is asked for: of the phase, or of the stage while a heating run asks for its probe."""
    return stage if phase in (Phase.STIR, Phase.AFTER) and stage in STAGES else phase


IN_THE_WAY: dict[str, str] = {
    "lift first": "Lift the probes off first: they have lain on something since before this check.",
    "frozen": "HOLD is on, and nothing is taken: release it.",
}
"""What has to go before a step's displays can be taken, by the word of their state."""


WITHOUT_POINTS = "Wait until the display is still: it is taken by itself, or take it now."
"""What is asked while a step is watched that is read at no points: in the air, or where the appliance is plugged in."""
TAKE_IT = Offer(word="confirm", label="Take it now")
"""The act that takes what shows where no points are touched."""


def asked(
    phase: Phase, kind: Kind | None, stage: str, advice: str = "", in_the_way: str = "", *, has_points: bool = True
) -> str:
    """What is asked of the person now: first what is in the way, then what was advised where the step stands."""
    if kind is None or phase not in (Phase.WATCH, Phase.STIR, Phase.START, Phase.AFTER):
        return phase.words
    on_screen = kind.on_screen if phase in (Phase.WATCH, Phase.START) else ""
    words = phase.words if has_points or phase is not Phase.WATCH else WITHOUT_POINTS
    return IN_THE_WAY.get(in_the_way) or advice or STAGES.get(stage) or on_screen or words
