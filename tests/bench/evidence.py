"""An evidence file of 10^5 readings beside a plain zip of the same readings as CSV: processor time and size.

    PYTHONPATH=.:tests python tests/bench/evidence.py [READINGS]

Needs cryptography. The readings are random digits of one meter, four bytes a frame, 32 a commit.
"""

import contextlib
import csv
import io
import os
import random
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import records

from meterlog.base.readings import Frame, Reading
from meterlog.files import keys
from meterlog.procedure.language import read_procedure
from meterlog.record.verify import CheckResult, verify
from meterlog.report import bagfile
from meterlog.store.sqlite import open_reader
from meterlog.store.writer import Writer

A_COMMIT = 32


def filled(path, readings):
    chosen = random.Random(1)
    writer = Writer(path, records.now())
    link = writer.open_link("multimeter", "profile: bench-meter\n", "{}", "loop://", records.now())
    procedure = read_procedure(records.OVEN.read_text(), "microwave-oven.yaml")
    job, steps = writer.open_job("K-7", procedure, {}, {"owner": "Invented"}, records.now())
    for at in range(0, readings, A_COMMIT):
        heard = []
        for i in range(at, at + A_COMMIT):
            counts = chosen.randrange(60_000)
            raw = b"\x55" + counts.to_bytes(3, "big")
            heard.append(Frame(4 * i, raw, i / 4, (Reading(records.OHMS, counts),)))
        writer.outcomes(link, heard, job, steps["fuse"])
        writer.event("noted", records.now(at), {"word": "next"}, job=job, whence="bench")
        writer.commit(records.now(at))
    writer.close(records.now(readings))


def as_csv(db):
    """What somebody would send otherwise: the readings, readable, unproved."""
    text = io.StringIO()
    csv.writer(text).writerows(db.execute("SELECT id, utc, shown, unit, frame FROM readings WHERE job = 'K-7'"))
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("readings.csv", text.getvalue(), zipfile.ZIP_DEFLATED, 9)
    return target.getvalue()


def timed(run):
    began = time.process_time()
    return run(), time.process_time() - began


def main(readings):
    with tempfile.TemporaryDirectory() as folder:
        os.environ["METERLOG_KEYS"] = folder
        filled(Path(folder, "bench.db"), readings)
        with contextlib.closing(open_reader(Path(folder, "bench.db"))) as db:
            plain, plain_s = timed(lambda: as_csv(db))
            made, made_s = timed(lambda: bagfile.evidence_zip(db, "K-7", "2026-11-29T12:00:00.000Z"))
        path = Path(folder, "K-7.zip")
        path.write_bytes(made)
        (_, found), checked_s = timed(lambda: verify(bagfile.read_zip(path), keys.check_signature))
        assert all(each.answer is not CheckResult.FALSE for each in found), found
    print(f"{'':24}{'evidence':>10}{'plain CSV':>11}{'ratio':>8}")
    print(f"{'export, s of processor':24}{made_s:10.2f}{plain_s:11.2f}{made_s / plain_s:8.2f}")
    sizes = len(made) / readings, len(plain) / readings
    print(f"{'bytes a reading, zipped':24}{sizes[0]:10.1f}{sizes[1]:11.1f}{sizes[0] / sizes[1]:8.2f}")
    print(f"{'verify, s of processor':24}{checked_s:10.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
