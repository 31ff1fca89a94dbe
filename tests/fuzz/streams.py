"""A coverage-guided fuzzer over what instruments may send, and over what users may write.

    pip install 'atheris>=3.0,<3.1'
    PYTHONPATH=. python tests/fuzz/streams.py streams -max_total_time=120
    PYTHONPATH=. python tests/fuzz/streams.py texts   -max_total_time=120

`streams`: arbitrary bytes, split anywhere, into every shipped profile. Nothing may be raised, and every
byte must be in exactly one outcome, in order. `texts`: arbitrary changes to shipped profiles. Only
WrongText may be raised. A crash leaves its input in a file, which goes into the tests as an example.
"""

import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["meterlog"]):
    from meterlog.base.errors import WrongText
    from meterlog.profile import compile_profile

FOLDER = Path(__file__).parents[2] / "profiles" / "instruments"
TEXTS = [path.read_text() for path in sorted(FOLDER.glob("*.yaml"))]
PROFILES = [compile_profile(text, "shipped") for text in TEXTS]


def streams(data):
    """Every byte is accounted for, however the stream is cut and whatever it holds."""
    given = atheris.FuzzedDataProvider(data)
    profile = PROFILES[given.ConsumeIntInRange(0, len(PROFILES) - 1)]
    conversation, sent, outcomes, at = profile.conversation(), b"", [], 0.0
    while given.remaining_bytes():
        piece = given.ConsumeBytes(given.ConsumeIntInRange(1, 64))
        at += given.ConsumeIntInRange(0, 3) / 4
        requests, found = conversation.poll(at)
        for request in requests:
            found += conversation.sent(request, at)
        outcomes += found + conversation.feed(piece, at)
        sent += piece
    outcomes += conversation.end()
    assert b"".join(outcome.raw for outcome in outcomes) == sent


def texts(data):
    """A profile's text with some of it changed is compiled, or refused in words."""
    given = atheris.FuzzedDataProvider(data)
    text = TEXTS[given.ConsumeIntInRange(0, len(TEXTS) - 1)]
    for _ in range(given.ConsumeIntInRange(1, 4)):
        place = given.ConsumeIntInRange(0, len(text))
        text = text[:place] + given.ConsumeUnicodeNoSurrogates(12) + text[place + given.ConsumeIntInRange(0, 12) :]
    try:
        compile_profile(text, "changed")
    except WrongText:
        return


if __name__ == "__main__":
    target = {"streams": streams, "texts": texts}[sys.argv.pop(1)]
    atheris.Setup(sys.argv, target)
    atheris.Fuzz()
