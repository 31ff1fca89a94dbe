"""Options that several commands share, and how tables are printed."""

from __future__ import annotations

import json
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
