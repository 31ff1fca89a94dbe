"""The sheets as files: what they say in plain words, what they escape, and that paper keeps its signs."""

import os
import re
import shutil
import subprocess
from dataclasses import replace

import pytest
import records
from click.testing import CliRunner

from meterlog.base.errors import CannotDo, WrongValue
from meterlog.cli import meterlog
from meterlog.heating.trace.periods import NotFound
from meterlog.report import sheets as report
from meterlog.report.wording import plain_value
from meterlog.store.reader import StoredRecord
from meterlog.store.sqlite import open_reader


@pytest.fixture(scope="module")
def database(tmp_path_factory):
    return records.make(tmp_path_factory.mktemp("reports") / "bench.db")


@pytest.fixture
def db(database):
    connection = open_reader(database)
    yield connection
    connection.close()


def titles(steps):
    return [step.title for step in steps]


def untested(card):
    return {step.title: (words, check.reason) for words, group in card.untested for check, step in group}


def test_the_sheet_of_a_failed_appliance_begins_with_it(db):
    html = report.as_html(report.handover(StoredRecord(db), "K-7"))
    says = html.index('<p class="outcome outcome-failed">Did not pass: do not use.</p>')
    assert html.index("<h1>") < says < html.index("<h2>")
    assert "every safety check passed" not in html.lower()
    assert "Do not use it: it did not pass." in html


def test_the_sheet_says_what_was_bad_good_unsure_and_untested(db):
    card = report.handover(StoredRecord(db), "K-7")
    assert titles(card.bad) == [
        "Cord, plug, cabinet, door, hinges and seal looked over",
        "High-voltage diode, forward, not shorted",
        "High-voltage diode, reverse",
    ]
    assert titles(card.looked) == ["Unplugged, and the plug where only you can reach it"]
    assert titles(card.safe) == ["Primary door switch, door shut", "Primary door switch, door open"]
    assert len(card.good) == 4
    found = untested(card)
    assert found["Magnetron filament, at the tube"] == ("undecided", "")
    assert found["Magnetron filament to case"] == ("skipped", "no access before the rivets are drilled")
    assert found["Insulation, line and neutral joined, to cabinet, 500 V DC"] == ("safety, not done", "")
    assert found["Protective conductor, plug to cabinet"] == ("safety, not judged", "")
    assert "Safety, not judged:</b> Protective conductor, plug to cabinet (120 mΩ) (" in report.as_html(card)
    assert found["One litre of water heated at full power"] == ("not done", "")
    assert "Unplugged, and the plug where only you can reach it" not in found


def test_the_sheet_is_one_file_that_needs_no_other(db):
    html = report.as_html(report.handover(StoredRecord(db), "K-8"))
    assert "<style>" in html
    assert "<link" not in html
    assert "<script" not in html
    assert "Trips &lt;script&gt;alert(1)&lt;/script&gt; at once" in html
    assert "Inside the limits is not a declaration of safety." in html
    assert "What was not tested, or not decided" in html


def test_what_was_mended_is_told_with_both_values(tmp_path):
    bench = records.Bench(tmp_path / "mended.db")
    records.play_job(bench, "M-1", {})
    db = open_reader(tmp_path / "mended.db")
    job, step = db.execute("SELECT job, id FROM step WHERE key = 'diode-reverse'").fetchone()
    procedure = records.read_procedure(records.OVEN.read_text(), "oven")
    capture = bench.measure(records.OPEN, None, job, step)
    number = bench.writer.capture(job, step, bench.link, capture)
    before = db.execute("SELECT id FROM verdict WHERE step = ?", [step]).fetchone()[0]
    row = records.verdict_row(bench, procedure.step("diode-reverse"), capture, before, "measured again")
    bench.writer.verdict(job, step, number, row, bench.now)
    bench.writer.commit(bench.now)
    card = report.handover(StoredRecord(db), "M-1")
    assert [(s.key, s.first_failed, s.shown) for s in card.mended] == [("diode-reverse", "0.41 Ω", "over 60 MΩ")]
    html = report.as_html(card)
    assert "</b>: 0.41 Ω first, over 60 MΩ since; wanted open." in html
    assert "put right" not in html
    db.close()
    bench.writer.close(bench.now)


def test_the_evidence_file_has_every_verdict_byte_and_seal(db):
    html = report.as_html(report.evidence(StoredRecord(db), "K-7"))
    numbers = [row[0] for row in db.execute("SELECT v.id FROM verdict v JOIN job j ON j.id = v.job WHERE ref = 'K-7'")]
    assert [number for number in numbers if f"Verdict {number}:" not in html] == []
    assert html.count("meterlog-seal 1 ") == len(StoredRecord(db).seals_of(1))
    assert "55 AB 00 00 00" in html
    assert "procedure: microwave-oven" in html
    assert html.count("<svg") >= 10


PERIODS = ["before", "heating", "after"]
CORRECTIONS = ["warm-up", "vessel", "exchange with the room"]


@pytest.mark.parametrize(("kind", "pictures"), [("handover", 1), ("evidence", 1)])
def test_a_heating_run_is_drawn_with_its_periods_and_corrections(tmp_path, kind, pictures):
    db = open_reader(records.heated(tmp_path / "heated.db"))
    html = report.as_html(getattr(report, kind)(StoredRecord(db), "H-1"))
    db.close()
    assert html.count("<title>Useful power 88") == 2 * pictures  # wide and narrow
    assert re.findall(r'<th scope="row">([^<]*)</th><td class="right">[\d.−]+</td>', html)[:6] == PERIODS + CORRECTIONS
    # one litre, 880 W for 58 s; by hand 880 × 58 / (4186 + 230) = 11.6 K in a minute, from 12 °C
    levels = re.search(r"([\d.]+) to ([\d.]+)</td><td class=.right.>([\d.]+)", html).groups()
    assert [float(value) for value in levels] == pytest.approx([12.1, 23.7, 11.6], abs=0.15)


def test_a_correction_that_was_refused_stands_with_what_would_help(tmp_path):
    db = open_reader(records.heated(tmp_path / "heated.db"))
    card = report.handover(StoredRecord(db), "H-1")
    db.close()
    refused = (NotFound(what="lag", why="too <slow>", advice="log faster"),)
    run = replace(card.run, run=replace(card.run.run, applied=(), refused=refused))
    html = report.as_html(replace(card, run=run))
    assert '<th scope="row">lag</th><td class="right">refused</td><td>too &lt;slow&gt;: log faster</td>' in html


def test_an_unknown_job_is_said(database):
    done = CliRunner().invoke(meterlog, ["report", "K-70", "--db", str(database)])
    assert isinstance(done.exception, CannotDo)
    assert str(done.exception) == "there is no job K-70\n  list them with: meterlog job list"


def test_the_command_writes_html_and_names_it(database, tmp_path):
    target = tmp_path / "sheet.html"
    done = CliRunner().invoke(meterlog, ["report", "K-7", "--db", str(database), "--to", str(target)])
    assert (done.exit_code, done.stdout) == (0, f"{target}\n")
    assert "Hand-over sheet" in target.read_text()


NAMES = [  # further words, file, what is said
    ([], "sheet.docx", "nothing is written as '.docx'\n  name it .html or .pdf; the evidence file also .zip"),
    ([], "sheet.zip", "a .zip is the evidence file\n  say so: --evidence"),
    (["--pdf"], "sheet.html", "sheet.html would hold a PDF\n  name it .pdf, or leave --pdf out"),
]


@pytest.mark.parametrize(("words", "name", "said"), NAMES)
def test_a_file_is_not_named_for_what_it_will_not_be(database, tmp_path, monkeypatch, words, name, said):
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(meterlog, ["report", "K-7", "--db", str(database), "--to", name, *words])
    assert (type(done.exception), str(done.exception)) == (WrongValue, said)
    assert list(tmp_path.iterdir()) == []


def test_a_pdf_keeps_its_signs(db):
    """Ω and µ are lost where a tool guesses the text's coding: the PDF's own text is read back."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext here: a PDF's text is not read back (apt-get install poppler-utils)")
    try:
        pdf = report.as_pdf(report.as_html(report.handover(StoredRecord(db), "K-7")))
    except CannotDo as cannot:
        if "CI" in os.environ:
            raise
        pytest.skip(str(cannot))
    text = subprocess.run(["pdftotext", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    assert "1.71 Ω" in text
    assert "High-voltage diode, reverse" in text


def test_without_a_printer_of_pdfs_the_way_out_is_said(monkeypatch):
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(CannotDo, match=r"pip install 'meterlog\[pdf\]'"):
        report._printed_by_browser("<p>")


@pytest.mark.parametrize(
    ("value", "expanded", "shown"),
    [
        (0.0, 0.051, "less than 0.051 Ω"),
        (-0.01, 0.051, "less than 0.061 Ω"),
        (0.12, 0.033, "0.12 Ω"),
        (2.0, 0.0, "2 Ω"),
    ],
)
def test_a_value_within_its_doubt_of_nothing_is_told_by_what_it_is_at_most(value, expanded, shown):
    assert plain_value(value, expanded, "ohm", "ohm") == shown


def test_what_was_wanted_is_the_limit_that_was_held_against(db):
    card = report.handover(StoredRecord(db), "K-7")
    wanted = {step.key: step.wanted for step in card.steps}
    assert wanted["fuse"] == "at most 1 Ω"
    assert wanted["diode-forward"] == "at least 50 kΩ"


def test_every_live_point_is_told_with_what_was_done(tmp_path):
    """Invented: mains at the pins, seen and proved dead since; then volts at the capacitor, and nothing after it."""
    bench = records.Bench(tmp_path / "bench.db")
    procedure = records.read_procedure(records.OVEN.read_text(), "microwave-oven.yaml")
    job, steps = bench.writer.open_job("L-1", procedure, {}, {}, bench.now)

    def event(kind, step, **facts):
        bench.at += 1.0
        bench.writer.event(kind, bench.now, facts, job=job, step=steps[step], whence="walk")

    event("live point", "plug-dead-ac", source="multimeter", value=231.2, shown="231.2 V")
    event("acknowledged", "plug-dead-ac", who="page", cautions=[])
    volts = records.Form(quantity="voltage", mode="ac", unit="V", scale=1.0, decimals=1)
    capture = bench.measure(volts, 2, job, steps["plug-dead-ac"])
    number = bench.writer.capture(job, steps["plug-dead-ac"], bench.link, capture)
    row = records.verdict_row(bench, procedure.step("plug-dead-ac"), capture)
    bench.writer.verdict(job, steps["plug-dead-ac"], number, row, bench.now)
    event("live point", "capacitor-dead", source="multimeter", value=412.0, shown="412 V")
    bench.writer.commit(bench.now)
    bench.writer.close(bench.now)
    connection = open_reader(tmp_path / "bench.db")
    card = report.handover(StoredRecord(connection), "L-1")
    connection.close()
    assert [(each.shown, each.where, each.done) for each in card.live] == [
        ("231.2 V", "plug line pin – plug neutral pin", "acknowledged (page); proved dead since"),
        ("412 V", "capacitor terminal A – capacitor terminal B", "acknowledged by nobody; not proved dead since"),
    ]
    assert "<b>231.2 V</b> at plug line pin – plug neutral pin (No mains between" in report.as_html(card)
