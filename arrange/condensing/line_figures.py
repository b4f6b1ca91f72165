"""What is measured of each layer's line: how it moves, what comes back, how it fits the song."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from arrange.condensing.recorded_layers import RecordedLayers
from arrange.tables.sounding import Array

STEP = 2.0  # semitones: tunes go by steps of the scale (common practice)
PHRASE = 1.0  # quarter notes of silence from which a new phrase begins

NONE = {
    "attacks": 0.0, "chords": 0.0, "repetition": 0.0, "different": 0.0, "rhythm_again": 0.0,
    "even": 0.0, "step": 0.0, "leaps": 0.0, "moves": 0.0, "in_chord": 0.0, "answers": 0.0,
}  # fmt: skip


@dataclass(frozen=True)
class Singer:
    """When anybody sings.

    Parameters
    ----------
    parts : list of str
    begins, ends : array of float
        Of each note, quarter notes; the end of the last that sounds by then.
    sections : array of bool
        Whether anybody sings in a section.
    """

    parts: list[str]
    begins: Array
    ends: Array
    sections: Array

    @classmethod
    def of(cls, recorded: RecordedLayers) -> Singer:
        """Return when anybody sings in the song."""
        song = recorded.song
        parts = song.parts["part"][song.parts["family"] == "voice"].tolist()
        sung = song.notes[song.notes["part"].isin(parts).to_numpy()].sort_values("onset")
        ends = (sung["onset"] + sung["duration"]).to_numpy()
        sections = np.isin(recorded.sections, sung["section"].unique().tolist())
        return cls(parts, sung["onset"].to_numpy(), np.maximum.accumulate(ends), sections)


def line_figures(recorded: RecordedLayers) -> pd.DataFrame:
    """Return the figures of each layer.

    Parameters
    ----------
    recorded : RecordedLayers

    Returns
    -------
    DataFrame
        A row a layer:
        ``attacks``; ``chords``, the share of them of two pitch classes or more; ``repetition``,
        the share of its bars that it has played before; ``different``, how many different bars
        come back; ``rhythm_again``, the share of bars whose rhythm it has played before;
        ``even``, the share of steps in time of its usual length; ``step``, semitones from highest
        note to highest note, where a leap of octaves is no move; ``leaps``, the share of moves
        beyond a step; ``moves``, how many there are; ``in_chord``, the share of its notes that
        are in the chord symbol above them, NaN where there is none; ``answers``, the share of its
        phrases that begin while the singer rests, in the singer's sections, 0 for no singer.
    """
    singer = Singer.of(recorded)
    members = recorded.song.chords["pitch_classes"].to_list()
    chords = np.array([sum(1 << int(tone) for tone in each) for each in members], dtype=np.int64)
    layers = range(len(recorded.names))
    return pd.DataFrame([_of_layer(recorded, layer, singer, chords) for layer in layers])


def _of_layer(
    recorded: RecordedLayers, layer: int, singer: Singer, chords: Array
) -> dict[str, float]:
    """The figures of one layer; `chords` as bits of pitch classes."""
    own = np.flatnonzero((recorded.layer == layer) & recorded.is_played)
    if not len(own):
        return NONE
    place, pitch = recorded.place[own], recorded.pitch[own]
    starts, first = np.unique(place, return_index=True)
    highest = np.maximum.reduceat(np.nan_to_num(pitch, nan=-1.0), first)
    tones = np.unique(place * 12 + np.nan_to_num(np.rint(pitch)).astype(np.int64) % 12) // 12
    steps = np.diff(starts)
    apart = np.abs(np.diff(highest))
    apart[apart % 12 == 0] = 0.0
    moved = apart[apart > 0]
    again, different = _repetition(recorded, own, with_pitch=True)
    return {
        "attacks": float(len(starts)),
        "chords": float((np.unique(tones, return_counts=True)[1] > 1).mean()),
        "repetition": again,
        "different": different,
        "rhythm_again": _repetition(recorded, own, with_pitch=False)[0],
        "even": float(np.unique(steps, return_counts=True)[1].max() / len(steps))
        if len(steps)
        else 0.0,
        "step": float(apart.mean()) if len(apart) else 0.0,
        "leaps": float((moved > STEP).mean()) if len(moved) else 0.0,
        "moves": float((np.diff(highest) != 0).sum()),
        "in_chord": _in_chord(recorded, own, chords),
        "answers": _answers(recorded, own, singer),
    }


def _repetition(recorded: RecordedLayers, own: Array, *, with_pitch: bool) -> tuple[float, float]:
    """Share of a layer's bars that it has played before, and how many different ones return."""
    lines = recorded.song.measures["onset"].to_numpy()
    bars, first = np.unique(recorded.measure[own], return_index=True)
    offset = np.rint((recorded.onset[own] - lines[recorded.measure[own] - 1]) * 64)
    heard: dict[bytes, int] = {}
    for piece, tones in zip(
        np.split(offset, first[1:]), np.split(recorded.pitch[own], first[1:]), strict=True
    ):
        content = piece.tobytes() + tones.tobytes() if with_pitch else np.unique(piece).tobytes()
        heard[content] = heard.get(content, 0) + 1
    return 1 - len(heard) / len(bars), float(sum(times > 1 for times in heard.values()))


def _in_chord(recorded: RecordedLayers, own: Array, chords: Array) -> float:
    """Share of notes that are members of the chord that begins last before them."""
    begins = recorded.song.chords["onset"].to_numpy()
    row = np.searchsorted(begins, recorded.onset[own] + 1e-9, side="right") - 1
    known = (row >= 0) & ~np.isnan(recorded.pitch[own])
    known[known] &= chords[row[known]] > 0
    if not known.any():
        return np.nan
    tone = np.rint(recorded.pitch[own][known]).astype(np.int64) % 12
    return float((chords[row[known]] >> tone & 1).mean())


def _answers(recorded: RecordedLayers, own: Array, singer: Singer) -> float:
    """Share of phrases that begin while the singer rests, in the singer's sections."""
    if not len(singer.begins) or recorded.names[recorded.layer[own[0]]] in singer.parts:
        return 0.0
    onset, until = recorded.onset[own], np.maximum.accumulate(recorded.end[own])
    is_first = np.append(True, onset[1:] - until[:-1] >= PHRASE - 1e-9)
    begins = onset[is_first & singer.sections[recorded.section[own]]]
    if not len(begins):
        return 0.0
    last = np.searchsorted(singer.begins, begins + 1e-9, side="right") - 1
    sings = (last >= 0) & (singer.ends[last] > begins + 1e-9)
    return float((~sings).mean())
