"""What two pitches cost that sound together, looked up for whole columns of candidates at once.

A table a family: from each pitch of one part to each of another, in mm a second. ``SILENT``
stands for a note that is left out; it costs nothing. What two pitches mean (a rub, mud, an excuse)
is asked of ``clashes.two_pitches`` with the caller's limits; here it gets its price. Every proposal
is then held against the findings themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from arrange.clashes.lines import ALMOST
from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT, rub_weight, semitones_below
from arrange.clashes.voice_and_bass import FOUNDATION, INTO_THE_BASS, NEAR_THE_VOICE
from arrange.hearing import partials, tone_table
from arrange.revoicing.taste import Prices, Taste
from arrange.revoicing.units import SILENT, Unit
from arrange.tables.sounding import Array

PART_TABLES = ("family", "other", "voice", "bass")  # of ``pair_costs``, by the other part's family
_WIDTH = 7  # semitones from which another register begins: a fifth (ours)
_OCTAVE = 12


def pair_costs(taste: Taste) -> dict[str, Array]:
    """Return tables (own pitch, other's pitch), mm a second.

    ``"family"`` for a part of the same family, ``"voice"``, ``"bass"``, ``"other"`` for any other
    part; ``"own"`` for two notes of one part; ``"above"`` and ``"below"`` for a top note that
    should lie above or below the other's.
    """
    limits = taste.limits
    return _tables(taste.prices, tuple(sorted(limits.low_intervals.items())), limits.goal)


@lru_cache(maxsize=8)
def _tables(
    prices: Prices, low_intervals: tuple[tuple[int, int], ...], goal: str
) -> dict[str, Array]:
    own, other = _every_pair()
    size = np.abs(own - other)
    rub = prices.rub * rub_weight(own, other)
    mud = prices.mud * np.maximum(semitones_below(own, other, dict(low_intervals)), 0.0)
    near_voice = prices.voice * ((size > 0) & (size <= NEAR_THE_VOICE))
    low_bass = other < FOUNDATION
    blurred = (own - other <= INTO_THE_BASS) & (size % _OCTAVE != 0) & low_bass
    apart = float(goal == "separate")  # parts of one family that blend share a register, and cross
    register = prices.same_register * np.maximum(1 - size / _WIDTH, 0.0)
    meets = rub + mud + prices.rough * _roughness()
    tables = {
        "family": meets + apart * register,
        "other": meets + register,
        "voice": rub + near_voice,
        "bass": rub + mud + prices.bass * blurred,
        "own": mud,
        "above": apart * prices.crossing * np.clip(other - own, 0, _OCTAVE),
        "below": apart * prices.crossing * np.clip(own - other, 0, _OCTAVE),
    }
    return {name: _with_silence(table) for name, table in tables.items()}


@lru_cache(maxsize=32)
def excuse(rub_price: float, root: int) -> Array:
    """Return what the rubs of a root under its flat nine do not cost after all, mm a second."""
    pair = _every_pair()
    return _with_silence(rub_price * (rub_weight(*pair, root) - rub_weight(*pair)))


def _every_pair() -> tuple[Array, Array]:
    pitch = np.arange(SILENT)
    return pitch[:, None], pitch[None, :]


def _with_silence(table: Array) -> Array:
    return np.pad(np.broadcast_to(table, (SILENT, SILENT)), ((0, 1), (0, 1)))


def _excuses(scene: Scene, start: Array, prices: Prices) -> Iterator[tuple[Array, Array]]:
    """For each root that a chord excuses: which meetings begin under it, and what they are let off.

    `start` is when each two notes meet, quarter notes.
    """
    roots = scene.excused_root_at(start)
    for root in np.unique(roots[roots != NO_ROOT]).tolist():
        yield roots == root, excuse(prices.rub, root)


def _roughness() -> Array:
    """How rough two tones of a clean guitar are together, a row a pitch."""
    table = tone_table(partials(np.arange(SILENT, dtype=np.float64)[:, None]))
    power = np.diag(table.power)
    return table.rough / (power[:, None] + power + 2 * table.power)


def part_tables(scene: Scene, part: str) -> Array:
    """Return for each part of a song which of ``PART_TABLES`` a part's pitches are priced by."""
    families = scene.families
    own = families[scene.parts.index(part)]
    return np.array([
        family if family in ("voice", "bass") else "family" if family == own else "other"
        for family in families
    ])  # fmt: skip


@dataclass(frozen=True)
class Around:
    """What the other parts hold while a part plays.

    Parameters
    ----------
    scene : Scene
    part : str
    taste : Taste
    without : tuple of str
        Parts that are left out of it, since they move too.
    """

    scene: Scene
    part: str
    taste: Taste
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
        scene, tables = self.scene, pair_costs(self.taste)
        notes = self.others(unit.begin, unit.finish)
        held = self.seconds(unit, notes)
        pitch, part = scene.pitch[notes].astype(np.int64), scene.part[notes]
        table_of = part_tables(scene, self.part)[part]
        cost = np.zeros((len(unit.written), SILENT + 1))
        for name in PART_TABLES:
            of = table_of == name
            if of.any():
                cost += _by_pitch(unit, held[:, of], pitch[of]) @ tables[name].T
        start = np.maximum(unit.onset[:, None], scene.onset[notes])
        for meets, table in _excuses(scene, start, self.taste.prices):
            cost += _by_pitch(unit, held * meets, pitch) @ table.T
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


def meetings(scene: Scene, units: tuple[Unit, Unit], taste: Taste) -> list[tuple[Array, Array]]:
    """Return seconds, ranks of one unit x ranks of another's, and what each two pitches cost then.

    First all that sounds together; behind it what chords excuse, at a cost below 0.
    """
    one, other = units
    begin = np.maximum(one.onset[:, None], other.onset)
    end = np.maximum(np.minimum(one.end[:, None], other.end), begin)
    seconds = np.asarray(scene.seconds(end) - scene.seconds(begin))
    excused = _excuses(scene, begin, taste.prices)
    return [
        (_by_ranks(one, other, seconds), pair_costs(taste)["family"]),
        *((_by_ranks(one, other, seconds * meets), table) for meets, table in excused),
    ]


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


def _tops(onset: Array, pitch: Array) -> Array:
    """The highest pitch that begins with each note."""
    known, which = np.unique(onset, return_inverse=True)
    top = np.full(len(known), -np.inf)
    np.maximum.at(top, which, pitch)
    return top[which]
