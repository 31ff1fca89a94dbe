"""The evidence file of a job: one folder as RFC 8493 (BagIt) lays it out, that a stranger checks without this program.

    bagit.txt manifest-sha256.txt tagmanifest-sha256.txt VERIFY.txt
    statement.note statement.sig    what is signed, as a C2SP note and as an OpenSSH signature
    disclosures.txt photographs/    personal fields; each may be withheld by deleting its line or file
    data/leaves.jsonl               the job's leaves, and those of the texts, instruments, links and forms it rests on
    data/proofs.jsonl               for each leaf, in the same order: its seal, its place there, the path to its root
    data/seals.txt data/log.jsonl   header lines, and for each the path to the signed head
    data/chunks.jsonl forms.jsonl   bytes and readings, whose digests stand in the leaves
    data/texts/SHA256.yaml          profiles, procedures, instruments' facts
    data/head.note key.pem key.pub  the signed head and the public key, for openssl and for ssh-keygen
    data/earlier.jsonl              proofs that earlier heads are a beginning of this one
    data/record.html                the same for reading; it never says of itself that it is valid

What the leaves' fields are is told in `meterlog/record/LEAVES.md`.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from meterlog.base.seals import sha256_hex, with_content
from meterlog.record import head as heads
from meterlog.record.head import Head

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.base.merkle import Tree
    from meterlog.record.kept import PersonalField

STATEMENT_TYPE = "meterlog evidence 1"
BAGIT = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


class Signer(Protocol):
    """A private key at the edge."""

    @property
    def public(self) -> bytes: ...
    def sign(self, data: bytes) -> bytes: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class LeafProof:
    """A leaf with its place: in commit `seal`, number `place` of its `of` leaves, with the path to its root."""

    text: str
    seal: int
    place: int
    of: int
    path: tuple[bytes, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChunkLines:
    """A chunk's bytes, and the lines whose digests stand in its leaf (see `LEAVES.md`)."""

    chunk: int
    raw: bytes
    readings: Sequence[str]
    rest: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobEvidence:
    """All that is shown of a job. `forms` are the columns that make a form's digest, as texts, in their order.

    `how_to_check` is VERIFY.txt: how a stranger does it without this program.
    """

    job: str
    bench: str
    leaves: Sequence[LeafProof]
    seals: Mapping[int, str]
    log: Tree
    chunks: Sequence[ChunkLines]
    forms: Sequence[tuple[str, ...]]
    texts: Mapping[str, str]
    personal: Sequence[PersonalField]
    html: str
    how_to_check: str


def evidence_files(of: JobEvidence, key: Signer, utc: str, earlier: Sequence[Head] = ()) -> dict[str, bytes]:
    """The files of the bag by their names. `earlier` heads get the proof that this log continues them.

    Raises: ValueError when an earlier head is no beginning of this log: history was rewritten.
    """
    head = Head(bench=of.bench, size=of.log.size, root=of.log.root().hex())
    data = _payload(of, head, key, earlier)
    manifest = _manifest(data)
    tags = {"bagit.txt": BAGIT, "manifest-sha256.txt": manifest, "VERIFY.txt": of.how_to_check.encode()}
    tag_manifest = _manifest(tags)
    statement = statement_text(
        bench=of.bench,
        job=of.job,
        leaves=sum(json.loads(leaf.text).get("job") == of.job for leaf in of.leaves),
        head=head,
        files=sha256_hex(tag_manifest),
        utc=utc,
    )
    note = heads.signed_note(statement, head.origin, key.public, key.sign(statement.encode()))
    ssh = heads.ssh_signature(key.public, key.sign(heads.ssh_signed_data(statement.encode())))
    return {
        **data,
        **tags,
        "tagmanifest-sha256.txt": tag_manifest,
        "statement.note": note.encode(),
        "statement.sig": ssh.encode(),
        "disclosures.txt": "".join(disclosure_line(field) + "\n" for field in of.personal).encode(),
        **{f"photographs/{each.digest}": each.content for each in of.personal if each.content is not None},
    }


def statement_text(*, bench: str, job: str, leaves: int, head: Head, files: str, utc: str) -> str:
    """What is signed: what this is, of which job, how many leaves, up to which head, which files."""
    return (
        f"{STATEMENT_TYPE}\nbench {bench}\njob {job}\nleaves {leaves}\n"
        f"head {head.size} {head.root}\nfiles {files}\nmade {utc}\n"
    )


def disclosure_line(field: PersonalField) -> str:
    """A personal field as a line: JSON of salt (hex), name and the text that its digest is made over.

    The digest is SHA-256(salt ‖ name ‖ 0x00 ‖ text); a photograph's text ends with 0x00 and its bytes' SHA-256.
    """
    return _json([field.salt.hex(), field.name, with_content(field.value, field.content)])


def _payload(of: JobEvidence, head: Head, key: Signer, earlier: Sequence[Head]) -> dict[str, bytes]:
    signed_head = heads.signed_note(head.text, head.origin, key.public, key.sign(head.text.encode()))
    proofs = [
        {"seal": leaf.seal, "place": leaf.place, "of": leaf.of, "path": [node.hex() for node in leaf.path]}
        for leaf in of.leaves
    ]
    log = [{"seal": number, "path": [node.hex() for node in of.log.inclusion(number)]} for number in of.seals]
    chunks = [
        {"chunk": each.chunk, "raw": each.raw.hex(), "readings": each.readings, "rest": each.rest} for each in of.chunks
    ]
    return {
        "data/leaves.jsonl": _lines([leaf.text for leaf in of.leaves]),
        "data/proofs.jsonl": _lines([_json(each) for each in proofs]),
        "data/seals.txt": _lines(list(of.seals.values())),
        "data/log.jsonl": _lines([_json(each) for each in log]),
        "data/chunks.jsonl": _lines([_json(each) for each in chunks]),
        "data/forms.jsonl": _lines([_json(each) for each in of.forms]),
        **{f"data/texts/{sha256}.yaml": body.encode() for sha256, body in of.texts.items()},
        "data/earlier.jsonl": _lines([_json(_continues(of.log, each)) for each in earlier]),
        "data/head.note": signed_head.encode(),
        "data/key.pem": heads.public_pem(key.public).encode(),
        "data/key.pub": heads.ssh_public(key.public).encode(),
        "data/record.html": of.html.encode(),
    }


def _continues(log: Tree, earlier: Head) -> dict[str, Any]:
    """The proof that a log begins with an earlier head. Raises: ValueError when it does not."""
    differs = heads.differs_from(earlier, [earlier.bench], log)
    if differs:
        raise ValueError(differs)
    return {
        "size": earlier.size,
        "root": log.root(earlier.size).hex(),
        "path": [node.hex() for node in log.consistency(earlier.size)],
    }


def _manifest(files: Mapping[str, bytes]) -> bytes:
    return _lines([f"{sha256_hex(files[name])}  {name}" for name in sorted(files)])


def _lines(lines: Sequence[str]) -> bytes:
    return "".join(f"{line}\n" for line in lines).encode()


_json = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
