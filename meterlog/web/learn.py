"""The page of a lesson: a person at the meter, a phone in the hand, and a profile that grows from what is typed.

It stands alone, beside no record: the command that holds the port serves it behind the same door as the pages. A press
has the phone's own time, put on the bench's clock by the replies to its questions: the offset is known to half of the
time that the quickest of them took (RFC 5905, section 8), and a press counts with that uncertainty, not as exact.
"""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol
from urllib.parse import parse_qsl

from meterlog.base.errors import CannotDo
from meterlog.profile.propose import parse_shows
from meterlog.web.alone import lives, reply

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meterlog.base.recording import Event
    from meterlog.profile.propose import Lesson

HERE = Path(__file__).parent
STATIC = {
    "/-/sheet/sheet.css": "text/css", "/-/sheet/learn.css": "text/css", "/-/sheet/learn.js": "text/javascript",
    "/-/sheet/mark.svg": "image/svg+xml",
}  # fmt: skip
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
LOOSEST_S = 1.5
"""A press that is known no better than this is refused: the display moves on meanwhile."""


class LessonPort(Protocol):
    """What is listened to."""

    @property
    def now(self) -> float:
        """Seconds since the lesson began."""

    def arrived(self) -> Sequence[Event]:
        """What came since this was asked last. Raises: CannotDo when the port is lost."""


class LearnPage:
    """The ASGI application of one lesson.

    Args:
        save: keeps the profile's text and answers where, in words. Raises: CannotDo.
        ended: called once a profile was saved.
    """

    def __init__(self, lesson: Lesson, port: LessonPort, save: Callable[[str], str], ended: Callable[[], None]) -> None:
        self._lesson, self._port, self._save, self._ended = lesson, port, save, ended
        self._turn = asyncio.Lock()
        self._is_saved = False

    async def __call__(self, scope: dict[str, Any], receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            await lives(receive, send)
            return
        path, is_change = scope["path"], scope["method"] == "POST"
        if path in STATIC:
            await reply(send, STATIC[path], (HERE / "static" / Path(path).name).read_bytes(), POLICY)
        elif path == "/" and not is_change:
            await reply(send, "text/html; charset=utf-8", (HERE / "templates" / "learn.html").read_bytes(), POLICY)
        elif path == "/clock" and not is_change:
            await _tell(send, {"now_s": self._port.now})
        elif path == "/standing" and not is_change:
            await _tell(send, await self._do(dict))
        elif is_change and (act := {"/note": self._note, "/take-out": self._take_out, "/save": self._keep}.get(path)):
            fields = dict(parse_qsl((await receive()).get("body", b"").decode("utf-8", "replace")))
            await _tell(send, await self._do(lambda: act(fields)))
            if self._is_saved:
                self._ended()
        else:
            await reply(send, "text/plain", b"There is nothing at this address.", POLICY, 404)

    async def _do(self, act: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """What an act answers, and where the lesson stands after it; one at a time, beside the loop."""

        def work() -> dict[str, Any]:
            now = self._port.now
            try:
                self._lesson.hear(self._port.arrived())
                done = act()
            except (CannotDo, ValueError) as error:
                done = {"error": str(error), "is_refused": True}
            return done | self._standing(max(now, self._port.now))

        async with self._turn:
            return await asyncio.to_thread(work)

    def _standing(self, now: float) -> dict[str, Any]:
        standing, made = self._lesson.standing(now), self._lesson.proposal
        notes = self._lesson.notes
        cut = made.framing.kind if made.framing else ""
        proved = made.check.name if made.check else "no check was found"
        return {
            "asks": standing.asks,
            "shows": standing.shows,
            "is_new": standing.is_new,
            "frames": standing.frames,
            "unknown": standing.unknown,
            "cut": f"{cut}; {proved}" if cut else "",
            "known": list(made.states_known),
            "notes": [{"at_s": note.at, "typed": note.typed} for note in notes],
            "words": list(dict.fromkeys(" ".join(note.typed.split()[1:]) for note in reversed(notes)))[:6],
            "can_save": bool(made.profile),
        }

    def _note(self, fields: dict[str, str]) -> dict[str, Any]:
        at, within = float(fields.get("at_s", "nan")), float(fields.get("within_s", "nan"))
        if not (within >= 0 and 0 <= at <= self._port.now + within):
            raise ValueError("the time of that press is not known: press again")
        if within > LOOSEST_S:
            raise ValueError(f"the way to this phone is slow: that press is known to {within:.1f} s only. Press again")
        return {"error": self._lesson.note(parse_shows(fields.get("shows", ""), round(at, 3), within_s=within))}

    def _take_out(self, fields: dict[str, str]) -> dict[str, Any]:
        self._lesson.take_out(float(fields.get("at_s", "nan")))
        return {}

    def _keep(self, _fields: dict[str, str]) -> dict[str, Any]:
        made = self._lesson.concluded()
        if not made.profile:
            raise CannotDo(f"nothing can be saved: {made.why}")
        where = self._save(made.profile)
        self._is_saved = True
        return {"saved": where, "profile": made.profile}


async def _tell(send: Any, told: dict[str, Any]) -> None:
    await reply(send, "application/json", json.dumps(told, ensure_ascii=False).encode(), POLICY)
