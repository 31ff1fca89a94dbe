"""A proposal as the text of a profile, each line with the note or the count that it was learned from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from meterlog.profile.propose.framing import Framing
    from meterlog.profile.propose.proofs import FoundCheck
    from meterlog.profile.propose.states import StateMeaning
    from meterlog.profile.propose.stream import Requests
    from meterlog.profile.propose.trial import TriedFrame

Lines = list[str]


def head(name: str, framing: Framing, transform: Sequence[str], check: FoundCheck | None, requests: Requests) -> Lines:
    """The lines before the fields: name, stream, frame and check."""
    lines = [
        "language: 1",
        f"profile: {name}",
        "title: Proposed from a recording and notes; check it against the display before it is trusted",
        "source: proposed from bytes and typed notes; each line says what it rests on",
    ]
    if requests.sent:
        sent = ", ".join(quoted(request) for request in requests.sent)
        lines.append(f"ask: {{every: {requests.every_s:.2g} s, requests: [{sent}]}}")
    stream = [*(flow(part) if isinstance(part, dict) else str(part) for part in framing.stream), *transform]
    if stream:
        lines.append(f"stream: [{', '.join(stream)}]")
    lines.append(f"frame: {flow(framing.keys)}  # {framing.kind}: {framing.explained} of {framing.bursts} bursts")
    if check is not None:
        strays = f", not for {len(check.strays)}" if check.strays else ""
        lines.append(f"check: {flow(check.keys)}  # holds for {check.frames} different frames{strays}")
    return lines


def flow(keys: Mapping[str, Any]) -> str:
    """Keys as a mapping on one line."""
    return "{" + ", ".join(f"{key}: {_value(value)}" for key, value in keys.items()) + "}"


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return flow(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    text = str(value)
    plain = text.replace(" ", "").replace(".", "").replace("-", "").replace("_", "")
    return text if plain.isalnum() or text.startswith("<") else single(text)


def single(text: str) -> str:
    """A text in single quotes."""
    return "'" + text.replace("'", "''") + "'"


def quoted(data: bytes) -> str:
    """Bytes as a text in quotes where they can be read, else in hex."""
    if all(0x20 <= byte < 0x7F or byte in (0x0D, 0x0A) for byte in data):
        text = data.decode("ascii").replace("<", "<0x3C>").replace("\\", "<0x5C>")
        return single(text.replace("\r", "<CR>").replace("\n", "<LF>"))
    return "hex " + data.hex(" ").upper()


def noted_at(meaning: StateMeaning) -> str:
    """The comment that says from which notes a line was learned."""
    times = ", ".join(f"{at:g}" for at in meaning.learned_at)
    return f"  # noted at {times} s"


def state_table(known: Mapping[Any, StateMeaning], written: Any, indent: str) -> Iterable[str]:
    """A line for each known code."""
    for code, meaning in known.items():
        yield f"{indent}{written(code)}: {single(meaning.words)}{noted_at(meaning)}"


def examples(shown: Sequence[TriedFrame]) -> Lines:
    """Each note's frame with what it shows, once: so that the profile proves itself whenever it is loaded."""
    lines = []
    for each in {one.raw: one for one in shown}.values():
        request = f"request: hex {each.asked.hex(' ').upper()}, " if each.asked else ""
        lines.append(f"  - {{{request}frame: hex {each.raw.hex(' ').upper()}, shows: {single(each.shows)}}}")
    return ["examples:  # frames of the recording at the notes' moments", *lines] if lines else []
