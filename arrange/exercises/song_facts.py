"""A song and the facts that exercises need about it, each computed once."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, Kind, Limits, find_clashes
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.condensing import Condensation, condense
from arrange.errors import ArrangeError
from arrange.findings import finding_notes
from arrange.guitar.fingering import finger_part, part_neck
from arrange.guitar.necks import Neck
from arrange.tables.setups import song_in_section
from arrange.tables.song import Song
from arrange.tables.sounding import Array, sounding_notes, together
from arrange.theory.pitch import note_name

_NEAR = 1e-6

Value = TypeVar("Value")


@dataclass(frozen=True, eq=False)
class SongFacts:
    """A song that exercises are made from, with facts about it.

    Make one where many exercises are made from the same song.

    Parameters
    ----------
    song : Song
    limits : Limits
        The values from which on a finding is reported. Answers are judged by the same limits.
    """

    song: Song
    limits: Limits = DEFAULT_LIMITS
    _known: dict[Hashable, Any] = field(default_factory=dict, repr=False)

    def once(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return what `make` gives, made at most once for a key; errors too."""
        if key not in self._known:
            try:
                self._known[key] = make()
            except ArrangeError as error:
                self._known[key] = error
        found = self._known[key]
        if isinstance(found, ArrangeError):
            raise found
        return found

    @cached_property
    def findings(self) -> pd.DataFrame:
        """What to listen to, the most severe first."""
        return find_clashes(self.song, limits=self.limits)

    def of_kinds(self, wanted: Callable[[Kind], bool]) -> pd.DataFrame:
        """Return the findings of those kinds that are wanted."""
        kinds = [name for name, kind in KINDS.items() if wanted(kind)]
        return self.findings[self.findings["kind"].isin(kinds)]

    @cached_property
    def sounding(self) -> pd.DataFrame:
        """The notes that have pitch and duration."""
        return sounding_notes(self.song.notes).reset_index(drop=True)

    @cached_property
    def key(self) -> str | None:
        """The key that spells the notes."""
        return self.song.main_key

    def name(self, pitch: float) -> str:
        """Return the name of a pitch as the key spells it."""
        return note_name(pitch, self.key)

    def finding(self, label: int) -> Any:
        """Return one row of the findings."""
        return self._rows[label]

    @cached_property
    def _rows(self) -> dict[int, Any]:
        return dict(self.findings.iterrows())  # type: ignore[arg-type]

    def notes(self, label: int) -> pd.DataFrame:
        """Return the notes that make a finding."""
        return self.once(("notes", label), lambda: finding_notes(self.song, self.finding(label)))

    def section_at(self, measure: int) -> str:
        """Return the section that a measure lies in."""
        return str(self.song.measures["section"].iloc[measure - 1])

    def section_measures(self, section: str) -> tuple[int, int]:
        """Return first and last measure of a section."""
        return self._by_section[section]

    @cached_property
    def _by_section(self) -> dict[str, tuple[int, int]]:
        columns = ("section", "first_measure", "last_measure")
        rows = zip(*(self.song.sections[name].tolist() for name in columns), strict=True)
        return {section: (first, last) for section, first, last in rows}

    def measures_of(self, begin: float, end: float) -> range:
        """Return the measures that lie between two times, quarter notes."""
        starts = self.song.measures["onset"].to_numpy()
        first = int(np.searchsorted(starts, begin + _NEAR, side="right"))
        return range(max(first, 1), max(int(np.searchsorted(starts, end - _NEAR)), first, 1) + 1)

    def measures(self, label: int) -> frozenset[int]:
        """Return the measures in which a finding can be heard."""
        return self.once(("measures", label), lambda: self._heard_in(label))

    def _heard_in(self, label: int) -> frozenset[int]:
        notes, finding = self.notes(label), self.finding(label)
        begin = notes["onset"].to_numpy()
        if KINDS[finding["kind"]].is_of_attacks:
            return self._bars_between(begin, begin)
        end = begin + notes["duration"].to_numpy()
        held = self._together(notes, begin, end)
        return self._bars_between(*(held if len(held[0]) else (begin, end)))

    @staticmethod
    def _together(notes: pd.DataFrame, begin: Array, end: Array) -> tuple[Array, Array]:
        """When two notes of a finding sound at once, of two parts or, in one part, of two."""
        parts = pd.factorize(notes["part"])[0]
        apart = parts if len(set(parts.tolist())) > 1 else notes["pitch"].to_numpy()
        one, other = together(begin, end)
        differ = apart[one] != apart[other]
        one, other = one[differ], other[differ]
        return np.maximum(begin[one], begin[other]), np.minimum(end[one], end[other])

    def _bars_between(self, begin: Array, end: Array) -> frozenset[int]:
        """The measures that these spans of time touch."""
        starts = self.song.measures["onset"].to_numpy()
        first = np.maximum(np.searchsorted(starts, begin + _NEAR, side="right"), 1)
        last = np.maximum(np.searchsorted(starts, end - _NEAR), first)
        spans = set(zip(first.tolist(), last.tolist(), strict=True))
        return frozenset(bar for low, high in spans for bar in range(low, high + 1))

    def sections(self, label: int) -> frozenset[str]:
        """Return the sections that a finding touches."""
        return self.once(("sections", label), lambda: self._touched(label))

    def _touched(self, label: int) -> frozenset[str]:
        row, table = self.finding(label), self.song.sections
        begin, end = float(row["onset"]), float(row["onset"] + row["duration"])
        ends = table["onset"] + table["duration"]
        touched = (table["onset"] < max(end, begin + _NEAR) - _NEAR / 2) & (ends > begin + _NEAR)
        return frozenset(table["section"][touched])

    def plays(self, part: str, measures: Iterable[int]) -> bool:
        """Return whether a part sounds in any of some measures."""
        return bool(self.bars_played(part) & set(measures))

    def bars_played(self, part: str) -> frozenset[int]:
        """Return the measures in which a part sounds."""
        return self.once(("bars", part), lambda: self._bars_played(part))

    def _bars_played(self, part: str) -> frozenset[int]:
        own = self.sounding[self.sounding["part"] == part]
        begin = own["onset"].to_numpy()
        return self._bars_between(begin, begin + own["duration"].to_numpy())

    def within(self, begin: float, end: float, parts: Iterable[str]) -> pd.DataFrame:
        """Return the notes of some parts that sound between two times, quarter notes."""
        notes = self.sounding
        inside = (notes["onset"] < end - _NEAR) & (notes["onset"] + notes["sounds"] > begin)
        return notes[inside & notes["part"].isin(list(parts))]

    def time_of(self, first: int, last: int) -> tuple[float, float]:
        """Return begin and end of some measures, quarter notes."""
        rows = self.song.measures
        end = rows["onset"].iloc[last - 1] + rows["duration"].iloc[last - 1]
        return float(rows["onset"].iloc[first - 1]), float(end)

    def chord_at(self, onset: float) -> Any:
        """Return the row of the chord symbol that holds at a time, or None."""
        chords = self.song.chords
        place = int(np.searchsorted(chords["onset"].to_numpy(), onset + _NEAR, side="right")) - 1
        if place < 0:
            return None
        row = chords.iloc[place]
        return row if onset < row["onset"] + row["duration"] - _NEAR else None

    @cached_property
    def fretted(self) -> tuple[str, ...]:
        """The guitars and other parts that have strings, the bass left out."""
        parts = self.song.parts
        return tuple(
            row.part
            for row in parts.itertuples()
            if (row.family == "guitar" or (isinstance(row.tuning, tuple) and row.family != "bass"))
            and self.bars_played(row.part)
        )

    def neck(self, part: str, section: str | None = None) -> Neck:
        """Return the neck that a part is written for, in a section with the capo that it has."""
        song = self.song if section is None else song_in_section(self.song, section)
        return self.once(("neck", part, section), lambda: part_neck(song, part))

    def fingered(self, part: str) -> pd.DataFrame:
        """Return a part with strings and frets."""
        return self.once(("fingered", part), lambda: finger_part(self.song, part))

    @cached_property
    def condensed(self) -> Condensation | None:
        """The song condensed to two players, where there are more than two guitars."""
        guitars = self.song.parts["family"] == "guitar"
        try:
            return condense(self.song, 2) if guitars.sum() > 2 else None
        except ArrangeError:
            return None
