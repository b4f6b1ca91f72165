"""How one part can be played in a new key: each way with its capo, its notes and what it costs.

The **same shapes**: every fret goes as many frets up or down as the key does semitones, with the
capo where the part has open strings; measures in which that does not go are fingered anew, and so
is the part where those are most of it. **Open shapes**: where the part is chords on open strings,
the open shapes of the new key at some capo, as a re-voicing finds them. A note that does not lie on
the neck goes by octaves onto it; where its part sounds that already, it is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from arrange.guitar.necks import Neck, capo_words
from arrange.guitar.players import Player
from arrange.revoicing.candidates import OPEN_FRETS
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.ideas import CAPOS, open_shapes
from arrange.revoicing.movers import fingered
from arrange.revoicing.preparing import make_mover, player_neck
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Taste
from arrange.tables.copies import quick_song
from arrange.tables.song import Song
from arrange.text.words import counted
from arrange.theory.pitch import moved_key, note_name

WAYS = 4  # of a part, the cheapest; so that those of two players can all be compared
_OPEN_LOOKED_AT = 2  # capos of which the open shapes are fingered
_MOSTLY = 0.5  # share of the notes in chords from which on a part is chords (ours)
_NEARLY_ALL = 0.75  # share of the chords with open strings from which on shapes are open (ours)
_USABLE = 0.1  # share of notes out of reach up to which a capo can be used (ours)
_OCTAVE = 12


@dataclass(frozen=True, eq=False)
class Way:
    """A part in the new key.

    Parameters
    ----------
    part : str
    capo : int
    words : str
        ``"capo 4, same shapes"``.
    notes : DataFrame
        Its notes with strings and frets, under the labels of the song's notes table.
    away : float
        Share of its notes that cannot be held or do not lie on the neck.
    unreached : tuple of str
        What cannot be played as written, a sentence each.
    hand_mm : float
        How far the hand goes along the neck.
    costs : mapping of str to float
        By the names of ``Prices``, mm.
    """

    part: str
    capo: int
    words: str
    notes: pd.DataFrame
    away: float
    unreached: tuple[str, ...]
    hand_mm: float
    costs: Mapping[str, float]

    @property
    def cost(self) -> float:
        """What all costs together, mm."""
        return sum(self.costs.values())

    @property
    def is_usable(self) -> bool:
        """Whether nearly all notes are played where they belong."""
        return self.away <= _USABLE


@dataclass(frozen=True, eq=False)
class KeyedPart:
    """A part with strings, in the old key and in the new one.

    Parameters
    ----------
    before, after : Song
        In the old key and ``transposed``, the part on its player's strings in both.
    part : str
    semitones : int
    player : Player
    taste : Taste
    """

    before: Song
    after: Song
    part: str
    semitones: int
    player: Player
    taste: Taste

    @cached_property
    def neck(self) -> Neck:
        """The neck with the capo of the old key."""
        return player_neck(self.before, self.part, self.player)

    @property
    def capos(self) -> tuple[int, ...]:
        """Frets at which the player is willing to put a capo."""
        if self.player.capos is not None:
            return self.player.capos
        return tuple(range(CAPOS + 1)) if self.player.neck is None else (self.neck.capo,)

    @cached_property
    def rows(self) -> np.ndarray:
        """Positions of its notes in the notes tables."""
        return np.flatnonzero((self.before.notes["part"] == self.part).to_numpy(dtype=bool))

    @cached_property
    def notes(self) -> pd.DataFrame:
        """Its notes in the new key, without strings."""
        return self.after.notes.iloc[self.rows]

    def ways(self, capos: Sequence[int]) -> list[Way]:
        """Return the ways with some capos, the cheapest first; only usable ones, if any is."""
        if not len(self.rows):
            capo = self.neck.capo
            return [Way(self.part, capo, capo_words(capo), self.notes, 0.0, (), 0.0, {})]
        capos = [capo for capo in capos if capo < self.neck.frets - OPEN_FRETS]
        moves_along = [self.neck.capo + self.semitones] if self._open_strings.any() else []
        kept = [capo for capo in (self.neck.capo, *moves_along) if capo in capos]
        found = [self._shapes_kept(capo) for capo in kept or capos]
        found += self._open_shapes(capos)
        usable = [way for way in found if way.is_usable]
        return sorted(usable or found, key=lambda way: (way.cost, way.capo))[:WAYS]

    def _shapes_kept(self, capo: int) -> Way:
        """All frets moved as far as the key, but in measures where that does not go: where an open
        string would be fretted, a fretted one open, or a fret lie off the neck.
        """
        frets = self._frets
        new = frets + self.semitones
        goes = (self._open_strings == (new == capo)) & (new >= capo) & (new <= self.neck.frets)
        measures = self.notes["measure"].to_numpy()
        known = np.isfinite(frets)
        kept = known & ~np.isin(measures, measures[known & ~goes])
        share = float(kept.sum() / max(known.sum(), 1))
        if share < _MOSTLY:
            return self._way("fingered anew", capo, self.notes, 0.0)
        string, fret = (self._fingering[name].mask(~kept).array for name in ("string", "fret"))
        far = counted(abs(self.semitones), "fret")
        words = "the same shapes" if share == 1 else "mostly the same shapes"
        if capo == self.neck.capo:
            words += f", {far} {'higher' if self.semitones > 0 else 'lower'}"
        notes = self.notes.assign(string=string, fret=fret + self.semitones)
        return self._way(words, capo, notes, share)

    def _open_shapes(self, capos: Sequence[int]) -> Iterator[Way]:
        """Where the part is chords on open strings, those at the capos that suit them best."""
        mover = make_mover(Harmonies(self.after), self.part, find_stretch(self.after), Scope(),
                           replace(self.player, name=self.part), self.taste)  # fmt: skip
        chords = [unit.rows for unit in mover.units if unit.harmony]
        if sum(map(len, chords)) < _MOSTLY * len(self.rows):
            return
        ring = np.zeros(len(self.after.notes), dtype=bool)
        ring[self.rows] = self._open_strings
        if np.mean([ring[rows].any() for rows in chords]) < _MOSTLY:
            return
        looked_at = 0
        for capo, notes in open_shapes(mover, capos):
            fret = notes["fret"].reindex(self.after.notes.index)
            ring = (fret == capo).to_numpy(dtype=bool, na_value=False)
            if np.mean([ring[rows].any() for rows in chords]) < _NEARLY_ALL:
                continue
            key = moved_key(self.after.main_key, -capo)
            words = f"open shapes, as in {key}" if key else "open shapes"
            if capo == self.neck.capo + self.semitones:  # where the same shapes would do
                words = f"other {words}"
            yield self._way(words, capo, notes[notes["part"] == self.part], 0.0)
            looked_at += 1
            if looked_at == _OPEN_LOOKED_AT:
                return

    @cached_property
    def _frets(self) -> np.ndarray:
        """In the old key; NaN where there is none."""
        return self._fingering["fret"].to_numpy(dtype=np.float64, na_value=np.nan)

    @property
    def _open_strings(self) -> np.ndarray:
        """Which notes ring on open strings in the old key."""
        return self._frets == self.neck.capo

    @cached_property
    def _fingering(self) -> pd.DataFrame:
        """Strings and frets in the old key: the source's own, else the easiest."""
        return fingered(self.before, self.part, self.rows, self.player.hand)

    def _way(self, words: str, capo: int, notes: pd.DataFrame, kept: float) -> Way:
        """A way to play the part; `kept` is the share of notes that keep their shapes."""
        notes, moved, lost = onto_neck(notes, replace(self.neck, capo=capo))
        song = quick_song(self.after, notes=notes)
        fingers = fingered(song, self.part, np.arange(len(notes)), self.player.hand, capo)
        problems = fingers["problem"].dropna()
        pitched = notes["pitch"].notna().to_numpy()
        silent = (
            fingers["string"].isna().to_numpy() & pitched & fingers["problem"].notna().to_numpy()
        )
        first = fingers.drop_duplicates("onset")
        grips = first.groupby("measure")["cost_mm"].mean()  # as a re-voicing counts: once a chord
        notes = notes.assign(string=fingers["string"].array, fret=fingers["fret"].array)
        count = len(self.rows)
        gone = (count - len(notes) + int(silent.sum())) / count
        bars = self.notes["measure"].nunique()
        away = (notes["pitch"] - self.notes["pitch"].reindex(notes.index)).abs()
        prices = self.taste.prices
        return Way(
            self.part, capo, f"{capo_words(capo)}, {words}", notes,
            (len(moved) + len(lost) + int(silent.sum())) / count,
            tuple(self._unreached(moved, lost, problems, replace(self.neck, capo=capo))),
            float(first["move_mm"].sum()),
            {
                "grip": prices.grip * float(grips.sum()),
                "hand": prices.hand * float(first["move_mm"].sum()),
                "written": prices.written * bars * float(away.mean()),
                "lost": prices.lost * bars * gone,
                "capo": prices.capo * ((capo != self.neck.capo) + 1 - kept),
            },
        )  # fmt: skip

    def _unreached(
        self, moved: pd.DataFrame, lost: pd.DataFrame, problems: pd.Series, neck: Neck
    ) -> Iterator[str]:
        """Yield what cannot be played as written, a sentence each."""
        for is_up, where in (
            (True, f"below its lowest string, {note_name(neck.lowest)}{_at_capo(neck)}"),
            (False, f"above fret {neck.frets}"),
        ):
            own = moved[(moved["by"] > 0) == is_up]
            if len(own):
                octave = "an octave" if (own["by"].abs() == _OCTAVE).all() else "octaves"
                yield (
                    f"{self.part}: {_notes(own)} {where}; played {octave} "
                    f"{'higher' if is_up else 'lower'}"
                )
        if len(lost):
            yield f"{self.part}: {_notes(lost)} off the neck left out: the part sounds them already"
        if len(problems):
            yield (
                f"{self.part}: {counted(len(problems), 'note')} cannot be played as written; "
                f"the first: {problems.iloc[0]}"
            )


def _notes(notes: pd.DataFrame) -> str:
    """How many notes, and where the first is."""
    first = "first in" if len(notes) > 1 else "in"
    return f"{counted(len(notes), 'note')} ({first} measure {notes['measure'].min()})"


def _at_capo(neck: Neck) -> str:
    return f" at {capo_words(neck.capo)}" if neck.capo else ""


def onto_neck(notes: pd.DataFrame, neck: Neck) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Move notes of a part that lie below or above a neck onto it, by octaves.

    Returns
    -------
    notes : DataFrame
        All that are played.
    moved : DataFrame
        Those of them that have moved, with a column `by`, semitones.
    lost : DataFrame
        Those that are left out, since the part sounds the same then.
    """
    pitch = notes["pitch"].to_numpy()
    up = np.ceil(np.maximum(neck.lowest - pitch, 0) / _OCTAVE)
    down = np.ceil(np.maximum(pitch - neck.highest, 0) / _OCTAVE)
    by = _OCTAVE * np.nan_to_num(up - down)
    onset = notes["onset"].to_numpy()
    order = np.argsort(by != 0, kind="stable")  # where two meet, the one that stays is kept
    both = pd.DataFrame({"onset": onset, "pitch": pitch + by}).iloc[order]
    again = both.duplicated().sort_index().to_numpy() & (by != 0)
    string, fret = (notes[name].mask(by != 0) for name in ("string", "fret"))
    placed = notes.assign(pitch=pitch + by, string=string, fret=fret)
    moved = placed.assign(by=by)[(by != 0) & ~again]
    return placed[~again], moved, notes[again]
