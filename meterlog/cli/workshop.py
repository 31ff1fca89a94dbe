"""`meterlog workshop`: make one, join it, see which bench holds what, bring one bench here in whole."""

from __future__ import annotations

import os
from dataclasses import asdict
from pathlib import Path

import click

from meterlog.base.errors import CannotDo
from meterlog.cli.options import db_option, json_option, table


@click.group()
def workshop() -> None:
    """Several benches in one PostgreSQL: each sends what it keeps, and stays whole by itself.

    Example: meterlog workshop init postgresql:///workshop
    """


@workshop.command()
@click.argument("url")
def init(url: str) -> None:
    """Make the tables and rights on a PostgreSQL that you own, or bring them up to date.

    Example: meterlog workshop init postgresql:///workshop
    """
    from meterlog.workshop import server

    click.echo(f"a workshop of layout {server.init(url)}", err=True)


@workshop.command()
@click.argument("url")
@click.option("--label", required=True, help="What this bench is called in the workshop.")
@click.option("--anew", is_flag=True, help="A new password, where the address was lost.")
@db_option
def join(url: str, label: str, anew: bool, db: Path) -> None:
    """Give this bench a login of its own, with the owner's URL, and keep its address beside the database.

    Example: meterlog workshop join postgresql:///workshop --label "bench by the window"
    """
    from meterlog.workshop import server

    identity = server.identity_in(db)
    address = server.give_anew(url, identity) if anew else server.join(url, identity, label)
    keep_address(address_of(db), address)
    click.echo(f"joined; the address is kept in {address_of(db)}. Send with: meterlog send --db {db}", err=True)


def address_of(db: Path) -> Path:
    """Where a bench keeps the address that it sends with."""
    return db.with_name(db.name + ".workshop")


def keep_address(path: Path, address: str) -> None:
    """Write an address that holds a password: for its owner's eyes alone."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            os.fchmod(out.fileno(), 0o600)
            out.write(address + "\n")
    except OSError as error:
        raise CannotDo(f"cannot write {path}: {error.strerror}") from None


@workshop.command(name="list")
@click.argument("url")
@json_option
def list_(url: str, as_json: bool) -> None:
    """List the benches: how far each has sent, when it was heard last, and what is known to be missing.

    Example: meterlog workshop list postgresql:///workshop
    """
    from meterlog.workshop.address import connect
    from meterlog.workshop.overview import benches

    with connect(url, autocommit=True) as server:
        rows = [{**asdict(bench), "missing": bench.missing} for bench in benches(server)]
    table(rows, ("label", "jobs", "newest", "heard", "missing", "identity"), as_json)


@workshop.command()
@click.argument("url")
@click.argument("label")
@click.option("--to", "to", type=click.Path(path_type=Path), required=True, help="The new database.")
def fetch(url: str, label: str, to: Path) -> None:
    """Bring one bench's record here in whole, from its unbroken line of commits, to audit or look at.

    Example: meterlog workshop fetch postgresql:///workshop "bench by the window" --to window.db
    """
    from meterlog.workshop.address import connect
    from meterlog.workshop.overview import benches
    from meterlog.workshop.rebuild import rebuild

    if to.exists():
        raise CannotDo(f"{to} is there already", "give another name")
    with connect(url, autocommit=True) as server:
        found = [bench for bench in benches(server) if label in (bench.label, bench.identity)]
        if len(found) != 1:
            raise CannotDo(f"{len(found)} benches are called {label!r}", "list them with: meterlog workshop list URL")
        gaps = rebuild(server, found[0].identity, to)
    for gap in gaps:
        click.echo(f"commit {gap.number}: {gap.why}", err=True)
    click.echo(f"{to}: the record of {label}, to be read; it goes on at its own bench", err=True)
