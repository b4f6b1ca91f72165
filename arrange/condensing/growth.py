"""Does the song grow as its recording does? The layers and the players, section by section."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from arrange.condensing.returns import earlier_returns
from arrange.quantities.texture import song_energy
from arrange.tables.song import Song
from arrange.tables.sounding import Array

_LEAST = 0.005  # of the fullest section; what differs by less is alike (ours)


def part_energy(song: Song, parts: Sequence[str]) -> Array:
    """Return the energy of some parts in each section against their own fullest, 0 to 1."""
    own = Song(
        song.parts[song.parts["part"].isin(parts)],
        song.sections,
        song.measures,
        song.chords,
        song.notes[song.notes["part"].isin(parts)],
        setups=song.setups[song.setups["part"].isin(parts)],
    )
    table = song_energy(own).set_index("section")["energy"]
    energy = table.reindex(song.sections["section"]).fillna(0.0).to_numpy()
    return np.asarray(energy / max(float(energy.max(initial=0.0)), 1e-9))


def growth_table(
    recording: Song, layers: Sequence[str], made: Song, players: Sequence[str]
) -> pd.DataFrame:
    """Return how full the layers and the players are in each section.

    Returns
    -------
    DataFrame
        A row for each section: ``section``; ``recorded`` and ``played``, the energy of all layers
        and of all players, each against its own fullest, 0 to 1; ``returns``, the section of which
        it is a return, or none; ``behind``, whether the players are less full than in that one
        although the recording is not; ``why``, a sentence where they are.
    """
    sections = recording.sections["section"].tolist()
    recorded, played = part_energy(recording, layers), part_energy(made, players)
    earlier = earlier_returns(recording.sections)
    rows = []
    for row, before in enumerate(earlier):
        behind, why = False, ""
        if before >= 0:
            grows = recorded[row] - recorded[before]
            falls = played[before] - played[row]
            behind = bool(grows > -_LEAST and falls > _LEAST)
            if behind:
                why = (
                    f"{sections[row]} is played with {played[row]:.0%} of the players' fullest, "
                    f"after {played[before]:.0%} in {sections[before]}; the recording has "
                    f"{recorded[row]:.0%} of its own, after {recorded[before]:.0%}"
                )
        returns = sections[before] if before >= 0 else None
        rows.append((sections[row], recorded[row], played[row], returns, behind, why))
    columns = ["section", "recorded", "played", "returns", "behind", "why"]
    table = pd.DataFrame(rows, columns=columns)
    return table.astype({"section": "str", "returns": "str", "behind": "bool", "why": "str"})
