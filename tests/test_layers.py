"""The core touches nothing outside; only named modules know pint and SQLite."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "meterlog"
EDGE_ROOMS = ("links", "store", "daemon", "demo", "web", "sounds", "cli", "files", "report")
EDGE_FILES = ("__main__.py",)
OUTSIDE = {
    "asyncio", "click", "datasette", "fcntl", "multiprocessing", "os", "pathlib", "select", "serial", "socket",
    "sqlite3", "pysqlite3", "sqlite_utils", "subprocess", "sys", "tempfile", "threading", "time", "urllib",
}  # fmt: skip


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def is_core(path: Path) -> bool:
    rel = path.relative_to(PACKAGE)
    return rel.parts[0] not in EDGE_ROOMS and str(rel) not in EDGE_FILES


def imports_of(path: Path) -> set[str]:
    """Every module name imported anywhere in a file, whole."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def name_of(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


CORE = [path for path in modules() if is_core(path)]


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_core_touches_nothing_outside(path):
    assert {name.split(".")[0] for name in imports_of(path)} & OUTSIDE == set()


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_core_imports_no_edge(path):
    edge = {f"meterlog.{room}" for room in EDGE_ROOMS}
    assert {".".join(name.split(".")[:2]) for name in imports_of(path)} & edge == set()


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_pint_is_known_to_units_only(path):
    if name_of(path) != "base/units.py":
        assert "pint" not in imports_of(path)


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_one_module_chooses_sqlite(path):
    if name_of(path) != "store/sqlite.py":
        assert not imports_of(path) & {"sqlite3", "pysqlite3"}


def test_there_is_a_core():
    assert len(CORE) > 5


@pytest.mark.parametrize("path", [path for path in modules() if name_of(path).startswith("report/")], ids=name_of)
def test_a_sheet_knows_no_page(path):
    assert not {name for name in imports_of(path) if name.startswith("meterlog.web")}
