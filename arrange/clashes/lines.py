"""How two parts lie to each other as lines: ``crowding``, ``crossing``, ``doubling``."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, grows, runs
from arrange.register import register_overlap
from arrange.sounding import Array, cut_notes

OCTAVE = 12  # semitones; a crossing that is deeper weighs no more (ours)
ALMOST = 1e-9  # seconds; nearer, both are on top for as long
MOST_OCTAVES = 2  # farther apart, two lines are hardly heard as one (ours)


def find_crowding(scene: Scene, limits: Limits) -> list[Clash]:
    """Return the sections in which two parts live in the same register while both sound.

    The value is the overlap coefficient of the time that each spends on each semitone, taken
    over the time in which both sound; severity is that value. A singer or a bass beside another
    kind of part is a question of its own, and not asked here; nor are parts of one family that
    are meant to blend.
    """
    sections = scene.song.sections
    notes = cut_notes(scene.notes, sections, "section")
    overlap = register_overlap(notes, by="section")
    overlap = overlap[overlap["together"] >= limits.crowding]
    place = dict(zip(sections["section"], sections.index, strict=True))
    index = {name: number for number, name in enumerate(scene.parts)}
    lines = scene.slices[0]
    sounds = np.isfinite(scene.top)
    section_of_slice = scene.section_of(lines[:-1])
    found = []
    for row in overlap.itertuples():
        one, other = sorted((row.part_a, row.part_b), key=index.__getitem__)
        families = {scene.families[index[one]], scene.families[index[other]]}
        if len(families) > 1 and families & {"voice", "bass"}:
            continue
        if len(families) == 1 and limits.goal == "blend":
            continue
        section = sections.loc[place[row.section]]
        both = sounds[index[one]] & sounds[index[other]] & (section_of_slice == place[row.section])
        seconds = float(scene.slice_seconds[both].sum())
        if seconds < limits.crowding_seconds:
            continue
        onset = float(section["onset"])
        low, high = row.shared_low, row.shared_high
        names = scene.name(low, onset), scene.name(high, onset)
        found.append(
            Clash(
                "crowding", onset, onset + float(section["duration"]), (one, other), (low, high),
                float(row.together), limits.crowding, "share of time", float(row.together),
                f"{one} and {other} live in the same register through {row.section}, "
                f"{names[0]} to {names[1]}: {row.together:.0%} of their time together is on the "
                f"same notes ({seconds:.0f} s).",
                "overlap coefficient",
            )
        )  # fmt: skip
    return found


def find_crossings(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where the part that should be on top goes below the other.

    Asked of parts of one family. The upper one is the one whose top line lies higher for more of
    the time in which both sound; where that is equal there is none. The value is the seconds that
    its top line stays below the other's, times the semitones by which (an octave at most); pauses
    of up to a quarter do not end it. Parts that are meant to blend have no upper one.
    """
    if limits.goal == "blend":
        return []
    top, seconds = scene.top, scene.slice_seconds
    sounds = np.isfinite(top)
    found = []
    for one, other in combinations(np.flatnonzero(sounds.any(axis=1)).tolist(), 2):
        if scene.families[one] != scene.families[other]:
            continue
        both = np.flatnonzero(sounds[one] & sounds[other])
        above = top[one, both] - top[other, both]
        on_top = float(np.sum(np.sign(above) * seconds[both]))
        if abs(on_top) > ALMOST:
            pair = (one, other) if on_top > 0 else (other, one)
            depth = -above if on_top > 0 else above
            found += _crossings(scene, limits, pair, both[depth > 0], depth[depth > 0])
    return found


def _crossings(
    scene: Scene, limits: Limits, pair: tuple[int, int], under: Array, depth: Array
) -> list[Clash]:
    """Findings from the slices in which the upper part is under, and by how many semitones."""
    if not len(under):
        return []
    top, lines, seconds = scene.top, scene.slices[0], scene.slice_seconds
    upper, lower = pair
    order, starts = runs((), lines[under], lines[under + 1], np.ones(len(under)))
    found = []
    for run in np.split(order, starts[1:]):
        at = under[run]
        value = float(np.sum(np.minimum(depth[run], OCTAVE) * seconds[at]))
        if value < limits.crossing:
            continue
        most = float(depth[run].max())
        pitches = float(top[upper, at].min()), float(top[lower, at].max())
        parts = scene.parts[upper], scene.parts[lower]
        found.append(
            Clash(
                "crossing", float(lines[at[0]]), float(lines[at[-1] + 1]), parts, pitches, value,
                limits.crossing, "semitones x s", grows(value / limits.crossing),
                f"{parts[0]}, on top over the song, goes below {parts[1]} for "
                f"{seconds[at].sum():.1f} s, by up to {most:.0f} semitone{'s' if most > 1 else ''}"
                ": the ear takes the higher one for the tune.",
                "part-crossing",
            )
        )  # fmt: skip
    return found


def find_doublings(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts play the same line in unison or octaves.

    A line is a part's top note at each of its attacks. A run goes on while both attack together
    on the same interval; one attack that differs is forgiven, two in a row end it, and so does a
    pause of a whole note. It must move (at least three changes of pitch). The value is the
    shared attacks. When every attack is shared it reads as meant, else as accidental; it is
    never a fault, so that severity stays below 0.2 if exact and below 0.5 if not. Where parts of
    one family are meant to blend, an exact one is what is wanted, and not told, and one that is
    not counts in full.
    """
    found = []
    attacks = [_top_attacks(scene, part) for part in range(len(scene.parts))]
    for one, other in combinations(range(len(scene.parts)), 2):
        blend = limits.goal == "blend" and scene.families[one] == scene.families[other]
        for run in _doubled_runs(attacks[one], attacks[other], limits):
            onset, pitch, interval, missed, last = run
            exact = missed == 0
            if exact and blend:
                continue
            weight = 1.0 if blend else 0.2 if exact else 0.5
            value = float(len(onset))
            parts = scene.parts[one], scene.parts[other]
            octaves = abs(interval) // 12
            how = "in unison" if octaves == 0 else "in octaves" if octaves == 1 else (
                f"{octaves} octaves apart"
            )  # fmt: skip
            verdict = (
                "every attack together, so it reads as meant"
                if exact
                else f"{len(onset)} of {len(onset) + missed} attacks together, "
                "so it reads as an accident: make it exact, or let one play something else"
            )
            found.append(
                Clash(
                    "doubling", float(onset[0]), last, parts, sorted({*pitch.tolist()}), value,
                    limits.doubling, "attacks",
                    weight * grows(value / limits.doubling),
                    f"{parts[0]} and {parts[1]} play the same line {how}, {verdict}.",
                    "doubling",
                )
            )  # fmt: skip
    return found


def _top_attacks(scene: Scene, part: int) -> tuple[Array, Array, Array]:
    """Onset, highest pitch and end of each attack of a part."""
    own = np.flatnonzero(scene.part == part)
    own = own[np.lexsort((scene.pitch[own], scene.onset[own]))]
    last = np.append(np.diff(scene.onset[own]) > 0, True)[: len(own)]
    own = own[last]
    return scene.onset[own], scene.pitch[own], scene.end[own]


def _doubled_runs(
    one: tuple[Array, Array, Array], other: tuple[Array, Array, Array], limits: Limits
) -> list[tuple[Array, Array, int, int, float]]:
    """Runs of shared attacks: onsets, upper pitches, interval, attacks missed, end."""
    common, in_one, in_other = np.intersect1d(one[0], other[0], return_indices=True)
    size = one[1][in_one] - other[1][in_other]
    pitch = np.maximum(one[1][in_one], other[1][in_other])
    ends = np.maximum(one[2][in_one], other[2][in_other])
    found = []
    for octaves in range(-MOST_OCTAVES, MOST_OCTAVES + 1):
        same = np.flatnonzero(size == 12 * octaves)
        strays = np.maximum(np.diff(in_one[same]), np.diff(in_other[same])) - 1
        breaks = (strays > 1) | (common[same[1:]] - ends[same[:-1]] > 4)
        for span in np.split(np.arange(len(same)), np.flatnonzero(breaks) + 1):
            run, missed = same[span], int(strays[span[:-1]].sum())
            if len(run) < limits.doubling or np.count_nonzero(np.diff(pitch[run])) < 3:
                continue
            found.append((common[run], pitch[run], 12 * octaves, missed, float(ends[run].max())))
    return found
