"""History by another profile: what differs is told with what verdicts would come to; kept, it stands beside the old."""

import contextlib
import json
import sqlite3
from pathlib import Path

import pytest
from edge.bench import run

SEGMENTS = Path(__file__).parents[2] / "profiles" / "instruments" / "handheld-segments.yaml"


def instrument(database):
    from meterlog.store.sqlite import open_reader

    connection = open_reader(database)
    row = connection.execute(
        "SELECT i.name FROM instrument i JOIN text t ON t.sha256 = i.profile "
        "WHERE t.body LIKE 'profile: handheld-segments%'"
    ).fetchone()
    connection.close()
    return row[0]


def again(database, profile, *words):
    done = run("redecode", instrument(database), str(profile), "--json", "--db", str(database), *words, check=False)
    return done.returncode, json.loads(done.stdout)


def rows(database, sql):
    with contextlib.closing(sqlite3.connect(database)) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture
def kilo(tmp_path):
    """A profile that takes the ohms of the display for kilo-ohms."""
    path = tmp_path / "kilo.yaml"
    text = SEGMENTS.read_text()
    path.write_text(text[: text.index("examples:")].replace("12.2: ohm; up to 40 Mohm", "12.2: kohm"))
    return path


def test_the_same_profile_gives_the_same_readings(played):
    code, found = again(played[0], SEGMENTS)
    assert code == 0
    assert found["kept"] == found["now"] > 100
    assert (found["differ"], found["changes"], found["verdicts"]) == (0, [], [])


def test_a_profile_that_reads_otherwise_is_told_with_its_verdicts(played, tmp_path):
    other = tmp_path / "other.yaml"
    text = SEGMENTS.read_text()
    other.write_text(text[: text.index("examples:")].replace("12.2: ohm", "12.2: continuity in ohm"))
    code, found = again(played[0], other)
    assert code == 1
    assert found["differ"] > 0
    assert all(change["before"].replace("resistance", "continuity") == change["now"] for change in found["changes"])
    assert {each["now"]["outcome"] for each in found["verdicts"] if each["step"] == "primary"} == {"not judged"}
    assert run("audit", "--db", str(played[0])).stderr.endswith("findings: none\n")


def test_a_verdict_is_told_as_it_was_and_as_it_would_be(played, kilo):
    """1.6 ohm less 0.1 ohm of leads passes at most 3 ohm; 1600 ohm less 100 ohm fails it. Power is V^2/R."""
    _, found = again(played[0], kilo)
    told = {(each["job"], each["step"]): each for each in found["verdicts"]}
    primary = told["kitchen-oven", "primary"]
    assert (primary["before"]["outcome"], primary["now"]["outcome"]) == ("pass", "fail")
    assert (primary["before"]["value"], primary["now"]["value"]) == (pytest.approx(1.5), pytest.approx(1500.0))
    assert primary["why"] == "1500 Ω ± 500 Ω lies outside the limit of at most 3 Ω."
    power = told["kitchen-urn", "element-power"]
    assert power["now"]["value"] == pytest.approx(power["before"]["value"] / 1000.0)
    core = told["kitchen-oven", "primary-to-core"]
    assert core["before"]["outcome"] == "pass"
    assert (core["before"]["bound"], core["before"]["value"]) == ("above", pytest.approx(4e7))
    assert core["now"]["outcome"] == "not judged"
    assert core["why"].startswith("its capture would not stand: ")
    assert ("kitchen-oven", "insulation") not in told
    shown = run("redecode", instrument(played[0]), str(kilo), "--db", str(played[0]), check=False).stdout
    assert ", step primary, job kitchen-oven: pass, 1.5 ohm  ->  fail, 1500 ohm\n" in shown
    assert rows(played[0], "SELECT count(*) FROM reread") == [(0,)]


def test_kept_readings_stand_beside_the_old(copy, kilo):
    before = rows(copy, "SELECT * FROM reading ORDER BY id")
    _, found = again(copy, kilo, "--keep", "--reason", "it shows kilo-ohms")
    assert rows(copy, "SELECT * FROM reading ORDER BY id") == before
    assert rows(copy, "SELECT count(*) FROM reread") == [(found["differ"],)]
    beside = rows(copy, "SELECT DISTINCT kept, kept_unit, now, now_unit, profile, reason FROM read_again")
    assert ("014.6", "ohm", "014.6", "kohm", found["profile"], "it shows kilo-ohms") in beside
    assert ("09.81", "Mohm", "", None, found["profile"], "it shows kilo-ohms") in beside
    assert rows(copy, f"SELECT body FROM text WHERE sha256 = '{found['profile']}'") == [(kilo.read_text(),)]
    assert run("audit", "--db", str(copy)).stderr.endswith("findings: none\n")


@pytest.mark.parametrize("change", ["UPDATE reread SET counts = 1", "DELETE FROM reread"])
def test_kept_readings_are_evidence(copy, kilo, change):
    again(copy, kilo, "--keep", "--reason", "it shows kilo-ohms")
    with pytest.raises(sqlite3.IntegrityError, match="reread is evidence: nothing recorded is changed or deleted"):
        rows(copy, change)


def test_the_audit_finds_a_changed_row(copy, kilo):
    again(copy, kilo, "--keep", "--reason", "it shows kilo-ohms")
    ((event,),) = rows(copy, "SELECT DISTINCT event FROM reread")
    with contextlib.closing(sqlite3.connect(copy)) as connection:
        connection.execute("DROP TRIGGER reread_refuses_update")
        connection.execute(
            "UPDATE reread SET counts = counts + 1 WHERE id = (SELECT max(id) FROM reread WHERE counts IS NOT NULL)"
        )
        connection.commit()
    done = run("audit", "--db", str(copy), check=False)
    found = [" ".join(line.split()) for line in done.stdout.splitlines()[1:]]
    assert found == ["trigger reread_refuses_update is gone", f"event {event} its reread rows were changed"]


def test_the_same_profile_keeps_nothing(copy):
    seals = rows(copy, "SELECT count(*) FROM seal")
    assert again(copy, SEGMENTS, "--keep", "--reason", "to be sure")[0] == 0
    assert rows(copy, "SELECT count(*) FROM reread") == [(0,)]
    assert rows(copy, "SELECT count(*) FROM seal") == seals


def test_keeping_wants_a_reason(played, kilo):
    done = run("redecode", "multimeter", str(kilo), "--keep", "--db", str(played[0]), check=False)
    assert (done.returncode, "--keep and --reason TEXT go together" in done.stderr) == (2, True)
