"""A part that may change in a stretch: its units, what each could be, what a choice makes of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.clashes.lines import ALMOST
from arrange.clashes.scene import Scene
from arrange.guitar.fingering import finger_part
from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Neck
from arrange.revoicing.candidates import Options, Pool, by_rank, make_options, voicing_pool
from arrange.revoicing.clash_costs import Around, own_seconds, pair_costs
from arrange.revoicing.taste import Taste
from arrange.revoicing.units import SILENT, Unit
from arrange.tables.columns import text_column
from arrange.tables.copies import in_copies, quick_song
from arrange.tables.setups import all_through
from arrange.tables.song import Song
from arrange.tables.sounding import Array

MOST_OPTIONS = 300  # of a unit; MOST_OF_TWO where two parts change
MOST_OF_TWO = 80
_MOST_GAPS = 1  # strings to mute within a strummed shape (ours)
_OCTAVE = 12
_SUNG = 0.5  # share of its time that is sung from which on a part does not lead (ours)
_NONE = np.empty(0, dtype=np.int64)
_UNKNOWN_GRIP = 60.0  # mm, of a written grip that no hand can hold as it stands

Keeps = Callable[["Mover", int, Pool, Array], Array]  # part, number of the unit, pool, its rows


@dataclass(frozen=True, eq=False)
class Mover:
    """A part that may change in a stretch, with the neck and the hand that play it.

    Parameters
    ----------
    scene : Scene
    part : str
    units : list of Unit
    neck : Neck
    hand : Hand
    taste : Taste
    top_fret : int
        The highest fret that a new voicing may use.
    without : tuple of str
        Other parts that change too: what they hold as written does not count.
    standing : Mover, optional
        The same part with another capo; what the other parts cost it is known already.
    """

    scene: Scene
    part: str
    units: list[Unit]
    neck: Neck
    hand: Hand
    taste: Taste
    top_fret: int
    without: tuple[str, ...] = ()
    standing: Mover | None = None

    @cached_property
    def rows(self) -> Array:
        """Positions of the free notes in the song's notes table."""
        free = [unit.rows for unit in self.units if unit.free]
        return np.concatenate(free) if free else np.empty(0, dtype=np.int64)

    @cached_property
    def written(self) -> list[tuple[float, int]]:
        """For each unit as written: where the hand is, mm (NaN: anywhere), and strings as bits."""
        if self.standing is not None:
            return self.standing.written
        at = self._fingers["position"].to_numpy(dtype=np.float64, na_value=np.nan)
        bits = [int(np.bitwise_or.reduce(1 << own[own > 0] - 1)) for own in self._string_of_each]
        return [
            (self._place(own[np.isfinite(own)]), bit)
            for own, bit in zip(np.split(at, self._ends), bits, strict=True)
        ]

    @cached_property
    def strings(self) -> list[Array]:
        """For each unit as written: the string of each rank, 0 where it is not known."""
        found = []
        for unit, own in zip(self.units, self._string_of_each, strict=True):
            known = ~unit.follows & (own > 0)
            of_rank = np.zeros(len(unit.written), dtype=np.int64)
            of_rank[unit.rank[known]] = own[known]
            found.append(of_rank)
        return found

    @property
    def _ends(self) -> Array:
        return np.cumsum([len(unit.rows) for unit in self.units])[:-1]

    @cached_property
    def _fingers(self) -> pd.DataFrame:
        rows = np.concatenate([unit.rows for unit in self.units])
        return fingered(self.scene.song, self.part, rows, self.hand).reindex(rows)

    @property
    def _string_of_each(self) -> list[Array]:
        """The string of each note of each unit, 0 where it is not known."""
        string = self._fingers["string"].to_numpy(dtype=np.int64, na_value=0)
        return np.split(string, self._ends)

    def _place(self, position: Array) -> float:
        fret = int(np.median(position)) if len(position) else 0
        return float(self.neck.mm[min(fret, self.neck.frets)]) if fret else np.nan

    @cached_property
    def _all(self) -> list[tuple[Pool, Array, Options] | None]:
        """For each grip that is free its pool, the rows that fit, and all as options."""
        return [self._every_voicing(unit) if unit.free else None for unit in self.units]

    @cached_property
    def _tables(self) -> list[Array]:
        if self.standing is not None:
            return self.standing._tables
        around = Around(self.scene, self.part, self.taste, self.without)
        sides = {
            other: side
            for other, side in around.sides().items()
            if self.scene.parts[other] not in self.without
        }
        return [around.costs(unit, sides) for unit in self.units]

    def options(
        self,
        keeps: Keeps | None,
        shifts: Sequence[int] = (0,),
        forced: Sequence[bool] | None = None,
        most: int = MOST_OPTIONS,
        *,
        distinct: bool = False,
        tune_stays: bool = True,
    ) -> list[Options]:
        """Return each unit's options.

        Parameters
        ----------
        keeps : callable, optional
            Which voicings of a grip's pool count; none: grips stay as written.
        shifts : sequence of int
            Semitones that a line may move by.
        forced : sequence of bool, optional
            Units that may not stay as written, if they have any other option.
        most : int
            The cheapest so many are kept, beside the written one.
        distinct : bool
            Whether of those that sound the same only the cheapest counts.
        tune_stays : bool
            Whether a tune, where the part leads, stays at its pitch.
        """
        found = []
        for number, unit in enumerate(self.units):
            if not unit.free:
                found.append(self.as_written(number))
                continue
            fixed = self._tune(number) if tune_stays else _NONE
            own = [0] if len(fixed) else shifts
            others = self._others(number, keeps, own, fixed, most, distinct=distinct)
            stays = not len(others.cost) or forced is None or not forced[number]
            found.append(_stacked(self.as_written(number), others) if stays else others)
        return found

    def _tune(self, number: int) -> Array:
        """The ranks of a unit on which it has the tune: all those of a line, if the part leads."""
        unit = self.units[number]
        if not (self._is_on_top and self._sung[number] < _SUNG):
            return _NONE
        return unit.tune_ranks if unit.harmony else np.arange(len(unit.written))

    @cached_property
    def _is_on_top(self) -> bool:
        """Whether no other part of its family lies above it over the song."""
        return bool((self.scene.on_top[self.scene.parts.index(self.part)] >= -ALMOST).all())

    @cached_property
    def _sung(self) -> list[float]:
        """Which share of each unit is sung, by the voice that sings most."""
        scene = self.scene
        voices = [*np.flatnonzero(scene.families == "voice")]
        found = []
        for unit in self.units:
            held = np.minimum(scene.end, unit.finish) - np.maximum(scene.onset, unit.begin)
            held = np.maximum(held, 0.0)
            most = max((held[scene.part == voice].sum() for voice in voices), default=0.0)
            found.append(float(most / max(unit.finish - unit.begin, 1e-9)))
        return found

    def _others(
        self,
        number: int,
        keeps: Keeps | None,
        shifts: Sequence[int],
        fixed: Array,
        most: int,
        *,
        distinct: bool,
    ) -> Options:
        unit, known = self.units[number], self._all[number]
        if known is None or keeps is None:
            moved = [shift for shift in shifts if shift] if unit.harmony is None else []
            return self._line(number, moved)
        pool, rows, options = known
        fits = keeps(self, number, pool, rows)
        fits &= (options.pitches != unit.written).any(axis=1)
        fits &= (options.pitches[:, fixed] == unit.written[fixed]).all(axis=1)
        chosen = np.flatnonzero(fits)
        order = chosen[np.argsort(options.cost[chosen], kind="stable")]
        if distinct:
            _, first = np.unique(options.pitches[order], axis=0, return_index=True)
            order = order[np.sort(first)]
        return options.take(order[:most], max(len(order) - most, 0))

    def fewer(self, number: int) -> Options:
        """Return what is left of a written grip when its lowest or highest notes are left out."""
        unit = self.units[number]
        size = len(unit.written)
        spans = [(low, high) for low in range(size) for high in range(low + 1, size + 1)]
        spans = [(low, high) for low, high in spans if 2 <= high - low < size]
        rank = np.arange(size)
        pitches = np.array(
            [np.where((rank >= low) & (rank < high), unit.written, SILENT) for low, high in spans]
        ).reshape(-1, size).astype(np.int64)  # fmt: skip
        return self.of_written(number, pitches)

    def of_written(self, number: int, pitches: Array) -> Options:
        """Return a written grip with other pitches, options x ranks, the hand staying there."""
        place = np.full(len(pitches), self.written[number][0])
        cost = self.costs(number, pitches, np.full(len(pitches), self._grip_mm(number)))
        return make_options(self.units[number], pitches, place, cost)

    def every_voicing(self, number: int) -> tuple[Pool, Array, Options] | None:
        """Return the pool of a grip that is free, the rows that fit, and all as options."""
        return self._all[number]

    def as_written(self, number: int) -> Options:
        """Return a unit as written, as the one option."""
        if number not in self._known:
            unit = self.units[number]
            pitches = np.rint(unit.written)[None, :].astype(np.int64)
            place = np.array([self.written[number][0]])
            cost = self.costs(number, pitches, np.array([self._grip_mm(number)]))
            self._known[number] = make_options(unit, pitches, place, cost)
        return self._known[number]

    @cached_property
    def _known(self) -> dict[int, Options]:
        return {}

    def _line(self, number: int, shifts: Sequence[int]) -> Options:
        unit = self.units[number]
        low, high = unit.written[0], unit.written[-1]
        fits = [s for s in shifts if self.neck.lowest <= low + s and high + s <= self.neck.highest]
        pitches = (np.rint(unit.written) + np.array(fits)[:, None]).astype(np.int64)
        pitches = pitches.reshape(len(fits), len(unit.written))
        cost = self.costs(number, pitches, np.zeros(len(fits)))
        return make_options(unit, pitches, np.full(len(fits), np.nan), cost)

    def _every_voicing(self, unit: Unit) -> tuple[Pool, Array, Options] | None:
        if unit.harmony is None:
            return None
        number = next(n for n, own in enumerate(self.units) if own is unit)
        pool = voicing_pool(unit.harmony, self.neck, self.hand, self.top_fret)
        fits = pool.count <= len(unit.written)
        if unit.is_strummed:
            fits &= pool.gaps <= _MOST_GAPS
        rows = np.flatnonzero(fits)
        pitches = by_rank(pool, rows, len(unit.written))
        cost = self.costs(number, pitches, pool.cost_mm[rows])
        return pool, rows, make_options(unit, pitches, pool.place_mm[rows], cost, pool.shapes[rows])

    def costs(self, number: int, pitches: Array, grip_mm: Array) -> Array:
        """Return what options cost by themselves and against what the other parts hold, mm."""
        unit, prices = self.units[number], self.taste.prices
        table, own = self._tables[number], pair_costs(self.taste)["own"]
        cost = prices.grip * grip_mm
        for rank in range(len(unit.written)):
            cost = cost + table[rank, pitches[:, rank]]
        held = own_seconds(self.scene, unit)
        for low, high in zip(*np.nonzero(np.triu(held, 1)), strict=True):
            cost = cost + held[low, high] * own[pitches[:, low], pitches[:, high]]
        bar = float(self.scene.bar_at(np.array([unit.begin]))[0])
        bars = (unit.finish - unit.begin) / bar
        sounds = pitches != SILENT
        away = np.where(sounds, np.abs(pitches - unit.written), 0.0)
        mean = away.sum(axis=1) / np.maximum(sounds.sum(axis=1), 1)
        different = sounds & np.diff(pitches, axis=1, prepend=-1).astype(bool)
        lost = 1 - different.sum(axis=1) / len(unit.written)
        return np.asarray(cost + bars * (prices.written * mean + prices.lost * lost))

    def _grip_mm(self, number: int) -> float:
        """What a written grip costs: the easiest voicing of those very pitches."""
        known = self._all[number] if self.units[number].free else None
        if known is None:
            return 0.0
        pool, rows, options = known
        same = (options.pitches == self.units[number].written).all(axis=1)
        same &= pool.count[rows] == len(self.units[number].written)
        return float(pool.cost_mm[rows[same]].min(initial=np.inf)) if same.any() else _UNKNOWN_GRIP

    def played(
        self, notes: pd.DataFrame, options: Sequence[Options], chosen: Array
    ) -> pd.DataFrame:
        """Return the song's notes with the chosen options in place of what was written."""
        rows = list(zip(options, chosen, strict=True))
        pitches = [own.pitches[row] for own, row in rows]
        notes = played(notes, self.units, pitches)
        return on_strings(notes, self.units, [own.shapes[row] for own, row in rows], self.neck)


def _stacked(one: Options, other: Options) -> Options:
    names = ("pitches", "place_mm", "first_top", "last_top", "cost")
    both = {n: np.concatenate([getattr(one, n), getattr(other, n)]) for n in names}
    free = np.full((len(one.cost), other.shapes.shape[1]), LEFT_OUT)
    return Options(**both, shapes=np.concatenate([free, other.shapes]), cut=other.cut)


def on_strings(
    notes: pd.DataFrame, units: Sequence[Unit], shapes: Sequence[Array], neck: Neck
) -> pd.DataFrame:
    """Return the notes of units on the strings of their shapes; the index gives their rows.

    A note that no string of a shape sounds, such as one in between, gets no string.
    """
    string, fret = (notes[name].array.copy() for name in ("string", "fret"))
    pitch = notes["pitch"].to_numpy()
    for unit, shape in zip(units, shapes, strict=True):
        sounds = np.flatnonzero(shape != LEFT_OUT)
        if not len(sounds):
            continue
        rows = notes.index.get_indexer(unit.rows)
        rows = rows[rows >= 0]
        is_there = pitch[rows, None] == shape[sounds] + np.array(neck.tuning)[sounds]
        found = is_there.any(axis=1)
        which = sounds[is_there.argmax(axis=1)]
        string[rows[found]] = which[found] + 1
        fret[rows[found]] = shape[which[found]]
    return notes.assign(string=string, fret=fret)


def played(notes: pd.DataFrame, units: Sequence[Unit], pitches: Sequence[Array]) -> pd.DataFrame:
    """Return notes with the units at other pitches, a row of pitches (by rank) for each.

    Where two notes that begin together meet on one pitch, the first stays. The notes of a unit of
    which any has moved have no string yet; where some are only left out, the others stay where they
    are.
    """
    pitch = notes["pitch"].to_numpy().copy()
    keep = np.ones(len(notes), dtype=bool)
    changed = np.zeros(len(notes), dtype=bool)
    for unit, new in zip(units, pitches, strict=True):
        by = (new - np.rint(unit.written))[unit.rank]  # a quarter tone stays one
        if not by.any():
            continue
        out = new[unit.rank] == SILENT
        moved = unit.pitch + np.where(unit.follows, _OCTAVE * np.rint(by / _OCTAVE), by)
        if not by[~out].any():
            keep[unit.rows] = ~out
            continue
        for note in np.flatnonzero(unit.leans >= 0).tolist():
            moved[note] = unit.stepped(note, new, moved[note])
        _, first = np.unique(np.column_stack([unit.onset, moved]), axis=0, return_index=True)
        again = np.ones(len(moved), dtype=bool)
        again[first] = False
        keep[unit.rows] = ~(out | again)
        changed[unit.rows] = True  # another voicing lies elsewhere, with all its notes
        pitch[unit.rows] = np.where(out, unit.pitch, moved)
    string, fret = (notes[name].mask(changed) for name in ("string", "fret"))
    return notes.assign(pitch=pitch, string=string, fret=fret)[keep]


def fingered(
    song: Song, part: str, rows: Array, hand: Hand, capo: int | None = None
) -> pd.DataFrame:
    """Return some notes of a part, fingered; their index is their position in the notes table.

    Parameters
    ----------
    song : Song
    part : str
    rows : array of int
        Positions in its notes table.
    hand : Hand
    capo : int, optional
        Another capo for the part.
    """
    notes = song.notes.iloc[rows]
    notes = notes.assign(source_id=text_column([str(row) for row in rows]))
    if capo is not None:
        song = all_through(song, part, capo=capo)
    found = finger_part(quick_song(song, notes=notes), part, hand=hand)
    return found.set_index(found["source_id"].astype(int)).sort_index()


def fingered_each(mover: Mover, tables: Sequence[pd.DataFrame]) -> list[pd.DataFrame]:
    """Return a part in and around a stretch, fingered in each of some notes tables.

    All tables are fingered at once, laid one behind the other, since they need mostly the same
    shapes. The index is a note's position in its table; the way from one table to the next does
    not count.
    """
    if not tables:
        return []
    song = mover.scene.song
    if not len(mover.rows):
        return [song.notes.iloc[:0].assign(problem=None, move_mm=0.0) for _ in tables]
    lines = np.append(song.measures["onset"].to_numpy(), song.duration)
    bars = song.notes["measure"].to_numpy()[mover.rows]
    begin, end = lines[max(bars.min() - 2, 0)], lines[min(bars.max() + 1, len(lines) - 1)]
    versions = []
    for notes in tables:
        own = np.flatnonzero((notes["part"] == mover.part).to_numpy(dtype=bool))
        ids = text_column([str(row) for row in own])
        versions.append(notes.iloc[own].assign(source_id=ids))
    copies = in_copies(song, versions, float(begin), float(end))
    if not len(copies.song.notes):
        return [copies.song.notes.assign(problem=None, move_mm=0.0) for _ in tables]
    fingers = finger_part(copies.song, mover.part, hand=mover.hand)
    copy = copies.number(fingers["onset"])
    fingers = fingers.set_index(fingers["source_id"].astype(int))
    found = []
    for number in range(len(tables)):
        own = fingers[copy == number]
        is_first = own["onset"].to_numpy() == own["onset"].min()
        move = np.where(is_first, 0.0, own["move_mm"].to_numpy())
        found.append(own.assign(onset=own["onset"] - copies.starts[number] + begin, move_mm=move))
    return found


def without_notes(mover: Mover, out: Array) -> pd.DataFrame:
    """Return the song's notes without some; positions in its notes table."""
    notes = mover.scene.song.notes
    keep = np.ones(len(notes), dtype=bool)
    keep[out] = False
    return notes[keep]


def with_capo(mover: Mover, capo: int) -> Mover:
    """Return the same part with another capo."""
    return replace(mover, neck=replace(mover.neck, capo=capo), standing=mover)
