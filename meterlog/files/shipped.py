"""Where the profiles, procedures and recordings that come with meterlog lie, and how a user's file is found.

In the wheel they stand inside the package, in a checkout beside it.
"""

from __future__ import annotations

import contextlib
from pathlib import Path

from meterlog.base.errors import CannotDo
from meterlog.base.source import near_miss

_PACKAGE = Path(__file__).parents[1]


def folder(kind: str) -> Path:
    """The shipped folder, such as "profiles/procedures"."""
    inside = _PACKAGE / "shipped" / kind
    return inside if inside.is_dir() else _PACKAGE.parent / kind


def names(kind: str) -> list[str]:
    """The names that stand for a shipped YAML file of a kind, sorted."""
    return sorted(path.stem for path in folder(kind).glob("*.yaml"))


def find(reference: str, kind: str) -> Path:
    """The user's file of that path, else the shipped one of that name.

    Raises: CannotDo, when there is neither.
    """
    path = Path(reference)
    with contextlib.suppress(OSError, ValueError):  # too long for a path, or with a NUL: no file at any rate
        if path.is_file():
            return path
    if reference in names(kind):
        return folder(kind) / f"{reference}.yaml"
    raise CannotDo(
        f"there is no file {reference!r}, and nothing shipped has that name", near_miss(reference, names(kind))
    )


def text_of(path: Path) -> str:
    """The text of a file in UTF-8. Raises: CannotDo, when it cannot be read."""
    try:
        return path.read_bytes().decode()
    except OSError as error:
        raise CannotDo(f"{path} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError as error:
        raise CannotDo(f"{path} is no UTF-8 text: byte {error.start} is 0x{error.object[error.start]:02X}") from None
