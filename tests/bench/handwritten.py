"""The rival of daemon.py: what a good programmer writes in an evening to log one segment meter.

`python handwritten.py PORT DATABASE LINK` reads frames of 14 numbered bytes, decodes the digits by
table, remembers what it has decoded, and inserts the product's own rows of `chunk` and `reading`
into the product's own tables with plain sqlite3, 5,000 rows a commit at most, each second at least,
at FULL. No instrument but this, no range but this; nothing is rejected, sealed, watched, judged or told.
"""

import os
import re
import select
import sqlite3
import sys
import time

FRAME = re.compile(b"".join(b"[\\x%02x-\\x%02x]" % (n << 4, n << 4 | 15) for n in range(1, 15)), re.DOTALL)
FIGURES = {0x7D: 0, 0x05: 1, 0x5B: 2, 0x1F: 3, 0x27: 4, 0x3E: 5, 0x7E: 6, 0x15: 7, 0x7F: 8, 0x3F: 9}


def counts_of(frame: bytes) -> int:
    counts = 0
    for place in (1, 3, 5, 7):
        counts = counts * 10 + FIGURES[(frame[place] & 7) << 4 | frame[place + 1] & 15]
    return counts


def main(port: str, path: str, link: int) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous=FULL")
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    form = db.execute("SELECT id FROM form").fetchone()[0]
    chunk = db.execute("SELECT coalesce(max(id), 0) FROM chunk").fetchone()[0]
    reading = db.execute("SELECT coalesce(max(id), 0) FROM reading").fetchone()[0]
    known: dict[bytes, int] = {}
    began = due = time.monotonic()
    rest, raw, rows = b"", bytearray(), []
    while True:
        if select.select([fd], [], [], 0.5)[0]:
            data = rest + os.read(fd, 4096)
            at, end = round((time.monotonic() - began) * 1000), 0
            for match in FRAME.finditer(data):
                frame = match[0]
                counts = known.get(frame)
                if counts is None:
                    counts = known[frame] = counts_of(frame)
                reading += 1
                rows.append((reading, chunk + 1, at, form, counts, len(raw), 14))
                raw += frame
                end = match.end()
            rest = data[end:]
        if rows and (len(rows) >= 5000 or time.monotonic() >= due):
            chunk += 1
            db.execute("BEGIN IMMEDIATE")
            db.execute(
                "INSERT INTO chunk VALUES (?, ?, NULL, NULL, ?, ?, ?, ?)",
                (chunk, link, rows[0][2], rows[0][0], len(rows), bytes(raw)),
            )
            db.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            db.execute("COMMIT")
            raw, rows, due = bytearray(), [], time.monotonic() + 1.0


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
