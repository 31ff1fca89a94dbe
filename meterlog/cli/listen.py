"""`meterlog listen`: the daemon, in the foreground."""

from __future__ import annotations

from pathlib import Path

import click

from meterlog.cli.options import bench_option, db_option


@click.command()
@bench_option
@db_option
@click.option(
    "--log", "log_form", type=click.Choice(["words", "json"]), default="words", help="How log lines are written."
)
@click.option("--sounds/--no-sounds", default=None, help="Tones and speech; by default as the bench file says.")
@click.option("--played-clock", "moment", type=click.Path(exists=True, dir_okay=False, path_type=Path), hidden=True)
def listen(bench_path: Path, db: Path, log_form: str, sounds: bool | None, moment: Path | None) -> None:
    """Listen to the bench's instruments until interrupted; the only writer of the database.

    \b
    meterlog listen --bench bench.yaml --db bench.db
    """
    from meterlog.daemon.main import run_daemon

    run_daemon(bench_path, db, log_form=log_form, sounds=sounds, moment=moment)
