"""Instruments known by nothing but a manual page: the profile written from it reads what an encoder made.

A folder of tests/manual_pages holds the page (invented), the profile that was written from page and manual alone,
and a stream with its truth, made by a program that shares nothing with meterlog and knows only the page:

    ask HEX                       the request that must be asked now
    got HEX | SHOWN | SHOWN       bytes that come, and every reading that they show; none where they are damaged
    noise HEX                     bytes that mean nothing
    wait SECONDS                  silence
"""

from itertools import pairwise
from pathlib import Path

import pytest

from meterlog.base.readings import Frame
from meterlog.profile import compile_profile
from meterlog.profile.compile.examples import agrees, shown

PAGES = sorted((Path(__file__).parents[2] / "manual_pages").iterdir())
EVENTS = {page.name: [line.split(" ", 1) for line in (page / "stream.txt").read_text().splitlines()] for page in PAGES}
CUTS = {"whole": 4096, "in threes": 3, "byte by byte": 1}


def profile_of(page):
    return compile_profile((page / "profile.yaml").read_text(), page.name)


def played(profile, events, size):
    """Outcomes of a stream in pieces of a size, and all bytes of it."""
    conversation, at, found, stream = profile.conversation(), 0.0, [], b""
    for word, rest in events:
        if word == "wait":
            at += float(rest)
            found += conversation.poll(at)[1]
        elif word == "ask":
            asked = []
            while not asked:
                at = max(at, conversation.wake_at)
                asked, out = conversation.poll(at)
                found += out
            assert asked == [bytes.fromhex(rest)]
            conversation.sent(asked[0], at)
        else:
            data = bytes.fromhex(rest.split("|")[0])
            stream += data
            for begin, end in pairwise([*range(0, len(data), size), len(data)]):
                found += conversation.feed(data[begin:end], at)
    return found + conversation.end(), stream


def truth(events):
    return [said.strip() for word, rest in events if word == "got" for said in rest.split("|")[1:]]


@pytest.mark.parametrize("size", CUTS.values(), ids=CUTS)
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_reading_and_no_other_comes_out(page, size):
    found, stream = played(profile_of(page), EVENTS[page.name], size)
    readings = [reading for outcome in found if isinstance(outcome, Frame) for reading in outcome.readings]
    wrong = [
        (shown(r), said) for r, said in zip(readings, truth(EVENTS[page.name]), strict=True) if not agrees(r, said)
    ]
    assert wrong == []
    assert b"".join(outcome.raw for outcome in found) == stream


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_the_page_is_short_and_so_is_its_profile(page):
    lines = (page / "profile.yaml").read_text().splitlines()
    assert truth(EVENTS[page.name])
    assert len(lines) < 70
