"""An evidence file checked from its bytes alone: every line up to the signed head, every file up to the statement.

Three answers: verified, false (and where), could not be checked here. What no check can show stands in VERIFY.txt.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from meterlog.base.merkle import is_beginning
from meterlog.record import head as heads
from meterlog.record.bag import STATEMENT_TYPE
from meterlog.record.bagfiles import Files, ReadOnce, Wrong, bytes_of, file_text, objects_of, proof_path, read
from meterlog.record.bagparts import PARTS, PAYLOAD, SIGNED, STAMP, Statement
from meterlog.record.head import Head
from meterlog.record.key_acts import SignatureCheck, follows, key_acts
from meterlog.record.stamp import Stamp, read_answer

if TYPE_CHECKING:
    from collections.abc import Sequence


Authority = Callable[[bytes, bytes, Stamp], "bool | None"]
"""Whether an authority signed an answer, from what was stamped, the answer and what it says; None for no telling."""

_STATEMENT = re.compile(
    rf"{STATEMENT_TYPE}\nbench ([0-9a-f]{{32}})\njob ([^\n]+)\nleaves ([1-9][0-9]*)\n"
    r"head ([1-9][0-9]*) ([0-9a-f]{64})\nfiles ([0-9a-f]{64})\nmade ([0-9TZ:.-]+)\n"
)


class CheckResult(StrEnum):
    """What a check came to."""

    VERIFIED = "verified"
    FALSE = "false"
    NOT_CHECKED = "could not be checked here"


@dataclass(frozen=True, slots=True, kw_only=True)
class VerificationCheck:
    """One check: of what, what it came to, where it is false, in words."""

    check: str
    answer: CheckResult
    where: str = ""
    what: str = ""


def verify(
    files: Files, check: SignatureCheck, sheets: Sequence[tuple[Head, str]] = (), authority: Authority | None = None
) -> tuple[Statement | None, list[VerificationCheck]]:
    """Every check of an evidence file, against earlier heads with the fingerprints printed beside them too.

    A time stamp in it is checked against an authority, where one is given.
    """
    found: list[VerificationCheck] = []
    statement, files = None, ReadOnce(files)
    try:
        statement, key = _statement(files)
    except Wrong as wrong:
        return None, [
            VerificationCheck(check="statement", answer=CheckResult.FALSE, where=wrong.where, what=wrong.what)
        ]
    found.append(_signatures(files, statement, key, check))
    found += [_one(name, of, files, statement) for name, of in PARTS.items()]
    for head, printed in sheets:
        name = f"sheet of {head.size} seals"
        came = _one(name, _sheet, files, statement, head)
        found.append(
            came if came.answer is CheckResult.FALSE else _key_of_sheet(name, files, statement, head, printed, check)
        )
    if STAMP in files:
        found.append(_time_stamp(files, authority))
    if not sheets:
        what = "not compared with any earlier head: type the line of an older hand-over sheet with --sheet"
        found.append(VerificationCheck(check="earlier head", answer=CheckResult.NOT_CHECKED, what=what))
    return statement, found


def _one(name: str, run: Callable[..., None], *of: Any) -> VerificationCheck:
    try:
        run(*of)
    except Wrong as wrong:
        return VerificationCheck(check=name, answer=CheckResult.FALSE, where=wrong.where, what=wrong.what)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError) as error:  # JSON of any shape may stand there
        return VerificationCheck(
            check=name, answer=CheckResult.FALSE, where="data", what=f"is not in its form: {error!r}"
        )
    return VerificationCheck(check=name, answer=CheckResult.VERIFIED)


# ---- statement and signatures ----


def _statement(files: Files) -> tuple[Statement, bytes]:
    """The statement and the public key, each in its one form."""
    for name in (*SIGNED, *(f"data/{each}" for each in PAYLOAD)):
        if name not in files:
            raise Wrong(name, "is not there")
    key = read("data/key.pem", heads.key_of_pem, file_text(files, "data/key.pem"))
    if file_text(files, "data/key.pub") != heads.ssh_public(key):
        raise Wrong("data/key.pub", "is another key than data/key.pem")
    text = file_text(files, "statement.note").partition("\n\n")[0] + "\n"
    match = _STATEMENT.fullmatch(text)
    if match is None:
        raise Wrong("statement.note", "is not in the form of a statement")
    bench, job, leaves, size, root, listed, made = match.groups()
    head = Head(bench=bench, size=int(size), root=root)
    fingerprint = heads.fingerprint_of(key)
    return Statement(head=head, job=job, leaves=int(leaves), files=listed, made=made, fingerprint=fingerprint), key


def _signatures(files: Files, statement: Statement, key: bytes, check: SignatureCheck) -> VerificationCheck:
    try:
        name = statement.head.origin
        note, head = file_text(files, "statement.note"), file_text(files, "data/head.note")
        text, signature = read("statement.note", heads.read_note, note, name, key)
        head_text, head_signature = read("data/head.note", heads.read_note, head, name, key)
        ssh = read("statement.sig", heads.read_ssh_signature, file_text(files, "statement.sig"), key)
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
                return VerificationCheck(check="signatures", answer=CheckResult.NOT_CHECKED, what=what)
            if not right:
                raise Wrong(where, "the signature does not fit")
    except Wrong as wrong:
        return VerificationCheck(check="signatures", answer=CheckResult.FALSE, where=wrong.where, what=wrong.what)
    return VerificationCheck(check="signatures", answer=CheckResult.VERIFIED)


# ---- a time stamp ----


def _time_stamp(files: Files, authority: Authority | None) -> VerificationCheck:
    """Somebody else's clock over the head; whose, only an authority's certificate can tell."""
    answer, head = files[STAMP], files["data/head.note"]
    try:
        stamp = read_answer(answer)
    except ValueError as error:
        return VerificationCheck(check="time stamp", answer=CheckResult.FALSE, where=STAMP, what=str(error))
    if stamp.digest != hashlib.sha256(head).digest():
        return VerificationCheck(
            check="time stamp", answer=CheckResult.FALSE, where=STAMP, what="is of something else than this head"
        )
    says = f"the head was there at {stamp.time}"
    right = authority(head, answer, stamp) if authority else None
    if right is None:
        what = f"says that {says}; by whose clock: --authority CERTIFICATE.pem, with openssl here"
        return VerificationCheck(check="time stamp", answer=CheckResult.NOT_CHECKED, where=STAMP, what=what)
    if not right:
        what = "it is not signed by this authority, or not for this head"
        return VerificationCheck(check="time stamp", answer=CheckResult.FALSE, where=STAMP, what=what)
    return VerificationCheck(check="time stamp", answer=CheckResult.VERIFIED, where=STAMP, what=says)


# ---- earlier heads ----


def _key_of_sheet(
    name: str, files: Files, statement: Statement, earlier: Head, printed: str, check: SignatureCheck
) -> VerificationCheck:
    """The key of an earlier sheet signs still, or vouched for the one that does.

    A record that was restored from a copy goes on under an identity and a key of its own.
    """
    if not printed or earlier.bench != statement.head.bench:
        return VerificationCheck(
            check=name, answer=CheckResult.VERIFIED, what="" if not printed else "restored from a copy since"
        )
    acts = key_acts(objects_of(files, "data/leaves.jsonl"))
    try:
        broken = follows(earlier.bench, printed, statement.fingerprint, acts, check)
    except ValueError as error:
        return VerificationCheck(check=name, answer=CheckResult.FALSE, where="data/key.pem", what=str(error))
    if broken:
        what = f"the record continues the sheet's, but its key was {broken} since: only the head binds, no signature"
        return VerificationCheck(check=name, answer=CheckResult.NOT_CHECKED, what=what)
    return VerificationCheck(check=name, answer=CheckResult.VERIFIED)


def _sheet(files: Files, statement: Statement, earlier: Head) -> None:
    """This record continues the one whose head an earlier sheet printed."""
    head = statement.head
    leaves = objects_of(files, "data/leaves.jsonl")
    benches = {head.bench, *(leaf["identity"] for leaf in leaves if leaf["kind"] == "bench")}
    if earlier.bench not in benches:
        raise Wrong("statement.note", "the sheet is of another bench")
    if earlier.size > head.size:
        raise Wrong("data/head.note", f"{head.size} seals, the sheet says {earlier.size}: the record was cut off")
    if earlier.size == head.size:
        if not head.root.startswith(earlier.root):
            raise Wrong("data/head.note", "another root than the sheet's: the record was rewritten")
        return
    for says in objects_of(files, "data/earlier.jsonl"):
        if says.get("size") == earlier.size:
            old = bytes_of(says["root"])
            if not says["root"].startswith(earlier.root):
                raise Wrong("data/earlier.jsonl", "another root than the sheet's: the record was rewritten")
            if not is_beginning(earlier.size, old, head.size, bytes.fromhex(head.root), proof_path(says)):
                raise Wrong("data/earlier.jsonl", "the proof does not lead to the signed head")
            return
    raise Wrong("data/earlier.jsonl", "holds no proof for this sheet: ask for the file again with --earlier LINE")
