"""What is proposed, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meterlog.profile.propose.framing import Framing
    from meterlog.profile.propose.proofs import FoundCheck


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A profile as far as it is known.

    Attributes:
        framing, check, transform: how bytes are cut, proved and turned; None or empty where nothing was found.
        states_known: what each state means, in words; states_unknown: frames of the recording in states never noted.
        profile: the whole text of a profile, "" where the digits are not known.
        why: what is missing, in words; "" where nothing is.
        ask_at: times, s, at which a note would teach most: the middles of stretches in unknown states.
    """

    framing: Framing | None
    check: FoundCheck | None = None
    transform: tuple[str, ...] = ()
    states_known: tuple[str, ...] = ()
    states_unknown: int = 0
    profile: str = ""
    why: str = ""
    ask_at: tuple[float, ...] = ()

    @property
    def as_json(self) -> dict[str, Any]:
        """Plain data: framing, check, transform, states_known, states_unknown, profile, why, ask_at_s."""
        framing = self.framing
        cut = None if framing is None else {
            "kind": framing.kind, "keys": {**framing.keys}, "frames": len(framing.frames),
            "bursts": framing.bursts, "explained": framing.explained,
        }  # fmt: skip
        check = None if self.check is None else {
            "kind": self.check.name, "keys": {**self.check.keys}, "frames": self.check.frames,
            "exceptions": len(self.check.strays),
        }  # fmt: skip
        return {
            "framing": cut,
            "check": check,
            "transform": list(self.transform),
            "states_known": list(self.states_known),
            "states_unknown": self.states_unknown,
            "profile": self.profile or None,
            "why": self.why,
            "ask_at_s": list(self.ask_at),
        }
