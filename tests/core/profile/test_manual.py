"""The manual is held to the language: every key with its sentence, every example run."""

import re
from pathlib import Path

import jsonschema
import pytest
import yaml

from meterlog.base.schema import Record
from meterlog.conversation.checksum import KINDS
from meterlog.profile.compile.compiler import compiled_anew
from meterlog.profile.language import content, wire
from meterlog.profile.language import keys as language
from meterlog.profile.language.kinds import WORDS, parse_kind

README = Path(__file__).parents[3] / "profiles" / "INSTRUMENTS.md"
PART = README.read_text()
EXAMPLES = re.findall(r"```yaml\n(.*?)```", PART, re.DOTALL)
DECLARED = [thing for module in (wire, content, language) for thing in vars(module).values()]
RECORDS = {thing.name: thing for thing in DECLARED if isinstance(thing, Record)}
KEYS = sorted({(name, key) for name, record in RECORDS.items() for key in record.keys})


@pytest.mark.parametrize(
    "text", EXAMPLES, ids=lambda text: text.splitlines()[0].removeprefix("profile: ").split("#")[0]
)
def test_every_example_of_the_manual_is_a_profile_without_problem(text):
    compiled_anew(text, "INSTRUMENTS.md")


@pytest.mark.parametrize(
    "text", EXAMPLES, ids=lambda text: text.splitlines()[0].removeprefix("profile: ").split("#")[0]
)
def test_every_example_of_the_manual_pleases_an_editor(text):
    jsonschema.validate(yaml.load(text, Loader=yaml.CSafeLoader), language.PROFILE.json_schema())


@pytest.mark.parametrize(("record", "key"), KEYS)
def test_every_key_stands_in_the_manual_with_its_sentence(record, key):
    assert f"| `{key}` | {RECORDS[record].keys[key].doc.replace('|', chr(92) + '|')}" in PART


@pytest.mark.parametrize(("record", "key"), KEYS)
def test_every_key_is_used_in_an_example_of_the_manual(record, key):
    assert any(re.search(rf"(?m)(?:^|[{{,\s-]){re.escape(key)}:", text) for text in EXAMPLES)


@pytest.mark.parametrize("word", WORDS)
def test_every_way_of_reading_bytes_stands_in_the_manual(word):
    assert f"`{word}`" in PART
    assert parse_kind(word).name in word


def test_the_tutorial_needs_few_lines():
    assert len(EXAMPLES[0].splitlines()) < 40


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_check_stands_in_the_manual(kind):
    assert f"`{kind}`" in PART
