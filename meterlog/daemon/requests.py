"""What can be asked over the control socket: one function a request."""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

from meterlog import __version__
from meterlog.base.errors import CannotDo, WrongValue
from meterlog.base.source import near_miss
from meterlog.base.spelling import words
from meterlog.files.procedures import procedure_of
from meterlog.procedure.entries import read_entries
from meterlog.record.acts import ActKind
from meterlog.record.rejudge import concluded_again, supersede, under
from meterlog.record.suggested import basis_of, kept_suggestion, states_of
from meterlog.store.reader import StoredRecord, reading
from meterlog.store.sqlite import open_reader
from meterlog.store.writer import DIGESTS_A_JOB
from meterlog.walk import PHASES, WORDS, Act

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from meterlog.daemon.loop import BenchLoop
    from meterlog.record.keptjob import KeptJob
    from meterlog.record.rejudge import Again

Message = dict[str, Any]

LONGEST_NAME = 1000
LONGEST_REF = 60
LONGEST_ID = 64
MEANT_FOR = ("job", "step", "phase", "id")
"""What every act names; a pedal alone need not."""
LONGEST_TEXT = 10_000
"""Characters of a note or a reason."""
MOST_TEXTS = {"plate": 100, "entries": 100, "personal": DIGESTS_A_JOB}
LARGEST_PHOTO = 8_000_000
PHOTO_TYPES = ("image/jpeg", "image/png", "image/webp")


def answer(loop: BenchLoop, message: Message) -> Message:
    """Do what a message asks. Raises: MeterlogError when it can't be done."""
    do = message["do"]
    if do not in REQUESTS:
        raise CannotDo(f"there is no request {do!r}", near_miss(do, REQUESTS))
    return REQUESTS[do](loop, message)


def _status(loop: BenchLoop, _: Message) -> Message:
    job = loop.desk.job
    at_hand = None
    if job is not None:
        procedure = job.procedure
        at_hand = {"id": job.number, "ref": job.ref, "procedure": procedure.key, "appliance": procedure.appliance}
    return {
        "status": {
            "bench": loop.writer.bench,
            "version": __version__,
            "utc_ms": loop.clock.utc_ms(),
            "links": [station.as_dict() for station in loop.stations.values()],
            "job": at_hand,
            "walk": job.snapshot() if job else None,
            "store": loop.store_status,
        }
    }


def _act(loop: BenchLoop, message: Message) -> Message:
    word = _text(message, "word")
    if word not in WORDS:
        raise CannotDo(f"there is no act {word!r}", near_miss(word, WORDS))
    text = _text(message, "text", "") or _text(message, "reason", "")
    act = Act(word=word, to=_text(message, "to", ""), text=text, who=_who(message), **_meant_for(message, word))
    suggested = _suggested(loop, message, f"went to {act.to}") if word == "go to" else None
    walk = loop.desk.act(act, _text(message, "job", ""), _whence(message), suggested)
    loop.commit()
    return {"walk": walk}


def _suggested(loop: BenchLoop, message: Message, done: str) -> Message | None:
    """What was suggested when a person did something, as it is kept; None where their page showed no suggestion."""
    if "suggested" not in message or loop.desk.job is None:
        return None
    job, shown = loop.desk.job, _text(message, "suggested")
    with reading(loop.writer.path) as reader:
        if reader.job(job.ref) is None:
            return None  # its opening is not on disk yet: there is nothing that it could rest on
        basis = basis_of(reader, job.ref, job.procedure, states_of(job.snapshot()))
    return kept_suggestion(job.procedure, basis, shown, done)


def _meant_for(message: Message, word: str) -> dict[str, Any]:
    """What an act was meant for, and its identity. Raises: CannotDo when it does not say; a pedal need not."""
    named = [name for name in MEANT_FOR if name in message]
    if word == "press" and not named:
        return {}
    if len(named) < len(MEANT_FOR):
        missing = ", ".join(name for name in MEANT_FOR if name not in message)
        raise CannotDo(
            f"an act says what it is meant for, and has an identity of its own; missing: {missing}",
            "take job, step and phase from the walk of the status, and make a new id for each act",
        )
    phase, identity = _text(message, "phase"), _text(message, "id")
    if phase not in PHASES:
        raise CannotDo(f"there is no phase {phase!r}", near_miss(phase, PHASES))
    if not 8 <= len(identity) <= LONGEST_ID:
        raise CannotDo(f"an act's id has 8 to {LONGEST_ID} characters", "16 random bytes as hex will do")
    return {"step": _text(message, "step"), "phase": phase, "id": identity}


def _open_job(loop: BenchLoop, message: Message) -> Message:
    procedure = procedure_of(_text(message, "procedure"))
    ref = _text(message, "ref", "") or _new_ref(loop)
    if len(ref) > LONGEST_REF or not all(part.strip(".") for part in ref.split("/")):
        raise CannotDo(
            f"a job's reference has at most {LONGEST_REF} characters, and something before and after each slash",
            "choose another one with --ref",
        )
    if loop.writer.has_job(ref):
        raise CannotDo(f"there is a job {ref} already", "choose another reference with --ref")
    where = _text(message, "where", "")
    if where and where not in procedure.where:
        hint = near_miss(where, procedure.where) or "its limits are the same everywhere: leave --where out"
        raise CannotDo(f"this procedure has no limits for {where!r}", hint)
    entries = read_entries(procedure, _texts(message, "plate"))
    loop.desk.open(
        procedure, ref, where=where, entries=entries, personal=_texts(message, "personal"), who=_who(message),
        whence=_whence(message),
    )  # fmt: skip
    loop.commit()
    return {"job": ref, "absent": list(procedure.instruments_absent(loop.stations))}


def _enter(loop: BenchLoop, message: Message) -> Message:
    """Entries of the job at hand that were learned later: what was judged without them is judged again."""
    entries = loop.desk.enter(_texts(message, "entries"), _who(message), _whence(message))
    loop.commit()
    job = loop.desk.at_hand()
    with reading(loop.writer.path) as reader:
        kept = under(reader, job.ref)
        found = concluded_again(reader, kept)
    if found:
        told = "; ".join(f"{name} {text}" for name, text in entries.items())
        _supersede(loop, kept, found, f"entered since: {told}", message)
    loop.desk.look_again()
    return {"walk": job.snapshot()}


def _supersede(loop: BenchLoop, kept: KeptJob, found: Sequence[Again], reason: str, message: Message) -> None:
    numbers = supersede(loop.writer, kept, found, reason, loop.clock.now(), _who(message), _whence(message))
    loop.desk.judged_again(kept, found, numbers)
    loop.commit()


def _part_fitted(loop: BenchLoop, message: Message) -> Message:
    """A part was fitted: what it is, its marking, why it may stand in, the step that was its incoming check."""
    job, check = loop.desk.at_hand(), _text(message, "check", "")
    if check and check not in job.steps:
        raise CannotDo(f"this procedure has no step {check!r}", near_miss(check, job.steps))
    facts = {name: _text(message, name, "") for name in ("part", "marking", "why")}
    if not facts["part"].strip():
        raise CannotDo("a part that was fitted has a name", 'such as: meterlog job fitted "element"')
    return _told(loop, message, ActKind.PART_FITTED, {**facts, "check": check})


def _work_done(loop: BenchLoop, message: Message) -> Message:
    """What was done to the appliance, in words."""
    text = _text(message, "text")
    if not text.strip():
        raise CannotDo("say what was done", 'such as: meterlog job did "plug replaced"')
    return _told(loop, message, ActKind.WORK_DONE, {"text": text})


def _told(loop: BenchLoop, message: Message, kind: ActKind, facts: Message) -> Message:
    """Keep what a person tells of the job at hand, as evidence."""
    _meant_for_job(loop, message)
    job = loop.desk.at_hand()
    loop.writer.event(kind, loop.clock.now(), facts, job=job.number, who=_who(message), whence=_whence(message))
    loop.commit()
    return {"walk": job.snapshot()}


def _new_ref(loop: BenchLoop) -> str:
    """A reference from the day and a count: 2026-11-25-1."""
    day = loop.clock.now().utc[:10]
    number = 1
    while loop.writer.has_job(f"{day}-{number}"):
        number += 1
    return f"{day}-{number}"


def _lay_aside(loop: BenchLoop, message: Message) -> Message:
    """Put the job at hand away, open as it is."""
    _meant_for_job(loop, message)
    loop.desk.lay_aside(_text(message, "reason", ""), _who(message), _whence(message))
    loop.commit()
    return {}


def _take_up(loop: BenchLoop, message: Message) -> Message:
    """Put a job at hand again that was laid aside; one that was closed, for a reason."""
    ref, reason = _text(message, "job"), _text(message, "reason", "")
    loop.commit()
    record = open_reader(loop.writer.path)
    try:
        kept = under(StoredRecord(record), ref)
        job = StoredRecord(record).job(kept.number)
        if job and job.closed_utc_ms and not reason:
            raise CannotDo(f"job {ref} was closed", "say why it is taken up again: meterlog job take REF --reason WHY")
        walk = loop.desk.take_up(kept, reason, _who(message), _whence(message), record.close)
    except BaseException:
        record.close()
        raise
    loop.commit()
    return {"walk": walk}


def _meant_for_job(loop: BenchLoop, message: Message) -> None:
    """Raises: CannotDo when a request names another job than the one at hand."""
    named, at_hand = _text(message, "job", ""), loop.desk.job
    if named and at_hand is not None and named != at_hand.ref:
        raise CannotDo(f"that was meant for job {named}; job {at_hand.ref} is at hand: nothing was done")


def _close_job(loop: BenchLoop, message: Message) -> Message:
    _meant_for_job(loop, message)
    loop.desk.close(_who(message), _whence(message))
    loop.commit()
    return {}


def _photo(loop: BenchLoop, message: Message) -> Message:
    """Keep a photograph with a job: personal, so apart from the evidence and behind its digest."""
    job, _ = loop.writer.resume_job(_text(message, "job"))
    kind = _text(message, "type")
    try:
        content = base64.b64decode(_text(message, "content"), validate=True)
    except ValueError:
        raise CannotDo("the photograph's bytes are not base64") from None
    if kind not in PHOTO_TYPES or not 0 < len(content) <= LARGEST_PHOTO:
        raise CannotDo(f"a photograph is {', '.join(PHOTO_TYPES)}, at most {LARGEST_PHOTO // 1_000_000} MB")
    name = _text(message, "name")
    digest = loop.writer.disclose(job, "photograph", f"{kind} {name}", content)
    facts = {"photograph": digest}
    loop.writer.event(ActKind.PHOTOGRAPH, loop.clock.now(), facts, job=job, who=_who(message), whence=_whence(message))
    loop.commit()
    return {"digest": digest}


def _erase(loop: BenchLoop, message: Message) -> Message:
    """Erase a job's personal fields; that it was done, when and by whom stays. Says what can still be found of them."""
    job, _ = loop.writer.resume_job(_text(message, "job"))
    digests, fields = loop.writer.erase(job)
    facts = {"digests": digests}
    loop.writer.event(ActKind.ERASED, loop.clock.now(), facts, job=job, who=_who(message), whence=_whence(message))
    try:
        loop.commit()
    except CannotDo:
        raise CannotDo(
            f"not erased yet: {fields} personal fields are still in the database: {loop.store_status['why']}",
            "they are erased as soon as it takes that; do not repeat it",
        ) from None
    finally:
        loop.finish_erasing()
    return {"erased": fields, "still_there": loop.store_status["still_there"]}


def _conclude_again(loop: BenchLoop, message: Message) -> Message:
    """Conclude a job again; with a reason, what differs is kept beside what it supersedes."""
    named = _text(message, "procedure", "")
    procedure = procedure_of(named) if named else None
    where, rule = _text(message, "where", ""), _text(message, "rule", "")
    with reading(loop.writer.path) as reader:
        kept = under(reader, _text(message, "job"), procedure=procedure, where=where, rule=rule)
        found = concluded_again(reader, kept)
        reason = _text(message, "reason", "")
        if found and reason:
            _supersede(loop, kept, found, reason, message)
    return {"concluded": [again.as_dict() for again in found], "kept": bool(reason)}


def _try_again(loop: BenchLoop, message: Message) -> Message:
    """Open a waiting or given-up link at once."""
    link = _text(message, "link")
    if link not in loop.stations:
        raise CannotDo(f"there is no link {link!r}", near_miss(link, loop.stations))
    loop.try_again(link)
    return {}


REQUESTS: dict[str, Callable[[BenchLoop, Message], Message]] = {
    "status": _status,
    "act": _act,
    "open job": _open_job,
    "enter": _enter,
    "part fitted": _part_fitted,
    "work done": _work_done,
    "lay aside": _lay_aside,
    "take up": _take_up,
    "close job": _close_job,
    "photo": _photo,
    "erase": _erase,
    "conclude again": _conclude_again,
    "try again": _try_again,
}


def _text(message: Message, name: str, default: str | None = None) -> str:
    """A text of the message: names are one line that can be printed, reasons become one, a note may have several."""
    value = message.get(name, default)
    if value is None and default is not None:
        return default
    if not isinstance(value, str):
        raise CannotDo(f"the request {message['do']!r} needs {name!r}, a text")
    if name == "content":
        return value
    if name in ("text", "reason"):
        return _as_words(name, value, LONGEST_TEXT, lines=message.get("word") == "note")
    if not (value.isprintable() and len(value) <= LONGEST_NAME):
        raise CannotDo(f"{name!r} is one line of at most {LONGEST_NAME} characters that can be printed")
    return value


def _as_words(name: str, text: str, longest: int, *, lines: bool = False) -> str:
    try:
        return words(text, longest, lines=lines)
    except WrongValue as error:
        raise WrongValue(f"{name}: {error}") from None


def _texts(message: Message, name: str) -> dict[str, str]:
    value = message.get(name) or {}
    if not isinstance(value, dict) or not all(isinstance(k, str) and isinstance(v, str) for k, v in value.items()):
        raise CannotDo(f"{name!r} is an object of texts")
    if len(value) > MOST_TEXTS[name]:
        raise CannotDo(f"{name!r} holds at most {MOST_TEXTS[name]} texts")
    return {_as_words(name, key, LONGEST_NAME): _as_words(key, text, LONGEST_TEXT) for key, text in value.items()}


def _who(message: Message) -> str:
    return _one_line(message.get("who", ""))


def _whence(message: Message) -> str:
    return _one_line(message.get("whence", "control socket"))


def _one_line(value: object) -> str:
    return "".join(letter for letter in str(value) if letter.isprintable())[:80]
