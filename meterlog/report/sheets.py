"""Sheets of a job: the hand-over sheet for its owner, and the evidence file with everything. HTML, and PDF.

The page and the command draw the same sheet; for a file the style stands inside it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.base.seals import read_line
from meterlog.judging.measurement import UNKNOWN
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.kinds import KINDS, Watched
from meterlog.record.acts import ActKind
from meterlog.record.outcome import STATES
from meterlog.report import wording
from meterlog.report.card import Card, StepCard, card_of
from meterlog.report.headline import headline
from meterlog.report.live_points import live_points
from meterlog.report.reached import reached_from

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.base.seals import Seal
    from meterlog.record.kept import ActRecord, TextRecord
    from meterlog.record.outcome import JobCheck
    from meterlog.record.reader import RecordReader
    from meterlog.report.headline import Headline
    from meterlog.report.live_points import LivePointMet
    from meterlog.report.reached import Reached

HERE = Path(__file__).parent
BROWSERS = ("chromium", "chromium-browser")
PRINT_WITHIN_S = 120.0
FRAMES_IN_FILE = 100_000

FOR_THE_OWNER = (
    CAUTIONS["no-declaration"],
    "Local rules and the maker's instructions come before anything on this sheet.",
    "If it smells of burning, sparks, trips a protection or behaves in a new way: unplug it and do not use it.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """A part that was fitted: its marking, why it may stand in, and how its incoming check stands, in words."""

    part: str
    marking: str
    why: str
    checked: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover(Card):
    """What the hand-over sheet says of a job.

    Attributes:
        bad, mended, safe, good, recorded, looked: checks by what became of them.
        untested: checks without an answer under what became of them in words, each with its step.
        blind: checks that passed with a meter of unknown accuracy.
        typed: whose displays were read off and typed, each with the number of checks that rest on it.
        proofs: how what is dead or open is known, in words, with the number of checks.
        run: the heating run; verdicts: how many were reached; seal: the last one of the job.
    """

    complaint: str
    fitted: Sequence[Fitted]
    work: Sequence[str]
    live: Sequence[LivePointMet]
    bad: Sequence[StepCard]
    mended: Sequence[StepCard]
    safe: Sequence[StepCard]
    good: Sequence[StepCard]
    recorded: Sequence[StepCard]
    looked: Sequence[StepCard]
    untested: Sequence[tuple[str, Sequence[tuple[JobCheck, StepCard]]]]
    blind: Sequence[StepCard]
    typed: Sequence[tuple[str, int]]
    proofs: Sequence[tuple[str, int]]
    run: StepCard | None
    verdicts: int
    seal: Seal | None
    head: Headline | None
    cautions: Sequence[str] = FOR_THE_OWNER


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence(Card):
    """What the evidence file says of a job: every verdict, every text that one rests on, every seal's line."""

    reached: Sequence[Reached]
    texts: Sequence[TextRecord]
    seals: Sequence[str]
    frames_shown: int = FRAMES_IN_FILE


TEMPLATES: dict[type[Card], str] = {Handover: "handover.html", Evidence: "evidence.html"}


def handover(reader: RecordReader, ref: str) -> Handover:
    """What the hand-over sheet says. Raises: CannotDo when there is no such job."""
    card = _card(reader, ref)
    steps, outcome = card.steps, card.outcome
    by_key = {step.key: step for step in steps}
    passed = [step for step in steps if step.state == "pass"]
    safety = {check.key for check in outcome.passed}
    lines = reader.seals_of(card.job.id)
    return Handover(
        **wording.fields_of(card),
        complaint=next((field.value for field in card.personal if field.name == "complaint"), ""),
        fitted=[_fitted(act, by_key) for act in card.acts if act.kind == ActKind.PART_FITTED],
        work=[act.facts["text"] for act in card.acts if act.kind == ActKind.WORK_DONE],
        live=live_points(card.acts, steps, card.procedure),
        bad=[by_key[check.key] for check in outcome.failed],
        mended=[step for step in passed if step.first_failed],
        safe=[step for step in passed if step.key in safety],
        good=[step for step in passed if step.key not in safety],
        recorded=[step for step in steps if step.state == "recorded"],
        looked=[step for step in steps if step.state == "looked"],
        untested=[*_by_state(outcome.missing, by_key, "safety, "), *_by_state(outcome.open, by_key)],
        blind=[step for step in passed if step.verdict and UNKNOWN in step.verdict.why],
        typed=_typed(steps),
        proofs=_proofs(steps),
        run=next((each for each in steps if KINDS[each.step.kind].is_run and each.verdict), None),
        verdicts=sum(len(step.verdicts) for step in steps),
        seal=read_line(lines[-1]) if lines else None,
        head=headline(reader),
    )


def evidence(reader: RecordReader, ref: str) -> Evidence:
    """What the evidence file says. Raises: CannotDo when there is no such job."""
    card = _card(reader, ref)
    numbers = [verdict.id for verdict in reader.verdicts(card.job.id)]
    reached = [found for number in numbers if (found := reached_from(reader, number))]
    texts = {text.sha256: text for found in reached for text in found.texts.values()}
    return Evidence(
        **wording.fields_of(card),
        reached=reached,
        texts=list(texts.values()),
        seals=reader.seals_of(card.job.id),
    )


def as_html(sheet: Card) -> str:
    """A sheet as one file that needs no other."""
    from jinja2 import Environment, FileSystemLoader, PrefixLoader

    loader = PrefixLoader({"report": FileSystemLoader(HERE / "templates")})
    environment = Environment(loader=loader, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    environment.filters.update(wording.FILTERS)
    style = (HERE / "paper.css").read_text(encoding="utf-8")
    template = environment.get_template(f"report/{TEMPLATES[type(sheet)]}")
    return template.render(style=style, version=__version__, **wording.fields_of(sheet))


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


def _card(reader: RecordReader, ref: str) -> Card:
    card = card_of(reader, ref)
    if card is None:
        raise CannotDo(f"there is no job {ref}", "list them with: meterlog job list")
    return card


def _fitted(act: ActRecord, steps: Mapping[str, StepCard]) -> Fitted:
    facts = act.facts
    step = steps.get(facts.get("check", ""))
    checked = f"{step.title}: {STATES.get(step.state, step.state)} {step.shown}".strip() if step else ""
    return Fitted(part=facts["part"], marking=facts.get("marking", ""), why=facts.get("why", ""), checked=checked)


def _by_state(
    checks: Iterable[JobCheck], steps: Mapping[str, StepCard], before: str = ""
) -> list[tuple[str, Sequence[tuple[JobCheck, StepCard]]]]:
    """Checks, each with its step, under what became of them in words: [("not done", [...]), ...]."""
    found: dict[str, list[tuple[JobCheck, StepCard]]] = {}
    for check in checks:
        found.setdefault(f"{before}{check.words}", []).append((check, steps[check.key]))
    return list(found.items())


def _typed(steps: Iterable[StepCard]) -> list[tuple[str, int]]:
    """The instruments whose readings were typed, with the number of checks whose verdict rests on one."""
    counting = (
        each.capture for step in steps for each in step.captures if step.verdict and each.id == step.verdict.capture
    )
    return list(Counter(capture.typed.instrument for capture in counting if capture.typed).items())


def _proofs(steps: Iterable[StepCard]) -> list[tuple[str, int]]:
    """How the proofs are known, in words, each with the number of checks that rest on it."""
    hows = [
        each.captures[-1].capture.how
        for each in steps
        if KINDS[each.step.kind].watched in (Watched.DEAD, Watched.OPEN) and each.captures and each.state == "pass"
    ]
    return [(wording.chosen(how), count) for how, count in Counter(hows).items()]
