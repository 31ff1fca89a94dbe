"""Lives of a daemon, each forked from this process and ended by SIGKILL at a random moment.

`python -m edge.killed FOLDER LIVES` prints one JSON line a life: what was acknowledged before the
death, and what is in the database after it. Ends with a whole audit; exit 1 when it finds anything.
"""

import base64
import contextlib
import json
import os
import random
import signal
import sys
import threading
import time
from pathlib import Path

from meterlog.base.errors import CannotDo
from meterlog.daemon.client import ask
from meterlog.daemon.main import run_daemon
from meterlog.store import audit, sqlite

PHOTO = base64.b64encode(b"invented photograph").decode()


class Asker(threading.Thread):
    """Asks without pause: the last number of committed readings, and the photographs taken, that were acknowledged."""

    def __init__(self, db: Path, job: str):
        super().__init__(daemon=True)
        self._db, self._job = db, job
        self.acknowledged, self.photographs = 0, []

    def run(self):
        with contextlib.suppress(CannotDo):
            while True:
                self.acknowledged = ask(self._db, "status")["status"]["store"]["committed"]
                self.photographs.append(
                    ask(self._db, "photo", job=self._job, name="plate", content=PHOTO, type="image/png")["digest"]
                )


def begin(folder: Path) -> int:
    pid = os.fork()
    if pid:
        return pid
    with open(folder / "daemon.log", "a") as log:
        os.dup2(log.fileno(), 2)
    try:
        run_daemon(folder / "bench.yaml", folder / "bench.db", log_form="json", sounds=False)
    finally:
        os._exit(0)


def wait_for(db: Path) -> None:
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        with contextlib.suppress(CannotDo):
            ask(db, "status")
            return
        time.sleep(0.005)
    raise AssertionError("the daemon does not answer")


def live(folder: Path, job: str, seconds: float) -> dict:
    db = folder / "bench.db"
    pid = begin(folder)
    wait_for(db)
    asker = Asker(db, job)
    asker.start()
    time.sleep(seconds)
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    asker.join()
    reader = sqlite.open_reader(db)
    digests = {row[0] for row in reader.execute("SELECT digest FROM disclosure")}
    life = {
        "acknowledged": asker.acknowledged,
        "kept": reader.execute("SELECT count(*) FROM reading").fetchone()[0],
        "photographs": len(asker.photographs),
        "missing_photographs": len(set(asker.photographs) - digests),
        "integrity": reader.execute("PRAGMA integrity_check").fetchone()[0],
    }
    reader.close()
    return life


def main(folder: Path, lives: int) -> int:
    moments = random.Random(lives)
    pid = begin(folder)
    wait_for(folder / "bench.db")
    ask(folder / "bench.db", "open job", procedure="microwave-oven", ref="K-7")
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    for _ in range(lives):
        print(json.dumps(live(folder, "K-7", moments.uniform(0.0, 0.25))), flush=True)
    reader = sqlite.open_reader(folder / "bench.db")
    findings = [str(finding) for finding in audit.audit(reader)]
    print("\n".join(findings), file=sys.stderr)
    return bool(findings)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), int(sys.argv[2])))
