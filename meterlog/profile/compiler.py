"""A profile's text to something that runs: read, checked, compiled to plain Python, examples decoded."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from meterlog.frames.framer import Delimited, FixedLength, Framer
from meterlog.frames.talk import Talk
from meterlog.profile import examples
from meterlog.profile.fields import Layout
from meterlog.profile.language import PROFILE, FrameText, LineText, ProfileText
from meterlog.profile.messages import Message, MessageCompiler
from meterlog.schema import Where
from meterlog.source import Place, Problems, compose, text_sha256

if TYPE_CHECKING:
    from meterlog.evaluate import Accuracy
    from meterlog.readings import Form


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """A compiled profile.

    Attributes:
        key, title: as the profile says.
        text, sha256: what it was compiled from, and the name of that in the store.
        line: how the serial line is set; None where the profile says nothing.
        said: the profile as it was read, for what explains and documents it.
    """

    key: str
    title: str
    text: str
    sha256: str
    line: LineText | None
    said: ProfileText
    message: Message
    framer: Framer

    def talk(self) -> Talk:
        """A new conversation with one instrument of this family."""
        return Talk(self.framer, self.message.decode)

    def accuracy(self, form: Form) -> Accuracy | None:
        """The accuracy stated for readings of a form; None where the profile says nothing."""
        return None


@lru_cache(maxsize=64)
def compile_profile(text: str, name: str) -> Profile:
    """The profile of a text.

    Raises: WrongText with every problem, in file order; an example that does not decode is one.
    """
    node = compose(text, name)
    problems = Problems(name)
    said = PROFILE.read(node, "", problems)
    problems.raise_if_any()
    assert isinstance(said, ProfileText)
    layout = Layout(base=said.first_byte, tail=_tail(said.frame), length=said.frame.length)
    framer = _framer(said.frame, problems)
    message = MessageCompiler(said, layout, said.frame.end if said.text else (), problems).compile()
    problems.raise_if_any()
    assert message is not None
    assert framer is not None
    profile = Profile(
        key=said.profile, title=said.title, text=text, sha256=text_sha256(text), line=said.line, said=said,
        message=message, framer=framer,
    )  # fmt: skip
    for example in said.examples:
        talk = profile.talk()
        examples.run(example, lambda frame, talk=talk: talk.feed(frame, 0.0) + talk.end(), problems)  # type: ignore[misc]
    problems.raise_if_any()
    return profile


def _tail(frame: FrameText) -> int:
    return 0 if frame.length or not frame.end else len(frame.end[0])


def _framer(frame: FrameText, problems: Problems) -> Framer | None:
    if frame.length:
        return FixedLength(_classes(frame))
    if frame.end:
        return Delimited(frame.start, frame.end, frame.longest)
    frame.where.tell(problems, expected="how a frame ends: `length` or `end`", saw="neither")
    return None


def _classes(frame: FrameText) -> list[frozenset[int] | None]:
    """What each byte of a frame of fixed length may be."""
    assert frame.length
    classes: list[frozenset[int] | None] = [None] * frame.length
    if frame.numbered:
        high, low = frame.numbered.bits
        for place in range(frame.length):
            number = frame.numbered.first + place
            classes[place] = frozenset(v for v in range(256) if v >> low & (1 << high - low + 1) - 1 == number)
    for place, value in enumerate(frame.start):
        classes[place] = frozenset({value})
    for place, value in enumerate(
        frame.end[0] if frame.end else b"", start=frame.length - len(frame.end[0] if frame.end else b"")
    ):
        classes[place] = frozenset({value})
    return classes


__all__ = ["Place", "Profile", "Where", "compile_profile"]
