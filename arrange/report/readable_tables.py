"""Tables for people: notes by their names, plain numbers, nothing where nothing is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from pandas.api.types import is_bool_dtype, is_numeric_dtype

from arrange.errors import ArrangeError, cut_text, shown
from arrange.report.pieces import piece_text
from arrange.tables.schemas import ALL_TABLES, FINDINGS
from arrange.tables.song import Song
from arrange.text.markup import escape_html
from arrange.text.words import counted
from arrange.theory.pitch import note_name, pitch_class_name

_PITCHES = {"pitch", "lowest", "highest", "mean", "middle_half_low", "middle_half_high"}
_PITCH_CLASSES = {"root", "bass", "pitch_classes"}
_UNITS = {
    column.name: column.unit
    for table in ALL_TABLES.values()
    for column in table.columns
    if column.unit and "see" not in column.unit and "MIDI" not in column.unit
    and "class" not in column.unit
}  # fmt: skip
_FOR_PROGRAMS = {"source_id", "notes"}  # of these columns those that are no numbers
# Of a whole table of findings, so that it is no wider than a page; a single row has all.
_OF_FINDINGS = ["section", "measure", "beat", "kind", "parts", "pitches", "severity", "why"]
_MOST_DECIMALS = 4
_MEDIUM, _LONG = 24, 40  # signs of a cell that is not made narrow
_MOST_SIGNS = 60  # of a cell that others stand behind, where a table is shown as text


@dataclass(frozen=True)
class ReadableTable:
    """A table for people. A notebook shows it with headers that sort it.

    Parameters
    ----------
    html : str
        A piece of a page.
    text : str
        The same as plain text.
    """

    html: str
    text: str

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return self.text


@dataclass(frozen=True)
class _Column:
    """A column as text: its heading, unit and cells, and the numbers that sort it, if any."""

    heading: str
    unit: str
    cells: list[str]
    numbers: list[float] | None = None


def show(table: pd.DataFrame | pd.Series[Any], song: Song | None = None, most: int = 60) -> Any:
    """Return a table, or one row of it, for people to read.

    Pitches are note names, numbers have the decimals that they need, and what is missing is empty.
    Of findings the columns to read are shown, of a single row all. In a notebook a click on a
    header sorts the rows.

    Parameters
    ----------
    table : DataFrame or Series
        Any table of this package, which stays as it is.
    song : Song, optional
        Its key spells the notes.
    most : int
        Rows that are shown.

    Raises
    ------
    ArrangeError
        If it is no table.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.txt")
    >>> ar.show(ar.part_ranges(song.notes)[["part", "lowest", "spread"]].head(2), song)
    part      lowest  spread
    Guitar 1  F2        7.43
    Guitar 2  G2        6.58
    """
    if isinstance(table, pd.Series):
        is_row = not isinstance(table.index, pd.RangeIndex) and table.dtype == object
        table = _standing(table.to_frame().T, song) if is_row else table.to_frame()
    if not isinstance(table, pd.DataFrame):
        raise ArrangeError(f"{shown(table)}: show a table, such as ar.find_clashes(song)")
    columns = _columns(table.head(most), song)
    rest = _rest(table, most)
    look = piece_text("report.css")
    html = (
        f'<div class="arrange-study arrange-piece mathjax_ignore tex2jax_ignore"><style>{look}'
        f"</style>{_html(columns, rest)}{SORTING}</div>"
    )
    return ReadableTable(html, _text(columns, rest))


SORTING = f"<script>{piece_text('sorting.js')}</script>"  # behind tables, in their parent


def table_html(table: pd.DataFrame, song: Song | None = None, most: int = 60) -> str:
    """Return a table as a piece of a page whose look is ``report.css``."""
    return _html(_columns(table.head(most), song), _rest(table, most))


def _rest(table: pd.DataFrame, most: int) -> str:
    return counted(len(table) - most, "more row") if len(table) > most else ""


def _standing(row: pd.DataFrame, song: Song | None) -> pd.DataFrame:
    """One row as two columns, names and cells."""
    cells = {each.heading: each.cells[0] for each in _columns(row.infer_objects(), song)}
    return pd.DataFrame({"what": list(cells), "here": list(cells.values())})


def _columns(table: pd.DataFrame, song: Song | None) -> list[_Column]:
    if not isinstance(table.index, pd.RangeIndex):
        has_names = any(name is not None for name in table.index.names)
        table = table.reset_index() if has_names or _is_text(table.index) else table
    if len(table) > 1 and set(FINDINGS.names) <= set(table.columns):
        waived = ["waived"] if table["waived"].notna().any() else []
        table = table[[*_OF_FINDINGS, *waived]]
    return [
        _column(name, table.iloc[:, place], song)
        for place, name in enumerate(table.columns)
        if name not in _FOR_PROGRAMS or is_numeric_dtype(table.iloc[:, place])
    ]


def _is_text(index: pd.Index[Any]) -> bool:
    return not is_numeric_dtype(index.dtype)


def _column(name: Any, values: pd.Series[Any], song: Song | None) -> _Column:
    words = " ".join(map(str, name)) if isinstance(name, tuple) else str(name)
    heading = "" if words == "index" else words.replace("_", " ")
    unit = _UNITS.get(words, "")
    if words.endswith("_mm"):
        heading, unit = heading.removesuffix(" mm"), "mm"
    key = song.main_key if song is not None else None
    if words in _PITCHES and is_numeric_dtype(values):
        names = _named(values, lambda pitch: note_name(round(pitch), key))
        return _Column(heading, "", names, _numbers(values))
    is_text = any(isinstance(value, str) for value in values.tolist())
    if words in _PITCH_CLASSES and not is_text:
        return _Column(heading, "", _named(values, lambda each: _classes(each, key)))
    if words == "tuning" and not is_text:
        return _Column("tuning, low to high", "", _named(values, _strings))
    if is_numeric_dtype(values) and not is_bool_dtype(values):
        numbers = _numbers(values)
        return _Column(heading, unit, _number_cells(numbers), numbers)
    is_measured = not is_bool_dtype(values) and not is_text  # text says its own unit
    return _Column(heading, unit if is_measured else "", _named(values, _word))


def _numbers(values: pd.Series[Any]) -> list[float]:
    numbers: list[float] = values.astype("Float64").to_numpy(dtype=float, na_value=np.nan).tolist()
    return numbers


def _named(values: pd.Series[Any], name: Callable[[Any], str]) -> list[str]:
    return ["" if _is_missing(value) else name(value) for value in values.tolist()]


def _is_missing(value: Any) -> bool:
    return value is None or value is pd.NA or (isinstance(value, float) and value != value)


def _word(value: Any) -> str:
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (tuple, list)):
        return ", ".join(map(_word, value))
    if isinstance(value, float):
        return _number_cells([value])[0]
    return str(value)


def _classes(value: Any, key: str | None) -> str:
    several = value if isinstance(value, tuple) else (value,)
    return " ".join(pitch_class_name(int(each) % 12, key) for each in several)


def _strings(value: Any) -> str:
    return " ".join(note_name(pitch) for pitch in reversed(value))


def _number_cells(numbers: Sequence[float]) -> list[str]:
    """Numbers with the decimals that all of them need: the larger, the fewer."""
    values = np.asarray(numbers, dtype=float)
    finite = values[np.isfinite(values)]
    largest = float(np.abs(finite).max(initial=0.0))
    least = 0 if largest >= 1000 else 1 if largest >= 10 else 2
    if 0 < largest < 0.1:
        least = min(1 - int(np.floor(np.log10(largest))), _MOST_DECIMALS)
    exact = (n for n in range(least) if np.allclose(finite, np.round(finite, n), atol=1e-9, rtol=0))
    decimals = next(exact, least)
    return [
        "" if value != value else f"{value:.{decimals}f}" if np.isfinite(value) else "endless"
        for value in values.tolist()
    ]


def _html(columns: Sequence[_Column], rest: str) -> str:
    heads = "".join(
        f'<th scope="col"{_class(each)}>{escape_html(each.heading)}'
        f"{f' <small>{escape_html(each.unit)}</small>' if each.unit else ''}</th>"
        for each in columns
    )
    count = len(columns[0].cells) if columns else 0
    rows = "".join(
        f"<tr>{''.join(_cell(each, place) for each in columns)}</tr>\n" for place in range(count)
    )
    none = "" if count else '<p class="facts">No rows.</p>'
    below = f'<p class="facts">{rest}</p>' if rest else none
    return (
        '<div class="wide" tabindex="0" role="group" aria-label="Table">'
        f'<table class="sortable"><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table>'
        f"</div>{below}"
    )


def _is_number(column: _Column) -> bool:
    """Whether the cells are numbers, and not names of notes."""
    numbers = column.numbers or []
    return any(cell[-1:].isdigit() and cell[:1] in "-.0123456789" for cell in column.cells) and any(
        number == number for number in numbers
    )


def _class(column: _Column) -> str:
    if _is_number(column):
        return ' class="number"'
    longest = max(map(len, column.cells), default=0)
    if longest > _LONG:
        return ' class="long"'
    return ' class="medium"' if longest > _MEDIUM else ""


def _cell(column: _Column, place: int) -> str:
    key = ""
    if column.numbers is not None:
        number = column.numbers[place]
        key = f' data-key="{number:g}"' if number == number else ' data-key=""'
    return f"<td{_class(column)}{key}>{escape_html(column.cells[place])}</td>"


def _text(columns: Sequence[_Column], rest: str) -> str:
    stacks = []
    for each in columns:
        heading = each.heading + (f" ({each.unit})" if each.unit else "")
        cells = [" ".join(cell.split()) for cell in [heading, *each.cells]]
        cells = cells if each is columns[-1] else [cut_text(cell, _MOST_SIGNS) for cell in cells]
        wide = max(map(len, cells))
        side = str.rjust if _is_number(each) else str.ljust
        stacks.append([cells[0].ljust(wide), *(side(cell, wide) for cell in cells[1:])])
    lines = ["  ".join(row).rstrip() for row in zip(*stacks, strict=True)]
    return "\n".join([*lines, *([rest] if rest else [])])
