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
    found = [{"where": finding.where, "what": finding.what} for finding in findings(connection)]
    table(found, ("where", "what"), as_json)
    try:
        counts = checked(connection)
    except DatabaseError:
        click.echo("the file is damaged", err=True)
        raise SystemExit(1) from None
    finally:
        connection.close()
    said = f"{counts.seals} seals, {counts.readings} readings, {counts.captures} captures, {counts.verdicts} verdicts"
    click.echo(f"{said}; findings: {len(found) or 'none'}", err=True)
    if found:
        raise SystemExit(1)
