"""Options that several commands share, and how tables are printed."""

from __future__ import annotations

import json
import re
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from meterlog.files import places

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

F = TypeVar("F", bound="Callable[..., Any]")


def db_option(command: F) -> F:
    """`--db PATH`, by default the platform's data folder."""
    return click.option(
        "--db",
        type=click.Path(dir_okay=False, path_type=Path),
        envvar="METERLOG_DB",
        default=places.database,
        show_default="data folder, or METERLOG_DB",
        help="The database file.",
    )(command)


def bench_option(command: F) -> F:
    """`--bench FILE`, by default the platform's configuration folder."""
    return click.option(
        "--bench",
        "bench_path",
        type=click.Path(dir_okay=False, path_type=Path),
        envvar="METERLOG_BENCH",
        default=places.bench_file,
        show_default="configuration folder, or METERLOG_BENCH",
        help="The bench file.",
    )(command)


def json_option(command: F) -> F:
    """`--json`: one JSON object a line instead of a table."""
    return click.option("--json", "as_json", is_flag=True, help="One JSON object a line instead of a table.")(command)


def table(rows: Sequence[Mapping[str, Any]], columns: Iterable[str], as_json: bool) -> None:
    """Print rows to stdout: JSON lines, or columns padded to their widest cell."""
    if as_json:
        for row in rows:
            click.echo(json.dumps(row, ensure_ascii=False))
        return
    names = list(columns)
    cells = [[str("" if row.get(name) is None else row.get(name, "")) for name in names] for row in rows]
    widths = [max(len(line[i]) for line in [names, *cells]) for i in range(len(names))]
    for line in [names, *cells] if cells else []:
        click.echo("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


VALUE_SETTINGS = {"ignore_unknown_options": True, "help_option_names": ["--help"]}
"""A value may begin with a minus: "-5 ohm" holds no option, and no -h either."""


class ValueCommand(click.Command):
    """A command whose value may begin with a minus; any other word that looks like an option must be one."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        known = [name for parameter in self.params for name in parameter.opts] + ["--help"]
        for word in args:
            name = word.partition("=")[0]
            if re.fullmatch("--[a-z][a-z-]*", name) and name not in known:
                raise click.NoSuchOption(name, possibilities=get_close_matches(name, known), ctx=ctx)
        return super().parse_args(ctx, args)
