"""The daemon on pseudo-terminals: readings kept, states told, killed and started again."""

import json
import signal
import subprocess
import sys
import time

import pytest
from edge.bench import Daemon, Wire, run, wait_until
from players.segments import showing


@pytest.fixture
def wires():
    made = [Wire(), Wire()]
    yield made
    for wire in made:
        wire.pull()


@pytest.fixture
def daemon(tmp_path, wires):
    ohms, celsius = wires
    made = Daemon(
        tmp_path, {"multimeter": ("handheld-segments", ohms.path), "thermometer": ("ascii-thermometer", celsius.path)}
    )
    yield made
    if made.process.poll() is None:
        made.stop()


def test_readings_are_kept_as_they_were_shown(daemon, wires):
    ohms, celsius = wires
    wait_until(lambda: daemon.link("thermometer")["state"] == "listening", "both links open")
    ohms.write(b"\x99" + showing("ohm", 47.3) + showing("ohm", None))
    celsius.write(b"T=+023.5C\r\nT=+0x3.5C\r\n")
    wait_until(lambda: daemon.ask("status")["status"]["store"]["committed"] == 3, "three readings committed")
    assert daemon.link("multimeter")["readings"][0]["bound"] == "overload"
    assert daemon.link("thermometer")["readings"][0]["shown"] == "023.5"
    daemon.stop()
    shown = daemon.rows("SELECT instrument, shown, unit FROM readings ORDER BY instrument, id")
    assert shown == [
        ("multimeter", "047.3", "ohm"),
        ("multimeter", "overload ", "Mohm"),
        ("thermometer", "023.5", "degC"),
    ]
    kinds = daemon.rows("SELECT instrument, kind, bytes FROM not_read ORDER BY instrument")
    assert kinds == [("multimeter", "skipped", "99"), ("thermometer", "rejected", b"T=+0x3.5C\r\n".hex().upper())]
    assert run("audit", "--db", str(daemon.db)).stderr.endswith("findings: none\n")


def test_a_second_daemon_is_refused_naming_the_first(daemon):
    done = run("listen", "--bench", str(daemon.db.parent / "bench.yaml"), "--db", str(daemon.db), check=False)
    assert done.returncode == 3
    assert f"already written by another daemon (process {daemon.process.pid}" in done.stderr


@pytest.mark.parametrize("command", [["listen"], ["bench", "check"]])
def test_a_bench_file_that_is_no_text_is_called_so(tmp_path, command):
    bench = tmp_path / "bench.yaml"
    bench.write_bytes(b"bench: \xff\n")
    done = run(*command, "--bench", str(bench), check=False)
    assert (done.returncode, done.stderr) == (
        3,
        f"the bench file {bench} is no UTF-8 text: byte 7 is 0xFF\n"
        "  save it as UTF-8, or make one with: meterlog bench new > bench.yaml\n",
    )


def test_a_pulled_cable_is_told_and_the_other_link_goes_on(daemon, wires):
    ohms, celsius = wires
    wait_until(lambda: daemon.link("multimeter")["state"] == "listening", "the link open")
    ohms.write(showing("ohm", 47.3)[:7])
    ohms.pull()
    wait_until(lambda: daemon.link("multimeter")["state"] == "waiting", "the loss told")
    celsius.write(b"T=+023.5C\r\n")
    wait_until(lambda: daemon.link("thermometer")["count"] == 1, "the other link read")
    assert any(line.get("state") == "waiting" and line["event"] == "link" for line in daemon.logged())


def test_an_unknown_request_is_refused_with_a_hint(daemon):
    done = run("job", "next", "--db", str(daemon.db), check=False)
    assert (done.returncode, done.stderr) == (
        3,
        "no job is at hand\n  open one with: meterlog job open PROCEDURE\n",
    )


def test_acts_say_where_the_walk_stands_cautions_first(daemon):
    db = ("--db", str(daemon.db))
    opened = run("job", "open", "kettle-or-urn", "--ref", "K-1", *db)
    told = opened.stderr.splitlines()
    assert opened.stdout == "K-1\n"
    assert told[0] == "caution: Local rules and the maker's instructions come before anything on this screen."
    assert told[-2:] == ["Read the cautions, then say so.", "  meterlog job acknowledge"]
    acknowledged = run("job", "acknowledge", *db).stdout.splitlines()
    assert "isolation: Unplugged, empty, cold, and the plug where only you can reach it" in acknowledged
    run("job", "acknowledge", *db)
    refused = run("job", "start", *db, check=False)
    assert (refused.returncode, refused.stderr.splitlines()) == (
        3,
        [
            "No timed step waits to be started.",
            "  now: Look, then say what you found.",
            "    meterlog job confirm",
            "    meterlog job wanting TEXT",
        ],
    )
    assert json.loads(run("job", "confirm", "--json", *db).stdout)["step"] == "visual"
    run("job", "skip", "--reason", "no light here", *db)
    rows = [json.loads(line) for line in run("job", "show", "--json", *db).stdout.splitlines()]
    assert [(row["step"], row["outcome"], row["why"]) for row in rows[:3]] == [
        ("isolation", "looked", ""),
        ("visual", "skipped", "no light here"),
        ("lead-check", None, None),
    ]
    asked = run("job", "close", *db, check=False)
    assert (asked.returncode, asked.stderr.splitlines()[0][:13]) == (1, "Not finished:"), asked.stderr
    assert "Close it as it stands? [y/N]: " in asked.stderr
    assert asked.stderr.endswith("the job stays open\n  to close it as it stands: meterlog job close --yes\n")
    run("job", "close", "--yes", *db)


def test_a_plate_that_cannot_be_read_is_a_wrong_command_line(daemon):
    words = ("job", "open", "microwave-oven", "--plate", "rated output=900 kg", "--db", str(daemon.db))
    done = run(*words, check=False)
    said = "rated output: expected a unit like watt, saw 'kg' in '900 kg'"
    assert (done.returncode, done.stderr) == (2, f'{said}\n  write "900 W", "0.9 kW" or "2000-2400 W"\n')


def test_bad_lines_on_the_control_socket_do_no_harm(daemon):
    import socket

    from meterlog.store.sqlite import lock_facts

    path = lock_facts(daemon.db)["socket"]
    for line, said in (
        (b"hello\n", "not JSON in UTF-8"),
        (b'{"do":"\\ud800"}\n', "not JSON in UTF-8"),
        (b'{"do":"\xff"}\n', "not JSON in UTF-8"),
        (b"[1]\n", 'an object with "do"'),
        (b'{"do":"nonsense"}\n', "no request"),
    ):
        with socket.socket(socket.AF_UNIX) as client:
            client.connect(path)
            client.sendall(line)
            answer = json.loads(client.makefile().readline())
        assert not answer["ok"]
        assert said in answer["error"]
    assert daemon.answers()


def test_more_signals_during_the_orderly_end_change_nothing(bench, wire):
    daemon = bench({"multimeter": ("handheld-segments", wire.path)})
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        if daemon.process.poll() is not None:
            daemon.start()
        while daemon.process.poll() is None:
            daemon.process.send_signal(number)
            time.sleep(0.005)  # at every moment of the end, not one that was waited for
        assert daemon.process.returncode == 0, number


def test_a_daemon_over_known_profiles_loads_nothing_heavy():
    """pint, uncertainties (which takes numpy along) and sqlite-utils cost more memory than all the rest."""
    look = (
        "import sys; from meterlog.daemon import main; from meterlog.profile import compile_profile\n"
        "from meterlog.files.shipped import find, text_of\n"
        "for name in ('handheld-segments', 'ascii-thermometer', 'modbus-rtu'):\n"
        "    path = find(name, 'profiles/instruments'); compile_profile(text_of(path), str(path))\n"
        "print(*{name.partition('.')[0] for name in sys.modules})"
    )
    loaded = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True).stdout.split()
    assert {"serial", "sqlite3"} <= set(loaded)
    assert not {"pint", "uncertainties", "numpy", "sqlite_utils", "datasette", "asyncio"} & set(loaded)
