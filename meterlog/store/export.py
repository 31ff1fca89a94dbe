"""What an evidence file shows of a job: its leaves with their proofs, the bytes, forms and texts under them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from meterlog.base.errors import CannotDo
from meterlog.base.merkle import Tree, leaf_hash
from meterlog.base.seals import read_line
from meterlog.record.acts import ActKind
from meterlog.record.bag import ChunkLines, JobEvidence, LeafProof
from meterlog.record.head import tree_of
from meterlog.store import leaves
from meterlog.store.reader import StoredRecord
from meterlog.store.sealed import Leaves, Unmade
from meterlog.store.upgrade import is_sealed_whole

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from meterlog.store.sqlite import Connection

AUDIT_FIRST = "see what differs with: meterlog audit"


def job_evidence(db: Connection, ref: str, html: str, how_to_check: str) -> JobEvidence:
    """All that is shown of a job. Raises: CannotDo when there is none, or its rows are not those that were sealed."""
    reader = StoredRecord(db)
    job = reader.job(ref)
    if job is None:
        raise CannotDo(f"there is no job {ref!r}", "list them with: meterlog job list")
    if not is_sealed_whole(db):
        raise CannotDo("this record is of an older layout", "take it up once with: meterlog listen")
    made = Leaves(db, shows_chunks=True)
    texts, forms = _rests_on(db, job.id)
    wanted = _leaf_places(db, job.id, texts, forms)
    seals = {row["number"]: row["line"] for row in db.execute("SELECT number, line FROM seal ORDER BY number")}
    log = tree_of(seals.values())
    proofs = list(_proofs(made, seals, wanted))
    return JobEvidence(
        job=ref,
        bench=read_line(seals[max(seals)]).bench,
        leaves=proofs,
        seals={number: seals[number] for number in sorted({proof.seal for proof in proofs})},
        log=log,
        chunks=_chunks(db, job.id, made.shown or {}),
        forms=[leaves.form_columns(row) for row in db.execute("SELECT * FROM form ORDER BY id") if row["id"] in forms],
        texts={sha256: _text(reader, sha256) for sha256 in sorted(texts)},
        personal=reader.personal(job.id, with_content=True),
        html=html,
        how_to_check=how_to_check,
    )


def _text(reader: StoredRecord, sha256: str) -> str:
    kept = reader.text(sha256)
    if kept is None:
        raise CannotDo(f"the text {sha256[:8]} is not there", AUDIT_FIRST)
    return kept.body


def _chunks(db: Connection, job: int, shown: Mapping[int, ChunkLines]) -> list[ChunkLines]:
    """The job's own chunks, in order; their commits may hold others."""
    return [shown[row[0]] for row in db.execute("SELECT id FROM chunk WHERE job = ? ORDER BY id", [job])]


def _rests_on(db: Connection, job: int) -> tuple[set[str], set[int]]:
    """The hashes of the texts, and the ids of the forms, that a job's rows rest on."""
    texts = {row[0] for row in db.execute("SELECT procedure FROM job WHERE id = ?", [job])}
    for column in ("procedure", "profile", "facts"):
        texts |= {row[0] for row in db.execute(f"SELECT {column} FROM verdict WHERE job = ?", [job]) if row[0]}
    for row in db.execute(f"SELECT DISTINCT i.profile, i.facts FROM link l {_OF_JOB}", [job, job]):
        texts |= set(row)
    forms = {row[0] for row in db.execute("SELECT form FROM capture WHERE job = ?", [job])}
    sql = (
        "SELECT DISTINCT r.form FROM chunk c JOIN reading r "
        "ON r.id BETWEEN c.first_reading AND c.first_reading + c.readings - 1 WHERE c.job = ?"
    )
    return texts, forms | {row[0] for row in db.execute(sql, [job])}


_OF_JOB = (
    "JOIN instrument i ON i.id = l.instrument WHERE l.id IN "
    "(SELECT link FROM chunk WHERE job = ? UNION SELECT link FROM capture WHERE job = ?)"
)


def _leaf_places(db: Connection, job: int, texts: Iterable[str], forms: Iterable[int]) -> set[tuple[int, int]]:
    """(seal, place) of every leaf that is shown."""
    places = {tuple(row) for row in db.execute("SELECT seal, place FROM leaf WHERE job = ?", [job])}
    links = {tuple(row) for row in db.execute(f"SELECT l.id, i.id FROM link l {_OF_JOB}", [job, job])}
    text_ids = [db.execute("SELECT id FROM text WHERE sha256 = ?", [each]).fetchone()[0] for each in texts]
    replaced = db.execute("SELECT id FROM event WHERE kind = ? AND job IS NULL", [ActKind.KEY_REPLACED])
    subjects: dict[str, Iterable[int]] = {
        "event": [row[0] for row in replaced],
        "bench": [row[0] for row in db.execute("SELECT id FROM bench")],
        "link": {link for link, _ in links},
        "instrument": {instrument for _, instrument in links},
        "text": text_ids,
        "form": forms,
    }
    for kind, ids in subjects.items():
        for subject in ids:
            row = db.execute("SELECT seal, place FROM leaf WHERE kind = ? AND subject = ?", [kind, subject]).fetchone()
            if row is None:
                raise CannotDo(f"{kind} {subject} is under no seal", AUDIT_FIRST)
            places.add(tuple(row))
    return places


def _proofs(made: Leaves, seals: dict[int, str], wanted: set[tuple[int, int]]) -> Iterator[LeafProof]:
    """The wanted leaves in the order of the record, each with its path. Raises: CannotDo when a root differs."""
    for number, found in made.of_seals(sorted({seal for seal, _ in wanted})):
        texts = [leaf.text for leaf in found if not isinstance(leaf, Unmade)]
        tree = Tree([leaf_hash(text.encode()) for text in texts])
        if len(texts) != len(found) or tree.root().hex() != read_line(seals[number]).root:
            raise CannotDo(f"the rows under seal {number} are not those that were sealed", AUDIT_FIRST)
        for place, text in enumerate(texts):
            if (number, place) in wanted:
                path = tuple(tree.inclusion(place))
                yield LeafProof(text=text, seal=number, place=place, of=len(texts), path=path)
