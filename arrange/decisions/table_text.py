"""Tables as text: a line of column names, then a line per row, cells between bars ``|``.

In a cell of text a backslash, a bar and a line break are written ``\\\\``, ``\\p`` and ``\\n``.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from typing import Any

import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.song_size import MOST_FRETS
from arrange.tables.schema_check import check_table
from arrange.tables.schemas import Column, Table

Line = tuple[int, str]  # its number, from 1, and its text

_MOST = 10**9  # a larger number in a table is a typing mistake
_WHOLE = re.compile(r"[-+]?[0-9]{1,12}")
_MARKS = {"\\": "\\", "p": "|", "n": "\n", "r": "\r"}
_WITHIN = {"capo": (0, MOST_FRETS), "tuning": (0, 127)}  # what a neck can be


class Fault(Exception):
    """A line that cannot be understood."""

    def __init__(self, line: int, problem: str) -> None:
        super().__init__(problem)
        self.line = line


def table_lines(frame: pd.DataFrame) -> list[str]:
    """Return the lines of a table: the names of its columns, then a line per row.

    What a Song computes, ``sounds``, is left out.
    """
    names = [name for name in frame.columns if name != "sounds"]
    columns = [[_cell(value) for value in frame[name].tolist()] for name in names]
    rows = [names, *zip(*columns, strict=True)]
    return ["  | " + " | ".join(row) + " |" for row in rows]


def parse_table(lines: Sequence[Line], table: Table) -> pd.DataFrame:
    """Return the table that some lines hold; no lines are a table without rows.

    A column that need not be given may be lacking.

    Raises
    ------
    Fault
        With the first line that does not fit the schema.
    """
    rows = [_cells(text) for _, text in lines]
    heading = rows[0] if rows else table.names
    columns = [column for column in table.columns
               if column.name in heading
               or (column.default is None and column.like is None)]  # fmt: skip
    names = [column.name for column in columns]
    if heading != names:
        raise Fault(lines[0][0], f"the columns are {' | '.join(table.names)}")
    values = []
    for (line, _), row in zip(lines[1:], rows[1:], strict=True):
        if len(row) != len(names):
            raise Fault(line, f"{len(row)} columns; a row has {len(names)}, between bars |")
        try:
            values.append([_value(cell, column) for cell, column in zip(row, columns, strict=True)])
        except ValueError as error:
            raise Fault(line, str(error)) from None
    try:
        return _checked(values, names, table)
    except ArrangeError:
        size, problem = _first_refused(values, names, table)
        raise Fault(lines[size][0], problem) from None


def _checked(rows: Sequence[Sequence[Any]], names: Sequence[str], table: Table) -> pd.DataFrame:
    return check_table(pd.DataFrame(rows, columns=pd.Index(names), dtype=object), table)


def _first_refused(
    rows: Sequence[Sequence[Any]], names: Sequence[str], table: Table
) -> tuple[int, str]:
    """How many rows from the top make the schema refuse them, and the reason."""

    def problem(size: int) -> str:
        try:
            _checked(rows[:size], names, table)
        except ArrangeError as error:
            return str(error)
        return ""

    size = 1 + bisect_left(range(1, len(rows) + 1), True, key=lambda size: bool(problem(size)))
    return size, problem(size)


def _cell(value: Any) -> str:
    if value is None or value is pd.NA or value != value:
        return ""
    if isinstance(value, bool):
        return "yes" if value else ""
    if isinstance(value, tuple):
        return " ".join(map(str, value))
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() else repr(value)
    text = str(value)
    for mark, letter in _MARKS.items():
        text = text.replace(letter, f"\\{mark}")
    return text


def _cells(text: str) -> list[str]:
    inside = text.strip().removeprefix("|").removesuffix("|")
    return [cell.strip() for cell in inside.split("|")]


def _value(cell: str, column: Column) -> Any:
    """The value of a cell; a ValueError says what should be written there."""
    if column.dtype == "bool":
        if cell not in ("yes", ""):
            raise ValueError(f"{column.name} {shown(cell)}: write yes, or nothing")
        return cell == "yes"
    if not cell:
        return float("nan") if column.dtype == "float64" else None
    if column.dtype == "float64":
        return _number(cell, column)
    if column.dtype in ("int64", "Int64"):
        return _whole(cell, column)
    if column.dtype == "object":
        return tuple(
            _number(each, column) if "." in each else _whole(each, column) for each in cell.split()
        )
    return re.sub(r"\\([\\pnr])", lambda found: _MARKS[found[1]], cell)


def _whole(cell: str, column: Column) -> int:
    if not _WHOLE.fullmatch(cell):
        raise ValueError(f"{column.name} {shown(cell)}: a whole number is needed")
    return int(_in_bounds(int(cell), cell, column))


def _number(cell: str, column: Column) -> float:
    try:
        number = float(cell)
    except ValueError:
        raise ValueError(f"{column.name} {shown(cell)}: a number is needed") from None
    return _in_bounds(number, cell, column)


def _in_bounds(number: float, cell: str, column: Column) -> float:
    least, most = _WITHIN.get(column.name, column.within or (-_MOST, _MOST))
    if not least <= number <= most:  # also true of nan
        raise ValueError(f"{column.name} {shown(cell)}: it lies between {least} and {most}")
    return number
