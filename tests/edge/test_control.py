"""The control socket: silent clients, slow watchers, leftovers, long paths."""

import contextlib
import json
import os
import queue
import resource
import socket
import threading

import pytest
from edge.bench import Daemon, Wire, run, wait_until

from meterlog.base.errors import CannotDo
from meterlog.daemon import control
from meterlog.daemon.announce import WAITING_LINES, Announcer
from meterlog.daemon.client import ask
from meterlog.daemon.control import MOST_CLIENTS, ControlServer
from meterlog.daemon.events import StoreEvent
from meterlog.files import places
from meterlog.store.sqlite import lock_facts


class Server:
    """A control server whose loop answers every request with the request's own words."""

    def __init__(self, folder):
        self.items, self.announcer = queue.Queue(), Announcer()
        self.server = ControlServer(folder / "control" / "socket", self.items, self.announcer)
        self.server.start()
        self._thread = threading.Thread(target=self._answer)
        self._thread.start()

    def _answer(self):
        while (request := self.items.get()) is not None:
            request.reply.put({"ok": True, "did": request.message["do"]})

    def connect(self):
        client = socket.socket(socket.AF_UNIX)
        client.settimeout(20)
        client.connect(str(self.server.path))
        return client

    def ask(self, line=b'{"do":"x"}\n'):
        with self.connect() as client, client.makefile("rwb") as stream:
            stream.write(line)
            stream.flush()
            return json.loads(stream.readline())

    def is_let_in(self, stays):
        """Whether a client is answered; it stays connected then, and says nothing more."""
        client = self.connect()
        client.sendall(b'{"do":"x"}\n')
        answer = json.loads(client.makefile("rb").readline())
        if answer["ok"]:
            stays.enter_context(client)
        else:
            client.close()
        return answer["ok"]

    def close(self):
        self.server.close()
        self.items.put(None)
        self._thread.join()


@pytest.fixture
def server(tmp_path):
    made = Server(tmp_path)
    yield made
    made.announcer.close()
    made.close()


def test_only_its_owner_may_open_it(server):
    assert os.stat(server.server.path).st_mode & 0o777 == 0o600
    assert os.stat(server.server.path.parent).st_mode & 0o777 == 0o700


def test_clients_that_say_nothing_leave_room_for_others(server):
    with contextlib.ExitStack() as silent:
        for _ in range(MOST_CLIENTS):
            wait_until(lambda: server.is_let_in(silent), "a place taken by who says nothing more")
        assert server.ask() == {"ok": False, "error": "100 clients ask already", "hint": "close some"}
    wait_until(lambda: server.ask()["ok"], "places free again")


def test_more_clients_than_files_end_nothing(bench, wire):
    """So many clients come and say nothing that no file can be opened; when they leave, the next one is answered."""
    daemon = bench({"multimeter": ("handheld-segments", wire.path)})
    files = f"/proc/{daemon.process.pid}/fd"
    few = len(os.listdir(files)) + 20
    resource.prlimit(daemon.process.pid, resource.RLIMIT_NOFILE, (few, few))
    with contextlib.ExitStack() as silent:
        for _ in range(MOST_CLIENTS):
            client = silent.enter_context(socket.socket(socket.AF_UNIX))
            client.connect(lock_facts(daemon.db)["socket"])
        wait_until(lambda: len(os.listdir(files)) == few, "no file free")
    wait_until(lambda: answers_now(daemon), "the next client answered")


def answers_now(daemon):
    try:
        return ask(daemon.db, "status", timeout_s=2.0)["ok"]
    except CannotDo:
        return False


def test_half_a_request_is_no_request(server):
    with server.connect() as client, client.makefile("rb") as stream:
        client.sendall(b'{"do":')
        client.shutdown(socket.SHUT_WR)
        assert json.loads(stream.readline())["error"].startswith("a request is one line of at most")


def test_a_watcher_that_takes_nothing_is_let_go(tmp_path, monkeypatch):
    monkeypatch.setattr(control, "TAKE_WITHIN_S", 1)
    server = Server(tmp_path)
    watcher = server.connect()
    watcher.sendall(b'{"do":"watch"}\n')
    wait_until(lambda: server.announcer.is_watched, "the watcher")
    told = 0
    while server.announcer.is_watched:
        server.announcer.tell(StoreEvent(state="kept", why="x" * 1000))
        told += 1
    assert told > WAITING_LINES
    names = [thread.name for thread in threading.enumerate()]
    assert "control client" in names
    wait_until(lambda: "control client" not in [t.name for t in threading.enumerate()], "its thread ended")
    with watcher, watcher.makefile("rb") as stream:
        lines = [line for line in stream if line.endswith(b"\n")]
    assert 1 < len(lines) < told
    server.close()


def test_a_folder_that_others_may_write_is_refused(tmp_path):
    folder = tmp_path / "control"
    folder.mkdir(mode=0o777)
    folder.chmod(0o777)
    with pytest.raises(CannotDo) as said:
        ControlServer(folder / "socket", queue.Queue(), Announcer())
    assert str(said.value) == (
        f"the folder {folder} for the control socket belongs to others or they may write it\n"
        f"  remove it, or make it yours: chmod 700 {folder}"
    )


def test_what_a_killed_daemon_leaves_is_taken_over(tmp_path):
    wire = Wire()
    daemon = Daemon(tmp_path, {"multimeter": ("handheld-segments", wire.path)})
    daemon.kill()
    left = lock_facts(daemon.db)
    assert left["pid"] == daemon.process.pid
    assert os.path.exists(left["socket"])
    with pytest.raises(CannotDo, match=f"^no daemon writes {daemon.db}"):
        daemon.ask("status")
    daemon.start()
    assert lock_facts(daemon.db)["pid"] == daemon.process.pid
    daemon.stop()
    assert lock_facts(daemon.db) == {}
    assert not os.path.exists(left["socket"])
    wire.pull()


def test_a_database_deep_down_has_a_socket_all_the_same(tmp_path):
    """A Unix socket's path has about a hundred bytes: neither the database's path nor the runtime folder's fits."""
    deep = tmp_path / ("a folder with 100 % of its name " * 6).strip() / ("b" * 200)
    deep.mkdir(parents=True)
    runtime = tmp_path / ("r" * 120)
    runtime.mkdir(mode=0o700)
    wire = Wire()
    daemon = Daemon(deep, {"multimeter": ("handheld-segments", wire.path)}, env={"XDG_RUNTIME_DIR": str(runtime)})
    assert len(lock_facts(daemon.db)["socket"]) <= places.LONGEST_SOCKET_PATH
    daemon.stop()
    wire.pull()


def test_a_folder_that_may_not_be_written_is_told_in_one_sentence(tmp_path):
    (tmp_path / "bench.yaml").write_text(
        "bench: b\ninstruments:\n  thermometer: {profile: ascii-thermometer, port: /dev/none}\n"
    )
    done = run("listen", "--bench", str(tmp_path / "bench.yaml"), "--db", "/proc/none/bench.db", check=False)
    assert done.returncode == 3
    assert done.stderr == (
        "/proc/none can't be written: No such file or directory\n  choose another folder with --db PATH\n"
    )
