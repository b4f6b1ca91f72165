"""The check that holds a frame to its schema, whoever made it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from arrange.errors import TableError
from arrange.tables.columns import Columns, distinct
from arrange.tables.schemas import ALL_TABLES, Column, Table

_LABELS = {name: pd.Index(table.names) for name, table in ALL_TABLES.items()}


def check_table(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Return the frame with the table's columns in order and of its dtypes.

    A column that is lacking is filled with its default, if it has one, or like another column.

    Raises
    ------
    TableError
        If a column is missing or foreign, holds a value of the wrong kind, lacks a value that
        is needed, or if rows that must differ are the same.
    """
    lacking = [column for column in table.columns if column.name not in frame]
    missing = [column.name for column in lacking if column.default is None and column.like is None]
    foreign = [name for name in frame.columns if name not in table.names]
    if missing:
        raise TableError(f"table '{table.name}' lacks {missing}; it has {list(frame.columns)}")
    if foreign:
        raise TableError(f"table '{table.name}' has no column {foreign}; it has {table.names}")
    if lacking:
        frame = frame.assign(**{
            column.name: frame[column.like] if column.like else column.default
            for column in lacking
        })  # fmt: skip
    columns = {
        column.name: _own_array(_as_dtype(frame[column.name], column.dtype, table.name))
        for column in table.columns
    }
    return make_table(columns, table)


def make_table(columns: Columns, table: Table) -> pd.DataFrame:
    """Return a checked frame from whole columns that have the table's dtypes already.

    The quick way for readers: ``text_column`` and ``integer_column`` make the arrays that
    numpy has no dtype for.
    """
    _check_columns(columns, table)
    arrays = [columns[name] for name in table.names]
    # The public constructor looks at every column anew, which takes most of the time that a
    # small song has; this one takes the arrays as they are.
    return pd.DataFrame._from_arrays(
        arrays,
        columns=_LABELS[table.name],
        index=pd.RangeIndex(len(arrays[0])),
        verify_integrity=False,
    )


def _as_dtype(values: pd.Series[Any], dtype: str, table: str) -> pd.Series[Any]:
    if str(values.dtype) == dtype:
        return values
    try:
        changed = values.astype(dtype)  # type: ignore[call-overload]
    except (TypeError, ValueError, OverflowError) as error:
        raise TableError(
            f"table '{table}', column '{values.name}': {error}; its values are {dtype}"
        ) from None
    if dtype in ("int64", "bool"):
        lost = (changed != values).to_numpy(dtype=bool, na_value=True)
        if lost.any():
            row = int(np.argmax(lost))
            raise TableError(
                f"table '{table}', column '{values.name}', row {row}: "
                f"{_value_text(values.iloc[row])}; its values are {dtype}"
            )
    return changed  # type: ignore[no-any-return]


def _own_array(values: pd.Series[Any]) -> Any:
    """A copy, so that a caller who changes the frame later does not change the table."""
    array = values.array
    is_plain = isinstance(array, pd.arrays.NumpyExtensionArray)
    return array.to_numpy(copy=True) if is_plain else array.copy()


def _value_text(value: Any) -> str:
    return repr(value.item() if isinstance(value, np.generic) else value)


def _check_columns(columns: Columns, table: Table) -> None:
    for column in table.columns:
        if column.needed and column.dtype not in ("int64", "bool"):
            _check_filled(columns[column.name], column, table.name)
        if column.allowed:
            _check_allowed(columns[column.name], column, table.name)
        if column.within:
            _check_within(columns[column.name], column, table.name, *column.within)
    if table.unique_by:
        _check_unique(columns, table)


def _check_filled(values: Any, column: Column, table: str) -> None:
    if column.dtype == "str" and not pa.array(values).null_count:
        return  # Arrow knows at once
    if column.dtype == "float64":
        bad = ~np.isfinite(values)
        if column.name == "duration":
            bad |= np.asarray(values) < 0
        if column.name == "tempo":
            bad |= np.asarray(values) <= 0
    else:
        bad = pd.isna(values)
    if bad.any():
        row = int(np.argmax(bad))
        raise TableError(
            f"table '{table}', column '{column.name}', row {row}: {_value_text(values[row])}; "
            f"a value is needed here ({column.meaning})"
        )


def _check_allowed(values: Any, column: Column, table: str) -> None:
    foreign = distinct(values) - set(column.allowed)
    if foreign:
        raise TableError(
            f"table '{table}', column '{column.name}': {min(foreign)!r}; "
            f"it is one of {', '.join(column.allowed)}"
        )


def _check_within(values: Any, column: Column, table: str, least: float, most: float) -> None:
    missing = {"dtype": np.float64, "na_value": np.nan} if column.dtype == "Int64" else {}
    numbers = pd.array(values).to_numpy(**missing) if missing else np.asarray(values)
    outside = (numbers < least) | (numbers > most)
    if outside.any():
        row = int(np.argmax(outside))
        raise TableError(
            f"table '{table}', column '{column.name}', row {row}: {_value_text(values[row])}; "
            f"it lies between {least} and {most}"
        )


def _check_unique(columns: Columns, table: Table) -> None:
    names = table.unique_by
    if len(names) == 1 and len(distinct(columns[names[0]])) == len(columns[names[0]]):
        return  # Arrow knows at once
    again = pd.DataFrame({name: columns[name] for name in names}).duplicated().to_numpy()
    if again.any():
        row = int(np.argmax(again))
        values = " and ".join(f"{name} {_value_text(columns[name][row])}" for name in names)
        raise TableError(
            f"table '{table.name}', row {row}: a second row has {values}; each row is {table.row}"
        )
