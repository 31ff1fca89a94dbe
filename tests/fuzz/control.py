"""Fuzz the control socket's requests: every request, every field, every class of Unicode; nothing ends the daemon.

    python tests/fuzz/control.py 20000

The bench loop is real, its store too; the answers come from it as they would over the socket. Prints what was
answered how often; ends with an error when an answer tells of a mistake of ours, the loop ended, or an
acknowledged note is lost.
"""

from __future__ import annotations

import json
import secrets
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from edge.test_loop import Loop
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from meterlog.daemon.control import read_request
from meterlog.daemon.requests import REQUESTS
from meterlog.walk import PHASES, WORDS

CLASSES = ["Lu", "Ll", "Lt", "Lm", "Lo", "Mn", "Mc", "Me", "Nd", "Nl", "No", "Pc", "Pd", "Ps", "Pe", "Pi", "Pf", "Po",
           "Sm", "Sc", "Sk", "So", "Zs", "Zl", "Zp", "Cc", "Cf", "Cs", "Co", "Cn"]  # fmt: skip
LETTERS = st.sampled_from(CLASSES).flatmap(lambda each: st.characters(categories=[each]))
TEXT = st.text(LETTERS, max_size=12) | st.sampled_from(
    ["", "1", "job", "lead-check", "isolation", "microwave-oven", "kettle-or-urn", "900 W", "900 W*9**9**9", "1 W/0",
     "0,9 kW", "1,000 W", "340 g glass", "steel, 300 g", "9" * 5000, "(" * 3000, "simple-acceptance", "thermometer",
     "image/png", "AAAA", "a" * 70, "../..", "/dev/null", "-", "line\nend", "\x7f", "\u2028"]
)  # fmt: skip
VALUE = TEXT | st.none() | st.booleans() | st.integers() | st.floats() | st.lists(TEXT, max_size=3)
TEXTS = st.dictionaries(
    TEXT | st.sampled_from(["rated output", "rated voltage", "vessel", "water mass"]), VALUE, max_size=4
)
FIELDS = {
    "to": TEXT, "text": TEXT, "reason": TEXT, "job": TEXT, "step": TEXT,
    "phase": st.sampled_from(PHASES) | TEXT, "id": st.uuids().map(str) | TEXT, "who": VALUE, "whence": VALUE,
    "procedure": st.sampled_from(["microwave-oven", "kettle-or-urn"]) | TEXT, "ref": TEXT, "where": TEXT, "rule": TEXT,
    "plate": TEXTS | VALUE, "entries": TEXTS | VALUE, "personal": TEXTS | VALUE, "name": TEXT, "type": TEXT,
    "content": TEXT, "link": TEXT,
}  # fmt: skip
SELDOM = st.integers(0, 9).map(lambda chance: chance == 0)


def mostly(usual: st.SearchStrategy, other: st.SearchStrategy) -> st.SearchStrategy:
    """What is usual, and one time in ten something else."""
    return SELDOM.flatmap(lambda seldom: other if seldom else usual)


REQUEST = st.fixed_dictionaries(
    {
        "do": mostly(st.sampled_from([*REQUESTS, "act", "act", "act"]), TEXT),
        "word": mostly(st.sampled_from(WORDS), VALUE),
    },
    optional={name: mostly(each, VALUE) for name, each in FIELDS.items()},
)


def asked(loop: Loop, message: dict[str, Any], told: Counter[str]) -> bool:
    """Send one request as its line; hold its answer to what it may be. Whether it was done."""
    try:
        line = json.dumps(message, ensure_ascii=False).encode() + b"\n"
    except UnicodeEncodeError:
        line = json.dumps(message).encode() + b"\n"
    read = read_request(line)
    if isinstance(read, str):
        told["refused as a line"] += 1
        return False
    answer = loop.ask(**read)
    json.dumps(answer, ensure_ascii=False).encode()
    assert answer["ok"] or answer["error"], message
    assert answer["ok"] or "mistake in meterlog" not in answer["error"], (message, answer)
    told[f"{read['do'] if read['do'] in REQUESTS else 'no request'}: {'yes' if answer['ok'] else 'no'}"] += 1
    return bool(answer["ok"])


def fuzzed(folder: Path, count: int) -> Counter[str]:
    """So many requests to one loop, and an acknowledged note after each. Raises: AssertionError."""
    loop, told = Loop(folder), Counter[str]()
    notes: dict[str, list[str]] = {}

    @settings(max_examples=count, deadline=None, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(REQUEST, st.booleans())
    def one(message: dict[str, Any], is_meant: bool) -> None:
        if loop.walk() is None:
            assert loop.ask(do="open job", procedure="microwave-oven")["ok"]
        if is_meant:
            message = {**message, **loop.meant(), "id": secrets.token_hex(8)}
        if asked(loop, message, told) and message["do"] == "erase":
            notes.pop(message["job"], None)
        note, walk = secrets.token_hex(8), loop.walk()
        if walk is not None and loop.act("note", text=note)["ok"]:
            notes.setdefault(walk["job"], []).append(note)

    try:
        one()
    finally:
        loop.stop()
    kept = {value for (value,) in loop.rows("SELECT value FROM disclosure WHERE name = 'note'")}
    acknowledged = {note for each in notes.values() for note in each}
    assert acknowledged <= kept, "an acknowledged note is lost"
    assert loop.findings() == []
    told["notes acknowledged and kept"] = len(acknowledged)
    return told


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        for said, times in sorted(fuzzed(Path(made), int(sys.argv[1])).items()):
            print(f"{times:8d}  {said}")
