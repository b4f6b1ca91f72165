"""Whole columns of the tables' dtypes, quickly, and the values that occur in them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

Columns = Mapping[str, Any]  # column name -> numpy or pandas array, all of one length

_TEXT = pd.StringDtype("pyarrow", na_value=np.nan)
_FEW = 400  # rows up to which a plain list is quicker than to call on pyarrow


def text_column(labels: Sequence[str | None], codes: Any = None) -> Any:
    """Return a column of text: the labels, or the label at each code (-1 for none)."""
    if codes is not None and len(codes) <= _FEW:
        known = [*labels, None]  # which -1 picks
        labels, codes = [known[code] for code in np.asarray(codes).tolist()], None
    values = pa.array(labels, type=pa.large_string())
    if codes is not None:
        codes = np.asarray(codes)
        values = values.take(pa.array(codes, mask=codes < 0))
    return pd.arrays.ArrowStringArray(values, dtype=_TEXT)  # type: ignore[call-arg]


def integer_column(values: Any, missing: Any = None) -> Any:
    """Return a column of integers that may lack some; `missing` is True where one is lacking."""
    values = np.asarray(values, dtype=np.int64)
    mask = np.zeros(len(values), dtype=bool) if missing is None else np.asarray(missing, dtype=bool)
    return pd.arrays.IntegerArray(np.where(mask, 1, values), mask)


def object_column(values: Sequence[Any]) -> Any:
    """Return a column of tuples or None."""
    return np.fromiter(values, dtype=object, count=len(values))


def distinct(values: Any) -> set[Any]:
    """Return the values that occur; of many texts, Arrow finds them without an object for each."""
    if isinstance(values, np.ndarray):
        return set(values.tolist())
    array = pa.array(values)
    return set((array if len(array) <= _FEW else array.unique()).to_pylist())
