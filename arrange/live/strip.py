"""What each part plays, bar by bar: chords on top, for each part shapes, tablature or note names.

A bar of a part on strings is drawn as the shapes that the hand holds where it only strikes chords,
else as tablature, each fret at its count; counts stand below. Parts without strings have the names
of their highest notes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd

from arrange.explaining.held_shapes import Held, held_shapes, placed_notes, struck_of
from arrange.explaining.tab_counts import attack_counts, fitted_counts
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.necks import Array, Neck
from arrange.live.bar_scale import INSIDE, LEFT, MOST_BAR, BarScale, bar_scale
from arrange.live.shape_picture import SHAPE_WIDTH, draw_shapes
from arrange.live.svg import text
from arrange.tables.song import Song, part_row
from arrange.tables.sounding import sounding_notes
from arrange.text.markup import escape_html

GAP = 11.0  # between strings
NAME, COUNTS = 20.0, 17.0  # above and below the strings
_NOTES = 44.0  # height of a row of note names
_SIGN, _BETWEEN = 7.6, 3.0  # width of a fret or count, and the least between two
_LETTER = 8.6
_COUNT_SIZE = 13.0
_STRUMMED = 3  # strings of a chord
_NEAR = 1e-6


class Drawn(NamedTuple):
    """The notes of a row in order of time, whole columns; string and fret 0 without a neck."""

    measure: Array
    onset: Array
    string: Array
    fret: Array
    is_muted: Array
    counts: Array

    def at(self, rows: Array) -> Drawn:
        """Return some of the notes."""
        return Drawn(*(column[rows] for column in self))


@dataclass(frozen=True, eq=False)
class Row:
    """One part in the strip.

    Parameters
    ----------
    part : str
    neck : Neck or None
        None for a part without strings.
    frets_from : str
    notes : Drawn
    held : tuple of Held
        The shapes one after the other.
    shaped : frozenset of int
        The bars that are drawn as shapes.
    is_unpitched : bool
        Whether it sounds without any pitch, as drums do.
    names : tuple of str
        Without a neck the notes' names, as the key spells them.
    """

    part: str
    neck: Neck | None
    frets_from: str
    notes: Drawn
    held: tuple[Held, ...] = ()
    shaped: frozenset[int] = frozenset()
    is_unpitched: bool = False
    names: tuple[str, ...] = ()

    @property
    def height(self) -> float:
        """Of the row."""
        inside = _NOTES if self.neck is None else GAP * max(self.neck.strings - 1, 3)
        return NAME + inside + COUNTS

    def attacks(self) -> Array:
        """The first note of each attack."""
        return np.flatnonzero(np.diff(self.notes.onset, prepend=-np.inf) > _NEAR)


def strip_row(song: Song, part: str, notes: pd.DataFrame, neck: Neck | None) -> Row:
    """Return what is drawn of a part.

    Parameters
    ----------
    song : Song
    part : str
    notes : DataFrame
        Of the bars that are shown; on strings as ``finger_part`` gives them.
    neck : Neck or None
    """
    frets_from = str(part_row(song, part)["frets_from"])
    if neck is None:
        own = sounding_notes(notes)
        own = own.sort_values(["onset", "pitch"]).drop_duplicates("onset", keep="last")
        return Row(
            part, None, frets_from, _columns(song, own),
            is_unpitched=bool(notes["pitch"].isna().any()),
            names=tuple(map(song.note_name, own["pitch"].tolist(), own["onset"].tolist())),
        )  # fmt: skip
    own = placed_notes(notes)
    drawn = _columns(song, own)
    held = tuple(held_shapes(struck_of(own), song)) if len(own) else ()
    return Row(part, neck, frets_from, drawn, held, frozenset(_strummed_bars(drawn, held)))


def _columns(song: Song, notes: pd.DataFrame) -> Drawn:
    whole = (
        notes[name].to_numpy(dtype=np.int64, na_value=0) for name in ("measure", "string", "fret")
    )
    measure, string, fret = whole
    onset = notes["onset"].to_numpy(dtype=np.float64)
    is_muted = notes["technique"].str.contains("muted", na=False).to_numpy(dtype=bool)
    return Drawn(measure, onset, string, fret, is_muted, attack_counts(song, notes))


def _strummed_bars(notes: Drawn, held: Sequence[Held]) -> Iterator[int]:
    """The bars in which nothing but chords is struck, and at least one is held, but no more than
    there is room for.
    """
    sizes: dict[int, dict[float, int]] = {}
    for bar, onset in zip(notes.measure.tolist(), notes.onset.tolist(), strict=True):
        own = sizes.setdefault(bar, {})
        own[onset] = own.get(onset, 0) + 1
    strings: dict[int, int] = {}
    for each in held:
        for bar in each.bars:
            strings[bar] = min(len(each.strings), strings.get(bar, len(each.strings)))
    shapes = Counter(bar for each in held for bar in {*each.bars})
    for bar, least in strings.items():
        is_strummed = min([least, *sizes.get(bar, {}).values()]) >= _STRUMMED
        if is_strummed and shapes[bar] * SHAPE_WIDTH <= MOST_BAR:
            yield bar


def strip_scale(song: Song, bars: tuple[int, int], rows: Sequence[Row]) -> BarScale:
    """Return the scale on which all rows and the chords can be read."""
    needed = max([
        _chord_room(chords_in(song, bars)), *(_room(song, row) for row in rows),
    ])  # fmt: skip
    return bar_scale(song, bars, needed)


def _room(song: Song, row: Row) -> float:
    """How wide a bar must be so that shapes, frets and counts stand beside each other."""
    most = max((sum(bar in each.bars for each in row.held) for bar in row.shaped), default=0)
    notes, first = row.notes, row.attacks()
    if len(first) < 2:
        return SHAPE_WIDTH * most
    letters = np.array([len(each) for each in notes.counts])
    if row.neck is not None:
        is_shaped = np.isin(notes.measure, list(row.shaped))
        letters = np.maximum(letters, np.where(is_shaped, 0, 1 + (notes.fret > 9)))
    wide = np.maximum.reduceat(letters, first)
    bar, onset = notes.measure[first], notes.onset[first]
    length = song.measures["duration"].to_numpy(dtype=np.float64)[bar[:-1] - 1]
    needed = ((wide[:-1] + wide[1:]) / 2 * _SIGN + _BETWEEN) * length / np.diff(onset)
    return max(SHAPE_WIDTH * most, float(needed[np.diff(bar) == 0].max(initial=0)) + INSIDE)


def chords_in(song: Song, bars: tuple[int, int]) -> pd.DataFrame:
    """Return the chords that hold in these bars, in order, with ``measure`` and ``is_begun``: begun
    earlier and holding on.
    """
    rows = song.measures.iloc[bars[0] - 1 : bars[1]]
    begin, end = rows["onset"].iloc[0], rows["onset"].iloc[-1] + rows["duration"].iloc[-1]
    chords = song.chords
    ends = chords["onset"] + chords["duration"]
    own = chords[(ends > begin + _NEAR) & (chords["onset"] < end - _NEAR)]
    is_begun = own["onset"].to_numpy() < begin - _NEAR
    onset = own["onset"].clip(lower=float(begin))
    measure = own["measure"].astype("int64").clip(lower=bars[0])
    return own.assign(onset=onset, measure=measure, is_begun=is_begun)


def _chord_words(chords: pd.DataFrame) -> list[str]:
    pairs = zip(chords["symbol"], chords["is_begun"], strict=True)
    return [f"({symbol})" if is_begun else str(symbol) for symbol, is_begun in pairs]


def _chord_room(chords: pd.DataFrame) -> float:
    """How wide a bar must be for its chords."""
    wide = pd.Series([_LETTER * len(each) + 8 for each in _chord_words(chords)], dtype=float)
    return float(wide.groupby(chords["measure"].to_numpy()).sum().max()) if len(wide) else 0.0


def draw_chords(scale: BarScale, song: Song, top: float) -> Iterator[str]:
    """Yield the chords in a line, each where it begins."""
    chords = chords_in(song, (scale.first, scale.last))
    yield text(0, top, "Chord", "axis")
    if chords.empty:
        yield text(LEFT + 4, top, "no chord symbols", "axis")
    at = scale.x(chords["measure"].to_numpy(), chords["onset"].to_numpy()) - 8
    right = -np.inf
    for x, words in zip(at.tolist(), _chord_words(chords), strict=True):
        left = max(x, right)
        yield text(left, top, words, "chord")
        right = left + _LETTER * len(words) + 4


def draw_row(scale: BarScale, row: Row, top: float) -> Iterator[str]:
    """Yield a part's row, below the line of its name."""
    strings = 4 if row.neck is None else row.neck.strings
    first = top + NAME
    bottom = first + row.height - NAME - COUNTS
    yield f'<path class="grid" d="{_bar_lines(scale, first, bottom)}"/>'
    if not len(row.notes.onset):
        words = "sounds without pitch" if row.is_unpitched else "rests here"
        yield text(scale.left(scale.first) + 8, (first + bottom) / 2 + 5, words, "axis")
        return
    if row.neck is None:
        yield from _note_names(scale, row, first)
    else:
        lines = [
            f"M{scale.left(bar):.1f} {first + GAP * n:.1f}h{scale.bar:.1f}"
            for bar in scale.bars
            if bar not in row.shaped
            for n in range(strings)
        ]
        yield f'<path class="neck" d="{"".join(lines)}"/>'
        yield from _frets(scale, row, first, row.neck)
        yield from draw_shapes(scale, row.held, row.shaped, first, (row.neck, row.frets_from))
    yield from _counts(scale, row, bottom + 15)


def _bar_lines(scale: BarScale, top: float, bottom: float) -> str:
    at = [*(scale.left(bar) for bar in scale.bars), scale.right]
    return "".join(f"M{x:.1f} {top:.1f}V{bottom:.1f}" for x in at)


def _frets(scale: BarScale, row: Row, top: float, neck: Neck) -> Iterator[str]:
    """The frets of all bars of tablature, a text for each string."""
    notes = row.notes.at(~np.isin(row.notes.measure, list(row.shaped)))
    x = scale.x(notes.measure, notes.onset)
    shown = shown_fret(notes.fret, neck.capo, row.frets_from).astype(str)
    shown = np.where(notes.is_muted, "x", shown)
    for number in range(1, neck.strings + 1):
        here = notes.string == number
        if here.any():
            y = top + GAP * (number - 1) + 4.4
            yield _letters(x[here].tolist(), shown[here].tolist(), y, "tab", 3.5)


def _letters(at: Sequence[float], words: Sequence[str], y: float, kind: str, half: float) -> str:
    """Short words, each with its middle at x, as one element."""
    places, shown = [], ""
    for x, word in zip(at, words, strict=True):
        shown += word
        middle = (len(word) - 1) * half
        places += [f"{x - middle + 2 * half * n:.1f}" for n in range(len(word))]
    return f'<text class="{kind}" y="{y:.1f}" x="{" ".join(places)}">{escape_html(shown)}</text>'


def _counts(scale: BarScale, row: Row, y: float) -> Iterator[str]:
    """The counts of all attacks below the strings."""
    first = row.notes.at(row.attacks())
    notes = first.at(first.counts != "")
    words = notes.counts.tolist()
    if words:
        x = scale.x(notes.measure, notes.onset).tolist()
        fits = fitted_counts([*zip(x, words, strict=True)], _COUNT_SIZE)
        yield _letters(x, words, y, "count", 3.8 * min(fits))


def _note_names(scale: BarScale, row: Row, top: float) -> Iterator[str]:
    """The highest note of each attack, on as many lines as are needed."""
    x = scale.x(row.notes.measure, row.notes.onset)
    ends = [-np.inf] * 3
    for at, name in zip(x.tolist(), row.names, strict=True):
        line = next((n for n, end in enumerate(ends) if end <= at), None)
        if line is not None:
            ends[line] = at + _LETTER * len(name) + 3
            yield text(at - 6, top + 12 + 15 * line, name, "note")


def row_words(row: Row) -> dict[int, str]:
    """Return what a part plays in its bars, in words: each count with what is struck then."""
    notes, said = row.notes, dict[int, list[str]]()
    capo = row.neck.capo if row.neck else 0
    fret = shown_fret(notes.fret, capo, row.frets_from).tolist()
    starts = {*row.attacks().tolist()}
    columns = zip(notes.measure.tolist(), notes.string.tolist(), fret, notes.counts.tolist(),
                  strict=True)  # fmt: skip
    for at, (bar, string, number, count) in enumerate(columns):
        name = f"string {string} fret {number}" if row.neck else row.names[at]
        own = said.setdefault(bar, [])
        if at in starts:
            own.append(f"{count} {name}" if count else name)
        else:
            own[-1] += f" {name}"
    words = {bar: ", ".join(own) for bar, own in said.items()}
    for each in row.held:
        for bar in each.bars:
            words.setdefault(bar, "rings on")
    return words
