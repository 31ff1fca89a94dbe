"""The parts of an evidence file, each checked: its files, leaves, numbers, bytes, texts, personal fields, proofs."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from meterlog.base.merkle import is_beginning, leaf_hash, root_from_inclusion
from meterlog.base.seals import Seal, digest, leaf_text, lines_digest, read_line, sha256_hex
from meterlog.record.bag import BAGIT
from meterlog.record.bagfiles import (
    Files,
    Wrong,
    bytes_of,
    file_lines,
    objects_of,
    proof_path,
    read,
)

if TYPE_CHECKING:
    from meterlog.record.head import Head

TAGS = ("VERIFY.txt", "bagit.txt", "manifest-sha256.txt")
SIGNED = (*TAGS, "tagmanifest-sha256.txt", "statement.note", "statement.sig")
PAYLOAD = (
    "chunks.jsonl", "earlier.jsonl", "forms.jsonl", "head.note", "key.pem", "key.pub", "leaves.jsonl", "log.jsonl",
    "proofs.jsonl", "record.html", "seals.txt",
)  # fmt: skip
STAMP = "head.tsr"
"""A reply of a time-stamp authority (RFC 3161) over data/head.note, fetched by hand and put beside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """What an evidence file states under its signature."""

    head: Head
    job: str
    leaves: int
    files: str
    made: str
    fingerprint: str


# ---- files ----


def _files(files: Files, statement: Statement) -> None:
    if sha256_hex(files["tagmanifest-sha256.txt"]) != statement.files:
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
    for line in file_lines(files, name):
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
        if sha256_hex(files[path]) != listed[path]:
            raise Wrong(path, "its bytes were changed")


# ---- leaves up to the head ----


def _leaves(files: Files, statement: Statement) -> None:
    lines, leaves = file_lines(files, "data/leaves.jsonl"), objects_of(files, "data/leaves.jsonl")
    proofs = objects_of(files, "data/proofs.jsonl")
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
        root = root_from_inclusion(leaf_hash(line.encode()), says["place"], says["of"], proof_path(says))
        if root is None or root.hex() != seal.root:
            raise Wrong(where, f"is not what seal {seal.number} closed over")


def _seals(files: Files, statement: Statement) -> dict[int, Seal]:
    """The seals of the file by their number, each proved up to the signed head."""
    lines, log = file_lines(files, "data/seals.txt"), objects_of(files, "data/log.jsonl")
    if len(lines) != len(log):
        raise Wrong("data/log.jsonl", f"{len(log)} paths for {len(lines)} seals")
    seals: dict[int, Seal] = {}
    last = -1
    for number, (line, says) in enumerate(zip(lines, log, strict=True), 1):
        where = f"data/seals.txt line {number}"
        seal = read(where, read_line, line)
        if seal.line != line or seal.number <= last:
            raise Wrong(where, "the seal is not in its one form, or out of order")
        last = seal.number
        if says.get("seal") != seal.number or set(says) != {"seal", "path"}:
            raise Wrong(f"data/log.jsonl line {number}", "is of another seal")
        root = root_from_inclusion(leaf_hash(line.encode()), seal.number, statement.head.size, proof_path(says))
        if root is None or root.hex() != statement.head.root:
            raise Wrong(where, "does not lead to the signed head")
        seals[seal.number] = seal
    return seals


def _numbers(files: Files, statement: Statement) -> None:
    """A job's leaves are numbered from 0: one that was left out leaves a hole, or their count differs."""
    own = [leaf for leaf in objects_of(files, "data/leaves.jsonl") if leaf.get("job") == statement.job]
    numbers = [leaf["n"] for leaf in own]
    for expected, seen in enumerate(numbers):
        if seen != expected:
            raise Wrong("data/leaves.jsonl", f"leaf {expected} of job {statement.job} is not there")
    if len(numbers) != statement.leaves:
        raise Wrong("data/leaves.jsonl", f"{len(numbers)} leaves of job {statement.job}, {statement.leaves} stated")
    others = {leaf["job"] for leaf in objects_of(files, "data/leaves.jsonl") if "job" in leaf} - {statement.job}
    if others:
        raise Wrong("data/leaves.jsonl", f"holds leaves of another job: {sorted(others)[0]}")


def _chunks(files: Files, _: Statement) -> None:
    leaves = {leaf["chunk"]: leaf for leaf in objects_of(files, "data/leaves.jsonl") if leaf["kind"] == "readings"}
    seen: set[int] = set()
    last = -1
    for number, chunk in enumerate(objects_of(files, "data/chunks.jsonl"), 1):
        where = f"data/chunks.jsonl line {number}"
        leaf = leaves.get(chunk.get("chunk", -1))
        if leaf is None or chunk["chunk"] <= last or set(chunk) != {"chunk", "raw", "readings", "rest"}:
            raise Wrong(where, "belongs to no leaf of this file, or is out of order")
        seen.add(chunk["chunk"])
        last = chunk["chunk"]
        raw = read(where, bytes_of, chunk["raw"])
        now = {"raw": sha256_hex(raw), "readings": lines_digest(chunk["readings"]), "rest": lines_digest(chunk["rest"])}
        for part, made in now.items():
            if leaf[part] != made:
                raise Wrong(where, f"its {part} are not those under the leaf")
        if len(chunk["readings"]) != leaf["count"]:
            raise Wrong(where, f"{len(chunk['readings'])} readings, {leaf['count']} under the leaf")
    missing = sorted(set(leaves) - seen)
    if missing:
        raise Wrong("data/chunks.jsonl", f"chunk {missing[0]} is not there")


def _texts_and_forms(files: Files, _: Statement) -> None:
    leaves = objects_of(files, "data/leaves.jsonl")
    known = {name.removeprefix("data/texts/").removesuffix(".yaml") for name in files if name.startswith("data/texts/")}
    for sha256 in sorted(known):
        name = f"data/texts/{sha256}.yaml"
        if name not in files or sha256_hex(files[name]) != sha256:
            raise Wrong(name, "its bytes do not give its name")
    named = {leaf["text"] for leaf in leaves if leaf["kind"] == "text"}
    wanted = {leaf[part] for leaf in leaves for part in ("procedure", "profile", "facts") if part in leaf}
    wanted = {each for each in wanted if re.fullmatch("[0-9a-f]{64}", each)}
    for sha256 in sorted(known ^ named | wanted - known):
        raise Wrong(f"data/texts/{sha256}.yaml", "is not there, or no leaf speaks of it")
    forms = [sha256_hex("\x00".join(form).encode()) for form in objects_of(files, "data/forms.jsonl")]
    sealed = [leaf["form"] for leaf in leaves if leaf["kind"] == "form"]
    if forms != sealed:
        raise Wrong("data/forms.jsonl", "its forms are not those under the leaves")
    short = {each[:16] for each in forms}
    for chunk in objects_of(files, "data/chunks.jsonl"):
        for line in chunk["readings"]:
            if line.split(" ")[2] not in short:
                raise Wrong("data/forms.jsonl", f"the form of reading {line.split(' ')[0]} is not there")


# ---- personal fields ----


def _personal(files: Files, _: Statement) -> None:
    """Every disclosed field fits a digest under a leaf. Those that are withheld are no finding."""
    sealed = set()
    for leaf in objects_of(files, "data/leaves.jsonl"):
        sealed |= set(re.findall("[0-9a-f]{64}", leaf.get("digests", "") + (leaf["facts"] if _names(leaf) else "")))
    shown, photographs = set(), set()
    for number, line in enumerate(file_lines(files, "disclosures.txt") if "disclosures.txt" in files else [], 1):
        where = f"disclosures.txt line {number}"
        salt, name, text = read(where, _disclosed, line)
        made = digest(salt, name, text)
        if made not in sealed or made in shown:
            raise Wrong(where, "fits no digest under the leaves, or stands there twice")
        shown.add(made)
        if "\x00" in text:
            photographs.add(made)
            picture = files.get(f"photographs/{made}")
            if picture is not None and sha256_hex(picture) != text.rpartition("\x00")[2]:
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
    return bytes_of(salt), name, text


def _earlier(files: Files, statement: Statement) -> None:
    """Every proof that the file carries itself leads to the signed head."""
    root = bytes.fromhex(statement.head.root)
    for number, says in enumerate(objects_of(files, "data/earlier.jsonl"), 1):
        old = bytes_of(says["root"])
        if not is_beginning(says["size"], old, statement.head.size, root, proof_path(says)):
            raise Wrong(f"data/earlier.jsonl line {number}", "the proof does not lead to the signed head")


PARTS: dict[str, Callable[[Files, Statement], None]] = {
    "files": _files,
    "leaves": _leaves,
    "numbers": _numbers,
    "bytes and readings": _chunks,
    "texts and forms": _texts_and_forms,
    "personal fields": _personal,
    "proofs of earlier heads": _earlier,
}
"""Every check of a part by its name, in the order in which they are told."""
