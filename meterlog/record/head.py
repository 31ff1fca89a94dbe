"""The head of a record's log: how many commits there are and the root over them, as text that is printed and signed.

A head pins everything before it: a record that begins differently has another root. Its signed form
is a C2SP signed note (signed-note, tlog-checkpoint): origin, size, root, then a line with the signature.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.merkle import Tree, leaf_hash

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable

_DER_BEFORE_KEY = bytes.fromhex("302a300506032b6570032100")
"""What stands before the 32 bytes of an Ed25519 public key in its DER form: RFC 8410, section 4."""
_LINE = re.compile(r"meterlog-head ([0-9a-f]{32}) ([1-9][0-9]{0,15}) ([0-9a-f]{16,64}) ([0-9a-f]{64}|-)")
SHORTEST_ROOT = 16
"""Hex digits of a root that are enough to tell two records apart when a person types them."""
ED25519 = b"\x01"
"""The algorithm byte of a note's key id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """A bench's log at one moment: `root` over its first `size` seals, hex, or its first digits as somebody typed."""

    bench: str
    size: int
    root: str

    @property
    def origin(self) -> str:
        """The name of the log, and of the key that signs its heads."""
        return f"meterlog-bench-{self.bench}"

    @property
    def text(self) -> str:
        """The three lines of a checkpoint."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(bytes.fromhex(self.root)).decode()}\n"

    def sheet_line(self, fingerprint: str = "") -> str:
        """The line that is printed on a sheet, as text and as a QR code."""
        return f"meterlog-head {self.bench} {self.size} {self.root} {fingerprint or '-'}"


def head_of(bench: str, lines: Iterable[str]) -> Head:
    """The head over seals' header lines."""
    tree = tree_of(lines)
    return Head(bench=bench, size=tree.size, root=tree.root().hex())


def tree_of(lines: Iterable[str]) -> Tree:
    """The log's tree over seals' header lines."""
    return Tree([leaf_hash(line.encode()) for line in lines])


def differs_from(earlier: Head, benches: Collection[str], log: Tree) -> str:
    """How a record is not the one that an earlier head was made of; "" when it begins with just that.

    `benches` are the identities that the record went under.
    """
    if earlier.bench not in benches:
        return "the head is of another bench"
    if earlier.size > log.size:
        return f"the record has {log.size} seals, the head speaks of {earlier.size}: it was cut off"
    if not log.root(earlier.size).hex().startswith(earlier.root):
        return f"its first {earlier.size} seals are not those of the earlier head: it was rewritten"
    return ""


def read_sheet_line(text: str) -> tuple[Head, str]:
    """The head and the key's fingerprint ("" for none) of a line typed from a sheet. Raises: ValueError.

    Blanks may be typed as they come, and the root be cut short after its first 16 digits.
    """
    found = _LINE.fullmatch(" ".join(text.lower().split()))
    if found is None:
        raise ValueError("a head is a line: meterlog-head BENCH SIZE ROOT FINGERPRINT")
    bench, size, root, fingerprint = found.groups()
    return Head(bench=bench, size=int(size), root=root), "" if fingerprint == "-" else fingerprint


# ---- keys, without any library ----


def public_der(key: bytes) -> bytes:
    """A public key, 32 bytes, as SubjectPublicKeyInfo: RFC 8410."""
    return _DER_BEFORE_KEY + key


def fingerprint_of(key: bytes) -> str:
    """SHA-256 of a public key's DER form, hex: what stands on every sheet."""
    return hashlib.sha256(public_der(key)).hexdigest()


def public_pem(key: bytes) -> str:
    """A public key as openssl reads it."""
    body = base64.b64encode(public_der(key)).decode()
    return f"-----BEGIN PUBLIC KEY-----\n{body}\n-----END PUBLIC KEY-----\n"


def key_of_pem(text: str) -> bytes:
    """The 32 bytes of a public key in the one form that `public_pem` writes. Raises: ValueError."""
    lines = text.split("\n")
    try:
        der = base64.b64decode(lines[1], validate=True)
    except (IndexError, binascii.Error):
        raise ValueError("no public key") from None
    key = der[len(_DER_BEFORE_KEY) :]
    if len(key) != 32 or public_pem(key) != text:
        raise ValueError("no Ed25519 public key in its one form")
    return key


# ---- signed notes ----


def key_id(name: str, key: bytes) -> bytes:
    """Which key signed a note: the first 4 bytes of SHA-256(name ‖ 0x0A ‖ 0x01 ‖ key)."""
    return hashlib.sha256(name.encode() + b"\n" + ED25519 + key).digest()[:4]


def signed_note(text: str, name: str, key: bytes, signature: bytes) -> str:
    """A text, which ends with a line end, under the signature of a named key."""
    return f"{text}\n— {name} {base64.b64encode(key_id(name, key) + signature).decode()}\n"


def read_note(note: str, name: str, key: bytes) -> tuple[str, bytes]:
    """The text of a note and the signature under it. Raises: ValueError for any form but the one that is written."""
    text, separator, line = note.rpartition("\n\n— ")
    try:
        signature = base64.b64decode(line.rstrip("\n").rpartition(" ")[2], validate=True)[4:]
    except binascii.Error:
        raise ValueError("the line of the signature is no base64") from None
    text += "\n"
    if not separator or len(signature) != 64 or signed_note(text, name, key, signature) != note:
        raise ValueError("the note is not in its one form, or another key signed it")
    return text, signature


# ---- OpenSSH signatures (PROTOCOL.sshsig) ----

NAMESPACE = b"meterlog-evidence"


def _string(data: bytes) -> bytes:
    return len(data).to_bytes(4, "big") + data


def _ssh_key(key: bytes) -> bytes:
    return _string(b"ssh-ed25519") + _string(key)


def ssh_public(key: bytes) -> str:
    """A public key as a line for ssh-keygen's list of allowed signers; the signer is called `bench`."""
    return f"bench ssh-ed25519 {base64.b64encode(_ssh_key(key)).decode()}\n"


def ssh_signed_data(message: bytes) -> bytes:
    """The bytes that an OpenSSH signature over a message signs."""
    hashed = hashlib.sha512(message).digest()
    return b"SSHSIG" + _string(NAMESPACE) + _string(b"") + _string(b"sha512") + _string(hashed)


def ssh_signature(key: bytes, signature: bytes) -> str:
    """An Ed25519 signature over `ssh_signed_data` in OpenSSH's armour."""
    blob = b"SSHSIG" + (1).to_bytes(4, "big") + _string(_ssh_key(key)) + _string(NAMESPACE) + _string(b"")
    blob += _string(b"sha512") + _string(_string(b"ssh-ed25519") + _string(signature))
    text = base64.b64encode(blob).decode()
    lines = [text[at : at + 70] for at in range(0, len(text), 70)]
    return "\n".join(["-----BEGIN SSH SIGNATURE-----", *lines, "-----END SSH SIGNATURE-----", ""])


def read_ssh_signature(text: str, key: bytes) -> bytes:
    """The Ed25519 signature within OpenSSH's armour. Raises: ValueError for any form but the one that is written."""
    try:
        signature = base64.b64decode("".join(text.split("\n")[1:-2]), validate=True)[-64:]
    except binascii.Error:
        raise ValueError("no OpenSSH signature") from None
    if ssh_signature(key, signature) != text:
        raise ValueError("the OpenSSH signature is not in its one form, or another key made it")
    return signature
