"""What stands about a song on a page: a line of facts, a row a part, a row a section."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from arrange.tables.setups import played_setups, sections_of
from arrange.tables.song import Song
from arrange.text.words import counted, listed
from arrange.theory.pitch import note_name


def song_facts(song: Song) -> str:
    """Return how long a song is and how much stands in it."""
    printed = song.measures["written"].nunique()
    played = len(song.measures)
    bars = counted(played, "measure") + (
        f" as played, {printed} printed" if printed < played else ""
    )
    facts = (
        song.source,
        counted(len(song.parts), "part"),
        counted(len(song.sections), "section"),
        bars,
        f"{song.clock(song.duration)} min",
    )
    return " · ".join(filter(None, facts))


def part_rows(song: Song, ranges: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a row a part, as text: its guitar and sound, and where it lies (``part_ranges``)."""
    found = {row.part: row for row in ranges.itertuples()}
    setups = played_setups(song)
    rows = []
    for part in song.parts.itertuples():
        own = found.get(part.part)
        tuning = part.tuning if isinstance(part.tuning, tuple) else ()
        held = setups[setups["part"] == part.part]
        capos = sections_of(held, "capo") or {part.capo: []}
        drives = sections_of(held, "drive") or {part.drive: []}
        rows.append(
            {
                "part": part.part,
                "family": part.family,
                "tuning": " ".join(note_name(pitch) for pitch in reversed(tuning)),
                "capo": _by_section({capo or "none": where for capo, where in capos.items()})
                if any(capos)
                else "",
                "sound": _by_section(drives),
                "range": _span(song, own.lowest, own.highest) if own else "no pitched notes",
                "middle": _span(song, own.middle_half_low, own.middle_half_high) if own else "",
                "notes": own.notes if own else 0,
                "below": _whole(own.lower_reserve) if own else "",
                "above": _whole(own.upper_reserve) if own else "",
            }
        )
    return rows


def _by_section(held: Mapping[Any, list[str]]) -> str:
    """What a part has, with the sections where it changes."""
    if len(held) == 1:
        return str(*held)
    return "; ".join(f"{value} in {listed(sections)}" for value, sections in held.items())


def _span(song: Song, low: float, high: float) -> str:
    return f"{song.note_name(low)} to {song.note_name(high)}"


def _whole(value: float) -> str:
    return "" if np.isnan(value) else f"{value:.0f}"


def section_rows(song: Song) -> list[dict[str, Any]]:
    """Return a row a section, as text: its measures, time, meter, key and tempo."""
    rows = []
    for section in song.sections.itertuples():
        bars = song.measures.iloc[section.first_measure - 1 : section.last_measure]
        rows.append(
            {
                "section": section.section,
                "played": from_to(str(section.first_measure), str(section.last_measure)),
                "written": from_to(bars["written"].iloc[0], bars["written"].iloc[-1]),
                "time": song.clock(section.onset),
                "meter": ", ".join(dict.fromkeys(bars["meter"])),
                "key": ", ".join(dict.fromkeys(bars["key"].dropna())),
                "tempo": from_to(_whole(bars["tempo"].min()), _whole(bars["tempo"].max())),
            }
        )
    return rows


def from_to(first: str, last: str) -> str:
    """Return two ends as text, once where they are the same."""
    return first if first == last else f"{first} to {last}"
