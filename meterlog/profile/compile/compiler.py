"""A profile's text to something that runs: read, checked, put together from small readers, examples decoded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from meterlog.base.errors import WrongText
from meterlog.base.line import AtBaud
from meterlog.base.source import Problems, compose, text_sha256
from meterlog.conversation.conversation import Conversation
from meterlog.conversation.memory import Memory
from meterlog.conversation.poller import PolledRequest, Poller
from meterlog.conversation.transforms import Unwrapper, table_of
from meterlog.profile.compile import examples
from meterlog.profile.compile.addressing import put_in
from meterlog.profile.compile.asking import questions_of, restricts
from meterlog.profile.compile.cutting import framer_of, layout_of
from meterlog.profile.compile.messages import ONLY, Around, Decode, Message, MessageCompiler
from meterlog.profile.compile.modbus import written_out
from meterlog.profile.compile.proving import proof_of
from meterlog.profile.compile.telling_apart import Chooser
from meterlog.profile.compile.unstuffing import undo_of
from meterlog.profile.language.accuracy import Stated, stated
from meterlog.profile.language.consistency import told_apart
from meterlog.profile.language.facts import Facts, implied
from meterlog.profile.language.keys import PROFILE, ProfileText
from meterlog.profile.language.wire import Line, Reports

if TYPE_CHECKING:
    from collections.abc import Mapping

    from meterlog.base.readings import Form, Reading
    from meterlog.conversation.framing import Framer
    from meterlog.conversation.stuffing import Undo
    from meterlog.judging.accuracy import Accuracy
    from meterlog.profile.compile.values import Value
    from meterlog.profile.language.content import Says

FrameObserver = Callable[[bytes, Memory, "tuple[Reading, ...] | str"], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A compiled profile.

    Attributes:
        key, title: as the profile says.
        text, sha256: what it was compiled from, and the name of that in the store.
        line: how the serial line is set; None where the profile says nothing.
        said: the profile as it was read, shorthands written out, for what explains and documents it.
        messages: its messages in the order in which they are tried.
        undo: what is done to a frame once it is cut; None where its bytes are as they came.
        decode: readings of a frame, or why it is not believed, given what earlier frames kept.
        candidates: the messages that a frame may be.
        steady: the same bytes always mean the same.
        doubt: forgets what bytes that are not believed may have told; None where no message keeps a thing.
    """

    key: str
    title: str
    text: str
    sha256: str
    line: Line | None
    said: ProfileText
    messages: tuple[Message, ...]
    framer: Framer
    undo: Undo | None
    decode: Decode
    candidates: Callable[[bytes, Memory], list[Message]]
    steady: bool
    doubt: Callable[[bytes, str, Memory, bool], None] | None
    questions: tuple[tuple[PolledRequest, ...], tuple[PolledRequest, ...]]
    stated: tuple[Stated, ...]

    @property
    def patience(self) -> float:
        """s of silence after which a frame is given up, or ends."""
        frame = self.said.frame
        assert frame
        return frame.silence if frame.silence is not None else frame.gap

    @property
    def polled(self) -> bool:
        """Whether the instrument must be asked."""
        return bool(self.questions[1])

    def conversation(self, watch: FrameObserver | None = None) -> Conversation:
        """A new conversation with one instrument of this family; `watch` is told of every frame."""
        said = self.said
        assert said.frame
        first, rounds = self.questions
        poller = Poller(first, rounds, said.ask.every, said.ask.wait) if said.ask and rounds else None
        words = [step for step in said.stream if isinstance(step, str)]
        reports = next((step for step in said.stream if isinstance(step, Reports)), None)
        return Conversation(
            self.framer,
            watched(self.decode, watch) if watch else self.decode,
            patience=self.patience,
            poller=poller,
            table=table_of(words) if words else None,
            unwrapper=Unwrapper(reports.reports, *reports.count) if reports else None,
            undo=self.undo,
            marked=bool(said.frame.start or said.frame.numbered),
            steady=self.steady and watch is None,
            doubt=self.doubt,
            wake=AtBaud(self.line.wake, sent_at=self.line.wake_baud) if self.line else b"",
            wait=self.line.wait if self.line else 0.0,
            wake_again=self.line.wake_again if self.line else None,
        )

    @property
    def quantities(self) -> frozenset[str]:
        """Every quantity that a reading of it can be of, as far as its tables and readings say."""
        formers = [former for message in self.messages for former in message.formers]
        said = [facts for former in formers for facts in former.everything]
        known = [facts.quantity or (implied(facts.unit) if facts.unit else None) for facts in said]
        return frozenset(quantity for quantity in known if quantity)

    def accuracy(self, form: Form) -> Accuracy | None:
        """The accuracy stated for readings of a form; None where the profile says nothing."""
        return next((entry.accuracy for entry in self.stated if entry.covers(form)), None)


def watched(decode: Decode, watch: FrameObserver) -> Decode:
    """A decoder that tells of every frame, of what was kept before it, and of its answer."""

    def decode_watched(frame: bytes, kept: Memory) -> tuple[Reading, ...] | str:
        before = kept.copy()
        said = decode(frame, kept)
        watch(frame, before, said)
        return said

    return decode_watched


class Overlooked(Problems):
    """Problems of a text that was taken once: told only where it can't be read at all."""

    def __len__(self) -> int:
        return 0


def read_profile(text: str, name: str) -> ProfileText:
    """The profile as its text says it. Raises: WrongText with every problem, in file order."""
    node = compose(text, name)
    problems = Problems(name)
    put_in(node)
    said = PROFILE.read(node, "", problems)
    problems.raise_if_any()
    assert isinstance(said, ProfileText)
    return said


@lru_cache(maxsize=64)
def compile_profile(text: str, name: str) -> Profile:
    """The profile of a new text, checked strictly; the same text is compiled once.

    Raises: WrongText with every problem, in file order; an example that does not decode is one.
    """
    return compiled_anew(text, name)


@lru_cache(maxsize=64)
def read_kept_profile(text: str, name: str) -> Profile:
    """The profile of a text on record: read for ever, though a new one must hold more today.

    Raises: WrongText where nothing can be made of it.
    """
    problems = Overlooked(name)
    profile = _compiled(read_profile(text, name), text, problems)
    if profile is None:
        raise WrongText(problems.in_order())
    return profile


def without_examples(text: str, name: str) -> Profile:
    """The profile of a new text whose examples are not asked: what explains why one fails. Raises: WrongText."""
    problems = Problems(name)
    profile = _compiled(read_profile(text, name), text, problems)
    problems.raise_if_any()
    assert profile
    return profile


def compiled_anew(text: str, name: str) -> Profile:
    """The profile of a text, of which nothing but its examples has been decoded. Raises: WrongText."""
    profile, problems = without_examples(text, name), Problems(name)
    requests = [question.data for part in profile.questions for question in part]
    for example in profile.said.examples:
        examples.run(example, profile.conversation(), requests, problems)
    problems.raise_if_any()
    return profile


def _compiled(said: ProfileText, text: str, problems: Problems) -> Profile | None:
    if said.modbus:
        said = written_out(said, problems)
    _sound(said, problems)
    told_apart(said, problems)
    if len(problems):
        return None
    assert said.frame
    layout = layout_of(said.frame, said.first_byte, None if said.messages else said)
    undo = undo_of(said.frame, layout, problems)
    proof = proof_of(said.frame.start, said.checks, list((said.messages or {ONLY: said}).values()))
    framer = framer_of(said.frame, layout, undo, proof, problems)
    around = Around(
        layout=layout, checks=said.checks, starts=said.frame.start, ends=said.frame.end if not layout.length else ()
    )
    questions, requests = questions_of(said, problems)
    messages = _messages(said, around, requests, problems)
    accuracy = stated(said.accuracy, problems)
    if len(problems) or framer is None or len(messages) < len(said.messages or (ONLY,)):
        return None
    chooser = Chooser(messages, layout, asks=bool(requests or restricts(questions)), problems=problems)
    steady = all(message.steady for message in messages) and not restricts(questions)
    return Profile(
        key=said.profile,
        title=said.title,
        text=text,
        sha256=text_sha256(text),
        line=said.line,
        said=said,
        messages=messages,
        framer=framer,
        undo=undo,
        decode=chooser.decode,
        candidates=chooser.candidates,
        steady=steady,
        doubt=chooser.doubt if any(message.says.kept or message.header_by for message in messages) else None,
        questions=questions,
        stated=accuracy,
    )


def _sound(said: ProfileText, problems: Problems) -> None:
    """What is missing or doubled at the top of a profile."""
    if said.frame is None:
        said.where.tell(problems, expected="the key 'frame': how the stream is cut into frames", saw="no such key")
    single = [key for key in ("text", "pattern", "split", "fields", "readings") if getattr(said, key)]
    if said.messages and single and not said.modbus:
        said.where.tell(problems, single[0], expected="it within one of `messages`", saw=f"{single[0]} beside messages")
    if said.ask and said.ask.echo and any(isinstance(step, Reports) for step in said.stream):
        said.ask.where.tell(problems, "echo", expected="bytes that come as they are", saw="reports under `stream`")
    if said.ask and not said.ask.requests:
        said.ask.where.tell(problems, expected="the key 'requests': what is asked", saw="no such key")
    if not said.messages and not said.readings:
        said.where.tell(problems, expected="the key 'readings': the values that a frame shows", saw="no such key")


def _messages(
    said: ProfileText, around: Around, requests: Mapping[int, Facts], problems: Problems
) -> tuple[Message, ...]:
    """Every message; those that keep fields are compiled before, so that all know what the others keep."""
    said_messages: Mapping[str, Says] = {
        name: replace(says, bits={**said.bits, **says.bits}) if says.readings else says
        for name, says in said.messages.items()
    } or {ONLY: said}
    keeping = [name for name, says in said_messages.items() if says.kept]
    kept: dict[str, Value] = {}
    around = replace(around, once=frozenset(field for says in said_messages.values() for field in says.keep_once))

    def compiled(name: str, problems: Problems) -> Message | None:
        says = said_messages[name]
        others = {field: value for field, value in kept.items() if field not in says.kept}
        its = replace(around, kept=others, requests=requests if says.readings else {})
        return MessageCompiler(name, says, its, problems).compile()

    for name in keeping if len(keeping) > 1 else ():  # what each keeps of the others it does not know yet
        message = compiled(name, Problems(""))
        kept |= {field: message.values[field] for field in message.says.kept} if message else {}
    made: dict[str, Message] = {}
    for name in sorted(said_messages, key=lambda name: name not in keeping):
        message = compiled(name, problems)
        if message is not None:
            made[name] = message
            kept |= {field: message.values[field] for field in message.says.kept}
    return tuple(made[name] for name in said_messages if name in made)
