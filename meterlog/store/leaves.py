"""The leaf texts of the store's rows, for the writer that seals them and the audit that makes them again.

Each function takes plain row values, as they stand in the database, so that both sides say the
same. Personal values never enter: a job's leaf holds only digests.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from meterlog.base.seals import leaf_text, lines_digest, sha256_hex

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

FORM_COLUMNS = (
    "channel", "quantity", "mode", "unit", "scale", "offset", "decimals", "width", "negative_zero", "bound", "flags",
    "range", "range_top",
)  # fmt: skip

JOB_COLUMNS = ("ref", "appliance", "procedure", "plate", "digests", "opened_utc_ms")
CAPTURE_COLUMNS = (
    "step", "link", "counts", "count", "spread", "deviation", "started", "ended", "first_reading", "last_reading",
    "how", "proof", "timing",
)  # fmt: skip
VERDICT_COLUMNS = (
    "step", "capture", "outcome", "why", "result", "context", "procedure", "profile", "facts", "program", "supersedes",
    "reason", "at_utc_ms",
)  # fmt: skip
EVENT_COLUMNS = ("at_utc_ms", "monotonic_ms", "boot", "kind", "step", "link", "who", "whence", "facts")


def form_digest(form: Mapping[str, Any]) -> str:
    """A short digest of a form's columns, which stands for it in the digest of readings."""
    return whole_form_digest(form)[:16]


def whole_form_digest(form: Mapping[str, Any]) -> str:
    """The digest of a form's columns, joined by NUL in the order of FORM_COLUMNS."""
    return sha256_hex("\x00".join(form_columns(form)).encode())


def form_columns(form: Mapping[str, Any]) -> tuple[str, ...]:
    """A form's columns as texts, in the order of FORM_COLUMNS."""
    return tuple(_plain(form[name]) for name in FORM_COLUMNS)


def _plain(value: Any) -> str:
    """A column as text: whole numbers and texts as they are, floats by repr, NULL as '-'."""
    return "-" if value is None else repr(value) if isinstance(value, float) else str(value)


def readings_digest(rows: Iterable[Sequence[Any]], forms: Mapping[int, str]) -> str:
    """Digest of (id, chunk, at, form, counts, place, length) rows in id order; `forms` by id."""
    return lines_digest(readings_lines(rows, forms))


def readings_lines(rows: Iterable[Sequence[Any]], forms: Mapping[int, str]) -> list[str]:
    """The lines of that digest: id, ms, form's short digest, counts, place, length."""
    return [f"{r[0]} {r[2]} {forms[r[3]]} {r[4]} {r[5]} {r[6]}" for r in rows]


def reread_digest(rows: Iterable[Sequence[Any]], forms: Mapping[int, str]) -> str:
    """Digest of (id, event, link, start, reading, form, counts) rows in id order; `forms` by id."""
    return lines_digest(" ".join(_plain(v) for v in (r[0], *r[2:5], forms.get(r[5], "-"), r[6])) for r in rows)


def rest_digest(unread: Iterable[Sequence[Any]], sent: Iterable[Sequence[Any]]) -> str:
    """Digest of a chunk's unread rows (id, chunk, at, kind, reason, place, length) and sent rows."""
    return lines_digest(rest_lines(unread, sent))


def rest_lines(unread: Iterable[Sequence[Any]], sent: Iterable[Sequence[Any]]) -> list[str]:
    """The lines of that digest: id, ms, kind, place, length, reason; then id, ms, place, bytes."""
    lines = [f"{r[0]} {r[2]} {r[3]} {r[5]} {r[6]} {r[4]}" for r in unread]
    return lines + [f"{r[0]} {r[2]} {r[3]} {bytes(r[4]).hex()}" for r in sent]


def chunk_leaf(chunk: Mapping[str, Any], link: Mapping[str, Any], readings: str, rest: str, where: LeafOwner) -> str:
    """The leaf of one link's bytes and readings within one commit, job and step."""
    return leaf_text(
        {
            "kind": "readings",
            **where,
            "chunk": chunk["id"],
            "step": chunk["step"] or 0,
            "at": chunk["at"],
            "first": chunk["first_reading"],
            "count": chunk["readings"],
            "raw": sha256_hex(chunk["raw"]),
            "readings": readings,
            "rest": rest,
            "link": link["id"],
            "url": link["url"],
            "opened": link["opened_utc_ms"],
            "monotonic": link["opened_monotonic_ms"],
            "boot": link["boot"],
            "instrument": link["name"],
            "profile": link["profile"],
            "facts": link["facts"],
        }
    )


LeafOwner = dict[str, "str | int"]


def where(ref: str | None, number: int | None) -> LeafOwner:
    """Which job a leaf belongs to and its number there; empty for no job."""
    return {} if ref is None or number is None else {"job": ref, "n": number}


def row_leaf(kind: str, row: Mapping[str, Any], where: LeafOwner) -> str:
    """The leaf of a job, capture, verdict or event row."""
    columns = {"job": JOB_COLUMNS, "capture": CAPTURE_COLUMNS, "verdict": VERDICT_COLUMNS, "event": EVENT_COLUMNS}
    fields: dict[str, str | int] = {}
    for name in columns[kind]:
        value = row[name]
        fields[name] = value if isinstance(value, int) else _plain(value)
    if kind == "capture":
        fields["form"] = row["form_digest"]
    if kind == "event":
        fields["what"] = fields.pop("kind")
    return leaf_text({**fields, "kind": kind, "id": row["id"], **where})


STEP_COLUMNS = ("id", "position", "key", "title", "kind", "points", "quantity", "limits")


def steps_leaf(job: int, steps: Iterable[Mapping[str, Any]], where: LeafOwner) -> str:
    """The leaf of a job's steps: all of them in order, as one canonical JSON list of objects."""
    rows = [{name: step[name] for name in STEP_COLUMNS} for step in steps]
    text = json.dumps(rows, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return leaf_text({"kind": "steps", "id": job, "steps": text, **where})


def bench_leaf(row: Mapping[str, Any]) -> str:
    """The leaf of an identity that the record goes under, and of the one before it."""
    return leaf_text(
        {
            "kind": "bench",
            "id": row["id"],
            "identity": row["identity"],
            "made": row["made_utc"],
            "first": row["first_seal"],
            "parent": _plain(row["parent"]),
        }
    )


def text_leaf(row: Mapping[str, Any]) -> str:
    """The leaf of a kept text: its hash, what it is and its name."""
    return leaf_text({"kind": "text", "id": row["id"], "text": row["sha256"], "what": row["kind"], "name": row["name"]})


def instrument_leaf(row: Mapping[str, Any]) -> str:
    """The leaf of an instrument as it stood: its name and its texts."""
    names = ("id", "name", "profile", "facts")
    return leaf_text({"kind": "instrument", **{name: row[name] for name in names}})


def link_leaf(row: Mapping[str, Any]) -> str:
    """The leaf of one opening of an instrument's connection."""
    return leaf_text(
        {
            "kind": "link",
            "id": row["id"],
            "instrument": row["instrument"],
            "url": row["url"],
            "opened": row["opened_utc_ms"],
            "monotonic": row["opened_monotonic_ms"],
            "boot": row["boot"],
        }
    )


def form_leaf(row: Mapping[str, Any]) -> str:
    """The leaf of a form: the whole digest of its columns, which begins with the short one."""
    return leaf_text({"kind": "form", "id": row["id"], "form": whole_form_digest(row)})


PLAIN: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "bench": bench_leaf,
    "text": text_leaf,
    "instrument": instrument_leaf,
    "link": link_leaf,
    "form": form_leaf,
}
"""The leaves that belong to no job, by kind: each is made of its own row alone."""
