"""`meterlog audit`: reach everything again from the database alone."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import db_option, json_option, table


@click.command()
@json_option
@db_option
def audit(as_json: bool, db: Path) -> None:
    """Check every seal and recompute every reading, capture and verdict. Exit 1 if one differs.

    \b
    meterlog audit --db bench.db
    """
    from meterlog.store.audit import audit as findings
    from meterlog.store.audit import checked
    from meterlog.store.sqlite import DatabaseError, open_reader

    connection = open_reader(db)
    found = [
        {"where": finding.where, "what": finding.what, "remark": finding.remark} for finding in findings(connection)
    ]
    table(found, ("where", "what"), as_json)
    try:
        counts = checked(connection)
    except DatabaseError:
        click.echo("the file is damaged", err=True)
        raise SystemExit(1) from None
    finally:
        connection.close()
    said = f"{counts.seals} seals, {counts.readings} readings, {counts.captures} captures, {counts.verdicts} verdicts"
    grave = sum(not each["remark"] for each in found)
    others = len({each["where"] for each in found if each["remark"]})
    if others:
        click.echo(f"{others} verdicts of another version come out otherwise by this one: methods move on", err=True)
    click.echo(f"{said}; findings: {grave or 'none'}", err=True)
    if grave:
        raise SystemExit(1)
