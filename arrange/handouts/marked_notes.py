"""What a part's tablature shows besides frets, note by note: where slides lead, fingers, counts,
strokes, and the fret of a shape that moves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from arrange.explaining.movable_shapes import MovableShape, circled
from arrange.explaining.strokes import part_strokes
from arrange.explaining.tab_counts import attack_counts
from arrange.formats.musicxml.writing_layers import LEADING
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.harmonics import NAME, harmonic_pitches
from arrange.guitar.necks import Array
from arrange.tables.setups import note_setups
from arrange.tables.song import Song, part_row

MOVES = "▸"  # before the fret of a shape that moves, whose picture has the same
MOVED = 2  # frets by which the hand moves so that the finger is said
STRETCHED = 4  # frets that a chord spans so that the finger is said; a finger a fret spans three

_NEAR = 1e-6  # quarter notes


def marked_notes(
    song: Song,
    part: str,
    fingers: Sequence[float] | None = None,
    movable: Mapping[str, Sequence[MovableShape]] | None = None,
) -> pd.DataFrame:
    """Return the part's notes with what its tablature shows besides frets.

    Parameters
    ----------
    song : Song
    part : str
    fingers : sequence of float, optional
        A finger for each note of the part in the order of the table; 0 or NaN for none.
    movable : mapping of section to sequence of MovableShape, optional
        The sections that are made of shapes that move, whose pictures have the fingers.

    Returns
    -------
    DataFrame
        The part's notes; `rise`, the frets by which the next note on the string is higher, where
        they lead there; `leads_to`, the measure of that note, infinite where it does not follow at
        once; `at`, where it is struck in its bar; `shown`, its fret as the part counts, NA where
        it has no place in tablature; `finger`, 0 where none is to be drawn; `count`, `stroke`
        and `place`, empty where it has none; `touched`, whether it is a natural harmonic there.
    """
    own = song.notes[song.notes["part"] == part]
    given = [0] * len(own) if fingers is None else list(fingers)
    own = own.assign(finger=pd.array(given, dtype="Int64").fillna(0).to_numpy(dtype=np.int64))
    own = own.sort_values(["onset", "grace"], ascending=[True, False], kind="stable")
    names = ["onset", "fret", "measure"]
    after = own.groupby("string", dropna=False)[names].shift(-1).astype("Float64")
    rise = (after["fret"] - own["fret"]).to_numpy(dtype=float, na_value=np.nan)
    is_joined = after["onset"] <= own["onset"] + own["duration"] + _NEAR
    leads_to = after["measure"].where(is_joined).to_numpy(dtype=float, na_value=np.inf)
    is_leading = own["technique"].str.contains("|".join(LEADING), na=False).to_numpy(dtype=bool)
    own["rise"] = np.where(is_leading, rise, np.nan)
    own["leads_to"] = np.where(is_leading, leads_to, -1.0)
    pictured = {(section, shape.string, shape.fingers[0])
                for section, shapes in (movable or {}).items() for shape in shapes}  # fmt: skip
    drawn = _fingers_drawn(own)
    held = zip(own["section"], own["string"], drawn, strict=True)
    own["finger"] = np.where([each in pictured for each in held], 0, drawn)
    own["shown"] = _frets_shown(song, part, own)
    lines = song.measures["onset"].to_numpy()
    own["at"] = (own["onset"] - lines[own["measure"].to_numpy(dtype=np.int64) - 1]).round(6)
    own["count"] = attack_counts(song, own)
    own["stroke"] = part_strokes(song, own)
    own["place"] = _places(own, movable or {})
    own["touched"] = _is_touched(song, part, own)
    return own


def _is_touched(song: Song, part: str, own: pd.DataFrame) -> Array:
    """Whether each note is a natural harmonic of its string at its fret."""
    tuning = part_row(song, part)["tuning"]
    is_harmonic = (
        own["technique"].str.contains(NAME, na=False)
        & own[["string", "fret", "pitch"]].notna().all(axis=1)
    ).to_numpy(dtype=bool)
    if not is_harmonic.any() or not isinstance(tuning, tuple):
        return np.zeros(len(own), dtype=bool)
    capo = note_setups(song)["capo"].loc[own.index].to_numpy(dtype=float)
    places = own["string"].fillna(1).to_numpy(dtype=np.int64) - 1
    opened = np.array(tuning)[np.clip(places, 0, len(tuning) - 1)] + capo
    frets = own["fret"].astype(float).to_numpy() - capo
    return is_harmonic & (harmonic_pitches(opened, frets) == own["pitch"].to_numpy())


def _places(own: pd.DataFrame, movable: Mapping[str, Sequence[MovableShape]]) -> list[str]:
    """Where a shape that moves is put, at the lowest note: first in a bar, and where that changes.

    With its string, where the part has shapes on several.
    """
    strings = {shape.string for shapes in movable.values() for shape in shapes}
    moved = own[own["section"].isin(movable) & own["shown"].notna() & ~own["grace"]]
    lowest = moved.sort_values(["onset", "string"], kind="stable")
    lowest = lowest.drop_duplicates("onset", keep="last")
    places = lowest[["measure", "string", "shown"]].astype("Int64")
    is_new = (places != places.shift().fillna(0)).astype(bool)
    words = {
        note: (circled(string) if len(strings) > 1 and (bar or other) else "")
        + f"{MOVES * bar}{fret}"
        for note, bar, other, moves, string, fret in zip(
            lowest.index, *(is_new[name] for name in places), places["string"], places["shown"],
            strict=True,
        ) if bar or other or moves
    }  # fmt: skip
    return [words.get(note, "") for note in own.index]


def _frets_shown(song: Song, part: str, own: pd.DataFrame) -> Any:
    """The frets as they are printed; NA where there is none, or it lies behind the capo."""
    row = part_row(song, part)
    if not isinstance(row["tuning"], tuple):
        return pd.array([pd.NA] * len(own), dtype="Int64")
    capo = note_setups(song)["capo"].loc[own.index]
    shown = shown_fret(own["fret"], capo, row["frets_from"])
    is_placed = own[["string", "fret", "pitch"]].notna().all(axis=1)
    return shown.where(is_placed & (shown >= 0).fillna(False)).astype("Int64")


def _fingers_drawn(own: pd.DataFrame) -> Array:
    """The finger at the lowest string of an attack where the hand has moved or stretches.

    Where an open string is the lowest, it would seem to be that one's: the next attack has it.
    """
    finger, fret = own["finger"], own["fret"].fillna(0)
    held = own[finger.between(1, 4) & (fret > 0)]
    by_finger = held.sort_values(["onset", "finger"], kind="stable").drop_duplicates("onset")
    first = (by_finger["fret"] - by_finger["finger"]).set_axis(by_finger["onset"])
    has_moved = first.diff().abs().fillna(MOVED) >= MOVED  # the hand, by its first finger
    frets = held.groupby("onset", sort=True)["fret"]
    has_moved |= frets.max() - frets.min() >= STRETCHED
    lowest = own[~own["grace"] & own["string"].notna()].sort_values("string", kind="stable")
    lowest = lowest.drop_duplicates("onset", keep="last").set_index("onset")
    can_say = pd.Series(lowest["finger"].between(1, 4) & (lowest["fret"] > 0))
    can_say = can_say.reindex(first.index, fill_value=False).astype(bool)
    since = can_say.shift(fill_value=False).cumsum()  # since it could be said before
    is_said = has_moved.astype(bool).groupby(since).cummax() & can_say
    said = own["onset"].isin(first.index[is_said]) & ~own["grace"]
    is_lowest = own["string"] == own["onset"].map(lowest["string"])
    return np.where(said & is_lowest.fillna(False), finger, 0).astype(np.int64)
