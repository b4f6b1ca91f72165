"""The layers of a song as whole columns: what begins when, in which section, for how long.

Layers are taken in the order of their names, so that their order in the song plays no part. A note
belongs to the section that it begins in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.fingering import part_neck
from arrange.guitar.necks import Neck
from arrange.tables.schemas import DRIVES
from arrange.tables.setups import by_section
from arrange.tables.song import Song
from arrange.tables.sounding import Array, slices
from arrange.theory.spelling import unknown_name

GRID = 64  # places in a quarter note; what begins at one place begins together


@dataclass(frozen=True)
class RecordedLayers:
    """The notes of some layers; arrays with an item a note, in order of time.

    Parameters
    ----------
    song : Song
    names : tuple of str
        The layers, in order of their names.
    row : array of int
        Place in the song's notes table.
    layer, section : array of int
    onset, end : array of float
        Quarter notes.
    pitch : array of float
        NaN for none.
    is_played : array of bool
        It has a time of its own: no grace note.
    """

    song: Song
    names: tuple[str, ...]
    row: Array
    layer: Array
    section: Array
    onset: Array
    end: Array
    pitch: Array
    is_played: Array

    @classmethod
    def of(cls, song: Song, layers: Sequence[str] | None) -> RecordedLayers:
        """Return some layers of a song, or all guitars.

        Raises
        ------
        ArrangeError
            If there are none, one is named twice, or one is no part of the song.
        """
        names = _chosen(song, layers)
        notes = song.notes
        layer = pd.Index(names).get_indexer(notes["part"])
        cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
        row = np.flatnonzero((layer >= 0) & ~cue)
        onset = notes["onset"].to_numpy()[row]
        pitch = notes["pitch"].to_numpy()[row]
        order = np.lexsort((row, pitch, layer[row], onset))
        row, onset, pitch = row[order], onset[order], pitch[order]
        duration = notes["duration"].to_numpy()[row]
        section = pd.Index(song.sections["section"]).get_indexer(notes["section"].array.take(row))
        is_played = (duration > 0) & ~notes["grace"].to_numpy()[row]
        return cls(song, names, row, layer[row], section, onset, onset + duration, pitch, is_played)

    @cached_property
    def sections(self) -> list[str]:
        """Labels of the sections."""
        return self.song.sections["section"].tolist()

    @cached_property
    def begins(self) -> Array:
        """Where each section begins, quarter notes."""
        return self.song.sections["onset"].to_numpy()

    @cached_property
    def ends(self) -> Array:
        """Where each section ends, quarter notes."""
        return self.begins + self.song.sections["duration"].to_numpy()

    @cached_property
    def seconds(self) -> Array:
        """Length of each section."""
        return np.asarray(self.song.seconds(self.ends)) - self.song.seconds(self.begins)

    @cached_property
    def place(self) -> Array:
        """Where on the grid each note begins."""
        return np.rint(self.onset * GRID).astype(np.int64)

    @cached_property
    def measure(self) -> Array:
        """Played measure of each note."""
        return self.song.notes["measure"].to_numpy()[self.row]

    @cached_property
    def present(self) -> Array:
        """Whether a layer plays anything in a section: layers x sections."""
        return self.counts > 0

    @cached_property
    def counts(self) -> Array:
        """Notes of each layer in each section: layers x sections."""
        shape = len(self.names), len(self.sections)
        cell = (self.layer * shape[1] + self.section)[self.is_played]
        return np.bincount(cell, minlength=shape[0] * shape[1]).reshape(shape)

    @cached_property
    def parts(self) -> pd.DataFrame:
        """Rows of the parts table, in the order of the layers."""
        table = self.song.parts.set_index("part", drop=False)
        return table.loc[list(self.names)].reset_index(drop=True)

    @cached_property
    def drives(self) -> Array:
        """Place in ``DRIVES`` of each layer's drive in each section: layers x sections."""
        place = {drive: number for number, drive in enumerate(DRIVES)}
        return np.vectorize(place.get, otypes=[np.int64])(self._by_section("drive"))

    @cached_property
    def echoes(self) -> Array:
        """The note value of each layer's echo in each section, or none: layers x sections."""
        return self._by_section("echo")

    @cached_property
    def necks(self) -> Array:
        """The neck each layer was recorded on in each section: layers x sections.

        None where its strings are not known.
        """
        able = self.parts["family"].isin(["guitar", "bass"]) | self.parts["tuning"].notna()
        capos = self._by_section("capo")
        found = np.full(capos.shape, None, dtype=object)
        for layer in np.flatnonzero(able).tolist():
            for capo in np.unique(capos[layer]).tolist():
                neck = part_neck(self.song, self.names[layer], capo)
                found[layer, capos[layer] == capo] = neck
        return found

    def _by_section(self, name: str) -> Array:
        rows = pd.Index(self.song.parts["part"]).get_indexer(pd.Index(self.names))
        return np.asarray(by_section(self.song, name)[rows])

    def binds(self, neck: Neck) -> Array:
        """Return for each note whether the source's string and fret hold on a neck too.

        They do where the capo is the same and every string struck with it by its layer is tuned
        alike: what was played on the upper strings is so in another tuning of the lowest.
        """
        if neck not in self._bound:
            self._bound[neck] = self._binds(neck)
        return self._bound[neck]

    @cached_property
    def _bound(self) -> dict[Neck, Array]:
        """What has been worked out of ``binds``."""
        return {}

    def _binds(self, neck: Neck) -> Array:
        string, fret = (
            self.song.notes[name].to_numpy(dtype=np.int64, na_value=0)[self.row]
            for name in ("string", "fret")
        )
        most = int(string.max(initial=0)) + 1
        every = [[_strings_alike(known, neck, most) for known in own] for own in self.necks]
        is_alike = np.array(every, dtype=bool).reshape(*self.necks.shape, most)
        alike = is_alike[self.layer, self.section, string] & (fret <= neck.frets)
        stroke = self.layer * (int(self.place.max(initial=0)) + 1) + self.place
        _, which = np.unique(stroke, return_inverse=True)
        foreign = np.bincount(which, ~alike & (string > 0)) > 0
        return (string > 0) & ~foreign[which]

    def sliced(self, section: int | None = None, some: Array | None = None) -> Slices:
        """Return what sounds when, cut at the ends of sections.

        Of one section, or of all; of some notes, or of all.
        """
        chosen = self.is_played if some is None else self.is_played & some
        if section is not None:
            chosen = chosen & (self.section == section)
        note = np.flatnonzero(chosen)
        end = np.minimum(self.end[note], self.ends[self.section[note]])
        cuts = self.song.chords["onset"].to_numpy()
        if section is not None:
            cuts = cuts[(cuts > self.begins[section]) & (cuts < self.ends[section])]
        lines, which, at = slices(self.onset[note], np.maximum(end, self.onset[note]), cuts)
        return Slices(lines, np.diff(self.song.seconds(lines)), note[which], at)

    def with_ends(self, ends: Mapping[int, float]) -> RecordedLayers:
        """Return the layers with notes that end sooner, by their places; without those of NaN."""
        end = self.end.copy()
        end[list(ends)] = list(ends.values())
        keep = ~np.isnan(end)
        names = ("row", "layer", "section", "onset", "pitch", "is_played")
        return replace(self, end=end[keep], **{n: getattr(self, n)[keep] for n in names})


@dataclass(frozen=True)
class Slices:
    """Time cut wherever a note begins or ends.

    Parameters
    ----------
    lines : array
        Slice k lies between lines k and k + 1, quarter notes.
    seconds : array
        Length of each slice.
    note, at : array of int
        A row for each note and slice that it sounds in.
    """

    lines: Array
    seconds: Array
    note: Array
    at: Array

    def sounding(self, key: Array, count: int) -> Array:
        """Return the seconds for which anything of each of `count` keys sounds.

        `key` has an item for each row of `note`.
        """
        times = max(len(self.seconds), 1)
        cell = np.unique(key * times + self.at)
        length = self.seconds[cell % times] if len(cell) else np.zeros(0)
        return np.bincount(cell // times, length, minlength=count)


def _strings_alike(known: Neck | None, neck: Neck, most: int) -> list[bool]:
    """Whether each string below `most` is tuned alike on two necks with one capo; 0 for none."""
    if known is None or known.capo != neck.capo:
        return [False] * most
    alike = [one == other for one, other in zip(known.tuning, neck.tuning, strict=False)]
    return [False, *alike, *[False] * most][:most]


def _chosen(song: Song, layers: Sequence[str] | None) -> tuple[str, ...]:
    """The layers asked for, in order of their names."""
    parts = song.parts
    known = parts["part"].tolist()
    if layers is None:
        names = parts.loc[parts["family"] == "guitar", "part"].tolist()
        if not names:
            raise ArrangeError(
                "no part of this song is a guitar; name the layers to be condensed, "
                f"layers=[...] out of {', '.join(known)}"
            )
        return tuple(sorted(names))
    names = [layers] if isinstance(layers, str) else list(layers)
    unknown = [name for name in names if name not in known]
    if unknown:
        raise ArrangeError(unknown_name("part", unknown[0], known))
    if not names:
        raise ArrangeError(f"no layers to condense; name some of {', '.join(known)}")
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise ArrangeError(f"layers names {twice[0]!r} twice; name each once")
    return tuple(sorted(names))
