"""How the notes of a part sound: how loud, from which side, with which drive and echo, how long."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song, part_row

_NOTE = 0.07  # amplitude of a note of a part at level 0
_APART = 0.7  # how far guitars are panned apart, of 1
_MUTED = ("muted", "palm mute")


def part_volume(song: Song, part: str) -> float:
    """Return the amplitude of a part's notes, which follows its level."""
    return float(_NOTE * 10 ** (float(part_row(song, part)["level"]) / 20))


def part_sides(song: Song, pan: Mapping[str, float] | None = None) -> dict[str, float]:
    """Return the place of each part, from -1, left, to 1, right."""
    guitars = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    places = np.linspace(-_APART, _APART, len(guitars)) if len(guitars) > 1 else [0.0]
    sides = dict.fromkeys(song.parts["part"], 0.0) | dict(zip(guitars, places, strict=False))
    for part, side in (pan or {}).items():
        part_row(song, part)
        sides[part] = side
    return sides


def side_gains(side: float) -> tuple[float, float]:
    """Return gains left and right, so that the power is the same for every place of a part."""
    angle = (side + 1) * np.pi / 4
    return float(np.cos(angle)), float(np.sin(angle))


def is_muted(technique: object) -> bool:
    """Return whether the hand stops a note at once."""
    return isinstance(technique, str) and any(word in technique for word in _MUTED)


def notes_by_sound(
    song: Song, name: str, notes: pd.DataFrame, echoes: pd.DataFrame
) -> list[tuple[tuple[str, float], pd.DataFrame]]:
    """Return the notes of a part by their drive, and the delay of their echo in seconds.

    `echoes` are rows of ``echo_times``; other parts and echoes of no note value do not count. Both
    are those of the section of the attack; the delay follows the tempo at the attack.
    """
    echoes = echoes[(echoes["part"] == name) & echoes["milliseconds"].notna()]
    if notes.empty:
        return []
    onset = notes["onset"].to_numpy()
    part = song.parts["part"].tolist().index(name)
    section = section_at(song, onset)
    lines = song.measures["onset"].to_numpy()
    bar = np.searchsorted(lines, onset + 1e-9, side="right") - 1
    sounds = pd.DataFrame(
        {
            "drive": by_section(song, "drive")[part, section],
            "echo": by_section(song, "echo")[part, section],
            "tempo": song.measures["tempo"].to_numpy()[bar],
        }
    )
    delays = {(row.echo, row.tempo): row.milliseconds / 1000 for row in echoes.itertuples()}
    delay = [delays.get(key, 0.0) for key in zip(sounds["echo"], sounds["tempo"], strict=True)]
    group, known = pd.factorize(
        pd.MultiIndex.from_arrays([sounds["drive"], np.array(delay, dtype=np.float64)])
    )
    return [(key, notes[group == number]) for number, key in enumerate(known)]
