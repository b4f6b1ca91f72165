"""Intervals that notes held together make: ``rub`` and ``mud``."""

from __future__ import annotations

import numpy as np

from arrange.clashes.limits import DISPUTED_LIMITS, Limits
from arrange.clashes.scene import Clash, Scene, reaching, runs
from arrange.clashes.two_pitches import is_rub, rub_weight, semitones_below
from arrange.tables.sounding import Array
from arrange.text.words import an, listed
from arrange.theory.pitch import interval_name


def find_rubs(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts hold a minor second, a minor ninth or their compounds.

    The value is seconds held, times two weights (ours): how low, 1 at C4 and sqrt(2) an octave
    lower, between 0.5 and 2; how exposed, 1 if only the two notes sound, sqrt(2 / n) if n do.
    Repeats of one rub within a section, at most a bar apart, are one finding. The root of a
    dominant under its flat nine is excused, by the chord at the time when the two begin to sound
    together.
    """
    first, second = scene.pairs
    clash = is_rub(scene.pitch[first], scene.pitch[second])
    clash &= scene.part[first] != scene.part[second]
    first, second = first[clash], second[clash]
    lower = np.where(scene.pitch[first] < scene.pitch[second], first, second)
    upper = first + second - lower
    start = np.maximum(scene.onset[lower], scene.onset[upper])
    end = np.minimum(scene.end[lower], scene.end[upper])
    low = rub_weight(scene.pitch[lower], scene.pitch[upper], scene.excused_root_at(start))
    keep = low > 0
    lower, upper, start, end, low = (each[keep] for each in (lower, upper, start, end, low))
    if not len(lower):
        return []

    held = scene.seconds(end) - scene.seconds(start)
    lines, _, sounds_in = scene.slices
    exposed = np.sqrt(2 / np.maximum(np.bincount(sounds_in, minlength=len(lines) - 1), 2))
    through = np.append(0.0, np.cumsum(exposed * scene.slice_seconds))
    begin, finish = np.searchsorted(lines, start), np.searchsorted(lines, end)
    weighted = low * (through[finish] - through[begin])
    found = []
    joined = runs(
        (scene.part[lower], scene.part[upper], scene.pitch[lower], scene.pitch[upper],
         scene.section_of(start)),
        start,
        end,
        scene.bar_at(start),
    )  # fmt: skip
    for run in reaching(joined, weighted, limits.rub):
        value = float(weighted[run].sum())
        one, other = lower[run[0]], upper[run[0]]
        pitches = float(scene.pitch[one]), float(scene.pitch[other])
        at = float(start[run[0]])
        names = [scene.name(pitch, at) for pitch in pitches]
        parts = [scene.parts[scene.part[one]], scene.parts[scene.part[other]]]
        times = f" in {len(run)} places" if len(run) > 1 else ""
        found.append(
            Clash(
                "rub", at, float(end[run].max()), parts, pitches, value, limits.rub,
                "weighted s",
                f"{parts[1]}'s {names[1]} rubs against {parts[0]}'s {names[0]}, "
                f"{an(interval_name(pitches[1] - pitches[0]))}, for {held[run].sum():.1f} s"
                f"{times}: listen whether it is meant.",
                scene.row[np.append(lower[run], upper[run])],
            )
        )  # fmt: skip
    return found


def find_mud(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where an interval stands below its low interval limit, in one part or between two.

    The value is the semitones below the limit, times the seconds held; repeats within a section,
    at most a bar apart, add up. Where several notes sound, the lowest of them is neither the chord
    symbol's root nor the bass it asks for, and no bass plays, that bass (the root, but for D/F#) is
    assumed below it and the intervals above it are checked again. A note alone is its own bass.
    """
    deepest = max(limits.low_intervals, default=0)
    first, second = scene.pairs
    size = np.abs(scene.pitch[first] - scene.pitch[second])
    # Quarter tones are compared with the nearest interval.
    low = np.minimum(scene.pitch[first], scene.pitch[second])
    near = (size <= deepest + 0.5) & (low < max(limits.low_intervals.values(), default=0))
    first, second = first[near], second[near]
    swap = scene.pitch[first] > scene.pitch[second]
    lower, upper = np.where(swap, second, first), np.where(swap, first, second)
    below = semitones_below(scene.pitch[lower], scene.pitch[upper], limits.low_intervals)
    muddy = below > 0
    lower, upper, below = lower[muddy], upper[muddy], below[muddy]
    start = np.maximum(scene.onset[lower], scene.onset[upper])
    end = np.minimum(scene.end[lower], scene.end[upper])
    found = _mud_runs(
        scene, limits, (lower, upper), (scene.pitch[lower], scene.pitch[upper]), below, start, end
    )
    return found + _mud_over_assumed_roots(scene, limits)


def _mud_runs(
    scene: Scene,
    limits: Limits,
    notes: tuple[Array, Array],
    pitches: tuple[Array, Array],
    below: Array,
    start: Array,
    end: Array,
) -> list[Clash]:
    """Findings from muddy intervals, lower and upper note; a note of -1 is an assumed root."""
    (lower, upper), sounding = pitches, np.stack(notes)
    if not len(lower):
        return []
    lower_part, upper_part = np.where(sounding >= 0, scene.part[sounding], -1)
    held = scene.seconds(end) - scene.seconds(start)
    depth = below * held
    joined = runs(
        (lower_part, upper_part, lower, upper, scene.section_of(start)),
        start,
        end,
        scene.bar_at(start),
    )
    found = []
    for run in reaching(joined, depth, limits.mud):
        at, value = run[0], float(depth[run].sum())
        size = round(float(upper[at] - lower[at]))
        names = [scene.name(pitch, float(start[at])) for pitch in (lower[at], upper[at])]
        limit_name = scene.name(limits.low_intervals[size], float(start[at]))
        owners = [scene.parts[part] for part in (lower_part[at], upper_part[at]) if part >= 0]
        whose = listed(dict.fromkeys(owners))
        over = " over an assumed root" if lower_part[at] < 0 else ""
        disputed = " (handbooks differ on this one)" if size in DISPUTED_LIMITS else ""
        found.append(
            Clash(
                "mud", float(start[at]), float(end[run].max()), list(dict.fromkeys(owners)),
                (lower[at], upper[at]), value, limits.mud, "semitones x s",
                f"{whose}: {names[0]} and {names[1]}{over}, {an(interval_name(size))}, stand low: "
                f"below {limit_name} it tends to sound muddy{disputed}; "
                f"held {held[run].sum():.1f} s.",
                scene.row[_that_sound(sounding[:, run])],
            )
        )  # fmt: skip
    return found


def _that_sound(notes: Array) -> Array:
    """The notes that really sound, without the assumed roots."""
    return notes[notes >= 0]


def _mud_over_assumed_roots(scene: Scene, limits: Limits) -> list[Clash]:
    chords = scene.song.chords
    lines, note, at = scene.slices
    if chords.empty or not len(note):
        return []
    lowest, highest = np.full(len(lines) - 1, np.inf), scene.top.max(axis=0)
    np.minimum.at(lowest, at, scene.pitch[note])
    bass_plays = np.zeros(len(lines) - 1, dtype=bool)
    bass_plays[at[scene.families[scene.part[note]] == "bass"]] = True
    which = scene.chord_at(lines[:-1])
    root, wanted = (
        np.where(which >= 0, chords[name].fillna(-1).to_numpy(dtype=np.int64)[which], -1)
        for name in ("root", "bass")
    )
    with np.errstate(invalid="ignore"):
        missing = np.mod(lowest - wanted, 12)  # semitones down to the assumed bass
        is_root = np.mod(lowest - root, 12) == 0
    assume = (wanted >= 0) & np.isfinite(lowest) & ~bass_plays & ~is_root & (missing > 0)
    assume &= (missing % 1 == 0) & (highest > lowest)
    rows = np.flatnonzero(assume[at] & scene.is_asked[scene.part[note]])
    lower = (lowest - missing)[at[rows]]
    upper = scene.pitch[note[rows]]
    below = semitones_below(lower, upper, limits.low_intervals)
    muddy = below > 0
    rows, lower, upper, below = rows[muddy], lower[muddy], upper[muddy], below[muddy]
    return _mud_runs(
        scene, limits, (np.full(len(rows), -1), note[rows]), (lower, upper), below,
        lines[at[rows]], lines[at[rows] + 1],
    )  # fmt: skip
