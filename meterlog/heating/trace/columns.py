"""The thermometer's trace of a heating run, with the electrical columns where they were logged, from CSV.

    t_s,temperature_C,power_W
    0.0,18.4,0.4
    1.0,18.4,1502.0

The header names each column and its unit. A cell may be empty (the probe was out); time must go
forward. What is wrong is told with its row, all at once.

Of two vessels heated together, each has its column: temperature_1_C, temperature_2_C. One thermometer
carried from one to the other leaves the other's cell empty.
"""

from __future__ import annotations

import csv
import io
import math
import re
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from meterlog.base import units
from meterlog.base.errors import WrongText, WrongValue
from meterlog.base.problem import Place
from meterlog.base.source import Problems
from meterlog.base.spelling import NUMBER
from meterlog.base.unit_names import plain
from meterlog.heating.water import ZERO_CELSIUS

SECOND = "second temperature"
VESSELS = {"temperature": "first", SECOND: "second"}
"""The columns of temperature, and the vessel whose it is when there are two."""
COLUMNS = {
    "time": ("second", ("t", "time", "elapsed")),
    "temperature": ("kelvin", ("temperature", "temp", "T", "water_temperature", "temperature_1", "temp_1", "T1")),
    SECOND: ("kelvin", ("temperature_2", "temp_2", "T2")),
    "power": ("watt", ("power", "P", "active_power", "mains_power")),
    "current": ("ampere", ("current", "I", "mains_current")),
    "voltage": ("volt", ("voltage", "U", "V", "mains_voltage")),
}
"""What each column holds: its SI unit and the names a header may give it."""
_CELSIUS = {"c": "degC", "f": "degF", "k": "kelvin", "degc": "degC", "degf": "degF", "celsius": "degC"}

EXAMPLE = "t_s,temperature_C,power_W"
GAP = 5.0
"""An interval this many times the usual one is told as a gap."""
_NAMED = re.compile(r"\s*(?P<name>.*?)\s*(?:_|\s)\s*[\[(]?(?P<unit>[^\s_\[\]()]+)[\])]?\s*")
_SHORT_UNITS = {
    "temperature": _CELSIUS,
    SECOND: _CELSIUS,
    "power": {"w": "W", "kw": "kW"},
    "current": {"a": "A", "ma": "mA"},
    "voltage": {"v": "V"},
}
"""Units as loggers write them in a header: "C" is no coulomb there, and letters may be small."""
_LIQUID = (ZERO_CELSIUS - 5.0, ZERO_CELSIUS + 106.0)
_LIKELY = {
    "time": (1e7, "a time of at most four months, s"),
    "power": (1e5, "a power of at most 100 kW"),
    "current": (1e3, "a current of at most 1000 A"),
    "voltage": (1e4, "a voltage of at most 10 kV"),
}
"""SI: the most, either way, that a cell may say; more is a slip of the unit or of the logger."""
_MOST_TOLD = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedQuantity:
    """One quantity over time: times, s, ascending; values, SI; one step of its display, SI, 0 if unknown."""

    times: tuple[float, ...]
    values: tuple[float, ...]
    resolution: float = 0.0

    def between(self, first: float, last: float) -> LoggedQuantity:
        """The part with first <= time <= last."""
        kept = [(t, v) for t, v in zip(self.times, self.values, strict=True) if first <= t <= last]
        return LoggedQuantity(
            times=tuple(t for t, _ in kept), values=tuple(v for _, v in kept), resolution=self.resolution
        )

    @property
    def changes(self) -> int:
        """How many readings differ from the one before."""
        return sum(a != b for a, b in pairwise(self.values))

    def without(self, first: float, last: float) -> LoggedQuantity:
        """All but the part with first <= time < last."""
        kept = [(t, v) for t, v in zip(self.times, self.values, strict=True) if not first <= t < last]
        return LoggedQuantity(
            times=tuple(t for t, _ in kept), values=tuple(v for _, v in kept), resolution=self.resolution
        )

    @property
    def interval(self) -> float:
        """The usual time between readings, s."""
        return median(b - a for a, b in pairwise(self.times)) if len(self.times) > 1 else 0.0

    def __len__(self) -> int:
        return len(self.times)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatingTrace:
    """What was logged during a run; `second` in the second vessel, where two were heated.

    `notes` tell of gaps and columns left aside.
    """

    temperature: LoggedQuantity
    second: LoggedQuantity | None = None
    power: LoggedQuantity | None = None
    current: LoggedQuantity | None = None
    voltage: LoggedQuantity | None = None
    notes: tuple[str, ...] = ()


def read_trace(text: str, name: str) -> HeatingTrace:
    """The trace written in a CSV text. Raises: WrongText with every row that is wrong (the first twenty)."""
    lines = text.removeprefix("\ufeff").splitlines()
    problems = Problems(name)
    first = next((n for n, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if first is None:
        _tell(problems, 1, expected=f"a header such as {EXAMPLE}, then rows", saw="an empty file")
        raise WrongText(problems.in_order())
    separator = max(",;\t", key=lines[first].count)
    header = next(csv.reader([lines[first]], delimiter=separator))
    columns, notes = _columns(header, first + 1, problems)
    problems.raise_if_any()
    body = io.StringIO("\n".join(lines[first + 1 :]))
    rows = [(first + 2 + n, row) for n, row in enumerate(csv.reader(body, delimiter=separator))]
    _tell_longer(rows, header, problems)
    cells = _numbers(rows, columns, decimal_comma=separator == ";", problems=problems)
    fewest = min(len(cells[column]) for column in VESSELS if column in cells)
    if fewest < 5 and not len(problems):
        _tell(problems, len(lines), expected="at least five readings", saw=f"{fewest}")
    if len(problems):
        raise WrongText(problems.in_order()[:_MOST_TOLD])
    series = {quantity: _series(found) for quantity, found in cells.items()}
    second = series.pop(SECOND, None)
    return HeatingTrace(**series, second=second, notes=(*notes, *_gaps(cells)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    place: int
    quantity: str
    unit: str
    scale: float
    offset: float


@dataclass(frozen=True, slots=True)
class _Cell:
    row: int
    time: float
    value: float
    step: float  # of the last digit written


def _columns(header: list[str], row: int, problems: Problems) -> tuple[list[_Column], list[str]]:
    columns: dict[str, _Column] = {}
    notes: list[str] = []
    for place, title in enumerate(header):
        quantity, unit = _named(title)
        if quantity is None:
            notes.append(f"column {title.strip()!r} is left aside")
        elif not unit:
            hint = f"name the unit too, as in {EXAMPLE}"
            _tell(problems, row, expected=f"a unit in the name of column {title.strip()!r}", saw="none", hint=hint)
        elif quantity in columns:
            other = header[columns[quantity].place].strip()
            _tell(
                problems, row, expected=f"one column of {quantity}", saw=f"{other} and {title.strip()}",
                hint="leave the one that was in the load, and give the other a name of its own",
                column=_character(header, place),
            )  # fmt: skip
        else:
            column = _column(place, quantity, unit)
            if column is None:
                expected = f"a unit of {quantity} in the name of column {title.strip()!r}"
                _tell(problems, row, expected=expected, saw=unit, hint=f"such as {EXAMPLE}")
            else:
                columns[quantity] = column
    if SECOND in columns and ("temperature" not in columns or "1" not in header[columns["temperature"].place]):
        aside = header[columns.pop(SECOND).place].strip()
        notes.append(f"column {aside!r} is left aside: of two vessels, the columns are temperature_1_C,temperature_2_C")
    missing = [quantity for quantity in ("time", "temperature") if quantity not in columns]
    if missing and not len(problems):
        saw = ", ".join(title.strip() for title in header) or "nothing"
        _tell(problems, row, expected=f"a header with {' and '.join(missing)}, such as {EXAMPLE}", saw=saw)
    return list(columns.values()), notes


def _character(row: list[str], place: int) -> int:
    """The character of its line at which a cell begins, from 1, as long as no cell is quoted."""
    return 1 + sum(len(cell) + 1 for cell in row[:place])


def _tell_longer(rows: list[tuple[int, list[str]]], header: list[str], problems: Problems) -> None:
    """Tell of rows with more cells than the header names: a decimal comma makes two of one."""
    for number, row in rows:
        if any(cell.strip() for cell in row[len(header) :]) and not row[0].startswith("#"):
            _tell(
                problems, number, expected=f"at most {len(header)} cells, as in the header", saw=f"{len(row)}",
                hint="write decimals with a point, or separate columns with semicolons",
                column=_character(row, len(header)),
            )  # fmt: skip


def _named(title: str) -> tuple[str | None, str]:
    """(quantity, unit) of a column's title; None when it is no quantity we use, "" when no unit stands there."""
    match = _NAMED.fullmatch(title)
    for name, unit in ((match["name"], match["unit"]) if match else (title, ""), (title.strip(), "")):
        for quantity, (_, names) in COLUMNS.items():
            if name in names or name.lower() in {n for n in names if len(n) > 1}:
                return quantity, unit
    return None, ""


def _column(place: int, quantity: str, unit: str) -> _Column | None:
    like = COLUMNS[quantity][0]
    unit = _SHORT_UNITS.get(quantity, {}).get(plain(unit).lower(), unit)
    try:
        if not units.same_kind(unit, like):
            return None
        scale, offset = units.si_factor(unit)
    except WrongValue:
        return None
    return _Column(place=place, quantity=quantity, unit=unit, scale=scale, offset=offset)


def _numbers(
    rows: list[tuple[int, list[str]]], columns: list[_Column], *, decimal_comma: bool, problems: Problems
) -> dict[str, list[_Cell]]:
    clock = next(column for column in columns if column.quantity == "time")
    others = [column for column in columns if column is not clock]
    cells: dict[str, list[_Cell]] = {column.quantity: [] for column in others}
    last: _Cell | None = None
    for number, row in rows:
        if not any(cell.strip() for cell in row) or row[0].startswith("#"):
            continue
        at = _cell(row, clock, number, 0.0, decimal_comma, problems)
        if at is None:
            continue
        if last is not None and at.value <= last.value:
            saw = f"{at.value:g} s after {last.value:g} s of row {last.row}"
            _tell(problems, number, path="time", expected="a time that goes forward", saw=saw)
            continue
        last = at
        for column in others:
            cell = _cell(row, column, number, at.value, decimal_comma, problems)
            if cell is not None:
                cells[column.quantity].append(cell)
    return cells


def _cell(
    row: list[str], column: _Column, number: int, at: float, decimal_comma: bool, problems: Problems
) -> _Cell | None:
    text = row[column.place].strip() if column.place < len(row) else ""
    written = (text.replace(",", ".") if decimal_comma else text).replace("−", "-")
    path = column.quantity
    if not text or text.lower() in ("nan", "-", "--"):
        if path == "time":
            _tell(problems, number, path=path, expected="a time", saw="an empty cell")
        return None
    if not re.fullmatch(NUMBER, written):
        _tell(problems, number, path=path, expected="a number, or nothing where there was no reading", saw=text)
        return None
    value = float(written) * column.scale + column.offset
    if path in VESSELS and not _LIQUID[0] <= value <= _LIQUID[1]:
        expected = "the temperature of liquid water or of a room"
        hint = f"is the unit really {units.symbol(column.unit)}? Leave the cell empty where the probe gave no reading"
        _tell(problems, number, path=path, expected=expected, saw=f"{text} {units.symbol(column.unit)}", hint=hint)
        return None
    most, expected = _LIKELY.get(path, (math.inf, ""))
    if abs(value) > most:
        hint = f"is the unit really {units.symbol(column.unit)}?"
        _tell(problems, number, path=path, expected=expected, saw=f"{text} {units.symbol(column.unit)}", hint=hint)
        return None
    return _Cell(number, at, value, column.scale * 10.0 ** -units.counts_of(written)[1])


def _series(cells: list[_Cell]) -> LoggedQuantity:
    return LoggedQuantity(
        times=tuple(cell.time for cell in cells),
        values=tuple(cell.value for cell in cells),
        resolution=_resolution(cells),
    )


def _resolution(cells: list[_Cell]) -> float:
    """One step of the display: the least difference between readings, at least the last digit written."""
    written = min((cell.step for cell in cells), default=0.0)
    values = sorted({cell.value for cell in cells})
    least = min((b - a for a, b in pairwise(values)), default=written)
    return written * max(round(least / written), 1) if written else 0.0


def _gaps(cells: dict[str, list[_Cell]]) -> list[str]:
    logged = [column for column in VESSELS if column in cells]
    told = []
    for column in logged:
        usual = median(b.time - a.time for a, b in pairwise(cells[column]))
        where = f" in the {VESSELS[column]} vessel" if len(logged) > 1 else ""
        told += [
            f"row {b.row}: no temperature{where} for {b.time - a.time:g} s (from {a.time:g} s)"
            for a, b in pairwise(cells[column])
            if b.time - a.time > GAP * usual
        ]
    return told


def _tell(
    problems: Problems, row: int, *, expected: str, saw: str, hint: str = "", path: str = "", column: int = 1
) -> None:
    problems.add(Place(name=problems.name, line=row, column=column), path, expected=expected, saw=saw, hint=hint)
