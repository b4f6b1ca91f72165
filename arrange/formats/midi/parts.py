"""The parts: which notes are whose, and what the parts are called, sound like and how loud."""

from __future__ import annotations

import math
from collections import Counter
from itertools import pairwise
from typing import Any

import numpy as np

from arrange.errors import ReadError
from arrange.formats.instruments import instrument_drive, instrument_family, unique_labels
from arrange.formats.midi.events import (
    BEND,
    CONTROL,
    DRUM_CHANNEL,
    INSTRUMENT_NAME,
    LYRIC,
    PROGRAM,
    SUSTAIN,
    TRACK_NAME,
    VOLUME,
    Array,
    Events,
)
from arrange.formats.midi.notes import MOST_NAMED, Pairs
from arrange.formats.midi.sounds import PROGRAM_NAMES
from arrange.song_size import MOST_PARTS

_DEFAULT_VOLUME = 100  # General MIDI, after a reset


def read_parts(
    events: Events, pairs: Pairs, name: str, notices: list[str]
) -> tuple[dict[str, Any], Array]:
    """Return the columns of the parts table, and the part of each note.

    Raises
    ------
    ReadError
        If there are more than ``MOST_PARTS``.
    """
    line_of_note = pairs.track * 16 + pairs.channel
    with_notes = set(np.unique(line_of_note).tolist())
    lines = sorted(with_notes | _silent(events, with_notes))
    if len(lines) > MOST_PARTS:
        raise ReadError(
            f"its tracks and channels make {len(lines):,} parts; {MOST_PARTS:,} is the most: "
            "export it with one track a part",
            file=name,
        )
    part_of_note = np.searchsorted(np.array(lines, dtype=np.int64), line_of_note)
    by_part = np.argsort(part_of_note, kind="stable")
    edges = np.searchsorted(part_of_note[by_part], np.arange(len(lines) + 1)).tolist()
    onsets = [pairs.down[by_part[begin:end]] for begin, end in pairwise(edges)]
    own = _by_line(events)
    shared = _programs_by_channel(events)
    programs = [
        _program(own.get(line), shared[line % 16], line, heard)
        for line, heard in zip(lines, onsets, strict=True)
    ]
    names = _names(events, lines, programs)
    labels = unique_labels(names)
    sung = {meta.track for meta in events.metas if meta.kind == LYRIC}
    named = [events.name_of(line // 16, INSTRUMENT_NAME) for line in lines]
    instruments = [
        name_
        or ("Drums" if line % 16 == DRUM_CHANNEL else program and PROGRAM_NAMES[program - 1])
        or None
        for name_, line, program in zip(named, lines, programs, strict=True)
    ]
    called = [f"{label} {name_}" for label, name_ in zip(labels, named, strict=True)]
    parts = {
        "part": labels,
        "instrument": instruments,
        "family": [
            instrument_family(
                call,
                program=program,
                unpitched=line % 16 == DRUM_CHANNEL,
                sung=not events.single and line // 16 in sung and line // 16 > 0,
                beside=[other for other in labels if other != label],
            )
            for line, label, call, program in zip(lines, labels, called, programs, strict=True)
        ],
        "tuning": [None] * len(lines),
        "capo": [0] * len(lines),
        "transpose": [0] * len(lines),
        "drive": [
            instrument_drive(call, program) for call, program in zip(called, programs, strict=True)
        ],
        "echo": [None] * len(lines),
        "level": _levels([own.get(line) for line in lines], onsets),
        "program": programs,
        "player": [None] * len(lines),
    }
    _report_left_out(lines, labels, own, notices)
    return parts, part_of_note


def _silent(events: Events, with_notes: set[int]) -> set[int]:
    """Tracks that set up one channel and play nothing: parts that lay out all the time."""
    if events.single:
        return set()
    sets_up = np.isin(events.status, (CONTROL, PROGRAM))
    lines = np.unique((events.track * 16 + events.channel)[sets_up])
    tracks, count = np.unique(lines // 16, return_counts=True)
    alone = np.isin(lines // 16, tracks[count == 1]) & (lines >= 16)
    return {line for line in lines[alone].tolist() if line not in with_notes}


class _Setup:
    """What a line says besides notes: controllers, programs and bends, in order of time."""

    def __init__(self, tick: Array, status: Array, first: Array, second: Array) -> None:
        self.tick, self.status, self.first, self.second = tick, status, first, second

    def values(self, status: int, controller: int = -1) -> tuple[Array, Array]:
        """Ticks and values of the programs, or of one controller."""
        rows = self.status == status
        if controller >= 0:
            rows &= self.first == controller
        return self.tick[rows], (self.second if controller >= 0 else self.first)[rows]


def _by_line(events: Events) -> dict[int, _Setup]:
    rows = np.flatnonzero(np.isin(events.status, (CONTROL, PROGRAM, BEND)))
    line = events.track[rows] * 16 + events.channel[rows]
    rows = rows[np.argsort(line, kind="stable")]
    lines, begins = np.unique(np.sort(line), return_index=True)
    edges = [*begins.tolist(), len(rows)]
    setups = {}
    for found, begin, end in zip(lines.tolist(), edges[:-1], edges[1:], strict=True):
        own = rows[begin:end]
        setups[found] = _Setup(
            events.tick[own], events.status[own], events.first[own], events.second[own]
        )
    return setups


def _programs_by_channel(events: Events) -> list[tuple[Array, Array]]:
    """Ticks and values of the programs of each channel, whatever their track."""
    rows = np.flatnonzero(events.status == PROGRAM)
    rows = rows[np.argsort(events.tick[rows], kind="stable")]
    by_channel = [rows[events.channel[rows] == channel] for channel in range(16)]
    return [(events.tick[own], events.first[own]) for own in by_channel]


def _program(
    own: _Setup | None, shared: tuple[Array, Array], line: int, onsets: Array
) -> int | None:
    """The program, from 1, in force at a line's first note; from its own track if that has one."""
    if line % 16 == DRUM_CHANNEL:
        return None  # there a program is a drum kit
    ticks, values = own.values(PROGRAM) if own else shared
    if not len(ticks):
        ticks, values = shared
    if not len(ticks):
        return None
    first = int(onsets.min()) if len(onsets) else 0
    return int(values[max(int(np.searchsorted(ticks, first, side="right")) - 1, 0)]) + 1


def _names(events: Events, lines: list[int], programs: list[int | None]) -> list[str]:
    """What the parts are called: by their track, and where it plays several, by their sound."""
    pitched = Counter(line // 16 for line in lines if line % 16 != DRUM_CHANNEL)
    names = []
    for line, program in zip(lines, programs, strict=True):
        track, channel = divmod(line, 16)
        instrument = events.name_of(track, INSTRUMENT_NAME)
        sound = f"Channel {channel + 1}"
        if channel == DRUM_CHANNEL:
            sound = "Drums"
        elif program is not None:
            sound = PROGRAM_NAMES[program - 1]
        several = pitched[track] > (0 if channel == DRUM_CHANNEL else 1)
        label = "" if events.single else events.name_of(track, TRACK_NAME) or instrument
        if several:
            names.append(f"{label} {sound}".strip())
        else:
            names.append(label or instrument or sound)
    return names


def _levels(setups: list[_Setup | None], onsets: list[Array]) -> list[float]:
    """Loudness of each part in dB relative to the loudest, from its usual channel volume."""
    volumes = []
    for setup, heard in zip(setups, onsets, strict=True):
        ticks, values = setup.values(CONTROL, VOLUME) if setup else (np.empty(0), np.empty(0))
        if not len(ticks):
            volumes.append(float(_DEFAULT_VOLUME))
            continue
        # A fade has many values: what most of the notes have counts.
        rows = np.maximum(np.searchsorted(ticks, heard, side="right") - 1, 0)
        volumes.append(float(np.median(values[rows] if len(rows) else values)))
    levels = [40 * math.log10(max(volume, 1) / 127) for volume in volumes]
    return [level - max(levels) for level in levels]


def _report_left_out(
    lines: list[int], labels: list[str], own: dict[int, _Setup], notices: list[str]
) -> None:
    found: dict[str, list[str]] = {}
    for line, label in zip(lines, labels, strict=True):
        setup = own.get(line)
        if setup is None:
            continue
        if line % 16 != DRUM_CHANNEL and len(np.unique(setup.values(PROGRAM)[1])) > 1:
            found.setdefault("it changes its sound; the first is kept", []).append(label)
        if (setup.values(CONTROL, SUSTAIN)[1] >= 64).any():
            found.setdefault(
                "the sustain pedal is not applied; notes end where their keys go up", []
            ).append(label)
        if (setup.status == BEND).any():
            found.setdefault("pitch bends are left out", []).append(label)
    for problem, whose in found.items():
        more = ", ..." if len(whose) > MOST_NAMED else ""
        notices.append(f"{', '.join(whose[:MOST_NAMED])}{more}: {problem}")
