"""What a database already holds by content: texts, instruments, forms; and the next id of each table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from meterlog.base.source import text_sha256
from meterlog.store import leaves

if TYPE_CHECKING:
    from meterlog.base.readings import Form
    from meterlog.store.batch import Batch
    from meterlog.store.sqlite import Connection

NUMBERED = (
    "instrument", "link", "chunk", "form", "reading", "unread", "sent", "job", "step", "capture", "verdict", "event",
    "reread", "text", "bench",
)  # fmt: skip

FORMS_AT_HAND = 4096
"""Form objects known by identity; a profile that makes new ones for each reading must not fill memory."""


class RowNumbers:
    """Ids for what is new, the old id for what is known; new rows go into the batch given."""

    def __init__(self, db: Connection) -> None:
        self._db = db
        self._last = {t: db.execute(f"SELECT coalesce(max(id), 0) FROM {t}").fetchone()[0] for t in NUMBERED}
        self._texts = {row[0] for row in db.execute("SELECT sha256 FROM text")}
        self._forms: dict[Form, int] = {}
        self._same: dict[int, tuple[Form, int]] = {}
        self.form_digests: dict[int, str] = {}

    def next(self, table: str, count: int = 1) -> int:
        """The first of `count` new ids of a table."""
        first = self._last[table] + 1
        self._last[table] += count
        return int(first)

    def last(self, table: str) -> int:
        return int(self._last[table])

    def text(self, kind: str, name: str, body: str, batch: Batch) -> str:
        """Keep a text under its hash; answers the hash."""
        sha = text_sha256(body)
        if sha not in self._texts:
            self._texts.add(sha)
            batch.add("text", {"id": self.next("text"), "sha256": sha, "kind": kind, "name": name, "body": body})
        return sha

    def instrument(self, name: str, profile: str, facts: str, batch: Batch) -> int:
        """The id of an instrument as it stands now: another profile or other facts make another row."""
        row = {"name": name, "profile": profile, "facts": facts}
        for kind, waiting in batch.plain:
            if kind == "instrument" and row.items() <= waiting.items():
                return int(waiting["id"])
        found = self._db.execute(
            "SELECT id FROM instrument WHERE name = ? AND profile = ? AND facts = ?", [name, profile, facts]
        ).fetchone()
        if found:
            return int(found[0])
        number = self.next("instrument")
        batch.add("instrument", {"id": number, **row})
        return number

    def form(self, form: Form, batch: Batch) -> int:
        """The id of a form. Readings share few forms, so the very same object is looked for first."""
        same = self._same.get(id(form))
        if same is not None and same[0] is form:
            return same[1]
        number = self._forms.get(form)
        if number is None:
            number = self._forms[form] = self._form_row(form, batch)
        if len(self._same) >= FORMS_AT_HAND:
            self._same.clear()
        self._same[id(form)] = form, number
        return number

    def _form_row(self, form: Form, batch: Batch) -> int:
        columns = form_row(form)
        same = " AND ".join(f"{name} IS ?" for name in leaves.FORM_COLUMNS)
        found = self._db.execute(f"SELECT id FROM form WHERE {same}", list(columns.values())).fetchone()
        number = int(found[0]) if found else self.next("form")
        if not found:
            batch.add("form", {"id": number, **columns})
        self.form_digests[number] = leaves.form_digest(columns)
        return number


def form_row(form: Form) -> dict[str, Any]:
    """A form's columns as they stand in the database."""
    columns = {name: getattr(form, name) for name in leaves.FORM_COLUMNS}
    return {
        **columns,
        "negative_zero": int(form.negative_zero),
        "bound": str(form.bound or ""),
        "flags": ", ".join(form.flags),
    }
