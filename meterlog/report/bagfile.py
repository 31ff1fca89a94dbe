"""The evidence file on disk: one zipped folder, written so that the same evidence gives the same bytes."""

from __future__ import annotations

import hashlib
import io
import stat
import subprocess
import tempfile
import zipfile
import zlib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo, MeterlogError
from meterlog.files import keys
from meterlog.record.bag import evidence_files
from meterlog.record.bagparts import STAMP
from meterlog.record.stamp import read_answer
from meterlog.report import sheets
from meterlog.store.export import job_evidence
from meterlog.store.reader import StoredRecord

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from meterlog.record.head import Head
    from meterlog.record.stamp import Stamp
    from meterlog.record.verify import Authority
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


def stamped(path: Path, answer: Path) -> str:
    """Put an authority's answer into an evidence file; answers the time that it says.

    Raises: CannotDo, when it is no answer, is of another head, or there is one already.
    """
    files = read_zip(path)
    try:
        said = answer.read_bytes()
        stamp = read_answer(said)
    except OSError as error:
        raise CannotDo(f"{answer} can't be read: {error.strerror}") from None
    except ValueError as error:
        raise CannotDo(f"{answer}: {error}", "give the file that the authority answered with") from None
    if stamp.digest != hashlib.sha256(files.get("data/head.note", b"")).digest():
        raise CannotDo(f"{answer} is of another head", "ask anew with: meterlog stamp request FILE.zip --to FILE.tsq")
    if STAMP in files:
        raise CannotDo(f"{path} has a time stamp already", "attach this one to another copy")
    with zipfile.ZipFile(path) as archive:
        folder = archive.namelist()[0].partition("/")[0]
    making = path.with_name(f".{path.name}.making")
    try:
        making.write_bytes(zipped({**files, STAMP: said}, folder))
        making.replace(path)
    except OSError as error:
        raise CannotDo(f"{path} can't be written: {error.strerror}") from None
    return stamp.time


def authority_of(certificates: Path) -> Authority:
    """An authority by its certificates (PEM), as openssl judges it at the time of the stamp."""

    def signed(data: bytes, answer: bytes, stamp: Stamp) -> bool | None:
        at = datetime.strptime(stamp.time.partition(".")[0].rstrip("Z"), "%Y%m%d%H%M%S").replace(tzinfo=UTC)
        with tempfile.TemporaryDirectory() as folder:
            stamped, answered = Path(folder) / "head.note", Path(folder) / STAMP
            stamped.write_bytes(data)
            answered.write_bytes(answer)
            command = ["openssl", "ts", "-verify", "-data", stamped, "-in", answered, "-CAfile", certificates]
            command += ["-attime", str(int(at.timestamp()))]
            try:
                done = subprocess.run([*map(str, command)], capture_output=True, check=False)
            except OSError:
                return None
        return done.returncode == 0

    return signed


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
