"""How the attacks of two parts relate in time: ``near``, ``busy``, ``fusing``.

``attacks.py`` defines attacks and when they are together, in seconds at the song's tempo.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from arrange.clashes.attacks import ALMOST, TOGETHER, Stream, groups_of
from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene
from arrange.tables.setups import by_section, section_at
from arrange.tables.sounding import Array

LOOSE = 0.05  # seconds; a miss below this is a flam and counts half (ours)
SIXTEENTH = 0.25  # quarter notes
SLOWEST_STREAM = 0.25  # seconds from attack to attack; slower lines do not fuse (ours)
CHANGES = 0.5  # share of the attacks of a busy stretch that must change hands (ours)
MISSED_REPEATS = "missed repeats"  # unit of an echo's misses: no move of a note can end them
LEVEL_APART = 6.0  # dB that help to hear two lines apart (ours)


def find_near(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts seem to attack together, but miss each other by a fraction.

    An attack misses if none of the other part's is within 30 ms, while each of the two is the
    other's nearest and clearly so: by less than a sixteenth, everything else being at least twice
    as far (a triplet against sixteenths, swung against straight); or by just a sixteenth,
    everything else three times as far (a part that comes in late). Attacks midway between the
    other's are a rhythm of their own and no miss. Misses by less than a sixteenth are one run while
    at most one attack of the sparser part lies between; those by a sixteenth while the order stays
    the same and nothing is attacked together, so that a single push is not reported. A pause of
    more than a bar ends both kinds of run. The value is the misses; below 50 ms they count half. A
    part's echo is compared with the other's attacks in the same way, each repeat weighed by its
    amplitude, but only below a sixteenth: an echo farther away fills the gaps, as intended.
    """
    plain, echoed = scene.attacks, scene.echoed
    found = []
    for pair in combinations(range(len(plain)), 2):
        # What misses is attacked by one alone, and counts once at most.
        if scene.lone_attacks[pair] >= limits.near - ALMOST:
            misses = _misses(plain[pair[0]], plain[pair[1]], limits.near_seconds)
            for run in (*_uneven_runs(scene, misses), *_late_runs(scene, misses)):
                found += _near(scene, limits, pair, run)
        for part, beside in (pair, pair[::-1]):
            if part not in echoed:
                continue
            misses = _misses(echoed[part], plain[beside], limits.near_seconds)
            repeats = misses.take(echoed[part].weight[misses.attacks[0]] < 1)
            for run in _uneven_runs(scene, repeats):
                found += _near(scene, limits, (part, beside), run, is_echo=True)
    return found


def find_busy(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts attack so often at once that neither leaves the other room.

    It is looked for between any two parts except drums, over any two seconds (as the limit says).
    They are too busy if the two bring more attacks than the limit, those together counted once, and
    if half of these change hands: an attack of one part alone follows, within these seconds, one of
    the other alone. Therefore lines that share a rhythm, a line that moves inside the other's
    rhythm, and lines that take turns are not reported. Repeats of an echo count by their amplitude.
    Busy stretches that overlap are one finding. The value is their attacks a second, on average.
    """
    plain, echoed = scene.attacks, scene.echoed
    heard = [echoed.get(part, stream) for part, stream in enumerate(plain)]
    most = [_most_attacks(stream, limits.busy_seconds) for stream in heard]
    found = []
    for pair in combinations(np.flatnonzero(scene.families != "drums").tolist(), 2):
        # The last of a stretch may be there for one whose own lies a moment after its end.
        if most[pair[0]] + most[pair[1]] + 1 < (limits.busy - ALMOST) * limits.busy_seconds:
            continue
        merged = _merged(*(heard[part] for part in pair))
        for first, last, value in _busy_runs(merged, limits):
            found.append(_busy(scene, limits, pair, merged, (first, last), value))
    return found


def find_fusing(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two picked lines fuse into one stream: neither is heard as a line.

    It is looked for in parts of one family. A stretch consists of attacks that alternate between
    the two, one note at a time, at most 250 ms apart; it fuses where the steps are smaller than
    three semitones on average, over every so many attacks as the limit says. The rate hardly
    matters to that (the fission boundary); the distance at which they would be heard as two does
    depend on it, and is stated. The value is the attacks; severity is halved if the two differ in
    drive or by 6 dB, which helps to hear them apart. Parts that are meant to blend are left out.
    """
    if limits.goal == "blend":
        return []
    plain = scene.attacks
    found = []
    for pair in combinations(range(len(plain)), 2):
        if scene.families[pair[0]] != scene.families[pair[1]]:
            continue
        if 2 * scene.lone_attacks[pair] < _steps(limits):
            continue
        line = _interleaved(*(plain[part] for part in pair))
        for first, last, gap in _fusing_runs(line, limits):
            found.append(_fusing(scene, limits, pair, line, (first, last), gap))
    return found


def two_streams_from(seconds: float) -> float:
    """Semitones from which on alternating tones are heard as two lines, by their pace.

    Parameters
    ----------
    seconds : float
        From one attack to the next, of both lines together.

    Notes
    -----
    A straight line through the temporal coherence boundary of van Noorden 1975, about 4
    semitones at 60 ms and 13 at 150 ms (from memory), level beyond.
    """
    return float(np.clip(4 + 9 * (1000 * seconds - 60) / 90, 4, 13))


@dataclass(frozen=True)
class Misses:
    """Attacks of two parts that miss each other, in order of time, a value each.

    Parameters
    ----------
    attacks : array of int, 2 rows
        Which attack of the one part, and of the other.
    onset : array, 2 rows
        Theirs in quarter notes.
    pitch : array, 2 rows
    gap : array
        Seconds from the first part's to the second's.
    weight : array
        How much it counts.
    shared : array of int
        How many attacks of both together came before.
    """

    attacks: Array
    onset: Array
    pitch: Array
    gap: Array
    weight: Array
    shared: Array

    def take(self, which: Array) -> Misses:
        """Some of them."""
        arrays = self.attacks, self.onset, self.pitch, self.gap, self.weight, self.shared
        return Misses(*(values[..., which] for values in arrays))

    @property
    def quarters(self) -> Array:
        """How far each misses, in quarter notes."""
        return np.abs(self.onset[1] - self.onset[0])


def _misses(one: Stream, other: Stream, window: float) -> Misses:
    """Attacks without a partner, each the other's nearest, and clearly so."""
    near = _nearest(one.seconds, other.seconds)
    gap = np.abs(other.seconds[near] - one.seconds) if len(near) else np.empty(0)
    apart = gap > TOGETHER + ALMOST
    shared = np.cumsum(~apart)
    first = np.flatnonzero(apart & (gap <= window + ALMOST))
    second = near[first]
    quarters = np.abs(other.onset[second] - one.onset[first])
    rest = np.minimum(
        _next_nearest(one.seconds[first], other.seconds, second),
        _next_nearest(other.seconds[second], one.seconds, first),
    )
    times = np.where(quarters < SIXTEENTH - ALMOST, 2, 3)
    clear = (quarters <= SIXTEENTH + ALMOST) & (times * gap[first] <= rest + ALMOST)
    first, second = first[clear], second[clear]
    softer = np.minimum(one.weight[first], other.weight[second])
    return Misses(
        np.stack([first, second]),
        np.stack([one.onset[first], other.onset[second]]),
        np.stack([one.pitch[first], other.pitch[second]]),
        other.seconds[second] - one.seconds[first],
        softer * np.where(gap[first] < LOOSE - ALMOST, 0.5, 1.0),
        shared[first],
    )


def _nearest(times: Array, others: Array) -> Array:
    """Index of the nearest of the others to each time; empty if there are none."""
    if not len(others):
        return np.empty(0, dtype=np.int64)
    after = np.clip(np.searchsorted(others, times), 1, max(len(others) - 1, 1))
    after = np.minimum(after, len(others) - 1)
    before = np.maximum(after - 1, 0)
    return np.where(times - others[before] <= others[after] - times, before, after)


def _next_nearest(times: Array, others: Array, nearest: Array) -> Array:
    """Distance of each time to the second nearest of the others."""
    padded = np.concatenate([[-np.inf], others, [np.inf]])
    return np.minimum(times - padded[nearest], padded[nearest + 2] - times)


def _uneven_runs(scene: Scene, misses: Misses) -> Iterator[Misses]:
    """Misses by less than a sixteenth, with at most one other attack of the sparser between."""
    misses = misses.take(misses.quarters < SIXTEENTH - ALMOST)
    between = np.diff(misses.attacks, axis=1).min(axis=0) - 1
    return _split(scene, misses, between > 1)


def _late_runs(scene: Scene, misses: Misses) -> Iterator[Misses]:
    """Misses by a sixteenth, always the same part first, with nothing together between."""
    misses = misses.take(misses.quarters >= SIXTEENTH - ALMOST)
    turned = np.diff(np.sign(misses.gap)) != 0
    return _split(scene, misses, turned | (np.diff(misses.shared) > 0))


def _split(scene: Scene, misses: Misses, breaks: Array) -> Iterator[Misses]:
    """Runs that end at the breaks, and where nothing misses for more than a bar."""
    if not len(misses.gap):
        return
    onset = misses.onset.min(axis=0)
    breaks = breaks | (np.diff(onset) > scene.bar_at(onset[:-1]) + ALMOST)
    for run in np.split(np.arange(len(onset)), np.flatnonzero(breaks) + 1):
        yield misses.take(run)


# What a gap in quarter notes looks like on the page.
_WRITTEN = {1 / 12: "a triplet against sixteenths", 1 / 6: "swung against straight eighths"}


def _near(
    scene: Scene, limits: Limits, pair: tuple[int, int], run: Misses, *, is_echo: bool = False
) -> list[Clash]:
    """The finding that a run of misses is, if there are enough; of the first part's echo."""
    value, count = float(run.weight.sum()), len(run.weight)
    if value < limits.near - ALMOST:
        return []
    names = [scene.parts[part] for part in pair]
    quarters, milliseconds = float(np.median(run.quarters)), 1000 * float(np.abs(run.gap).mean())
    by = f"{milliseconds:.0f} ms at this tempo"
    if quarters >= SIXTEENTH - ALMOST:
        early, late = names if run.gap[0] > 0 else names[::-1]
        why = (
            f"{late} comes in a sixteenth after {early} at {count} attacks, {by}: decide together "
            "or apart; play them at one time, or move one by an eighth or more."
        )
    else:
        written = [f" ({name})" for gap, name in _WRITTEN.items() if abs(gap - quarters) < 0.001]
        its = "'s echo" if is_echo else ""
        why = f"{names[0]}{its} and {names[1]} miss each other at {count} attacks, by {by}"
        why += (
            ": set the echo to another note value, or leave it out here."
            if is_echo
            else f"{''.join(written)}: decide together or apart; divide the beat in one way."
        )
    pitches = run.pitch[:, 0]
    heard = scene.echoed[pair[0]] if is_echo else scene.attacks[pair[0]]
    notes = heard.notes_of(run.attacks[0]), scene.attacks[pair[1]].notes_of(run.attacks[1])
    return [
        Clash(
            "near", float(run.onset[:, 0].min()), float(run.onset[:, -1].max()), names,
            pitches[np.isfinite(pitches)].tolist(), value, limits.near,
            MISSED_REPEATS if is_echo else "missed attacks",
            why, np.concatenate(notes),
        )
    ]  # fmt: skip


@dataclass(frozen=True)
class Merged:
    """The attacks of two parts as one sequence, those together once.

    Parameters
    ----------
    seconds, onset : array
    weight : array, 2 rows
        Amplitude of each part's attack, 0 where it has none.
    pitch : array, 2 rows
        Its pitch, NaN where it has none.
    """

    seconds: Array
    onset: Array
    weight: Array
    pitch: Array


def _merged(one: Stream, other: Stream) -> Merged:
    seconds = np.append(one.seconds, other.seconds)
    group = groups_of(seconds)
    owner = np.repeat([0, 1], [len(one.seconds), len(other.seconds)])
    order = np.argsort(seconds, kind="stable")
    first = order[np.diff(group[order], prepend=-1) > 0]
    weight = np.zeros((2, len(first)))
    np.maximum.at(weight, (owner, group), np.append(one.weight, other.weight))
    pitch = np.full(weight.shape, np.nan)
    pitch[owner, group] = np.append(one.pitch, other.pitch)
    return Merged(seconds[first], np.append(one.onset, other.onset)[first], weight, pitch)


def _most_attacks(stream: Stream, within: float) -> float:
    """The most that a part attacks in so many seconds, each by its amplitude."""
    until = np.searchsorted(stream.seconds, stream.seconds + within - ALMOST)
    sums = np.append(0.0, np.cumsum(stream.weight))
    return float((sums[until] - sums[:-1]).max(initial=0.0))


def _busy_runs(merged: Merged, limits: Limits) -> Iterator[tuple[int, int, float]]:
    """First and last attack of each stretch that is too busy, and its attacks a second."""
    until = np.searchsorted(merged.seconds, merged.seconds + limits.busy_seconds - ALMOST)
    sums = np.cumsum([merged.weight.max(axis=0), _changes(merged, limits.busy_seconds)], axis=1)
    sums = np.hstack([np.zeros((2, 1)), sums])
    attacks, changes = sums[:, until] - sums[:, :-1]
    rate = attacks / limits.busy_seconds
    busy = (rate >= limits.busy - ALMOST) & (changes >= CHANGES * attacks - ALMOST)
    begins = np.flatnonzero(busy)
    for span in _overlapping(begins, until[begins] - 1):
        yield (
            int(begins[span[0]]),
            int(until[begins[span[-1]]]) - 1,
            float(rate[begins[span]].mean()),
        )


def _changes(merged: Merged, within: float) -> Array:
    """How much each attack changes hands: the amplitude of the softer of the two attacks."""
    alone = merged.weight[0] - merged.weight[1]
    changes = np.zeros(len(alone))
    at = np.flatnonzero(np.abs(alone) > ALMOST)
    turns = np.sign(alone[at[1:]]) != np.sign(alone[at[:-1]])
    turns &= np.diff(merged.seconds[at]) < within - ALMOST
    changes[at[1:]] = turns * np.minimum(np.abs(alone[at[1:]]), np.abs(alone[at[:-1]]))
    return changes


def _overlapping(first: Array, last: Array) -> Iterator[Array]:
    """Indices of the spans that overlap or meet, chain by chain; both ends ascend."""
    for span in np.split(np.arange(len(first)), np.flatnonzero(first[1:] > last[:-1]) + 1):
        if len(span):
            yield span


def _busy(
    scene: Scene,
    limits: Limits,
    pair: tuple[int, int],
    merged: Merged,
    bounds: tuple[int, int],
    value: float,
) -> Clash:
    first, last = bounds
    one, other = (scene.parts[part] for part in pair)
    seconds = float(merged.seconds[last] - merged.seconds[first])
    pitch = merged.pitch[:, first : last + 1]
    pitch = pitch[np.isfinite(pitch)]
    return Clash(
        "busy", float(merged.onset[first]), float(merged.onset[last]), (one, other),
        sorted({pitch.min(), pitch.max()}) if len(pitch) else (),
        value, limits.busy, "attacks/s",
        f"{one} and {other} bring about {value:.0f} attacks a second between them for "
        f"{seconds:.1f} s, each in its own rhythm: more than the ear sorts out; let one hold or "
        "rest while the other moves.",
        _attacked(scene, pair, merged.seconds[[first, last]]),
    )  # fmt: skip


def _attacked(scene: Scene, pair: tuple[int, int], ends: Array) -> Array:
    """Rows of what two parts attack between two times in seconds, their echoes left out."""
    own = [scene.attacks[part] for part in pair]
    inside = [
        np.flatnonzero((each.seconds >= ends[0] - TOGETHER) & (each.seconds <= ends[1] + TOGETHER))
        for each in own
    ]
    return np.concatenate([each.notes_of(at) for each, at in zip(own, inside, strict=True)])


@dataclass(frozen=True)
class Line:
    """The attacks of two parts one after another, and the steps between them."""

    seconds: Array
    onset: Array
    pitch: Array
    alternates: Array  # of each step: from one part to the other, note to note, soon
    size: Array  # of each step, semitones


def _interleaved(one: Stream, other: Stream) -> Line:
    seconds = np.append(one.seconds, other.seconds)
    order = np.argsort(seconds, kind="stable")
    owner = np.repeat([0, 1], [len(one.seconds), len(other.seconds)])[order]
    pitch = np.append(one.pitch, other.pitch)[order]
    seconds = seconds[order]
    wait, size = np.diff(seconds), np.abs(np.diff(pitch))
    note = np.append(one.single, other.single)[order] & np.isfinite(pitch)
    note[1:] &= wait > TOGETHER + ALMOST
    note[:-1] &= wait > TOGETHER + ALMOST
    alternates = (np.diff(owner) != 0) & note[1:] & note[:-1] & (wait <= SLOWEST_STREAM + ALMOST)
    onset = np.append(one.onset, other.onset)[order]
    return Line(seconds, onset, pitch, alternates, np.where(alternates, size, 0))


def _steps(limits: Limits) -> int:
    """How many steps in alternation fuse, at the least."""
    return max(int(np.ceil(limits.fusing)) - 1, 1)


def _fusing_runs(line: Line, limits: Limits) -> Iterator[tuple[int, int, float]]:
    """First and last attack of each stretch that fuses, and its mean step in semitones."""
    steps = _steps(limits)
    if len(line.alternates) < steps:
        return
    sums = np.cumsum(np.vstack([line.alternates, line.size]), axis=1)
    sums = np.hstack([np.zeros((2, 1)), sums])
    taken, size = sums[:, steps:] - sums[:, :-steps]
    begins = np.flatnonzero((taken == steps) & (size / steps < limits.fusing_semitones))
    for span in _overlapping(begins, begins + steps):
        first, last = int(begins[span[0]]), int(begins[span[-1]]) + steps
        yield first, last, float(size[begins[span]].mean()) / steps


def _fusing(
    scene: Scene,
    limits: Limits,
    pair: tuple[int, int],
    line: Line,
    ends: tuple[int, int],
    gap: float,
) -> Clash:
    first, last = ends
    one, other = (scene.parts[part] for part in pair)
    count = last - first + 1
    pace = float(line.seconds[last] - line.seconds[first]) / (count - 1)
    rows = scene.song.parts.iloc[list(pair)]
    drives = by_section(scene.song, "drive")[list(pair), section_at(scene.song, line.onset[first])]
    differs = len(set(drives)) > 1 or np.ptp(rows["level"]) >= LEVEL_APART
    remedy = (
        "their different sound helps to hear them apart, and so would"
        if differs
        else "if two are meant, give them different sounds, levels or sides, or"
    )
    return Clash(
        "fusing", float(line.onset[first]), float(line.onset[last]), (one, other),
        sorted({*line.pitch[first : last + 1].tolist()}), float(count), limits.fusing, "attacks",
        f"{one} and {other} take turns note by note, {count} attacks, {1000 * pace:.0f} ms and "
        f"{gap:.1f} semitones from one to the next: the ear tends to make one line of them; "
        f"{remedy} more than about {two_streams_from(pace):.0f} semitones between them.",
        _attacked(scene, pair, line.seconds[[first, last]]),
        0.5 if differs else 1.0,
    )  # fmt: skip
