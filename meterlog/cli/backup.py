"""`meterlog backup` and `meterlog restore`: copies of a record, and a record taken up from one."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import db_option


@click.command()
@click.argument("target", type=click.Path(dir_okay=False, path_type=Path))
@db_option
def backup(target: Path, db: Path) -> None:
    """Copy the whole record into the new file TARGET; the daemon may go on meanwhile. Prints the copy's head.

    \b
    meterlog backup /media/stick/bench-2026-11-29.db
    """
    from meterlog.store.backup import backup as copied

    head = copied(db, target)
    click.echo(head.sheet_line())
    click.echo(f"{target}: {head.size} seals. Check it with: meterlog audit --db {target}", err=True)


@click.command()
@click.argument("copy", type=click.Path(dir_okay=False, path_type=Path))
@db_option
def restore(copy: Path, db: Path) -> None:
    """Take the record up from COPY, in a new database: it goes on under an identity of its own.

    \b
    meterlog restore /media/stick/bench-2026-11-29.db --db bench.db
    """
    from meterlog.daemon.clock import Clock
    from meterlog.store.backup import restore as taken_up

    restored = taken_up(copy, db, Clock().now(), "command line")
    click.echo(restored.bench)
    said = f"{db} goes on as bench {restored.bench[:8]}…, from the copy of bench {restored.head.bench[:8]}…"
    click.echo(f"{said} at {restored.head.size} seals; the copy stays as it is", err=True)
