"""Which findings to listen to first: the most severe, which well-made music seldom has.

What a song does throughout is a trait of it, and comes last. This is the only order of rows: lists,
reports and live views of findings ask for it here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from arrange.clashes import KINDS
from arrange.clashes.lines import are_meant_doubles
from arrange.tables.song import Song
from arrange.tables.sounding import Array, each_of, is_played
from arrange.text.part_lists import split_parts

OTHER_KINDS = 0.3  # of their weight in a row of several kinds (ours, on the half kept for tuning)
DEPARTURE = 1.2  # times the weight of what departs from the rest of the song (ours, likewise)
THROUGHOUT = 0.5  # share of the bars in which a song does throughout what it does (ours)
FEWEST_BARS = 12  # of a song that has traits (ours)


def ranked(findings: pd.DataFrame) -> pd.DataFrame:
    """Return the findings in the order in which to listen to them; equal ones by time."""
    keys = [findings[name].to_numpy(dtype=object) for name in ("pitches", "parts", "kind")]
    onset, severity = (findings[name].to_numpy() for name in ("onset", "severity"))
    order = np.lexsort((*map(_codes, keys), onset, -severity))
    return findings.iloc[order]


def weights(findings: pd.DataFrame, rows: Sequence[Sequence[int]]) -> Array:
    """Return how early each row of several findings is to be listened to, the larger the earlier:
    the logarithm of how rare its strongest finding is, and a share of that of its other kinds, as
    one thing heard in several ways is surer. What departs from the rest of the song weighs more;
    what comes with a double that is meant adds nothing.

    Parameters
    ----------
    findings : a findings table, in the order of ``ranked``
    rows : sequence of places in it
        The findings of each row.
    """
    kind = findings["kind"].to_numpy(dtype=object)
    departs = np.array([KINDS[each].is_of_the_song for each in kind], dtype=bool)
    rare = -np.log1p(-findings["severity"].to_numpy()) * np.where(departs, DEPARTURE, 1.0)
    is_meant = are_meant_doubles(findings)
    out = np.zeros(len(rows))
    for number, own in enumerate(rows):
        strongest: dict[str, float] = {}
        for place in own[:1] if is_meant[own[0]] else own:
            strongest[kind[place]] = max(rare[place], strongest.get(kind[place], 0.0))
        most = max(strongest.values())
        out[number] = most + OTHER_KINDS * (sum(strongest.values()) - most)
    return out


def _codes(texts: Array) -> Array:
    """Numbers in the order of some texts."""
    return np.unique(texts.astype(np.str_), return_inverse=True)[1]


def is_trait(findings: pd.DataFrame, song: Song) -> Array:
    """Return which findings are of a kind that the song has throughout between the same parts: in
    at least half of the bars in which these parts play, which are at least half of the song's. A
    song of fewer than twelve bars has none.
    """
    shares = np.zeros(len(findings))
    if len(song.measures) < FEWEST_BARS or findings.empty:
        return shares >= THROUGHOUT
    lines = song.measures["onset"].to_numpy()
    which, keys = pd.factorize(findings["kind"].str.cat(findings["parts"], sep="\n"))
    onset = findings["onset"].to_numpy()
    bars = _bars(lines, onset, onset + findings["duration"].to_numpy())
    found = np.zeros((len(keys), len(lines)), dtype=bool)
    found[np.repeat(which, bars[1]), each_of(*bars)] = True
    plays = _plays(song, lines)
    place = {part: row for row, part in enumerate(song.parts["part"].tolist())}
    for row, key in enumerate(keys.tolist()):
        kind, parts = key.split("\n", 1)
        both = plays[[place[part] for part in split_parts(parts)]].all(axis=0)
        count = np.count_nonzero(both)
        if KINDS[kind].trait and count >= max(FEWEST_BARS, THROUGHOUT * len(lines)):
            shares[which == row] = np.count_nonzero(found[row] & both) / count
    return shares >= THROUGHOUT


def _plays(song: Song, lines: Array) -> Array:
    """Whether each part (rows) plays in each bar."""
    notes = song.notes[is_played(song.notes)]
    onset = notes["onset"].to_numpy()
    bars = _bars(lines, onset, onset + notes["duration"].to_numpy())
    part = pd.Index(song.parts["part"]).get_indexer(notes["part"])
    plays = np.zeros((len(song.parts), len(lines)), dtype=bool)
    plays[np.repeat(part, bars[1]), each_of(*bars)] = True
    return plays


def _bars(lines: Array, onset: Array, end: Array) -> tuple[Array, Array]:
    """Row of the first bar that each span touches, and how many it touches."""
    first = np.maximum(np.searchsorted(lines, onset + 1e-9, side="right") - 1, 0)
    last = np.maximum(np.searchsorted(lines, end - 1e-9) - 1, first)
    return first, last - first + 1
