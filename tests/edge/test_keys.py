"""The key of a bench: kept for one person, copied to paper, replaced; and what a holder of an old sheet is told."""

import contextlib
import re
import stat

import pytest
import records
from click.testing import CliRunner

from meterlog.base.errors import CannotDo
from meterlog.cli import meterlog
from meterlog.files import keys
from meterlog.record.head import fingerprint_of, head_of
from meterlog.record.verify import CheckResult, verify
from meterlog.report import bagfile
from meterlog.store.reader import reading
from meterlog.store.sqlite import open_reader


@pytest.fixture
def kept(tmp_path, monkeypatch):
    monkeypatch.setenv("METERLOG_KEYS", str(tmp_path / "keys"))
    return records.make(tmp_path / "kept.db")


def run(kept, *words, **more):
    return CliRunner().invoke(meterlog, [*words, "--db", str(kept)], **more)


def sheet(kept):
    """The head and fingerprint that a sheet would print now."""
    with reading(kept) as reader:
        head = head_of(reader.identities()[-1], reader.seals())
    return head, fingerprint_of(keys.key_of(head.bench).public)


def against(kept, tmp_path, printed):
    with contextlib.closing(open_reader(kept)) as db:
        path = tmp_path / "later.zip"
        path.write_bytes(bagfile.evidence_zip(db, "K-7", "2026-11-29T12:00:00.000Z", [printed[0]]))
    _, found = verify(bagfile.read_zip(path), keys.check_signature, [printed])
    assert [each for each in found[:-1] if each.answer is not CheckResult.VERIFIED] == []
    return found[-1]


def test_a_key_that_was_replaced_in_time_vouches_for_the_new_one(kept, tmp_path):
    printed = sheet(kept)
    done = run(kept, "key", "replace", "--why", "routine")
    assert done.exit_code == 0, done.output
    assert sheet(kept)[1] != printed[1]
    assert against(kept, tmp_path, printed).answer is CheckResult.VERIFIED
    run(kept, "key", "replace", "--why", "routine")
    assert against(kept, tmp_path, printed).answer is CheckResult.VERIFIED
    done = run(kept, "audit")
    assert "key" not in done.stdout


@pytest.mark.parametrize("why", ["lost", "stolen"])
def test_a_lost_or_stolen_key_is_told_to_who_holds_an_old_sheet(kept, tmp_path, why):
    printed = sheet(kept)
    if why == "lost":
        keys.key_path(printed[0].bench).unlink()
        assert run(kept, "key", "replace", "--why", "stolen").exception.args
    assert run(kept, "key", "replace", "--why", why, "--since", "2026-11-01").exit_code == 0
    found = against(kept, tmp_path, printed)
    assert found.answer is CheckResult.NOT_CHECKED
    assert f"its key was {why} since" in found.what


def test_a_new_key_that_the_old_one_did_not_sign_is_refused(kept, tmp_path):
    printed = sheet(kept)
    keys.set_aside(printed[0].bench)
    assert against(kept, tmp_path, printed).answer is CheckResult.FALSE


def test_the_paper_copy_brings_the_key_back(kept, tmp_path):
    page = tmp_path / "key.html"
    assert run(kept, "key", "paper", "--to", str(page)).exit_code == 0
    assert stat.S_IMODE(page.stat().st_mode) == 0o600
    digits = re.search(r"(?:[0-9a-f]{4} ){15}[0-9a-f]{4}", page.read_text())[0]
    assert "<svg" in page.read_text()
    before = sheet(kept)
    keys.key_path(before[0].bench).unlink()
    done = run(kept, "key", "enter", input=digits + "\n")
    assert done.exit_code == 0
    assert before[1] in done.output
    assert run(kept, "key", "paper", "--to", str(page)).exception.args
    with pytest.raises(CannotDo, match="64 digits"):
        keys.enter_key("ab" * 16, "12")


def test_the_fingerprint_is_that_of_openssl(kept, tmp_path):
    """SHA-256 of the public key's DER form, as `openssl pkey -pubin -outform DER | sha256sum` prints it."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.hashes import SHA256, Hash
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    key = keys.key_of(sheet(kept)[0].bench)
    made = Hash(SHA256())
    made.update(
        Ed25519PublicKey.from_public_bytes(key.public).public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    )
    assert made.finalize().hex() == fingerprint_of(key.public)
    assert run(kept, "key", "show").output.startswith(fingerprint_of(key.public))
