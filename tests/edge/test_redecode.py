"""History by another profile: what differs is told with the verdicts that rest on it, and nothing is touched."""

import json
from pathlib import Path

from edge.bench import run
from edge.test_demo import played  # noqa: F401  (the demo's database, played once)

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


def again(database, profile):
    done = run("redecode", instrument(database), str(profile), "--json", "--db", str(database), check=False)
    return done.returncode, json.loads(done.stdout)


def test_the_same_profile_gives_the_same_readings(played):  # noqa: F811
    code, found = again(played[0], SEGMENTS)
    assert code == 0
    assert found["kept"] == found["now"] > 100
    assert (found["differ"], found["changes"], found["verdicts"]) == (0, [], [])


def test_a_profile_that_reads_otherwise_is_told_with_its_verdicts(played, tmp_path):  # noqa: F811
    other = tmp_path / "other.yaml"
    text = SEGMENTS.read_text()
    other.write_text(text[: text.index("examples:")].replace("12.2: ohm", "12.2: continuity in ohm"))
    code, found = again(played[0], other)
    assert code == 1
    assert found["differ"] > 0
    assert all(change["before"].replace("resistance", "continuity") == change["now"] for change in found["changes"])
    assert found["verdicts"]
    assert run("audit", "--db", str(played[0])).stderr.endswith("findings: none\n")
