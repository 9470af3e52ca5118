"""A yield test as somebody noted it: a CSV file of times with volumes, water levels or both, read to SI.

The first line names the columns: ``time`` and one or more of ``volume`` (total since the start), ``caught`` (since the
row before) and ``level`` (water's depth below the ground). The unit stands in the name ("time_min", "volume (gal)",
"level [ft]") or with each number ("5 min"). Commas, semicolons or tabs between; "#" begins a remark.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from clicktimer.errors import InputError, QuantityError
from clicktimer.units.parse import parse_time_s, parse_volume_l
from clicktimer.well.parse import parse_depth_m

MOST_BYTES = 4_000_000
MOST_ROWS = 20_000
_COLUMN = re.compile(r"(time|volume|caught|level)(?:[\s_]*[\[(]?\s*([a-z3'\". ]+?)\s*[\])]?)?")
_CLOCKS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M")
_READ: dict[str, Callable[[str], float]] = {
    "time": parse_time_s,
    "volume": parse_volume_l,
    "caught": parse_volume_l,
    "level": parse_depth_m,
}


@dataclass(frozen=True, slots=True)
class TestRows:
    """The readings of a yield test, one of each list to a row, in order of time.

    time_s: from the first row. volume_l: total drawn since the start, None when not noted. level_m: depth of the water
    below the ground, None when not noted. volume_step_l, level_step_m: how finely they were written (10 gal, 0.1 ft).
    """

    time_s: tuple[float, ...]
    volume_l: tuple[float, ...] | None
    level_m: tuple[float, ...] | None
    volume_step_l: float = 0.0
    level_step_m: float = 0.0

    # pytest would take a class of this name for a test.
    __test__ = False


def read_test_file(path: str | Path) -> TestRows:
    """Read a yield test from a CSV file. Raises InputError with the file, the line and what to do."""
    place = Path(path)
    name = "".join(c if c.isprintable() else "?" for c in str(path))
    try:
        if place.stat().st_size > MOST_BYTES:
            raise InputError(
                f"{name}: a yield test of more than 4 MB is not expected here; keep one row a minute or so"
            )
        text = place.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{name}: {error.strerror or 'cannot be read'}; check the name") from None
    except UnicodeDecodeError:
        raise InputError(f"{name}: this is not a text file; save the table as CSV (UTF-8)") from None
    return parse_test(text, name)


def parse_test(text: str, name: str = "the yield test") -> TestRows:
    """Read a yield test from the text of a CSV file; ``name`` is used in messages. Raises InputError."""
    lines = [(number, line) for number, line in enumerate(text.splitlines(), 1) if _holds_data(line)]
    if not lines:
        raise InputError(f'{name}: nothing in it; the first line names the columns, such as "time_min,volume_gal"')
    if len(lines) - 1 > MOST_ROWS:
        raise InputError(f"{name}: more than {MOST_ROWS} rows; keep one a minute or so")
    mark = max(";\t,", key=lines[0][1].count)
    columns = _columns(_cells(lines[0][1], mark), name)
    values: dict[str, list[float]] = {column: [] for column, _ in columns if column}
    steps: dict[str, float] = dict.fromkeys(values, math.inf)
    for number, line in lines[1:]:
        cells = _cells(line, mark)
        where = f"{name}, line {number}"
        if len(cells) != len(columns):
            raise InputError(
                f"{where}: {len(cells)} values where {len(columns)} columns are named; write numbers with a decimal "
                "point, or put semicolons between the columns"
            )
        for (column, unit), cell in zip(columns, cells, strict=True):
            if column:
                value, step = _value(column, unit, cell, where)
                values[column].append(value)
                steps[column] = min(steps[column], step)
    return _rows(values, steps, name)


def _holds_data(line: str) -> bool:
    return bool(line.strip(" \t,;")) and not line.lstrip().startswith("#")


def _cells(line: str, mark: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=mark, skipinitialspace=True))]
    except csv.Error:
        return []  # told by the count of values


def _columns(cells: Sequence[str], name: str) -> list[tuple[str, str]]:
    """What each column holds and its unit, both empty for one that is not ours (a remark)."""
    found: list[tuple[str, str]] = []
    for cell in cells:
        m = _COLUMN.fullmatch(cell.casefold().strip())
        found.append((m[1], m[2] or "") if m else ("", ""))
    named = [column for column, _ in found if column]
    for column in named:
        if named.count(column) > 1:
            raise InputError(f'{name}: the column "{column}" is there twice; keep one')
    if "time" not in named or len(named) < 2:
        raise InputError(
            f'{name}: the first line must name a column "time" and one of "volume", "caught" or "level", '
            'such as "time_min,volume_gal"'
        )
    if "volume" in named and "caught" in named:
        raise InputError(f'{name}: keep either "volume" (total since the start) or "caught" (since the row before)')
    return found


def _value(column: str, unit: str, cell: str, where: str) -> tuple[float, float]:
    """One cell in SI, and the smallest step that the way it is written can show."""
    if not cell:
        raise InputError(f'{where}: "{column}" is empty; leave the whole row out if it was not read')
    if column == "time":
        for form in _CLOCKS:
            try:
                # Not timestamp(): that would depend on the machine's clock zone, and jump with summer time.
                return (datetime.strptime(cell, form) - datetime(1970, 1, 1)).total_seconds(), 0.0
            except ValueError:
                continue
    number = re.match(r"[+-]?[0-9.,]+", cell)
    bare = number is not None and number[0] == cell
    # A zero needs no unit, and the readers of quantities refuse zero where a real one makes no sense.
    if bare and re.fullmatch(r"[+-]?0*[.,]?0*", cell) and unit:
        return 0.0, _step(column, unit, cell)
    if bare and not unit:
        raise InputError(
            f'{where}: "{cell}" has no unit; write it in the column\'s name, such as "{column}_'
            f'{ {"time": "min", "level": "ft"}.get(column, "gal") }"'
        )
    written = cell if not bare else f"{cell} {unit}"
    try:
        value = _READ[column](written)
    except QuantityError as error:
        if re.match(r"[+-]?0+(?:[.,]0+)?\s*[^0-9.,]", cell):
            return 0.0, math.inf  # "0 gal" does not show how finely the others are written
        raise InputError(f"{where}: {error}") from None
    return value, _step(column, unit or cell[len(number[0]) :].strip(), cell) if number else math.inf


def _step(column: str, unit: str, cell: str) -> float:
    """The smallest step of a number as written: one in its last decimal, in SI."""
    decimals = re.search(r"[.,]([0-9]+)", cell)
    try:
        return _READ[column](f"1 {unit}") * 10.0 ** -(len(decimals[1]) if decimals else 0)
    except QuantityError:
        return math.inf


def _rows(values: dict[str, list[float]], steps: dict[str, float], name: str) -> TestRows:
    times = values["time"]
    if len(times) < 2:
        raise InputError(f"{name}: one reading tells no rate; note at least six, a few minutes apart")
    for row, (a, b) in enumerate(pairwise(times), 2):
        if b <= a:
            raise InputError(
                f"{name}, reading {row}: its time is not after the one before; write minutes since the start, or date "
                'and time ("2024-05-01 14:05")'
            )
    volumes = values.get("volume")
    if "caught" in values:
        total = 0.0
        volumes = [total := total + caught for caught in values["caught"]]
    if volumes is not None:
        for row, (a, b) in enumerate(pairwise(volumes), 2):
            if b < a:
                raise InputError(
                    f"{name}, reading {row}: the volume is less than in the row before; it must be the total since the "
                    'start (name the column "caught" if each is what was caught since the row before)'
                )
    return TestRows(
        time_s=tuple(t - times[0] for t in times),
        volume_l=None if volumes is None else tuple(volumes),
        level_m=tuple(values["level"]) if "level" in values else None,
        volume_step_l=_finite(steps.get("volume", steps.get("caught", 0.0))),
        level_step_m=_finite(steps.get("level", 0.0)),
    )


def _finite(step: float) -> float:
    return step if math.isfinite(step) else 0.0
