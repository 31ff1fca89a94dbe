"""Sheets of a job: the hand-over sheet for its owner, and the evidence file with everything. HTML, and PDF.

The page and the command draw the same sheet; for a file the style stands inside it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.base.seals import read_line
from meterlog.judging.measurement import UNKNOWN
from meterlog.judging.rule import interval
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.kinds import KINDS, Watched
from meterlog.record.acts import ActKind
from meterlog.record.outcome import STATES
from meterlog.report import wording
from meterlog.report.card import card_of
from meterlog.report.headline import headline
from meterlog.report.live_points import live_points
from meterlog.report.reached import reached_from
from meterlog.report.runs import plot_of
from meterlog.store import queries

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from meterlog.record.outcome import Check
    from meterlog.store.sqlite import Connection

    Card = dict[str, Any]

HERE = Path(__file__).parent
BROWSERS = ("chromium", "chromium-browser")
PRINT_WITHIN_S = 120.0
FRAMES_IN_FILE = 100_000

FOR_THE_OWNER = (
    CAUTIONS["no-declaration"],
    "Local rules and the maker's instructions come before anything on this sheet.",
    "If it smells of burning, sparks, trips a protection or behaves in a new way: unplug it and do not use it.",
)


def handover(db: Connection, ref: str) -> Card:
    """What the hand-over sheet says. Raises: CannotDo when there is no such job."""
    card = _card(db, ref)
    steps, outcome = card["steps"], card["outcome"]
    for step in steps:
        step["shown"] = _plainly(step["verdict"], step["captures"])
        step["first_failed"] = _first_failed(step)
        step["wanted"] = _wanted(step)
    by_key = {step["key"]: step for step in steps}
    passed = [step for step in steps if step["state"] == "pass"]
    safety = {check.key for check in outcome.passed}
    return {
        **card,
        "complaint": next((field["value"] for field in card["personal"] if field["name"] == "complaint"), ""),
        "fitted": [_fitted(event["facts"], by_key) for event in card["events"] if event["kind"] == ActKind.PART_FITTED],
        "work": [event["facts"]["text"] for event in card["events"] if event["kind"] == ActKind.WORK_DONE],
        "live": live_points(card["events"], steps, card["procedure"]),
        "bad": [by_key[check.key] for check in outcome.failed],
        "mended": [step for step in passed if step["first_failed"]],
        "safe": [step for step in passed if step["key"] in safety],
        "good": [step for step in passed if step["key"] not in safety],
        "recorded": [step for step in steps if step["state"] == "recorded"],
        "looked": [step for step in steps if step["state"] == "looked"],
        "untested": [*_by_state(outcome.missing, by_key, "safety, "), *_by_state(outcome.open, by_key)],
        "blind": [step for step in passed if UNKNOWN in step["verdict"]["why"]],
        "proofs": _proofs(steps),
        "run": next((s for s in steps if KINDS[s["kind"]].is_run and s["verdict"]), None),
        "verdicts": sum(len(step["verdicts"]) for step in steps),
        "seal": _last_seal(db, card["job"]["id"]),
        "head": headline(db),
        "cautions": FOR_THE_OWNER,
    }


def evidence(db: Connection, ref: str) -> Card:
    """What the evidence file says. Raises: CannotDo when there is no such job."""
    card = _card(db, ref)
    judged = queries.verdicts_of(db, card["job"]["id"])
    reached = [found for verdict in judged if (found := reached_from(db, verdict["id"]))]
    for found in reached:
        found["plot"] = plot_of(found["capture"], found["readings"]) if found["readings"] and not found["run"] else ""
    texts = {text["sha256"]: text for found in reached for text in found["texts"].values() if text}
    return {
        **card,
        "reached": reached,
        "texts": list(texts.values()),
        "seals": queries.seals_of(db, card["job"]["id"]),
        "frames_shown": FRAMES_IN_FILE,
    }


def as_html(template: str, card: Card) -> str:
    """A sheet as one file that needs no other: `template` is "handover" or "evidence"."""
    from jinja2 import Environment, FileSystemLoader, PrefixLoader

    loader = PrefixLoader({"report": FileSystemLoader(HERE / "templates")})
    environment = Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.filters.update(wording.FILTERS)
    style = (HERE / "paper.css").read_text(encoding="utf-8")
    return environment.get_template(f"report/{template}.html").render(style=style, version=__version__, **card)


def as_pdf(html: str) -> bytes:
    """A sheet as PDF: by weasyprint where it is installed, else by a browser that is there.

    Raises: CannotDo when there is neither, or the browser fails.
    """
    try:
        import weasyprint
    except ImportError:
        return _printed_by_browser(html)
    printed: bytes = weasyprint.HTML(string=html).write_pdf()
    return printed


def _printed_by_browser(html: str) -> bytes:
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        raise CannotDo("nothing here makes a PDF", "pip install 'meterlog[pdf]', or print the HTML from a browser")
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "sheet.html"), Path(folder, "sheet.pdf")
        source.write_text(html, encoding="utf-8")
        options = ["--headless", "--disable-gpu", "--no-pdf-header-footer", f"--user-data-dir={folder}/profile"]
        if os.geteuid() == 0:
            options.append("--no-sandbox")  # a browser refuses to be root's otherwise; it prints our own page only
        command = [browser, *options, f"--print-to-pdf={target}", source.as_uri()]
        done = subprocess.run(command, capture_output=True, timeout=PRINT_WITHIN_S, check=False)
        if not target.exists():
            why = done.stderr.decode(errors="replace").strip().splitlines()
            raise CannotDo(f"{browser} made no PDF: {why[-1] if why else 'it said nothing'}", "print the HTML instead")
        return target.read_bytes()


def _card(db: Connection, ref: str) -> Card:
    card = card_of(db, ref)
    if card is None:
        raise CannotDo(f"there is no job {ref}", "list them with: meterlog job list")
    return card


def _fitted(facts: Card, steps: Mapping[str, Card]) -> Card:
    """A part that was fitted, with how its incoming check stands in words."""
    step = steps.get(facts["check"])
    checked = f"{step['title']}: {STATES.get(step['state'], step['state'])} {step['shown']}".strip() if step else ""
    return {**facts, "checked": checked}


def _by_state(checks: Iterable[Check], steps: Mapping[str, Card], before: str = "") -> list[tuple[str, list[Any]]]:
    """Checks, each with its step, under what became of them in words: [("not done", [...]), ...]."""
    found: dict[str, list[Any]] = {}
    for check in checks:
        found.setdefault(f"{before}{check.words}", []).append((check, steps[check.key]))
    return list(found.items())


def _first_failed(step: Card) -> str:
    """What a check showed when it failed first; "" when it never did."""
    failed = next((verdict for verdict in step["verdicts"] if verdict["outcome"] == "fail"), None)
    return (_plainly(failed, step["captures"]) or "failed") if failed else ""


def _wanted(step: Card) -> str:
    """The limit that a check was held against, as a person writes it; else its limits as the procedure has them."""
    verdict = step["verdict"]
    if verdict is None or (verdict["low"] is None and verdict["high"] is None):
        return str(step["limits"])
    return interval(verdict["low"], verdict["high"], verdict["unit"])


def _proofs(steps: list[Card]) -> list[tuple[str, int]]:
    """How the proofs are known, in words, each with the number of checks that rest on it."""
    hows = [
        step["captures"][-1]["how"]
        for step in steps
        if KINDS[step["kind"]].watched in (Watched.DEAD, Watched.OPEN) and step["captures"] and step["state"] == "pass"
    ]
    return [(wording.HOW.get(how, how), count) for how, count in Counter(hows).items()]


def _plainly(verdict: Card | None, captures: list[Card]) -> str:
    """What a check found, for an owner: the value without its uncertainty, or the edge that it lies beyond.

    A value within its own uncertainty of nothing is told by what it can be at most.
    """
    if verdict is None:
        return ""
    capture = next((each for each in captures if each["id"] == verdict["capture"]), None)
    if verdict["value"] is None:
        return wording.display(capture) if capture else ""
    value, doubt = verdict["value"], verdict["expanded"] or 0.0
    typed = wording.MARK if capture and capture["typed"] else ""
    if abs(value) < doubt:
        return f"less than {wording.measure(abs(value) + doubt, verdict['unit'], 2)}{typed}"
    return f"{wording.measure(value, verdict['unit'], 3)}{typed}"


def _last_seal(db: Connection, job: int) -> Any:
    lines = queries.seals_of(db, job)
    return read_line(lines[-1]) if lines else None
