"""The record's head on a sheet: one line of text, and the same as a QR code, so that paper pins what came before.

Each line that is shown is also kept here, outside the database, for the audit to hold the record against.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.files import heads, keys
from meterlog.record.head import fingerprint_of, head_of

if TYPE_CHECKING:
    from meterlog.record.reader import RecordReader


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The record's head as one line of text, and as a QR code (SVG)."""

    line: str
    qr: str


def headline(reader: RecordReader) -> Headline | None:
    """The record's head now; None when nothing is committed yet."""
    lines = list(reader.seals())
    if not lines:
        return None
    bench = reader.identities()[-1]
    line = head_of(bench, lines).sheet_line(_fingerprint(bench))
    heads.remember(bench, line)
    return Headline(line=line, qr=qr_svg(line))


def _fingerprint(bench: str) -> str:
    """The fingerprint of the bench's key, made at its first use; "" where nothing here can sign."""
    try:
        return fingerprint_of(keys.key_of(bench).public)
    except CannotDo:
        return ""


def qr_svg(text: str) -> str:
    """A text as a QR code: an SVG to put into a page."""
    import segno

    target = io.BytesIO()
    segno.make(text, error="m").save(
        target, kind="svg", xmldecl=False, svgns=False, scale=1, border=2, svgclass="qr", lineclass=None, omitsize=True
    )
    return target.getvalue().decode()


def key_page(bench: str, key: keys.BenchKey) -> str:
    """The paper copy of a bench's key: 64 digits in fours, and a QR code. One page that needs no other file."""
    digits = " ".join(key.secret.hex()[at : at + 4] for at in range(0, 64, 4))
    return (
        "<!DOCTYPE html><html lang=en><meta charset=utf-8><title>Key of a bench</title>"
        "<style>body{font:14pt/1.5 monospace;margin:2cm}svg{width:5cm;height:5cm}</style>"
        f"<h1>Key of bench {bench}</h1><p>Whoever reads this can sign as this bench. Lock it away; delete the file."
        f"<p>{digits}<p>{qr_svg(key.secret.hex())}<p>fingerprint {fingerprint_of(key.public)}"
        "<p>To take it up again: meterlog key enter"
    )
