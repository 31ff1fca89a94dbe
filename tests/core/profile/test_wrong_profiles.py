"""Each mistake and its whole message; and no text at all makes the compiler stumble."""

import contextlib
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import noise

from meterlog.base.errors import WrongText
from meterlog.profile.compile.compiler import compiled_anew, read_kept_profile, read_profile

WRONG = sorted((Path(__file__).parents[2] / "wrong_profiles").glob("*.yaml"))
PROFILES = Path(__file__).parents[3] / "profiles"
SHIPPED = [p.read_text() for p in sorted((PROFILES / "instruments").glob("*.yaml"))]
MANUAL = re.findall(r"```yaml\n(.*?)```", (PROFILES / "INSTRUMENTS.md").read_text(), re.DOTALL)
TOKEN = re.compile(r"[A-Za-z_]+|-?\d+|0x[0-9A-Fa-f]+|[^\sA-Za-z_0-9]")
STRANGE = [
    "0",
    "-1",
    "99",
    "4096",
    "0x1FF",
    "text",
    "a",
    "{}",
    "[]",
    "hex",
    "u16 big",
    "f32 CDAB",
    "-1..3",
    "9.9",
    "''",
    "é",
]


@pytest.mark.parametrize("path", WRONG, ids=lambda path: path.stem)
def test_the_message_is_whole(path):
    with pytest.raises(WrongText) as caught:
        compiled_anew(path.read_text(), path.name)
    assert f"{caught.value}\n" == path.with_suffix(".txt").read_text()


@st.composite
def spoiled(draw, texts=SHIPPED):
    """A profile with a few words changed, dropped or doubled."""
    text = draw(st.sampled_from(texts))
    for _ in range(draw(st.integers(1, 3))):
        words = list(TOKEN.finditer(text))
        word = words[draw(st.integers(0, len(words) - 1))]
        instead = draw(st.one_of(st.sampled_from(STRANGE), st.just(""), st.just(word[0] * 2)))
        text = text[: word.start()] + instead + text[word.end() :]
    return text


@settings(max_examples=250, deadline=None)
@given(spoiled())
def test_a_spoiled_profile_is_right_or_told_wrong(text):
    with contextlib.suppress(WrongText):
        compiled_anew(text, "spoiled.yaml")


@settings(max_examples=250, deadline=None)
@given(spoiled(SHIPPED + MANUAL), st.data())
def test_what_compiles_reads_whatever_comes_to_the_last_byte(text, data):
    try:
        profile = compiled_anew(text.split("\nexamples:")[0], "spoiled.yaml")
        frames = [example.frame for example in read_profile(text, "spoiled.yaml").examples]
    except WrongText:
        return
    conversation, found, stream = profile.conversation(), [], b""
    for at, piece in enumerate(data.draw(st.lists(st.sampled_from(frames) | noise(30), max_size=6)) if frames else ()):
        requests, out = conversation.poll(at)
        found += out
        for request in requests:
            conversation.sent(request, at)
        place = data.draw(st.integers(0, len(piece)))
        found += conversation.feed(piece[:place], at) + conversation.feed(piece[place:], at + 0.1)
        stream += piece
    found += conversation.end()
    assert b"".join(o.raw for o in found) == stream


FIXED = (
    "profile: p\ntitle: P\nframe: {{start: <STX>, end: <ETX>, length: 8}}\n{line}\nreadings: [{{{value}, unit: V}}]\n"
)


@pytest.mark.parametrize(
    ("line", "value", "wrong"),
    [
        ("text: '<STX>{v} A'", "value: v", "the end mark behind it"),
        ("text: '<STX>{v} A<ETX>'", "value: v", ""),
        ("text: '<STX>{v} A{_}'", "value: v", ""),
        ("split: {by: ' ', parts: 2}", "part: 1", "the bytes that are split"),
        ("split: {by: ' ', parts: 2, over: 1..-1}", "part: 1", ""),
    ],
)
def test_of_a_frame_of_fixed_length_the_end_mark_is_part_of_its_line(line, value, wrong):
    text = FIXED.format(line=line, value=value)
    if wrong:
        with pytest.raises(WrongText, match=wrong):
            compiled_anew(text, "p")
        assert read_kept_profile(text, "p")
        return
    (found,) = compiled_anew(text, "p").conversation().feed(b"\x0212.3 A\x03", 0.0)
    assert [r.digits for r in found.readings] == ["12.3"]


def test_a_pattern_without_the_end_mark_of_a_frame_of_fixed_length_is_told_so():
    line = r"pattern: '\x02(?P<v>[0-9.]+) A{}'"
    found = compiled_anew(FIXED.format(line=line.format(r"\x03"), value="value: v"), "p").conversation()
    assert found.feed(b"\x0212.3 A\x03", 0.0)[0].readings[0].digits == "12.3"
    found = compiled_anew(FIXED.format(line=line.format(""), value="value: v"), "p").conversation()
    assert found.feed(b"\x0212.3 A\x03", 0.0)[0].reason.endswith("the pattern, which has the end mark in it too")
