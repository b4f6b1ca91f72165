"""What the ear makes of two parts at once: ``roughness``, ``masking``; and of one amplifier:
``drive``.
"""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, grows, runs
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
from arrange.pitch import frequency, interval_name
from arrange.sounding import Array

SETHARES_MORE = 1.1  # times rougher than both apart, before the second model agrees (ours)
_CLEAN_UNDER_DRIVE = (0, 5, 7)  # intervals of a power chord, in any octave


def find_roughness(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts together are rougher than each alone.

    The value is how much rougher than the rougher of the two, after Hutchinson and Knopoff, the
    mean over the seconds in which that is above the limit; pauses of up to a bar within a section
    do not end it. Told only if Sethares's model agrees that the two add roughness to each other.
    """
    sounds, lines = scene.sonorities, scene.slices[0]
    found = []
    for pair in combinations(range(len(scene.parts)), 2):
        at = sounds.both(*pair)
        together, alone = sounds.roughness(*pair)
        added = together - alone
        rough = np.flatnonzero(added >= limits.roughness)
        at, added = at[rough], added[rough]
        section = scene.section_of(lines[at])
        order, starts = runs((section,), lines[at], lines[at + 1], scene.bar_at(lines[at]))
        for run in np.split(order, starts[1:]) if len(order) else ():
            seconds = scene.slice_seconds[at[run]]
            if seconds.sum() < limits.roughness_seconds:
                continue
            worst = int(at[run[np.argmax(added[run])]])
            if _second_model_agrees(scene, pair, worst):
                value = float(np.average(added[run], weights=seconds))
                found.append(_rough_clash(scene, limits, pair, at[run], worst, value))
    return found


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
        limits.roughness, "added roughness", grows(value / limits.roughness),
        f"{parts[0]} ({names[0]}) and {parts[1]} ({names[1]}) sound rougher together than either "
        f"alone, for {seconds:.1f} s: their partials beat; spread them, or let one hold less.",
        "roughness",
    )  # fmt: skip


def _second_model_agrees(scene: Scene, pair: tuple[int, int], at: int) -> bool:
    """Whether two parts add roughness to each other after Sethares, beyond their own."""
    sounds = scene.sonorities
    one, other = (sounds.partials_of(int(sounds.held[part, at])) for part in pair)
    apart = roughness_sethares(one) + roughness_sethares(other)
    return bool(roughness_sethares(joined(one, other)) > SETHARES_MORE * apart)


def find_masking(scene: Scene, limits: Limits) -> list[Clash]:
    """Return the sections in which one part hides much of another's sound.

    The value is the share of the hidden part's partial energy that lies under the threshold that
    the other raises, by their levels; the mean over the time in which both sound. At equal level
    two parts hardly hide each other: it takes one that is much louder, or much richer, in the
    same register or below.
    """
    sections = scene.song.sections
    sounds, lines = scene.sonorities, scene.slices[0]
    section = scene.section_of(lines[:-1])
    found = []
    for pair in permutations(range(len(scene.parts)), 2):
        at = sounds.both(*pair)
        hidden, seconds = sounds.masked_share(*pair), scene.slice_seconds[at]
        time = np.bincount(section[at], seconds, minlength=len(sections))
        lost = np.bincount(section[at], seconds * hidden, minlength=len(sections))
        share = lost / np.where(time > 0, time, 1.0)
        for row in np.flatnonzero((share >= limits.masking) & (time >= limits.masking_seconds)):
            loud, soft = (scene.parts[part] for part in pair)
            inside = at[section[at] == row]
            worst = int(inside[np.argmax(hidden[section[at] == row])])
            onset, value = float(sections["onset"].iloc[row]), float(share[row])
            found.append(
                Clash(
                    "masking", onset, onset + float(sections["duration"].iloc[row]), (loud, soft),
                    scene.held_by(pair[1], worst), value, limits.masking, "share of energy",
                    grows(value / limits.masking),
                    f"{loud} hides {value:.0%} of {soft}'s sound through "
                    f"{sections['section'].iloc[row]}: turn it down, or move one of the two away.",
                    "masking",
                )
            )  # fmt: skip
    return found


def find_drive(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where overdrive makes what one part holds rough.

    An amplifier adds the sums and differences of all notes that it is given (intermodulation);
    two parts share no amplifier, so that each is asked by itself. The value is how much rougher
    the notes and what is added are than the notes alone, after Hutchinson and Knopoff, weighed
    by time. Single notes, octaves and power chords are never told. Repeats in a section, at most
    a bar apart, are one finding.
    """
    sounds, lines = scene.sonorities, scene.slices[0]
    parts = scene.song.parts
    found = []
    for part in range(len(scene.parts)):
        drive, family = parts["drive"].iloc[part], parts["family"].iloc[part]
        if drive == "clean" or family not in AMPLIFIED:
            continue
        known, which = np.unique(sounds.held[part], return_inverse=True)
        added = _added_by_drive([sounds.pitches_of(int(holding)) for holding in known], drive)
        at = np.flatnonzero(added[which] >= limits.drive)
        section = scene.section_of(lines[at])
        order, starts = runs((section,), lines[at], lines[at + 1], scene.bar_at(lines[at]))
        for run in np.split(at[order], starts[1:]) if len(order) else ():
            seconds = scene.slice_seconds[run]
            if seconds.sum() >= limits.drive_seconds:
                value = float(np.average(added[which[run]], weights=seconds))
                worst = int(run[np.argmax(added[which[run]])])
                found.append(_drive_clash(scene, limits, part, run, worst, value))
    return found


def _drive_clash(
    scene: Scene, limits: Limits, part: int, at: Array, worst: int, value: float
) -> Clash:
    lines = scene.slices[0]
    onset, seconds = float(lines[at[0]]), float(scene.slice_seconds[at].sum())
    drive = scene.song.parts["drive"].iloc[part]
    held = scene.held_by(part, worst)
    one, other, rate = _roughest_pair(np.array(held), drive)
    names = f"{scene.name(one, onset)} and {scene.name(other, onset)}"
    return Clash(
        "drive", onset, float(lines[at[-1] + 1]), [scene.parts[part]], held, value, limits.drive,
        "added roughness", grows(value / limits.drive),
        f"{scene.parts[part]} is {drive} and holds {names}, a {interval_name(other - one)}: the "
        f"amplifier adds tones that beat {rate:.0f} times a second, for {seconds:.1f} s; a root "
        "and fifth stay clean, and so does the third in the clean part.",
        "drive",
    )  # fmt: skip


def _added_by_drive(chords: list[Array], drive: str) -> Array:
    """How much rougher each chord is behind a drive than before it; chords of a size at once.

    0 where all is root and fifth.
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
    """The notes of chords behind the drive, and what it adds; chords x notes."""
    hertz, strength = frequency(pitches), 1 / pitches.shape[-1]
    shape = drive_named(drive)
    products = clipping_products(hertz, strength, shape)
    return joined(
        clipped_tones(hertz, strength, shape), Partials(products.frequency, products.amplitude)
    )


def _roughest_pair(pitches: Array, drive: str) -> tuple[float, float, float]:
    """The two notes that the drive makes roughest, low and high, and how fast they beat, Hz."""
    pairs = [np.array(pair) for pair in combinations(np.unique(pitches).tolist(), 2)]
    worst = pairs[int(np.argmax(_added_by_drive(pairs, drive)))]
    rates = beats(_driven(worst, drive)).rate
    rate = float(np.nanmedian(rates)) if np.isfinite(rates).any() else 0.0
    return float(worst[0]), float(worst[1]), rate
