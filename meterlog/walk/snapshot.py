"""A walk at one moment, as pages, commands and the control socket are shown it; every field stands in PROTOCOL.md."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from meterlog.walk.phases import Offer, Phase  # noqa: TC001  (read at run time: `base.plain`)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepSnapshot:
    """How a step stands, and what its counting capture showed: digits, ASCII unit, bound; None where there is none."""

    key: str
    title: str
    kind: str
    state: str
    lapsed: bool
    safety: bool
    captures: int
    shown: str | None
    unit: str | None
    bound: str | None
    typed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchedDisplay:
    """A display that the step at hand watches, and how its readings stand with it."""

    source: str
    channel: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """The step at hand, what it waits for and how every step stands. What the job adds is empty without one."""

    procedure: str
    title: str
    phase: Phase
    step: str
    words: str
    acts: tuple[Offer, ...]
    more: tuple[Offer, ...]
    press: str
    cautions: tuple[str, ...]
    unread: tuple[str, ...]
    live: str
    stage: str
    needs: tuple[str, ...]
    started: float | None
    displays: tuple[WatchedDisplay, ...]
    steps: tuple[StepSnapshot, ...]
    job: str = ""
    verdicts: Mapping[str, int] = field(default_factory=dict)
    asks: Mapping[str, str] = field(default_factory=dict)
    absent: str = ""
