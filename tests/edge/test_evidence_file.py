"""An evidence file, and everything that can be done to one: seen, and named where it was done."""

import base64
import contextlib
import hashlib
import itertools
import json
import random
import shutil
import sqlite3
import stat
import subprocess
import warnings
import zipfile

import bagit
import pytest
import records
import stranger
from click.testing import CliRunner

from meterlog.base.merkle import Tree, leaf_hash
from meterlog.base.seals import line_hash, read_line
from meterlog.cli import meterlog
from meterlog.files import keys
from meterlog.record import bagparts as parts
from meterlog.record import head as heads
from meterlog.record import verify as checks
from meterlog.record.bag import STATEMENT_TYPE
from meterlog.record.bagfiles import Wrong
from meterlog.record.head import Head, head_of
from meterlog.record.verify import CheckResult, verify
from meterlog.report import bagfile
from meterlog.store.reader import StoredRecord
from meterlog.store.sqlite import open_reader
from meterlog.store.writer import Writer

UTC = "2026-11-29T12:00:00.000Z"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A bench's database, with its keys in a folder of their own."""
    folder = tmp_path_factory.mktemp("evidence")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("METERLOG_KEYS", str(folder / "keys"))
        yield records.make(folder / "bench.db")


@pytest.fixture(scope="module")
def exported(kept):
    with contextlib.closing(open_reader(kept)) as db:
        return bagfile.evidence_zip(db, "K-7", UTC)


@pytest.fixture(scope="module")
def whole(exported, tmp_path_factory):
    path = tmp_path_factory.mktemp("zip") / "K-7.zip"
    path.write_bytes(exported)
    return bagfile.read_zip(path)


@pytest.fixture
def files(whole):
    return dict(whole)


def false(files, *sheets):
    """Where the checks say that something is false."""
    _, found = verify(files, keys.check_signature, sheets)
    return [f"{each.where}: {each.what}" for each in found if each.answer is CheckResult.FALSE]


def test_an_evidence_file_is_verified(files):
    statement, found = verify(files, keys.check_signature)
    assert statement.job == "K-7"
    assert [each.check for each in found if each.answer is not CheckResult.VERIFIED] == ["earlier head"]
    assert "not compared with any earlier head" in found[-1].what
    assert stranger.wrong(files) == []


def test_the_same_evidence_gives_the_same_bytes(kept, exported):
    with contextlib.closing(open_reader(kept)) as db:
        assert bagfile.evidence_zip(db, "K-7", UTC) == exported


def test_the_readable_page_never_says_that_it_is_valid_and_names_no_owner(whole):
    page = whole["data/record.html"].decode()
    assert "nothing was changed" not in page.lower()
    assert "verified" not in page.lower().replace("meterlog verify", "")
    with_names = [name for name, data in whole.items() if b"Invented" in data]
    assert "data/record.html" not in with_names


def test_a_library_of_the_standard_accepts_the_folder(files, tmp_path):
    unpack(files, tmp_path)
    assert bagit.Bag(str(tmp_path)).is_valid()


def unpack(files, folder):
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


# ---- withholding ----


def test_any_personal_field_may_be_withheld(files):
    lines = files["disclosures.txt"].splitlines(keepends=True)
    assert len(lines) >= 3
    for count in range(len(lines) + 1):
        for shown in itertools.combinations(lines, count):
            held = {name: data for name, data in files.items() if not name.startswith("photographs/")}
            held["disclosures.txt"] = b"".join(shown)
            assert parts.PARTS["personal fields"](held, None) is None
    del files["disclosures.txt"]
    assert false({name: data for name, data in files.items() if not name.startswith("photographs/")}) == []


def test_an_erased_owner_is_in_no_new_file(kept, tmp_path):
    """Exported after erasing: no shape of the name is left in database, log or evidence file, and all is verified."""
    path = tmp_path / "bench.db"
    shutil.copy(kept, path)
    name = "Invented Community Kitchen"
    writer = Writer(path, records.now(10_000_000))
    job, _ = writer.resume_job("K-7")
    digests, fields = writer.erase(job)
    writer.event("erased", records.now(10_000_000), {"digests": digests}, job=job, who="owner", whence="test")
    writer.close(records.now(10_000_001))
    assert fields == 5
    with contextlib.closing(open_reader(path)) as db:
        zipped = tmp_path / "K-7.zip"
        zipped.write_bytes(bagfile.evidence_zip(db, "K-7", UTC))
    files = bagfile.read_zip(zipped)
    assert false(files) == []
    assert files["disclosures.txt"] == b""
    shapes = [name.encode(), name.encode("utf-16-le"), name.encode().hex().encode(), base64.b64encode(name.encode())]
    places = {"database": path.read_bytes(), **{each.name: each.read_bytes() for each in tmp_path.glob("bench.db-*")}}
    assert [where for where, data in {**places, **files}.items() for shape in shapes if shape in data] == []


# ---- tampering ----


def line_changed(name, number, old, new):
    """A change of one line of a file of lines."""

    def change(files):
        lines = files[name].decode().split("\n")
        at = next(i for i, line in enumerate(lines) if i >= number and old in line)
        lines[at] = lines[at].replace(old, new, 1)
        files[name] = "\n".join(lines).encode()

    return change


def lines_changed(name, how):
    def change(files):
        lines = files[name].decode().split("\n")[:-1]
        files[name] = "".join(line + "\n" for line in how(lines)).encode()

    return change


def both(*changes):
    def change(files):
        for each in changes:
            each(files)

    return change


def without(which):
    """A leaf left out, with its proof, as if it had never been."""

    def change(files):
        leaves = files["data/leaves.jsonl"].decode().splitlines()
        at = next(i for i, leaf in enumerate(leaves) if f'"kind":"{which}"' in leaf)
        for name in ("data/leaves.jsonl", "data/proofs.jsonl"):
            lines_changed(name, lambda lines: lines[:at] + lines[at + 1 :])(files)

    return change


def first_text(files):
    return next(name for name in files if name.startswith("data/texts/"))


def text_changed(files):
    files[first_text(files)] += b"# one line more\n"


def text_missing(files):
    del files[first_text(files)]


def file_added(files):
    files["data/more.txt"] = b"more\n"


LEAVES, PROOFS, CHUNKS = "data/leaves.jsonl", "data/proofs.jsonl", "data/chunks.jsonl"
TAMPERINGS = {
    "a digit of a reading": line_changed(CHUNKS, 0, '"readings":["1 ', '"readings":["2 '),
    "a raw byte": line_changed(CHUNKS, 0, '"raw":"55', '"raw":"54'),
    "a time": line_changed(LEAVES, 0, '"at":', '"at":1'),
    "a verdict": line_changed(LEAVES, 0, '"outcome":"fail"', '"outcome":"pass"'),
    "a limit": line_changed(LEAVES, 0, "at most", "at least"),
    "a probe point": line_changed(LEAVES, 0, '"kind":"steps"', '"kind":"steps" '),
    "a capture's value": line_changed(LEAVES, 0, '"counts":', '"counts":1'),
    "two leaves changed for one another": lines_changed(LEAVES, lambda lines: [lines[1], lines[0], *lines[2:]]),
    "a leaf taken out": lines_changed(LEAVES, lambda lines: lines[:5] + lines[6:]),
    "a leaf twice": lines_changed(LEAVES, lambda lines: [*lines[:6], *lines[5:]]),
    "a capture left out with its proof": without("capture"),
    "an act left out with its proof": without("event"),
    "the end cut off": both(*(lines_changed(name, lambda lines: lines[:-1]) for name in (LEAVES, PROOFS))),
    "a JSON key twice": line_changed(LEAVES, 0, '{"', '{"kind":"event","'),
    "white space": line_changed(LEAVES, 3, '":', '": '),
    "CRLF": lines_changed(LEAVES, lambda lines: [lines[0] + "\r", *lines[1:]]),
    "a text changed": text_changed,
    "a text missing": text_missing,
    "a file added": file_added,
    "the owner replaced": line_changed("disclosures.txt", 0, '"owner","', '"owner","Another '),
    "a seal's time": line_changed("data/seals.txt", 0, "T", "U"),
    "a bit in a leaf's proof": lines_changed(PROOFS, lambda lines: [flipped_hex(line) for line in lines]),
    "a bit in a seal's path": lines_changed("data/log.jsonl", lambda lines: [flipped_hex(line) for line in lines]),
    "a bit in the head": line_changed("data/head.note", 1, "1", "2"),
    "a bit in the statement": line_changed("statement.note", 3, "leaves ", "leaves 1"),
    "a chunk left out": lines_changed(CHUNKS, lambda lines: lines[1:]),
    "a form changed": line_changed("data/forms.jsonl", 0, '"resistance"', '"voltage"'),
    "another key": lambda files: files.update({"data/key.pem": heads.public_pem(b"\x07" * 32).encode()}),
    "a proof of another place": line_changed(PROOFS, 0, '"place":0', '"place":1'),
    "a link's address": line_changed(LEAVES, 0, "loop://", "port://"),
}


def flipped_hex(line):
    at = line.find('["') + 2
    return line if at == 1 else line[:at] + ("0" if line[at] != "0" else "1") + line[at + 1 :]


def remade(files):
    """The lists of files made anew over what is there: what anybody without the key can do."""
    data = sorted(name for name in files if name.startswith("data/"))
    files["manifest-sha256.txt"] = listed(files, data)
    files["tagmanifest-sha256.txt"] = listed(files, ["VERIFY.txt", "bagit.txt", "manifest-sha256.txt"])


def listed(files, names):
    return "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in names).encode()


@pytest.mark.parametrize("and_lists", [False, True], ids=["file only", "lists remade"])
@pytest.mark.parametrize("kind", TAMPERINGS)
def test_every_kind_of_tampering_is_seen(whole, files, kind, and_lists):
    TAMPERINGS[kind](files)
    assert files != whole, "the tampering changed nothing"
    if and_lists:
        remade(files)
    assert false(files)
    with contextlib.suppress(ValueError, KeyError):  # the stranger's own reading breaks on it: seen
        assert stranger.wrong(files)


def signed_again(files, kept):
    """The statement made anew with the true key over what is there now: what the key's holder can do."""
    remade(files)
    with contextlib.closing(open_reader(kept)) as db:
        bench = read_line(next(iter(StoredRecord(db).seals()))).bench
    key = keys.key_of(bench)
    leaves = [json.loads(line) for line in files[LEAVES].decode().splitlines()]
    rows = files["statement.note"].decode().partition("\n\n")[0].split("\n")
    rows[3] = f"leaves {sum(leaf.get('job') == 'K-7' for leaf in leaves)}"
    rows[5] = f"files {hashlib.sha256(files['tagmanifest-sha256.txt']).hexdigest()}"
    assert rows[0] == STATEMENT_TYPE
    text = "\n".join(rows) + "\n"
    name = f"meterlog-bench-{bench}"
    files["statement.note"] = heads.signed_note(text, name, key.public, key.sign(text.encode())).encode()
    files["statement.sig"] = heads.ssh_signature(key.public, key.sign(heads.ssh_signed_data(text.encode()))).encode()


@pytest.mark.parametrize(
    ("kind", "where"),
    [
        ("a capture left out with its proof", "is not there"),
        ("a verdict", "data/leaves.jsonl line"),
        ("a limit", "data/leaves.jsonl line"),
        ("the owner replaced", "disclosures.txt line"),
        ("a text changed", "its bytes do not give its name"),
        ("a chunk left out", "data/chunks.jsonl"),
    ],
)
def test_the_true_key_alone_can_not_change_what_was_sealed(files, kept, kind, where):
    TAMPERINGS[kind](files)
    signed_again(files, kept)
    found = "\n".join(false(files))
    assert where in found
    assert "signature" not in found


@pytest.mark.parametrize("name", [LEAVES, PROOFS, CHUNKS, "data/seals.txt", "data/log.jsonl", "data/forms.jsonl"])
def test_nothing_is_written_in_two_ways_even_under_the_true_key(files, kept, name):
    """Lines changed for one another, blanks, upper-case digits: the same to a reader, refused all the same."""
    whole = dict(files)
    for change in (
        lines_changed(name, lambda lines: [lines[-1], *lines[1:-1], lines[0]] if len(lines) > 1 else [*lines, *lines]),
        line_changed(name, 0, ",", ", ") if name != "data/seals.txt" else line_changed(name, 0, " 0 ", " 00 "),
        lines_changed(name, lambda lines: [lines[0].replace("a", "A"), *lines[1:]] if "a" in lines[0] else [""]),
    ):
        files.update(whole)
        change(files)
        if files[name] != whole[name]:
            signed_again(files, kept)
            assert false(files), change


def test_a_disclosure_is_written_in_one_way_only(files):
    before = files["disclosures.txt"]
    files["disclosures.txt"] = line_changed_salt(before)
    assert files["disclosures.txt"] != before
    assert false(files)


def line_changed_salt(data):
    line, _, rest = data.decode().partition("\n")
    salt = json.loads(line)[0]
    return (line.replace(salt, salt.upper()) + "\n" + rest).encode()


def test_no_single_bit_of_a_signed_file_can_be_turned(whole, files):
    """Each bit of the small signed files, and a few hundred of the large ones."""
    unseen = []
    small = ("statement.note", "statement.sig", "data/head.note", "data/key.pem", "data/key.pub", "bagit.txt")
    flips = [(name, bit) for name in small for bit in range(8 * len(whole[name]))]
    chosen = random.Random(1)
    large = [name for name in whole if name.startswith("data/") or name in parts.SIGNED]
    flips += [(name, chosen.randrange(8 * len(whole[name]))) for name in large if whole[name] for _ in range(10)]
    for name, bit in flips:
        data = bytearray(whole[name])
        data[bit // 8] ^= 1 << bit % 8
        files[name] = bytes(data)
        if not seen(files):
            unseen.append((name, bit))
        files[name] = whole[name]
    assert len(flips) > 5_000
    assert unseen == []


def seen(files):
    try:
        statement, key = checks._statement(files)
        parts.PARTS["files"](files, statement)
    except Wrong:
        return True
    return checks._signatures(files, statement, key, keys.check_signature).answer is CheckResult.FALSE


# ---- history ----


def test_history_rewritten_with_the_true_key_is_refused_with_one_older_sheet(kept, tmp_path):
    """Everything made anew, an act taken out: accepted without a sheet, and it says so; refused with one."""
    with contextlib.closing(open_reader(kept)) as db:
        lines = list(StoredRecord(db).seals())
    bench = read_line(lines[0]).bench
    sheet = head_of(bench, lines[:5])
    forged = tmp_path / "forged.db"
    shutil.copy(kept, forged)
    rewrite(forged)
    with contextlib.closing(open_reader(forged)) as db:
        path = tmp_path / "forged.zip"
        path.write_bytes(bagfile.evidence_zip(db, "K-7", UTC))
        files = bagfile.read_zip(path)
        with pytest.raises(Exception, match="not those of the earlier head: it was rewritten"):
            bagfile.evidence_zip(db, "K-7", UTC, [sheet])
    _, found = verify(files, keys.check_signature)
    assert {each.answer for each in found[:-1]} == {CheckResult.VERIFIED}
    assert found[-1].what.startswith("not compared with any earlier head")
    assert false(files, (sheet, ""))
    done = CliRunner().invoke(meterlog, ["audit", "--db", str(forged), "--head", sheet.sheet_line()])
    assert done.exit_code == 1
    assert "are not those of the earlier head" in done.output


def rewrite(path):
    """An act taken out, a time moved back, every leaf number, root and seal made again: sixty lines of anybody."""
    from meterlog.store.sealed import Leaves

    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as db:
        db.row_factory = sqlite3.Row
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        act = db.execute("SELECT id, job FROM event WHERE kind = 'passed' ORDER BY id LIMIT 1").fetchone()
        leaf = db.execute("SELECT * FROM leaf WHERE kind = 'event' AND subject = ?", [act["id"]]).fetchone()
        db.execute("DELETE FROM leaf WHERE seal = ? AND place = ?", [leaf["seal"], leaf["place"]])
        db.execute("DELETE FROM event WHERE id = ?", [act["id"]])
        db.execute("UPDATE leaf SET place = place - 1 WHERE seal = ? AND place > ?", [leaf["seal"], leaf["place"]])
        db.execute("UPDATE leaf SET number = number - 1 WHERE job = ? AND number > ?", [act["job"], leaf["number"]])
        db.execute("UPDATE verdict SET at_utc_ms = at_utc_ms - 1000")
        made, previous = Leaves(db), "0" * 64
        for row in db.execute("SELECT number, line FROM seal ORDER BY number").fetchall():
            [(_, found)] = made.of_seals([row["number"]])
            texts = [each.text for each in found]
            parts = row["line"].split(" ")
            parts[4], parts[5] = previous, Tree([leaf_hash(text.encode()) for text in texts]).root().hex()
            parts[9] = str(len(texts))
            parts[10] = str(int(parts[10]) - (row["number"] == leaf["seal"]))
            line = " ".join(parts)
            previous = line_hash(line)
            db.execute("UPDATE seal SET line = ?, acts = ? WHERE number = ?", [line, int(parts[10]), row["number"]])
        for _, sql in triggers:
            db.execute(sql)


def test_a_later_file_carries_the_proof_for_an_earlier_sheet(kept, tmp_path):
    with contextlib.closing(open_reader(kept)) as db:
        lines = list(StoredRecord(db).seals())
        sheet = head_of(read_line(lines[0]).bench, lines[:5])
        path = tmp_path / "later.zip"
        path.write_bytes(bagfile.evidence_zip(db, "K-7", UTC, [sheet]))
    files = bagfile.read_zip(path)
    fingerprint = heads.fingerprint_of(keys.key_of(sheet.bench).public)
    assert false(files, (sheet, fingerprint)) == []
    assert false(files, (Head(bench=sheet.bench, size=5, root=sheet.root[:16]), "")) == []
    assert "the sheet says" in false(files, (sheet, "ab" * 32))[0]
    other = Head(bench=sheet.bench, size=5, root="ab" * 32)
    assert "the record was rewritten" in false(files, (other, ""))[0]
    assert "holds no proof for this sheet" in false(files, (Head(bench=sheet.bench, size=4, root="ab" * 32), ""))[0]
    assert "was cut off" in false(files, (Head(bench=sheet.bench, size=10_000, root="ab" * 32), ""))[0]


@pytest.mark.parametrize("cut", [1, 3])
def test_a_record_that_was_cut_off_is_refused_by_any_later_head(kept, tmp_path, cut):
    """The last seals taken off with all that they closed over: the audit alone is clean, the head is not."""
    with contextlib.closing(open_reader(kept)) as db:
        lines = list(StoredRecord(db).seals())
    head = head_of(read_line(lines[0]).bench, lines)
    shorter = tmp_path / "cut.db"
    shutil.copy(kept, shorter)
    last = len(lines) - cut
    with contextlib.closing(sqlite3.connect(shorter, isolation_level=None)) as db:
        triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            db.execute(f"DROP TRIGGER {name}")
        db.execute("DELETE FROM leaf WHERE seal >= ?", [last])
        db.execute("DELETE FROM seal WHERE number >= ?", [last])
        for _, sql in triggers:
            db.execute(sql)
    done = CliRunner().invoke(meterlog, ["audit", "--db", str(shorter), "--head", head.sheet_line()])
    assert done.exit_code == 1
    assert "it was cut off" in done.output


@pytest.fixture
def own_keys(monkeypatch, tmp_path):
    monkeypatch.setenv("METERLOG_KEYS", str(tmp_path / "own keys"))


def test_an_audit_says_against_which_head_it_looked(kept, own_keys):
    """The tests' record holds profiles that are none: what is decoded again from them is told besides."""
    done = CliRunner().invoke(meterlog, ["audit", "--db", str(kept)])
    assert "not compared with any earlier head" in done.output
    with contextlib.closing(open_reader(kept)) as db:
        lines = list(StoredRecord(db).seals())
    sheet = head_of(read_line(lines[0]).bench, lines[:7]).sheet_line()
    done = CliRunner().invoke(meterlog, ["audit", "--db", str(kept), "--head", sheet])
    assert "its first 7 seals are those of the head given" in done.output


def test_the_heads_of_sheets_are_kept_here_and_an_audit_looks_at_them_unasked(own_keys, tmp_path):
    path = records.make(tmp_path / "bench.db")
    for _ in range(2):
        CliRunner().invoke(meterlog, ["report", "K-7", "--db", str(path), "--to", str(tmp_path / "K-7.html")])
    [file] = keys.places.keys().glob("*.heads")
    assert len(file.read_text().splitlines()) == 1
    assert (
        "it begins as 1 heads of sheets shown here say"
        in CliRunner().invoke(meterlog, ["audit", "--db", str(path)]).output
    )
    rewrite(path)
    done = CliRunner().invoke(meterlog, ["audit", "--db", str(path)])
    assert done.exit_code == 1
    assert "are not those of the earlier head: it was rewritten" in done.output
    file.write_text("no head\n")
    assert (
        "holds a line that is no head: 'no head'" in CliRunner().invoke(meterlog, ["audit", "--db", str(path)]).output
    )


def test_a_restored_copy_need_not_have_what_its_original_came_to_later(own_keys, tmp_path):
    path, copy, again = tmp_path / "bench.db", tmp_path / "copy.db", tmp_path / "again.db"
    bench = records.Bench(path)
    records.play_job(bench, "K-7", {})
    bench.writer.close(bench.now)
    run = lambda *words: CliRunner().invoke(meterlog, [*map(str, words)])  # noqa: E731
    run("report", "K-7", "--db", path, "--to", tmp_path / "a.html")
    run("backup", copy, "--db", path)
    writer = Writer(path, records.now(10**7))
    writer.event("noted", records.now(10**7), {"text": "later"})
    writer.close(records.now(10**7))
    run("report", "K-7", "--db", path, "--to", tmp_path / "b.html")
    assert run("restore", copy, "--db", again).exit_code == 0
    done = run("audit", "--db", again)
    assert "it begins as 1 heads of sheets shown here say" in done.output
    assert "it begins as 2 heads of sheets shown here say" in run("audit", "--db", path).output


# ---- a time stamp, by a throw-away authority that openssl plays (RFC 3161) ----

AUTHORITY = """
[req]
distinguished_name = name
prompt = no
[name]
CN = Invented authority
[root]
basicConstraints = critical, CA:TRUE
[signer]
extendedKeyUsage = critical, timeStamping
[stamping]
serial = {folder}/serial
signer_cert = {folder}/signer.pem
certs = {folder}/root.pem
signer_key = {folder}/signer.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
"""


def openssl(*words):
    return subprocess.run(["openssl", *map(str, words)], capture_output=True, text=True, check=True).stdout


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    """A folder with an authority: its root's certificate, and what it needs to answer."""
    folder = tmp_path_factory.mktemp("authority")
    rules = folder / "rules"
    rules.write_text(AUTHORITY.format(folder=folder))
    (folder / "serial").write_text("01\n")
    new = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-config", rules)
    root, signer = folder / "root", folder / "signer"
    openssl("req", "-x509", *new, "-keyout", f"{root}.key", "-out", f"{root}.pem", "-extensions", "root")
    openssl("req", *new, "-keyout", f"{signer}.key", "-out", f"{signer}.csr")
    openssl("x509", "-req", "-in", f"{signer}.csr", "-CA", f"{root}.pem", "-CAkey", f"{root}.key", "-CAcreateserial",
            "-out", f"{signer}.pem", "-days", 2, "-extfile", rules, "-extensions", "signer")  # fmt: skip
    return folder


@pytest.fixture
def stamped(exported, authority, tmp_path):
    """An evidence file whose head an authority has stamped: the request written, answered, attached by the commands."""
    file, asked, answer = tmp_path / "K-7.zip", tmp_path / "K-7.tsq", tmp_path / "answer.tsr"
    file.write_bytes(exported)
    assert CliRunner().invoke(meterlog, ["stamp", "request", str(file), "--to", str(asked)]).exit_code == 0
    openssl("ts", "-reply", "-config", authority / "rules", "-section", "stamping", "-queryfile", asked, "-out", answer)
    done = CliRunner().invoke(meterlog, ["stamp", "attach", str(file), str(answer)])
    assert done.exit_code == 0, done.output
    assert "attached: it says 20" in done.output
    return file


def of_stamp(*words):
    done = CliRunner().invoke(meterlog, ["verify", *map(str, words), "--json"])
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    return done.exit_code, [(row["answer"], row["what"]) for row in rows if row["check"] == "time stamp"]


def test_a_time_stamp_is_verified_against_its_authority_alone(stamped, authority, tmp_path):
    code, [(answer, what)] = of_stamp(stamped)
    assert (code, answer) == (0, "could not be checked here")
    assert "says that the head was there at 20" in what
    code, [(answer, what)] = of_stamp(stamped, "--authority", authority / "root.pem")
    assert (code, answer) == (0, "verified")
    other = tmp_path / "other.pem"
    openssl("req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-config",
            authority / "rules", "-keyout", tmp_path / "k", "-out", other, "-extensions", "root")  # fmt: skip
    code, [(answer, what)] = of_stamp(stamped, "--authority", other)
    assert (code, answer, what) == (1, "false", "it is not signed by this authority, or not for this head")


def test_the_request_is_what_openssl_would_ask(exported, tmp_path):
    file, asked = tmp_path / "K-7.zip", tmp_path / "K-7.tsq"
    file.write_bytes(exported)
    CliRunner().invoke(meterlog, ["stamp", "request", str(file), "--to", str(asked)])
    (tmp_path / "head.note").write_bytes(bagfile.read_zip(file)["data/head.note"])
    openssl("ts", "-query", "-data", tmp_path / "head.note", "-sha256", "-cert", "-out", tmp_path / "theirs.tsq")
    both = [openssl("ts", "-query", "-in", each, "-text").splitlines() for each in (asked, tmp_path / "theirs.tsq")]
    assert [line for line in both[0] if "Nonce" not in line] == [line for line in both[1] if "Nonce" not in line]


def test_a_stamp_of_another_head_a_refusal_and_no_answer_at_all_are_false(stamped, authority, tmp_path):
    files = bagfile.read_zip(stamped)
    answer = files["head.tsr"]
    (tmp_path / "data").write_bytes(b"something else")
    openssl("ts", "-query", "-data", tmp_path / "data", "-sha256", "-cert", "-out", tmp_path / "else.tsq")
    openssl("ts", "-reply", "-config", authority / "rules", "-section", "stamping", "-queryfile", tmp_path / "else.tsq",
            "-out", tmp_path / "else.tsr")  # fmt: skip
    for wrong, words in (
        ((tmp_path / "else.tsr").read_bytes(), "is of something else than this head"),
        (b"\x30\x05\x30\x03\x02\x01\x02", "the authority did not grant it"),
        (b"a reply of an authority", "it is cut short"),
        (b"\x04\x00", "no answer to a request"),
        (answer[:-1], "it is cut short"),
        (answer + b"\x00", "no answer to a request"),
    ):
        assert [each for each in false({**files, "head.tsr": wrong}) if words in each], words
    fresh = tmp_path / "fresh.zip"
    fresh.write_bytes(stamped.read_bytes())
    done = CliRunner().invoke(meterlog, ["stamp", "attach", str(fresh), str(tmp_path / "else.tsr")])
    assert "is of another head" in str(done.exception)
    assert fresh.read_bytes() == stamped.read_bytes()


def test_no_bit_of_a_stamp_is_flipped_unseen(stamped, authority):
    """Of what is signed and of its form; whether it was granted as asked, the ninth byte, is under no signature."""
    files = bagfile.read_zip(stamped)
    by = bagfile.authority_of(authority / "root.pem")
    chosen, size = random.Random(2), len(files["head.tsr"])
    digest = hashlib.sha256(files["data/head.note"]).digest()
    start = files["head.tsr"].index(digest)
    for at in [*chosen.sample(range(start, start + 32), 6), *chosen.sample(range(8), 4), *range(size - 60, size, 12)]:
        flipped = bytearray(files["head.tsr"])
        flipped[at] ^= 1 << chosen.randrange(8)
        _, found = verify({**files, "head.tsr": bytes(flipped)}, keys.check_signature, authority=by)
        assert [each.answer for each in found if each.check == "time stamp"] == [CheckResult.FALSE], at


def test_what_no_part_of_an_evidence_file_is_called_so(files):
    files["other.tsr"] = b"what nobody knows"
    assert "is no part of an evidence file" in false(files)[0]


# ---- the container ----


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["e/a", "e/a"], "stands in it twice"),
        (["e/a", "e/A"], "stands in it twice"),
        (["e/../a"], "leads elsewhere"),
        (["/e/a"], "leads elsewhere"),
        (["e/a\\b"], "leads elsewhere"),
        (["e/a", "f/b"], "more than one folder"),
        (["e/a/"], "leads elsewhere"),
    ],
)
def test_a_container_that_could_show_two_things_is_refused(tmp_path, names, words):
    path = tmp_path / "twice.zip"
    with zipfile.ZipFile(path, "w") as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # zipfile warns of a name that stands there already
        for name in names:
            archive.writestr(name, b"x")
    with pytest.raises(bagfile.Suspicious, match=words):
        bagfile.read_zip(path)


def test_a_link_and_a_bomb_are_refused(tmp_path, monkeypatch):
    path = tmp_path / "link.zip"
    info = zipfile.ZipInfo("e/a")
    info.external_attr = (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(info, "/etc/hostname")
    with pytest.raises(bagfile.Suspicious, match="is no file"):
        bagfile.read_zip(path)
    bomb = tmp_path / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("e/a", b"\x00" * 2_000_000)
    monkeypatch.setattr(bagfile, "MOST_BYTES", 1_000_000)
    with pytest.raises(bagfile.Suspicious, match="unpacks to more"):
        bagfile.read_zip(bomb)
    bomb.write_bytes(bomb.read_bytes()[:-30])
    with pytest.raises(bagfile.Suspicious, match="no whole evidence file"):
        bagfile.read_zip(bomb)


# ---- keys ----


def test_a_key_is_for_its_owner_alone_and_in_no_database(kept):
    with contextlib.closing(open_reader(kept)) as db:
        bench = read_line(next(iter(StoredRecord(db).seals()))).bench
    path = keys.key_path(bench)
    key = keys.key_of(bench)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    for shape in (key.secret, key.secret.hex().encode()):
        assert shape not in kept.read_bytes()
    path.chmod(0o644)
    with pytest.raises(Exception, match="others may read the key"):
        keys.key_of(bench)
    path.chmod(0o600)


def test_without_the_library_a_file_is_not_called_false(files):
    _, found = verify(files, lambda *_: None)
    assert found[0].answer is CheckResult.NOT_CHECKED
    assert "VERIFY.txt" in found[0].what


# ---- the stranger's shell ----

TOOLS = ("openssl", "jq", "xxd", "ssh-keygen", "bash")


def shell_check(folder, hidden=""):
    text = (folder / "VERIFY.txt").read_text()
    script = text.partition("# begin\n")[2].partition("# end")[0]
    assert len(script.splitlines()) <= 20
    if hidden:
        script = script.replace(f"command -v {hidden}", "false")
    return subprocess.run(["bash"], input=script, cwd=folder, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture
def unpacked(files, tmp_path):
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"the stranger's tools are not here: {', '.join(missing)}")
    unpack(files, tmp_path)
    return tmp_path


@pytest.mark.parametrize("hidden", ["", "openssl"], ids=["openssl", "ssh-keygen"])
def test_a_stranger_with_a_shell_comes_to_the_same(unpacked, whole, hidden):
    done = shell_check(unpacked, hidden)
    statement, _ = verify(whole, keys.check_signature)
    assert done.stdout.splitlines()[-1] == "checked", done.stdout + done.stderr
    assert f"head {statement.head.size} {statement.head.root}" in done.stdout
    assert f"key {statement.fingerprint}" in done.stdout


@pytest.mark.parametrize("hidden", ["", "openssl"], ids=["openssl", "ssh-keygen"])
@pytest.mark.parametrize(
    "kind",
    ["a verdict", "a bit in the statement", "the owner replaced", "a text changed", "a file added", "another key",
     "a capture left out with its proof"],
)  # fmt: skip
def test_a_stranger_with_a_shell_sees_a_tampering(unpacked, files, kind, hidden):
    TAMPERINGS[kind](files)
    remade(files)
    shutil.rmtree(unpacked / "data")
    unpack(files, unpacked)
    done = shell_check(unpacked, hidden)
    assert "checked" not in done.stdout.splitlines()
    assert "FALSE" in done.stdout
