"""`meterlog audit`: reach everything again from the database alone."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from meterlog.cli.options import db_option, json_option, table
from meterlog.cli.verify import sheet_line

if TYPE_CHECKING:
    from meterlog.record.head import Head
    from meterlog.store.sqlite import Connection


@click.command()
@click.option("--head", "lines", multiple=True, metavar="LINE", help="The head's line of an older hand-over sheet.")
@click.option("--workshop", metavar="URL", help="Every bench of a workshop, from its server, in place of a database.")
@json_option
@db_option
def audit(lines: tuple[str, ...], workshop: str | None, as_json: bool, db: Path) -> None:
    """Check every seal and recompute every reading, capture and verdict. Exit 1 if one differs.

    \b
    meterlog audit --head "meterlog-head 4f… 512 9c… 21…"
    """
    if workshop is not None:
        _of_workshop(workshop, as_json)
        return
    from meterlog.store.audit import audit as findings
    from meterlog.store.audit import check_head, checked
    from meterlog.store.schema import KNOWN_VERSION
    from meterlog.store.sqlite import DatabaseError, open_reader

    connection = open_reader(db)
    heads = [sheet_line(line)[0] for line in lines]
    with contextlib.suppress(DatabaseError):  # a damaged file: said below
        heads += _printed_here(connection)
    compared = [finding for head in heads for finding in check_head(connection, head)]
    found = [
        {"where": finding.where, "what": finding.what, "remark": finding.remark}
        for finding in (*compared, *findings(connection))
    ]
    table(found, ("where", "what"), as_json)
    try:
        counts = checked(connection)
    except DatabaseError:
        click.echo("the file is damaged", err=True)
        raise SystemExit(1) from None
    finally:
        connection.close()
    said = f"{counts.seal} seals, {counts.reading} readings, {counts.capture} captures, {counts.verdict} verdicts"
    if counts.layout < KNOWN_VERSION:
        click.echo(f"an older record (layout {counts.layout}): what it did not seal yet is not looked at", err=True)
    grave = sum(not each["remark"] for each in found)
    others = len({each["where"] for each in found if each["remark"]})
    if others:
        click.echo(f"{others} verdicts of another version come out otherwise by this one: methods move on", err=True)
    if not heads:
        click.echo("not compared with any earlier head: --head takes the line of an older hand-over sheet", err=True)
    elif not compared:
        given = [f"its first {head.size} seals are those of the head given" for head in heads[: len(lines)]]
        kept = len(heads) - len(lines)
        given += [f"it begins as {kept} heads of sheets shown here say"] if kept else []
        click.echo(", ".join(given), err=True)
    click.echo(f"{said}; findings: {grave or 'none'}", err=True)
    if grave:
        raise SystemExit(1)


def _printed_here(connection: Connection) -> list[Head]:
    """The heads of sheets that this user was shown, which the record must begin with."""
    from meterlog.files import heads
    from meterlog.record.head import read_sheet_line
    from meterlog.store.audit import must_begin_with
    from meterlog.store.reader import StoredRecord
    from meterlog.store.sqlite import DatabaseError

    printed = []
    try:
        for bench in StoredRecord(connection).identities():
            for line in heads.printed(bench):
                try:
                    printed.append(read_sheet_line(line)[0])
                except ValueError:
                    click.echo(f"{heads.path_of(bench)} holds a line that is no head: {line!r}", err=True)
        return must_begin_with(connection, printed)
    except DatabaseError:
        return []  # of a damaged file the audit itself tells


def _of_workshop(url: str, as_json: bool) -> None:
    from meterlog.workshop.audit import audit_workshop

    found = [{"where": f.where, "what": f.what, "remark": f.remark} for f in audit_workshop(url)]
    table(found, ("where", "what"), as_json)
    grave = sum(not each["remark"] for each in found)
    click.echo(f"findings: {grave or 'none'}; what a bench has not sent, nobody here can know", err=True)
    if grave:
        raise SystemExit(1)
