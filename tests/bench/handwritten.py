"""The rival of daemon.py: what a good programmer writes in an evening to log one segment meter.

`python handwritten.py PORT DATABASE LINK [remember]` reads frames of 14 numbered bytes, decodes sign,
figures, point and symbols by tables (or, with the word, each distinct frame once), and inserts the
product's own rows of `chunk` and `reading` into the product's own tables with plain sqlite3, 5,000
rows a commit at most, each second at least, at FULL. It knows no instrument but this and no range
but this; nothing is rejected, sealed, watched, judged or told.
"""

import os
import re
import select
import sqlite3
import sys
import time

FRAME = re.compile(b"".join(b"[\\x%02x-\\x%02x]" % (n << 4, n << 4 | 15) for n in range(1, 15)), re.DOTALL)
FIGURES = {0x7D: 0, 0x05: 1, 0x5B: 2, 0x1F: 3, 0x27: 4, 0x3E: 5, 0x7E: 6, 0x15: 7, 0x7F: 8, 0x3F: 9}
PAIRS = [
    {
        bytes((place << 4 | flag << 3 | lit >> 4, place + 1 << 4 | lit & 15)): (figure, flag)
        for lit, figure in FIGURES.items()
        for flag in (0, 1)
    }
    for place in (2, 4, 6, 8)
]
"""For each figure's two bytes as they come: the figure, and whether the minus or point before it is lit."""
MEGOHMS = bytes((0xA0, 0xB2, 0xC4, 0xD0))


def decode(frame: bytes, forms: dict[tuple[int, bytes], int]) -> tuple[int, int]:
    """(form, counts); KeyError for what is not known."""
    first, second, third, fourth = PAIRS
    a, minus = first[frame[1:3]]
    b, one = second[frame[3:5]]
    c, two = third[frame[5:7]]
    d, three = fourth[frame[7:9]]
    counts = 1000 * a + 100 * b + 10 * c + d
    point = 3 if one else 2 if two else three
    return forms[point, frame[9:13]], -counts if minus else counts


def main(port: str, path: str, link: int, remembers: bool) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous=FULL")
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    forms = {(0, MEGOHMS): db.execute("SELECT id FROM form").fetchone()[0]}
    chunk = db.execute("SELECT coalesce(max(id), 0) FROM chunk").fetchone()[0]
    reading = db.execute("SELECT coalesce(max(id), 0) FROM reading").fetchone()[0]
    known: dict[bytes, tuple[int, int]] = {}
    began = due = time.monotonic()
    rest, raw, rows = b"", bytearray(), []
    while True:
        if select.select([fd], [], [], 0.5)[0]:
            data = rest + os.read(fd, 4096)
            at, end = round((time.monotonic() - began) * 1000), 0
            for match in FRAME.finditer(data):
                frame = match[0]
                said = known.get(frame) if remembers else None
                if said is None:
                    try:
                        said = decode(frame, forms)
                    except KeyError:
                        continue
                    if remembers:
                        known[frame] = said
                form, counts = said
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
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]), "remember" in sys.argv)
