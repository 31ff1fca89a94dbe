"""`meterlog procedure` as it is typed: what stands on stdout, on stderr, and the exit code."""

import json
from pathlib import Path

import click
import jsonschema
import pytest
import yaml

from meterlog.cli import main
from meterlog.cli.job import ask_entries
from meterlog.files import shipped
from meterlog.files.procedures import offered, procedure_of
from meterlog.procedure.draft import draft
from meterlog.procedure.language import read_procedure

WRONG = Path(__file__).parents[1] / "wrong_procedures"
NAMES = shipped.names("profiles/procedures")


def run(capsys, *args):
    with pytest.raises(SystemExit) as left:
        main(["procedure", *args])
    out, err = capsys.readouterr()
    return left.value.code, out, err


def test_a_draft_reads_without_a_problem(capsys, tmp_path):
    _, out, _ = run(capsys, "new", "my-kettle")
    path = tmp_path / "my-kettle.yaml"
    path.write_text(out)
    assert run(capsys, "check", str(path)) == (0, f"{path}: my-kettle, 6 steps, no problem\n", "")


def test_own_procedures_are_listed_and_found_by_their_names(capsys, tmp_path, monkeypatch):
    monkeypatch.setenv("METERLOG_PROCEDURES", str(tmp_path))
    assert sorted(each.key for each in offered()) == NAMES
    (tmp_path / "my-kettle.yaml").write_text(draft("my-kettle"))
    (tmp_path / "transformer.yaml").write_text(draft("transformer"))
    (tmp_path / "broken.yaml").write_text("procedure: broken\n")
    rows = {(row := json.loads(line))["procedure"]: row for line in run(capsys, "list", "--json")[1].splitlines()}
    assert sorted(rows) == sorted([*NAMES, "my-kettle", "broken"])
    assert {name for name, row in rows.items() if row["own"]} == {"my-kettle", "transformer", "broken"}
    assert rows["transformer"]["title"] == "Kettle element (your own)"
    assert rows["broken"]["appliance"] == "can't be read: 5 problems"
    assert run(capsys, "check", "my-kettle")[0] == 0
    assert procedure_of("transformer").title == "Kettle element"


def test_a_draft_needs_a_proper_name(capsys):
    told = "expected a name of small letters, digits and hyphens, such as \"hv-diode\", saw 'My Kettle'\n"
    assert run(capsys, "new", "My Kettle") == (2, "", told)


def test_a_wrong_file_is_told_and_exits_1(capsys):
    path = WRONG / "needs_itself.yaml"
    message = path.with_suffix(".txt").read_text().replace("needs_itself.yaml", str(path))
    assert run(capsys, "check", str(path)) == (1, "", message)


def test_problems_as_json(capsys):
    path = WRONG / "needs_itself.yaml"
    code, out, _ = run(capsys, "check", "--json", str(path))
    problem = {
        "line": 29,
        "column": 12,
        "path": "steps[1].needs",
        "expected": "a step that stands before this one",
        "saw": "element, which is this step",
        "hint": "take it out",
    }
    assert (code, json.loads(out)) == (1, {"file": str(path), "problems": [problem]})


def test_a_name_that_nothing_has(capsys):
    told = "there is no file 'microvawe-oven', and nothing shipped has that name\n  did you mean 'microwave-oven'?\n"
    assert run(capsys, "show", "microvawe-oven") == (3, "", told)


def test_a_file_that_is_no_text(capsys, tmp_path):
    path = tmp_path / "x.yaml"
    path.write_bytes(b"title: \xff")
    assert run(capsys, "check", str(path)) == (3, "", f"{path} is no UTF-8 text: byte 7 is 0xFF\n")


@pytest.mark.parametrize("name", NAMES)
def test_a_shipped_procedure_shows_every_caution_and_limit(capsys, name):
    code, out, _ = run(capsys, "show", name)
    procedure = read_procedure((shipped.folder("profiles/procedures") / f"{name}.yaml").read_text(), name)
    words = " ".join(out.split())
    assert code == 0
    assert all(caution in words for caution in procedure.cautions)
    for step in procedure.steps:
        assert all(caution in words for caution in step.cautions)
        assert all(f"{limit.text} ({limit.source}" in words for limit in step.limits)


def test_a_procedure_as_json(capsys):
    _, out, _ = run(capsys, "show", "microwave-oven", "--json")
    told = json.loads(out)
    diode = next(step for step in told["steps"] if step["key"] == "diode-forward")
    assert (told["key"], diode["kind"], diode["limits"][0]["low"]) == ("microwave-oven", "open", 50000.0)


@pytest.mark.parametrize("name", NAMES)
def test_the_json_schema_takes_what_is_shipped(capsys, name):
    _, out, _ = run(capsys, "schema")
    text = (shipped.folder("profiles/procedures") / f"{name}.yaml").read_text()
    jsonschema.validate(yaml.safe_load(text), json.loads(out))


def test_the_json_schema_refuses_an_unknown_key(capsys):
    _, out, _ = run(capsys, "schema")
    text = (WRONG / "unknown_key.yaml").read_text()
    with pytest.raises(jsonschema.ValidationError, match="'quantitiy' was unexpected"):
        jsonschema.validate(yaml.safe_load(text), json.loads(out))


def test_next_names_a_step_where_nothing_is_weighed(capsys):
    _, out, _ = run(capsys, "next", "transformer")
    assert out.splitlines() == [
        "Mains transformer states no faults: the procedure's own order holds.",
        "next: isolation",
    ]


def test_the_list_names_each(capsys):
    _, out, _ = run(capsys, "list", "--json")
    assert [json.loads(line)["procedure"] for line in out.splitlines()] == NAMES


def test_entries_are_asked_one_by_one_and_each_is_read_when_it_is_typed(monkeypatch, capsys):
    typed = iter(["ninehundred", "0,9 kW", ""])
    monkeypatch.setattr(click, "prompt", lambda question, **_: next(typed, ""))
    assert ask_entries("microwave-oven", {"rated voltage": "230 V"}) == {"rated output": "0.9 kW"}
    assert capsys.readouterr().err.startswith("rated output:")
