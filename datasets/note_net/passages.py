"""Make up short passages of guitar music, as events, for training the net.

A passage lasts from ``BEFORE`` seconds before a window to its end; all times are in seconds from
the window's start. An event is a note: onset, end, pitch (MIDI number), strength (0 to 1), and 1
where the string is muted by the palm.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

BEFORE, SECONDS, EVENTS = 2.0, 3.0, 80
LOWEST, HIGHEST = 35, 88  # pitches
TUNINGS = (  # pitches of the strings, from the lowest
    (40, 45, 50, 55, 59, 64),
    (38, 45, 50, 55, 59, 64),
    (39, 44, 49, 54, 58, 63),
    (38, 43, 48, 53, 57, 62),
    (36, 43, 48, 53, 57, 62),
    (38, 45, 50, 54, 57, 62),
    (35, 40, 45, 50, 54, 59),
)
QUALITIES = (  # chords, semitones above their root
    (0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 4, 7, 11), (0, 2, 7), (0, 5, 7),
    (0, 2, 4, 7), (0, 4, 7, 9), (0, 3, 6), (0, 7),
)  # fmt: skip
SCALE = np.array([0, 2, 4, 5, 7, 9, 11])
PENTATONIC = np.array([0, 3, 5, 7, 10])
FIFTHS = ((0, 7), (0, 7, 12), (0, 7, 12), (0, 5), (0, 12), (-5, 0, 7))
SHORTEST = 0.09  # seconds from stroke to stroke

Rng = np.random.Generator
Event = tuple[float, float, float, float, float]


def shape(rng: Rng) -> list[tuple[int, int]]:
    """Return string and pitch of a chord that lies within four frets."""
    tuning = TUNINGS[0] if rng.random() < 0.6 else TUNINGS[rng.integers(len(TUNINGS))]
    quality = QUALITIES[int(rng.integers(len(QUALITIES)) * rng.random() ** 0.5)]
    root = int(rng.integers(12))
    tones = {(root + step) % 12 for step in quality}
    place = int(rng.integers(0, 12)) if rng.random() < 0.6 else 0
    capo = int(rng.integers(0, 8)) if rng.random() < 0.3 else 0
    found = []
    for string, open_pitch in enumerate(tuning):
        frets = [f for f in range(place, place + 4) if (open_pitch + capo + f) % 12 in tones]
        if rng.random() < 0.15 and (open_pitch + capo) % 12 in tones:
            frets.append(0)
        if frets:
            found.append((string, open_pitch + capo + int(rng.choice(frets))))
    if rng.random() < 0.35:  # some strings beside each other
        count = int(rng.integers(2, 5))
        begin = int(rng.integers(0, max(len(found) - count, 0) + 1))
        found = found[begin : begin + count]
    return found or [(2, 50 + root)]


def times(rng: Rng, step: float, density: float) -> list[float]:
    """Return moments on a grid of steps, some left out."""
    begin = -BEFORE + rng.uniform(0, step)
    grid = np.arange(begin, SECONDS, step)
    return [float(each) for each in grid if rng.random() < density]


def beat(rng: Rng) -> float:
    """Return the seconds of a quarter note."""
    return 60 / rng.uniform(60, 180)


def changes(rng: Rng, moments: list[float], each: float) -> list[int]:
    """Return the number of the chord at each moment, another one every so many seconds."""
    begin = rng.uniform(0, each)
    return [int((moment + BEFORE + begin) // each) for moment in moments]


def picked(rng: Rng) -> list[Event]:
    """Chords string by string, left to ring until the chord changes or the string is struck."""
    quarter = beat(rng)
    step = quarter / float(rng.choice([2, 2, 3, 4, 1]))
    moments = times(rng, max(step, SHORTEST), rng.uniform(0.75, 1))
    which = changes(rng, moments, quarter * float(rng.choice([2, 4, 4, 8])))
    chords = {each: shape(rng) for each in set(which)}
    order = rng.integers(0, 6, int(rng.integers(3, 9)))
    events: list[Event] = []
    ringing: dict[int, int] = {}  # row of the event by string
    last = -1
    for count, (moment, chord) in enumerate(zip(moments, which, strict=True)):
        if chord != last:
            for row in ringing.values():
                events[row] = until(events[row], moment)
            ringing, last = {}, chord
        notes = chords[chord]
        picks = [notes[int(order[count % len(order)]) % len(notes)]]
        if rng.random() < 0.12:
            picks.append(notes[0])
        for string, pitch in dict(picks).items():
            if string in ringing:
                events[ringing[string]] = until(events[ringing[string]], moment)
            ringing[string] = len(events)
            begin, force = moment + rng.normal(0, 0.004), rng.uniform(0.4, 1)
            events.append((begin, moment + 8, pitch, force, 0))
    if rng.random() < 0.25:  # damped, not left to ring
        events = [until(each, each[0] + step * 1.05) for each in events]
    return events


def until(event: Event, end: float) -> Event:
    """Return an event that ends at a moment, if not before."""
    return (event[0], min(event[1], end), *event[2:])


def strummed(rng: Rng) -> list[Event]:
    """Chords struck across the strings, some of them whole, some damped."""
    quarter = beat(rng)
    step = quarter / float(rng.choice([2, 2, 4, 1]))
    moments = times(rng, max(step, 0.1), rng.uniform(0.5, 1))
    which = changes(rng, moments, quarter * float(rng.choice([1, 2, 4, 4])))
    chords = {each: shape(rng) for each in set(which)}
    spread = rng.uniform(0.001, 0.014)
    events: list[Event] = []
    for at, (moment, chord) in enumerate(zip(moments, which, strict=True)):
        notes = chords[chord]
        if rng.random() < 0.3 and len(notes) > 3:
            notes = notes[: int(rng.integers(2, 4))] if rng.random() < 0.5 else notes[-3:]
        notes = notes if rng.random() < 0.6 else notes[::-1]
        end = moments[at + 1] if at + 1 < len(moments) else moment + 4
        if rng.random() < 0.15:
            end = min(end, moment + rng.uniform(0.05, 0.2))
        force = rng.uniform(0.5, 1)
        muted = float(rng.random() < 0.06)
        for place, (_, pitch) in enumerate(notes):
            begin = moment + place * spread
            events.append(
                (begin, max(end, begin + 0.05), pitch, force * rng.uniform(0.6, 1), muted)
            )
    return events


def power(rng: Rng) -> list[Event]:
    """Power chords, octaves and fourths, some muted by the palm."""
    quarter = beat(rng)
    step = quarter / float(rng.choice([2, 2, 4, 1, 0.5, 0.25]))
    moments = times(rng, max(step, SHORTEST), rng.uniform(0.6, 1))
    which = changes(rng, moments, quarter * float(rng.choice([0.5, 1, 2, 4])))
    size = FIFTHS[int(rng.integers(len(FIFTHS)))]
    roots = {each: int(rng.integers(36, 56)) for each in set(which)}
    palm = rng.random() if rng.random() < 0.5 else 0.0
    events: list[Event] = []
    for at, (moment, chord) in enumerate(zip(moments, which, strict=True)):
        muted = float(rng.random() < palm)
        end = moments[at + 1] if at + 1 < len(moments) else moment + 4
        if muted or rng.random() < 0.15:
            end = min(end, moment + rng.uniform(0.06, 0.25))
        for place, each in enumerate(size):
            begin = moment + place * rng.uniform(0, 0.006)
            pitch, force = roots[chord] + each, rng.uniform(0.7, 1)
            events.append((begin, max(end, begin + 0.04), pitch, force, muted))
    return events


def tune(rng: Rng, low: int, high: int, wide: bool) -> tuple[list[float], list[int], list[float]]:
    """Return onsets, pitches and ends of a line, by steps or by wider intervals."""
    quarter = beat(rng)
    onsets, ends = [], []
    now = -BEFORE + rng.uniform(0, quarter)
    while now < SECONDS:
        length = quarter * float(rng.choice([0.25, 0.5, 0.5, 0.5, 1, 1, 2, 1 / 3]))
        length = max(length, SHORTEST)
        if rng.random() < 0.88:
            onsets.append(now + rng.normal(0, 0.004))
            ends.append(now + length * (rng.uniform(0.4, 0.9) if rng.random() < 0.3 else 1.0))
        now += length
    key = int(rng.integers(12))
    steps = PENTATONIC if rng.random() < 0.4 else SCALE
    ladder = np.array([p for p in range(low, high) if (p - key) % 12 in steps])
    at = int(rng.integers(len(ladder)))
    pitches = []
    for _ in onsets:
        move = int(rng.integers(-4, 5)) if wide else int(rng.integers(-2, 3))
        at = int(np.clip(at + move, 0, len(ladder) - 1))
        pitches.append(int(ladder[at]))
    return onsets, pitches, ends


def line(rng: Rng) -> list[Event]:
    """Single notes of a scale."""
    low = int(rng.integers(38, 66))
    onsets, pitches, ends = tune(rng, low, low + int(rng.integers(8, 22)), rng.random() < 0.3)
    notes = zip(onsets, ends, pitches, strict=True)
    return [(begin, end, pitch, rng.uniform(0.5, 1), 0) for begin, end, pitch in notes]


def doubled(rng: Rng, sizes: tuple[int, ...], low: int, high: int) -> list[Event]:
    """A line from a pitch between two, with a second voice so many semitones above it."""
    begin = int(rng.integers(low, high))
    onsets, pitches, ends = tune(rng, begin, begin + int(rng.integers(6, 15)), False)
    events: list[Event] = []
    size = int(rng.choice(sizes))
    for a, pitch, b in zip(onsets, pitches, ends, strict=True):
        size = size if rng.random() < 0.6 else int(rng.choice(sizes))
        force = rng.uniform(0.6, 1)
        events += [(a, b, pitch, force, 0), (a + rng.uniform(0, 0.008), b, pitch + size, force, 0)]
    return events


def octaves(rng: Rng) -> list[Event]:
    """A line in octaves."""
    return doubled(rng, (12,), 40, 64)


def dyads(rng: Rng) -> list[Event]:
    """A line in thirds, fourths, fifths, sixths and tenths."""
    return doubled(rng, (3, 4, 5, 7, 8, 9, 15, 16), 42, 66)


def pulse(rng: Rng) -> list[Event]:
    """One or two muted notes, again and again."""
    quarter = beat(rng)
    step = max(quarter / float(rng.choice([2, 4, 4, 3])), SHORTEST)
    moments = times(rng, step, rng.uniform(0.7, 1))
    which = changes(rng, moments, quarter * float(rng.choice([2, 4])))
    low = {each: int(rng.integers(38, 70)) for each in set(which)}
    size = int(rng.choice([0, 0, 7, 12, 5, 4, 3]))
    events: list[Event] = []
    for moment, each in zip(moments, which, strict=True):
        begin, end = moment + rng.normal(0, 0.004), moment + min(step, rng.uniform(0.08, 0.2))
        for pitch in {low[each], low[each] + size}:
            events.append((begin, max(end, begin + 0.05), pitch, rng.uniform(0.5, 1), 1))
    return events


def held(rng: Rng) -> list[Event]:
    """Chords of one to four seconds."""
    length = rng.uniform(1, 4)
    moments = times(rng, length, 0.9)
    events: list[Event] = []
    for moment in moments:
        for place, (_, pitch) in enumerate(shape(rng)):
            begin = moment + place * rng.uniform(0, 0.02)
            events.append((begin, moment + length, pitch, rng.uniform(0.5, 1), 0))
    return events


def tremolo(rng: Rng) -> list[Event]:
    """One note, as quickly as a pick goes."""
    step = rng.uniform(0.065, 0.13)
    moments = times(rng, step, 1)
    which = changes(rng, moments, rng.uniform(0.4, 2))
    pitch = {each: int(rng.integers(45, 84)) for each in set(which)}
    strokes = zip(moments, which, strict=True)
    return [(at, at + step, pitch[each], rng.uniform(0.5, 1), 0) for at, each in strokes]


def silence(_: Rng) -> list[Event]:
    """Nothing, so that hiss and bleed are not taken for notes."""
    return []


KINDS: dict[Callable[[Rng], list[Event]], float] = {
    picked: 0.2, strummed: 0.2, power: 0.19, line: 0.12, octaves: 0.05, dyads: 0.06, pulse: 0.08,
    held: 0.04, tremolo: 0.03, silence: 0.03,
}  # fmt: skip


def passage(rng: Rng) -> np.ndarray:
    """Return one passage, EVENTS x 5; NaN in rows without an event."""
    kinds = list(KINDS)
    events = kinds[rng.choice(len(kinds), p=list(KINDS.values()))](rng)
    if rng.random() < 0.25:  # a rest somewhere
        begin = rng.uniform(-1, SECONDS)
        end = begin + rng.uniform(0.5, 3)
        events = [each for each in events if not begin <= each[0] < end]
        events = [until(each, begin) if each[0] < begin else each for each in events]
    out = np.full((EVENTS, 5), np.nan, dtype=np.float32)
    events = [each for each in events if LOWEST <= each[2] <= HIGHEST]
    events = [each for each in events if each[1] > -BEFORE and each[0] < SECONDS]
    events = sorted(events)[-EVENTS:]
    if events:
        out[: len(events)] = events
    return out


def passages(count: int, seed: int) -> np.ndarray:
    """Return so many passages, count x EVENTS x 5."""
    rng = np.random.default_rng(seed)
    return np.stack([passage(rng) for _ in range(count)])
