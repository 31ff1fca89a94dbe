"""A kept job as it stood last: to go on with after a restart, or to conclude again."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from meterlog.store.revisit import Revisit

if TYPE_CHECKING:
    from meterlog.judging.limit import Rule
    from meterlog.procedure.case import Answer
    from meterlog.procedure.steps import Procedure
    from meterlog.store.sqlite import Connection


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptCapture:
    """One capture of a job: the answer it gives, its instrument's texts, the outcome of its last verdict."""

    step: str
    number: int
    answer: Answer
    profile: str | None
    facts: str | None
    outcome: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptJob:
    """A job from its rows.

    Attributes:
        captures: in the order taken.
        passed: by step key, how a step was left without a capture.
        verdicts: by step key, the number of the verdict that counts.
        at_hand: the step that was begun last, "" when none was.
        rule: a decision rule in place of the procedure's, None for its own.
    """

    number: int
    ref: str
    procedure: Procedure
    where: str
    entries: Mapping[str, str]
    captures: tuple[KeptCapture, ...]
    passed: Mapping[str, str]
    verdicts: Mapping[str, int]
    at_hand: str
    rule: Rule | None = None


def open_job(db: Connection) -> KeptJob | None:
    """The last job that was opened and not closed; None when there is none."""
    row = db.execute(
        "SELECT ref FROM job j WHERE NOT EXISTS "
        "(SELECT 1 FROM event e WHERE e.job = j.id AND e.kind = 'job closed') ORDER BY j.id DESC LIMIT 1"
    ).fetchone()
    return kept_job(db, row["ref"]) if row else None


def kept_job(db: Connection, ref: str) -> KeptJob:
    """The job of a reference. Raises: KeyError when there is none."""
    job = db.execute("SELECT * FROM job WHERE ref = ?", [ref]).fetchone()
    if job is None:
        raise KeyError(ref)
    revisit = Revisit(db)
    verdicts = _counting_verdicts(db, job["id"])
    opened = _facts(db, job["id"], "job opened")
    passed = {key: json.loads(facts)["how"] for key, facts in _events(db, job["id"], "passed")}
    begun = _events(db, job["id"], "step began")
    return KeptJob(
        number=job["id"],
        ref=ref,
        procedure=revisit.procedure(job["procedure"]),
        where=opened.get("where", ""),
        entries={**json.loads(job["plate"]), **_entered(db, job["id"])},
        captures=_captures(db, job["id"], revisit),
        passed=passed,
        verdicts={key: number for key, (number, _) in verdicts.items()},
        at_hand=begun[-1][0] if begun else "",
    )


def _captures(db: Connection, job: int, revisit: Revisit) -> tuple[KeptCapture, ...]:
    rows = db.execute(
        "SELECT c.id, s.key, i.profile, i.facts, "
        "(SELECT v.outcome FROM verdict v WHERE v.capture = c.id ORDER BY v.id DESC LIMIT 1) AS outcome "
        "FROM capture c JOIN step s ON s.id = c.step LEFT JOIN link l ON l.id = c.link "
        "LEFT JOIN instrument i ON i.id = l.instrument WHERE c.job = ? ORDER BY c.id",
        [job],
    )
    return tuple(
        KeptCapture(
            step=key, number=number, answer=revisit.answer(number), profile=profile, facts=facts, outcome=outcome or ""
        )
        for number, key, profile, facts, outcome in rows.fetchall()
    )


def _counting_verdicts(db: Connection, job: int) -> dict[str, tuple[int, str]]:
    """By step key, number and outcome of the verdict that no later one supersedes."""
    rows = db.execute(
        "SELECT s.key, v.id, v.outcome FROM verdict v JOIN step s ON s.id = v.step WHERE v.job = ? AND NOT EXISTS "
        "(SELECT 1 FROM verdict later WHERE later.supersedes = v.id) ORDER BY v.id",
        [job],
    )
    return {key: (number, outcome) for key, number, outcome in rows}


def _events(db: Connection, job: int, kind: str) -> list[tuple[str, str]]:
    rows = db.execute(
        "SELECT s.key, e.facts FROM event e JOIN step s ON s.id = e.step WHERE e.job = ? AND e.kind = ? ORDER BY e.id",
        [job, kind],
    )
    return [(key, facts) for key, facts in rows]


def _entered(db: Connection, job: int) -> dict[str, str]:
    """Entries that were told after the job was opened, the last word on each."""
    entries: dict[str, str] = {}
    for row in db.execute("SELECT facts FROM event WHERE job = ? AND kind = 'entries' ORDER BY id", [job]):
        entries.update(json.loads(row["facts"])["entries"])
    return entries


def _facts(db: Connection, job: int, kind: str) -> dict[str, str]:
    row = db.execute("SELECT facts FROM event WHERE job = ? AND kind = ?", [job, kind]).fetchone()
    facts: dict[str, str] = json.loads(row["facts"]) if row else {}
    return facts
