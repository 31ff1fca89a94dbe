"""The evidence file on disk: one zipped folder, written so that the same evidence gives the same bytes."""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo, MeterlogError
from meterlog.files import keys
from meterlog.record.bag import evidence_files
from meterlog.report import sheets
from meterlog.store.export import job_evidence
from meterlog.store.reader import StoredRecord

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.record.head import Head
    from meterlog.store.sqlite import Connection

HOW_TO_CHECK = Path(__file__).with_name("VERIFY.txt")
MOMENT = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can say: when a file was made stands in its signed statement."""


def evidence_zip(db: Connection, ref: str, utc: str, earlier: Sequence[Head] = ()) -> bytes:
    """The evidence file of a job, signed with the bench's key, which is made if there is none.

    Raises: CannotDo when there is no such job, its rows were changed, or an earlier head is no beginning of the record.
    """
    sheet = replace(sheets.evidence(StoredRecord(db), ref), personal=(), photos=(), notes={})
    html = sheets.as_html(sheet)
    of = job_evidence(db, ref, html, HOW_TO_CHECK.read_text(encoding="utf-8"))
    try:
        files = evidence_files(of, keys.key_of(of.bench), utc, earlier)
    except ValueError as error:
        raise CannotDo(str(error), "see what differs with: meterlog audit --head") from None
    folder = "".join(letter if letter.isalnum() or letter in "-_." else "-" for letter in ref)
    return zipped(files, f"evidence-{folder}")


def zipped(files: Mapping[str, bytes], folder: str) -> bytes:
    """Files as a zip of one folder."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            info = zipfile.ZipInfo(f"{folder}/{name}", MOMENT)
            info.external_attr = 0o644 << 16
            archive.writestr(info, files[name], zipfile.ZIP_DEFLATED)
    return target.getvalue()


MOST_BYTES = 1_000_000_000
MOST_FILES = 10_000


def read_zip(path: Path) -> dict[str, bytes]:
    """The files of an evidence file by their names within its one folder.

    Raises: CannotDo when it can't be read; Suspicious when a name stands twice (in any case of letters), leads
    elsewhere or is a link, or when it unpacks to more than a bench could have written.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            names = _names(archive.infolist())
            return {name: archive.read(info) for name, info in names.items()}
    except OSError as error:
        hint = "give the .zip that meterlog report REF --evidence --to FILE.zip wrote"
        raise CannotDo(f"{path} can't be read: {error.strerror or error}", hint) from None
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, EOFError, zlib.error) as error:
        raise Suspicious(f"{path} is no whole evidence file: {error}") from None


def _names(entries: Sequence[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    if len(entries) > MOST_FILES or sum(entry.file_size for entry in entries) > MOST_BYTES:
        raise Suspicious("it unpacks to more than an evidence file holds")
    found: dict[str, zipfile.ZipInfo] = {}
    seen: set[str] = set()
    for entry in entries:
        folder, _, name = entry.filename.partition("/")
        parts = name.split("/")
        if not name or not folder or "\\" in entry.filename or any(part in ("", ".", "..") for part in parts):
            raise Suspicious(f"a name in it leads elsewhere: {entry.filename!r}")
        if entry.is_dir() or stat.S_ISLNK(entry.external_attr >> 16):
            raise Suspicious(f"{entry.filename!r} is no file")
        if entry.filename.casefold() in seen:
            raise Suspicious(f"the name {entry.filename!r} stands in it twice")
        seen.add(entry.filename.casefold())
        found[name] = entry
    if len({entry.filename.partition("/")[0] for entry in entries}) != 1:
        raise Suspicious("it holds more than one folder")
    return found


class Suspicious(MeterlogError):
    """An evidence file whose container could show different files to different readers."""

    exit_code = 1
