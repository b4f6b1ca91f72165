"""The notes of a recorded layer, each with how sure it is."""

from __future__ import annotations

import os

import numpy as np
import pandas as pd

from arrange.recording.audio_files import RATE
from arrange.recording.net import LOWEST, Frames, heard_frames
from arrange.recording.spectra import HOP, levelled
from arrange.tables.sounding import Array

STRUCK = 0.65  # how sure an attack is from which there is a note (ours)
SOUNDS = 0.4  # how sure it is that a pitch sounds, under which its note ends (ours)
REPEAT_WITHIN = 0.03  # seconds by which the repeat of an echo may miss its moment (ours)
REPEAT_SOFTER = 0.5  # dB by which a repeat is softer than what it repeats, at least (ours)
_APART = 4  # frames from one attack of a pitch to the next
_SHORTEST = 3  # frames of a note
_SURE = 6  # frames from the attack, over which a note's confidence is taken
_LEVEL = range(2, 7)  # frames after the attack, over which its level is taken


def heard_notes(samples: Array, net: str | os.PathLike[str] | None = None) -> pd.DataFrame:
    """Return the notes of a recorded layer.

    Parameters
    ----------
    samples : array of float32
        As ``read_layer`` gives them.
    net : path, optional
        An ONNX net in place of the kit's own.

    Returns
    -------
    DataFrame
        A row a note, by time: ``begin`` and ``end``, seconds; ``pitch``, MIDI number;
        ``confidence``, 0 to 1; ``level``, dB, 0 at full level of the layer levelled. Do not trust
        the ends.

    Raises
    ------
    ArrangeError
        As ``heard_frames``.
    """
    return notes_of(heard_frames(levelled(samples), net))


def notes_of(frames: Frames) -> pd.DataFrame:
    """Return the notes that frames show, as ``heard_notes``."""
    place, frame = np.nonzero(_attacks(frames.struck).T)
    last = len(frames.struck)
    following = np.append(frame[1:], last)
    same = np.append(place[1:] == place[:-1], False)
    quiet = _next_quiet(frames.sounds)[np.minimum(frame + 2, last - 1), place]
    end = np.minimum(quiet, np.where(same, following, last))
    notes = pd.DataFrame(
        {
            "begin": (frame + _between_frames(frames.struck, frame, place)) * HOP / RATE,
            "end": np.maximum(end, frame + _SHORTEST) * HOP / RATE,
            "pitch": place + LOWEST,
            "confidence": _confidence(frames, frame, place),
            "level": _level(frames.strength, frame, place),
        }
    )
    return notes.sort_values(["begin", "pitch"], ignore_index=True)


def is_repeat(notes: pd.DataFrame, seconds: float) -> Array:
    """Return which notes of a layer may be repeats of an echo with a delay: the pitch was there
    that long before, and louder.
    """
    begin, pitch = notes["begin"].to_numpy(), notes["pitch"].to_numpy()
    level = notes["level"].to_numpy()
    order = np.lexsort((begin, pitch))
    key = pitch[order] * 1e6 + begin[order]  # one ascending axis for all pitches
    wanted = pitch * 1e6 + begin - seconds
    first, last = (np.searchsorted(key, wanted + way * REPEAT_WITHIN) for way in (-1, 1))
    found = np.zeros(len(notes), dtype=bool)
    for step in range(int((last - first).max(initial=0))):
        row = order[np.minimum(first + step, len(order) - 1)]
        found |= (first + step < last) & (level < level[row] - REPEAT_SOFTER)
    return found


def _attacks(struck: Array) -> Array:
    """Where the sureness of an attack has a peak, the highest of those near by."""
    around = np.pad(struck, ((_APART - 1, _APART - 1), (0, 0)))
    highest = np.lib.stride_tricks.sliding_window_view(around, 2 * _APART - 1, axis=0).max(axis=-1)
    after = around[_APART : _APART + len(struck)]
    return np.asarray((struck >= STRUCK) & (struck == highest) & (struck > after))


def _next_quiet(sounds: Array) -> Array:
    """The first frame from each on in which a pitch does not sound."""
    number = np.arange(len(sounds))[:, None]
    quiet = np.where(sounds < SOUNDS, number, len(sounds))
    return np.minimum.accumulate(quiet[::-1], axis=0)[::-1]


def _between_frames(struck: Array, frame: Array, place: Array) -> Array:
    """How far from its frame a peak is, in frames: the top of a parabola through three."""
    padded = np.pad(struck, ((1, 1), (0, 0)))
    before, at, after = (padded[frame + step, place].astype(np.float64) for step in range(3))
    bend = before - 2 * at + after
    return np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, 1), 0)


def _confidence(frames: Frames, frame: Array, place: Array) -> Array:
    rows = np.minimum(frame[:, None] + np.arange(_SURE), len(frames.sounds) - 1)
    sounds = frames.sounds[rows, place[:, None]].mean(axis=1)
    return np.sqrt(sounds.astype(np.float64) * frames.struck[frame, place])


def _level(strength: Array, frame: Array, place: Array) -> Array:
    rows = np.minimum(frame[:, None] + np.array(_LEVEL), len(strength) - 1)
    power = strength[rows, place[:, None]].mean(axis=1)
    return 10 * np.log10(power.astype(np.float64) + 1e-12)
