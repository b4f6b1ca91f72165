"""The notes in which every kind of finding is looked for.

Findings are looked for in a ``Scene``: the song's sounding notes as whole columns, sorted by
onset. A kind is a function ``find_...(scene, limits)`` that returns a list of ``Clash``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import pandas as pd

from arrange.clashes.attacks import Stream, lone_attacks, streams, with_echoes
from arrange.clashes.stretches import Stretches, stretches_of
from arrange.clashes.two_pitches import NO_ROOT, root_under_flat_nine
from arrange.quantities.harmony import inferred_keys
from arrange.quantities.sonority import Sonorities
from arrange.tables.song import Song
from arrange.tables.sounding import Array, each_of, is_played, slices, together
from arrange.theory.pitch import note_name


@dataclass(frozen=True)
class Clash:
    """One finding before it is placed in the song.

    Parameters
    ----------
    onset, end : float
        Quarter notes.
    parts : sequence of str
    pitches : sequence of float
        MIDI numbers; the table has their note names.
    value, limit : float
    unit : str
    why : str
        One plain sentence.
    notes : array of int
        The notes that make it: positions in the notes table, in any order, each at least once.
    weight : float
        What its severity is multiplied by, 0 to 1.
    """

    kind: str
    onset: float
    end: float
    parts: Sequence[str]
    pitches: Sequence[float]
    value: float
    limit: float
    unit: str
    why: str
    notes: Array
    weight: float = 1.0


@dataclass(frozen=True)
class Scene:
    """The sounding notes of a song as arrays, a value a note, sorted by onset.

    Parameters
    ----------
    song : Song
    whole_on_top : array (parts, parts), optional
        ``on_top`` of the whole song, where this one is only some of its bars.
    asked : collection of str, optional
        Only findings whose parts are all among these are wanted; others may be left out. The
        notes of all parts still count. Default: all parts.
    harmony : chords table, optional
        In place of the song's own chord symbols.
    """

    song: Song
    whole_on_top: Array | None = None
    asked: Collection[str] | None = None
    harmony: pd.DataFrame | None = None

    def under(self, harmony: pd.DataFrame) -> Scene:
        """Return the scene with other chords; what does not ask for them is kept."""
        other = replace(self, harmony=harmony)
        kept = {name: value for name, value in vars(self).items() if name in _WITHOUT_CHORDS}
        vars(other).update(kept)
        return other

    @property
    def chords(self) -> pd.DataFrame:
        """The chords that hold."""
        return self.song.chords if self.harmony is None else self.harmony

    @cached_property
    def parts(self) -> list[str]:
        """Labels of the parts, in score order."""
        return self.song.parts["part"].tolist()

    @cached_property
    def families(self) -> Array:
        """Family of each part."""
        return self.song.parts["family"].to_numpy(dtype=object)

    @cached_property
    def sections(self) -> list[tuple[str, float, float]]:
        """Label, onset and end of each section, quarter notes."""
        table = self.song.sections
        begins = table["onset"].to_numpy()
        ends = begins + table["duration"].to_numpy()
        return list(zip(table["section"].tolist(), begins.tolist(), ends.tolist(), strict=True))

    @cached_property
    def symbols(self) -> list[str]:
        """The chord symbols."""
        return self.chords["symbol"].tolist()

    @cached_property
    def written_keys(self) -> list[str | None]:
        """The written key of each measure, None where there is none."""
        return [key if isinstance(key, str) else None for key in self.song.measures["key"]]

    @cached_property
    def keys(self) -> list[str | None]:
        """The key of each measure: the written one, or else what the notes suggest."""
        written = self.written_keys
        if None not in written:
            return written
        inferred = inferred_keys(self.song)
        columns = (inferred[name].tolist() for name in ("first_measure", "last_measure", "key"))
        suggested = {
            bar: key
            for first, last, key in zip(*columns, strict=True)
            for bar in range(first - 1, last)
        }
        return [key or suggested.get(bar) for bar, key in enumerate(written)]

    @cached_property
    def played_rows(self) -> Array:
        """Positions in the notes table of the notes that are played, pitched or not."""
        return np.flatnonzero(is_played(self.song.notes))

    @cached_property
    def played(self) -> tuple[Array, Array, Array, Array]:
        """Part, pitch, onset and end of each note that is played, pitched or not; what rings on
        ends when it has died away.
        """
        notes, rows = self.song.notes, self.played_rows
        pitch, onset, sounds = (
            notes[name].to_numpy()[rows] for name in ("pitch", "onset", "sounds")
        )
        part = pd.Index(self.parts).get_indexer(notes["part"])[rows]
        return part, pitch, onset, onset + sounds

    @cached_property
    def _sounding(self) -> tuple[Array, Array, Array, Array, Array]:
        """The same of the notes that sound, and their rows; a pitch that two voices of a part hold
        at the same time is listed once, cut where it is struck again.
        """
        pitched = ~np.isnan(self.played[1])
        rows = self.played_rows[pitched]
        part, pitch, onset, end = (values[pitched] for values in self.played)
        order, starts = runs((part, pitch), onset, end, np.zeros(len(part)))
        onset, end = onset[order], end[order]
        reached = np.maximum.reduceat(end, starts) if len(starts) else end
        end[:-1] = onset[1:]
        end[np.append(starts, len(order))[1:] - 1] = reached
        sounds = np.flatnonzero(end > onset)
        sounds = sounds[np.lexsort((order[sounds], onset[sounds]))]
        chosen = order[sounds]
        return part[chosen], pitch[chosen], onset[sounds], end[sounds], rows[chosen]

    @property
    def part(self) -> Array:
        """Index of each note's part."""
        return self._sounding[0]

    @property
    def pitch(self) -> Array:
        """Sounding pitch."""
        return self._sounding[1]

    @property
    def onset(self) -> Array:
        """Quarter notes."""
        return self._sounding[2]

    @property
    def end(self) -> Array:
        """Quarter notes."""
        return self._sounding[3]

    @property
    def row(self) -> Array:
        """Position in the notes table."""
        return self._sounding[4]

    @cached_property
    def is_asked(self) -> Array:
        """Whether findings of each part are wanted."""
        asked = self.parts if self.asked is None else self.asked
        return np.isin(np.array(self.parts, dtype=object), list(asked))

    @property
    def asked_parts(self) -> list[int]:
        """Indices of the parts of which findings are wanted."""
        return np.flatnonzero(self.is_asked).tolist()

    @cached_property
    def pairs(self) -> tuple[Array, Array]:
        """Pairs of notes that sound at one time, as indices; only of the parts asked for."""
        own = np.flatnonzero(self.is_asked[self.part])
        first, second = together(self.onset[own], self.end[own])
        return own[first], own[second]

    @property
    def meetings(self) -> int:
        """Number of slices in which two parts both sound, summed over all pairs."""
        sound = np.isfinite(self.top).sum(axis=0)
        return int((sound * (sound - 1) // 2).sum())

    @cached_property
    def slices(self) -> tuple[Array, Array, Array]:
        """Cuts in time, where sections and chords begin too, and what sounds in each slice."""
        tables = self.song.sections, self.chords
        begins = [table["onset"].to_numpy() for table in tables]
        ends = [
            start + table["duration"].to_numpy()
            for start, table in zip(begins, tables, strict=True)
        ]
        return slices(self.onset, self.end, np.concatenate(begins + ends))

    @cached_property
    def _by_slice(self) -> tuple[Array, Array]:
        """The (note, slice) pairs sorted by slice, and where each slice begins in them."""
        lines, _, at = self.slices
        order = np.argsort(at, kind="stable")
        return order, np.searchsorted(at[order], np.arange(len(lines)))

    def sounding_in(self, at: Array, *parts: int) -> tuple[Array, Array]:
        """Return what some parts sound in some slices, as pairs of a note and its slice."""
        order, starts = self._by_slice
        pairs = order[each_of(starts[at], starts[at + 1] - starts[at])]
        note, at = self.slices[1][pairs], self.slices[2][pairs]
        own = np.isin(self.part[note], parts)
        return note[own], at[own]

    def section_slices(self, row: int) -> Array:
        """Return the slices of a section."""
        return np.flatnonzero(self.slice_section == row)

    @cached_property
    def slice_seconds(self) -> Array:
        """Length of each slice in seconds."""
        return np.diff(self.seconds(self.slices[0]))

    @cached_property
    def slice_section(self) -> Array:
        """Row of the section that each slice lies in."""
        return self.section_of(self.slices[0][:-1])

    @cached_property
    def slice_bar(self) -> Array:
        """Length of the bar that each slice lies in, in quarter notes."""
        return self.bar_at(self.slices[0][:-1])

    @cached_property
    def slice_chord(self) -> Array:
        """Row of the chord symbol that holds in each slice, -1 for none."""
        return self.chord_at(self.slices[0][:-1])

    def slice_runs(self, at: Array, *groups: Array) -> tuple[Array, Array]:
        """Join slices of one section and of equal groups, at most a bar apart, as ``runs``."""
        lines = self.slices[0]
        groups = self.slice_section[at], *groups
        return runs(groups, lines[at], lines[at + 1], self.slice_bar[at])

    @cached_property
    def attacks(self) -> list[Stream]:
        """The attacks of each part."""
        seconds = self.seconds(self.played[2])
        return streams(self.played, self.played_rows, seconds, len(self.parts))

    @cached_property
    def echoed(self) -> dict[int, Stream]:
        """The attacks and repeats of each part that has an echo."""
        part, _, onset, _ = self.played
        return with_echoes(self.song, self.attacks, part, onset)

    @cached_property
    def lone_attacks(self) -> Array:
        """How many attacks of each two parts the sparser has for itself, at most."""
        lone = lone_attacks(self.attacks)
        return np.minimum(lone, lone.T)

    @cached_property
    def sonorities(self) -> Sonorities:
        """What each part holds in each slice."""
        return Sonorities.of_slices(self.song, self.part, self.pitch, *self.slices)

    @cached_property
    def _unisons(self) -> tuple[Array, Array]:
        """Rows of two notes of one part that sound one pitch at one time: one, ascending, and the
        other.
        """
        part, pitch, onset, end = self.played
        order = np.lexsort((onset, pitch, part))
        same = (np.diff(part[order]) == 0) & (np.diff(pitch[order]) == 0)
        same &= onset[order][1:] < end[order][:-1] - 1e-9
        if not same.any():
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        order = np.argsort(onset, kind="stable")
        pairs = together(onset[order], end[order])
        one, other = (order[each] for each in pairs)
        same = (part[one] == part[other]) & (pitch[one] == pitch[other])
        one, other = self.played_rows[one[same]], self.played_rows[other[same]]
        both = np.append(one, other)
        order = np.argsort(both, kind="stable")
        return both[order], np.append(other, one)[order]

    def with_unisons(self, rows: Array) -> Array:
        """Return rows of the notes table once each, with those that sound the same note."""
        one, other = self._unisons
        rows = np.unique(rows)
        if len(one):
            first, last = np.searchsorted(one, rows), np.searchsorted(one, rows, side="right")
            rows = np.unique(np.append(rows, other[each_of(first, last - first)]))
        return rows

    @cached_property
    def stretches(self) -> Stretches:
        """What each part plays in stretches of about four bars."""
        notes = self.part, self.pitch, self.onset, self.end
        return stretches_of(self._measures, notes, len(self.parts))

    def held_by(self, part: int, at: int) -> list[float]:
        """Pitches that a part holds in a slice, low to high."""
        return self.sonorities.pitches_of(int(self.sonorities.held[part, at])).tolist()

    @cached_property
    def top(self) -> Array:
        """Highest sounding pitch of each part (rows) in each slice, -inf where it is silent."""
        lines, note, at = self.slices
        top = np.full((len(self.parts), max(len(lines) - 1, 0)), -np.inf)
        np.maximum.at(top, (self.part[note], at), self.pitch[note])
        return top

    @cached_property
    def on_top(self) -> Array:
        """Who is meant to be on top, parts x parts: for how many seconds more a part's top line
        lies above another's than below it; 0 for parts of different families.
        """
        if self.whole_on_top is not None:
            return self.whole_on_top
        return self.seconds_on_top(np.arange(max(len(self.slices[0]) - 1, 0)))

    def seconds_on_top(self, at: Array) -> Array:
        """Return ``on_top`` of some slices."""
        sounds = np.isfinite(self.top[:, at])
        top, seconds = np.where(sounds, self.top[:, at], 0.0), self.slice_seconds[at]
        above = np.zeros((len(top), len(top)))
        for part, own in enumerate(top):
            others = np.flatnonzero(self.families == self.families[part])
            both = sounds[others] & sounds[part]
            above[part, others] = (np.sign(own - top[others]) * both) @ seconds
        return above

    def seconds(self, onset: Array) -> Array:
        """Seconds from the start."""
        return np.asarray(self.song.seconds(onset))

    def section_of(self, onset: Array) -> Array:
        """Row of the section that each onset lies in."""
        return _row_at(self._section_starts, onset)

    def measure_of(self, onset: Array) -> Array:
        """Row of the measure that each onset lies in."""
        return _row_at(self._measures[0], onset)

    def bar_at(self, onset: Array) -> Array:
        """Length of the bar that each onset lies in, in quarter notes."""
        return self._measures[1][self.measure_of(onset)]

    def chord_at(self, onset: Array) -> Array:
        """Row of the chord symbol that holds at each onset, -1 for none."""
        chords = self.chords
        starts = chords["onset"].to_numpy()
        row = np.searchsorted(starts, onset + 1e-9, side="right") - 1
        ends = np.append(starts + chords["duration"].to_numpy(), -np.inf)
        return np.where(onset + 1e-9 < ends[row], row, -1)

    @cached_property
    def _excused_roots(self) -> Array:
        """The ``root_under_flat_nine`` of each chord symbol, followed by that of no symbol."""
        chords = self.chords
        columns = (chords["kind"], chords["root"].fillna(NO_ROOT), chords["pitch_classes"])
        rows = zip(*(column.tolist() for column in columns), strict=True)
        return np.array([*(root_under_flat_nine(*row) for row in rows), NO_ROOT])

    def excused_root_at(self, onset: Array) -> Array:
        """Return the root that may rub under its own flat nine at each onset, -1 for none."""
        if (self._excused_roots == NO_ROOT).all():
            return np.full(np.shape(onset), NO_ROOT)
        return np.asarray(self._excused_roots[self.chord_at(onset)])

    def name(self, pitch: float, onset: float) -> str:
        """Note name as the key of that moment spells it."""
        return _note_name(pitch, self.song.key_at(onset))

    @cached_property
    def _section_starts(self) -> Array:
        return self.song.sections["onset"].to_numpy()

    @cached_property
    def _measures(self) -> tuple[Array, Array]:
        measures = self.song.measures
        return measures["onset"].to_numpy(), measures["duration"].to_numpy()


# What a scene has computed of its notes, bars and sections alone.
_WITHOUT_CHORDS = ("parts", "families", "sections", "written_keys", "keys", "played_rows", "played",
                   "_sounding", "is_asked", "_section_starts", "_measures")  # fmt: skip

_note_name = lru_cache(maxsize=1024)(note_name)  # a song repeats few different notes many times


def _row_at(starts: Array, onset: Array) -> Array:
    return np.maximum(np.searchsorted(starts, np.asarray(onset) + 1e-9, side="right") - 1, 0)


def runs(groups: Sequence[Array], onset: Array, end: Array, gap: Array) -> tuple[Array, Array]:
    """Join events of one group that follow each other within `gap` into runs.

    Parameters
    ----------
    groups : arrays whose equal rows belong together
    onset, end : array
    gap : array
        The longest pause that a run may hold, after each event; in the unit of `onset`.

    Returns
    -------
    order : array
        The events sorted by group and onset.
    starts : array
        Where in `order` each run begins.
    """
    order = np.lexsort((onset, *groups))
    new = np.zeros(len(order), dtype=bool)
    new[:1] = True
    for group in groups:
        new[1:] |= np.diff(group[order]) != 0
    first = np.flatnonzero(new)
    # The end of a run so far, within each group: shift groups apart, then run the maximum.
    shift = np.zeros(len(order))
    shift[first] = 1
    span = float(end.max() - onset.min()) + 1 if len(order) else 1.0
    shift = np.cumsum(shift) * span
    reached = np.maximum.accumulate(end[order] + shift) - shift
    new[1:] |= onset[order][1:] > reached[:-1] + gap[order][:-1] + 1e-6
    return order, np.flatnonzero(new)


def reaching(runs_of: tuple[Array, Array], values: Array, limit: float) -> list[Array]:
    """The runs whose values add up to the limit."""
    order, starts = runs_of
    if not len(starts):
        return []
    # Sums computed together may differ in the last digit from those of single runs, which decide.
    near = np.add.reduceat(values[order], starts) >= limit - 1e-6
    ends = np.append(starts[1:], len(order))
    return [
        order[begin:end]
        for begin, end in zip(starts[near].tolist(), ends[near].tolist(), strict=True)
        if values[order[begin:end]].sum() >= limit
    ]
