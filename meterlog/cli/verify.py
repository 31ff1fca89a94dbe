"""`meterlog verify`: an evidence file checked from its bytes alone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from meterlog.cli.options import json_option, table

if TYPE_CHECKING:
    from meterlog.record.head import Head


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--sheet", "sheets", multiple=True, metavar="LINE", help="The head's line of an older hand-over sheet.")
@click.option(
    "--authority",
    type=click.Path(dir_okay=False, exists=True, path_type=Path),
    metavar="PEM",
    help="The certificates of who gave its time stamp; needs openssl.",
)
@json_option
def verify(file: Path, sheets: tuple[str, ...], authority: Path | None, as_json: bool) -> None:
    """Check the evidence file FILE: every line up to the signed head. Exit 1 if anything is false.

    \b
    meterlog verify evidence-K-7.zip --sheet "meterlog-head 4f… 512 9c… 21…"
    """
    from meterlog.files import keys
    from meterlog.record.verify import CheckResult
    from meterlog.record.verify import verify as checked
    from meterlog.report.bagfile import authority_of, read_zip

    by = authority_of(authority) if authority else None
    statement, found = checked(read_zip(file), keys.check_signature, [sheet_line(text) for text in sheets], by)
    rows = [{"check": c.check, "answer": str(c.answer), "where": c.where, "what": c.what} for c in found]
    table(rows, ("check", "answer", "where", "what"), as_json)
    if statement is not None:
        head = statement.head
        click.echo(f"job {statement.job}, {statement.leaves} leaves, made {statement.made}", err=True)
        click.echo(f"key {statement.fingerprint}\nhead {head.size} {head.root}", err=True)
    answers = {c.answer for c in found}
    if CheckResult.FALSE in answers:
        raise SystemExit(1)
    if any(c.answer is CheckResult.NOT_CHECKED and c.check == "signatures" for c in found):
        raise SystemExit(3)


def sheet_line(text: str) -> tuple[Head, str]:
    """A head's line as typed. Raises: CannotDo."""
    from meterlog.base.errors import CannotDo
    from meterlog.record.head import read_sheet_line

    try:
        return read_sheet_line(text)
    except ValueError as error:
        raise CannotDo(str(error), "type the line as the hand-over sheet prints it") from None
