"""Where this user's files lie, by the platform's custom: bench file, database, keys, own procedures, control socket."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path

import platformdirs

LONGEST_SOCKET_PATH = 100


def bench_file() -> Path:
    """The bench file in the platform's configuration folder."""
    return platformdirs.user_config_path("meterlog") / "bench.yaml"


def database() -> Path:
    """The database in the platform's data folder."""
    return platformdirs.user_data_path("meterlog") / "bench.db"


def keys() -> Path:
    """The folder of the keys that sign a bench's evidence: METERLOG_KEYS, or in the configuration folder."""
    named = os.environ.get("METERLOG_KEYS", "")
    return Path(named) if named else platformdirs.user_config_path("meterlog") / "keys"


def procedures() -> Path:
    """The folder of the user's own procedures: METERLOG_PROCEDURES, or in the configuration folder."""
    named = os.environ.get("METERLOG_PROCEDURES", "")
    return Path(named) if named else platformdirs.user_config_path("meterlog") / "procedures"


def cache_folder() -> Path:
    """Where what can be made again is kept, in the platform's cache folder."""
    return platformdirs.user_cache_path("meterlog")


def control_socket(db: Path) -> Path:
    """The control socket of the daemon that writes `db`: in the runtime folder, short enough for a socket."""
    name = hashlib.sha256(str(db.resolve()).encode()).hexdigest()[:16] + ".sock"
    runtime = os.environ.get("XDG_RUNTIME_DIR", "")
    folder = Path(runtime) / "meterlog"
    if not runtime or len(str(folder / name)) > LONGEST_SOCKET_PATH:
        folder = Path(tempfile.gettempdir()) / f"meterlog-{os.getuid()}"
    return folder / name
