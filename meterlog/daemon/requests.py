"""What can be asked over the control socket: one function a request."""

from __future__ import annotations

import base64
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo
from meterlog.base.source import near_miss
from meterlog.daemon.control_messages import (
    ActRequest,
    CloseJobRequest,
    ConcludeAgainRequest,
    ConcludedReply,
    EnterRequest,
    ErasedReply,
    EraseRequest,
    LayAsideRequest,
    OpenedReply,
    OpenJobRequest,
    PartFittedRequest,
    PhotoReply,
    PhotoRequest,
    Reply,
    StatusReply,
    StatusRequest,
    TakeUpRequest,
    TryAgainRequest,
    WalkReply,
    WorkDoneRequest,
    read_message,
)
from meterlog.daemon.status import JobStatus, Status
from meterlog.files.procedures import procedure_of
from meterlog.procedure.entries import read_entries
from meterlog.record.acts import ActKind
from meterlog.record.rejudge import concluded_again, supersede, under
from meterlog.record.suggested import basis_of, kept_suggestion, states_of
from meterlog.store.reader import StoredRecord, reading
from meterlog.store.sqlite import open_reader
from meterlog.walk import PHASES, WORDS, Act

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from meterlog.daemon.control_messages import ControlRequest
    from meterlog.daemon.loop import BenchLoop
    from meterlog.record.keptjob import KeptJob
    from meterlog.record.rejudge import Again

LONGEST_REF = 60
LONGEST_ID = 64
MEANT_FOR = ("job", "step", "phase", "id")
"""What every act names; a pedal alone need not."""
LARGEST_PHOTO = 8_000_000
PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp")


def answer_request(loop: BenchLoop, message: Mapping[str, Any]) -> Reply:
    """Do what a message asks. Raises: MeterlogError when it can't be done."""
    do = message["do"]
    if do not in REQUESTS:
        raise CannotDo(f"there is no request {do!r}", near_miss(do, REQUESTS))
    kind, handler = REQUESTS[do]
    return handler(loop, read_message(kind, message))


def _status(loop: BenchLoop, _: StatusRequest) -> StatusReply:
    job = loop.desk.job
    at_hand = None
    if job is not None:
        procedure = job.procedure
        at_hand = JobStatus(id=job.number, ref=job.ref, procedure=procedure.key, appliance=procedure.appliance)
    status = Status(
        bench=loop.writer.bench,
        version=__version__,
        utc_ms=loop.clock.utc_ms(),
        links=tuple(station.status() for station in loop.stations.values()),
        job=at_hand,
        walk=job.snapshot() if job else None,
        store=loop.store_status,
    )
    return StatusReply(status=status)


def _act(loop: BenchLoop, asked: ActRequest) -> WalkReply:
    if asked.word not in WORDS:
        raise CannotDo(f"there is no act {asked.word!r}", near_miss(asked.word, WORDS))
    act = Act(word=asked.word, to=asked.to, text=asked.text or asked.reason, who=asked.who)
    suggested = _suggested(loop, asked, f"went to {act.to}") if asked.word == "go to" else None
    walk = loop.desk.act(_meant(act, asked), asked.job or "", asked.whence, suggested)
    loop.commit()
    return WalkReply(walk=walk)


def _suggested(loop: BenchLoop, asked: ActRequest | PartFittedRequest, done: str) -> Mapping[str, Any] | None:
    """What was suggested when a person did something, as it is kept; None where their page showed no suggestion."""
    if asked.suggested is None or loop.desk.job is None:
        return None
    job = loop.desk.job
    with reading(loop.writer.path) as reader:
        if reader.job(job.ref) is None:
            return None  # its opening is not on disk yet: there is nothing that it could rest on
        basis = basis_of(reader, job.ref, job.procedure, states_of(job.snapshot()))
    return kept_suggestion(job.procedure, basis, asked.suggested, done)


def _meant(act: Act, asked: ActRequest) -> Act:
    """An act with what it was meant for, and its identity. Raises: CannotDo when it does not say; a pedal need not."""
    named = {name: value for name in MEANT_FOR if (value := getattr(asked, name)) is not None}
    if act.word == "press" and not named:
        return act
    if len(named) < len(MEANT_FOR):
        missing = ", ".join(name for name in MEANT_FOR if name not in named)
        raise CannotDo(
            f"an act says what it is meant for, and has an identity of its own; missing: {missing}",
            "take job, step and phase from the walk of the status, and make a new id for each act",
        )
    phase, identity = named["phase"], named["id"]
    if phase not in PHASES:
        raise CannotDo(f"there is no phase {phase!r}", near_miss(phase, PHASES))
    if not 8 <= len(identity) <= LONGEST_ID:
        raise CannotDo(f"an act's id has 8 to {LONGEST_ID} characters", "16 random bytes as hex will do")
    return replace(act, step=named["step"], phase=phase, id=identity)


def _open_job(loop: BenchLoop, asked: OpenJobRequest) -> OpenedReply:
    procedure = procedure_of(asked.procedure)
    ref = asked.ref or _new_ref(loop)
    if len(ref) > LONGEST_REF or not all(part.strip(".") for part in ref.split("/")):
        raise CannotDo(
            f"a job's reference has at most {LONGEST_REF} characters, and something before and after each slash",
            "choose another one with --ref",
        )
    if loop.writer.has_job(ref):
        raise CannotDo(f"there is a job {ref} already", "choose another reference with --ref")
    where = asked.where
    if where and where not in procedure.where:
        hint = near_miss(where, procedure.where) or "its limits are the same everywhere: leave --where out"
        raise CannotDo(f"this procedure has no limits for {where!r}", hint)
    entries = read_entries(procedure, asked.plate)
    loop.desk.open(
        procedure, ref, where=where, entries=entries, personal=asked.personal, who=asked.who, whence=asked.whence
    )
    loop.commit()
    return OpenedReply(job=ref, absent=tuple(procedure.instruments_absent(loop.stations)))


def _enter(loop: BenchLoop, asked: EnterRequest) -> WalkReply:
    """Entries of the job at hand that were learned later: what was judged without them is judged again."""
    entries = loop.desk.enter(asked.entries, asked.who, asked.whence)
    loop.commit()
    job = loop.desk.at_hand()
    with reading(loop.writer.path) as reader:
        kept = under(reader, job.ref)
        found = concluded_again(reader, kept)
    if found:
        told = "; ".join(f"{name} {text}" for name, text in entries.items())
        _supersede(loop, kept, found, f"entered since: {told}", asked)
    loop.desk.look_again()
    return WalkReply(walk=job.snapshot())


def _supersede(loop: BenchLoop, kept: KeptJob, found: Sequence[Again], reason: str, asked: ControlRequest) -> None:
    numbers = supersede(loop.writer, kept, found, reason, loop.clock.now(), asked.who, asked.whence)
    loop.desk.judged_again(kept, found, numbers)
    loop.commit()


def _part_fitted(loop: BenchLoop, asked: PartFittedRequest) -> WalkReply:
    job, check = loop.desk.at_hand(), asked.check
    if check and check not in job.steps:
        raise CannotDo(f"this procedure has no step {check!r}", near_miss(check, job.steps))
    if not asked.part.strip():
        raise CannotDo("a part that was fitted has a name", 'such as: meterlog job fitted "element"')
    facts = {"part": asked.part, "marking": asked.marking, "why": asked.why, "check": check}
    return _keep_for_job(loop, asked, ActKind.PART_FITTED, facts, _suggested(loop, asked, f"fitted {asked.part}"))


def _work_done(loop: BenchLoop, asked: WorkDoneRequest) -> WalkReply:
    if not asked.text.strip():
        raise CannotDo("say what was done", 'such as: meterlog job did "plug replaced"')
    return _keep_for_job(loop, asked, ActKind.WORK_DONE, {"text": asked.text})


def _keep_for_job(
    loop: BenchLoop,
    asked: PartFittedRequest | WorkDoneRequest,
    kind: ActKind,
    facts: Mapping[str, str],
    suggested: Mapping[str, Any] | None = None,
) -> WalkReply:
    """Keep what a person tells of the job at hand, as evidence, with what their page suggested meanwhile."""
    _meant_for_job(loop, asked.job)
    job = loop.desk.at_hand()
    for each, told in ((kind, facts), (ActKind.SUGGESTED, suggested)):
        if told is not None:
            loop.writer.event(each, loop.clock.now(), told, job=job.number, who=asked.who, whence=asked.whence)
    loop.commit()
    return WalkReply(walk=job.snapshot())


def _new_ref(loop: BenchLoop) -> str:
    """A reference from the day and a count: 2026-11-25-1."""
    day = loop.clock.now().utc[:10]
    number = 1
    while loop.writer.has_job(f"{day}-{number}"):
        number += 1
    return f"{day}-{number}"


def _lay_aside(loop: BenchLoop, asked: LayAsideRequest) -> Reply:
    _meant_for_job(loop, asked.job)
    loop.desk.lay_aside(asked.reason, asked.who, asked.whence)
    loop.commit()
    return Reply()


def _take_up(loop: BenchLoop, asked: TakeUpRequest) -> WalkReply:
    ref, reason = asked.job, asked.reason
    loop.commit()
    record = open_reader(loop.writer.path)
    try:
        kept = under(StoredRecord(record), ref)
        job = StoredRecord(record).job(kept.number)
        if job and job.closed_utc_ms and not reason:
            raise CannotDo(f"job {ref} was closed", "say why it is taken up again: meterlog job take REF --reason WHY")
        walk = loop.desk.take_up(kept, reason, asked.who, asked.whence, record.close)
    except BaseException:
        record.close()
        raise
    loop.commit()
    return WalkReply(walk=walk)


def _meant_for_job(loop: BenchLoop, named: str) -> None:
    """Raises: CannotDo when a request names another job than the one at hand."""
    at_hand = loop.desk.job
    if named and at_hand is not None and named != at_hand.ref:
        raise CannotDo(f"that was meant for job {named}; job {at_hand.ref} is at hand: nothing was done")


def _close_job(loop: BenchLoop, asked: CloseJobRequest) -> Reply:
    _meant_for_job(loop, asked.job)
    loop.desk.close(asked.who, asked.whence)
    loop.commit()
    return Reply()


def _photo(loop: BenchLoop, asked: PhotoRequest) -> PhotoReply:
    """Keep a photograph with a job: personal, so apart from the evidence and behind its digest."""
    job, _ = loop.writer.resume_job(asked.job)
    kind = asked.type
    try:
        content = base64.b64decode(asked.content, validate=True)
    except ValueError:
        raise CannotDo("the photograph's bytes are not base64") from None
    if kind not in PHOTO_TYPES or not 0 < len(content) <= LARGEST_PHOTO:
        raise CannotDo(f"a photograph is {', '.join(PHOTO_TYPES)}, at most {LARGEST_PHOTO // 1_000_000} MB")
    digest = loop.writer.disclose(job, "photograph", f"{kind} {asked.name}", content)
    facts = {"photograph": digest}
    loop.writer.event(ActKind.PHOTOGRAPH, loop.clock.now(), facts, job=job, who=asked.who, whence=asked.whence)
    loop.commit()
    return PhotoReply(digest=digest)


def _erase(loop: BenchLoop, asked: EraseRequest) -> ErasedReply:
    """Erase a job's personal fields; that it was done, when and by whom stays. Says what can still be found of them."""
    job, _ = loop.writer.resume_job(asked.job)
    digests, fields = loop.writer.erase(job)
    facts = {"digests": digests}
    loop.writer.event(ActKind.ERASED, loop.clock.now(), facts, job=job, who=asked.who, whence=asked.whence)
    try:
        loop.commit()
    except CannotDo:
        raise CannotDo(
            f"not erased yet: {fields} personal fields are still in the database: {loop.store_status.why}",
            "they are erased as soon as it takes that; do not repeat it",
        ) from None
    finally:
        loop.finish_erasing()
    return ErasedReply(erased=fields, still_there=loop.store_status.still_there)


def _conclude_again(loop: BenchLoop, asked: ConcludeAgainRequest) -> ConcludedReply:
    """Conclude a job again; with a reason, what differs is kept beside what it supersedes."""
    procedure = procedure_of(asked.procedure) if asked.procedure else None
    with reading(loop.writer.path) as reader:
        kept = under(reader, asked.job, procedure=procedure, where=asked.where, rule=asked.rule)
        found = concluded_again(reader, kept)
        if found and asked.reason:
            _supersede(loop, kept, found, asked.reason, asked)
    return ConcludedReply(concluded=tuple(again.as_row() for again in found), kept=bool(asked.reason))


def _try_again(loop: BenchLoop, asked: TryAgainRequest) -> Reply:
    if asked.link not in loop.stations:
        raise CannotDo(f"there is no link {asked.link!r}", near_miss(asked.link, loop.stations))
    loop.try_again(asked.link)
    return Reply()


REQUESTS: dict[str, tuple[type[ControlRequest], Callable[[BenchLoop, Any], Reply]]] = {
    "status": (StatusRequest, _status),
    "act": (ActRequest, _act),
    "open job": (OpenJobRequest, _open_job),
    "enter": (EnterRequest, _enter),
    "part fitted": (PartFittedRequest, _part_fitted),
    "work done": (WorkDoneRequest, _work_done),
    "lay aside": (LayAsideRequest, _lay_aside),
    "take up": (TakeUpRequest, _take_up),
    "close job": (CloseJobRequest, _close_job),
    "photo": (PhotoRequest, _photo),
    "erase": (EraseRequest, _erase),
    "conclude again": (ConcludeAgainRequest, _conclude_again),
    "try again": (TryAgainRequest, _try_again),
}
"""By the word of a request, what it holds and what does it."""
