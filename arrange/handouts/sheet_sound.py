"""A song as a sheet in a browser plays it: which notes sound when, in seconds, and how.

How notes sound is what ``arrange.sound`` says, so that a sheet and a notebook sound the same; the
script beside this file (``sheet_player.js``) adds the partials that are listed here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from arrange.hearing import drive_named
from arrange.quantities.texture import ECHO_DECIBELS, ECHO_REPEATS, echo_times
from arrange.sound import PEAK
from arrange.sound.amplifier import CABINET_HERTZ
from arrange.sound.clicks import CLICK, whole_bar_quarters
from arrange.sound.note_sounds import (
    is_muted,
    notes_by_sound,
    part_sides,
    part_volume,
)
from arrange.sound.rendering import TAIL_SECONDS
from arrange.sound.tones import (
    CLICK_SECONDS,
    KNOCK_DECAY_SECONDS,
    KNOCK_SECONDS,
    KNOCK_STRENGTH,
    MOST_SECONDS,
    RELEASE_SECONDS,
    Partials,
    click_partials,
    note_partials,
)
from arrange.tables.song import Song
from arrange.tables.sounding import played_notes
from arrange.theory.meters import beat_quarters

SLOW = 0.6  # of the song's tempo
_KNOCK = -1  # in place of a tone: a stroke without a pitch
_DIGITS = 4  # of a second
_MEET = 0.5  # of the sum of all peaks that notes struck at once reach, as measured on songs


def song_sound(song: Song) -> dict[str, Any]:
    """Return what a browser needs to play a song, as values that JSON holds.

    Returns
    -------
    dict
        ``sections``: [label, start, end, first bar, last bar]; ``bars``: [start, length of a whole
        bar, length of a beat]; ``parts``: label, volume, and side from -1, left, to 1, right;
        ``buses``: part, drive ([gain, bias] or none), delay of its echo, and the largest amplitude
        of what is struck at once; ``notes`` in order of time: [start, length, tone, bus], and by
        how many seconds one rings on; ``tones``: [Hz of the first partial, amplitudes, decays a
        second, attack]; ``volume``, by which all is made softer; ``fixed``, the same for every
        song. Times are seconds from the song's start, at its tempo. Tones and buses are numbered
        from 0, and tone -1 is a stroke without a pitch; bars from 1.
    """
    echoes = echo_times(song)
    labels = song.parts["part"].tolist()
    sides, volumes = part_sides(song), [part_volume(song, part) for part in labels]
    buses: list[dict[str, Any]] = []
    tones: dict[tuple[str, float, bool], int] = {}
    tables = []
    for part, (label, family) in enumerate(zip(labels, song.parts["family"], strict=True)):
        notes = played_notes(song.notes[song.notes["part"] == label])
        for (drive, delay), own in notes_by_sound(song, label, notes, echoes):
            table = _struck(song, own, family, tones).assign(bus=len(buses))
            shape = drive_named(drive)
            buses.append({
                "part": part,
                "drive": [shape.gain, shape.bias] if shape.gain else None,
                "delay": round(delay, _DIGITS),
            })  # fmt: skip
            tables.append(table)
    listed = [_tone(note_partials(*tone)) for tone in tones]
    notes = pd.concat(tables) if tables else _struck(song, song.notes[:0], "other", tones)
    notes = notes.assign(bus=0) if not tables else notes
    peaks = np.array([*(_peak(tone[1]) for tone in listed), KNOCK_STRENGTH])  # -1 is the last
    notes = notes.sort_values(["start", "bus", "tone"], kind="stable")
    at_once = _at_once(notes, peaks[notes["tone"]])
    for number, bus in enumerate(buses):
        bus["peak"] = round(float(at_once[number].max()), 3)
    together = at_once @ np.array([volumes[bus["part"]] for bus in buses])
    return {
        "sections": list(_sections(song)),
        "bars": _bars(song),
        "parts": [
            {"part": part, "volume": round(volume, 5), "side": round(float(sides[part]), 3)}
            for part, volume in zip(labels, volumes, strict=True)
        ],
        "buses": buses,
        "notes": _rows(notes),
        "tones": listed,
        "volume": round(min(1.0, PEAK / max([PEAK, *(_MEET * together)])), 4),
        "fixed": _FIXED,
    }


def _struck(
    song: Song, notes: pd.DataFrame, family: str, tones: dict[tuple[str, float, bool], int]
) -> pd.DataFrame:
    """Start, length, tone and ring of each note; new tones are added to those known."""
    onset = notes["onset"].to_numpy()
    end, gone = (
        np.minimum(onset + notes[name].to_numpy(), song.duration) for name in ("duration", "sounds")
    )
    start, stop = np.asarray(song.seconds(onset)), np.asarray(song.seconds(end))
    techniques = notes["technique"].tolist()
    numbers = [
        tones.setdefault((family, pitch, is_muted(technique)), len(tones))
        if pitch == pitch
        else _KNOCK
        for pitch, technique in zip(notes["pitch"].tolist(), techniques, strict=True)
    ]
    return pd.DataFrame({
        "start": start,
        "length": stop - start,
        "tone": np.array(numbers, dtype=np.int64),
        "rings": (np.asarray(song.seconds(gone)) - stop).round(_DIGITS),
    })  # fmt: skip


def _tone(tones: Partials) -> list[Any]:
    """A tone with three digits more than an ear can tell."""
    decays = [float(f"{rate:.4g}") for rate in tones.rate]
    strengths = [float(f"{strength:.4g}") for strength in tones.strength]
    return [round(float(tones.hertz[0]), 5), strengths, decays, tones.attack]


def _peak(strengths: list[float]) -> float:
    """The largest amplitude of a tone before it dies away."""
    turn = np.linspace(0, np.pi, 128)
    waves = np.sin(np.outer(turn, np.arange(1, len(strengths) + 1))) @ np.array(strengths)
    return float(waves.max(initial=0.0))


def _at_once(notes: pd.DataFrame, peaks: Any) -> pd.DataFrame:
    """The amplitude of what is struck at once: a row a moment, a column a bus."""
    table = notes.assign(peak=peaks, moment=notes["start"].round(2))
    return table.pivot_table("peak", "moment", "bus", aggfunc="sum", fill_value=0.0)


def _rows(notes: pd.DataFrame) -> list[list[float]]:
    columns = [notes[name].round(_DIGITS).tolist() for name in ("start", "length")]
    columns += [notes[name].tolist() for name in ("tone", "bus", "rings")]
    return [list(row if row[4] else row[:4]) for row in zip(*columns, strict=True)]


def _sections(song: Song) -> Iterator[list[Any]]:
    for row in song.sections.itertuples():
        start, end = song.seconds(row.onset), song.seconds(row.onset + row.duration)
        yield [row.section, round(start, _DIGITS), round(end, _DIGITS),
               row.first_measure, row.last_measure]  # fmt: skip


def _bars(song: Song) -> list[list[float]]:
    bars = song.measures
    quarters = (60 / bars["tempo"]).tolist()
    starts = np.asarray(song.seconds(bars["onset"].to_numpy())).tolist()
    rows = zip(starts, bars["meter"], bars["duration"], quarters, strict=True)
    return [
        [round(start, _DIGITS), round(whole_bar_quarters(meter, duration) * quarter, _DIGITS),
         round(beat_quarters(meter) * quarter, _DIGITS)]
        for start, meter, duration, quarter in rows
    ]  # fmt: skip


_FIXED = {
    "slow": SLOW,
    "peak": PEAK,
    "tail": TAIL_SECONDS,
    "longest": MOST_SECONDS,
    "release": RELEASE_SECONDS,
    "cabinet": CABINET_HERTZ,
    "echoes": [round(10 ** (ECHO_DECIBELS * n / 20), 4) for n in range(1, ECHO_REPEATS + 1)],
    "clicks": [_tone(click_partials(accent)) for accent in (False, True)],
    "click": {"volume": CLICK, "seconds": CLICK_SECONDS},
    "knock": {"seconds": KNOCK_SECONDS, "decay": KNOCK_DECAY_SECONDS, "strength": KNOCK_STRENGTH},
}
