"""What a part has in hand in each section, in words: its sound, its capo, its layers."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from arrange.explaining.part_sections import Stay, own_notes
from arrange.guitar.necks import capo_words
from arrange.tables.setups import part_setups
from arrange.tables.song import Song
from arrange.text.part_lists import split_parts
from arrange.text.words import listed

_DRIVES = {"edge": "edge (just breaking up)"}


def own_setups(song: Song, part: str) -> pd.DataFrame:
    """Return what a part has in each section, a row each with the section as its label."""
    setups = part_setups(song)
    return setups[setups["part"] == part].set_index("section")


def own_played_setups(song: Song, part: str) -> pd.DataFrame:
    """Return what a part has in the sections that it plays in; in all if it plays in none."""
    setups = own_setups(song, part)
    plays = setups.index.isin(own_notes(song, part)["section"])
    return setups[plays] if plays.any() else setups


def drive_words(drive: str) -> str:
    """Return a drive as a player reads it."""
    return _DRIVES.get(drive, drive)


def setup_words(
    song: Song, part: str, stays: Sequence[Stay], *, has_layers: bool = True
) -> dict[str, tuple[str, ...]]:
    """Return what stands beside the name of each section.

    The sound and the capo where they differ from what the part had when it last played; the layers
    wherever they are named, if asked for; a capo that is to be changed, in the section before,
    with the time that there is for it.
    """
    setups, notes = own_setups(song, part), own_notes(song, part)
    found: dict[str, list[str]] = {stay.section: [] for stay in stays}
    played = [stay for stay in stays if stay.plays]
    for place, stay in enumerate(played):
        now, words = setups.loc[stay.section], found[stay.section]
        if place:
            before = setups.loc[played[place - 1].section]
            words += _sound_changes(before, now)
            if now["capo"] != before["capo"]:
                words.append(capo_words(now["capo"]))
                earlier = stays[stays.index(stay) - 1]
                found[earlier.section].append(
                    f"then {capo_words(now['capo'])}, {_rest(song, notes, stay):.0f} s for it"
                )
        if has_layers and isinstance(now["layers"], str):
            words.append(f"from {listed(split_parts(now['layers']))}")
    return {section: tuple(words) for section, words in found.items()}


def _sound_changes(before: pd.Series, now: pd.Series) -> list[str]:  # type: ignore[type-arg]
    words = []
    if now["drive"] != before["drive"]:
        words.append(drive_words(now["drive"]))
    echo, earlier = (row["echo"] if isinstance(row["echo"], str) else "" for row in (now, before))
    if echo != earlier:
        words.append(f"echo {echo}" if echo else "no echo")
    return words


def _rest(song: Song, notes: pd.DataFrame, stay: Stay) -> float:
    """Seconds from the end of the last note before a section to the first in it."""
    begins = notes.loc[notes["onset"] >= stay.onset - 1e-9, "onset"].min()
    earlier = notes[notes["onset"] < stay.onset - 1e-9]
    ends = (earlier["onset"] + earlier["duration"]).clip(upper=begins).max()
    return float(song.seconds(begins) - song.seconds(ends))
