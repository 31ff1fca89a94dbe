"""Whatever is asked over the control socket is answered, and nothing acknowledged is lost (see fuzz/control.py)."""

from fuzz.control import fuzzed

REQUESTS_TRIED = 150


def test_whatever_is_asked_is_answered_and_what_is_acknowledged_is_kept(tmp_path):
    told = fuzzed(tmp_path, REQUESTS_TRIED)
    assert told["notes acknowledged and kept"] > 0
    assert any(said.endswith("yes") for said in told), "none was done at all"
