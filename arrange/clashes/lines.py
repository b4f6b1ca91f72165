"""How two parts lie to each other as lines: ``crowding``, ``crossing``, ``doubling``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import pandas as pd

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, reaching, runs
from arrange.quantities.register import overlap_coefficient
from arrange.tables.sounding import Array
from arrange.text.words import counted

OCTAVE = 12  # semitones; a crossing that is deeper weighs no more (ours)
ALMOST = 1e-9  # seconds; if the difference is smaller, both are on top equally long
MOST_OCTAVES = 2  # farther apart, two lines are hardly heard as one (ours)
MEANT = 0.9  # share of the attacks that two parts share where a double is meant (ours)
MEANT_DOUBLE = 0.14  # severity below which such a double stays: no other is as low (ours)
OTHER_DOUBLE = 0.5  # below which another one stays (ours)


def find_crowding(scene: Scene, limits: Limits) -> list[Clash]:
    """Return the sections in which two parts share a register while both sound.

    The value is the overlap coefficient of the time that each spends on each semitone, taken over
    the time in which both sound. A singer or a bass beside another kind of part is left out, since
    it has a finding of its own; so are parts of one family that are meant to blend.
    """
    seconds, section = scene.slice_seconds, scene.slice_section
    sounds, families = np.isfinite(scene.top), scene.families
    lowest, highest, beside = _registers(scene, section)
    order = list(dict.fromkeys(scene.part.tolist()))
    found = []
    for place, first in enumerate(order):
        others = order[place + 1 :]
        its, theirs = beside[others, :, first], beside[first][:, others].swapaxes(0, 1)
        together = np.round(overlap_coefficient(its, theirs), 12)  # so that equal ones are equal
        for which, row in np.argwhere(together >= limits.crowding).tolist():
            one, other = sorted((first, others[which]))
            if families[one] != families[other]:
                if {families[one], families[other]} & {"voice", "bass"}:
                    continue
            elif limits.goal == "blend":
                continue
            spent = float(seconds[sounds[one] & sounds[other] & (section == row)].sum())
            if spent < limits.crowding_seconds:
                continue
            low = float(max(lowest[one, row], lowest[other, row]))
            high = float(min(highest[one, row], highest[other, row]))
            value = float(together[which, row])
            found.append(_crowding(scene, limits, (one, other), row, (low, high), value, spent))
    return found


def _crowding(
    scene: Scene,
    limits: Limits,
    pair: tuple[int, int],
    row: int,
    shared: tuple[float, float],
    value: float,
    seconds: float,
) -> Clash:
    section, onset, end = scene.sections[row]
    one, other = (scene.parts[part] for part in pair)
    low, high = (scene.name(pitch, onset) for pitch in shared)
    return Clash(
        "crowding", onset, end, (one, other), shared, value, limits.crowding, "share of time",
        f"{one} and {other} live in the same register through {section}, {low} to {high}: "
        f"{value:.0%} of their time together is on the same notes ({seconds:.0f} s).",
        _in_shared_register(scene, pair, row, shared),
    )  # fmt: skip


def _in_shared_register(
    scene: Scene, pair: tuple[int, int], row: int, shared: tuple[float, float]
) -> Array:
    """Rows of the notes of two parts in a section that lie in a register while both sound."""
    both = scene.section_slices(row)
    both = both[np.isfinite(scene.top[list(pair)][:, both]).all(axis=0)]
    note = scene.sounding_in(both, *pair)[0]
    semitone = np.ceil(scene.pitch[note] - 0.5)
    return scene.row[note[(semitone >= shared[0]) & (semitone <= shared[1])]]


def _registers(scene: Scene, section: Array) -> tuple[Array, Array, Array]:
    """Lowest and highest semitone of each part in each section, and how long it is on each.

    The last has a value for each other part, of the time in which that one sounds too: an array
    other parts x sections x parts x semitones. A quarter tone counts as the semitone below it.
    """
    lines, note, at = scene.slices
    part, length = scene.part[note], np.diff(lines)[at]
    semitone = np.ceil(scene.pitch[note] - 0.5)
    bottom = semitone.min(initial=128)
    shape = len(scene.sections), len(scene.parts), int(semitone.max(initial=bottom) - bottom) + 1
    cell = (section[at] * shape[1] + part) * shape[2] + (semitone - bottom).astype(np.int64)
    sounds = np.isfinite(scene.top)
    beside = np.array(
        [
            np.bincount(cell, length * own[at], minlength=shape[0] * shape[1] * shape[2])
            for own in sounds
        ]
    )
    beside = beside.reshape(len(sounds), *shape)
    own = beside[np.arange(len(sounds)), :, np.arange(len(sounds))] > 0
    lowest = bottom + own.argmax(axis=-1)
    highest = bottom + shape[2] - 1 - own[..., ::-1].argmax(axis=-1)
    return lowest, highest, beside


def find_crossings(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where the part that should be on top goes below the other.

    It is looked for between parts of one family. The upper part is the one whose top line lies
    higher for more of the time in which both sound; where that is equal there is none. The value is
    the seconds that its top line stays below the other's, times the semitones by which (an octave
    at most); pauses of up to a quarter do not end it. Parts that are meant to blend have no upper
    one.
    """
    if limits.goal == "blend":
        return []
    lines, seconds = scene.slices[0], scene.slice_seconds
    sounds = np.isfinite(scene.top)
    top = np.where(sounds, scene.top, 0)
    found = []
    for one, family in enumerate(scene.families[:-1]):
        others = one + 1 + np.flatnonzero(scene.families[one + 1 :] == family)
        above = (top[one] - top[others]) * (sounds[one] & sounds[others])
        on_top = scene.on_top[one, others]
        depth = -np.sign(on_top)[:, None] * above  # of the upper part under the other
        depth[np.abs(on_top) <= ALMOST] = 0
        row, at = np.nonzero(depth > 0)
        joined = runs((row,), lines[at], lines[at + 1], np.ones(len(at)))
        depth = depth[row, at]
        weighed = np.minimum(depth, OCTAVE) * seconds[at]
        for run in reaching(joined, weighed, limits.crossing):
            other = int(others[row[run[0]]])
            pair = (one, other) if on_top[row[run[0]]] > 0 else (other, one)
            value, most = float(weighed[run].sum()), float(depth[run].max())
            found.append(_crossing(scene, limits, pair, at[run], value, most))
    return found


def _crossing(
    scene: Scene, limits: Limits, pair: tuple[int, int], at: Array, value: float, most: float
) -> Clash:
    """The finding from the slices in which the upper part is below, with the distance in each."""
    upper, lower = pair
    note, where = scene.sounding_in(at, *pair)
    is_top = scene.pitch[note] == scene.top[scene.part[note], where]
    lines, seconds = scene.slices[0], float(scene.slice_seconds[at].sum())
    pitches = float(scene.top[upper, at].min()), float(scene.top[lower, at].max())
    parts = scene.parts[upper], scene.parts[lower]
    return Clash(
        "crossing", float(lines[at[0]]), float(lines[at[-1] + 1]), parts, pitches, value,
        limits.crossing, "semitones x s",
        f"{parts[0]}, on top over the song, goes below {parts[1]} for {seconds:.1f} s, by up to "
        f"{counted(f'{most:.0f}', 'semitone')}: the ear takes the higher one for the tune.",
        scene.row[note[is_top]],
    )  # fmt: skip


def find_doublings(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts play the same line in unison or octaves.

    A line is a part's top note at each of its attacks. A run goes on while both attack together on
    the same interval; one attack that differs is forgiven, two in a row end it, and so does a pause
    of a whole note. It must move (at least three changes of pitch). The value is the shared
    attacks. If nine in ten attacks are shared, the doubling is rated as intended, and so is one in
    octaves with a bass, whose work it is to carry the roots of others; else as accidental. It is
    never a fault: severity stays below 0.14 if intended and below 0.5 if not. Where parts of
    one family are meant to blend, an exact doubling is wanted and not reported, and one that is not
    exact counts in full.
    """
    found = []
    attacks = _top_attacks(scene)
    for one in range(len(scene.parts) - 1):
        for other, run in _doubled_runs(attacks, one, limits):
            blend = limits.goal == "blend" and scene.families[one] == scene.families[other]
            onset, pitch, interval, missed, last, notes = run
            if missed == 0 and blend:
                continue
            is_root = interval != 0 and "bass" in scene.families[[one, other]]
            value, parts = float(len(onset)), (scene.parts[one], scene.parts[other])
            is_meant, how = _how_doubled(len(onset), missed, abs(interval) // 12, is_root, blend)
            weight = 1.0 if blend else MEANT_DOUBLE if is_meant else OTHER_DOUBLE
            found.append(
                Clash(
                    "doubling", float(onset[0]), last, parts, sorted({*pitch.tolist()}), value,
                    limits.doubling, "attacks",
                    f"{parts[0]} and {parts[1]} play the same line {how}.",
                    scene.row[notes],
                    weight,
                )
            )  # fmt: skip
    return found


def are_meant_doubles(findings: pd.DataFrame) -> Array:
    """Return which findings are doublings that read as meant."""
    is_quiet = findings["severity"].to_numpy() < MEANT_DOUBLE
    return np.asarray((findings["kind"] == "doubling").to_numpy(dtype=bool) & is_quiet)


def _how_doubled(
    shared: int, missed: int, octaves: int, is_root: bool, blend: bool
) -> tuple[bool, str]:
    """Whether a doubling is meant, and how it is played, in words."""
    how = ("in unison", "in octaves")[octaves] if octaves < 2 else f"{octaves} octaves apart"
    together = "every attack" if missed == 0 else f"{shared} of {shared + missed} attacks"
    how = f"{how}, {together} together, "
    if is_root:
        return True, f"{how}as a bass carries the roots of others"
    if shared >= (1.0 if blend else MEANT) * (shared + missed):
        return True, f"{how}so it reads as meant"
    return False, (
        f"{how}so it reads as an accident: make it exact, or let one play something else"
    )


class Attacks(NamedTuple):
    """The attacks of all parts (rows), a column for each onset that there is.

    Parameters
    ----------
    onset : array (onsets,)
    pitch, end : array (parts, onsets)
        Of the top note; NaN where a part attacks nothing.
    number : array (parts, onsets)
        How many attacks of the part came before.
    note : array of int (parts, onsets)
        The top note itself, -1 where a part attacks nothing.
    """

    onset: Array
    pitch: Array
    end: Array
    number: Array
    note: Array


def _top_attacks(scene: Scene) -> Attacks:
    order = np.argsort(scene.pitch, kind="stable")  # so that the highest is written last
    onset, column = np.unique(scene.onset[order], return_inverse=True)
    pitch, end = np.full((2, len(scene.parts), len(onset)), np.nan)
    pitch[scene.part[order], column] = scene.pitch[order]
    end[scene.part[order], column] = scene.end[order]
    note = np.full(pitch.shape, -1)
    note[scene.part[order], column] = order
    return Attacks(onset, pitch, end, np.cumsum(np.isfinite(pitch), axis=1) - 1, note)


def _doubled_runs(
    attacks: Attacks, one: int, limits: Limits
) -> Iterator[tuple[int, tuple[Array, Array, int, int, float, Array]]]:
    """Runs of attacks that a part shares with each later part, with that part's number: onsets,
    upper pitches, interval, attacks missed, end, notes.
    """
    size = attacks.pitch[one] - attacks.pitch[one + 1 :]
    octaves = np.rint(size / 12)
    other, column = np.nonzero((size == 12 * octaves) & (np.abs(octaves) <= MOST_OCTAVES))
    line = other * (2 * MOST_OCTAVES + 1) + octaves[other, column].astype(np.int64) + MOST_OCTAVES
    order = np.argsort(line, kind="stable")  # by other part, by interval, by time
    line, other, column = line[order], other[order] + one + 1, column[order]
    pitch, ends, number = (
        np.stack([values[one, column], values[other, column]])
        for values in (attacks.pitch, attacks.end, attacks.number)
    )
    notes = np.stack([attacks.note[one, column], attacks.note[other, column]])
    onset, pitch, ends = attacks.onset[column], pitch.max(axis=0), ends.max(axis=0)
    strays = np.diff(number, axis=1).max(axis=0, initial=0) - 1
    breaks = (strays > 1) | (onset[1:] - ends[:-1] > 4) | (np.diff(line) != 0)
    bounds = np.concatenate([[0], np.flatnonzero(breaks) + 1, [len(line)]])
    for place in np.flatnonzero(np.diff(bounds) >= limits.doubling).tolist():
        run = slice(bounds[place], bounds[place + 1])
        if np.count_nonzero(np.diff(pitch[run])) < 3:
            continue
        interval = 12 * (int(line[run][0]) % (2 * MOST_OCTAVES + 1) - MOST_OCTAVES)
        missed = int(strays[run.start : run.stop - 1].sum())
        last = float(ends[run].max())
        about = onset[run], pitch[run], interval, missed, last, notes[:, run].ravel()
        yield int(other[run.start]), about
