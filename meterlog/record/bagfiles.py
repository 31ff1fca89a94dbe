"""The files of an evidence file read strictly: lines that end, JSON without double keys, paths of hashes."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

T = TypeVar("T")
Files = Mapping[str, bytes]


class Wrong(Exception):
    """A check is false: where, and what is seen there."""

    def __init__(self, where: str, what: str) -> None:
        super().__init__(f"{where}: {what}")
        self.where, self.what = where, what


def file_text(files: Files, name: str) -> str:
    try:
        return files[name].decode()
    except UnicodeDecodeError:
        raise Wrong(name, "is no UTF-8") from None


def file_lines(files: Files, name: str) -> list[str]:
    text = file_text(files, name)
    if text and not text.endswith("\n"):
        raise Wrong(name, "its last line has no end")
    return text.split("\n")[:-1]


def objects_of(files: Files, name: str) -> list[Any]:
    """The JSON of each line of a file."""
    known = files.read if isinstance(files, ReadOnce) else {}
    if name not in known:
        lines = enumerate(file_lines(files, name), 1)
        known[name] = [_object(line, f"{name} line {number}") for number, line in lines]
    return known[name]


class ReadOnce(dict[str, bytes]):
    """Files whose lines, once read as JSON, are not read again."""

    def __init__(self, files: Files) -> None:
        super().__init__(files)
        self.read: dict[str, list[Any]] = {}


def _object(line: str, where: str) -> Any:
    """JSON in its one form: no blanks, no key twice, nothing escaped that need not be."""
    try:
        known = json.loads(line)
    except ValueError as error:
        raise Wrong(where, f"is no JSON: {error}") from None
    if json.dumps(known, ensure_ascii=False, separators=(",", ":")) != line:
        raise Wrong(where, "is not in its one form")
    return known


def proof_path(says: Mapping[str, Any]) -> list[bytes]:
    """The hashes of a proof's path."""
    try:
        path = [bytes_of(node) for node in says["path"]]
    except (ValueError, TypeError):
        raise Wrong("a proof", "its path is no list of hashes") from None
    return path


def bytes_of(digits: str) -> bytes:
    """Bytes of hex digits in their one form. Raises: ValueError."""
    made = bytes.fromhex(digits)
    if made.hex() != digits:
        raise ValueError("hex digits are 0 to 9 and a to f, without blanks")
    return made


def read(where: str, run: Callable[..., T], *of: Any) -> T:
    """What a reader makes of its arguments. Raises: Wrong, where they are not in their form."""
    try:
        return run(*of)
    except (ValueError, TypeError, KeyError) as error:
        raise Wrong(where, str(error)) from None
