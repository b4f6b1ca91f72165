"""Guitars in the register of the voice or the bass: ``voice`` and ``bass``."""

from __future__ import annotations

import numpy as np

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, reaching
from arrange.tables.sounding import Array

NEAR_THE_VOICE = 3  # semitones around the sung note (ours): within a minor third
TRIAD, FIFTH = 3, 7  # notes of a chord that stands in the singer's place, semitones to each
RINGS_ON = 0.5  # of a note's weight once it merely rings: it falls by 20 dB (theory.decay), and 10
# dB less sound half as loud (the sone scale of ISO 532-1), so that half is what it has on average
HALF_AS_LOUD = 10.0  # dB, as above
SAME = 0.5  # semitones; less is one note
INTO_THE_BASS = 4  # semitones above the bass note (ours): a third or less
FOUNDATION = 52  # E3; a bass note above it is a tune, which others may join


def find_in_voice(scene: Scene, limits: Limits) -> list[Clash]:
    """Return the sections in which a part stays around the note that is being sung.

    It is looked for in every part except singers, basses and drums. Notes within a minor third of
    the sung one are near, and all notes of a part that holds three and more, one of them the sung
    one and none farther from it than a fifth. Any other unison is a doubling, and notes an octave
    away do not count.

    The value is the share of the singing time in which some are. The severity is weighed by how
    much the part is in the way there, at most in full: by the root of the share of its notes that
    are near, as amplitudes go by the root of power, so that a close triad counts more than a wide
    chord that passes through; by half for a note that merely rings on; and by half for a part that
    is 10 dB softer than the singer.
    """
    size = len(scene.sections)
    note, at = scene.slices[1:]
    if not len(note):
        return []
    section = scene.slice_section
    found = []
    for singer in np.flatnonzero(scene.families == "voice").tolist():
        sung = _extreme(scene, singer, np.maximum, -np.inf)
        sings = np.isfinite(sung)
        time = np.bincount(section, sings * scene.slice_seconds, minlength=size)
        for part in np.flatnonzero(~np.isin(scene.families, ("voice", "bass", "drums"))).tolist():
            own = np.flatnonzero((scene.part[note] == part) & sings[at])
            own, weight = _in_the_way(scene, own, sung)
            near_time, weighed = (
                np.bincount(section, each * scene.slice_seconds, minlength=size)
                for each in (weight > 0, weight * _loudness(scene, part, singer))
            )
            share = near_time / np.where(time > 0, time, 1)
            for row in np.flatnonzero((share >= limits.voice) & (time >= limits.voice_seconds)):
                name, onset, end = scene.sections[row]
                inside = own[section[at[own]] == row]
                pitches = scene.pitch[note[inside]]
                low, high = float(pitches.min()), float(pitches.max())
                names = scene.name(low, onset), scene.name(high, onset)
                value = float(share[row])
                who = scene.parts[part], scene.parts[singer]
                found.append(
                    Clash(
                        "voice", onset, end, who,
                        sorted({low, high}), value, limits.voice, "share of the singing",
                        f"{who[0]} stays within a third of what {who[1]} sings for {value:.0%} "
                        f"of the singing in {name}, {names[0]} to "
                        f"{names[1]}: listen whether the words come through.",
                        _with_sung(scene, singer, sung, note[inside], at[inside]),
                        float(weighed[row] / near_time[row]),
                    )
                )  # fmt: skip
    return found


def _in_the_way(scene: Scene, own: Array, sung: Array) -> tuple[Array, Array]:
    """Of a part's (note, slice) pairs those near the sung note, and how much the part is in the way
    in each slice of the song, 0 to 1.
    """
    lines, note, at = scene.slices
    note, at = note[own], at[own]
    count = len(lines) - 1
    far = np.abs(scene.pitch[note] - sung[at])
    sounds = np.maximum(np.bincount(at, minlength=count), 1)
    farthest = np.zeros(count)
    np.maximum.at(farthest, at, far)
    is_sung = np.bincount(at, far <= SAME, minlength=count) > 0
    is_triad = is_sung & (sounds >= TRIAD) & (farthest <= FIFTH + SAME)
    near = is_triad[at] | ((far > SAME) & (far <= NEAR_THE_VOICE + SAME))
    notes = scene.song.notes
    until = (notes["onset"] + notes["duration"]).to_numpy()[scene.row[note[near]]]
    held = np.clip((until - lines[at[near]]) / np.diff(lines)[at[near]], 0, 1)
    some = np.maximum(np.bincount(at[near], minlength=count), 1)
    loud = np.bincount(at[near], RINGS_ON + (1 - RINGS_ON) * held, minlength=count) / some
    return own[near], loud * np.sqrt(some / sounds)


def _loudness(scene: Scene, part: int, singer: int) -> float:
    """How loud a part is beside the singer, at most 1."""
    level = scene.song.parts["level"].to_numpy()
    return float(min(1.0, 2 ** ((level[part] - level[singer]) / HALF_AS_LOUD)))


def _with_sung(scene: Scene, singer: int, sung: Array, note: Array, at: Array) -> Array:
    """Rows of some (note, slice) pairs, and of the note that is sung in their slices."""
    voices, where = scene.sounding_in(np.unique(at), singer)
    return scene.row[np.append(note, voices[scene.pitch[voices] == sung[where]])]


def find_in_bass(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where a part goes under the bass, or so near above it that the two blur.

    It is looked for in every part except singers and drums, while the bass holds a note below E3:
    the part's lowest note lies below the bass note, or up to a third above it. Octaves and unisons
    are left out. The value is the seconds, repeats within a section at most a bar apart added up.
    """
    found = []
    for bass in np.flatnonzero(scene.families == "bass").tolist():
        bottom = _extreme(scene, bass, np.minimum, np.inf)
        plays = bottom < FOUNDATION
        for part in np.flatnonzero(~np.isin(scene.families, ("voice", "bass", "drums"))).tolist():
            low = _extreme(scene, part, np.minimum, np.inf)
            above = np.where(plays & np.isfinite(low), low - np.where(plays, bottom, 0), np.inf)
            octaves = np.mod(np.where(np.isfinite(above), above, 0), 12) == 0
            blurred = (above <= INTO_THE_BASS) & ~octaves
            at = np.flatnonzero(blurred)
            seconds = scene.slice_seconds[at]
            for rows in reaching(scene.slice_runs(at), seconds, limits.bass):
                run, value = at[rows], float(seconds[rows].sum())
                found.append(_in_bass(scene, limits, (part, bass), run, (low, bottom), value))
    return found


def _in_bass(
    scene: Scene,
    limits: Limits,
    pair: tuple[int, int],
    run: Array,
    pitches: tuple[Array, Array],
    value: float,
) -> Clash:
    """The finding from a run of slices; `pitches` are the lowest of the two in every slice."""
    lines = scene.slices[0]
    onset = float(lines[run[0]])
    part, bass = (scene.parts[each] for each in pair)
    note, slice_of = scene.sounding_in(run, *pair)
    lowest = np.where(scene.part[note] == pair[1], pitches[1][slice_of], pitches[0][slice_of])
    low, bottom = (each[run] for each in pitches)
    worst = int(np.argmin(low - bottom))
    names = scene.name(float(low[worst]), onset), scene.name(float(bottom[worst]), onset)
    where = "under" if low[worst] < bottom[worst] else "right above"
    return Clash(
        "bass", onset, float(lines[run[-1] + 1]), (part, bass),
        (float(low[worst]), float(bottom[worst])), value, limits.bass, "s",
        f"{part}'s {names[0]} lies {where} {bass}'s {names[1]}, for {value:.1f} s: the low end "
        "belongs to one of them; leave the low strings out, or play higher.",
        scene.row[note[scene.pitch[note] == lowest]],
    )  # fmt: skip


def _extreme(scene: Scene, part: int, which: np.ufunc, none: float) -> Array:
    """Highest or lowest pitch of a part in each slice; `none` where it is silent."""
    lines, note, at = scene.slices
    pitch = np.full(max(len(lines) - 1, 0), none)
    own = scene.part[note] == part
    which.at(pitch, at[own], scene.pitch[note[own]])
    return pitch
