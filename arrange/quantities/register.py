"""Where the parts lie: the range of each, and how far two share a register.

All figures weigh a note by how long it sounds. A note counts in the section or measure in which
it begins; ``sounding.cut_notes`` cuts held notes where they should count in each. Where two parts
are compared, a quarter tone counts as the semitone below it.

References
----------
H. F. Inman and E. L. Bradley (1989), Commun. Statist. Theory Meth. 18: the overlap coefficient.
C. T. Herbst, H. Duus, H. Jers and J. G. Svec (2012), Int. J. Research in Choral Singing 4(1):
upper and lower reserve.
"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.necks import STANDARD_FRETS, STANDARD_TUNINGS
from arrange.tables.sounding import Array, sounding_lengths, sounding_notes

_SPANS = ("song", "section", "measure")
_MIDDLE_HALF = (0.25, 0.75)


def part_ranges(
    notes: pd.DataFrame,
    by: str = "song",
    parts: pd.DataFrame | None = None,
    setups: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return the range of each part, over the song or by section or measure.

    Parameters
    ----------
    notes : a notes table
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.
    parts : a parts table, optional
        For the reserves; without it they are missing.
    setups : a setups table, optional
        For the reserves of parts whose capo is not everywhere the usual one.

    Returns
    -------
    DataFrame
        A row for each part and span in which it sounds, with ``part``, the span's label (but for
        the song), and in semitones (MIDI numbers): ``lowest``, ``highest``; ``mean`` and
        ``spread`` (standard deviation) by time; ``middle_half_low`` and ``middle_half_high``,
        between which it spends the middle half of its time; ``notes`` (their number);
        ``lower_reserve`` and ``upper_reserve``, what is left to the ends of the instrument
        (open strings to the last fret, above the capo; missing for other instruments).

    Raises
    ------
    ArrangeError
        If `by` is none of the three.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ranges = ar.part_ranges(song.notes, parts=song.parts)
    >>> ranges[["part", "lowest", "highest"]].head(2).values.tolist()
    [['Guitar 1', 41.0, 81.0], ['Guitar 2', 43.0, 74.0]]
    """
    heard = sounding_notes(notes)
    labels, span = _spans(heard, by)
    names, part = _codes(heard["part"])
    pitch, weight = heard["pitch"].to_numpy(), heard["duration"].to_numpy()
    order = np.lexsort((pitch, span, part))
    group = part[order] * max(len(labels), 1) + span[order]
    pitch, weight = pitch[order], weight[order]
    groups, starts = np.unique(group, return_index=True)
    ends = np.append(starts, len(group))[1:] - 1
    total = _sums(weight, starts)
    mean = _sums(weight * pitch, starts) / total
    own = np.repeat(np.arange(len(groups)), np.diff(np.append(starts, len(group))))
    spread = np.sqrt(_sums(weight * (pitch - mean[own]) ** 2, starts) / total)
    through = np.cumsum(weight) - np.repeat(np.cumsum(total) - total, np.bincount(own))
    low, high = (
        pitch[starts + _counts(through < share * total[own] - 1e-9, own, len(groups))]
        for share in _MIDDLE_HALF
    )
    ranges = pd.DataFrame(
        {
            "part": pd.array(names, dtype="str").take(groups // max(len(labels), 1)),
            **_span_column(by, labels, groups % max(len(labels), 1)),
            "lowest": pitch[starts],
            "highest": pitch[ends],
            "mean": mean,
            "spread": spread,
            "middle_half_low": low,
            "middle_half_high": high,
            "notes": np.bincount(own, minlength=len(groups)),
        }
    )
    known = _limits(parts)
    limits = np.array([known.get(name, (np.nan, np.nan)) for name in names]).reshape(-1, 2)
    bottom, top = limits[groups // max(len(labels), 1)].T
    if parts is not None and setups is not None and len(setups) and len(groups):
        bottom = bottom + np.minimum.reduceat(_capo_changes(heard, parts, setups)[order], starts)
    return ranges.assign(
        lower_reserve=ranges["lowest"] - bottom, upper_reserve=top - ranges["highest"]
    )


def register_overlap(notes: pd.DataFrame, by: str = "song") -> pd.DataFrame:
    """Return how far each pair of parts shares a register, over the song or by section or measure.

    Parameters
    ----------
    notes : a notes table
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.

    Returns
    -------
    DataFrame
        A row for each pair and span in which both have notes: ``part_a``, ``part_b``, the span's
        label; ``shared_low`` and ``shared_high``, the shared stretch of their ranges (missing
        without one); ``shared``, its size in semitones; ``share``, that size over the whole
        stretch that the two cover (the Jaccard index of the two ranges, 0 to 1); ``histogram``,
        the overlap coefficient of the time they spend on each semitone, 0 to 1; ``together``, the
        same, only of the time in which both sound (missing where they never do).

    Raises
    ------
    ArrangeError
        If `by` is none of the three.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> overlap = ar.register_overlap(song.notes, by="section")
    >>> guitars = overlap[(overlap["part_a"] == "Guitar 1") & (overlap["part_b"] == "Guitar 2")]
    >>> guitars.set_index("section")["histogram"].round(2)[["Chorus 1", "Chorus 2"]].to_dict()
    {'Chorus 1': 0.82, 'Chorus 2': 0.0}
    """
    heard = sounding_notes(notes)
    labels, span = _spans(heard, by)
    names, part = _codes(heard["part"])
    onset = heard["onset"].to_numpy()
    weight = sounding_lengths(heard)
    end = onset + weight
    pitch = heard["pitch"].to_numpy()
    semitone = np.ceil(pitch - 0.5).astype(np.int64)
    bottom = int(semitone.min(initial=0))
    width = int(semitone.max(initial=0)) - bottom + 1
    cell = span * width + semitone - bottom
    shape = (max(len(labels), 1), width)

    rows_of = [np.flatnonzero(part == code) for code in range(len(names))]
    histograms = [_histogram(cell[rows], weight[rows], shape) for rows in rows_of]
    lowest = [_extreme(np.minimum, semitone[r], span[r], shape[0], np.inf) for r in rows_of]
    highest = [_extreme(np.maximum, semitone[r], span[r], shape[0], -np.inf) for r in rows_of]
    clocks = [_sounding_clock(onset[rows], end[rows]) for rows in rows_of]

    found = []
    for a, b in combinations(range(len(names)), 2):
        both = np.flatnonzero(np.isfinite(lowest[a]) & np.isfinite(lowest[b]))
        low, high = np.maximum(lowest[a], lowest[b])[both], np.minimum(highest[a], highest[b])[both]
        union = np.maximum(highest[a], highest[b])[both] - np.minimum(lowest[a], lowest[b])[both]
        shared = np.maximum(high - low, 0)
        meets = low <= high
        while_b = _histogram(
            cell[rows_of[a]], _time_while(clocks[b], onset, end, rows_of[a]), shape
        )
        while_a = _histogram(
            cell[rows_of[b]], _time_while(clocks[a], onset, end, rows_of[b]), shape
        )
        found.append(
            {
                "part_a": np.full(len(both), a),
                "part_b": np.full(len(both), b),
                "span": both,
                "shared_low": np.where(meets, low, np.nan),
                "shared_high": np.where(meets, high, np.nan),
                "shared": shared,
                "share": np.where(union > 0, shared / np.where(union > 0, union, 1), meets),
                "histogram": overlap_coefficient(histograms[a], histograms[b])[both],
                "together": overlap_coefficient(while_b, while_a)[both],
            }
        )
    columns = {
        name: np.concatenate([pair[name] for pair in found]) if found else np.empty(0)
        for name in ("part_a", "part_b", "span", "shared_low", "shared_high", "shared", "share",
                     "histogram", "together")
    }  # fmt: skip
    text = pd.array(names, dtype="str")
    return pd.DataFrame(
        {
            "part_a": text.take(columns["part_a"].astype(np.int64)),
            "part_b": text.take(columns["part_b"].astype(np.int64)),
            **_span_column(by, labels, columns["span"].astype(np.int64)),
            **{name: columns[name] for name in list(columns)[3:]},
        }
    )


def overlap_coefficient(one: Array, other: Array) -> Array:
    """Return the overlap coefficient of histograms, 0 to 1; NaN where one is empty.

    Parameters
    ----------
    one, other : array (..., semitones)
        Time spent on each.
    """
    totals = one.sum(axis=-1), other.sum(axis=-1)
    full = (totals[0] > 0) & (totals[1] > 0)
    p = one / np.where(full, totals[0], 1)[..., None]
    q = other / np.where(full, totals[1], 1)[..., None]
    return np.where(full, np.minimum(np.minimum(p, q).sum(axis=-1), 1.0), np.nan)


def _spans(notes: pd.DataFrame, by: str) -> tuple[list[Any], Array]:
    """The labels of the spans in order of time, and the code of each note's."""
    if by not in _SPANS:
        raise ArrangeError(f"by={by!r}: it is one of {', '.join(map(repr, _SPANS))}")
    if by == "song":
        return [], np.zeros(len(notes), dtype=np.int64)
    if by == "measure":
        labels, codes = np.unique(notes["measure"].to_numpy(), return_inverse=True)
        return labels.tolist(), codes
    by_time = notes["section"].to_numpy()[np.argsort(notes["onset"].to_numpy(), kind="stable")]
    order = pd.unique(pd.Series(by_time, dtype="str")).tolist()
    return order, pd.Categorical(notes["section"], categories=order).codes.astype(np.int64)


def _codes(parts: pd.Series[Any]) -> tuple[list[str], Array]:
    codes, names = pd.factorize(parts)
    return names.tolist(), codes.astype(np.int64)


def _span_column(by: str, labels: list[Any], codes: Array) -> dict[str, Any]:
    if by == "song":
        return {}
    column = pd.array(labels, dtype="str" if by == "section" else "int64")
    return {by: column.take(codes)}


def _sums(values: Array, starts: Array) -> Array:
    return np.add.reduceat(values, starts) if len(starts) else np.empty(0)


def _counts(which: Array, group: Array, groups: int) -> Array:
    return np.bincount(group[which], minlength=groups)


def _limits(parts: pd.DataFrame | None) -> dict[str, tuple[float, float]]:
    """Lowest and highest sounding pitch of each part's instrument, where they are known."""
    limits = {}
    columns = ("part", "tuning", "family", "capo")
    rows = (
        zip(*(parts[name].tolist() for name in columns), strict=True) if parts is not None else ()
    )
    for name, given, family, capo in rows:
        tuning = given if isinstance(given, tuple) else STANDARD_TUNINGS.get(family)
        if tuning:
            limits[name] = (min(tuning) + capo, max(tuning) + STANDARD_FRETS.get(family, 22))
    return limits


def _capo_changes(heard: pd.DataFrame, parts: pd.DataFrame, setups: pd.DataFrame) -> Array:
    """How far each note's capo lies above its part's usual one, frets."""
    own = setups.merge(parts[["part", "capo"]], on="part", suffixes=("", "_usual"))
    change = (own["capo"] - own["capo_usual"]).set_axis(pd.MultiIndex.from_frame(
        own[["part", "section"]]))  # fmt: skip
    places = pd.MultiIndex.from_frame(heard[["part", "section"]])
    return change.reindex(places, fill_value=0).to_numpy()


def _histogram(cell: Array, weight: Array, shape: tuple[int, int]) -> Array:
    return np.bincount(cell, weights=weight, minlength=shape[0] * shape[1]).reshape(shape)


def _extreme(which: Any, pitch: Array, span: Array, spans: int, start: float) -> Array:
    extremes = np.full(spans, start)
    which.at(extremes, span, pitch)
    return extremes


def _sounding_clock(onset: Array, end: Array) -> tuple[Array, Array]:
    """Times, and how long the part has sounded up to each."""
    times = np.concatenate([onset, end])
    order = np.argsort(times, kind="stable")
    times = times[order]
    steps = np.where(order < len(onset), 1, -1)
    sounds = np.cumsum(steps) > 0
    spent = np.concatenate([[0.0], np.cumsum(np.diff(times) * sounds[:-1])])
    return times, spent[: len(times)]


def _time_while(clock: tuple[Array, Array], onset: Array, end: Array, rows: Array) -> Array:
    """How long each note sounds while the part of the clock sounds too."""
    times, spent = clock
    return np.interp(end[rows], times, spent) - np.interp(onset[rows], times, spent)
