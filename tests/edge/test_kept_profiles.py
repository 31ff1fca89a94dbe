"""A bench whose kept profile today's check refuses still starts, audits and reads again."""

from pathlib import Path

import pytest

from meterlog.base.errors import WrongText
from meterlog.conversation.drive import drive, received
from meterlog.daemon.main import profiles_kept, stations_of
from meterlog.links.benchfile import read_bench
from meterlog.profile import read_kept_profile
from meterlog.record.writer import Now
from meterlog.store import sqlite
from meterlog.store.audit import audit
from meterlog.store.writer import Writer

TEXT = (Path(__file__).parents[1] / "wrong_profiles" / "special_of_nothing.yaml").read_text()
BENCH = "bench: b\ninstruments:\n  it: {profile: it.yaml, port: /dev/not-used}\n"


def test_a_bench_is_not_locked_out_of_its_own_evidence(tmp_path):
    (tmp_path / "it.yaml").write_text(TEXT)
    bench, path = read_bench(BENCH, "bench.yaml"), tmp_path / "bench.yaml"
    with pytest.raises(WrongText):
        stations_of(bench, path)
    store = Writer(tmp_path / "b.db", Now(0, 0, "boot"))
    link = store.open_link("it", TEXT, "{}", "played", Now(0, 0, "boot"))
    profile = read_kept_profile(TEXT, "it")
    store.outcomes(link, list(drive(profile.conversation(), received(bytes(range(64))))), None, None)
    store.close_link(link)
    store.close(Now(1, 1, "boot"))
    assert stations_of(bench, path, profiles_kept(tmp_path / "b.db"))["it"].profile.text == TEXT
    db = sqlite.open_reader(tmp_path / "b.db")
    assert [str(finding) for finding in audit(db)] == []
    db.close()
