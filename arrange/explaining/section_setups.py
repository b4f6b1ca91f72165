"""What a part has in hand in each section, in words: its sound, its capo, its layers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import pandas as pd

from arrange.explaining.part_sections import Stay, own_notes
from arrange.guitar.necks import capo_words
from arrange.tables.setups import part_setups, played_setups
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
    setups = played_setups(song)
    own = setups[setups["part"] == part].set_index("section")
    return own if len(own) else own_setups(song, part)


def drive_words(drive: str) -> str:
    """Return a drive as a player reads it."""
    return _DRIVES.get(drive, drive)


def setup_words(
    song: Song, part: str, stays: Sequence[Stay], *, has_layers: bool = True
) -> dict[str, tuple[str, ...]]:
    """Return what stands beside the name of each section, one read after the other.

    The sound and the capo where they differ from what the part had when it last played; the layers
    wherever they are named, if asked for; a capo that is to be changed, in the section before,
    with the time that there is for it.
    """
    setups = own_setups(song, part)
    found: dict[str, list[str]] = {stay.section: [] for stay in stays}
    played = [stay for stay in stays if stay.plays]
    for before, stay in pairwise(played):
        now, earlier = setups.loc[stay.section], setups.loc[before.section]
        found[stay.section] += _sound_changes(earlier, now)
        if now["capo"] != earlier["capo"]:
            found[stay.section].append(capo_words(now["capo"]))
    return _with_layers_and_capos(song, setups, stays, found, has_layers=has_layers)


def standing_words(
    song: Song, part: str, together: Sequence[Sequence[Stay]]
) -> dict[str, tuple[str, ...]]:
    """Return what stands beside the name of each section on a sheet.

    The sound, the echo and the capo where they differ from what the part had when it last played,
    and at first if they ever change, but for an echo that is off; of sections that stand `together`
    all have what one of them says. Layers and capos to be changed as in ``setup_words``.
    """
    setups = own_setups(song, part)
    stays = sorted((stay for own in together for stay in own), key=lambda stay: stay.first)
    had = setups.loc[[stay.section for stay in stays if stay.plays], ["drive", "echo", "capo"]]
    had = had.fillna("")
    is_new = had != had.shift()
    if len(had):
        is_new.iloc[0] = is_new.iloc[1:].any() & (had.iloc[0] != "")  # an echo may be off
    changed = {section: {*is_new.columns[row]} for section, row in
               zip(had.index, is_new.to_numpy(), strict=True)}  # fmt: skip
    found: dict[str, list[str]] = {}
    for own in together:
        names = set[str]().union(*(changed.get(stay.section, ()) for stay in own))
        for stay in own:
            now = setups.loc[stay.section]
            words = {"drive": drive_words(now["drive"]), "echo": _echo_words(now),
                     "capo": capo_words(now["capo"])}  # fmt: skip
            found[stay.section] = [w for name, w in words.items() if name in names]
    return _with_layers_and_capos(song, setups, stays, found)


def _with_layers_and_capos(
    song: Song,
    setups: pd.DataFrame,
    stays: Sequence[Stay],
    found: dict[str, list[str]],
    *,
    has_layers: bool = True,
) -> dict[str, tuple[str, ...]]:
    """What is known of each section, with its layers and the capo to be set after it."""
    played = [stay for stay in stays if stay.plays]
    notes = own_notes(song, setups["part"].iloc[0])
    for place, stay in enumerate(played):
        now = setups.loc[stay.section]
        if place and now["capo"] != setups.loc[played[place - 1].section, "capo"]:
            earlier = stays[stays.index(stay) - 1]
            seconds = round(_rest(song, notes, stay))
            time = f"{seconds} s for it" if seconds else "with no rest to move it"
            found[earlier.section].append(f"then {capo_words(now['capo'])}, {time}")
        if has_layers and isinstance(now["layers"], str):
            found[stay.section].append(f"from {listed(split_parts(now['layers']))}")
    return {section: tuple(words) for section, words in found.items()}


def _echo_words(setup: pd.Series) -> str:  # type: ignore[type-arg]
    return f"echo {setup['echo']}" if isinstance(setup["echo"], str) else "no echo"


def _sound_changes(before: pd.Series, now: pd.Series) -> list[str]:  # type: ignore[type-arg]
    words = []
    if now["drive"] != before["drive"]:
        words.append(drive_words(now["drive"]))
    if _echo_words(now) != _echo_words(before):
        words.append(_echo_words(now))
    return words


def _rest(song: Song, notes: pd.DataFrame, stay: Stay) -> float:
    """Seconds from the end of the last note before a section to the first in it."""
    begins = notes.loc[notes["onset"] >= stay.onset - 1e-9, "onset"].min()
    earlier = notes[notes["onset"] < stay.onset - 1e-9]
    ends = (earlier["onset"] + earlier["duration"]).clip(upper=begins).max()
    return float(song.seconds(begins) - song.seconds(ends))
