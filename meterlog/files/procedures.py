"""The procedures that a job can follow: those that come with meterlog, and the user's own in one folder.

An own one goes before a shipped one of the same name.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base.errors import MeterlogError, WrongText
from meterlog.files import places, shipped
from meterlog.procedure.language import read_procedure

if TYPE_CHECKING:
    from meterlog.procedure.steps import Procedure

KIND = "profiles/procedures"


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferedProcedure:
    """A procedure that a job can be opened under; `procedure` is None of an own one that can't be read, with `why`."""

    key: str
    path: Path
    is_own: bool
    procedure: Procedure | None
    why: str = ""

    @property
    def title(self) -> str:
        """What it is called where one is chosen: an own one says so."""
        title = self.procedure.title if self.procedure else self.key
        return f"{title} (your own)" if self.is_own else title


def own() -> dict[str, Path]:
    """The user's own procedure files by name; those whose name is one."""
    return {path.stem: path for path in sorted(places.procedures().glob("*.yaml")) if path.is_file()}


def procedure_path(reference: str) -> Path:
    """The user's file of that path, else an own procedure of that name, else a shipped one.

    Raises: CannotDo, when there is none.
    """
    if reference in own() and not Path(reference).is_file():
        return own()[reference]
    return shipped.find(reference, KIND)


def procedure_of(reference: str) -> Procedure:
    """The procedure of a path or a name. Raises: CannotDo when there is none; WrongText."""
    path = procedure_path(reference)
    return read_procedure(shipped.text_of(path), str(path))


def offered() -> list[OfferedProcedure]:
    """All that can be chosen, by title: the user's own, and what is shipped under other names."""
    mine = own()
    paths = {name: shipped.folder(KIND) / f"{name}.yaml" for name in shipped.names(KIND)} | mine
    found = (_offer(name, path, is_own=name in mine) for name, path in paths.items())
    return sorted(found, key=lambda each: each.title)


def offer(key: str) -> OfferedProcedure | None:
    """What can be chosen under a name; None when there is none: a path from a browser is never opened."""
    mine = own()
    if key not in mine and key not in shipped.names(KIND):
        return None
    return _offer(key, mine.get(key, shipped.folder(KIND) / f"{key}.yaml"), is_own=key in mine)


def _offer(key: str, path: Path, *, is_own: bool) -> OfferedProcedure:
    try:
        known = _read(path, path.stat().st_mtime_ns)
    except (MeterlogError, OSError) as error:
        why = f"{len(error.problems)} problems" if isinstance(error, WrongText) else str(error).splitlines()[0]
        return OfferedProcedure(key=key, path=path, is_own=is_own, procedure=None, why=why)
    return OfferedProcedure(key=key, path=path, is_own=is_own, procedure=known)


@lru_cache(maxsize=256)
def _read(path: Path, changed_ns: int) -> Procedure:
    """The procedure of a file as it was when it was changed last."""
    return read_procedure(shipped.text_of(path), path.stem)
