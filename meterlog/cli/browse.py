"""`meterlog browse`: the record in a browser, read-only; works with or without a running daemon."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from meterlog.cli.options import db_option

if TYPE_CHECKING:
    from pathlib import Path


@click.command()
@db_option
@click.option("--port", type=click.IntRange(0, 65535), help="The port; left out, 8372 or a free one.")
@click.option("--lan", is_flag=True, help="Let a phone on the network in, by a code shown here.")
@click.option("--no-open", is_flag=True, help="Open no browser.")
@click.option("--workshop", metavar="URL", help="All benches of a workshop, from its server, in place of a database.")
@click.pass_context
def browse(ctx: click.Context, db: Path, port: int | None, lan: bool, no_open: bool, workshop: str | None) -> None:
    """Show jobs, captures and verdicts in a browser, from a database that is only read.

    \b
    Example:
      meterlog browse --lan
    """
    from meterlog.store.sqlite import open_reader
    from meterlog.web import serve

    db = db if workshop is None else _mirror_of(workshop)
    is_first = workshop is None and not db.exists() and ctx.get_parameter_source("db") is ParameterSource.DEFAULT
    if not is_first:
        open_reader(db).close()  # says so when it can't be read, before a port is taken
    opening = serve.open_address(port, lan)
    application = (serve.awaiting if is_first else serve.application)(db, opening.token, opening.hosts)
    if opening.instead:
        click.echo(f"Port {opening.instead} is taken, perhaps by another browse: this one takes another.", err=True)
    if is_first:
        click.echo(f"Nothing is recorded yet: {opening.url} leads to the first job (Ctrl-C ends it).", err=True)
    else:
        click.echo(f"{db} is open at {opening.url} (Ctrl-C ends it)", err=True)
    if lan:
        show_code(opening.lan_url, "read everything and act on the bench")
    if not no_open:
        click.launch(opening.url)
    serve.run(application, opening)


def _mirror_of(url: str) -> Path:
    """A read-only copy of what pages need of all benches, brought up to date now and again while they are open."""
    import hashlib

    from meterlog.files.places import cache_folder
    from meterlog.workshop.mirror import keep_fresh

    path = cache_folder() / f"workshop-{hashlib.sha256(url.encode()).hexdigest()[:12]}.db"
    keep_fresh(url, path, lambda words: click.echo(words, err=True))
    click.echo("Readings and bytes stay with their bench: meterlog workshop fetch brings one in whole.", err=True)
    return path


def show_code(url: str, may: str) -> None:
    """The address for the phone, as a QR code and in words. It is not encrypted on its way."""
    import segno

    segno.make(url, micro=False).terminal(compact=True)
    click.echo(f"Scan it with the phone, or open {url}", err=True)
    click.echo(f"Whoever scans it can {may} until this ends. The network is not encrypted: use one", err=True)
    click.echo("that you trust.", err=True)
