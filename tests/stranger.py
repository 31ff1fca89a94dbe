"""A verifier of evidence files that shares no code with the program: hashlib, json, base64 and an Ed25519 check.

Written from meterlog/record/LEAVES.md and VERIFY.txt alone. Answers a list of what is wrong, in words.
"""

import base64
import hashlib
import json

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.serialization import load_pem_public_key


def sha(data):
    return hashlib.sha256(data).hexdigest()


def tree_hash(leaves):
    """RFC 9162, 2.1.1, by its definition."""
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while 2 * k < len(leaves):
        k *= 2
    return hashlib.sha256(b"\x01" + tree_hash(leaves[:k]) + tree_hash(leaves[k:])).digest()


def climb(hashed, index, size, path):
    """The root by a path, by walking the definition down: which side of each split the leaf is on."""
    sides, low, high = [], 0, size
    while high - low > 1:
        k = 1
        while 2 * k < high - low:
            k *= 2
        left = index < low + k
        sides.append(left)
        low, high = (low, low + k) if left else (low + k, high)
    if len(sides) != len(path):
        return b""
    for left, sibling in zip(reversed(sides), path, strict=True):
        hashed = hashlib.sha256(b"\x01" + (hashed + sibling if left else sibling + hashed)).digest()
    return hashed


def wrong(files):
    """Everything that is wrong with an evidence file: its files by name."""
    found = []
    note = files["statement.note"].decode()
    text, _, line = note.partition("\n\n")
    text += "\n"
    says = dict(row.partition(" ")[::2] for row in text.splitlines()[1:])
    key = load_pem_public_key(files["data/key.pem"])
    try:
        key.verify(base64.b64decode(line.split()[-1])[4:], text.encode())
    except InvalidSignature:
        found.append("signature")
    if says["files"] != sha(files["tagmanifest-sha256.txt"]):
        found.append("tag manifest")
    for name in ("tagmanifest-sha256.txt", "manifest-sha256.txt"):
        for row in files[name].decode().splitlines():
            digest, _, path = row.partition("  ")
            if path not in files or sha(files[path]) != digest:
                found.append(f"file {path}")
    listed = {row.partition("  ")[2] for row in files["manifest-sha256.txt"].decode().splitlines()}
    found += [f"unlisted {name}" for name in files if name.startswith("data/") and name not in listed]
    size, root = says["head"].split()

    def rows(name):
        return files[name].decode().splitlines()

    seals = {}
    for line, path in zip(rows("data/seals.txt"), map(json.loads, rows("data/log.jsonl")), strict=True):
        number = int(line.split()[3])
        hashed = hashlib.sha256(b"\x00" + line.encode()).digest()
        if climb(hashed, number, int(size), [bytes.fromhex(n) for n in path["path"]]).hex() != root:
            found.append(f"seal {number}")
        seals[number] = line.split()
    leaves = [json.loads(line) for line in rows("data/leaves.jsonl")]
    for line, proof in zip(rows("data/leaves.jsonl"), map(json.loads, rows("data/proofs.jsonl")), strict=True):
        hashed = hashlib.sha256(b"\x00" + line.encode()).digest()
        made = climb(hashed, proof["place"], proof["of"], [bytes.fromhex(n) for n in proof["path"]])
        if made.hex() != seals[proof["seal"]][5] or str(proof["of"]) != seals[proof["seal"]][9]:
            found.append(f"leaf {line[:60]}")
    own = [leaf["n"] for leaf in leaves if leaf.get("job") == says["job"]]
    if own != list(range(int(says["leaves"]))):
        found.append("a leaf was left out")
    chunks = {chunk["chunk"]: chunk for chunk in map(json.loads, rows("data/chunks.jsonl"))}
    for leaf in leaves:
        if leaf["kind"] == "readings":
            chunk = chunks.pop(leaf["chunk"], None)
            made = chunk and (
                sha(bytes.fromhex(chunk["raw"])), sha("\n".join(chunk["readings"]).encode()),
                sha("\n".join(chunk["rest"]).encode()),
            )  # fmt: skip
            if made != (leaf["raw"], leaf["readings"], leaf["rest"]):
                found.append(f"chunk {leaf['chunk']}")
        if leaf["kind"] == "text" and sha(files.get(f"data/texts/{leaf['text']}.yaml", b"")) != leaf["text"]:
            found.append(f"text {leaf['name']}")
    found += [f"chunk {number} has no leaf" for number in chunks]
    named = "".join(leaf.get("digests", "") + str(leaf.get("facts", "")) for leaf in leaves)
    for line in files.get("disclosures.txt", b"").decode().splitlines():
        salt, name, value = json.loads(line)
        made = sha(bytes.fromhex(salt) + name.encode() + b"\x00" + value.encode())
        if made not in named:
            found.append(f"field {name}")
    return found
