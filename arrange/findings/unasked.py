"""What a song gives no answer to, and why: said plainly instead of a silence that looks like
"nothing found".
"""

from __future__ import annotations

import numpy as np

from arrange.tables.song import Song
from arrange.tables.sounding import played_notes, sounding_notes


def not_asked(song: Song) -> list[str]:
    """Return what could not be asked of a song, and why, a sentence each; empty if all could."""
    played, sounding = played_notes(song.notes), sounding_notes(song.notes)
    told = []
    if sounding.empty:
        told.append(
            "No note has a pitch and a duration: only attacks were asked, if there are any."
            if len(played)
            else "Nothing is played: there are no notes with a duration, so nothing was asked."
        )
    else:
        told += _harmony(song) + _families(song, set(sounding["part"]))
    playing = played["part"].nunique()
    if playing == 1:
        told.append(
            f"Only {played['part'].iloc[0]} plays: nothing between two parts was asked, only what "
            "a part does alone."
        )
    if any(notice.startswith("no tempo") for notice in song.notices):
        tempo = song.measures["tempo"].iloc[0]
        told.append(
            f"No tempo: seconds are counted at {tempo:g} quarter notes a minute; slower, a clash "
            "lasts longer."
        )
    left_out = _without_duration(song, len(played))
    return told + left_out


def _harmony(song: Song) -> list[str]:
    chords = song.chords
    told = []
    if chords.empty:
        told.append("No chord symbols: thirds and tones outside the chord were not asked.")
    elif not (chords["pitch_classes"].map(len) > 1).any():
        told.append(
            "No chord symbol names more than a root: tones outside the chord were not asked."
        )
    elif song.measures["key"].isna().all():
        told.append("No key: tones outside the chord count as its colour, but for avoid notes.")
    return told


def _families(song: Song, sounding: set[str]) -> list[str]:
    parts = song.parts[song.parts["part"].isin(sounding)]
    there = set(parts["family"])
    told = []
    if "voice" not in there and len(sounding) > 1:
        told.append("No part is a singer: room for the voice was not asked.")
    if "bass" not in there and len(sounding) > 1:
        told.append("No part is a bass: room for the bass was not asked.")
    if "guitar" in there and (parts["drive"] == "clean").all():
        told.append(
            "Every guitar is clean, or the song does not tell: what overdrive makes of chords was "
            "not asked."
        )
    return told


def _without_duration(song: Song, played: int) -> list[str]:
    lost = len(song.notes) - played
    timeless = int(
        np.count_nonzero((song.notes["duration"] == 0) & ~song.notes["grace"].to_numpy())
    )
    if not timeless:
        return []
    others = lost - timeless
    more = f", like {others} grace and cue notes" if others else ""
    verb = "note has" if timeless == 1 else "notes have"
    return [
        f"{timeless} {verb} no duration and {'was' if timeless == 1 else 'were'} left out{more}."
    ]
