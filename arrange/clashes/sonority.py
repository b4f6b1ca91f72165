"""What the ear makes of two parts at once: ``roughness``, ``masking``; and of one amplifier:
``drive``.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, reaching
from arrange.hearing import (
    Partials,
    beats,
    clipped_tones,
    clipping_products,
    drive_named,
    joined,
    roughness,
    roughness_sethares,
)
from arrange.hearing.spectra import AMPLIFIED
from arrange.tables.setups import by_section
from arrange.tables.sounding import Array
from arrange.theory.pitch import frequency, interval_name

SETHARES_MORE = 1.1  # times rougher than both parts alone, before the second model agrees (ours)
_CLEAN_UNDER_DRIVE = (0, 5, 7)  # intervals of a power chord, in any octave


def find_roughness(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts together are rougher than each alone.

    The value is how much rougher than the rougher of the two, after Hutchinson and Knopoff, the
    mean over the seconds in which that is above the limit; pauses of up to a bar within a section
    do not end it. It is reported only if Sethares's model agrees that the two add roughness to
    each other.
    """
    sounds, found = scene.sonorities, []
    asked = scene.asked_parts
    for place, one in enumerate(asked[:-1], start=1):
        others = asked[place:]
        which, at = sounds.both(one, others)
        together, alone = sounds.roughness(one, others)
        added = together - alone
        rough = np.flatnonzero(added >= limits.roughness)
        which, at, added = which[rough], at[rough], added[rough]
        runs_of = scene.slice_runs(at, which)
        for run in reaching(runs_of, scene.slice_seconds[at], limits.roughness_seconds):
            value = float(np.average(added[run], weights=scene.slice_seconds[at[run]]))
            worst = int(at[run[np.argmax(added[run])]])
            found.append(((one, others[which[run[0]]]), at[run], worst, value))
    agrees = _second_model_agrees(scene, [(pair, worst) for pair, _, worst, _ in found])
    return [
        _rough_clash(scene, limits, *each)
        for each, agreed in zip(found, agrees.tolist(), strict=True)
        if agreed
    ]


def _rough_clash(
    scene: Scene, limits: Limits, pair: tuple[int, int], at: Array, worst: int, value: float
) -> Clash:
    lines = scene.slices[0]
    onset, seconds = float(lines[at[0]]), float(scene.slice_seconds[at].sum())
    parts = [scene.parts[each] for each in pair]
    held = [scene.held_by(each, worst) for each in pair]
    names = [" ".join(scene.name(pitch, onset) for pitch in pitches) for pitches in held]
    return Clash(
        "roughness", onset, float(lines[at[-1] + 1]), parts, sorted({*held[0], *held[1]}), value,
        limits.roughness, "added roughness",
        f"{parts[0]} ({names[0]}) and {parts[1]} ({names[1]}) sound rougher together than either "
        f"alone, for {seconds:.1f} s: their partials beat; spread them, or let one hold less.",
        scene.row[scene.sounding_in(at, *pair)[0]],
    )  # fmt: skip


def _second_model_agrees(scene: Scene, meetings: list[tuple[tuple[int, int], int]]) -> Array:
    """Whether two parts add roughness to each other after Sethares, beyond their own.

    Answers for pairs of parts, each in a slice.
    """
    sounds = scene.sonorities
    held = [[sounds.held[part, at] for part in pair] for pair, at in meetings]
    known, which = np.unique(np.reshape(held, (-1, 2)), axis=0, return_inverse=True)
    one, other = (sounds.partials_of(holdings) for holdings in known.astype(np.int64).T)
    apart = roughness_sethares(one) + roughness_sethares(other)
    agrees = roughness_sethares(joined(one, other)) > SETHARES_MORE * apart
    return np.asarray(agrees[which.ravel()])


def find_masking(scene: Scene, limits: Limits) -> list[Clash]:
    """Return the sections in which one part hides much of another's sound.

    The value is the share of the hidden part's partial energy that lies under the threshold that
    the other raises, by their levels; the mean over the time in which both sound. At equal level
    two parts hardly hide each other; a part hides another if it is much louder, or much richer in
    partials, in the same register or below.
    """
    sounds, parts, size = scene.sonorities, scene.parts, len(scene.sections)
    found = []
    for masker in scene.asked_parts:
        targets = [part for part in scene.asked_parts if part != masker]
        which, at = sounds.both(masker, targets)
        hidden, seconds = sounds.masked_share(masker, targets), scene.slice_seconds[at]
        cell = which * size + scene.slice_section[at]
        time = np.bincount(cell, seconds, minlength=len(targets) * size)
        lost = np.bincount(cell, seconds * hidden, minlength=len(targets) * size)
        share = lost / np.where(time > 0, time, 1.0)
        for each in np.flatnonzero((share >= limits.masking) & (time >= limits.masking_seconds)):
            target, (name, onset, end) = targets[each // size], scene.sections[each % size]
            inside = np.flatnonzero(cell == each)
            worst, value = int(at[inside[np.argmax(hidden[inside])]]), float(share[each])
            found.append(
                Clash(
                    "masking", onset, end, (parts[masker], parts[target]),
                    scene.held_by(target, worst), value, limits.masking, "share of energy",
                    f"{parts[masker]} hides {value:.0%} of {parts[target]}'s sound through {name}: "
                    "turn it down, or move one of the two away.",
                    scene.row[scene.sounding_in(at[inside], masker, target)[0]],
                )
            )  # fmt: skip
    return found


def find_drive(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where overdrive makes what one part holds rough.

    An amplifier adds the sums and differences of all notes that it is given (intermodulation);
    two parts share no amplifier, so that each is judged by itself. The value is how much rougher
    the notes and what is added are than the notes alone, after Hutchinson and Knopoff, weighed
    by time. Single notes, octaves and power chords are never reported. Repeats in a section, at
    most a bar apart, are one finding.
    """
    found: list[Clash] = []
    # By the section in which a slice begins: what rings on keeps its sound for the rest of it.
    for part, drives in enumerate(by_section(scene.song, "drive")):
        if scene.families[part] not in AMPLIFIED or not scene.is_asked[part]:
            continue
        for drive in sorted(set(drives.tolist()) - {"clean"}):
            found += _rough_under(scene, limits, part, drive, drives[scene.slice_section] == drive)
    return found


def _rough_under(
    scene: Scene, limits: Limits, part: int, drive: str, has_drive: Array
) -> Iterator[Clash]:
    """What one drive of a part makes rough in the slices in which the part has it."""
    sounds = scene.sonorities
    known, which = np.unique(np.where(has_drive, sounds.held[part], -1), return_inverse=True)
    added = _added_by_drive([sounds.pitches_of(int(holding)) for holding in known], drive)
    at = np.flatnonzero(added[which] >= limits.drive)
    seconds = scene.slice_seconds[at]
    rough = [at[run] for run in reaching(scene.slice_runs(at), seconds, limits.drive_seconds)]
    worst = [int(run[np.argmax(added[which[run]])]) for run in rough]
    beating = _roughest_pairs([scene.held_by(part, each) for each in worst], drive)
    for run, at_worst, pair in zip(rough, worst, beating, strict=True):
        value = float(np.average(added[which[run]], weights=scene.slice_seconds[run]))
        yield _drive_clash(scene, limits, (part, drive), run, value, at_worst, pair)


class _BeatingPair(NamedTuple):
    """Two pitches that an amplifier makes rough, and how often a second they beat."""

    low: float
    high: float
    rate: float


def _drive_clash(
    scene: Scene,
    limits: Limits,
    driven: tuple[int, str],
    at: Array,
    value: float,
    worst: int,
    pair: _BeatingPair,
) -> Clash:
    (part, drive), lines = driven, scene.slices[0]
    onset, seconds = float(lines[at[0]]), float(scene.slice_seconds[at].sum())
    names = f"{scene.name(pair.low, onset)} and {scene.name(pair.high, onset)}"
    return Clash(
        "drive", onset, float(lines[at[-1] + 1]), [scene.parts[part]], scene.held_by(part, worst),
        value, limits.drive, "added roughness",
        f"{scene.parts[part]} is {drive} and holds {names}, a "
        f"{interval_name(pair.high - pair.low)}: the amplifier adds tones that beat "
        f"{pair.rate:.0f} times a second, for {seconds:.1f} s; a root and fifth stay clean, and so "
        "does the third in the clean part.",
        scene.row[scene.sounding_in(at, part)[0]],
    )  # fmt: skip


def _added_by_drive(chords: list[Array], drive: str) -> Array:
    """How much rougher each chord is after a drive than before it; chords of one size at once.

    It is 0 for chords of only roots and fifths.
    """
    added = np.zeros(len(chords))
    sizes = np.array([len(pitches) for pitches in chords])
    for size in np.unique(sizes[sizes > 1]):
        rows = np.flatnonzero(sizes == size)
        pitches = np.array([chords[row] for row in rows])
        apart = np.abs(pitches[:, :, None] - pitches[:, None, :]) % 12
        asked = ~np.isin(apart, (*_CLEAN_UNDER_DRIVE, 12)).all(axis=(1, 2))
        rows, pitches = rows[asked], pitches[asked]
        tones = Partials(frequency(pitches), np.full(pitches.shape, 1 / size))
        added[rows] = roughness(_driven(pitches, drive)) - roughness(tones)
    return added


def _driven(pitches: Array, drive: str) -> Partials:
    """The notes of chords after the drive, and what it adds; chords x notes."""
    hertz, strength = frequency(pitches), 1 / pitches.shape[-1]
    shape = drive_named(drive)
    products = clipping_products(hertz, strength, shape)
    return joined(
        clipped_tones(hertz, strength, shape), Partials(products.frequency, products.amplitude)
    )


def _roughest_pairs(chords: list[list[float]], drive: str) -> list[_BeatingPair]:
    """The two notes of each chord that the drive makes roughest, the lower first."""
    if not chords:
        return []
    pairs = [list(combinations(sorted(set(chord)), 2)) for chord in chords]
    known = sorted({pair for each in pairs for pair in each})
    added = dict(
        zip(known, _added_by_drive([np.array(pair) for pair in known], drive).tolist(), strict=True)
    )
    worst = [max(each, key=added.__getitem__) for each in pairs]
    rates = beats(_driven(np.array(worst), drive)).rate
    beating = np.isfinite(rates).any(axis=1)
    rates[~beating] = 0.0
    return [
        _BeatingPair(*pair, rate)
        for pair, rate in zip(worst, np.nanmedian(rates, axis=1).tolist(), strict=True)
    ]
