"""The command line: one module a command, imported only when it is called.

Results go to stdout, words to stderr. Exit: 0 yes; 1 it ran and the answer is no; 2 the command
line is wrong; 3 it could not be done. A module here only parses and prints; its work is callable
without click.
"""

from __future__ import annotations

import importlib
import sys
from difflib import get_close_matches
from typing import Any

import click

from meterlog import __version__
from meterlog.base.errors import CannotDo, MeterlogError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("meterlog.cli.demo", "Play an invented bench through the real daemon, from dead to a verdict."),
    "listen": ("meterlog.cli.listen", "The daemon: listen to the bench's instruments and keep what they say."),
    "bench": ("meterlog.cli.bench", "Say which instruments stand where, and try whether they answer."),
    "ports": ("meterlog.cli.ports", "List the serial ports that are plugged in."),
    "job": ("meterlog.cli.job", "Open a job, walk through its steps, look at what was found."),
    "verdict": ("meterlog.cli.verdict", "Show how a verdict was reached, down to the bytes."),
    "audit": ("meterlog.cli.audit", "Check every seal and recompute every reading, capture and verdict."),
    "backup": ("meterlog.cli.backup", "Copy the whole record, also while the daemon writes it."),
    "restore": ("meterlog.cli.backup", "Take the record up from a copy, under an identity of its own."),
    "browse": ("meterlog.cli.browse", "Show jobs, captures and verdicts in a browser."),
    "report": ("meterlog.cli.report", "Write a job's hand-over sheet or its evidence file."),
    "key": ("meterlog.cli.key", "The key that signs evidence: show it, copy it to paper, replace it."),
    "verify": ("meterlog.cli.verify", "Check an evidence file, without any database."),
    "stamp": ("meterlog.cli.stamp", "Somebody else's clock over an evidence file: a request and its answer, carried."),
    "service": ("meterlog.cli.service", "Start with the computer, and be allowed to open the instruments."),
    "heating": ("meterlog.cli.heating", "Useful power of a heating run, from its temperature trace."),
    "part": ("meterlog.cli.part", "Read the marking of a part; find what may stand in for it."),
    "procedure": ("meterlog.cli.procedure", "Check, show and begin the steps for a type of appliance."),
    "judge": ("meterlog.cli.judge", "Judge one value against limits, with its uncertainty."),
    "evaluate": ("meterlog.cli.evaluate", "Work out a value from others: windings, insulation, discharge and more."),
    "replay": ("meterlog.cli.replay", "Walk a procedure through recordings, and print the captures."),
    "profile": ("meterlog.cli.profile", "Check, explain, try and begin protocol profiles."),
    "record": ("meterlog.cli.record", "Keep an instrument's bytes, both directions, with their times."),
    "redecode": ("meterlog.cli.redecode", "Read history again by another profile; list what would differ."),
    "decode": ("meterlog.cli.decode", "Decode a recording, or raw bytes, by a profile."),
    "workshop": ("meterlog.cli.workshop", "Several benches in one PostgreSQL: make it, join it, see who has what."),
    "send": ("meterlog.cli.send", "Send what this bench keeps to its workshop, beside the daemon."),
}
"""Name of each command: its module and the sentence that `--help` lists, so that help imports none."""


class Commands(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(COMMANDS[name][0]), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            close = get_close_matches(args[0], COMMANDS, n=1)
            ctx.fail(f"No such command {args[0]!r}." + (f" Did you mean {close[0]!r}?" if close else ""))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = [(name, sentence) for name, (_, sentence) in COMMANDS.items()]
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


@click.group(
    cls=Commands,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="meterlog")
@click.pass_context
def meterlog(ctx: click.Context) -> None:
    """Hands-free capture, judging and keeping of bench readings, for the repair of mains appliances."""
    if ctx.invoked_subcommand is None:
        from meterlog.files.first_steps import FIRST_STEPS

        click.echo("The way to the first job:\n")
        for number, (what, typed) in enumerate(FIRST_STEPS, 1):
            click.echo(f"  {number}. {what}:\n       {typed}")
        click.echo("\nEvery command: meterlog --help")


def main(args: list[str] | None = None) -> Any:
    """Run the command line; what meterlog raises on purpose becomes words and an exit code."""
    try:
        return meterlog.main(args=args, prog_name="meterlog")
    except MeterlogError as error:
        click.echo(str(error), err=True)
        sys.exit(error.exit_code)
    except Exception as error:
        from meterlog.store import sqlite

        if not isinstance(error, sqlite.DatabaseError):
            raise
        click.echo(f"the database can't be used: {error}\n  {sqlite.what_to_do_about(error)}", err=True)
        sys.exit(CannotDo.exit_code)
