"""Measure how far well-made music goes in each kind of finding, and check what severities say.

Run it by hand: ``python tests/benchmarks/rarity.py`` (half a minute) writes
``arrange/clashes/rarity.csv``; with ``--check held-out`` it makes the table of two thirds of the
pieces, tries it on the other third, three times, and prints how far off severities are; with
``--check reported`` it tries the table that is there on the half on which no rule was set.

The pieces are those of ``damage.py``, of two parts and more, of the half called tuning; most are
quartets, chorales and madrigals. Each is cut at bar lines into passages of about 90 quarter notes,
of which at most six, evenly spread, are taken, so that no long piece outweighs the others. A
shorter piece counts for as much of a passage as it is long. Findings are looked for in each passage
by itself, with the usual limits. How far it goes in a kind is the highest value there.

Songs of up to four parts and of five and more are kept apart, since more pairs of parts meet in
these; a kind that fewer than five passages of one group have is measured on all together. The table
has the value at the limit, those that one passage in 2, 3, 5 and 10 reaches, where at least five
do, and a tail: how far the passages beyond the last of these go beyond it is taken for exponential,
and made heavier by what so few pieces leave open about its mean (the predictive distribution is
Lomax's, with as many pieces as its shape). Where fewer than five passages in all reach the limit,
one more is assumed, and half a limit as that mean.

References
----------
K. S. Lomax (1954), Journal of the American Statistical Association 49; that an exponential
distribution whose mean is estimated from n values predicts one of his, of shape n: any textbook on
Bayesian statistics. Both from memory.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import replace
from multiprocessing import Pool
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent.parent))
from benchmarks.damage import CORPUS, half, number, pieces

import arrange as ar
from arrange.clashes import rarity
from arrange.tables.song import Song
from arrange.tables.sounding import Array, sounding_notes

MOST_PASSAGES = 6  # of a piece
FEW = 5  # passages that reach a value, to speak of it
ONE_IN = (2, 3, 5, 10)
TAIL = 10  # times rarer than the last of these: where the tail is written down
UNSEEN = 0.5  # passages added where few reach the limit
FOLDS = 3
LEVELS = (0.2, 0.3, 0.4, 0.5, 0.6)  # severities that are checked
# A doubling may be meant, and is not compared.
LEFT_OUT = ("doubling",)
COLUMNS = ["kind", "unit", "ensemble", "passages", "value", "one_in"]


def passages(song: Song) -> Iterator[Song]:
    """Return the passages of a piece, six at most."""
    lines, end = song.measures["onset"].to_numpy(), song.duration
    count = max(1, round(end / rarity.PASSAGE))
    edges = [float(lines[np.abs(lines - end * at / count).argmin()]) for at in range(count)]
    spans = list(zip(edges, [*edges[1:], end], strict=True))
    chosen = np.unique(np.linspace(0, count - 1, MOST_PASSAGES).round().astype(int))
    for begin, finish in (spans[at] for at in chosen.tolist()):
        notes = sounding_notes(song.notes)
        notes = notes[notes["onset"].between(begin, finish, inclusive="left")]
        duration = np.minimum(notes["duration"], finish - notes["onset"])
        notes = notes.assign(duration=duration).reset_index(drop=True)
        if len(notes["part"].unique()) > 1:
            yield replace(song, notes=notes, chords=song.chords.iloc[:0])


def measured(name: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the length of each passage of a piece, in passages, and its highest values.

    Returns
    -------
    lengths : DataFrame
        A row a passage: ``piece``, ``at`` (its number), ``group``, ``length``.
    values : DataFrame
        A row for each passage, kind and unit found in it: these, ``value`` and ``limit``.
    """
    warnings.simplefilter("ignore")
    song = ar.read(CORPUS / name)
    group = rarity.ensemble(song.parts["family"].to_numpy(dtype=object))
    lengths, values = [], []
    for at, each in enumerate(passages(song)):
        ends = each.notes["onset"] + each.notes["duration"]
        length = float(ends.max() - each.notes["onset"].min()) / rarity.PASSAGE
        about = {"piece": name, "at": at, "group": group, "length": length}
        lengths.append(about)
        found = ar.find_clashes(each)
        found = found[~found["kind"].isin(LEFT_OUT)]
        found = found.assign(ratio=found["value"] / found["limit"])
        most = found.groupby(["kind", "unit"])[["value", "limit", "ratio"]].max().reset_index()
        values.append(most.assign(**about))
    return pd.DataFrame(lengths), pd.concat(values) if values else pd.DataFrame()


def body(part: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return ``measured`` of all pieces of a half."""
    names = [path.relative_to(CORPUS).as_posix() for path in pieces()]
    with Pool() as pool:
        found = pool.map(measured, [name for name in names if half(name) == part], chunksize=1)
    lengths, values = (pd.concat(each, ignore_index=True) for each in zip(*found, strict=True))
    return lengths, values


def table(lengths: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """Return how far well-made music goes, a row for each kind, unit, group and value."""
    rows: list[tuple[object, ...]] = []
    sizes = lengths.groupby("group")["length"].sum()
    for kind, every in values.groupby("kind"):
        every = every.groupby(["piece", "at", "group"])["ratio"].max().reset_index()
        beyond = float((every["ratio"] - 1).mean()) if len(every) >= FEW else 0.5
        units = values[values["kind"] == kind].groupby("unit")["limit"].first()
        for group, size in sizes.items():
            own = every[every["group"] == group]
            points = fitted(own["ratio"].to_numpy(), size, beyond)
            rows += [
                (kind, unit, group, int(size), ratio * limit, one_in)
                for unit, limit in units.items()
                for ratio, one_in in points
            ]
    made = pd.DataFrame(rows, columns=COLUMNS)
    return made.assign(value=made["value"].round(4), one_in=made["one_in"].round(2))


def fitted(ratios: Array, passages: float, beyond: float) -> list[tuple[float, float]]:
    """Return values in ascending order, each with in how many passages one goes so far.

    Parameters
    ----------
    ratios : array
        Values over the limit, of the passages that reach it.
    passages : float
        How many there are in all.
    beyond : float
        How far passages go beyond the limit on average, where these are few.
    """
    ratios = -np.sort(-ratios)
    count = len(ratios)
    points = (
        {1.0: max(passages / count, 1.0)} if count >= FEW else {1.0: passages / (count + UNSEEN)}
    )
    if count >= FEW:
        for one_in in ONE_IN:
            place = int(np.ceil(passages / one_in))
            if FEW <= place < count:
                points[float(ratios[place - 1])] = one_in
        tail = ratios[ratios > max(points)]
        if len(tail) >= FEW:
            beyond = float((tail - max(points)).mean())
    last, often = max(points), points[max(points)]
    return [*sorted(points.items()), (last + beyond * np.log(TAIL), often * TAIL)]


def checked(made: pd.DataFrame, lengths: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """Return how many passages go over some severities, all kinds together, and how many should.

    Returns
    -------
    DataFrame
        A row a severity: ``found``, and ``said``, by the table that is given. Where the limit alone
        is rarer than a severity says, it is said to be as rare as the limit.
    """
    said, found = np.zeros((2, len(LEVELS)))
    curves = rarity.curves_of(made.to_dict("records"))
    wanted = -rarity.SLOW * np.log1p(-np.array(LEVELS))
    size = lengths.groupby("group")["length"].sum()
    values = values[[key in curves for key in _keys(values)]]
    reached = [
        float(curves[key].at(value))
        for key, value in zip(_keys(values), values["value"], strict=True)
    ]
    values = values.assign(reached=reached)
    most = values.groupby(["kind", "piece", "at"])["reached"].max().to_numpy()
    found = (most[:, None] > wanted).sum(axis=0)
    for (_, group), rows in made.groupby(["kind", "ensemble"]):
        said += size.get(group, 0.0) * np.exp(-np.maximum(wanted, np.log(rows["one_in"].min())))
    return pd.DataFrame({"severity": LEVELS, "found": found, "said": said})


def _keys(values: pd.DataFrame) -> list[tuple[str, str, str]]:
    return list(values[["kind", "unit", "group"]].itertuples(index=False, name=None))


def held_out(lengths: pd.DataFrame, values: pd.DataFrame) -> pd.DataFrame:
    """Return ``checked`` of each third of the pieces, by the table made of the others, summed."""
    found = []
    for fold in range(FOLDS):
        inside, own = (
            np.array([number(f"{name}, fold") % FOLDS == fold for name in frame["piece"]])
            for frame in (lengths, values)
        )
        found.append(checked(table(lengths[~inside], values[~own]), lengths[inside], values[own]))
    return pd.concat(found).groupby("severity").sum().reset_index()


def main(arguments: Sequence[str] | None = None) -> None:
    """Write the table, or print a check."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--check", choices=("held-out", "reported"))
    asked = parser.parse_args(arguments)
    lengths, values = body("reported" if asked.check == "reported" else "tuning")
    print(f"{lengths['piece'].nunique()} pieces, {lengths['length'].sum():.0f} passages")
    if not asked.check:
        table(lengths, values).to_csv(rarity.FILE, index=False)
        return
    found = (
        held_out(lengths, values)
        if asked.check == "held-out"
        else checked(pd.read_csv(rarity.FILE), lengths, values)
    )
    print(found.assign(ratio=found["found"] / found["said"]).round(2).to_string(index=False))


if __name__ == "__main__":
    main()
