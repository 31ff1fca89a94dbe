"""`meterlog redecode`: history by another profile, beside what was kept."""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from meterlog.base.errors import CannotDo
from meterlog.base.source import text_sha256
from meterlog.cli.options import db_option, json_option
from meterlog.files import shipped
from meterlog.profile import compile_profile, read_kept_profile
from meterlog.profile.compile.examples import shown

if TYPE_CHECKING:
    from collections.abc import Iterable

    from meterlog.base.readings import Reading
    from meterlog.profile import Profile
    from meterlog.record.redecode import ConversationAgain


@click.command()
@click.argument("instrument")
@click.argument("profile")
@click.option("--most", default=20, show_default=True, help="Kinds of difference that are listed.")
@click.option("--keep", is_flag=True, help="Keep the readings that differ, beside the old; needs --reason.")
@click.option("--reason", default="", help="Why they are kept.")
@json_option
@db_option
def redecode(instrument: str, profile: str, most: int, keep: bool, reason: str, as_json: bool, db: Path) -> None:
    """Read all kept bytes of INSTRUMENT again by PROFILE; list what differs, and what verdicts would come to.

    Nothing that was kept is changed; with --keep the readings that differ stand beside the old, with the profile.
    Exit 1 when a reading differs. Needs numpy: pip install 'meterlog[bulk]'.

    \b
    meterlog redecode multimeter my-meter.yaml --db bench.db
    meterlog redecode multimeter my-meter.yaml --keep --reason "kilo-ohms were read as ohms" --db bench.db
    """
    if keep != bool(reason):
        raise click.UsageError("--keep and --reason TEXT go together")
    try:
        from meterlog.record.redecode import conversations_of, read_again
        from meterlog.record.reread import Rest
    except ImportError:
        raise CannotDo("numpy is not installed", "install it with: pip install 'meterlog[bulk]'") from None
    from meterlog.daemon.main import profiles_kept
    from meterlog.store.reader import reading

    path = shipped.find(profile, "profiles/instruments")
    text = shipped.text_of(path)
    made = (read_kept_profile if text_sha256(text) in profiles_kept(db) else compile_profile)(text, str(path))
    kinds: Counter[tuple[str, str]] = Counter()
    differing: list[ConversationAgain] = []
    kept, now = 0, 0
    if keep:
        _no_daemon(db)
    with reading(db) as reader:
        conversations = conversations_of(reader, instrument)
        rest = Rest(reader, instrument, made)
        with click.progressbar(conversations, label=f"reading {instrument} again", file=sys.stderr) as bar:
            for kept_one in bar:
                again = read_again(reader, kept_one, made)
                kept, now = kept + again.kept, now + again.now
                kinds.update((_words(d.before), _words(d.now)) for d in again.differences)
                rest.take(again)
                if keep and again.differences:
                    differing.append(again)
        verdicts = [changed.as_dict() for changed in rest.changed()]
    if differing:
        _keep(db, differing, made, reason)
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
            before, after = _outcome(verdict["before"]), _outcome(verdict["now"])
            click.echo("verdict {verdict}, step {step}, job {job}:".format(**verdict) + f" {before}  ->  {after}")
            click.echo(f"          {verdict['why']}")
    stands = ", which stand beside the old now" if keep and kinds else ""
    click.echo(f"{kept} readings kept, {now} by this profile, {summary['differ']} differ{stands}", err=True)
    sys.exit(1 if kinds else 0)


def _no_daemon(db: Path) -> None:
    """Readings are kept by this process, as the writer for a moment. Raises: CannotDo while a daemon writes."""
    from meterlog.daemon.client import answers

    if answers(db):
        raise CannotDo(f"a daemon writes {db}: what is read again is kept only while none does", "end the daemon first")


def _keep(db: Path, found: Iterable[ConversationAgain], profile: Profile, reason: str) -> None:
    """Keep the readings of each link that differ, with one act a link, in one commit."""
    from meterlog.daemon.clock import Clock
    from meterlog.store.writer import Writer

    now = Clock().now()
    writer = Writer(db, now)
    for again in found:
        for link, rows in again.by_link().items():
            writer.read_again(link, (profile.key, profile.text), rows, reason, now, "command line")
    writer.close(now)


def _words(reading: Reading | None) -> str:
    return "nothing" if reading is None else shown(reading)


def _outcome(came_to: dict[str, Any]) -> str:
    """An outcome with its value, in words."""
    if came_to["value"] is None:
        return str(came_to["outcome"])
    return " ".join(f"{came_to['outcome']}, {came_to['bound']} {came_to['value']:.4g} {came_to['unit']}".split())
