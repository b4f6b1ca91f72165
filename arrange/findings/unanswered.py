"""What could not be checked in a song, and why. Without it, "nothing found" could also mean "not
checked".
"""

from __future__ import annotations

import numpy as np

from arrange.tables.setups import by_section
from arrange.tables.song import Song
from arrange.tables.sounding import played_notes, sounding_notes


def not_asked(song: Song) -> list[str]:
    """Return what could not be checked in a song, and why.

    Returns
    -------
    list of str
        A sentence each; empty if all could be checked.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> ar.not_asked(song)[0]
    'No part is a singer: room for the voice was not checked.'
    """
    played, sounding = played_notes(song.notes), sounding_notes(song.notes)
    sentences = []
    if sounding.empty:
        sentences.append(
            "No note has a pitch and a duration: only attacks were checked, if there are any."
            if len(played)
            else "Nothing is played: there are no notes with a duration, so nothing was checked."
        )
    else:
        sentences += _harmony(song) + _families(song, set(sounding["part"]))
    playing = played["part"].nunique()
    if playing == 1:
        sentences.append(
            f"Only {played['part'].iloc[0]} plays: nothing between two parts was checked, only "
            "what a part does alone."
        )
    if any(notice.startswith("no tempo") for notice in song.notices):
        tempo = song.measures["tempo"].iloc[0]
        sentences.append(
            f"No tempo: seconds are counted at {tempo:g} quarter notes a minute; slower, a clash "
            "lasts longer."
        )
    left_out = _without_duration(song, len(played))
    return sentences + left_out


def _harmony(song: Song) -> list[str]:
    chords = song.chords
    sentences = []
    if chords.empty:
        sentences.append(
            "No chord symbols: thirds were not checked, and tones outside the chord only against a "
            "harmony inferred from the notes."
        )
    elif not (chords["pitch_classes"].map(len) > 1).any():
        sentences.append(
            "No chord symbol names more than a root: tones outside the chord were not checked."
        )
    elif song.measures["key"].isna().all():
        sentences.append(
            "No key: tones outside the chord count as its colour, but for avoid notes."
        )
    return sentences


def _families(song: Song, sounding: set[str]) -> list[str]:
    is_there = song.parts["part"].isin(sounding).to_numpy()
    parts = song.parts[is_there]
    there = set(parts["family"])
    sentences = []
    if "voice" not in there and len(sounding) > 1:
        sentences.append("No part is a singer: room for the voice was not checked.")
    if "bass" not in there and len(sounding) > 1:
        sentences.append("No part is a bass: room for the bass was not checked.")
    if "guitar" in there and (by_section(song, "drive")[is_there] == "clean").all():
        sentences.append(
            "Every guitar is clean, or the song does not say: what overdrive makes of chords was "
            "not checked."
        )
    return sentences


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
