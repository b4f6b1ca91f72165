"""Which notes sound, and which sound together; ``ringing`` has how long they do.

Grace notes, cue notes and notes without a duration are kept in the tables but do not count as
played; unpitched notes are played, but do not sound as a pitch.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError

Array = np.ndarray[Any, Any]


def is_played(notes: pd.DataFrame) -> Array:
    """Return which rows of a notes table have a time of their own, with a pitch or without."""
    cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    return (notes["duration"].to_numpy() > 0) & ~notes["grace"].to_numpy() & ~cue


def played_notes(notes: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a notes table that have a time of their own, with a pitch or without."""
    return notes[is_played(notes)]


def sounding_notes(notes: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of a notes table that sound with a pitch.

    Examples
    --------
    >>> import arrange as ar
    >>> notes = ar.read("datasets/last-bell.musicxml").notes
    >>> len(notes) - len(ar.sounding_notes(notes))  # strokes of the drums, and grace notes
    879
    """
    played = played_notes(notes)
    return played[played["pitch"].notna()]


def sounding_lengths(notes: pd.DataFrame) -> Array:
    """Return how long each note of a table sounds, quarter notes; what was put together by hand,
    without ``sounds``, as long as it lasts.
    """
    duration = notes["duration"].to_numpy()
    return np.maximum(notes["sounds"].to_numpy(), duration) if "sounds" in notes else duration


def cut_notes(notes: pd.DataFrame, spans: pd.DataFrame, by: str) -> pd.DataFrame:
    """Return the notes cut where the spans end, so that a held note counts in each.

    What merely rings on is cut at the end of the last span in which its note is held.

    Parameters
    ----------
    notes : a notes table
    spans : a measures or a sections table
    by : str
        ``"measure"`` or ``"section"``, the label column of `spans`; it is set anew in the result.

    Returns
    -------
    DataFrame
        A notes table, a row for each note and span that it sounds in.

    Raises
    ------
    ArrangeError
        If `by` is neither.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.txt")
    >>> cut = ar.cut_notes(song.notes, song.measures, "measure")
    >>> len(cut) - len(song.notes)  # so many are held over a bar line
    22
    """
    if by not in ("measure", "section"):
        raise ArrangeError(f"by={by!r}: it is one of 'measure', 'section'")
    starts = spans["onset"].to_numpy()
    onset = notes["onset"].to_numpy()
    end = onset + notes["duration"].to_numpy()
    first = np.maximum(np.searchsorted(starts, onset, side="right") - 1, 0)
    last = np.maximum(np.searchsorted(starts, end, side="left") - 1, first)
    pieces = last - first + 1
    row = np.repeat(np.arange(len(notes)), pieces)
    span = np.repeat(first, pieces) + _within(pieces)
    begin = np.where(span == first[row], onset[row], starts[span])
    limit = np.append(starts[1:], np.inf)[span]
    finish = np.where(span == last[row], end[row], limit)
    gone = np.maximum(np.minimum(onset[row] + sounding_lengths(notes)[row], limit), finish)
    cut = notes.iloc[row].reset_index(drop=True)
    labels = spans[by].array.take(span)
    return cut.assign(
        **{"onset": begin, "duration": finish - begin, "sounds": gone - begin, by: labels}
    )


def together(onset: Array, end: Array) -> tuple[Array, Array]:
    """Return the pairs of notes that sound at one time.

    Parameters
    ----------
    onset, end : array, sorted by onset

    Returns
    -------
    first, second : array of int
        Indices, the second of each pair not beginning before the first.
    """
    until = np.searchsorted(onset, end, side="left")
    count = np.maximum(until - np.arange(len(onset)) - 1, 0)
    first = np.repeat(np.arange(len(onset)), count)
    return first, first + 1 + _within(count)


def each_of(begin: Array, count: Array) -> Array:
    """Return the numbers of several spans, one span behind the other.

    Parameters
    ----------
    begin, count : array of int
        First number of each span, and how many it has.
    """
    return np.repeat(begin, count) + _within(count)


def _within(counts: Array) -> Array:
    """0, 1, ... counts[0] - 1, 0, 1, ... counts[1] - 1, and so on."""
    total = int(counts.sum())
    return np.arange(total) - np.repeat(np.cumsum(counts) - counts, counts)


def slices(onset: Array, end: Array, cuts: Array) -> tuple[Array, Array, Array]:
    """Cut time wherever a note begins or ends, and at the cuts.

    Returns
    -------
    lines : array
        The cuts; slice k lies between lines k and k + 1.
    note, at : array of int
        A row for each note and slice in which it sounds.
    """
    lines = np.unique(np.concatenate([onset, end, cuts]))
    first, last = np.searchsorted(lines, onset), np.searchsorted(lines, end)
    note = np.repeat(np.arange(len(onset)), last - first)
    return lines, note, np.repeat(first, last - first) + _within(last - first)
