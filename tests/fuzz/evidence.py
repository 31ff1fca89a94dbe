"""Evidence files changed at random and signed again with the true key: each change is seen, none breaks the check.

    PYTHONPATH=.:tests python tests/fuzz/evidence.py SEED SECONDS

Bits turned, bytes cut and put in, lines changed for one another, dropped or replaced by other JSON, ends cut off; the
lists of files and the statement are made anew each time, so that only what was sealed can tell. Exit 1 when a change
is not seen. Lines of disclosures.txt may be left out or stand in another order. On 2026-11-29: 3,428 changes, 0 unseen.
"""

import contextlib
import os
import random
import sys
import tempfile
import time
from pathlib import Path

import records
from edge.test_evidence_file import UTC, signed_again

from meterlog.files import keys
from meterlog.record.verify import CheckResult, verify
from meterlog.report import bagfile
from meterlog.store.sqlite import open_reader

PUT_IN = (b"null", b"[]", b"{}", b'"', b"\n", b"-1", b"1e9", b"\xff", b"true", b"\x00")
LINES = (b"null", b"[]", b"{}", b"1", b'"x"', b"[[]]", b'{"kind":"readings"}', b'{"seal":0,"path":[1]}')
FILES = (
    "leaves.jsonl", "proofs.jsonl", "seals.txt", "log.jsonl", "chunks.jsonl", "forms.jsonl", "head.note", "key.pub",
    "key.pem",
)  # fmt: skip


def changed(data, chosen):
    at, made, lines = chosen.randrange(len(data)), bytearray(data), data.split(b"\n")
    line = chosen.randrange(len(lines))
    match chosen.randrange(7):
        case 0:
            made[at] ^= 1 << chosen.randrange(8)
        case 1:
            del made[at : at + chosen.randrange(1, 40)]
        case 2:
            made[at:at] = chosen.choice(PUT_IN)
        case 3:
            other = chosen.randrange(len(lines))
            lines[line], lines[other] = lines[other], lines[line]
            return b"\n".join(lines)
        case 4:
            return b"\n".join(lines[:line] + lines[line + 1 :])
        case 5:
            return b"\n".join([*lines[:line], chosen.choice(LINES), *lines[line + 1 :]])
        case _:
            del made[at:]
    return bytes(made)


def is_allowed(name, before, now):
    return name == "disclosures.txt" and set(now.split(b"\n")) <= set(before.split(b"\n"))


def main(seed, seconds):
    chosen, tried, unseen = random.Random(seed), 0, 0
    with tempfile.TemporaryDirectory() as folder:
        os.environ["METERLOG_KEYS"] = folder
        kept, path = records.make(Path(folder, "bench.db")), Path(folder, "K-7.zip")
        with contextlib.closing(open_reader(kept)) as db:
            path.write_bytes(bagfile.evidence_zip(db, "K-7", UTC))
        whole = bagfile.read_zip(path)
        names = [name for name in whole if name.removeprefix("data/") in FILES or "texts/" in name]
        ends = time.monotonic() + seconds
        while time.monotonic() < ends:
            files, name = dict(whole), chosen.choice([*names, "disclosures.txt"])
            files[name] = changed(whole[name], chosen)
            if files[name] == whole[name] or is_allowed(name, whole[name], files[name]):
                continue
            with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):  # no leaves left to count
                signed_again(files, kept)
            tried += 1
            if all(each.answer is not CheckResult.FALSE for each in verify(files, keys.check_signature)[1]):
                unseen += 1
                print("not seen:", name, files[name][:200])
    print(f"{tried} changes, {unseen} not seen")
    return bool(unseen)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), float(sys.argv[2])))
