"""An evidence file checked from its bytes alone: every line up to the signed head, every file up to the statement.

Three answers: verified, false (and where), could not be checked here. What no check can show stands in VERIFY.txt.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar

from meterlog.base.merkle import is_beginning, leaf_hash, root_from_inclusion
from meterlog.base.seals import Seal, digest, leaf_text, read_line
from meterlog.record import head as heads
from meterlog.record.bag import BAGIT, STATEMENT_TYPE
from meterlog.record.head import Head
from meterlog.record.key_acts import follows, key_acts

if TYPE_CHECKING:
    from collections.abc import Sequence

T = TypeVar("T")
Files = Mapping[str, bytes]
Check = Callable[[bytes, bytes, bytes], "bool | None"]
"""Whether a signature is right, from public key, signature and data; None when nothing here can tell."""

TAGS = ("VERIFY.txt", "bagit.txt", "manifest-sha256.txt")
SIGNED = (*TAGS, "tagmanifest-sha256.txt", "statement.note", "statement.sig")
PAYLOAD = (
    "chunks.jsonl", "earlier.jsonl", "forms.jsonl", "head.note", "key.pem", "key.pub", "leaves.jsonl", "log.jsonl",
    "proofs.jsonl", "record.html", "seals.txt",
)  # fmt: skip
STAMP = "head.tsr"
"""A reply of a time-stamp authority (RFC 3161) over data/head.note, fetched by hand and put beside."""
_STATEMENT = re.compile(
    rf"{STATEMENT_TYPE}\nbench ([0-9a-f]{{32}})\njob ([^\n]+)\nleaves ([1-9][0-9]*)\n"
    r"head ([1-9][0-9]*) ([0-9a-f]{64})\nfiles ([0-9a-f]{64})\nmade ([0-9TZ:.-]+)\n"
)


class Answer(StrEnum):
    """What a check came to."""

    VERIFIED = "verified"
    FALSE = "false"
    NOT_CHECKED = "could not be checked here"


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One check: of what, what it came to, where it is false, in words."""

    check: str
    answer: Answer
    where: str = ""
    what: str = ""


class Wrong(Exception):
    """A check is false: where, and what is seen there."""

    def __init__(self, where: str, what: str) -> None:
        super().__init__(f"{where}: {what}")
        self.where, self.what = where, what


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """What an evidence file states under its signature."""

    head: Head
    job: str
    leaves: int
    files: str
    made: str
    fingerprint: str


def verify(
    files: Files, check: Check, sheets: Sequence[tuple[Head, str]] = ()
) -> tuple[Statement | None, list[Checked]]:
    """Every check of an evidence file, against earlier heads with the fingerprints printed beside them too."""
    found: list[Checked] = []
    statement, files = None, ReadOnce(files)
    try:
        statement, key = _statement(files)
    except Wrong as wrong:
        return None, [Checked(check="statement", answer=Answer.FALSE, where=wrong.where, what=wrong.what)]
    found.append(_signatures(files, statement, key, check))
    found += [_one(name, of, files, statement) for name, of in _CHECKS.items()]
    for head, printed in sheets:
        name = f"sheet of {head.size} seals"
        came = _one(name, _sheet, files, statement, head)
        found.append(
            came if came.answer is Answer.FALSE else _key_of_sheet(name, files, statement, head, printed, check)
        )
    if STAMP in files:
        what = f"check it with: openssl ts -verify -data data/head.note -in {STAMP} -CAfile THE-AUTHORITY.pem"
        found.append(Checked(check="time stamp", answer=Answer.NOT_CHECKED, where=STAMP, what=what))
    if not sheets:
        what = "not compared with any earlier head: type the line of an older hand-over sheet with --sheet"
        found.append(Checked(check="earlier head", answer=Answer.NOT_CHECKED, what=what))
    return statement, found


def _one(name: str, run: Callable[..., None], *of: Any) -> Checked:
    try:
        run(*of)
    except Wrong as wrong:
        return Checked(check=name, answer=Answer.FALSE, where=wrong.where, what=wrong.what)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:  # JSON of any shape may stand there
        return Checked(check=name, answer=Answer.FALSE, where="data", what=f"is not in its form: {error!r}")
    return Checked(check=name, answer=Answer.VERIFIED)


# ---- statement and signatures ----


def _statement(files: Files) -> tuple[Statement, bytes]:
    """The statement and the public key, each in its one form."""
    for name in (*SIGNED, *(f"data/{each}" for each in PAYLOAD)):
        if name not in files:
            raise Wrong(name, "is not there")
    key = _read("data/key.pem", heads.key_of_pem, _text(files, "data/key.pem"))
    if _text(files, "data/key.pub") != heads.ssh_public(key):
        raise Wrong("data/key.pub", "is another key than data/key.pem")
    text = _text(files, "statement.note").partition("\n\n")[0] + "\n"
    match = _STATEMENT.fullmatch(text)
    if match is None:
        raise Wrong("statement.note", "is not in the form of a statement")
    bench, job, leaves, size, root, listed, made = match.groups()
    head = Head(bench=bench, size=int(size), root=root)
    fingerprint = heads.fingerprint_of(key)
    return Statement(head=head, job=job, leaves=int(leaves), files=listed, made=made, fingerprint=fingerprint), key


def _signatures(files: Files, statement: Statement, key: bytes, check: Check) -> Checked:
    try:
        name = statement.head.origin
        note, head = _text(files, "statement.note"), _text(files, "data/head.note")
        text, signature = _read("statement.note", heads.read_note, note, name, key)
        head_text, head_signature = _read("data/head.note", heads.read_note, head, name, key)
        ssh = _read("statement.sig", heads.read_ssh_signature, _text(files, "statement.sig"), key)
        if head_text != statement.head.text:
            raise Wrong("data/head.note", "is another head than that of the statement")
        signed = {
            "statement.note": (signature, text.encode()),
            "statement.sig": (ssh, heads.ssh_signed_data(text.encode())),
            "data/head.note": (head_signature, head_text.encode()),
        }
        for where, (made, data) in signed.items():
            right = check(key, made, data)
            if right is None:
                what = "install cryptography, or follow VERIFY.txt"
                return Checked(check="signatures", answer=Answer.NOT_CHECKED, what=what)
            if not right:
                raise Wrong(where, "the signature does not fit")
    except Wrong as wrong:
        return Checked(check="signatures", answer=Answer.FALSE, where=wrong.where, what=wrong.what)
    return Checked(check="signatures", answer=Answer.VERIFIED)


# ---- files ----


def _files(files: Files, statement: Statement) -> None:
    if hashlib.sha256(files["tagmanifest-sha256.txt"]).hexdigest() != statement.files:
        raise Wrong("tagmanifest-sha256.txt", "is not the list that was signed")
    if files["bagit.txt"] != BAGIT:
        raise Wrong("bagit.txt", "is not in its one form")
    _manifest(files, "tagmanifest-sha256.txt", set(TAGS))
    _manifest(files, "manifest-sha256.txt", {name for name in files if name.startswith("data/")})
    known = {*SIGNED, "disclosures.txt", STAMP}
    for name in files:
        if name not in known and not name.startswith(("data/", "photographs/")):
            raise Wrong(name, "is no part of an evidence file")


def _manifest(files: Files, name: str, wanted: set[str]) -> None:
    listed = {}
    for line in _split(files, name):
        sha256, blank, path = line.partition("  ")
        if not blank or path in listed:
            raise Wrong(name, f"not in its one form: {line[:80]!r}")
        listed[path] = sha256
    if list(listed) != sorted(listed):
        raise Wrong(name, "its lines are not in order")
    for path in sorted({*listed, *wanted}):
        if path not in wanted or path not in files:
            raise Wrong(path, f"stands in {name} and is not there")
        if path not in listed:
            raise Wrong(path, f"is not in {name}")
        if hashlib.sha256(files[path]).hexdigest() != listed[path]:
            raise Wrong(path, "its bytes were changed")


# ---- leaves up to the head ----


def _leaves(files: Files, statement: Statement) -> None:
    lines, leaves = _split(files, "data/leaves.jsonl"), _objects(files, "data/leaves.jsonl")
    proofs = _objects(files, "data/proofs.jsonl")
    seals = _seals(files, statement)
    if len(lines) != len(proofs):
        raise Wrong("data/proofs.jsonl", f"{len(proofs)} proofs for {len(lines)} leaves")
    at = (-1, -1)
    for number, (line, leaf, says) in enumerate(zip(lines, leaves, proofs, strict=True), 1):
        where = f"data/leaves.jsonl line {number}"
        if leaf_text(leaf) != line:
            raise Wrong(where, "the leaf is not in its one form")
        seal = seals.get(says.get("seal", -1))
        if seal is None or set(says) != {"seal", "place", "of", "path"}:
            raise Wrong(f"data/proofs.jsonl line {number}", "names no seal of this file")
        if (seal.number, says["place"]) <= at or says["of"] != seal.leaves:
            raise Wrong(f"data/proofs.jsonl line {number}", "is out of its place")
        at = (seal.number, says["place"])
        root = root_from_inclusion(leaf_hash(line.encode()), says["place"], says["of"], _path(says))
        if root is None or root.hex() != seal.root:
            raise Wrong(where, f"is not what seal {seal.number} closed over")


def _seals(files: Files, statement: Statement) -> dict[int, Seal]:
    """The seals of the file by their number, each proved up to the signed head."""
    lines, log = _split(files, "data/seals.txt"), _objects(files, "data/log.jsonl")
    if len(lines) != len(log):
        raise Wrong("data/log.jsonl", f"{len(log)} paths for {len(lines)} seals")
    seals: dict[int, Seal] = {}
    last = -1
    for number, (line, says) in enumerate(zip(lines, log, strict=True), 1):
        where = f"data/seals.txt line {number}"
        seal = _read(where, read_line, line)
        if seal.line != line or seal.number <= last:
            raise Wrong(where, "the seal is not in its one form, or out of order")
        last = seal.number
        if says.get("seal") != seal.number or set(says) != {"seal", "path"}:
            raise Wrong(f"data/log.jsonl line {number}", "is of another seal")
        root = root_from_inclusion(leaf_hash(line.encode()), seal.number, statement.head.size, _path(says))
        if root is None or root.hex() != statement.head.root:
            raise Wrong(where, "does not lead to the signed head")
        seals[seal.number] = seal
    return seals


def _numbers(files: Files, statement: Statement) -> None:
    """A job's leaves are numbered from 0: one that was left out leaves a hole, or their count differs."""
    own = [leaf for leaf in _objects(files, "data/leaves.jsonl") if leaf.get("job") == statement.job]
    numbers = [leaf["n"] for leaf in own]
    for expected, seen in enumerate(numbers):
        if seen != expected:
            raise Wrong("data/leaves.jsonl", f"leaf {expected} of job {statement.job} is not there")
    if len(numbers) != statement.leaves:
        raise Wrong("data/leaves.jsonl", f"{len(numbers)} leaves of job {statement.job}, {statement.leaves} stated")
    others = {leaf["job"] for leaf in _objects(files, "data/leaves.jsonl") if "job" in leaf} - {statement.job}
    if others:
        raise Wrong("data/leaves.jsonl", f"holds leaves of another job: {sorted(others)[0]}")


def _chunks(files: Files, _: Statement) -> None:
    leaves = {leaf["chunk"]: leaf for leaf in _objects(files, "data/leaves.jsonl") if leaf["kind"] == "readings"}
    seen = set()
    for number, chunk in enumerate(_objects(files, "data/chunks.jsonl"), 1):
        where = f"data/chunks.jsonl line {number}"
        leaf = leaves.get(chunk.get("chunk", -1))
        if leaf is None or chunk["chunk"] in seen or set(chunk) != {"chunk", "raw", "readings", "rest"}:
            raise Wrong(where, "belongs to no leaf of this file")
        seen.add(chunk["chunk"])
        raw = _read(where, bytes.fromhex, chunk["raw"])
        now = {"raw": _sha256(raw), "readings": _lines_digest(chunk["readings"]), "rest": _lines_digest(chunk["rest"])}
        for part, made in now.items():
            if leaf[part] != made:
                raise Wrong(where, f"its {part} are not those under the leaf")
        if len(chunk["readings"]) != leaf["count"]:
            raise Wrong(where, f"{len(chunk['readings'])} readings, {leaf['count']} under the leaf")
    missing = sorted(set(leaves) - seen)
    if missing:
        raise Wrong("data/chunks.jsonl", f"chunk {missing[0]} is not there")


def _texts_and_forms(files: Files, _: Statement) -> None:
    leaves = _objects(files, "data/leaves.jsonl")
    known = {name.removeprefix("data/texts/").removesuffix(".yaml") for name in files if name.startswith("data/texts/")}
    for sha256 in sorted(known):
        name = f"data/texts/{sha256}.yaml"
        if name not in files or _sha256(files[name]) != sha256:
            raise Wrong(name, "its bytes do not give its name")
    named = {leaf["text"] for leaf in leaves if leaf["kind"] == "text"}
    wanted = {leaf[part] for leaf in leaves for part in ("procedure", "profile", "facts") if part in leaf}
    wanted = {each for each in wanted if re.fullmatch("[0-9a-f]{64}", each)}
    for sha256 in sorted(known ^ named | wanted - known):
        raise Wrong(f"data/texts/{sha256}.yaml", "is not there, or no leaf speaks of it")
    forms = {_sha256("\x00".join(form).encode()) for form in _objects(files, "data/forms.jsonl")}
    sealed = {leaf["form"] for leaf in leaves if leaf["kind"] == "form"}
    if forms != sealed:
        raise Wrong("data/forms.jsonl", "its forms are not those under the leaves")
    short = {each[:16] for each in forms}
    for chunk in _objects(files, "data/chunks.jsonl"):
        for line in chunk["readings"]:
            if line.split(" ")[2] not in short:
                raise Wrong("data/forms.jsonl", f"the form of reading {line.split(' ')[0]} is not there")


# ---- personal fields ----


def _personal(files: Files, _: Statement) -> None:
    """Every disclosed field fits a digest under a leaf. Those that are withheld are no finding."""
    sealed = set()
    for leaf in _objects(files, "data/leaves.jsonl"):
        sealed |= set(re.findall("[0-9a-f]{64}", leaf.get("digests", "") + (leaf["facts"] if _names(leaf) else "")))
    shown, photographs = set(), set()
    for number, line in enumerate(_split(files, "disclosures.txt") if "disclosures.txt" in files else [], 1):
        where = f"disclosures.txt line {number}"
        salt, name, text = _read(where, _disclosed, line)
        made = digest(salt, name, text)
        if made not in sealed or made in shown:
            raise Wrong(where, "fits no digest under the leaves, or stands there twice")
        shown.add(made)
        if "\x00" in text:
            photographs.add(made)
            picture = files.get(f"photographs/{made}")
            if picture is not None and _sha256(picture) != text.rpartition("\x00")[2]:
                raise Wrong(f"photographs/{made}", "its bytes were changed")
    for name in files:
        if name.startswith("photographs/") and name.removeprefix("photographs/") not in photographs:
            raise Wrong(name, "is disclosed by no line")


def _names(leaf: Mapping[str, Any]) -> bool:
    return leaf["kind"] == "event" and leaf.get("what") in ("noted", "photograph", "personal fields")


def _disclosed(line: str) -> tuple[bytes, str, str]:
    salt, name, text = json.loads(line)
    if json.dumps([salt, name, text], ensure_ascii=False, separators=(",", ":")) != line or not name:
        raise ValueError("not in its one form")
    return bytes.fromhex(salt), name, text


# ---- earlier heads ----


def _key_of_sheet(name: str, files: Files, statement: Statement, earlier: Head, printed: str, check: Check) -> Checked:
    """The key of an earlier sheet signs still, or vouched for the one that does.

    A record that was restored from a copy goes on under an identity and a key of its own.
    """
    if not printed or earlier.bench != statement.head.bench:
        return Checked(check=name, answer=Answer.VERIFIED, what="" if not printed else "restored from a copy since")
    acts = key_acts(_objects(files, "data/leaves.jsonl"))
    try:
        broken = follows(earlier.bench, printed, statement.fingerprint, acts, check)
    except ValueError as error:
        return Checked(check=name, answer=Answer.FALSE, where="data/key.pem", what=str(error))
    if broken:
        what = f"the record continues the sheet's, but its key was {broken} since: only the head binds, no signature"
        return Checked(check=name, answer=Answer.NOT_CHECKED, what=what)
    return Checked(check=name, answer=Answer.VERIFIED)


def _sheet(files: Files, statement: Statement, earlier: Head) -> None:
    """This record continues the one whose head an earlier sheet printed."""
    head = statement.head
    leaves = _objects(files, "data/leaves.jsonl")
    benches = {head.bench, *(leaf["identity"] for leaf in leaves if leaf["kind"] == "bench")}
    if earlier.bench not in benches:
        raise Wrong("statement.note", "the sheet is of another bench")
    if earlier.size > head.size:
        raise Wrong("data/head.note", f"{head.size} seals, the sheet says {earlier.size}: the record was cut off")
    if earlier.size == head.size:
        if not head.root.startswith(earlier.root):
            raise Wrong("data/head.note", "another root than the sheet's: the record was rewritten")
        return
    for says in _objects(files, "data/earlier.jsonl"):
        if says.get("size") == earlier.size:
            old = bytes.fromhex(says["root"])
            if not says["root"].startswith(earlier.root):
                raise Wrong("data/earlier.jsonl", "another root than the sheet's: the record was rewritten")
            if not is_beginning(earlier.size, old, head.size, bytes.fromhex(head.root), _path(says)):
                raise Wrong("data/earlier.jsonl", "the proof does not lead to the signed head")
            return
    raise Wrong("data/earlier.jsonl", "holds no proof for this sheet: ask for the file again with --earlier LINE")


def _earlier(files: Files, statement: Statement) -> None:
    """Every proof that the file carries itself leads to the signed head."""
    root = bytes.fromhex(statement.head.root)
    for number, says in enumerate(_objects(files, "data/earlier.jsonl"), 1):
        old = bytes.fromhex(says["root"])
        if not is_beginning(says["size"], old, statement.head.size, root, _path(says)):
            raise Wrong(f"data/earlier.jsonl line {number}", "the proof does not lead to the signed head")


_CHECKS: dict[str, Callable[[Files, Statement], None]] = {
    "files": _files,
    "leaves": _leaves,
    "numbers": _numbers,
    "bytes and readings": _chunks,
    "texts and forms": _texts_and_forms,
    "personal fields": _personal,
    "proofs of earlier heads": _earlier,
}


# ---- reading ----


def _text(files: Files, name: str) -> str:
    try:
        return files[name].decode()
    except UnicodeDecodeError:
        raise Wrong(name, "is no UTF-8") from None


def _split(files: Files, name: str) -> list[str]:
    text = _text(files, name)
    if text and not text.endswith("\n"):
        raise Wrong(name, "its last line has no end")
    return text.split("\n")[:-1]


def _objects(files: Files, name: str) -> list[Any]:
    """The JSON of each line of a file."""
    known = files.read if isinstance(files, ReadOnce) else {}
    if name not in known:
        lines = enumerate(_split(files, name), 1)
        known[name] = [_object(line, f"{name} line {number}") for number, line in lines]
    return known[name]


class ReadOnce(dict[str, bytes]):
    """Files whose lines, once read as JSON, are not read again."""

    def __init__(self, files: Files) -> None:
        super().__init__(files)
        self.read: dict[str, list[Any]] = {}


def _object(line: str, where: str) -> Any:
    """JSON in which no key stands twice."""
    try:
        return json.loads(line, object_pairs_hook=_once)
    except ValueError as error:
        raise Wrong(where, f"is no JSON: {error}") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(dict(pairs)) != len(pairs):
        raise ValueError("a key stands twice")
    return dict(pairs)


def _path(says: Mapping[str, Any]) -> list[bytes]:
    try:
        return [bytes.fromhex(node) for node in says["path"]]
    except (ValueError, TypeError):
        raise Wrong("a proof", "its path is no list of hashes") from None


def _read(where: str, run: Callable[..., T], *of: Any) -> T:
    """What a reader makes of its arguments. Raises: Wrong, where they are not in their form."""
    try:
        return run(*of)
    except (ValueError, TypeError, KeyError) as error:
        raise Wrong(where, str(error)) from None


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _lines_digest(lines: Sequence[str]) -> str:
    return _sha256("\n".join(lines).encode())
