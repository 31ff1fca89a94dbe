"""What the documents say exists does, and what exists stands in them."""

import re
from pathlib import Path

import pytest

from meterlog.cli import COMMANDS
from meterlog.cli.job import job
from meterlog.procedure.entries import read_entries
from meterlog.procedure.language import read_procedure

TOP = Path(__file__).parents[2]
README = (TOP / "README.md").read_text()
DEVELOPERS = (TOP / "DEVELOPERS.md").read_text()
FOLDERS = ["meterlog", "profiles", "sample_captures", "tests"]
DOCUMENTS = ["README.md", "DEVELOPERS.md"] + [
    str(path.relative_to(TOP)) for folder in FOLDERS for path in sorted((TOP / folder).rglob("*.md"))
]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_stands_in_the_readme(command):
    assert re.search(rf"^\| `meterlog {command}\b", README, re.MULTILINE)


def test_every_command_in_the_readme_exists():
    assert set(re.findall(r"^\| `meterlog ([a-z]+)", README, re.MULTILINE)) == set(COMMANDS)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_link_to_a_file_finds_it(document):
    path = TOP / document
    links = re.findall(r"\]\(([^)#\s]+)", path.read_text())
    missing = [link for link in links if "://" not in link and not (path.parent / link).exists()]
    assert missing == []


def test_every_room_that_is_drawn_is_there():
    drawn = DEVELOPERS.partition("meterlog/\n")[2].partition("```")[0]
    names = re.findall(r"^  ([a-z_]+/)", drawn, re.MULTILINE)
    assert len(names) > 12
    assert sorted(set(names)) == sorted(names)
    assert [name for name in names if not (TOP / "meterlog" / name).exists()] == []


def test_every_room_is_drawn():
    drawn = DEVELOPERS.partition("meterlog/\n")[2].partition("```")[0]
    rooms = [p.name for p in (TOP / "meterlog").iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()]
    known = [name for name in rooms if not name.startswith("__")]
    assert [name for name in known if not re.search(rf"\b{re.escape(name)}(/|\b)", drawn)] == []


def test_the_help_for_opening_a_job_and_the_readme_name_entries_that_exist():
    for text in (job.commands["open"].help, README):
        key, name, value = re.search(r'meterlog job open (\S+) --plate "([^=]+)=([^"]+)"', text).groups()
        path = TOP / "profiles" / "procedures" / f"{key}.yaml"
        read_entries(read_procedure(path.read_text(), path.name), {name: value})
