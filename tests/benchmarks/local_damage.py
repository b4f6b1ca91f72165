"""Test whether the first rows of the findings point at four damaged bars of one part.

Run it by hand: ``python tests/benchmarks/local_damage.py [--half reported] [--pieces 40]``
(minutes). It prints a row a damage: the share of the damaged copies (twins) whose first row, or one
of whose first three rows, points at the damage, and the same shares of the undamaged passage, which
are what chance would do; then the rows a minute on the undamaged passages with a severity over one
half, by kind: false alarms. What a piece does throughout is none.

Pieces, halves and seeds are those of ``damage.py``, which has the rules; pieces of two parts are
taken too. A passage has at most 96 quarter notes from the middle of a piece; shorter than 64, four
bars would be much of it and there would be little to compare them with, so that such pieces are
left out. Rules are made on the half called tuning; the other half is for reporting.

Rows are those that a user sees: ``group_findings``, in its order. A row points at the damage if the
damaged part is among its parts and at least half of the time of its finding, the one that the row
shows, lies in the damaged bars.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from multiprocessing import Pool
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parent.parent))
from benchmarks.damage import (
    CORPUS,
    MOST,
    OCTAVE,
    PHRASE,
    Rng,
    alarms_a_minute,
    by_height,
    delayed,
    half,
    minutes,
    moved,
    number,
    passage,
    phrase,
    pieces,
)

import arrange as ar
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.part_lists import split_parts

LONGEST, SHORTEST = 96.0, 64.0  # quarter notes of a passage
FEWEST = 2  # parts
LOW = 48  # C3: major thirds turn muddy below Bb2, minor ones below C3 (low interval limits)
FIRST = 3  # rows
CLEAR = 0.5  # severity above which a row on the undamaged is a false alarm
TRIADS = [((root + np.array(shape)) % 12) for root in range(12) for shape in ((0, 4, 7), (0, 3, 7))]

Span = tuple[float, float]


class Twin(NamedTuple):
    """A damaged passage: the song, the part that was damaged, and where."""

    song: Song
    part: str
    span: Span


def some_phrase(song: Song, rng: Rng, parts: Sequence[str]) -> tuple[str, Span] | None:
    """Return a part and four bars in which it plays half of the time, or None."""
    part = str(rng.choice(list(parts)))
    span = phrase(song, [part], PHRASE, rng)
    return (part, span) if span else None


def in_span(song: Song, part: str, span: Span) -> Array:
    """Return which notes are a part's and begin in a stretch."""
    notes = song.notes
    inside = notes["onset"].between(*span, inclusive="left")
    return ((notes["part"] == part) & inside).to_numpy()


def with_pitches(song: Song, which: Array, pitches: Array) -> Song:
    """Return the song with other pitches for some of its notes."""
    pitch = song.notes["pitch"].to_numpy(copy=True)
    pitch[which] = pitches
    return replace(song, notes=song.notes.assign(pitch=pitch))


def semitone_off(song: Song, part: str, span: Span, rng: Rng) -> Song:
    """Move the part a semitone up or down."""
    return moved(song, part, float(rng.choice([-1, 1])), span)


def octave_up(song: Song, part: str, span: Span, _: Rng) -> Song:
    """Move the part an octave up."""
    return moved(song, part, OCTAVE, span)


def octave_down(song: Song, part: str, span: Span, _: Rng) -> Song:
    """Move the part an octave down."""
    return moved(song, part, -OCTAVE, span)


def late(song: Song, part: str, span: Span, _: Rng) -> Song:
    """Make the part a sixteenth late."""
    return delayed(song, part, span)


def foreign_chord(song: Song, part: str, span: Span, _: Rng) -> Song:
    """Let the part play another triad: of all major and minor ones, that which has the least time
    in common with what all parts sound there. Each note goes to its nearest tone.
    """
    notes = song.notes
    inside = notes[notes["onset"].between(*span, inclusive="left")]
    time = np.bincount(inside["pitch"].astype(int) % 12, inside["duration"], minlength=12)
    return to_nearest(song, part, span, min(TRIADS, key=lambda tones: time[tones].sum()))


def to_nearest(song: Song, part: str, span: Span, chord: Array) -> Song:
    """Return the song with a part's notes in a stretch moved to the nearest tones of a chord."""
    which = in_span(song, part, span)
    pitch = song.notes["pitch"].to_numpy()[which]
    steps = (chord - pitch[:, None] + 6) % 12 - 6
    nearest = np.abs(steps).argmin(axis=1)
    return with_pitches(song, which, pitch + steps[np.arange(len(pitch)), nearest])


def low_thirds(song: Song, part: str, span: Span, _: Rng) -> Song:
    """Double the part in thirds above, those that the passage's notes have more of; where it lies
    above C3 on average, both go down by octaves first.
    """
    which = in_span(song, part, span)
    pitch = song.notes["pitch"].to_numpy()
    down = OCTAVE * max(0, np.ceil((pitch[which].mean() - LOW) / OCTAVE))
    pitched = song.notes[song.notes["pitch"].notna()]
    time = np.bincount(pitched["pitch"].astype(int) % 12, pitched["duration"], minlength=12)
    low = pitch[which] - down
    minor, major = (time[(low + size).astype(int) % 12] for size in (3, 4))
    song = with_pitches(song, which, low)
    thirds = song.notes[which].assign(pitch=low + np.where(minor > major, 3, 4))
    both = pd.concat([song.notes, thirds], ignore_index=True)
    return replace(song, notes=both.sort_values(["onset", "part", "pitch"], ignore_index=True))


def on_the_tune(song: Song, part: str, span: Span, _: Rng) -> Song | None:
    """Move each note by the octaves that bring it nearest to the tune, the highest part, at its
    onset. None where fewer than half of the notes move.
    """
    notes = song.notes
    which = in_span(song, part, span)
    tune = notes[notes["part"] == by_height(song)[0]].sort_values("onset")
    at = np.searchsorted(tune["onset"], notes["onset"][which], side="right") - 1
    pitch = notes["pitch"].to_numpy()[which]
    octaves = np.rint((tune["pitch"].to_numpy()[np.maximum(at, 0)] - pitch) / OCTAVE)
    if np.count_nonzero(octaves) < len(pitch) / 2:
        return None
    return with_pitches(song, which, pitch + OCTAVE * octaves)


DAMAGES: dict[str, Callable[[Song, str, Span, Rng], Song | None]] = {
    "a semitone off": semitone_off,
    "an octave up": octave_up,
    "an octave down": octave_down,
    "a sixteenth late": late,
    "a foreign chord": foreign_chord,
    "thirds low down": low_thirds,
    "on the tune": on_the_tune,
}


def twin(song: Song, damage: str, name: str) -> Twin | None:
    """Return the passage with four bars of a part damaged, always the same for a name; None if it
    cannot be done.
    """
    rng = np.random.default_rng(number(f"{name}, {damage}, four bars"))
    parts = by_height(song)
    parts = {"thirds low down": parts[-1:], "on the tune": parts[1:]}.get(damage, parts)
    place = some_phrase(song, rng, parts)
    worse = place and DAMAGES[damage](song, *place, rng)
    return Twin(worse, *place) if place and worse else None


def points_at(rows: pd.DataFrame, part: str, span: Span) -> Array:
    """Return which rows name the part and lie, with half of their time or more, in the bars."""
    onset = rows["onset"].to_numpy()
    end = onset + rows["duration"].to_numpy()
    inside = np.minimum(end, span[1]) - np.maximum(onset, span[0])
    named = np.array([part in split_parts(each) for each in rows["parts"]], dtype=bool)
    return named & (inside >= (end - onset) / 2) & (onset < span[1]) & (end > span[0])


def rows_of(song: Song) -> pd.DataFrame:
    """Return the rows of the findings as a user sees them."""
    return ar.group_findings(ar.find_clashes(song), song)


def passages(files: Sequence[Path], part: str, most: int | None) -> Iterator[tuple[str, Song]]:
    """Return name and passage of each piece of a half that is long enough, at most so many."""
    names = [path.relative_to(CORPUS).as_posix() for path in files]
    own = sorted((name for name in names if half(name) == part), key=number)
    count = 0
    for name in own:
        if most and count >= most:
            return
        song = passage(ar.read(CORPUS / name), LONGEST)
        ends = song.notes["onset"] + song.notes["duration"]
        if not FEWEST <= song.notes["part"].nunique() <= MOST:
            continue
        if ends.max() - song.notes["onset"].min() < SHORTEST:
            continue
        count += 1
        print(f"\r{count} pieces", end="", file=sys.stderr, flush=True)
        yield name, song
    print(file=sys.stderr)


def judged(piece: tuple[str, Song]) -> tuple[list[dict[str, object]], dict[str, object]]:
    """Return how the first rows do on each twin of a passage, and its clear rows as it is."""
    name, song = piece
    before = rows_of(song)
    rows: list[dict[str, object]] = []
    for damage in DAMAGES:
        worse = twin(song, damage, name)
        if worse is None:
            continue
        after = rows_of(worse.song)
        row: dict[str, object] = {"damage": damage, "piece": name}
        for label, table in (("", after), ("chance ", before)):
            points = points_at(table.head(FIRST), worse.part, worse.span)
            row |= {f"{label}first": bool(points[:1].any()), f"{label}three": bool(points.any())}
        rows.append(row)
    clear = before[(before["severity"] > CLEAR) & ~before["trait"]]
    about = {"piece": name, "half": half(name), "composer": name.split("/")[0]}
    return rows, about | {"minutes": minutes(song)} | clear["kind"].value_counts().to_dict()


def main() -> None:
    """Print the tables."""
    warnings.simplefilter("ignore")
    parser = argparse.ArgumentParser(description=__doc__, add_help=True)
    parser.add_argument("--half", choices=("tuning", "reported"), default="tuning")
    parser.add_argument("--pieces", type=int, help="at most so many pieces")
    asked = parser.parse_args()
    rows, alarms = [], []
    with Pool() as pool:
        for own, about in pool.imap(judged, passages(pieces(), asked.half, asked.pieces)):
            rows += own
            alarms.append(about)
    table = pd.DataFrame(rows)
    shares = table.drop(columns="piece").groupby("damage", sort=False).mean()
    shares.insert(0, "twins", table["damage"].value_counts())
    print(f"{asked.half}: {len(alarms)} pieces\n{shares.round(2).to_string()}")
    rates = alarms_a_minute(pd.DataFrame(alarms).fillna(0)).set_index("composer")
    rates["in all"] = rates.drop(columns=["pieces", "minutes"]).sum(axis=1)
    print(f"\nrows a minute on the undamaged, severity over {CLEAR}")
    print(rates.round(2).to_string())


if __name__ == "__main__":
    main()
