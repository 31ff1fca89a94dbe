"""What is asked over the control socket and what is answered: one record each, as PROTOCOL.md lists them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from typing import TYPE_CHECKING, Any, TypeVar, get_type_hints

from meterlog.base.errors import CannotDo, WrongValue
from meterlog.base.spelling import words
from meterlog.store.writer import DIGESTS_A_JOB

if TYPE_CHECKING:
    from meterlog.daemon.status import Status
    from meterlog.walk import Snapshot

LONGEST_NAME = 1000
"""Characters of a name: one line that can be printed."""
LONGEST_TEXT = 10_000
"""Characters of a note or a reason."""
MOST_TEXTS = {"plate": 100, "entries": 100, "personal": DIGESTS_A_JOB}


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlRequest:
    """What someone asks, and what any request may say: who asks, and from where."""

    who: str = ""
    whence: str = "control socket"


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusRequest(ControlRequest):
    """How the bench stands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ActRequest(ControlRequest):
    """An act, with what it is meant for and its identity: a pedal alone may leave those out.

    `suggested` is the key of the check that the page suggested, "" for none, None where it suggested nothing.
    """

    word: str
    job: str | None = None
    step: str | None = None
    phase: str | None = None
    id: str | None = None
    to: str = ""
    text: str = ""
    reason: str = ""
    suggested: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenJobRequest(ControlRequest):
    """A new job of a procedure."""

    procedure: str
    ref: str = ""
    where: str = ""
    plate: Mapping[str, str] = field(default_factory=dict)
    personal: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class EnterRequest(ControlRequest):
    """Entries of the job at hand that were learned later."""

    entries: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFittedRequest(ControlRequest):
    """A part was fitted: its marking, why it may stand in, its incoming check (a key); `suggested` as of an act."""

    part: str = ""
    marking: str = ""
    why: str = ""
    check: str = ""
    job: str = ""
    suggested: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkDoneRequest(ControlRequest):
    """What was done to the appliance, in words."""

    text: str
    job: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayAsideRequest(ControlRequest):
    """Put the job at hand away, open as it is."""

    job: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeUpRequest(ControlRequest):
    """Put a job at hand again that was laid aside; one that was closed, for a reason."""

    job: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseJobRequest(ControlRequest):
    """Close the job at hand."""

    job: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRequest(ControlRequest):
    """A photograph of a job; `content` is base64."""

    job: str
    type: str
    content: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EraseRequest(ControlRequest):
    """Erase a job's personal fields."""

    job: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcludeAgainRequest(ControlRequest):
    """Conclude a job again, by another procedure, jurisdiction or rule; with a reason, what differs is kept."""

    job: str
    procedure: str = ""
    where: str = ""
    rule: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TryAgainRequest(ControlRequest):
    """Open a waiting or given-up link at once."""

    link: str


R = TypeVar("R", bound=ControlRequest)


def read_message(kind: type[R], message: Mapping[str, Any]) -> R:
    """The request of a kind that a message holds. Raises: CannotDo or WrongValue, saying what it needs."""
    hints = get_type_hints(kind)
    values: dict[str, Any] = {}
    for each in fields(kind):
        if each.name in ("who", "whence"):
            values[each.name] = _one_line(message.get(each.name, each.default))
        elif hints[each.name] == Mapping[str, str]:
            values[each.name] = _texts(message, each.name)
        elif each.default is MISSING or message.get(each.name, each.default) is not each.default:
            values[each.name] = _text(message, each.name, is_needed=each.default in (MISSING, None))
    return kind(**{name: value for name, value in values.items() if value is not None})


def _text(message: Mapping[str, Any], name: str, *, is_needed: bool) -> str | None:
    """A text of the message: names are one line that can be printed, reasons become one, a note may have several."""
    value = message.get(name)
    if value is None and not is_needed:
        return None
    if not isinstance(value, str):
        raise CannotDo(f"the request {message['do']!r} needs {name!r}, a text")
    if name == "content":
        return value
    if name in ("text", "reason"):
        return _as_words(name, value, LONGEST_TEXT, lines=message.get("word") == "note")
    if not (value.isprintable() and len(value) <= LONGEST_NAME):
        raise CannotDo(f"{name!r} is one line of at most {LONGEST_NAME} characters that can be printed")
    return value


def _as_words(name: str, text: str, longest: int, *, lines: bool = False) -> str:
    try:
        return words(text, longest, lines=lines)
    except WrongValue as error:
        raise WrongValue(f"{name}: {error}") from None


def _texts(message: Mapping[str, Any], name: str) -> dict[str, str]:
    value = message.get(name) or {}
    if not isinstance(value, dict) or not all(isinstance(k, str) and isinstance(v, str) for k, v in value.items()):
        raise CannotDo(f"{name!r} is an object of texts")
    if len(value) > MOST_TEXTS[name]:
        raise CannotDo(f"{name!r} holds at most {MOST_TEXTS[name]} texts")
    return {_as_words(name, key, LONGEST_NAME): _as_words(key, text, LONGEST_TEXT) for key, text in value.items()}


def _one_line(value: object) -> str:
    return "".join(letter for letter in str(value) if letter.isprintable())[:80]


# ---- answers ----


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """It is done."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusReply(Reply):
    status: Status


@dataclass(frozen=True, slots=True, kw_only=True)
class WalkReply(Reply):
    """How the walk stands then."""

    walk: Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenedReply(Reply):
    """The job's reference, and the instruments that steps ask for by name and this bench does not have."""

    job: str
    absent: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoReply(Reply):
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ErasedReply(Reply):
    """How many personal fields; and what can still be found of them, and where, "" for nothing."""

    erased: int
    still_there: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcludedReply(Reply):
    """What differs, and whether it was kept."""

    concluded: tuple[Mapping[str, str | int | None], ...]
    kept: bool
