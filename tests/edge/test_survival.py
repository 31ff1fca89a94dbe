"""What can happen to a bench in use: survived, told in one sentence, counted, visible later."""

import contextlib
import itertools
import json
import os
import random
import resource
import sqlite3
import subprocess
import sys

import pytest
import serial
from edge.bench import Cable, Player, Wire, wait_until
from players.segments import frame

SEGMENTS = "handheld-segments"
CLEAN = (0, "findings: none")


def counting(number):
    """A frame whose four figures count up to 3999 and begin again."""
    return frame(f"{number % 4000:04d}", "ohm", "M")


FRAMES = [counting(number) for number in range(4000)]


def states(daemon, link):
    """What the record says a link was, in order, with the reason."""
    rows = daemon.rows("SELECT kind, facts FROM event WHERE kind LIKE 'link %' ORDER BY id")
    told = [(kind.removeprefix("link "), json.loads(facts)) for kind, facts in rows]
    return [(kind, facts["why"]) for kind, facts in told if facts["link"] == link]


def listening(daemon):
    """How many links listen."""
    return sum(link["state"] == "listening" for link in daemon.ask("status")["status"]["links"])


# ---- cables and ports ----


def test_a_cable_pulled_fifty_times_in_mid_frame(bench, tmp_path):
    cable = Cable(tmp_path / "port")
    daemon = bench({"multimeter": (SEGMENTS, cable.path)})
    whole = []
    for turn in range(50):
        wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
        cable.write(FRAMES[turn] + FRAMES[3000 + turn][:7])
        whole.append(f"{turn:04d}")
        wait_until(lambda: daemon.link("multimeter")["count"] == len(whole), "the whole frame read")
        cable.pull()
        wait_until(lambda: daemon.link("multimeter")["state"] == "waiting", "the loss told")
        cable.plug()
        cable.write(FRAMES[3000 + turn][7:])
        daemon.ask("try again", link="multimeter")
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    daemon.stop()
    assert [row[0] for row in daemon.rows("SELECT shown FROM readings ORDER BY id")] == whole
    assert daemon.rows("SELECT count(*) FROM instrument") == [(1,)]
    assert daemon.rows("SELECT count(*) FROM link") == [(51,)]
    assert [state for state, _ in states(daemon, "multimeter")].count("waiting") == 50
    assert ("waiting", f"{cable.path} was unplugged") in states(daemon, "multimeter")
    assert daemon.audit() == CLEAN


def test_a_port_that_is_not_there_disturbs_nobody_and_is_told_once(bench, wire):
    daemon = bench({"multimeter": (SEGMENTS, wire.path), "thermometer": ("ascii-thermometer", "/dev/not-there")})
    wait_until(lambda: daemon.link("thermometer")["state"] == "waiting", "the missing port told")
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the good link open")
    wire.write(FRAMES[1])
    wait_until(lambda: daemon.store()["committed"] == 1, "the good instrument's reading")
    for _ in range(5):
        daemon.ask("try again", link="thermometer")
    assert daemon.link("thermometer")["why"] == "/dev/not-there is not there"
    assert daemon.link("thermometer")["hint"] == "plug it in, or see what is with: meterlog ports"
    daemon.stop()
    assert states(daemon, "thermometer") == [("opening", ""), ("waiting", "/dev/not-there is not there")]


def test_a_port_that_no_url_can_name_is_given_up(bench, wire):
    daemon = bench({"multimeter": (SEGMENTS, wire.path), "thermometer": ("ascii-thermometer", "nonsense://x")})
    wait_until(lambda: daemon.link("thermometer")["state"] == "given up", "the wrong address told")
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the good link open")
    assert daemon.link("thermometer")["why"].startswith("nonsense://x is no port: invalid URL")
    wire.write(FRAMES[1])
    wait_until(lambda: daemon.store()["committed"] == 1, "the good instrument's reading")


def test_a_port_that_opens_but_never_speaks_is_called_silent(bench, wire):
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    wait_until(lambda: daemon.link("multimeter")["state"] == "silent", "the silence told")
    wire.write(FRAMES[1])
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "listening again")
    daemon.stop()
    told = [("opening", ""), ("listening", ""), ("silent", "nothing heard for 5 s"), ("listening", "")]
    assert states(daemon, "multimeter") == told


def test_a_port_in_another_program_is_told_and_taken_when_it_is_free(bench, wire):
    with serial.Serial(wire.path, exclusive=True):
        daemon = bench({"multimeter": (SEGMENTS, wire.path)})
        wait_until(lambda: daemon.link("multimeter")["state"] == "waiting", "the other program told")
        assert daemon.link("multimeter")["why"] == f"{wire.path} is open in another program"
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the port taken")
    with pytest.raises(serial.SerialException, match="exclusively lock"):
        serial.Serial(wire.path, exclusive=True)


# ---- too much, and nonsense ----


def test_a_flood_is_held_back_and_nothing_is_lost(bench, wire):
    """A pseudo-terminal loses nothing: what its full buffer holds back arrives later."""
    other = Wire()
    daemon = bench({"multimeter": (SEGMENTS, wire.path), "thermometer": ("ascii-thermometer", other.path)})
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    before = daemon.rss_mib()
    player = Player([wire], lambda n: b"".join(FRAMES[n % 40 * 100 : n % 40 * 100 + 100]))
    player.start()
    wait_until(lambda: player.frames >= 1000, "a hundred thousand frames taken", 60)
    other.write(b"T=+023.5C\r\n")
    wait_until(lambda: daemon.link("thermometer")["count"] == 1, "the other instrument read meanwhile")
    assert daemon.rss_mib() < before + 60
    player.stop()
    player.join()
    wait_until(lambda: daemon.link("multimeter")["count"] == 100 * player.frames, "every frame read", 60)
    daemon.stop()
    shown = daemon.rows(
        "SELECT r.counts FROM reading r JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link "
        "JOIN instrument i ON i.id = l.instrument WHERE i.name = 'multimeter' ORDER BY r.id"
    )
    assert all(row[0] == number % 4000 for number, row in enumerate(shown))
    assert len(shown) == 100 * player.frames
    assert daemon.rows("SELECT max(readings) < 20000 FROM chunk") == [(1,)]
    other.pull()


def test_stopped_in_the_middle_of_a_flood(bench, wire):
    """The link's thread may stand before a full queue; what was read is committed, and the end is orderly."""
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    player = Player([wire], lambda n: b"".join(FRAMES[n % 40 * 100 : n % 40 * 100 + 100]))
    player.start()
    wait_until(lambda: daemon.store()["committed"] > 10_000, "the flood", 60)
    acknowledged = daemon.store()["committed"]
    daemon.stop()
    player.stop()
    counts = [row[0] for row in daemon.rows("SELECT counts FROM reading ORDER BY id")]
    assert len(counts) >= acknowledged
    assert all(counted == number % 4000 for number, counted in enumerate(counts))
    assert daemon.logged()[-1] | {"utc": ""} == {
        "utc": "", "level": "info", "event": "ended", "committed": len(counts),
    }  # fmt: skip


def test_a_minute_of_garbage_gives_no_reading_and_every_byte_is_counted(bench, wire):
    """A minute at 115200 baud, as fast as it is taken; then a frame is read as ever."""
    minute = 115_200 // 10 * 60
    noise = random.Random(4).randbytes(minute)
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    for begun in range(0, minute, 1000):
        wire.write(noise[begun : begun + 1000])
    wire.write(FRAMES[7])
    wait_until(lambda: daemon.link("multimeter")["count"] == 1, "the frame after the garbage", 60)
    link = daemon.link("multimeter")
    daemon.stop()
    assert daemon.rows("SELECT shown FROM readings") == [("0007",)]
    assert b"".join(row[0] for row in daemon.rows("SELECT raw FROM chunk ORDER BY id")) == noise + FRAMES[7]
    unread = dict(daemon.rows("SELECT kind, sum(length) FROM unread GROUP BY kind"))
    assert sum(unread.values()) == minute
    assert unread["skipped"] == link["skipped_bytes"]
    assert daemon.audit() == CLEAN


def test_thirty_two_instruments_at_once(bench):
    wires = [Wire() for _ in range(32)]
    daemon = bench({f"meter-{n}": (SEGMENTS, wire.path) for n, wire in enumerate(wires)})
    wait_until(lambda: listening(daemon) == 32, "all links open")
    for turn in range(20):
        for n, wire in enumerate(wires):
            wire.write(FRAMES[100 * n + turn])
    wait_until(lambda: daemon.store()["committed"] == 640, "all readings committed")
    assert listening(daemon) == 32
    daemon.stop()
    for n in range(32):
        shown = daemon.rows("SELECT shown FROM readings WHERE instrument = ? ORDER BY id", f"meter-{n}")
        assert [row[0] for row in shown] == [f"{100 * n + turn:04d}" for turn in range(20)]
    for wire in wires:
        wire.pull()


# ---- the database refuses ----


def refused_then_kept(daemon, wire, refuse, allow):
    """Read on while the database refuses, then let it; answers what was said meanwhile."""
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    wire.write(FRAMES[0])
    wait_until(lambda: daemon.store()["committed"] == 1, "the first reading committed")
    refuse()
    sent = 1
    while daemon.store()["state"] == "kept":
        wire.write(FRAMES[sent % 4000])
        sent += 1
    said = daemon.store()
    assert said["pending"] > 0
    allow()
    wait_until(lambda: daemon.store()["state"] == "kept", "the database to take it", 40)
    wait_until(lambda: daemon.store()["committed"] == sent, "all readings committed", 40)
    daemon.stop()
    counts = [row[0] for row in daemon.rows("SELECT counts FROM reading ORDER BY id")]
    assert counts == [n % 4000 for n in range(sent)]
    event = json.loads(daemon.rows("SELECT facts FROM event WHERE kind = 'store refused'")[0][0])
    assert event["not_kept"] == event["bytes_not_kept"] == 0
    assert daemon.audit() == CLEAN
    return said["why"]


def test_a_database_locked_by_another_program_is_tried_again(bench, wire):
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    other = sqlite3.connect(daemon.db, isolation_level=None)
    why = refused_then_kept(daemon, wire, lambda: other.execute("BEGIN IMMEDIATE"), lambda: other.execute("ROLLBACK"))
    assert why.endswith("rows: database is locked")
    other.close()


@pytest.mark.skipif(os.getuid() != 0, reason="mounting a small file system needs root")
def test_a_full_disk(bench, tmp_path, wire):
    disk = tmp_path / "small disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", disk], check=True)
    try:
        daemon = bench({"multimeter": (SEGMENTS, wire.path)}, folder=disk)
        filler = disk / "holiday pictures"

        def fill():
            with open(filler, "wb", buffering=0) as file, contextlib.suppress(OSError):
                while True:
                    file.write(bytes(4096))

        why = refused_then_kept(daemon, wire, fill, filler.unlink)
        assert why.endswith("rows: database or disk is full")
    finally:
        subprocess.run(["umount", "-l", disk], check=True)


def test_a_file_that_may_not_grow(bench, wire):
    """The same without root: a limit on the size of the process's files, lifted again."""
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    pid, endless = daemon.process.pid, resource.RLIM_INFINITY

    def limit(size):
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (size, endless))

    why = refused_then_kept(daemon, wire, lambda: limit(60_000), lambda: limit(endless))
    assert why.endswith(("rows: disk I/O error", "rows: database or disk is full"))


def test_an_act_is_not_acknowledged_before_it_is_kept(bench, wire):
    daemon = bench({"multimeter": (SEGMENTS, wire.path)})
    daemon.ask("open job", procedure="microwave-oven", ref="K-7")
    other = sqlite3.connect(daemon.db, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(Exception, match=r"^done, but not kept yet: the database did not take") as said:
        daemon.act("note", text="smells of burnt varnish")
    assert said.value.hint == "it is kept as soon as that has passed; do not repeat it"
    other.execute("ROLLBACK")
    other.close()
    wait_until(lambda: daemon.store()["state"] == "kept", "the database to take it")
    daemon.stop()
    assert daemon.rows("SELECT count(*) FROM event WHERE kind = 'act note'") == [(1,)]
    assert daemon.rows("SELECT value FROM disclosure WHERE name = 'note'") == [("smells of burnt varnish",)]


# ---- killed ----


def test_killed_at_a_hundred_random_moments_nothing_acknowledged_is_lost(tmp_path):
    """Each life is forked from one process that has all modules loaded; each death is SIGKILL."""
    wires = [Wire() for _ in range(3)]
    lines = [f"  meter-{n}: {{profile: {SEGMENTS}, port: {wire.path}}}" for n, wire in enumerate(wires)]
    (tmp_path / "bench.yaml").write_text("bench: test bench\ninstruments:\n" + "\n".join(lines) + "\n")
    player = Player(wires, lambda n: FRAMES[n % 4000], pause_s=0.001)
    player.start()
    done = subprocess.run(
        [sys.executable, "-m", "edge.killed", str(tmp_path), "100"],
        capture_output=True, text=True, timeout=300, env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    player.stop()
    for wire in wires:
        wire.pull()
    assert done.returncode == 0, done.stdout + done.stderr
    lives = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lives) == 100
    assert sum(life["acknowledged"] for life in lives) > 1000
    assert sum(life["photographs"] for life in lives) > 50
    for life in lives:
        assert life["kept"] >= life["acknowledged"]
        assert life["integrity"] == "ok"
        assert life["missing_photographs"] == 0
    db = sqlite3.connect(tmp_path / "bench.db")
    links = {}
    for link, counts in db.execute(
        "SELECT c.link, r.counts FROM reading r JOIN chunk c ON c.id = r.chunk ORDER BY r.id"
    ):
        links.setdefault(link, []).append(counts)
    db.close()
    for counts in links.values():
        assert all((b - a) % 4000 == 1 for a, b in itertools.pairwise(counts))
