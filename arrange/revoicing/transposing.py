"""A song in another key: notes, chords and keys, spelled as the new key asks.

Keys go to the signature with the fewest signs (``moved_key``), and the chords of a bar go as many
fifths as its key, so that what was a raised or a lowered note stays one: G#dim in A minor is A#dim
in B minor. Where no key stands, a chord gets its plain name.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.tables.columns import integer_column, object_column, text_column
from arrange.tables.song import Song
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import Chord, chord_symbol, moved_chord
from arrange.theory.pitch import key_fifths, moved_key, moved_name

_OCTAVE = 12
_LOWEST, _HIGHEST = 0, 127  # MIDI


def transposed(song: Song, semitones: int) -> Song:
    """Return the song some semitones higher; drums and unpitched notes stay.

    Moved notes lie elsewhere on the neck, so that they have no strings and frets. Chord numbers
    stay, since they count from the key.

    Raises
    ------
    ArrangeError
        If a note would leave the range of MIDI, or a chord symbol cannot be read.
    """
    notes, measures = song.notes, song.measures
    moves = has_pitch_to_move(song)
    pitch = notes["pitch"].to_numpy() + np.where(moves, semitones, 0)
    out = np.flatnonzero((pitch < _LOWEST) | (pitch > _HIGHEST))
    if len(out):
        row = notes.iloc[out[0]]
        raise ArrangeError(
            f"{row['part']} in measure {row['measure']}: {song.note_name(row['pitch'])} moved by "
            f"{semitones} semitones leaves what MIDI numbers hold, 0 to 127; move that part by an "
            "octave first"
        )
    keys = [key if isinstance(key, str) else None for key in measures["key"]]
    return replace(
        song,
        notes=notes.assign(
            pitch=pitch, **{name: notes[name].mask(moves) for name in ("string", "fret")}
        ),
        measures=measures.assign(key=text_column([moved_key(key, semitones) for key in keys])),
        chords=_moved_chords(song, semitones),
    )


def has_pitch_to_move(song: Song) -> np.ndarray:
    """Return for each note whether it moves with the key: it has a pitch, and is no drum's."""
    drums = song.parts.loc[song.parts["family"] == "drums", "part"]
    moves = song.notes["pitch"].notna() & ~song.notes["part"].isin(drums)
    return moves.to_numpy(dtype=bool)


def _moved_chords(song: Song, semitones: int) -> pd.DataFrame:
    chords = song.chords
    columns = (chords[name].tolist() for name in ("onset", "symbol", "measure"))
    symbols = [_moved_symbol(song.key_at(onset), symbol, measure, semitones)
               for onset, symbol, measure in zip(*columns, strict=True)]  # fmt: skip
    moved = {}
    for name in ("root", "bass"):
        number = chords[name].to_numpy(dtype=np.int64, na_value=0)
        is_none = chords[name].isna().to_numpy(dtype=bool)
        moved[name] = integer_column((number + semitones) % _OCTAVE, is_none)
    members = [tuple((each + semitones) % _OCTAVE for each in own)
               for own in chords["pitch_classes"]]  # fmt: skip
    return chords.assign(symbol=text_column(symbols), pitch_classes=object_column(members), **moved)


def _moved_symbol(key: str | None, symbol: str, measure: int, semitones: int) -> str:
    try:
        chord = parse_chord(symbol)
    except ArrangeError as error:
        raise ArrangeError(
            f"measure {measure}: {shown(symbol)} cannot be moved to another key: {error}"
        ) from None
    return chord_symbol(_moved(chord, semitones, key))


def _moved(chord: Chord, semitones: int, key: str | None) -> Chord:
    new = moved_key(key, semitones)
    if not chord.root or key is None or new is None:
        return moved_chord(chord, semitones)
    fifths = key_fifths(new) - key_fifths(key)
    bass = chord.bass and moved_name(chord.bass, fifths)
    return replace(chord, root=moved_name(chord.root, fifths), bass=bass)
