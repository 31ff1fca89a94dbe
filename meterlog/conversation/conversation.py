"""The conversation with one instrument: bytes and time in, outcomes out.

Every byte that was received is in exactly one outcome, in the order of the stream. Nothing here reads a clock or a
port. What time alone completes is completed at its own moment, whether anybody polls or not: outcomes hang on what
was received and sent and when, so that live capture and every replay of it come to the same.

Times are seconds at the doors, whole microseconds within.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.readings import Frame, Reading, Rejected, Skipped, StreamOutcome
from meterlog.conversation.echo import Echo
from meterlog.conversation.framing import FrameCandidate, Silence
from meterlog.conversation.memory import Memory
from meterlog.conversation.moments import kept, micros, seconds
from meterlog.conversation.reasons import Damage, Refusal, Unlike, Untold
from meterlog.conversation.stream import Stream

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.conversation.framing import Framer
    from meterlog.conversation.poller import Poller
    from meterlog.conversation.stuffing import Undo
    from meterlog.conversation.transforms import Unwrapper

Meaning = tuple[Reading, ...] | str
"""The readings of a frame, or why it is not believed."""

MEMO_FRAMES = 4096
"""Distinct frames remembered with what they mean; when there are more, the lot is forgotten."""
SKIPPED_MOST = 1024
"""Bytes outside frames are told at the latest when there are this many."""
FILLING = b"\0 \t\r\n\xff"
"""Bytes that say nothing where they stand between frames."""
ENDED = "cut short: the stream ended"


class Conversation:
    """One conversation.

    Args:
        framer: cuts the stream.
        decode: readings of a frame, or why it is not believed.
        patience: s of silence after which an unfinished frame is given up, or, for frames that
            silence parts, is whole.
        poller: what to ask; None: the instrument speaks by itself.
        table: transform of single bytes, for `bytes.translate`. unwrapper: opens reports.
        undo: what is done to a frame once it is cut.
        marked: frames begin with a mark, so that one whose check differs is still known for one.
        steady: the same bytes always mean the same, so that meanings may be remembered.
        doubt: told of bytes that are not believed (none where no answer came), why, and whether they are a frame as
            it was cut, so that what they may have said is not taken from an earlier frame.
        wake: bytes that are written once, before all else. wait: s from then to the first request.
        wake_again: s of silence after which they are written again; None: never.
    """

    def __init__(
        self,
        framer: Framer,
        decode: Callable[[bytes, Memory], Meaning],
        *,
        patience: float = 0.5,
        poller: Poller | None = None,
        table: bytes | None = None,
        unwrapper: Unwrapper | None = None,
        undo: Undo | None = None,
        marked: bool = False,
        steady: bool = True,
        doubt: Callable[[bytes, str, Memory, bool], None] | None = None,
        wake: bytes = b"",
        wait: float = 0.0,
        wake_again: float | None = None,
    ) -> None:
        self._framer, self._decode, self._undo = framer, decode, undo
        self._patience, self._poller = micros(patience), poller
        self._marked, self._steady, self._doubt = marked, steady, doubt
        self._wake, self._wait, self._awake = wake, micros(wait), not (wake or wait)
        self._wake_again = None if wake_again is None else micros(wake_again)
        self._woken = 0  # when it was woken last, µs
        self._memo: dict[bytes, Meaning] = {}
        self._memory = Memory(request=poller.only if poller else None)
        self._stream = Stream(table, unwrapper)
        self._echo: Echo | None = None  # of the last request, until all of it has come
        self._last = 0  # when bytes came last, µs
        self._now = 0  # no moment lies before this one, µs
        self._is_told = False  # something was rejected since the last request

    # -- what happens ------------------------------------------------------------

    def feed(self, data: bytes, at: float) -> list[StreamOutcome]:
        """Take bytes that arrived at a time, s. Answers what they complete, and what time did before."""
        out: list[StreamOutcome] = []
        self._pass(out, at)
        if data:
            self._last = self._now
            data = self._without_echo(out, data)
            self._stream.append(data)
            self._scan(out, self._now)
        return out

    def sent(self, data: bytes, at: float) -> list[StreamOutcome]:
        """Bytes were written to the instrument. Answers what that ends: a message that began before is no answer."""
        out: list[StreamOutcome] = []
        self._pass(out, at)
        if not self._poller:
            return out
        self._give_up(out, "cut short: a request was sent")
        self._end_echo(out)
        self._poller.sent(data, self._now)
        request = self._memory.request = self._poller.pending
        self._echo = Echo(request.echo) if request and request.echo else None
        self._is_told = False
        return out

    def poll(self, at: float, *, may_ask: bool = True) -> tuple[list[bytes], list[StreamOutcome]]:
        """Bytes to write at a time, s, and outcomes that time alone has completed; none to write unless it may ask."""
        out: list[StreamOutcome] = []
        self._pass(out, at)
        if not may_ask:
            return [], out
        moment, requests = max(micros(at), self._now), []
        if self._sleeps_from is not None and moment >= self._sleeps_from:
            self._awake = False
        if not self._awake:
            self._awake, self._woken = True, moment
            requests += [self._wake] if self._wake else []
            if self._poller:
                self._poller.not_before(moment + self._wait)
        if self._poller and not self._stream.rest:  # while a message comes in, nothing is asked
            requests += self._poller.next(moment)
        return requests, out

    @property
    def _sleeps_from(self) -> int | None:
        """From when on the instrument must be woken again, µs."""
        return None if self._wake_again is None else max(self._last, self._woken) + self._wake_again

    @property
    def wake_at(self) -> float | None:
        """When `poll` must be called next, s; None: only bytes matter."""
        if not self._awake:
            return seconds(self._now)
        dues = [self._due, self._sleeps_from]
        if self._poller and not self._stream.rest:
            dues.append(self._poller.wake_at)
        return min((seconds(due) for due in dues if due is not None), default=None)

    @property
    def completes_at(self) -> float | None:
        """When time alone completes something, s."""
        return None if self._due is None else seconds(self._due)

    @property
    def busy_until(self) -> float | None:
        """Until when, s, an answer comes or may come, so that nobody else on the line may speak; None: none may."""
        dues = [self._last + self._patience] if self._stream.rest else []
        if self._poller and self._poller.busy_until is not None:
            dues.append(self._poller.busy_until)
        return max(map(seconds, dues), default=None)

    def end(self) -> list[StreamOutcome]:
        """The stream is over: what is left of it is no frame, unless silence ends one."""
        out: list[StreamOutcome] = []
        self._end_silence(out)
        self._give_up(out, ENDED)
        if self._stream.raw_left:
            reason = self._echo.spoiled if self._echo else ""
            out.append(Rejected(*self._stream.raw_piece(self._stream.raw_left), seconds(self._last), reason or ENDED))
            self._stream.drop_emitted()
        return out

    # -- time ----------------------------------------------------------------------

    @property
    def _due(self) -> int | None:
        """When time alone completes something, µs."""
        quiet = self._last + self._patience if self._stream.rest else None
        deadline = self._poller.deadline if self._poller else None
        return min((due for due in (quiet, deadline) if due is not None), default=None)

    def _pass(self, out: list[StreamOutcome], at: float) -> None:
        """Let time pass up to a moment, s: what is due is done when it is due."""
        until = max(micros(at), self._now)
        while (due := self._due) is not None and due <= until:
            self._now = kept(due)
            if self._stream.rest and self._last + self._patience == due:
                self._end_silence(out)
                self._give_up(out, f"cut short: nothing came for {seconds(self._patience):g} s")
            else:
                self._give_up_answer(out, due)
        self._now = max(self._now, until)

    def _give_up_answer(self, out: list[StreamOutcome], at: int) -> None:
        """The time for an answer is over: what waits is rejected, and where nothing was, that nothing came."""
        assert self._poller
        late = self._poller.late(at)
        reason = f"no answer to {_words(late.data)}"
        self._end_echo(out)
        self._give_up(out, reason)
        if not self._is_told:
            self._reject(out, 0, at, reason)
        elif self._doubt:
            self._doubt(b"", reason, self._memory, False)

    def _end_silence(self, out: list[StreamOutcome]) -> None:
        """Where silence parts frames, what waits is a whole one, told as of its last byte."""
        if isinstance(self._framer, Silence) and self._stream.rest:
            self._take(out, self._framer.whole(self._stream.rest), self._last)
            self._stream.rest = b""
            self._stream.drop_emitted()

    def _give_up(self, out: list[StreamOutcome], reason: str) -> None:
        """Nothing more will come of what waits; whole frames behind a false beginning are still taken.

        It is told as of its last byte, so that a silence behind it is the same in the record.
        """
        stream = self._stream
        while stream.rest:
            begun, end = stream.searched, len(stream.rest)
            if begun:
                self._skip(out, 0, begun, self._last, all_of_it=True)
            place = begun
            found: FrameCandidate | int = begun
            while begun < end and isinstance(found, int) and place < end:
                place = self._framer.again(stream.rest, FrameCandidate(place, end))
                found = self._framer.find(stream.rest, place) if place < end else end
                place = found if isinstance(found, int) else place
            cut = found.start if isinstance(found, FrameCandidate) else end
            if cut > begun:
                self._reject(out, cut - begun, self._last, reason)
            stream.rest, stream.searched = stream.rest[cut:], 0
            self._scan(out, self._last)

    # -- what was sent and comes back ------------------------------------------------

    def _without_echo(self, out: list[StreamOutcome], data: bytes) -> bytes:
        """Take what belongs to the last request's echo; answers what is left."""
        echo = self._echo
        if echo is None:
            return data
        count = echo.take(data)
        self._stream.append_aside(data[:count])
        while echo.spoiled and echo.came >= SKIPPED_MOST:
            self._reject(out, SKIPPED_MOST, self._now, echo.spoiled)
            echo.came -= SKIPPED_MOST
        if echo.is_whole:
            out.append(Skipped(*self._stream.raw_piece(echo.came), seconds(self._now)))
            self._echo = None
        self._stream.drop_emitted()
        return data[count:]

    def _end_echo(self, out: list[StreamOutcome]) -> None:
        """What has come of an echo is not what was sent, or only part of it."""
        echo = self._echo
        if echo is not None and echo.came:
            self._reject(out, echo.came, self._last, echo.spoiled or "cut short: only part of what was sent came back")
            self._stream.drop_emitted()
            echo.came = 0
        if echo is not None and not echo.spoiled:
            self._echo = None

    # -- frames ------------------------------------------------------------------------

    def _scan(self, out: list[StreamOutcome], at: int) -> None:
        """Take every whole frame from the front of the rest."""
        stream, find, data = self._stream, self._framer.find, self._stream.rest
        done, place = 0, stream.searched
        while isinstance(found := find(data, place), FrameCandidate):
            if found.start > done:
                done = self._skip(out, done, found.start, at, all_of_it=True)
            place = done = self._take(out, found, at)
        done = self._skip(out, done, found, at, all_of_it=False)
        stream.searched = found - done
        if done:
            stream.rest = data[done:]
        stream.drop_emitted()

    def _skip(self, out: list[StreamOutcome], done: int, end: int, at: int, *, all_of_it: bool) -> int:
        """Tell of skipped bytes in pieces of a fixed size; the last piece only when a frame follows."""
        while end - done >= SKIPPED_MOST or (all_of_it and end > done):
            length = min(end - done, SKIPPED_MOST)
            skipped = Skipped(*self._stream.piece(length), seconds(at))
            out.append(skipped)
            if self._doubt and skipped.raw.strip(FILLING):
                self._doubt(self._stream.transformed(skipped.raw), "outside frames", self._memory, False)
            done += length
        return done

    def _take(self, out: list[StreamOutcome], found: FrameCandidate, at: int) -> int:
        """One candidate, believed or not. Answers where to look on."""
        rest = self._stream.rest
        cut = rest[found.start : found.end]
        frame = self._undo(cut) if self._undo and not found.reason else cut
        meaning = found.reason or (frame if isinstance(frame, str) else self._meaning(frame, at))
        if isinstance(meaning, tuple):
            out.append(Frame(*self._stream.piece(len(cut)), seconds(at), meaning))
        elif isinstance(meaning, (Refusal, Untold)):
            out.append(Rejected(*self._stream.piece(len(cut)), seconds(at), meaning))
        else:
            return self._disbelieve(out, found, meaning, b"" if found.reason or isinstance(frame, str) else frame, at)
        pending = self._poller.pending if self._poller else None
        if self._poller and (pending is None or pending.until in ("", self._memory.message)):
            self._poller.answered(at)
        return found.end

    def _disbelieve(self, out: list[StreamOutcome], found: FrameCandidate, reason: str, frame: bytes, at: int) -> int:
        """A candidate that is no frame, or not believed. Answers where the next may begin."""
        rest = self._stream.rest
        end = self._framer.again(rest, found)
        if self._poller:
            if isinstance(reason, Unlike) and self._poller.is_own(rest[found.start : found.end]):
                reason = Unlike("a request come back: where all of them do, say `echo: true` under `ask`")
            if not found.reason and not isinstance(reason, Unlike if self._marked else (Unlike, Damage)):
                self._poller.spoiled(at)
        self._reject(out, end - found.start, at, reason, frame)
        return end

    def _reject(self, out: list[StreamOutcome], length: int, at: int, reason: str, frame: bytes = b"") -> None:
        """Reject the next bytes; `frame`: what they were cut to, where they were."""
        rejected = Rejected(*self._stream.piece(length), seconds(at), reason)
        out.append(rejected)
        self._is_told = True
        if self._doubt:
            self._doubt(frame or self._stream.transformed(rejected.raw), reason, self._memory, bool(frame))

    def _meaning(self, frame: bytes, at: int) -> Meaning:
        if not self._steady:
            return self._asked(frame, at) if self._poller else self._decode(frame, self._memory)
        meaning = self._memo.get(frame)
        if meaning is None:
            meaning = self._decode(frame, self._memory)
            if len(self._memo) >= MEMO_FRAMES:
                self._memo.clear()
            self._memo[frame] = meaning
        return meaning

    def _asked(self, frame: bytes, at: int) -> Meaning:
        """The meaning of a frame that answers a request, unless it may as well answer an earlier one."""
        assert self._poller
        for earlier in self._poller.owed(at):
            if not isinstance(self._decode(frame, self._memory.copy(request=earlier)), str):
                self._poller.paid(earlier)
                return Unlike(f"may be the late answer to {_words(earlier.data)}")
        return self._decode(frame, self._memory)


def _words(data: bytes) -> str:
    """Bytes in the words of a message: text where they are text, else hex."""
    text = data.strip().decode("latin-1")
    return text if text.isascii() and text.isprintable() and text else data.hex(" ")
