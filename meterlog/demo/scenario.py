"""The demo's scenario: which instruments stand on the bench, which jobs are worked, from which recordings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.base import recording
from meterlog.base.schema import Key, ListOf, MapOf, Record, Where, read_text, text
from meterlog.files.shipped import folder, text_of

if TYPE_CHECKING:
    from meterlog.base.recording import Event

FOLDER = "sample_captures/kitchen"


@dataclass(frozen=True, slots=True, kw_only=True)
class ScenarioJob:
    """One job: its recordings' folder, and what is told when it is opened."""

    folder: str
    ref: str
    procedure: str
    plate: Mapping[str, str]
    personal: Mapping[str, str]
    where: Where | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """What is played: profile keys by instrument, and the jobs in order."""

    scenario: str
    bench: str
    instruments: Mapping[str, str]
    jobs: tuple[ScenarioJob, ...]
    where: Where | None = None


TEXTS = MapOf(text(), text())

JOB = Record(
    "a job",
    ScenarioJob,
    {
        "folder": Key(shape=text(), doc="Where its recordings lie.", required=True),
        "ref": Key(shape=text(), doc="The job's reference.", required=True),
        "procedure": Key(shape=text(), doc="The procedure's key.", required=True),
        "plate": Key(shape=TEXTS, doc="What the plate says and the person knows.", required=True),
        "personal": Key(shape=TEXTS, doc="What is kept apart.", required=True),
    },
)

SCENARIO = Record(
    "a scenario",
    Scenario,
    {
        "scenario": Key(shape=text(), doc="What happens, in a sentence.", required=True),
        "bench": Key(shape=text(), doc="The bench's name.", required=True),
        "instruments": Key(shape=TEXTS, doc="Profile keys by instrument.", required=True),
        "jobs": Key(shape=ListOf(JOB, least=1), doc="The jobs, in order.", required=True),
    },
)


def scenario() -> Scenario:
    """The shipped scenario. Raises: WrongText."""
    path = folder(FOLDER) / "scenario.yaml"
    read: Scenario = read_text(SCENARIO, text_of(path), str(path))
    return read


def timeline(job: ScenarioJob) -> list[tuple[float, str, Event]]:
    """All events of a job's recordings with the instrument (or "person") that they belong to, in order of time."""
    events: list[tuple[float, str, Event]] = []
    for path in sorted((folder(FOLDER) / job.folder).glob("*.txt")):
        read = recording.parse(text_of(path), str(path))
        events += [(event.at, read.head.get("instrument", Path(path).stem), event) for event in read.events]
    return sorted(events, key=lambda entry: entry[0])
