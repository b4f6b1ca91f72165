"""Test whether findings notice damage: compare well-made music with damaged copies (twins) of it.

Run it by hand: ``python tests/benchmarks/damage.py [FOLDER]`` (some minutes). It prints three
tables and, where a folder is named, keeps them there as CSV.

The pieces are scores of music21's installed corpus, chosen by a rule and not by the result: all
MusicXML files except the fourteenth-century songs, whose parts cross by style, the teaching
examples and an older copy. Bach's chorales outnumber all other pieces, so that only every second
one by name is taken. Of all these, the pieces with three to six parts with notes are used. One
passage of at most 64 quarter notes from the middle represents each piece, so that a phrase has the
same weight in a chorale and in a quartet. Each passage gets one twin for each damage, with a seed
made from the file's name. Half of the pieces, also chosen by name, may be looked at while rules are
made ("tuning"); the results are those of the other half ("reported"). Files without a tempo are
read at 120 quarter notes a minute.

The score of a kind is the sum of the severities of its findings a minute; the total is the sum over
all kinds. Each damage should be noticed by its matching kinds: what the damaged notes do to the
others', and, where a phrase is damaged, that the part leaves there its register or the others'
harmony. (Crowding is of whole sections; a phrase is too little of one to tell by.)

The area under the ROC curve is the chance that a twin scores higher than an original, ties counting
half: any twin against any original, or, in the paired version, each twin against its own original.
Beside it stand the area where only the worst finding of the matching kinds counts, and the areas of
two naive rules: how far the ranges of the parts overlap, and how many pairs of notes a minute make
a minor second, a minor ninth or a compound of it.

References
----------
J. A. Hanley and B. J. McNeil (1982), Radiology 143: the area is Mann and Whitney's U over n m.
B. Efron and R. J. Tibshirani (1993), An Introduction to the Bootstrap: the percentile interval,
here of whole pieces, since a twin and its original depend on each other. Both from memory.
"""

from __future__ import annotations

import hashlib
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import music21
import numpy as np
import pandas as pd

import arrange as ar
from arrange.quantities.register import register_overlap
from arrange.tables.song import Song
from arrange.tables.sounding import sounding_notes, together

CORPUS = Path(music21.__file__).parent / "corpus"
LEFT_OUT = ("trecento", "theoryExercises", "demos", "leadSheet")
# Quarter notes. A phrase is four bars of common time, as most are (common practice).
PASSAGE, PHRASE, HALF_PHRASE, SIXTEENTH = 64.0, 16.0, 8.0, 0.25
OCTAVE = 12.0  # semitones
FEWEST, MOST = 3, 6  # parts
RESAMPLES = 2000
NAIVE = ("range overlap", "semitone pairs")

Array = np.ndarray[Any, Any]
Rng = np.random.Generator


def pieces() -> list[Path]:
    """Return the files to choose from, in order of their names."""
    files = sorted(
        path
        for path in CORPUS.rglob("*")
        if path.suffix in (".mxl", ".xml", ".musicxml")
        and path.relative_to(CORPUS).parts[0] not in LEFT_OUT
        and not path.stem.endswith("_old")
    )
    chorales = [path for path in files if path.parent.name == "bach"]
    return [path for path in files if path not in chorales[1::2]]


def number(name: str) -> int:
    """Return a number that is always the same for a name."""
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8])


def half(name: str) -> str:
    """Return the half of the pieces ("tuning" or "reported") that one belongs to."""
    return "reported" if number(name) % 2 else "tuning"


def passage(song: Song, length: float = PASSAGE) -> Song:
    """Return the notes that begin in so many quarter notes nearest to the middle, from a bar line.

    The tables of bars and sections stay; notes are cut at the passage's end. Chord symbols are left
    out: the few that there are come from an editor, and some hold for dozens of bars.
    """
    lines = song.measures["onset"].to_numpy()
    start = lines[np.abs(lines - max(0, (song.duration - length) / 2)).argmin()]
    end = start + length
    notes = sounding_notes(song.notes)
    notes = notes[notes["onset"].between(start, end, inclusive="left")]
    duration = np.minimum(notes["duration"], end - notes["onset"])
    notes = notes.assign(duration=duration).reset_index(drop=True)
    return replace(song, notes=notes, chords=song.chords.iloc[:0])


def by_height(song: Song) -> list[str]:
    """Return the parts with notes, the highest on average first."""
    mean = song.notes.groupby("part")["pitch"].mean()
    return mean.sort_values(ascending=False).index.tolist()


def phrase(song: Song, parts: Sequence[str], length: float, rng: Rng) -> tuple[float, float] | None:
    """Return a stretch from a bar line in which all these parts play half of the time, or None."""
    notes = song.notes
    lines = song.measures["onset"].to_numpy()
    plays = np.full(len(lines), True)
    for part in parts:
        own = notes[notes["part"] == part]
        onset = own["onset"].to_numpy()
        end = onset + own["duration"].to_numpy()
        clipped = np.minimum(end, lines[:, None] + length) - np.maximum(onset, lines[:, None])
        plays &= np.clip(clipped, 0, None).sum(axis=1) >= length / 2
    starts = lines[plays]
    if not len(starts):
        return None
    start = float(rng.choice(starts))
    return start, start + length


def moved(song: Song, part: str, semitones: float, span: tuple[float, float] | None = None) -> Song:
    """Return the song with a part's notes moved up: those that begin in a stretch, or all."""
    notes = song.notes
    which = notes["part"] == part
    if span:
        which &= notes["onset"].between(*span, inclusive="left")
    return replace(song, notes=notes.assign(pitch=notes["pitch"] + semitones * which))


def inner_octave(song: Song, rng: Rng) -> Song:
    """Move one inner part an octave up or down, whichever brings it nearer to another part."""
    inner, step = _inner(song, rng)
    return moved(song, inner, step)


def inner_octave_phrase(song: Song, rng: Rng) -> Song | None:
    """Do the same for one phrase only."""
    inner, step = _inner(song, rng)
    span = phrase(song, [inner], PHRASE, rng)
    return span and moved(song, inner, step, span)


def _inner(song: Song, rng: Rng) -> tuple[str, float]:
    mean = song.notes.groupby("part")["pitch"].mean()
    inner = str(rng.choice(by_height(song)[1:-1]))
    others = mean.drop(inner).to_numpy()
    distances = {step: np.abs(others - mean[inner] - step).min() for step in (-OCTAVE, OCTAVE)}
    return inner, min(distances, key=distances.__getitem__)


def semitone_off(song: Song, rng: Rng, length: float = PHRASE) -> Song | None:
    """Move one part a semitone up or down for a phrase."""
    part = str(rng.choice(by_height(song)))
    span = phrase(song, [part], length, rng)
    return span and moved(song, part, float(rng.choice([-1, 1])), span)


def semitone_off_briefly(song: Song, rng: Rng) -> Song | None:
    """Do the same for half a phrase."""
    return semitone_off(song, rng, HALF_PHRASE)


def late(song: Song, rng: Rng) -> Song:
    """Make one part a sixteenth late throughout."""
    return delayed(song, str(rng.choice(by_height(song))))


def delayed(song: Song, part: str, span: tuple[float, float] | None = None) -> Song:
    """Return the song with a part's notes a sixteenth late: those that begin in a stretch, or
    all.
    """
    notes = song.notes
    which = notes["part"] == part
    if span:
        which &= notes["onset"].between(*span, inclusive="left")
    onset = notes["onset"] + SIXTEENTH * which
    row = np.searchsorted(song.measures["onset"], onset, side="right") - 1
    bars = song.measures.iloc[row]
    places = {name: bars[name].array for name in ("measure", "section")}
    return replace(song, notes=notes.assign(onset=onset, **places))


def into_the_mud(song: Song, rng: Rng) -> Song | None:
    """Move all parts but the top one an octave down for a phrase."""
    parts = by_height(song)[1:]
    span = phrase(song, parts, PHRASE, rng)
    if not span:
        return None
    for part in parts:
        song = moved(song, part, -OCTAVE, span)
    return song


def swapped(song: Song, rng: Rng) -> Song | None:
    """Swap two neighbours for a phrase: the upper an octave down, the lower an octave up."""
    parts = by_height(song)
    upper = int(rng.integers(len(parts) - 1))
    pair = parts[upper : upper + 2]
    span = phrase(song, pair, PHRASE, rng)
    return span and moved(moved(song, pair[0], -OCTAVE, span), pair[1], OCTAVE, span)


@dataclass(frozen=True)
class Damage:
    """A way to make a song worse, and the kinds of finding that should notice it."""

    make: Callable[[Song, Rng], Song | None]
    kinds: tuple[str, ...]


FOREIGN = ("rub", "roughness", "outside", "scale")
DAMAGES = {
    "inner part an octave off": Damage(inner_octave, ("crowding", "crossing")),
    "inner part, for a phrase": Damage(inner_octave_phrase, ("crossing", "register")),
    "a semitone off for a phrase": Damage(semitone_off, FOREIGN),
    "a semitone off for half a phrase": Damage(semitone_off_briefly, FOREIGN),
    "a sixteenth late": Damage(late, ("near", "grid")),
    "into the mud for a phrase": Damage(into_the_mud, ("mud", "register")),
    "swapped for a phrase": Damage(swapped, ("crossing", "register")),
}


def twin(song: Song, damage: str, name: str) -> Song | None:
    """Return the passage with a damage, always the same for a name; None if it cannot be done."""
    return DAMAGES[damage].make(song, np.random.default_rng(number(f"{name}, {damage}")))


def minutes(song: Song) -> float:
    """Return the minutes from the first note to the end of the last one."""
    notes = song.notes
    end = (notes["onset"] + notes["duration"]).max()
    return float(song.seconds(end) - song.seconds(notes["onset"].min())) / 60


def scores(song: Song, findings: pd.DataFrame) -> dict[str, float]:
    """Return each kind's severity a minute and worst finding, and the values of the naive rules."""
    severity = findings.groupby("kind")["severity"]
    length = minutes(song)
    worst = severity.max().rename(lambda kind: f"worst {kind}")
    naive = range_overlap(song), semitone_pairs(song) / length
    rates = (severity.sum() / length).to_dict()
    return rates | worst.to_dict() | dict(zip(NAIVE, naive, strict=True))


def range_overlap(song: Song) -> float:
    """Return a naive rule's value: the Jaccard indices of ranges, summed over pairs of parts."""
    return float(register_overlap(song.notes)["share"].sum())


def semitone_pairs(song: Song) -> int:
    """Return a naive rule's value: the number of pairs of notes of two parts that sound together
    and make a minor second, a minor ninth or a compound of it.
    """
    notes = song.notes.sort_values("onset")
    onset, pitch = notes["onset"].to_numpy(), notes["pitch"].to_numpy()
    part = pd.factorize(notes["part"])[0]
    one, other = together(onset, onset + notes["duration"].to_numpy())
    close = np.mod(np.abs(pitch[one] - pitch[other]), 12) == 1
    return int(np.count_nonzero(close & (part[one] != part[other])))


def wins(worse: Array, better: Array) -> Array:
    """Return 1 where a twin (row) scores higher than an original (column), 1/2 where they tie."""
    return (worse[:, None] > better) + 0.5 * (worse[:, None] == better)


def area(won: Array, counts: Array | None = None) -> Any:
    """Return the area under the ROC curve, of any twin against any original.

    Parameters
    ----------
    won : array, twins x originals
    counts : array, resamples x pieces, optional
        How often each piece was drawn; the area of each resample.
    """
    counts = np.ones(len(won)) if counts is None else counts
    return ((counts @ won) * counts).sum(axis=-1) / counts.sum(axis=-1) ** 2


def paired_area(won: Array, counts: Array | None = None) -> Any:
    """Return the same area of each twin against its own original."""
    counts = np.ones(len(won)) if counts is None else counts
    return counts @ np.diagonal(won) / counts.sum(axis=-1)


def with_interval(measure: Callable[..., Any], won: Array) -> tuple[float, float, float]:
    """Return a measure of `won` and its 95 % interval, from seeded draws of whole pieces."""
    pieces = len(won)
    counts = np.random.default_rng(5).multinomial(pieces, np.full(pieces, 1 / pieces), RESAMPLES)
    low, high = np.quantile(measure(won, counts), (0.025, 0.975))
    return float(measure(won)), float(low), float(high)


def judged(tables: pd.DataFrame, damage: str) -> dict[str, Any]:
    """Return how well the findings notice one damage.

    Parameters
    ----------
    tables : DataFrame
        A row for each version of a piece, with ``piece``, ``version`` and its scores.
    damage : str

    Returns
    -------
    dict
        Areas with their intervals; ``kind rises`` and ``total rises``, the shares of the pieces.
    """
    by_piece = tables.set_index("piece")
    worse = by_piece[by_piece["version"] == damage]
    better = by_piece[by_piece["version"] == "original"].loc[worse.index]
    kinds = DAMAGES[damage].kinds
    match, total, worst, *naive = (
        [measure(frame).to_numpy() for frame in (worse, better)]
        for measure in (
            lambda frame: _columns(frame, kinds).sum(axis=1),
            lambda frame: frame[kinds_of(tables)].sum(axis=1),
            lambda frame: _columns(frame, [f"worst {kind}" for kind in kinds]).max(axis=1),
            *(lambda frame, rule=rule: frame[rule] for rule in NAIVE),
        )
    )
    won = wins(*match)
    row: dict[str, Any] = {"damage": damage, "kinds": " + ".join(kinds), "pieces": len(won)}
    for name, measure in (("area", area), ("paired", paired_area)):
        row |= zip((name, f"{name} low", f"{name} high"), with_interval(measure, won), strict=True)
    row["kind rises"] = (match[0] > match[1]).mean()
    row["total rises"] = (total[0] > total[1]).mean()
    row["worst finding"] = area(wins(*worst))
    return row | {rule: area(wins(*pair)) for rule, pair in zip(NAIVE, naive, strict=True)}


def _columns(frame: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    """Return some columns, with zeros for a kind that was never found."""
    return frame.reindex(columns=list(names), fill_value=0.0)


def kinds_of(tables: pd.DataFrame) -> list[str]:
    """Return the columns that hold a kind's severity a minute."""
    about = ("piece", "half", "version", *NAIVE)
    return [name for name in tables if name not in about and not name.startswith("worst ")]


def rising(tables: pd.DataFrame) -> pd.DataFrame:
    """Return the share of pieces in which each kind (column) rises after each damage (row)."""
    frame = tables.set_index(["version", "piece"])[kinds_of(tables)]
    original = frame.loc["original"]
    rows = {
        damage: (frame.loc[damage] > original.loc[frame.loc[damage].index]).mean()
        for damage in DAMAGES
    }
    return pd.DataFrame(rows).T.rename_axis("damage").reset_index()


def versions(files: Sequence[Path]) -> Iterator[tuple[str, str, Song]]:
    """Return the name, version and passage of each piece, as it is and after each damage."""
    for count, path in enumerate(files):
        name = path.relative_to(CORPUS).as_posix()
        print(f"\r{count + 1} of {len(files)} files", end="", file=sys.stderr, flush=True)
        song = passage(ar.read(path))
        if not FEWEST <= song.notes["part"].nunique() <= MOST:
            continue
        yield name, "original", song
        for damage in DAMAGES:
            worse = twin(song, damage, name)
            if worse:
                yield name, damage, worse
    print(file=sys.stderr)


def experiment(files: Sequence[Path]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the scores of all versions, and the findings of the originals.

    Returns
    -------
    tables : DataFrame
        A row for each version: ``piece``, ``half``, ``version``, and its ``scores``.
    alarms : DataFrame
        A row for each original: ``half``, ``composer``, ``minutes``, findings per kind.
    """
    rows, alarms = [], []
    for name, version, song in versions(files):
        findings = ar.find_clashes(song)
        about = {"piece": name, "half": half(name)}
        rows.append(about | {"version": version} | scores(song, findings))
        if version == "original":
            counts = findings["kind"].value_counts().to_dict()
            about |= {"composer": name.split("/")[0], "minutes": minutes(song)}
            alarms.append(about | counts)
    return pd.DataFrame(rows).fillna(0.0), pd.DataFrame(alarms).fillna(0)


def alarms_a_minute(alarms: pd.DataFrame) -> pd.DataFrame:
    """Return the findings a minute of each kind on the originals, by composer and in all."""
    counts = alarms.drop(columns=["piece", "half"]).assign(pieces=1)
    sums = counts.groupby("composer").sum()
    sums.loc["all"] = sums.sum()
    kinds = sums.columns.drop(["pieces", "minutes"])
    rates = sums[kinds].div(sums["minutes"], axis=0)
    return pd.concat([sums[["pieces", "minutes"]], rates], axis=1).reset_index()


def main() -> None:
    """Print the tables, and keep them where a folder is named."""
    warnings.simplefilter("ignore")
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    if folder:
        folder.mkdir(parents=True, exist_ok=True)  # refused now rather than after some minutes
    files = pieces()
    tables, alarms = experiment(files)
    print(f"{len(files)} files, {len(alarms)} with {FEWEST} to {MOST} parts, "
          f"{alarms['minutes'].sum():.0f} minutes of music")  # fmt: skip
    areas, rises, rates = [], [], []
    for part in ("tuning", "reported"):
        own = tables[tables["half"] == part]
        rows = pd.DataFrame([judged(own, damage) for damage in DAMAGES])
        cannot = own["piece"].nunique() - rows["pieces"]
        rows.insert(3, "cannot be done", cannot)
        areas.append(rows.assign(half=part))
        rises.append(rising(own).assign(half=part))
        rates.append(alarms_a_minute(alarms[alarms["half"] == part]).assign(half=part))
    kept = {"areas": areas, "rises": rises, "alarms-a-minute": rates}
    for name, frames in kept.items():
        frame = pd.concat(frames, ignore_index=True).fillna(0.0)
        print(f"\n{name}\n{frame.round(3).to_string(index=False)}")
        if folder:
            frame.round(4).to_csv(folder / f"{name}.csv", index=False)


if __name__ == "__main__":
    main()
