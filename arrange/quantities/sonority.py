"""How do two parts sound together: how much rougher than each alone, and what does one hide?

Both are computed from the partials of the notes held, as ``hearing`` gives them, for every slice of
time in which the same notes sound. Each set of notes that a part holds is computed once, however
often it returns, and so is each pair of them.

A level of 0 in the parts table is taken as ``REFERENCE_LEVEL``; a drive, that of the section in
which a note begins, makes the partials fall less steeply. ``hearing.clipping_products`` has what an
amplifier adds inside one part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, permutations

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.hearing import Partials, partials, rolloff, threshold_raised, tone_table
from arrange.hearing.masking import quiet_power
from arrange.tables.columns import text_column
from arrange.tables.schemas import DRIVES
from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song
from arrange.tables.sounding import Array, slices, sounding_notes

REFERENCE_LEVEL = 70.0  # dB sound pressure level of the fundamentals of a part at level 0 (ours)
_SPANS = ("song", "section", "measure")
_AT_ONCE = 8  # pitches whose thresholds are computed in one go: more take more memory, no less time


def pair_roughness(song: Song, by: str = "section") -> pd.DataFrame:
    """Return how rough each two parts are together, beside each alone.

    Parameters
    ----------
    song : Song
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.

    Returns
    -------
    DataFrame
        A row a pair of parts and span in which both sound, in score order: ``part_a``,
        ``part_b``, the span's label (but for the song); ``seconds`` in which both sound;
        ``together``, their roughness (``hearing.roughness``), ``alone``, that of the rougher of
        the two, and ``added``, the difference, all as means over that time; ``worst``, the
        greatest difference.

    Raises
    ------
    ArrangeError
        If `by` is none of the three.
    """
    sounds = Sonorities.of(song, _cuts(song, by))
    rows = []
    for pair in combinations(range(len(sounds.parts)), 2):
        together, alone = sounds.roughness(pair[0], [pair[1]])
        rows.append(_row(song, sounds, pair, {"together": together, "alone": alone}, by))
    table = _table(rows, ("part_a", "part_b"), by, ("together", "alone"))
    table.insert(table.columns.get_loc("alone") + 1, "added", table["together"] - table["alone"])
    return table


def masked_energy(song: Song, by: str = "section") -> pd.DataFrame:
    """Return what share of each part's sound each other part hides.

    Parameters
    ----------
    song : Song
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.

    Returns
    -------
    DataFrame
        A row an ordered pair of parts and span in which both sound, in score order: ``masker``,
        ``target``, the span's label (but for the song); ``seconds`` in which both sound;
        ``share`` of the target's partial energy that the masker hides
        (``hearing.masked_share``), the mean over that time; ``worst``, the greatest.

    Raises
    ------
    ArrangeError
        If `by` is none of the three.
    """
    sounds = Sonorities.of(song, _cuts(song, by))
    rows = []
    for pair in permutations(range(len(sounds.parts)), 2):
        rows.append(
            _row(song, sounds, pair, {"share": sounds.masked_share(pair[0], [pair[1]])}, by)
        )
    return _table(rows, ("masker", "target"), by, ("share",))


@dataclass(frozen=True)
class Sonorities:
    """What the parts of a song hold, slice by slice.

    Parameters
    ----------
    parts : list of str
    lines : array
        Slice k lies between lines k and k + 1, quarter notes.
    seconds : array
        Length of each slice.
    held : array of int, parts x slices
        Which holding each part sounds; -1 where it is silent.
    strength : array, holdings x tones
        1 for each tone of the palette that sounds in each holding, else 0.
    palette : Partials (tones, partials)
        Sound pressure levels in dB.
    pitch : array (tones,)
        MIDI numbers.
    """

    parts: list[str]
    lines: Array
    seconds: Array
    held: Array
    strength: Array
    palette: Partials
    pitch: Array

    @classmethod
    def of(cls, song: Song, cuts: Array | None = None) -> Sonorities:
        """Return those of a song; slices end at the cuts too (quarter notes)."""
        notes = sounding_notes(song.notes).sort_values("onset", kind="stable")
        onset = notes["onset"].to_numpy()
        none = np.empty(0)
        sliced = slices(onset, onset + notes["sounds"].to_numpy(), none if cuts is None else cuts)
        part = pd.Index(song.parts["part"]).get_indexer(notes["part"])
        return cls.of_slices(song, part, notes["pitch"].to_numpy(), *sliced)

    @classmethod
    def of_slices(
        cls, song: Song, part: Array, pitch: Array, lines: Array, note: Array, at: Array
    ) -> Sonorities:
        """Return those of notes, each with its part's index, cut as by ``sounding.slices``."""
        parts = song.parts["part"].tolist()
        sounds, fall, level = _sounds(song)
        begin = np.zeros(len(part))
        begin[note[::-1]] = lines[at[::-1]]
        sound = sounds[part, section_at(song, begin)]
        pitches, place = np.unique(pitch, return_inverse=True)
        size = max(len(pitches), 1)
        tones, tone = np.unique(sound * size + place, return_inverse=True)
        which, pitch_of = tones // size, pitches[tones % size]
        palette = partials(pitch_of[:, None], level[which][:, None], fall[which][:, None])
        held, holdings = _holdings(part[note], at, tone[note], len(parts), len(lines) - 1)
        strength = np.zeros((len(holdings), len(tones)))
        for row, each in enumerate(holdings):
            strength[row, each] = 1.0  # a pitch that two voices of a part hold counts once
        seconds = np.diff(np.asarray(song.seconds(lines)))
        return cls(parts, lines, seconds, held, strength, palette, pitch_of)

    def partials_of(self, holdings: Array) -> Partials:
        """Return all partials of each holding, not merged; NaN and 0 where one has fewer."""
        holding, tone = np.nonzero(self.strength[holdings])
        counts = np.bincount(holding, minlength=len(holdings))
        place = np.arange(len(tone)) - np.repeat(np.cumsum(counts) - counts, counts)
        shape = len(holdings), int(counts.max(initial=0)), self.palette.frequency.shape[1]
        hertz, amplitude = np.full(shape, np.nan), np.zeros(shape)
        hertz[holding, place] = self.palette.frequency[tone]
        amplitude[holding, place] = self.palette.amplitude[tone]
        whole = shape[0], shape[1] * shape[2]
        return Partials(hertz.reshape(whole), amplitude.reshape(whole))

    def pitches_of(self, holding: int) -> Array:
        """Return the pitches of a holding, MIDI numbers, low to high; none for -1, silence."""
        return np.sort(self.pitch[self.strength[holding] > 0]) if holding >= 0 else np.empty(0)

    def both(self, one: int, others: Sequence[int]) -> tuple[Array, Array]:
        """Where one part and each of some others both sound: which of them, and the slice."""
        which, at = np.nonzero((self.held[one] >= 0) & (self.held[others] >= 0))
        return which, at

    def roughness(self, one: int, others: Sequence[int]) -> tuple[Array, Array]:
        """Roughness of two parts together, and of the rougher alone, row by row of ``both``."""
        first, second, same = self._meetings(one, others)
        rough, power, rough_of, power_of = self._forms
        strength = self.strength[second]
        together = _over(
            rough[first] + rough[second] + 2 * np.einsum("ht,ht->h", rough_of[first], strength),
            power[first] + power[second] + 2 * np.einsum("ht,ht->h", power_of[first], strength),
        )
        alone = _over(rough, power)
        return together[same], np.maximum(alone[first], alone[second])[same]

    def masked_share(self, masker: int, targets: Sequence[int]) -> Array:
        """Share of each target's energy that the masker hides, row by row of ``both``."""
        first, second, same = self._meetings(masker, targets)
        strength, energy = self.strength[second], (self.palette.amplitude**2).sum(axis=1)
        hidden = np.einsum("ht,ht->h", self._hidden[first], strength)
        return _over(hidden, strength @ energy)[same]

    def _meetings(self, one: int, others: Sequence[int]) -> tuple[Array, Array, Array]:
        """Every pair of holdings that sound together, once, and the pair of each row of
        ``both``.
        """
        which, at = self.both(one, others)
        size = max(len(self.strength), 1)
        met = self.held[one, at] * size + self.held[others][which, at]
        same, known = pd.factorize(met)
        return known // size, known % size, same

    @cached_property
    def _forms(self) -> tuple[Array, Array, Array, Array]:
        table = tone_table(self.palette)
        rough_of, power_of = self.strength @ table.rough, self.strength @ table.power
        rough, power = (np.einsum("ht,ht->h", form, self.strength) for form in (rough_of, power_of))
        return rough / 2, power, rough_of / 2, power_of

    @cached_property
    def _hidden(self) -> Array:
        """Energy of each tone (columns) that each holding (rows) hides."""
        tones = np.arange(len(self.pitch))
        hidden = np.zeros(self.strength.shape)
        # Tones of one pitch have their partials in one place.
        _, first, which = np.unique(self.pitch, return_index=True, return_inverse=True)
        quiet = quiet_power(self.palette.frequency[first])
        for begin in range(0, len(first), _AT_ONCE):
            some = first[begin : begin + _AT_ONCE]
            pairs = np.tile(tones, len(some)), np.repeat(some, len(tones))
            raised = threshold_raised(self.palette, *pairs).reshape(len(some), len(tones), -1)
            for place, heard in enumerate(raised, start=begin):
                threshold = self.strength @ heard + quiet[place]
                own = np.flatnonzero(which == place)
                energy = self.palette.amplitude[own] ** 2
                hidden[:, own] = np.where(energy < threshold[:, None], energy, 0.0).sum(axis=-1)
        return hidden


def _sounds(song: Song) -> tuple[Array, Array, Array]:
    """Which sound each part has in each section, and the roll-off and level of each sound."""
    parts = song.parts
    fall = [rolloff(family, drive) for family in parts["family"] for drive in DRIVES]
    level = np.repeat(REFERENCE_LEVEL + parts["level"].to_numpy(), len(DRIVES))
    known, sound = np.unique(np.column_stack([fall, level]), axis=0, return_inverse=True)
    drives = by_section(song, "drive")
    drive = pd.Index(DRIVES).get_indexer(pd.Index(drives.ravel())).reshape(drives.shape)
    of_part = sound.reshape(len(parts), len(DRIVES))
    return np.take_along_axis(of_part, drive, axis=1), known[:, 0], known[:, 1]


def _holdings(
    part: Array, at: Array, tone: Array, parts: int, count: int
) -> tuple[Array, list[list[int]]]:
    """Which holding each part sounds in each slice, -1 for none, and the tones of each holding.

    Holdings are built tone by tone, low to high: two cells stay equal as long as each next tone is
    equal.
    """
    cell = part * count + at
    order = np.lexsort((tone, cell))
    cell, tone = cell[order], tone[order]
    first = np.flatnonzero(np.diff(cell, prepend=-1))
    sizes = np.diff(np.append(first, len(cell)))
    kind = np.full(len(first), -1)
    size = int(tone.max(initial=-1)) + 2
    tones: list[list[int]] = [[]]
    made = np.zeros(len(first), dtype=np.int64)  # row of `tones` that each cell has come to
    for place in range(int(sizes.max(initial=0))):
        goes_on = np.flatnonzero(sizes > place)
        known, which = np.unique(
            made[goes_on] * size + tone[first[goes_on] + place], return_inverse=True
        )
        begin = len(tones)
        tones += [[*tones[each // size], each % size] for each in known.tolist()]
        made[goes_on] = begin + which
    known, kind = np.unique(made, return_inverse=True)
    held = np.full(parts * count, -1, dtype=np.int64)
    held[cell[first]] = kind
    return held.reshape(parts, count), [tones[each] for each in known.tolist()]


def _over(part: Array, whole: Array) -> Array:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), 0.0)


def _cuts(song: Song, by: str) -> Array:
    if by not in _SPANS:
        raise ArrangeError(f"by={by!r}: it is one of {', '.join(map(repr, _SPANS))}")
    spans = song.measures if by == "measure" else song.sections
    return spans["onset"].to_numpy()


def _row(
    song: Song, sounds: Sonorities, pair: tuple[int, int], values: dict[str, Array], by: str
) -> pd.DataFrame:
    """One pair's rows: means of each value over the time in which both sound, by span."""
    _, at = sounds.both(pair[0], [pair[1]])
    if by == "song":
        spans, labels = np.zeros(len(at), dtype=np.int64), None
    else:
        table = song.measures if by == "measure" else song.sections
        spans = np.searchsorted(table["onset"].to_numpy(), sounds.lines[at] + 1e-9, "right") - 1
        labels = table[by].array
    known, span = np.unique(spans, return_inverse=True)
    weight = sounds.seconds[at]
    seconds = np.bincount(span, weight, minlength=len(known))
    columns: dict[str, object] = {
        "one": text_column([sounds.parts[pair[0]]] * len(known)),
        "other": text_column([sounds.parts[pair[1]]] * len(known)),
    }
    if labels is not None:
        columns[by] = labels.take(known)
    columns["seconds"] = seconds
    for name, value in values.items():
        mean = np.bincount(span, weight * value, minlength=len(known))
        columns[name] = mean / np.where(seconds > 0, seconds, 1.0)
    first, *rest = values.values()
    worst = np.full(len(known), -np.inf)
    np.maximum.at(worst, span, first - rest[0] if rest else first)
    columns["worst"] = worst
    return pd.DataFrame(columns)


def _table(
    rows: list[pd.DataFrame], pair: tuple[str, str], by: str, values: tuple[str, ...]
) -> pd.DataFrame:
    label = () if by == "song" else (by,)
    names = [*pair, *label, "seconds", *values, "worst"]
    rows = [each for each in rows if len(each)]
    if not rows:
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in names})
    return pd.concat(rows, ignore_index=True).set_axis(names, axis=1)
