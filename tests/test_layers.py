"""The rooms and the arrows between them, as DEVELOPERS.md draws them; only named modules know pint and SQLite."""

import ast
import re
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
PACKAGE = TOP / "meterlog"
LINE = "*pure above, edge below*"
OUTSIDE = {
    "asyncio", "click", "datasette", "fcntl", "multiprocessing", "os", "pathlib", "select", "serial", "socket",
    "sqlite3", "pysqlite3", "sqlite_utils", "subprocess", "sys", "tempfile", "threading", "time", "urllib",
}  # fmt: skip


def rows() -> list[tuple[str, list[str]]]:
    """Each room of DEVELOPERS.md's table with the rooms it may import, in order; the line between core and edge too."""
    table = (TOP / "DEVELOPERS.md").read_text().partition("## Arrows\n")[2].partition("\n## ")[0]
    cells = re.findall(r"^\| ([^|]+) \|([^|]*)\|$", table, re.MULTILINE)[1:]
    return [(room, [name.strip() for name in allowed.split(",") if name.strip()]) for room, allowed in cells]


ROWS = rows()
ORDER = [room for room, _ in ROWS if room != LINE]
CORE_ROOMS = [room for room, _ in ROWS[: [room for room, _ in ROWS].index(LINE)]]
ALLOWED = {room: set(ORDER) if "every room" in allowed else set(allowed) for room, allowed in ROWS}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def name_of(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0]


def imports_of(path: Path) -> set[str]:
    """Every module name imported anywhere in a file, whole."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def rooms_imported(path: Path) -> set[str]:
    """The rooms that a module imports from, its own left out."""
    dotted = {name.split(".")[1] for name in imports_of(path) if name.startswith("meterlog.")}
    return {room for room in dotted if (PACKAGE / room).is_dir()} - {room_of(path)}


IN_ROOMS = [path for path in modules() if path.parent != PACKAGE]
CORE = [path for path in IN_ROOMS if room_of(path) in CORE_ROOMS]


def test_every_module_is_in_a_room_of_the_table():
    assert {room_of(path) for path in IN_ROOMS} == set(ORDER)
    assert [name_of(path) for path in modules() if path.parent == PACKAGE] == ["__init__.py", "__main__.py"]


@pytest.mark.parametrize("room", ORDER)
def test_a_room_names_only_rooms_above_it(room):
    above = ORDER[: ORDER.index(room)]
    assert sorted(ALLOWED[room] - set(above) - {room}) == []


@pytest.mark.parametrize("room", ORDER)
def test_a_room_imports_what_the_table_allows(room):
    drawn = {other for path in IN_ROOMS if room_of(path) == room for other in rooms_imported(path)}
    assert drawn - ALLOWED[room] == set()


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_core_touches_nothing_outside(path):
    assert {name.split(".")[0] for name in imports_of(path)} & OUTSIDE == set()


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


@pytest.mark.parametrize("path", modules(), ids=name_of)
def test_sql_stands_in_the_store_and_the_workshop_only(path):
    """But for the questions that Datasette shows to whoever browses."""
    if room_of(path) not in ("store", "workshop") and name_of(path) != "web/labels.py":
        text = path.read_text()
        assert re.findall(r"\bSELECT\b|\bINSERT INTO\b|\.execute\(|\.executemany\(", text) == []
