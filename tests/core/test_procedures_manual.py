"""The manual of procedures holds: every key stands in it with its sentence, and every example runs."""

import re
from pathlib import Path

import pytest
import yaml

from meterlog.base.errors import WrongText
from meterlog.base.units import QUANTITIES
from meterlog.heating import METHODS as HEATING
from meterlog.judging.limit import MARKS
from meterlog.judging.postprocess import METHODS
from meterlog.procedure import kinds
from meterlog.procedure.cautions import CAUTIONS
from meterlog.procedure.faults import CHECK, DIAGNOSIS, ELSE, FAULT, PART
from meterlog.procedure.language import LIMIT, POINTS, PROCEDURE, SETTLING, STEP, read_procedure
from meterlog.procedure.limits import parse_limit

MANUAL = (Path(__file__).parents[2] / "profiles" / "PROCEDURES.md").read_text()
WHOLE, *BEHIND = re.findall(r"^```yaml\n(.*?)^```$", MANUAL, re.DOTALL | re.MULTILINE)
PIECES = [piece for piece in BEHIND if piece.startswith("  - step:")]
SECTIONS = [piece for piece in BEHIND if piece not in PIECES]
RECORDS = {
    "PROCEDURE": PROCEDURE, "POINTS": POINTS, "STEP": STEP, "LIMIT": LIMIT, "SETTLING": SETTLING,
    "DIAGNOSIS": DIAGNOSIS, "PART": PART, "FAULT": FAULT, "CHECK": CHECK, "ELSE": ELSE,
}  # fmt: skip


def written_keys():
    """Every key that the examples write, as text, wherever it stands."""
    found = set()
    nodes = [yaml.compose(text) for text in (WHOLE, *SECTIONS)] + [yaml.compose("steps:\n" + piece) for piece in PIECES]
    while nodes:
        node = nodes.pop()
        if isinstance(node, yaml.MappingNode):
            found |= {key.value for key, _ in node.value}
            nodes += [value for _, value in node.value]
        elif isinstance(node, yaml.SequenceNode):
            nodes += node.value
    return found


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS)
def test_every_key_stands_in_a_table(record):
    for name, key in record.keys.items():
        assert f"\n| `{name}` | {'yes' if key.required else ''} | {key.doc} | " in MANUAL


def test_every_key_stands_in_an_example():
    keys = {name for record in RECORDS.values() for name in record.keys}
    assert keys - written_keys() == set()


@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece.split()[2])
def test_an_example_runs_behind_the_whole_one(piece):
    names = re.findall(r"^  - step: (\S+)$", piece, re.MULTILINE)
    procedure = read_procedure(f"{WHOLE}\n{piece}", "drain-pump.yaml")
    assert names
    assert [step.key for step in procedure.steps[-len(names) :]] == names


@pytest.mark.parametrize("section", SECTIONS, ids=lambda section: section.split(":")[0])
def test_a_section_runs_behind_the_whole_one(section):
    stated = read_procedure(f"{WHOLE}\n{section}", "drain-pump.yaml").diagnosis
    assert [fault.key for fault in stated.faults] == ["winding-open", "winding-to-iron", "capacitor-short"]


def test_the_message_is_what_is_told():
    message = re.search(r"^```text\n(drain-pump.*?)^```$", MANUAL, re.DOTALL | re.MULTILINE)[1]
    with pytest.raises(WrongText) as caught:
        read_procedure(WHOLE.replace("[coil tab 1, coil tab 2]", "[coil tab one, coil tab 2]"), "drain-pump.yaml")
    assert f"{caught.value}\n" == message


@pytest.mark.parametrize("kind", kinds.KINDS.values(), ids=lambda kind: kind.name)
def test_a_kind_tells_what_it_must_have(kind):
    row = next(line for line in MANUAL.splitlines() if line.startswith(f"| `{kind.name}` |"))
    must = set(re.findall(r"`([^`]+)`", row.split("|")[3]))
    may = set(re.findall(r"`([^`]+)`", row.split("|")[4]))
    needed, allowed = kind.needed, kind.allowed
    assert must == needed
    assert may <= allowed


LIMITS = re.findall(
    r"^\| (`[^|]+)\|", MANUAL.partition("| written | passes |")[2].partition("Whether")[0], re.MULTILINE
)
UNITS = {"W": "watt", "V": "volt", "ohm": "ohm", "Mohm": "ohm"}


@pytest.mark.parametrize("text", [text for cell in LIMITS for text in re.findall(r"`([^`]+)`", cell)])
def test_a_limit_is_written_like_this(text):
    like = "watt" if "rated" in text else next((si for unit, si in UNITS.items() if text.endswith(unit)), "ohm")
    if not text.startswith("+/-"):
        bounds = parse_limit(text, like)
        assert bounds.is_open or bounds.by_method or bounds.low is not None or bounds.high is not None


def test_methods_marks_quantities_and_cautions_are_told():
    for method in METHODS.values():
        row = next(line for line in MANUAL.splitlines() if line.startswith(f"| `{method.name}` | {method.title} |"))
        assert all(f"`{name}`" in row for name in method.inputs)
    for table in (HEATING, MARKS, CAUTIONS):
        assert all(f"\n| `{name}` | {text} |" in MANUAL for name, text in table.items())
    assert all(f"`{name}`" in MANUAL for name in QUANTITIES)
