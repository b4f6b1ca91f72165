"""What two pitches cost that sound together, looked up for whole columns of candidates at once.

A table a family: from each pitch of one player to each of another, in mm a second. ``SILENT``
stands for a note that is left out; it costs nothing. The tables follow the rules of the findings
closely enough to choose by; every proposal is then held against the findings themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from arrange.clashes.limits import LOW_INTERVAL_LIMITS
from arrange.clashes.lines import ALMOST
from arrange.clashes.scene import Scene
from arrange.clashes.voice_and_bass import FOUNDATION, INTO_THE_BASS, NEAR_THE_VOICE
from arrange.hearing import partials, tone_table
from arrange.revoicing.units import Unit
from arrange.revoicing.weights import Weights
from arrange.tables.sounding import Array

SILENT = 128
_WIDTH = 7  # semitones from which another register begins: a fifth (ours)
_OCTAVE = 12


@lru_cache(maxsize=8)
def pair_costs(weights: Weights) -> dict[str, Array]:
    """Return tables (own pitch, other's pitch), mm a second.

    ``"other"`` for guitars and the like, ``"voice"``, ``"bass"``; ``"own"`` for two notes of one
    part; ``"above"`` and ``"below"`` for a top note that should lie above or below the other's.
    """
    pitch = np.arange(SILENT)
    own, other = pitch[:, None], pitch[None, :]
    size, low = np.abs(own - other), np.minimum(own, other)
    rub = np.where(size % _OCTAVE == 1, np.clip(2.0 ** ((60 - low) / 24), 0.5, 2.0), 0.0)
    limit = np.full(SILENT, -np.inf)
    for interval, lowest in LOW_INTERVAL_LIMITS.items():
        limit[interval] = lowest
    mud = weights.mud * np.maximum(limit[size] - low, 0.0)
    meets = weights.rub * rub + mud + weights.rough * _roughness()
    near_voice = weights.voice * ((size > 0) & (size <= NEAR_THE_VOICE))
    low_bass = other < FOUNDATION
    blurred = (own - other <= INTO_THE_BASS) & (size % _OCTAVE != 0) & low_bass
    register = weights.same_register * np.maximum(1 - size / _WIDTH, 0.0)
    tables = {
        "other": meets + register,
        "voice": weights.rub * rub + near_voice,
        "bass": weights.rub * rub + mud + weights.bass * blurred,
        "own": mud,
        "above": weights.crossing * np.clip(other - own, 0, _OCTAVE),
        "below": weights.crossing * np.clip(own - other, 0, _OCTAVE),
    }
    return {name: np.pad(table, ((0, 1), (0, 1))) for name, table in tables.items()}


def _roughness() -> Array:
    """How rough two tones of a clean guitar are together, a row a pitch."""
    table = tone_table(partials(np.arange(SILENT, dtype=np.float64)[:, None]))
    power = np.diag(table.power)
    return table.rough / (power[:, None] + power + 2 * table.power)


@dataclass(frozen=True)
class Around:
    """What the other parts hold while a part plays.

    Parameters
    ----------
    scene : Scene
    part : str
    weights : Weights
    without : tuple of str
        Parts that are left out of it, since they move too.
    """

    scene: Scene
    part: str
    weights: Weights
    without: tuple[str, ...] = ()

    def sides(self) -> dict[int, str]:
        """Return for each part of the same family whether this one lies above or below it."""
        on_top = self.scene.on_top[self.scene.parts.index(self.part)]
        return {
            other: "above" if on_top[other] > 0 else "below"
            for other in np.flatnonzero(np.abs(on_top) > ALMOST).tolist()
        }

    def costs(self, unit: Unit, sides: dict[int, str]) -> Array:
        """Return what each pitch costs at each rank of a unit, ranks x 129, mm."""
        scene, tables = self.scene, pair_costs(self.weights)
        notes = self.others(unit.begin, unit.finish)
        held = self.seconds(unit, notes)
        pitch, part = scene.pitch[notes].astype(np.int64), scene.part[notes]
        family = np.array([_table_of(each) for each in scene.families], dtype=object)
        cost = np.zeros((len(unit.written), SILENT + 1))
        for name in ("other", "voice", "bass"):
            of = family[part] == name
            if of.any():
                cost += _by_pitch(unit, held[:, of], pitch[of]) @ _excused(tables[name], unit).T
        for other, side in sides.items():
            of = np.flatnonzero(part == other)
            if len(of):
                is_top = pitch[of] == _tops(scene.onset[notes[of]], pitch[of])
                top = unit.pitch == _tops(unit.onset, unit.pitch)
                seconds = held[:, of] * is_top * top[:, None]
                cost += _by_pitch(unit, seconds, pitch[of]) @ tables[side].T
        return cost

    def others(self, begin: float, end: float) -> Array:
        """Return the notes of the other parts that sound between two times, as indices."""
        scene = self.scene
        skipped = [scene.parts.index(name) for name in (self.part, *self.without)]
        sounds = (scene.onset < end) & (scene.end > begin) & ~np.isin(scene.part, skipped)
        return np.flatnonzero(sounds)

    def seconds(self, unit: Unit, notes: Array) -> Array:
        """Return for how long each note of a unit and each other note sound together."""
        scene = self.scene
        begin = np.maximum(unit.onset[:, None], scene.onset[notes])
        end = np.maximum(np.minimum(unit.end[:, None], scene.end[notes]), begin)
        return np.asarray(scene.seconds(end) - scene.seconds(begin))


def own_seconds(scene: Scene, unit: Unit) -> Array:
    """Return for how long each two ranks of a unit sound together, ranks x ranks."""
    begin = np.maximum(unit.onset[:, None], unit.onset)
    end = np.maximum(np.minimum(unit.end[:, None], unit.end), begin)
    return _by_ranks(unit, unit, scene.seconds(end) - scene.seconds(begin))


def between(scene: Scene, one: Unit, other: Unit) -> Array:
    """Return for how long each rank of one unit sounds with each of another's."""
    begin = np.maximum(one.onset[:, None], other.onset)
    end = np.maximum(np.minimum(one.end[:, None], other.end), begin)
    return _by_ranks(one, other, scene.seconds(end) - scene.seconds(begin))


def _by_ranks(one: Unit, other: Unit, seconds: Array) -> Array:
    counted = seconds * ~one.follows[:, None] * ~other.follows
    total = np.zeros((len(one.written), len(other.written)))
    np.add.at(total, (one.rank[:, None], other.rank), counted)
    return total


def _by_pitch(unit: Unit, seconds: Array, pitch: Array) -> Array:
    """Seconds of each rank with each pitch."""
    total = np.zeros((len(unit.written), SILENT + 1))
    np.add.at(total, (unit.rank[:, None], pitch), seconds * ~unit.follows[:, None])
    return total


def _table_of(family: str) -> str:
    return family if family in ("voice", "bass") else "other"


def _excused(table: Array, unit: Unit) -> Array:
    """The table without the root under its own flat nine, where the chord asks for one."""
    harmony = unit.harmony
    if harmony is None or (harmony.root + 1) % _OCTAVE not in harmony.members:
        return table
    pitch = np.arange(SILENT + 1)
    own, other = pitch[:, None], pitch[None, :]
    is_root = np.minimum(own, other) % _OCTAVE == harmony.root
    return np.where(is_root & (np.abs(own - other) % _OCTAVE == 1), 0.0, table)


def _tops(onset: Array, pitch: Array) -> Array:
    """The highest pitch that begins with each note."""
    known, which = np.unique(onset, return_inverse=True)
    top = np.full(len(known), -np.inf)
    np.maximum.at(top, which, pitch)
    return top[which]
