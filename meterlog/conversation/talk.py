"""The conversation with one instrument: bytes and time in, outcomes out.

Every byte that was received is in exactly one outcome, in the order of the stream. Nothing here
reads a clock or a port; live capture and replay drive it alike.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Frame, Outcome, Reading, Rejected, Skipped
from meterlog.conversation.echo import Echo
from meterlog.conversation.framing import Found, Silence
from meterlog.conversation.reasons import Damage, Refusal, Unlike, Untold

if TYPE_CHECKING:
    from collections.abc import Callable

    from meterlog.conversation.framing import Framer
    from meterlog.conversation.poller import Asking
    from meterlog.conversation.stuffing import Undo
    from meterlog.conversation.transforms import Unwrapper

Kept = dict[str, Any]
"""What earlier frames and requests said that later ones need, by name."""

MEMO_FRAMES = 4096
"""Distinct frames remembered with what they mean; when there are more, the lot is forgotten."""
SKIPPED_MOST = 1024
"""Bytes outside frames are told at the latest when there are this many."""
FILLING = b"\0 \t\r\n\xff"
"""Bytes that say nothing where they stand between frames."""


class Talk:
    """One conversation.

    Args:
        framer: cuts the stream.
        decode: readings of a frame, or why it is not believed.
        patience: s of silence after which an unfinished frame is given up, or, for frames that
            silence parts, is whole.
        asking: what to ask; None: the instrument speaks by itself.
        table: transform of single bytes, for `bytes.translate`. unwrapper: opens reports.
        undo: what is done to a frame once it is cut.
        marked: frames begin with a mark, so that one whose check differs is still known for one.
        steady: the same bytes always mean the same, so that meanings may be remembered.
        doubt: told of bytes that are not believed (none where no answer came), why, and whether they are a frame as
            it was cut, so that what they may have said is not taken from an earlier frame.
        wake: bytes that are written once, before all else. wait: s from then to the first request.
    """

    def __init__(
        self,
        framer: Framer,
        decode: Callable[[bytes, Kept], tuple[Reading, ...] | str],
        *,
        patience: float = 0.5,
        asking: Asking | None = None,
        table: bytes | None = None,
        unwrapper: Unwrapper | None = None,
        undo: Undo | None = None,
        marked: bool = False,
        steady: bool = True,
        doubt: Callable[[bytes, str, Kept, bool], None] | None = None,
        wake: bytes = b"",
        wait: float = 0.0,
    ) -> None:
        self._framer, self._decode, self._patience = framer, decode, patience
        self._asking, self._table, self._unwrapper, self._undo = asking, table, unwrapper, undo
        self._marked, self._steady = marked, steady
        self._doubt = doubt
        self._wake, self._wait, self._awake = wake, wait, not (wake or wait)
        self._memo: dict[bytes, tuple[Reading, ...] | str] = {}
        self._kept: Kept = {"request": asking.only if asking else None}
        self._rest = b""  # what is cut into frames
        self._raw = b""  # the bytes it came from
        self._owned: list[int] = []  # raw bytes behind each byte of _rest, where reports are opened
        self._offset = 0  # of _raw's first byte in the stream
        self._told = 0  # bytes of _raw that are in outcomes already
        self._looked = 0  # bytes of _rest that are known to be outside frames
        self._last = 0.0
        self._echoes: list[Echo] = []  # of the last request, until it has come; behind an earlier one, to be told first
        self._is_spoiled = False  # the answer came, and is not believed
        self._is_told = False  # something was rejected since the last request

    def feed(self, data: bytes, at: float) -> list[Outcome]:
        """Take bytes that arrived at a time, s. Answers what they complete."""
        out: list[Outcome] = []
        if self._rest and at - self._last > self._patience:
            self._quiet(out, self._last + self._patience)
        self._last = at
        if self._echoes:
            data = self._come_back(out, data, at)
        self._append(data)
        self._scan(out, at)
        self._end_spoiled(at)
        return out

    def _end_spoiled(self, at: float) -> None:
        """Once nothing follows an answer that is not believed, the next may be asked for."""
        if self._is_spoiled and not self._rest and self._asking:
            self._asking.spoiled(at)
            self._is_spoiled = False

    def _come_back(self, out: list[Outcome], data: bytes, at: float) -> bytes:
        """Take what belongs to the last request's echo; answers what is left."""
        self._give_up(out, "cut short: another request was sent", at)
        while len(self._echoes) > 1:
            self._tell_echo(out, at)
        echo = self._echoes[0]
        taken = echo.take(data)
        self._raw += data[:taken]
        while echo.spoiled and echo.came >= SKIPPED_MOST:
            self._reject(out, SKIPPED_MOST, at, echo.spoiled)
            echo.came -= SKIPPED_MOST
        if echo.is_whole:
            self._tell_echo(out, at)
        self._forget_told()
        return data[taken:]

    def _tell_echo(self, out: list[Outcome], at: float) -> None:
        """What has come of the first echo: skipped where it is what was sent, else rejected."""
        echo = self._echoes[0]
        if echo.is_whole:
            out.append(Skipped(*self._piece(echo.came), at))
        elif echo.came:
            self._reject(out, echo.came, at, echo.spoiled or "cut short: only part of what was sent came back")
        echo.came = 0
        if not echo.spoiled or len(self._echoes) > 1:
            del self._echoes[0]
        self._forget_told()

    def _append(self, data: bytes) -> None:
        self._raw += data
        if self._unwrapper:
            for payload, owned in self._unwrapper.feed(data):
                self._rest += self._changed(payload)
                self._owned += owned
        else:
            self._rest += self._changed(data)

    def _scan(self, out: list[Outcome], at: float) -> None:
        """Take every whole frame from the front of the rest."""
        find, data = self._framer.find, self._rest
        done, place = 0, self._looked
        while True:
            found = find(data, place)
            if not isinstance(found, Found):
                break
            if found.start > done:
                done = self._skip(out, done, found.start, at, all_of_it=True)
            place = done = self._take(out, found, at)
        done = self._skip(out, done, found, at, all_of_it=False)
        self._looked = found - done
        if done:
            self._rest = data[done:]
        self._forget_told()

    def _forget_told(self) -> None:
        self._raw = self._raw[self._told :]
        self._offset, self._told = self._offset + self._told, 0

    def _piece(self, length: int) -> tuple[int, bytes]:
        """The raw bytes behind the next bytes of the rest, and where in the stream they stand."""
        if self._unwrapper:
            length, self._owned = sum(self._owned[:length]), self._owned[length:]
        begun = self._told
        self._told = end = begun + length
        return self._offset + begun, self._raw[begun:end]

    def _skip(self, out: list[Outcome], done: int, end: int, at: float, *, all_of_it: bool) -> int:
        """Tell of skipped bytes in pieces of a fixed size; the last piece only when a frame follows."""
        while end - done >= SKIPPED_MOST or (all_of_it and end > done):
            length = min(end - done, SKIPPED_MOST)
            skipped = Skipped(*self._piece(length), at)
            out.append(skipped)
            if self._doubt and skipped.raw.strip(FILLING):
                self._doubt(self._changed(skipped.raw), "outside frames", self._kept, False)
            done += length
        return done

    def _take(self, out: list[Outcome], found: Found, at: float) -> int:
        """One candidate, believed or not. Answers where to look on."""
        frame = self._rest[found.start : found.end]
        meant = self._undo(frame) if self._undo and not found.reason else frame
        said = found.reason or (meant if isinstance(meant, str) else self._meaning(meant, at))
        if isinstance(said, tuple):
            out.append(Frame(*self._piece(len(frame)), at, said))
            self._answered(at)
            return found.end
        if isinstance(said, (Refusal, Untold)):
            out.append(Rejected(*self._piece(len(frame)), at, said))
            self._answered(at)
            return found.end
        end = self._framer.again(self._rest, found)
        if isinstance(said, Unlike) and self._asking and self._asking.is_own(frame):
            said = Unlike("a request come back: where all of them do, say `echo: true` under `ask`")
        self._is_spoiled = not found.reason and not isinstance(said, Unlike if self._marked else (Unlike, Damage))
        self._reject(out, end - found.start, at, said, b"" if found.reason or isinstance(meant, str) else meant)
        return end

    def _answered(self, at: float) -> None:
        self._is_spoiled = False
        if self._asking:
            self._asking.answered(at)

    def _reject(self, out: list[Outcome], length: int, at: float, reason: str, frame: bytes = b"") -> None:
        rejected = Rejected(*self._piece(length), at, reason)
        out.append(rejected)
        self._is_told = True
        if self._doubt:
            self._doubt(frame or self._changed(rejected.raw), reason, self._kept, bool(frame))

    def _changed(self, raw: bytes) -> bytes:
        return raw.translate(self._table) if self._table else raw

    def _meaning(self, frame: bytes, at: float) -> tuple[Reading, ...] | str:
        if not self._steady:
            return self._asked(frame, at) if self._asking else self._decode(frame, self._kept)
        said = self._memo.get(frame)
        if said is None:
            said = self._decode(frame, self._kept)
            if len(self._memo) >= MEMO_FRAMES:
                self._memo.clear()
            self._memo[frame] = said
        return said

    def _asked(self, frame: bytes, at: float) -> tuple[Reading, ...] | str:
        """The meaning of a frame that answers a request, unless it may as well answer an earlier one."""
        assert self._asking
        for earlier in self._asking.owed(at):
            if not isinstance(self._decode(frame, {**self._kept, "request": earlier}), str):
                self._asking.paid(earlier)
                return Unlike(f"may be the late answer to {_words(earlier.data)}")
        return self._decode(frame, self._kept)

    # -- time ------------------------------------------------------------------

    def poll(self, at: float) -> tuple[list[bytes], list[Outcome]]:
        """Bytes to write now, and outcomes that time alone completes."""
        out: list[Outcome] = []
        if self._rest and at - self._last >= self._patience:
            self._quiet(out, at)
            self._end_spoiled(at)
        woken = [] if self._awake else self._rouse(at)
        if not self._asking:
            return woken, out
        late = self._asking.late(at)
        if late is not None:
            self._unanswered(out, f"no answer to {_words(late.data)}", at)
        data = self._asking.next(at)
        return [*woken, *([] if data is None else [data])], out

    def _unanswered(self, out: list[Outcome], reason: str, at: float) -> None:
        """A request is given up: what waits is rejected, and where nothing was, that nothing came."""
        if self._echoes:
            self._tell_echo(out, at)
        self._give_up(out, reason, at)
        if not self._is_told:
            self._reject(out, 0, at, reason)
        elif self._doubt:
            self._doubt(b"", reason, self._kept, False)

    def _rouse(self, at: float) -> list[bytes]:
        """What is written once, at the first poll."""
        self._awake = True
        if self._asking:
            self._asking.not_before(at + self._wait)
        return [self._wake] if self._wake else []

    @property
    def wake_at(self) -> float | None:
        """When `poll` must be called next, s; None: only bytes matter."""
        if not self._awake:
            return self._last
        quiet = self._last + self._patience if self._rest else None
        if not self._asking:
            return quiet
        return self._asking.wake_at if quiet is None else min(quiet, self._asking.wake_at)

    def sent(self, data: bytes, at: float) -> None:
        """Bytes were written to the instrument."""
        if self._asking:
            self._asking.sent(data, at)
            self._kept["request"] = self._asking.pending
            self._is_told = self._is_spoiled = False
            question = self._asking.pending
            if self._echoes or (question and question.echo):
                self._echoes.append(Echo(question.echo if question else b""))

    def end(self) -> list[Outcome]:
        """The stream is over: what is left of it is no frame, unless silence ends one."""
        out: list[Outcome] = []
        if isinstance(self._framer, Silence):
            self._quiet(out, self._last)
        self._give_up(out, "cut short: the stream ended", self._last)
        if self._raw:
            reason = self._echoes[0].spoiled if self._echoes else ""
            out.append(Rejected(self._offset, self._raw, self._last, reason or "cut short: the stream ended"))
            self._told = len(self._raw)
            self._forget_told()
        return out

    def _quiet(self, out: list[Outcome], at: float) -> None:
        """Silence has lasted: what waits is a whole frame, or never will be."""
        if isinstance(self._framer, Silence) and self._rest:
            self._take(out, self._framer.whole(self._rest), self._last)
            self._rest = b""
            self._forget_told()
        self._give_up(out, f"cut short: silence for {self._patience:g} s", at)

    def _give_up(self, out: list[Outcome], reason: str, at: float) -> None:
        """Nothing more will come of what waits; whole frames behind a false beginning are still taken."""
        while self._rest:
            begun, end = self._looked, len(self._rest)
            if begun:
                self._skip(out, 0, begun, at, all_of_it=True)
            place = begun
            found: Found | int = begun
            while begun < end and isinstance(found, int) and place < end:
                place = self._framer.again(self._rest, Found(place, end))
                found = self._framer.find(self._rest, place) if place < end else end
                place = found if isinstance(found, int) else place
            kept_from = found.start if isinstance(found, Found) else end
            if kept_from > begun:
                self._reject(out, kept_from - begun, at, reason)
            self._rest, self._looked = self._rest[kept_from:], 0
            self._scan(out, at)


def _words(data: bytes) -> str:
    """Bytes in the words of a message: text where they are text, else hex."""
    text = data.strip().decode("latin-1")
    return text if text.isascii() and text.isprintable() and text else data.hex(" ")
