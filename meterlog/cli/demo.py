"""`meterlog demo`: an invented bench, played and shown."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import json_option, table


@click.command()
@click.option("--speed", default=20.0, show_default=True, type=click.FloatRange(1, 50), help="How many times faster.")
@click.option(
    "--folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("meterlog-demo"),
    show_default=True,
    help="Where the demo's files go.",
)
@click.option("--browse/--no-browse", default=True, help="Show the result in a browser when it is done.")
@json_option
def demo(speed: float, folder: Path, browse: bool, as_json: bool) -> None:
    """Play an invented bench through the real daemon: an oven and an urn, from dead to a verdict.

    \b
    meterlog demo --no-browse
    """
    from meterlog.demo.show import run_demo, summary

    database = run_demo(folder, speed, lambda words: click.echo(words, err=True))
    table(summary(database), ("verdict", "job", "step", "shown", "unit", "result", "outcome", "superseded_by"), as_json)
    click.echo(f"kept in {database}; look closer with", err=True)
    click.echo(f"  meterlog verdict show 1 --db {database}\n  meterlog audit --db {database}", err=True)
    if browse:
        from meterlog.cli.browse import browse as show

        show.main(["--db", str(database)], standalone_mode=False)
