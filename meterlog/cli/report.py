"""`meterlog report`: a job's sheets as files."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meterlog.cli.options import db_option

if TYPE_CHECKING:
    from meterlog.store.sqlite import Connection


@click.command()
@click.argument("ref")
@click.option("--evidence", is_flag=True, help="The evidence file with everything, instead of the hand-over sheet.")
@click.option("--pdf", is_flag=True, help="As PDF instead of HTML.")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), help="The file to write, - for stdout; left out, REF.html here."
)
@click.option(
    "--earlier", multiple=True, metavar="LINE", help="With a .zip: prove that an older sheet's head comes first."
)
@db_option
def report(ref: str, evidence: bool, pdf: bool, target: Path | None, earlier: tuple[str, ...], db: Path) -> None:
    """Write the hand-over sheet of job REF, or its evidence file: for reading, or (.zip) signed, for a stranger.

    \b
    meterlog report K-7 --pdf
    meterlog report K-7 --evidence --to K-7.zip
    """
    from meterlog.base.errors import CannotDo
    from meterlog.report import sheets
    from meterlog.store.reader import StoredRecord
    from meterlog.store.sqlite import open_reader

    kind = "evidence" if evidence else "handover"
    pdf = _is_pdf(target, evidence, pdf)
    with contextlib.closing(open_reader(db)) as connection:
        if evidence and target is not None and target.suffix == ".zip":
            content = _zip(connection, ref, earlier)
        else:
            reader = StoredRecord(connection)
            html = sheets.as_html((sheets.evidence if evidence else sheets.handover)(reader, ref))
            content = sheets.as_pdf(html) if pdf else html.encode()
    if target == Path("-"):
        click.echo(content, nl=False)
        return
    path = target or Path(f"{ref}-{kind}.{'pdf' if pdf else 'html'}".replace("/", "-"))
    try:
        path.write_bytes(content)
    except OSError as error:
        raise CannotDo(f"{path} can't be written: {error.strerror}", "choose another file with --to") from None
    click.echo(str(path))


def _is_pdf(target: Path | None, evidence: bool, pdf: bool) -> bool:
    """Whether a sheet is to be PDF. Raises: WrongValue, when the file's name says what it will not be."""
    from meterlog.base.errors import WrongValue

    ending = target.suffix.lower() if target else ""
    if ending == ".zip" and not evidence:
        raise WrongValue("a .zip is the evidence file\n  say so: --evidence")
    if ending in (".html", ".htm") and pdf:
        raise WrongValue(f"{target} would hold a PDF\n  name it .pdf, or leave --pdf out")
    if ending not in ("", ".html", ".htm", ".pdf", ".zip"):
        raise WrongValue(f"nothing is written as {ending!r}\n  name it .html or .pdf; the evidence file also .zip")
    return pdf or ending == ".pdf"


def _zip(connection: Connection, ref: str, earlier: tuple[str, ...]) -> bytes:
    """The signed evidence file of a job."""
    from meterlog.cli.verify import sheet_line
    from meterlog.daemon.clock import Clock
    from meterlog.report.bagfile import evidence_zip

    return evidence_zip(connection, ref, Clock().now().utc, [sheet_line(text)[0] for text in earlier])
