"""Where two versions of a song differ: the parts, and the first to the last measure."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from arrange.tables.song import Song

_SOUNDING = ["part", "measure", "onset", "duration", "pitch"]


@dataclass(frozen=True)
class ChangedPassage:
    """Parts that differ, and measures from the first to the last difference, as played."""

    parts: list[str]
    measures: tuple[int, int]


def changed_passage(before: Song, after: Song) -> ChangedPassage:
    """Return where notes differ; of songs with the same notes, the guitars and the whole song."""
    notes = pd.concat([each.notes[_SOUNDING] for each in (before, after)])
    changed = notes[~notes.duplicated(keep=False)]
    if changed.empty:
        guitars = before.parts.loc[before.parts["family"] == "guitar", "part"].tolist()
        return ChangedPassage(guitars or before.parts["part"].tolist(), (1, len(before.measures)))
    there = set(changed["part"])
    return ChangedPassage(
        [part for part in before.parts["part"] if part in there],
        (int(changed["measure"].min()), int(changed["measure"].max())),
    )
