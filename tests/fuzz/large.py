"""The large counts of what the suite tries in small: prints a table for tests/fuzz/README.md.

PYTHONPATH=.:tests python tests/fuzz/large.py dialects 10000    whole and damaged frames of invented instruments
PYTHONPATH=.:tests python tests/fuzz/large.py bytes 100000000   arbitrary and damaged bytes into every profile
PYTHONPATH=.:tests python tests/fuzz/large.py texts 100000      changed profile texts
"""

import contextlib
import random
import re
import sys
import time
import tracemalloc
from collections import Counter
from pathlib import Path

from drawn_profiles import dialect

from meterlog.base.errors import WrongText, WrongValue
from meterlog.base.readings import Frame
from meterlog.base.units import si_factor
from meterlog.conversation.drive import drive, received
from meterlog.profile.compile.compiler import compiled_anew
from meterlog.profile.compile.examples import agrees

TOP = Path(__file__).parents[2]
TEXTS = [path.read_text() for path in sorted((TOP / "profiles" / "instruments").glob("*.yaml"))]
TEXTS += [path.read_text() for path in sorted((TOP / "tests" / "manual_pages").glob("*/profile.yaml"))]
TOKEN = re.compile(r"\w+|[^\w\s]")
CHANCE = {"sum-8": 256, "negated sum-8": 256, "xor-8": 256, "sum-16": 65536, "CRC-16/MODBUS": 65536}


def read(profile, data):
    return [r for o in drive(profile.conversation(), received(data)) if isinstance(o, Frame) for r in o.readings]


def spoiled(data, rng):
    """Bytes with one to three changed, lost or new."""
    out = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        place = rng.randrange(len(out))
        kind = rng.randrange(3)
        if kind == 0:
            out[place] = rng.randrange(256)
        elif kind == 1 and len(out) > 1:
            del out[place]
        else:
            out.insert(place, rng.randrange(256))
    return bytes(out)


def swapped(data, rng):
    """Bytes of which two changed places."""
    out = bytearray(data)
    one, other = rng.randrange(len(out)), rng.randrange(len(out))
    out[one], out[other] = out[other], out[one]
    return bytes(out)


def dialects(count):
    tried, wrong, moved, whole, lost = Counter(), Counter(), Counter(), 0, 0
    for seed in range(count):
        made, rng = dialect(seed), random.Random(seed)
        profile = compiled_anew(made.text, "dialect")
        frames = [made.frame(rng) for _ in range(30)]
        found = read(profile, b"".join(data for data, _ in frames))
        whole += len(frames)
        lost += len(found) != len(frames) or not all(agrees(r, t) for r, (_, t) in zip(found, frames, strict=True))
        for data, truth in frames:
            tried[made.check] += 1
            wrong[made.check] += any(not agrees(r, truth) for r in read(profile, spoiled(data, rng)))
            moved[made.check] += any(not agrees(r, truth) for r in read(profile, swapped(data, rng)))
    print(f"{count} dialects, {whole} whole frames, dialects read otherwise than meant: {lost}")
    for check in sorted(tried):
        part = f"1 in {tried[check] / wrong[check]:,.0f}" if wrong[check] else "none"
        print(f"| {check} | {tried[check]:,} | {wrong[check]} | {part} | 1 in {CHANCE[check]:,} | {moved[check]:,} |")


def many_bytes(count):
    rng, done, slowest = random.Random(1), 0, 0.0
    profiles = [compiled_anew(text, "shipped") for text in TEXTS]
    tracemalloc.start()
    least = most = 0
    while done < count:
        profile = rng.choice(profiles)
        frames = [
            data for example in profile.said.examples for data in (*(e.frame for e in example.after), example.frame)
        ] or [b"0"]
        data = b"".join(
            rng.randbytes(rng.randrange(40)) if rng.random() < 0.3 else spoiled(rng.choice(frames), rng)
            for _ in range(200)
        )
        began = time.perf_counter()
        found = list(drive(profile.conversation(), received(data)))
        slowest = max(slowest, (time.perf_counter() - began) / len(data))
        assert b"".join(outcome.raw for outcome in found) == data
        done += len(data)
        most = max(most, tracemalloc.get_traced_memory()[0])
        least = least or most
    print(f"{done:,} bytes, no exception, every byte in one outcome; slowest {slowest * 1e6:.1f} us a byte; "
          f"memory {least / 1e6:.1f} to {most / 1e6:.1f} MB")  # fmt: skip


def texts(count):
    rng, told, slowest = random.Random(2), Counter(), (0.0, "")
    with contextlib.suppress(WrongValue):
        si_factor("no unit")  # loads all units, once a process
    words = sorted({token for text in TEXTS for token in TOKEN.findall(text)})
    for _ in range(count):
        text = rng.choice(TEXTS)
        for _ in range(rng.randrange(1, 4)):
            match = rng.choice(list(TOKEN.finditer(text)))
            text = text[: match.start()] + rng.choice([*words, "", "99999", "{", "]", "0x1FF"]) + text[match.end() :]
        began = time.process_time()  # what another program takes of a busy machine is not its own
        try:
            compiled_anew(text, "changed")
            told["taken"] += 1
        except WrongText:
            told["refused in words"] += 1
        slowest = max(slowest, (time.process_time() - began, text))
    print(f"{count:,} texts: {dict(told)}; slowest {slowest[0]:.2f} s of its own")
    print(slowest[1] if slowest[0] > 1 else "")


if __name__ == "__main__":
    {"dialects": dialects, "bytes": many_bytes, "texts": texts}[sys.argv[1]](int(sys.argv[2]))
