"""The control socket: newline-delimited JSON over a Unix socket that only its owner may open.

A request is one line, an object with "do"; its answer is one line with "ok". `watch` is answered
with the status and then one line for each change, until the client leaves. The protocol is
described in DEVELOPERS.md; `client.py` speaks it.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import socket
import struct
import threading
from typing import TYPE_CHECKING, Any

from meterlog.base.errors import CannotDo
from meterlog.daemon.items import PendingRequest

if TYPE_CHECKING:
    from pathlib import Path

    from meterlog.daemon.announce import Announcer
    from meterlog.daemon.items import Item

LONGEST_LINE = 16 * 1024 * 1024
"""Bytes of the longest request: a photograph in base64."""

ANSWER_WITHIN_S = 30.0

MOST_CLIENTS = 100
"""Clients at one time; each holds a thread, also one that connects and says nothing. As many more are told so."""

NO_ROOM_S = 0.1
"""Pause before a client is let in again, when there were too many open files."""

TAKE_WITHIN_S = 10
"""A client that takes no bytes for so long is let go."""


class ControlServer:
    """Accepts clients, one thread each; hands their requests to the bench loop's queue."""

    def __init__(self, path: Path, items: queue.Queue[Item], announcer: Announcer) -> None:
        self.path = path
        self._items = items
        self._announcer = announcer
        _own_folder(path.parent)
        path.unlink(missing_ok=True)
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        before = os.umask(0o177)
        try:
            self._socket.bind(str(path))
        except OSError as error:
            raise CannotDo(f"the control socket {path} can't be made: {error}", "choose a shorter path") from None
        finally:
            os.umask(before)
        self._socket.listen(MOST_CLIENTS)
        self._inode = os.stat(path).st_ino
        self._places = threading.BoundedSemaphore(MOST_CLIENTS)
        self._doors = threading.BoundedSemaphore(2 * MOST_CLIENTS)
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._accept, name="control", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        """Take no more clients and remove the socket."""
        self._closed.set()
        if self._is_ours():
            self.path.unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def _is_ours(self) -> bool:
        """Whether the socket at the path is the one made here."""
        try:
            return os.stat(self.path).st_ino == self._inode
        except OSError:
            return False

    def _accept(self) -> None:
        """Let clients in until closed; where the machine has no room for one more, try again in a moment."""
        while not self._closed.is_set():
            try:
                client, _ = self._socket.accept()
            except OSError:
                self._closed.wait(NO_ROOM_S)
                continue
            if not self._doors.acquire(blocking=False):
                client.close()
                continue
            client.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, struct.pack("@ll", TAKE_WITHIN_S, 0))
            threading.Thread(target=self._serve, args=(client,), name="control client", daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        try:
            self._answer_client(client)
        finally:
            self._doors.release()

    def _answer_client(self, client: socket.socket) -> None:
        with contextlib.suppress(OSError, ValueError), client, client.makefile("rwb") as stream:
            if not self._places.acquire(blocking=False):
                client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVTIMEO, struct.pack("@ll", 1, 0))
                stream.readline(LONGEST_LINE)  # a client that is still writing would not see the answer
                _send(stream, {"ok": False, "error": f"{MOST_CLIENTS} clients ask already", "hint": "close some"})
                return
            try:
                self._converse(stream)
            finally:
                self._places.release()

    def _converse(self, stream: Any) -> None:
        while line := stream.readline(LONGEST_LINE):
            message = read_request(line)
            if isinstance(message, str):
                _send(stream, {"ok": False, "error": message, "hint": 'send one JSON object a line, with "do"'})
            elif message.get("do") == "watch":
                self._watch(stream, message)
                return
            else:
                _send(stream, self._ask(message))

    def _ask(self, message: dict[str, Any]) -> dict[str, Any]:
        reply: queue.Queue[dict[str, Any]] = queue.Queue(1)
        self._items.put(PendingRequest(message, reply))
        try:
            return reply.get(timeout=ANSWER_WITHIN_S)
        except queue.Empty:
            return {"ok": False, "error": "the daemon is busy", "hint": "try again in a moment"}

    def _watch(self, stream: Any, message: dict[str, Any]) -> None:
        watcher = self._announcer.watch()
        try:
            _send(stream, self._ask({**message, "do": "status"}))
            while (announcement := watcher.get()) is not None:
                _send(stream, announcement)
        finally:
            self._announcer.leave(watcher)


def _own_folder(folder: Path) -> None:
    """Make the socket's folder, or make sure that nobody else could put a socket there. Raises: CannotDo."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    info = folder.stat()
    if info.st_uid != os.getuid() or info.st_mode & 0o022:
        raise CannotDo(
            f"the folder {folder} for the control socket belongs to others or they may write it",
            f"remove it, or make it yours: chmod 700 {folder}",
        )


def read_request(line: bytes) -> dict[str, Any] | str:
    if not line.endswith(b"\n"):
        return f"a request is one line of at most {LONGEST_LINE} bytes"
    try:
        message = json.loads(line)
        json.dumps(message, ensure_ascii=False).encode()  # half a character, as "\\ud800", could not be kept
    except (ValueError, RecursionError):
        return "that line is not JSON in UTF-8"
    if not isinstance(message, dict) or not isinstance(message.get("do"), str):
        return 'a request is an object with "do"'
    return message


def _send(stream: Any, message: dict[str, Any]) -> None:
    stream.write(json.dumps(message, ensure_ascii=False).encode() + b"\n")
    stream.flush()
