"""A profile on record is read for ever: what is asked of a new one besides is not asked of it."""

from pathlib import Path

import pytest

from meterlog.base.errors import WrongText
from meterlog.profile import compile_profile, read_kept_profile

TESTS = Path(__file__).parents[2]
EARLIER = sorted((TESTS / "kept_texts" / "profiles").glob("*.yaml"))
TAKEN_ONCE = (
    "bit_beyond_a_byte", "check_of_a_stuffed_request", "code_beyond_the_sign", "counted_from_uneven_ends",
    "example_of_two_minds", "hole_without_text_behind", "keys_that_say_nothing", "length_said_beside_codes",
    "mode_beside_a_temperature", "mode_of_a_temperature", "no_room_between_the_marks", "place_said_twice",
    "request_of_nobody", "special_of_nothing",
)  # fmt: skip
"""Profiles that the check of an earlier commit took and today's refuses."""


@pytest.mark.parametrize("path", EARLIER, ids=lambda path: path.stem)
def test_every_text_that_was_ever_shipped_is_read(path):
    assert read_kept_profile(path.read_text(), path.name).text == path.read_text()


@pytest.mark.parametrize("name", TAKEN_ONCE)
def test_what_a_check_took_once_is_read_and_no_longer_taken(name):
    text = (TESTS / "wrong_profiles" / f"{name}.yaml").read_text()
    with pytest.raises(WrongText):
        compile_profile(text, name)
    profile = read_kept_profile(text, name)
    profile.conversation().feed(bytes(range(256)), 0.0)


def test_a_text_of_a_later_language_is_refused_in_words():
    text = (
        'profile: later\nlanguage: 2\ntitle: Later\nframe: {end: <LF>}\ntext: "{v}"\nreadings: [{value: v, unit: V}]\n'
    )
    for read in (compile_profile, read_kept_profile):
        with pytest.raises(WrongText, match="1, the only version of the language so far"):
            read(text, "later")
