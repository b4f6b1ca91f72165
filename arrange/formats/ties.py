"""Tied notes made one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

Array = np.ndarray[Any, Any]


def merge_ties(notes: Mapping[str, Array], ticks: int) -> tuple[Array, Array, Array]:
    """Merge each tied note with those it is tied to.

    A tie joins a note to the one of its part and pitch that begins where it ends: in its own
    voice first, else in another, across bars too. Bars that are too short or too long on the
    page leave gaps or overlaps: then the next tied note of that pitch within a quarter is it.
    Some exports mark ties only where they begin: then any note of that pitch that begins where
    the tied one ends goes on with it.

    Parameters
    ----------
    notes : mapping of str to array
        A value a note, sorted by onset: ``part``, ``pitch`` (NaN if unpitched), ``voice``,
        ``onset``, ``duration`` (ticks), ``tie_start``, ``tie_stop`` (bool).
    ticks : int
        Ticks in a quarter note.

    Returns
    -------
    head : array of int
        The first note of the chain that each note belongs to; its own index if it is first.
    duration : array of int
        Ticks, of the whole chain at its first note.
    is_open : array of bool
        True for a note whose tie found no end.
    """
    part, pitch, onset, duration = (notes[name] for name in ("part", "pitch", "onset", "duration"))
    tie_start, tie_stop = notes["tie_start"], notes["tie_stop"]
    head = np.arange(len(part))
    is_open = np.zeros(len(part), dtype=bool)
    if not tie_start.any():
        return head, duration, is_open
    has_ends = bool(tie_stop.any())
    tie_stop = tie_stop if has_ends else duration > 0
    tied = np.flatnonzero(tie_start | tie_stop)
    start, end = onset[tied], onset[tied] + duration[tied]
    starts, stops = np.flatnonzero(tie_start[tied]), np.flatnonzero(tie_stop[tied])
    span = int(end.max()) + ticks + 1
    lines = part[tied] * 16_384 + (np.nan_to_num(pitch[tied], nan=-1.0) * 64).astype(np.int64)
    line = np.unique(lines, return_inverse=True)[1] * span
    own = np.unique(lines * 2**24 + notes["voice"][tied], return_inverse=True)[1] * span

    follows = np.full(len(tied), -1)  # the note that each note goes on in
    for key, slack in ((own, 0), (line, 0), (line, ticks))[: 3 if has_ends else 2]:
        loose = starts[follows[starts] < 0]
        if not len(loose):
            break
        second = stops[~np.isin(stops, follows)]
        a, b = _matches((key + end)[loose], (key + start)[second], slack)
        later = start[second[b]] > start[loose[a]]
        follows[loose[a[later]]] = second[b[later]]

    is_open[tied[starts[follows[starts] < 0]]] = True
    first = np.arange(len(tied))
    first[follows[follows >= 0]] = np.flatnonzero(follows >= 0)
    while (first[first] != first).any():  # each round doubles how far back a note looks
        first = first[first]
    np.maximum.at(end, first, end.copy())
    head[tied] = tied[first]
    merged = duration.copy()
    merged[tied] = end - start
    return head, merged, is_open


def _matches(wanted: Array, offered: Array, slack: int) -> tuple[Array, Array]:
    """Pair each wanted value with an equal offered one, or one within `slack`, each once."""
    if not (len(wanted) and len(offered)):
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    by_wanted, by_offered = np.argsort(wanted, kind="stable"), np.argsort(offered, kind="stable")
    values, pool = wanted[by_wanted], offered[by_offered]
    nth = np.arange(len(values)) - np.searchsorted(values, values)  # equal ones take turns
    at = np.searchsorted(pool, values - slack) + nth
    near = np.minimum(at, len(pool) - 1)
    fits = (at < len(pool)) & (np.abs(pool[near] - values) <= slack)
    once = np.zeros(len(values), dtype=bool)
    once[np.unique(np.where(fits, at, -1), return_index=True)[1]] = True
    fits &= once
    return by_wanted[fits], by_offered[near[fits]]
