"""A bench's record on a real server: the same hashes on both ends, whatever was cut, killed, doubled or restored."""

import contextlib
import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from html import unescape
from urllib.parse import quote

import psycopg
import pytest
import records
from edge.asked import TOKEN, ask
from edge.workshop.ends import Fault, hashes_there, joined, same_on_both_ends, sent
from records import OVEN, now

from meterlog.base.errors import CannotDo
from meterlog.base.seals import line_hash
from meterlog.procedure.language import read_procedure
from meterlog.store.audit import audit
from meterlog.store.sqlite import open_reader
from meterlog.web import serve
from meterlog.workshop import layout, server
from meterlog.workshop.mirror import refresh
from meterlog.workshop.overview import benches
from meterlog.workshop.packing import packed
from meterlog.workshop.rebuild import rebuild
from meterlog.workshop.sender import Sender
from meterlog.workshop.server import give_anew
from meterlog.workshop.supervise import supervise


def test_everything_arrives_and_nothing_twice(workshop, bench):
    one = bench()
    one.grow(30)
    address = joined(workshop, one)
    assert sent(address, one) == same_on_both_ends(workshop, one)
    assert sent(address, one) == 0
    one.grow(5)
    assert sent(address, one) == 5
    same_on_both_ends(workshop, one)


def test_init_again_changes_nothing(workshop):
    assert server.init(workshop) == layout.VERSION


def test_a_server_of_the_first_layout_is_brought_up(postgres, bench, monkeypatch):
    name = f"w{os.urandom(6).hex()}"
    with psycopg.connect(postgres.get_uri(), autocommit=True) as db:
        db.execute(f"CREATE DATABASE {name}")
    url = psycopg.conninfo.make_conninfo(postgres.get_uri(), dbname=name)
    with psycopg.connect(url) as db:
        db.execute(layout.LAYOUTS[0])
        db.execute("INSERT INTO meterlog.layout VALUES (1)")
    one = bench()
    one.grow(12)
    monkeypatch.setattr("meterlog.workshop.server.VERSION", 1)
    address = joined(url, one)
    monkeypatch.setattr("meterlog.workshop.sender.VERSION", 1)
    sent(address, one)
    monkeypatch.undo()
    with pytest.raises(CannotDo, match="another version"):
        sent(address, one)
    assert server.init(url) == layout.VERSION
    assert sent(address, one) == 0
    with psycopg.connect(url) as db:
        [there] = benches(db)
    assert (there.reached, there.newest, there.forks, there.heard != "") == (11, 11, 0, True)


@pytest.mark.parametrize("text", ["\x00", "\\u0000", "\U0001f600 \\"])
def test_odd_characters_hold_nothing_up(workshop, bench, meterlog, text):
    one = bench()
    one.writer.event("noted", now(), {"text": "written"}, who=f"a{text}b")
    one.writer.keep_text("profile", "odd", f"# a{text}b\n")
    one.writer.open_job("J1", read_procedure(OVEN.read_text(), OVEN.name), {}, {"owner": f"a{text}b"}, now())
    one.writer.commit(now())
    address = joined(workshop, one)
    sent(address, one)
    same_on_both_ends(workshop, one)
    assert "shown" not in meterlog("audit", "--workshop", workshop).stdout


def test_acts_go_first(workshop, bench, monkeypatch):
    one = bench()
    one.grow(40)
    address = joined(workshop, one)
    monkeypatch.setattr("meterlog.workshop.sender.BATCH", 3)
    arrived = []
    sender = Sender(address, one.path, lambda count: arrived.append(hashes_there(workshop, one.writer.bench)))
    sender.send_all()
    sender.close()
    with contextlib.closing(sqlite3.connect(one.path)) as db:
        with_acts = [line_hash(line) for (line,) in db.execute("SELECT line FROM seal WHERE acts > 0 ORDER BY number")]
    assert arrived[0] == with_acts[:3]
    assert set(arrived[-(-len(with_acts) // 3) - 1]) == set(with_acts)


FORBIDDEN = [
    "UPDATE meterlog.commit SET acts = 0",
    "DELETE FROM meterlog.commit",
    "DELETE FROM meterlog.personal",
    "TRUNCATE meterlog.row",
    "UPDATE meterlog.row SET data = '{}'",
    "INSERT INTO meterlog.bench (identity, label, login) VALUES (repeat('a', 32), 'x', 'y')",
    "INSERT INTO meterlog.row (bench, tbl, id, number, hash, data) VALUES ('{other}', 'job', 1, 0, 'h', '{}')",
    "DROP TABLE meterlog.commit",
]


@pytest.mark.parametrize("statement", FORBIDDEN)
def test_a_bench_may_add_its_own_and_nothing_else(workshop, bench, statement):
    one, two = bench(), bench("other.db")
    one.grow(3)
    two.grow(3)
    address, other = joined(workshop, one), joined(workshop, two, "bench two")
    sent(address, one)
    sent(other, two)
    before = hashes_there(workshop, one.writer.bench)
    with psycopg.connect(address) as db, pytest.raises(psycopg.Error):
        db.execute(statement.replace("{other}", two.writer.bench))
    assert hashes_there(workshop, one.writer.bench) == before
    with psycopg.connect(address) as db:
        seen = db.execute("SELECT DISTINCT bench FROM meterlog.commit").fetchall()
    assert seen == [(one.writer.bench,)]


def test_a_changed_header_or_body_is_refused_by_the_server(workshop, bench):
    one = bench()
    one.grow(2)
    address = joined(workshop, one)
    sent(address, one)
    for column, value in (("line", "line || ' '"), ("body", "body || '\\x00'::bytea")):
        with psycopg.connect(workshop) as db, pytest.raises(psycopg.errors.CheckViolation):
            db.execute(f"UPDATE meterlog.commit SET {column} = {value} WHERE number = 1")


def test_the_server_restored_from_yesterday_is_filled_again(workshop, bench):
    one = bench()
    one.grow(30)
    address = joined(workshop, one)
    sent(address, one)
    with psycopg.connect(workshop) as db:
        db.execute("DELETE FROM meterlog.commit WHERE number > 20 OR number = 11")
        db.execute("DELETE FROM meterlog.row WHERE number > 20 OR number = 11")
    sent(address, one)
    same_on_both_ends(workshop, one)


def test_a_commit_whose_rows_are_gone_is_not_sent(workshop, bench):
    one = bench()
    one.grow(3)
    with contextlib.closing(sqlite3.connect(one.path, isolation_level=None)) as db:
        db.execute("DROP TRIGGER event_refuses_delete")
        db.execute("DELETE FROM event")
    with pytest.raises(CannotDo, match="can't be sent: its event 1 is gone"):
        sent(joined(workshop, one), one)
    assert hashes_there(workshop, one.writer.bench) == []


def test_a_copied_record_stops_in_words_and_both_stay(workshop, bench, tmp_path):
    one = bench()
    one.grow(5)
    address = joined(workshop, one)
    sent(address, one)
    copy = tmp_path / "copied" / "bench.db"
    copy.parent.mkdir()
    with contextlib.closing(sqlite3.connect(one.path)) as db, contextlib.closing(sqlite3.connect(copy)) as to:
        db.backup(to)
    one.grow(4)
    sent(address, one)
    before = hashes_there(workshop, one.writer.bench)
    with pytest.raises(CannotDo, match="copied or restored"):
        Sender(address, copy)
    assert hashes_there(workshop, one.writer.bench) == before


def test_rival_lines_are_kept_and_shown(workshop, bench, tmp_path):
    """By force, past the sender's own check: nothing is lost, and the fork is named."""
    one = bench()
    one.grow(5)
    address = joined(workshop, one)
    sent(address, one)
    with psycopg.connect(address) as db:
        row = db.execute("SELECT * FROM meterlog.commit ORDER BY number DESC LIMIT 1").fetchone()
        line = row[3][:-1] + "9"
        columns = "bench, number, hash, line, acts, body, digest"
        sql = f"INSERT INTO meterlog.commit ({columns}) VALUES (%s, %s, %s, %s, 0, %s, %s)"
        db.execute(sql, [row[0], row[1], line_hash(line), line, row[5], row[6]])
    with psycopg.connect(workshop) as db:
        shown = benches(db)[0]
        assert db.execute("SELECT count(*) FROM meterlog.fork").fetchone() == (1,)
    assert shown.forks == 1
    assert "two records under one identity" in shown.missing


def test_three_senders_at_once(workshop, bench):
    one = bench()
    one.grow(60)
    address = joined(workshop, one)
    run = (
        "import sys; from pathlib import Path; from meterlog.workshop.sender import Sender; "
        "Sender(sys.argv[1], Path(sys.argv[2])).send_all()"
    )
    started = [subprocess.Popen([sys.executable, "-c", run, address, one.path]) for _ in range(3)]
    assert [process.wait(timeout=60) for process in started] == [0, 0, 0]
    same_on_both_ends(workshop, one)


def test_a_sender_killed_again_and_again(workshop, bench, meterlog):
    one = bench()
    address = joined(workshop, one)
    file = one.path.with_name("bench.db.workshop")
    file.write_text(address)
    for _ in range(5):
        one.grow(8)
        worker = [sys.executable, "-m", "meterlog", "send", "--worker", "--db", one.path]
        with subprocess.Popen(worker, stdout=subprocess.PIPE) as process:
            process.stdout.readline()
            time.sleep(0.03)
            process.send_signal(signal.SIGKILL)
    assert meterlog("send", "--once", "--db", one.path).returncode == 0
    same_on_both_ends(workshop, one)


def test_the_server_stops_at_once_while_it_is_sent_to(postgres, workshop, bench):
    one = bench()
    address = joined(workshop, one)
    for _ in range(3):
        one.grow(40)
        sender = Sender(address, one.path)
        with psycopg.connect(workshop, autocommit=True) as db:
            db.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()")
        with pytest.raises(CannotDo, match="the bench keeps everything"):
            sender.send_all()
        sender.close()
    sent(address, one)
    same_on_both_ends(workshop, one)


def test_a_wrong_login_says_so(workshop, bench):
    one = bench()
    one.grow(1)
    address = joined(workshop, one)
    with pytest.raises(CannotDo, match="can't be reached"):
        Sender(address.replace("user=bench_", "user=nobody_"), one.path)


def test_an_address_of_another_bench(workshop, bench):
    one, two = bench(), bench("other.db")
    one.grow(1)
    two.grow(1)
    address = joined(workshop, one)
    with pytest.raises(CannotDo, match="belongs to another bench"):
        Sender(address, two.path)


def test_one_bench_is_made_again_and_passes_the_audit(workshop, bench, tmp_path):
    """The very rows, byte for byte, and the bench's own audit on them."""
    one = bench()
    one.grow(20)
    address = joined(workshop, one)
    sent(address, one)
    made = tmp_path / "made.db"
    with psycopg.connect(workshop) as db:
        assert rebuild(db, one.writer.bench, made) == []
    with contextlib.closing(sqlite3.connect(one.path)) as here, contextlib.closing(sqlite3.connect(made)) as there:
        for table in (
            "seal",
            "leaf",
            "chunk",
            "reading",
            "unread",
            "sent",
            "event",
            "text",
            "link",
            "form",
            "bench",
            "disclosure",
        ):
            assert (
                there.execute(f"SELECT * FROM {table}").fetchall() == here.execute(f"SELECT * FROM {table}").fetchall()
            )
    db = open_reader(made)
    differ = {finding.what for finding in audit(db)}
    db.close()
    here = open_reader(one.path)
    assert differ == {finding.what for finding in audit(here)}
    here.close()


def test_a_body_changed_on_the_server_is_found(workshop, bench, tmp_path):
    one = bench()
    one.grow(6)
    address = joined(workshop, one)
    sent(address, one)
    with psycopg.connect(workshop) as db:
        body = db.execute("SELECT body FROM meterlog.commit WHERE number = 3").fetchone()[0]
        db.execute("UPDATE meterlog.commit SET body = %s, digest = sha256(%s) WHERE number = 4", [body, body])
    made = tmp_path / "made.db"
    with psycopg.connect(workshop) as db, contextlib.suppress(sqlite3.IntegrityError):
        gaps = rebuild(db, one.writer.bench, made)
        found = [str(f) for f in audit(open_reader(made))] + [gap.why for gap in gaps]
        assert found


def test_an_erasure_is_obeyed_and_stays(workshop, bench, tmp_path):
    one = bench()
    procedure = read_procedure(OVEN.read_text(), OVEN.name)
    job, _ = one.writer.open_job("J1", procedure, {}, {"owner": "Invented Owner, 12 Nowhere Lane"}, now())
    one.writer.commit(now())
    address = joined(workshop, one)
    sent(address, one)

    def named():
        with psycopg.connect(workshop) as db:
            return db.execute("SELECT digest FROM meterlog.personal WHERE name = 'owner'").fetchall()

    def mirrored():
        with psycopg.connect(workshop, autocommit=True) as db:
            refresh(db, tmp_path / "mirror.db")
        with contextlib.closing(open_reader(tmp_path / "mirror.db")) as db:
            return [tuple(row) for row in db.execute("SELECT digest FROM disclosure WHERE name = 'owner'")]

    [(digest,)] = named()
    assert mirrored() == [(digest,)]
    digests, _ = one.writer.erase(job)
    one.writer.event("erased", now(5), {"digests": digests}, job=job, who="tests")
    one.writer.commit(now(5))
    sent(address, one)
    assert named() == mirrored() == []
    with psycopg.connect(workshop) as db:
        put = "INSERT INTO meterlog.personal VALUES (%s, %s, NULL, 'x', 'owner', 'again', NULL)"
        db.execute(put, [one.writer.bench, digest])
    assert named() == []


def test_all_benches_in_one_mirror(workshop, bench, tmp_path):
    for name in ("a.db", "b.db"):
        one = bench(name)
        one.grow(8)
        sent(joined(workshop, one, f"bench {name}"), one)
    mirror = tmp_path / "mirror.db"
    with psycopg.connect(workshop) as db:
        assert refresh(db, mirror) > 0
        assert refresh(db, mirror) == 0
    db = open_reader(mirror)
    assert db.execute("SELECT count(DISTINCT id >> 40) FROM event").fetchone()[0] == 2
    assert db.execute("SELECT count(*) FROM reading").fetchone()[0] == 0
    db.close()


def test_the_workshop_is_audited_by_the_benches_own_code(workshop, bench, meterlog):
    one = bench()
    one.grow(12)
    sent(joined(workshop, one), one)
    own = [json.loads(line) for line in meterlog("audit", "--db", one.path, "--json").stdout.splitlines()]
    told = meterlog("audit", "--workshop", workshop, "--json").stdout
    there = [json.loads(line) for line in told.splitlines()]
    assert there == [{**finding, "where": f"bench one: {finding['where']}"} for finding in own]
    with psycopg.connect(workshop) as db:
        db.execute(
            """UPDATE meterlog.row SET data = jsonb_set(data, '{who}', '"somebody"') WHERE tbl = 'event' AND id = 1"""
        )
    changed = meterlog("audit", "--workshop", workshop, "--json")
    assert changed.returncode == 1
    assert "event 1" in changed.stdout
    assert "is shown otherwise than it was sealed" in changed.stdout


def test_from_an_empty_server_to_two_benches_in_one_list(postgres, bench, meterlog, tmp_path):
    """The ten lines of the manual, as its reader types them."""
    name = f"w{os.urandom(6).hex()}"
    with psycopg.connect(postgres.get_uri(), autocommit=True) as db:
        db.execute(f"CREATE DATABASE {name}")
    url = psycopg.conninfo.make_conninfo(postgres.get_uri(), dbname=name)
    assert meterlog("workshop", "init", url).returncode == 0
    for file in ("a.db", "b.db"):
        one = bench(file)
        one.grow(4)
        joined_ = meterlog("workshop", "join", url, "--label", f"bench {file}", "--db", one.path)
        assert joined_.returncode == 0, joined_.stderr
        kept = one.path.with_name(one.path.name + ".workshop")
        assert kept.stat().st_mode & 0o777 == 0o600
        assert meterlog("send", "--once", "--db", one.path).returncode == 0
    listed = meterlog("workshop", "list", url)
    assert "bench a.db" in listed.stdout
    assert "bench b.db" in listed.stdout
    fetched = meterlog("workshop", "fetch", url, "bench a.db", "--to", tmp_path / "fetched.db")
    assert fetched.returncode == 0, fetched.stderr
    audits = [meterlog("audit", "--db", file).stdout for file in (tmp_path / "fetched.db", tmp_path / "a.db")]
    assert audits[0] == audits[1]


def test_a_line_that_swallows_bytes_has_its_sender_killed_and_begun_again(workshop, bench, bad_line, tmp_path):
    """Nothing is closed and nothing answered: no time-out of the client or the server sees that."""
    one = bench()
    one.grow(300)
    bad_line.fault = Fault("swallow", 6_000)
    file = tmp_path / "address"
    file.write_text(bad_line.address(joined(workshop, one)))
    worker = [sys.executable, "-m", "meterlog", "send", "--worker", "--address", str(file), "--db", str(one.path)]
    lines, until = [], time.monotonic() + 60

    def say(words):
        lines.append(words)
        bad_line.fault = Fault()

    def ended():
        return len(hashes_there(workshop, one.writer.bench)) == 300 or time.monotonic() > until

    supervise(worker, say, ended, stuck_s=5.0)
    assert lines[:2] == [
        "no progress for 5 s: the sender is killed and begun again", "sending stopped; tried again in 1 s"
    ]  # fmt: skip
    same_on_both_ends(workshop, one)


@pytest.mark.parametrize("kind", ["cut", "answers", "repeat", "swap"])
def test_a_line_cut_or_garbled_in_mid_batch(workshop, bench, bad_line, kind):
    one = bench()
    address = joined(workshop, one)
    one.grow(5)
    sent(bad_line.address(address), one)
    before = bad_line.answered - 300 if kind == "answers" else 3_000
    for more in (0, 100, 200):
        one.grow(120)
        bad_line.fault, bad_line.give_up_after_s = Fault(kind, before + more), 1.0
        with pytest.raises(CannotDo):
            sent(bad_line.address(address), one)
        assert bad_line.fault.done
    sent(address, one)
    same_on_both_ends(workshop, one)


def test_batches_in_any_order_and_twice(workshop, bench):
    one = bench()
    one.grow(40)
    with contextlib.closing(Sender(joined(workshop, one), one.path)) as sender:
        for first in (30, 0, 30, 20, 0):
            sender._send(packed(sender._db, range(first, first + 10)))
    with psycopg.connect(workshop) as db:
        [there] = benches(db)
    assert (there.reached, there.newest, there.missing) == (9, 39, "30 commits or fewer")
    sent(give_anew(workshop, one.writer.bench), one)
    same_on_both_ends(workshop, one)


def test_when_a_bench_was_heard_is_told_by_the_servers_clock(workshop, bench):
    one = bench()
    one.ms = -25 * 365 * 86_400_000
    one.grow(3)
    sent(joined(workshop, one), one)
    with psycopg.connect(workshop) as db:
        today = db.execute("SELECT to_char(now() AT TIME ZONE 'UTC', 'YYYY-MM')").fetchone()[0]
        assert benches(db)[0].heard.startswith(today)


def test_the_pages_show_all_benches(workshop, tmp_path):
    """The bench's own pages, over the mirror: a job of each bench by its own name, an owner, a verdict, a history."""
    for label in ("window", "door"):
        path = records.make(tmp_path / f"{label}.db", make="Invented", model="Round One")
        with contextlib.closing(sqlite3.connect(path)) as db:
            identity = db.execute("SELECT identity FROM bench").fetchone()[0]
        sender = Sender(server.join(workshop, identity, label), path)
        sender.send_all()
        sender.close()
    mirror = tmp_path / "mirror.db"
    with psycopg.connect(workshop, autocommit=True) as db:
        refresh(db, mirror)
    application = serve.application(mirror, TOKEN, frozenset())
    appliance = quote(read_procedure(OVEN.read_text(), OVEN.name).appliance)
    with contextlib.closing(open_reader(mirror)) as db:
        capture = db.execute("SELECT max(id) FROM capture").fetchone()[0]
    for path, words in (
        (f"/capture/{capture}", ["Its readings are with its bench, not in this database"]),
        (f"/capture/{capture}.csv", ["reading,time_s"]),
        ("/", ["K-9 at window", "K-9 at door", "K-7 at door"]),
        ("/jobs?words=k-8", ["K-8 at window", "K-8 at door"]),
        ("/job/K-7%20at%20door", ["Invented Community Kitchen", "Transformer primary", "1.71 Ω"]),
        ("/history", ["Transformer primary"]),
        ("/record/mirrored", ["window", "door"]),
        (f"/history/primary?appliance={appliance}", ["by 4 readings (few, 2 of door, 2 of window;"]),
    ):
        text = unescape(ask(application, path).text)
        assert [word for word in words if word not in text] == [], path
