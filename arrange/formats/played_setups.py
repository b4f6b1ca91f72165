"""The setups table: what each part has in each section as played, from what holds on the page."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from operator import attrgetter

import numpy as np
import pandas as pd

from arrange.formats.written import PlayedBars, Setup, Written
from arrange.tables.columns import text_column
from arrange.tables.schema_check import make_table
from arrange.tables.schemas import SETUPS
from arrange.tables.setups import where_otherwise
from arrange.text.words import first_few


def setup_table(
    written: Written, played: PlayedBars, parts: pd.DataFrame, notices: list[str]
) -> pd.DataFrame:
    """Return the setups table; changes inside a section are added to the notices.

    A section has what holds in most of its bars, the earlier of two; its layers stand at the bar
    at which it begins on the page.
    """
    rows: list[tuple[str, str, Setup]] = []
    for part, setups in groupby(sorted(written.setups, key=attrgetter("part", "bar")),
                                key=attrgetter("part")):  # fmt: skip
        label = str(parts["part"].iloc[part])
        row = parts.iloc[part]
        echo = row["echo"] if isinstance(row["echo"], str) else None
        own = [Setup(-1, part, row["drive"], echo, int(row["capo"])), *setups]
        layers = {setup.bar: setup.layers for setup in own}
        holds, changing = _holding(own, played)
        if changing:
            notices.append(
                f"{label}: its sound, echo or capo changes inside a section, which has what holds "
                f"longest there: {first_few(changing, 8)}"
            )
        for place, (at, head) in enumerate(zip(holds, played.heads.tolist(), strict=True)):
            rows.append((label, played.labels[place], own[at]._replace(layers=layers.get(head))))
    states = [state for *_, state in rows]
    table = make_table(
        {
            "part": text_column([label for label, *_ in rows]),
            "section": text_column([section for _, section, _ in rows]),
            "drive": text_column([state.drive for state in states]),
            "echo": text_column([state.echo for state in states]),
            "capo": np.array([state.capo for state in states], dtype=np.int64),
            "layers": text_column([state.layers for state in states]),
        },
        SETUPS,
    )
    return where_otherwise(table, parts) if rows else table


def _holding(own: Sequence[Setup], played: PlayedBars) -> tuple[list[int], list[str]]:
    """Which setup each section has; and the sections in which another one begins."""
    at = np.searchsorted([setup.bar for setup in own], played.order, side="right") - 1
    bars = np.zeros((len(played.labels), len(own)), dtype=np.int64)
    np.add.at(bars, (played.sections, at), 1)
    sounds = [(setup.drive, setup.echo, setup.capo) for setup in own]
    changing = [
        label
        for label, counts in zip(played.labels, bars, strict=True)
        if len({sounds[found] for found in np.flatnonzero(counts)}) > 1
    ]
    return bars.argmax(axis=1).tolist(), changing
