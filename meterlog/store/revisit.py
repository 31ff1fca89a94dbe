"""Kept rows turned back into the core's records, so that a conclusion can be reached again."""

from __future__ import annotations

import json
from datetime import date
from functools import cached_property
from typing import TYPE_CHECKING, Any

from meterlog.base.readings import Bound, Capture, Form, Reading, Timing
from meterlog.judging.limit import Rule
from meterlog.procedure.case import Answer, Case, Facts
from meterlog.procedure.heating_step import MAINS_SIDE
from meterlog.procedure.language import read_procedure
from meterlog.profile import compile_profile
from meterlog.record.audit import Piece
from meterlog.walk.heated import HEATING_RUN

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from meterlog.procedure.steps import Procedure
    from meterlog.profile import Profile
    from meterlog.store.sqlite import Connection

DAY_S = 86_400.0


def form_of(row: Mapping[str, Any]) -> Form:
    """The form of a row of the table `form`."""
    return Form(
        channel=row["channel"],
        quantity=row["quantity"],
        mode=row["mode"],
        unit=row["unit"],
        scale=row["scale"],
        offset=row["offset"],
        decimals=row["decimals"],
        width=row["width"],
        negative_zero=bool(row["negative_zero"]),
        bound=Bound(row["bound"]) if row["bound"] else None,
        flags=tuple(row["flags"].split(", ")) if row["flags"] else (),
        range=row["range"],
        range_top=row["range_top"],
    )


def facts_of(text: str, taken_utc_ms: int) -> Facts:
    """The facts kept of an instrument, as they stood when a capture was taken."""
    kept = json.loads(text)
    age = None
    if "calibrated" in kept:
        day = date.fromisoformat(kept["calibrated"])
        age = taken_utc_ms / 1000.0 - (day - date(1970, 1, 1)).days * DAY_S
    ambient, voltage = kept.get("ambient_K"), kept.get("open_circuit_voltage_V")
    return Facts(
        calibrated_age_s=age,
        ambient_k=float(ambient) if ambient else None,
        open_circuit_voltage=float(voltage) if voltage else None,
    )


class Revisit:
    """A database's evidence as records. Texts are compiled once."""

    def __init__(self, db: Connection) -> None:
        self._db = db
        self._profiles: dict[str, Profile] = {}
        self._procedures: dict[str, Procedure] = {}

    @cached_property
    def forms(self) -> dict[int, Form]:
        return {row["id"]: form_of(row) for row in self._db.execute("SELECT * FROM form")}

    def text(self, sha256: str) -> str:
        return str(self._db.execute("SELECT body FROM text WHERE sha256 = ?", [sha256]).fetchone()[0])

    def profile(self, sha256: str) -> Profile:
        if sha256 not in self._profiles:
            self._profiles[sha256] = compile_profile(self.text(sha256), f"kept profile {sha256[:8]}")
        return self._profiles[sha256]

    def procedure(self, sha256: str) -> Procedure:
        if sha256 not in self._procedures:
            self._procedures[sha256] = read_procedure(self.text(sha256), f"kept procedure {sha256[:8]}")
        return self._procedures[sha256]

    # ---- bytes and readings ----

    def chunks(self) -> Iterator[dict[str, Any]]:
        """All chunks in order, each with its instrument's profile hash."""
        rows = self._db.execute(
            "SELECT c.*, i.profile, i.name FROM chunk c JOIN link l ON l.id = c.link "
            "JOIN instrument i ON i.id = l.instrument ORDER BY c.id"
        )
        return (dict(row) for row in rows)

    def pieces(self, chunk: Mapping[str, Any]) -> list[Piece]:
        """A chunk's bytes as the outcomes that they were kept as, with what was sent between them."""
        spans = self._db.execute(
            "SELECT DISTINCT place, length, at FROM (SELECT place, length, at FROM reading WHERE id BETWEEN ? AND ? "
            "UNION ALL SELECT place, length, at FROM unread WHERE chunk = ?)",
            [chunk["first_reading"], chunk["first_reading"] + chunk["readings"] - 1, chunk["id"]],
        ).fetchall()
        raw = bytes(chunk["raw"])
        pieces = [(place, 1, Piece(at / 1000.0, raw[place : place + length])) for place, length, at in spans]
        sent = self._db.execute("SELECT place, at, raw FROM sent WHERE chunk = ?", [chunk["id"]]).fetchall()
        pieces += [(place, 0, Piece(at / 1000.0, bytes(data), is_sent=True)) for place, at, data in sent]
        return [piece for _, _, piece in sorted(pieces, key=lambda entry: entry[:2])]

    def readings(self, chunk: Mapping[str, Any]) -> list[Reading]:
        """A chunk's kept readings, in order."""
        rows = self._db.execute(
            "SELECT form, counts FROM reading WHERE id BETWEEN ? AND ? ORDER BY id",
            [chunk["first_reading"], chunk["first_reading"] + chunk["readings"] - 1],
        )
        return [Reading(self.forms[form], counts) for form, counts in rows]

    def run(self, link: int, first: int, last: int) -> tuple[tuple[float, Reading], ...]:
        """(time in s, reading) of a link's instrument between two reading ids, both included.

        A long run may have begun on an earlier link of the same instrument; times are on this link's clock.
        """
        rows = self._db.execute(
            "SELECT r.at + l.opened_monotonic_ms - this.opened_monotonic_ms, r.form, r.counts "
            "FROM reading r JOIN chunk c ON c.id = r.chunk JOIN link l ON l.id = c.link "
            "JOIN instrument i ON i.id = l.instrument, link this JOIN instrument mine ON mine.id = this.instrument "
            "WHERE r.id BETWEEN ? AND ? AND this.id = ? AND i.name = mine.name ORDER BY r.id",
            [first, last, link],
        )
        return tuple((at / 1000.0, Reading(self.forms[form], counts)) for at, form, counts in rows)

    def beside(self, capture: Mapping[str, Any]) -> tuple[tuple[float, Reading], ...]:
        """What other instruments read of the mains side during a heating run, on the capture's link's clock."""
        if capture["how"] != HEATING_RUN:
            return ()
        wanted = [number for number, form in self.forms.items() if form.quantity in MAINS_SIDE]
        rows = self._db.execute(
            f"SELECT r.at + o.opened_monotonic_ms - l.opened_monotonic_ms AS at, r.form, r.counts FROM link l "
            f"JOIN link o ON o.boot = l.boot AND o.instrument != l.instrument JOIN chunk c ON c.link = o.id "
            f"JOIN reading r ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 "
            f"WHERE l.id = ? AND c.job = ? AND r.form IN ({', '.join('?' * len(wanted))}) "
            f"AND r.at + o.opened_monotonic_ms - l.opened_monotonic_ms BETWEEN ? AND ? ORDER BY 1, r.id",
            [capture["link"], capture["job"], *wanted, capture["started"], capture["ended"]],
        )
        return tuple((at / 1000.0, Reading(self.forms[form], counts)) for at, form, counts in rows)

    # ---- captures and cases ----

    def capture_rows(self) -> Iterator[dict[str, Any]]:
        return (dict(row) for row in self._db.execute("SELECT * FROM capture ORDER BY id"))

    def capture(self, row: Mapping[str, Any]) -> Capture:
        """A kept capture; its ordinals are reading ids here."""
        return Capture(
            form=self.forms[row["form"]],
            counts=row["counts"],
            count=row["count"],
            spread=row["spread"],
            deviation=row["deviation"],
            started=row["started"] / 1000.0,
            ended=row["ended"] / 1000.0,
            first=row["first_reading"],
            last=row["last_reading"],
            how=row["how"],
            proof=tuple((first, last) for first, last in json.loads(row["proof"])),
            timing=Timing(*json.loads(row["timing"])) if row["timing"] else None,
        )

    def answer(self, number: int) -> Answer:
        """A kept capture with its instrument, as a verdict rests on it."""
        row = dict(
            self._db.execute(
                "SELECT c.*, l.opened_utc_ms, i.name, i.profile, t.body AS facts "
                "FROM capture c LEFT JOIN link l ON l.id = c.link "
                "LEFT JOIN instrument i ON i.id = l.instrument LEFT JOIN text t ON t.sha256 = i.facts WHERE c.id = ?",
                [number],
            ).fetchone()
        )
        capture = self.capture(row)
        if row["link"] is None:
            return Answer(capture=capture)
        return Answer(
            capture=capture,
            instrument=row["name"],
            accuracy=self.profile(row["profile"]).accuracy(capture.form),
            facts=facts_of(row["facts"], row["opened_utc_ms"] + row["ended"]),
            log=lambda: self.run(row["link"], row["first_reading"], row["last_reading"]),
            beside=lambda: self.beside(row),
        )

    def case(self, verdict: Mapping[str, Any]) -> Case:
        """The case that a verdict was reached from, as its context says."""
        context = json.loads(verdict["context"])
        return Case(
            procedure=self.procedure(verdict["procedure"]),
            where=context["where"],
            rule=Rule(context["rule"]) if "rule" in context else None,
            entries=context["entries"],
            answers={key: self.answer(number) for key, number in context["captures"].items()},
        )
