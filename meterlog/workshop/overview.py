"""Which bench holds what, and how far behind it is: from the server, for the command and the page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from meterlog.workshop.address import psycopg


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchThere:
    """A bench as the workshop sees it.

    Attributes:
        reached: last commit of its unbroken line, -1 for none; `newest` the last of all that came.
        heard: when something of it came last by the server's clock, ISO 8601 UTC, "" for never.
        jobs: how many it has opened. forks: numbers that hold rival commits.
    """

    identity: str
    label: str
    reached: int
    newest: int
    heard: str
    jobs: int
    forks: int

    @property
    def missing(self) -> str:
        """What is known to be missing, in words; what a bench has not sent nobody here can know."""
        if self.forks:
            return f"two records under one identity: {self.forks} commits have a rival"
        return f"{self.newest - self.reached} commits or fewer" if self.newest > self.reached else ""


def benches(server: psycopg.Connection[Any]) -> list[BenchThere]:
    """Every bench that joined, by label."""
    sql = """
        SELECT b.identity, b.label, meterlog.reach(b.identity),
            coalesce((SELECT max(number) FROM meterlog.commit c WHERE c.bench = b.identity), -1),
            coalesce(to_char(h.at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS"Z"'), ''),
            (SELECT count(DISTINCT id) FROM meterlog.row r WHERE r.bench = b.identity AND r.tbl = 'job'),
            (SELECT count(*) FROM meterlog.rival f WHERE f.bench = b.identity)
        FROM meterlog.bench b LEFT JOIN meterlog.heard h ON h.bench = b.identity ORDER BY b.label, b.identity
    """
    names = ("identity", "label", "reached", "newest", "heard", "jobs", "forks")
    return [BenchThere(**dict(zip(names, row, strict=True))) for row in server.execute(sql)]
