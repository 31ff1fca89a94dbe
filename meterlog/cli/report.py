"""`meterlog report`: a job's sheets as files."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import db_option


@click.command()
@click.argument("ref")
@click.option("--evidence", is_flag=True, help="The evidence file with everything, instead of the hand-over sheet.")
@click.option("--pdf", is_flag=True, help="As PDF instead of HTML.")
@click.option(
    "--to", "target", type=click.Path(path_type=Path), help="The file to write, - for stdout; left out, REF.html here."
)
@db_option
def report(ref: str, evidence: bool, pdf: bool, target: Path | None, db: Path) -> None:
    """Write the hand-over sheet of job REF, or its evidence file.

    \b
    meterlog report K-7 --pdf
    """
    from meterlog.base.errors import CannotDo
    from meterlog.report import sheets
    from meterlog.store.sqlite import open_reader

    kind = "evidence" if evidence else "handover"
    connection = open_reader(db)
    try:
        card = sheets.evidence(connection, ref) if evidence else sheets.handover(connection, ref)
    finally:
        connection.close()
    html = sheets.as_html(kind, card)
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
