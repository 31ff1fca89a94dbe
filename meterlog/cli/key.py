"""`meterlog key`: the key that signs a bench's evidence; its paper copy; what to do when it is old, lost or stolen."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import db_option

WHYS = ("routine", "lost", "stolen")


@click.group()
def key() -> None:
    """The key that signs a bench's evidence files and heads."""


@key.command("show")
@db_option
def show(db: Path) -> None:
    """Its fingerprint, as sheets print it, and where it lies. It is made if there is none."""
    from meterlog.files import keys
    from meterlog.record.head import fingerprint_of

    bench = _bench(db)
    click.echo(fingerprint_of(keys.key_of(bench).public))
    click.echo(f"{keys.key_path(bench)}: for you alone, and in no database; keep a copy: meterlog key paper", err=True)


@key.command("paper")
@click.option(
    "--to", "target", type=click.Path(dir_okay=False, path_type=Path), required=True, help="The page to write."
)
@db_option
def paper(target: Path, db: Path) -> None:
    """Write a page with the key as 64 digits and a QR code: print it, lock it away, delete the file.

    \b
    meterlog key paper --to key.html
    """
    import os

    from meterlog.base.errors import CannotDo
    from meterlog.files import keys
    from meterlog.report.headline import key_page

    bench = _bench(db)
    try:
        file = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise CannotDo(f"{target} can't be made: {error.strerror}", "give a new name with --to") from None
    with os.fdopen(file, "w", encoding="utf-8") as opened:
        opened.write(key_page(bench, keys.key_of(bench)))
    click.echo(f"{target}: whoever reads it can sign as this bench", err=True)


@key.command("enter")
@db_option
def enter(db: Path) -> None:
    """Take the 64 digits of the paper copy, typed or read from its QR code, as this bench's key."""
    from meterlog.files import keys
    from meterlog.record.head import fingerprint_of

    digits = click.prompt("the 64 digits", hide_input=True)
    click.echo(fingerprint_of(keys.enter_key(_bench(db), digits).public))


@key.command("replace")
@click.option("--why", type=click.Choice(WHYS), required=True, help="Why the old one signs no more.")
@click.option("--since", default="", metavar="DAY", help="Stolen: since when it may be in other hands.")
@db_option
def replace(why: str, since: str, db: Path) -> None:
    """Make a new key, and keep as an act why. The daemon must be ended first.

    \b
    meterlog key replace --why stolen --since 2026-11-01
    """
    from meterlog.base.errors import CannotDo
    from meterlog.daemon.client import answers
    from meterlog.daemon.clock import Clock
    from meterlog.files import keys
    from meterlog.record.acts import ActKind
    from meterlog.record.head import fingerprint_of
    from meterlog.record.key_acts import Why, replaced, vouching
    from meterlog.store.writer import Writer

    if answers(db):
        raise CannotDo(f"a daemon writes {db}", "end it first: the act is kept by this command itself")
    bench = _bench(db)
    old = keys.key_of(bench) if keys.has_key(bench) else None
    if old is None and why != Why.LOST:
        raise CannotDo("there is no key to replace", "say that it is lost with: --why lost")
    now = Clock().now()
    writer = Writer(db, now)
    try:
        aside = keys.set_aside(bench)
        new = keys.make(bench)
        vouched = {}
        if old is not None and why == Why.ROUTINE:
            vouched = {"old_public": old.public, "signature": old.sign(vouching(bench, new.public))}
        facts = replaced(Why(why), fingerprint_of(old.public) if old else "", new.public, since=since, **vouched)
        writer.event(ActKind.KEY_REPLACED, now, facts, who="command line", whence="command line")
    finally:
        writer.close(now)
    click.echo(fingerprint_of(new.public))
    if aside is not None:
        click.echo(f"the old key lies in {aside}: delete it when you like", err=True)


def _bench(db: Path) -> str:
    """The identity that a record goes under. Raises: CannotDo."""
    from meterlog.store.reader import reading

    with reading(db) as reader:
        return reader.identities()[-1]
