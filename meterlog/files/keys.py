"""The key that signs a bench's heads and statements: a file of its own, outside the database, for this user alone.

A copied database must not carry it. `cryptography` (the extra `evidence`) is imported where something is signed.
"""

from __future__ import annotations

import importlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.files import places

if TYPE_CHECKING:
    from types import ModuleType

INSTALL = "install it with: pip install 'meterlog[evidence]'"


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchKey:
    """A bench's private key: 32 bytes. `public` are the 32 bytes that others check with."""

    secret: bytes
    public: bytes

    def sign(self, data: bytes) -> bytes:
        """The Ed25519 signature of data: 64 bytes."""
        signature: bytes = _ed25519().Ed25519PrivateKey.from_private_bytes(self.secret).sign(data)
        return signature


def key_path(bench: str) -> Path:
    """Where the key of a bench's identity lies."""
    return places.keys() / f"{bench}.key"


def has_key(bench: str) -> bool:
    """Whether a bench has a key here."""
    return key_path(bench).exists()


def key_of(bench: str) -> BenchKey:
    """The key of a bench; made when there is none. Raises: CannotDo."""
    path = key_path(bench)
    return read_key(path) if path.exists() else make(bench)


def make(bench: str) -> BenchKey:
    """A new key for a bench, kept for this user alone. Raises: CannotDo, also when there is one."""
    return _kept(bench, os.urandom(32))


def enter_key(bench: str, digits: str) -> BenchKey:
    """The key of a paper copy, 64 hex digits, as a bench's key. Raises: CannotDo, also when there is one."""
    try:
        secret = bytes.fromhex("".join(digits.split()))
    except ValueError:
        secret = b""
    if len(secret) != 32:
        raise CannotDo("a key is 64 digits, 0 to 9 and a to f", "type them as the paper copy shows them")
    return _kept(bench, secret)


def _kept(bench: str, secret: bytes) -> BenchKey:
    key = _key(secret)
    path = key_path(bench)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise CannotDo(f"{path} can't be made: {error.strerror}", "say where keys lie with METERLOG_KEYS") from None
    with os.fdopen(file, "w") as opened:
        opened.write(secret.hex() + "\n")
        opened.flush()
        os.fsync(opened.fileno())
    return key


def read_key(path: Path) -> BenchKey:
    """A key from its file. Raises: CannotDo when others may read it, or it is none."""
    try:
        text, mode = path.read_text(), stat.S_IMODE(path.stat().st_mode)
    except OSError as error:
        raise CannotDo(f"{path} can't be read: {error.strerror}") from None
    if mode & 0o077:
        raise CannotDo(f"others may read the key {path}", f"take that away with: chmod 600 {path}")
    try:
        return _key(bytes.fromhex(text.strip()))
    except ValueError:
        raise CannotDo(f"{path} holds no key", "put the 64 digits of the paper copy into it") from None


def set_aside(bench: str) -> Path | None:
    """Move a bench's key out of use, to a name of its own; answers where it lies now. None when there was none."""
    path = key_path(bench)
    if not path.exists():
        return None
    number = 1
    while (aside := path.with_suffix(f".old{number}")).exists():
        number += 1
    path.rename(aside)
    return aside


def check_signature(public: bytes, signature: bytes, data: bytes) -> bool | None:
    """Whether a signature is right; None when nothing here can tell."""
    try:
        ed25519 = _ed25519()
    except CannotDo:
        return None
    from cryptography.exceptions import InvalidSignature

    try:
        ed25519.Ed25519PublicKey.from_public_bytes(public).verify(signature, data)
    except (InvalidSignature, ValueError):
        return False
    return True


def _key(secret: bytes) -> BenchKey:
    private = _ed25519().Ed25519PrivateKey.from_private_bytes(secret)
    return BenchKey(secret=secret, public=private.public_key().public_bytes_raw())


def _ed25519() -> ModuleType:
    try:
        return importlib.import_module("cryptography.hazmat.primitives.asymmetric.ed25519")
    except ImportError:
        raise CannotDo("signing needs the library cryptography", INSTALL) from None
