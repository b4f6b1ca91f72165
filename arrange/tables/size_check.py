"""The check that holds a song to ``song_size``: what comes from a file, and what a caller makes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from arrange.errors import TableError, shown
from arrange.song_size import (
    LEAST_TEMPO,
    MOST_AT_ONCE,
    MOST_BAR,
    MOST_HOURS,
    MOST_QUARTERS,
    MOST_REMARK,
    MOST_REMARKS,
    MOST_STRINGS,
    MOST_TEMPO,
    MOST_TEXT,
)
from arrange.tables.columns import distinct
from arrange.tables.schemas import SONG_TABLES
from arrange.text.letters import check_text
from arrange.theory.meters import FREE, meter_terms
from arrange.theory.pitch import is_key

_SAME = 1e-6  # quarter notes: times that differ by less are one


def check_limits(
    tables: Mapping[str, pd.DataFrame], title: str = "", remarks: Sequence[str] = ()
) -> None:
    """Refuse a song that is larger than ``song_size`` allow, or that no format could hold.

    Raises
    ------
    TableError
        With the limit that is passed.
    ArrangeError
        If a text holds half a letter.
    """
    _check_text("the title", [title])
    if len(remarks) > MOST_REMARKS:
        raise TableError(f"{len(remarks):,} remarks; a song has {MOST_REMARKS:,} at most")
    _check_text("a remark", remarks, MOST_REMARK)
    for table in SONG_TABLES:
        frame = tables[table.name]
        if table.most is not None and len(frame) > table.most:
            raise TableError(f"{len(frame):,} {table.name}; a song has {table.most:,} at most")
        for column in table.columns:
            if column.dtype == "str":
                _check_text(f"table '{table.name}', column '{column.name}'", frame[column.name])
    for tuning in tables["parts"]["tuning"]:
        _check_tuning(tuning)
    _check_measures(tables["measures"])
    _check_notes(tables["notes"], _check_length(tables["measures"]))


def _check_text(where: str, values: Any, most: int = MOST_TEXT) -> None:
    try:
        texts = pa.array(values, pa.large_string(), from_pandas=True)
    except UnicodeEncodeError:
        for text in filter(lambda value: isinstance(value, str), values):
            check_text(where, text)
        raise
    lengths = np.asarray(pc.utf8_length(texts))
    long = np.flatnonzero(lengths > most)
    if len(long):
        text = list(values)[long[0]]
        raise TableError(f"{where}: {shown(text)} has {len(text):,} characters; {most} is the most")


def _check_tuning(tuning: Any) -> None:
    strings = () if tuning is None or isinstance(tuning, float) else tuple(tuning)
    if len(strings) > MOST_STRINGS or not all(0 <= pitch <= 127 for pitch in strings):
        raise TableError(
            f"table 'parts', column 'tuning': {shown(tuning)}; it holds up to {MOST_STRINGS} "
            "strings, MIDI numbers 0 to 127"
        )


def _check_measures(measures: pd.DataFrame) -> None:
    wrong = [
        (measures["tempo"].between(LEAST_TEMPO, MOST_TEMPO), "tempo",
         f"it lies between {LEAST_TEMPO:g} and {MOST_TEMPO:g} quarter notes a minute"),
        (measures["duration"].gt(0) & measures["duration"].le(MOST_BAR), "duration",
         f"a bar is longer than 0 and at most {MOST_BAR:g} quarter notes long"),
        (_are_right(measures["meter"], _is_meter), "meter",
         "it is written 4/4, 3+2/8, 2/4 + 3/8 or free"),
        (measures["key"].isna() | _are_right(measures["key"], is_key), "key",
         "it is written Bb major, or is none"),
    ]  # fmt: skip
    for right, column, rule in wrong:
        if not right.all():
            row = int(np.argmin(right.to_numpy(dtype=bool)))
            value = measures[column].tolist()[row]
            raise TableError(f"measure {row + 1}: a {column} of {shown(value)}; {rule}")


def _are_right(texts: pd.Series[Any], rule: Callable[[str], bool]) -> pd.Series[bool]:
    """Which texts the rule holds for; it is asked once for each that differs."""
    return texts.isin([text for text in distinct(texts.array) if text and rule(text)])


def _is_meter(meter: str) -> bool:
    return meter == FREE or bool(meter_terms(meter))


def _check_length(measures: pd.DataFrame) -> float:
    """The length of the song in quarter notes, which bars without gaps make up."""
    onset, duration = (measures[name].to_numpy() for name in ("onset", "duration"))
    lines = np.concatenate([[0.0], np.cumsum(duration)])
    apart = np.abs(lines[:-1] - onset) > _SAME * (1 + len(onset))
    if apart.any():
        row = int(np.argmax(apart))
        raise TableError(
            f"measure {row + 1} begins at {onset[row]:g}; the bars before it end at {lines[row]:g}"
        )
    if lines[-1] > MOST_QUARTERS:
        raise TableError(f"{lines[-1]:,.0f} quarter notes; a song has {MOST_QUARTERS:,.0f} at most")
    hours = float((duration / measures["tempo"].to_numpy()).sum()) / 60
    if hours > MOST_HOURS:
        raise TableError(f"it lasts {hours:,.1f} hours; {MOST_HOURS:g} is the most")
    return float(lines[-1])


def _check_notes(notes: pd.DataFrame, end: float) -> None:
    onset, duration = (notes[name].to_numpy() for name in ("onset", "duration"))
    part = pd.factorize(notes["part"])[0]
    order = np.lexsort((onset, part))
    is_new = np.diff(part[order], prepend=-1) != 0
    is_new |= np.diff(onset[order], prepend=-1.0) != 0
    begins = np.flatnonzero(is_new)
    sizes = np.diff(np.append(begins, len(order)))
    if len(sizes) and sizes.max() > MOST_AT_ONCE:
        row = int(order[begins[np.argmax(sizes)]])
        raise TableError(
            f"table 'notes', row {row}, measure {notes['measure'].iloc[row]}: "
            f"{notes['part'].iloc[row]} strikes {sizes.max():,} notes at once; {MOST_AT_ONCE} is "
            "the most"
        )
    outside = (onset < 0) | (onset > end + _SAME) | (onset + duration > end + MOST_BAR)
    if outside.any():
        row = int(np.argmax(outside))
        raise TableError(
            f"table 'notes', row {row}, measure {notes['measure'].iloc[row]}: a note of "
            f"{notes['part'].iloc[row]} at {onset[row]:g} for {duration[row]:g} lies outside the "
            f"song, which is {end:g} quarter notes long"
        )
