"""`meterlog redecode`: history by another profile, beside what was kept."""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

import click

from meterlog import shipped
from meterlog.cli.options import db_option, json_option
from meterlog.errors import CannotDo
from meterlog.profile import compile_profile


@click.command()
@click.argument("instrument")
@click.argument("profile")
@click.option("--most", default=20, show_default=True, help="Kinds of difference that are listed.")
@json_option
@db_option
def redecode(instrument: str, profile: str, most: int, as_json: bool, db: Path) -> None:
    """Read all kept bytes of INSTRUMENT again by PROFILE; list what differs, and the verdicts that rest on it.

    Nothing that was kept is changed. Exit 1 when a reading differs. Needs numpy: pip install 'meterlog[bulk]'.

    \b
    meterlog redecode multimeter my-meter.yaml --db bench.db
    """
    try:
        from meterlog.store.redecode import links_of, read_again, verdicts_on
    except ImportError:
        raise CannotDo("numpy is not installed", "install it with: pip install 'meterlog[bulk]'") from None
    from meterlog.store.sqlite import open_reader

    path = shipped.find(profile, "profiles/instruments")
    made = compile_profile(shipped.text_of(path), str(path))
    connection = open_reader(db)
    kinds: Counter[tuple[str, str]] = Counter()
    verdicts, kept, now = [], 0, 0
    links = links_of(connection, instrument)
    with click.progressbar(links, label=f"reading {instrument} again", file=sys.stderr) as bar:
        for link in bar:
            again = read_again(connection, link, made)
            kept, now = kept + again.kept, now + again.now
            kinds.update((d.before, d.now) for d in again.differences)
            numbers = [d.number for d in again.differences if d.number is not None]
            verdicts += verdicts_on(connection, link, numbers)
    connection.close()
    summary = {"profile": made.sha256, "kept": kept, "now": now, "differ": sum(kinds.values())}
    if as_json:
        changes = [
            {"before": before, "now": after, "count": count} for (before, after), count in kinds.most_common(most)
        ]
        click.echo(json.dumps({**summary, "changes": changes, "verdicts": verdicts}, ensure_ascii=False))
    else:
        for (before, after), count in kinds.most_common(most):
            click.echo(f"{count:>8}  {before}  ->  {after}")
        for verdict in verdicts:
            click.echo(
                "verdict {verdict} ({outcome}) of step {step}, job {job}, rests on readings that differ".format(
                    **verdict
                )
            )
    click.echo(f"{kept} readings kept, {now} by this profile, {summary['differ']} differ", err=True)
    sys.exit(1 if kinds else 0)
