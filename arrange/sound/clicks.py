"""Clicks on the beats of the bars that are heard, and bars of clicks before them."""

from __future__ import annotations

import numpy as np

from arrange.sound.heard_bars import HeardBars
from arrange.sound.tones import RATE, Array, click
from arrange.tables.song import Song
from arrange.theory.meters import beat_quarters

CLICK = 0.06  # amplitude


def add_beats(mixed: Array, song: Song, heard: HeardBars, begins: int) -> None:
    """Add a click on each beat of the bars heard, the first of which begins at a sample."""
    bars = song.measures.iloc[heard.first - 1 : heard.last]
    onsets, firsts = [], []
    for onset, duration, meter in zip(bars["onset"], bars["duration"], bars["meter"], strict=True):
        beats = np.arange(onset, onset + duration - 1e-9, beat_quarters(meter))
        onsets.append(beats)
        firsts.append(np.arange(len(beats)) == 0)
    at = np.rint(heard.at(song, np.concatenate(onsets)) * RATE).astype(np.int64)
    _add_clicks(mixed, at + begins, np.concatenate(firsts))


def count_in_seconds(song: Song, heard: HeardBars, bars: int) -> float:
    """Return how long bars of clicks last, in the meter and at the tempo of the first bar."""
    return bars * _whole_bar(song, heard) * _quarter_seconds(song, heard)


def count_in_clicks(song: Song, heard: HeardBars, bars: int) -> Array:
    """Return bars of clicks as samples x 2."""
    clicks = np.zeros((round(count_in_seconds(song, heard, bars) * RATE), 2), dtype=np.float32)
    if bars:
        whole = _whole_bar(song, heard)
        beat = beat_quarters(song.measures["meter"].iloc[heard.first - 1])
        beats = [whole * n + np.arange(0, whole - 1e-9, beat) for n in range(bars)]
        onsets = np.concatenate(beats)
        at = np.rint(onsets * _quarter_seconds(song, heard) * RATE).astype(np.int64)
        _add_clicks(clicks, at, np.isclose(onsets % whole, 0))
    return clicks


def _whole_bar(song: Song, heard: HeardBars) -> float:
    bar = song.measures.iloc[heard.first - 1]
    return whole_bar_quarters(str(bar["meter"]), float(bar["duration"]))


def whole_bar_quarters(meter: str, duration: float) -> float:
    """Return the quarter notes of a whole bar; a pickup's own duration would be too short."""
    upper, _, lower = meter.partition("/")
    is_plain = upper.isdecimal() and lower.isdecimal()
    return int(upper) * 4 / int(lower) if is_plain else duration


def _quarter_seconds(song: Song, heard: HeardBars) -> float:
    return 60 / float(song.measures["tempo"].iloc[heard.first - 1]) * heard.slower


def _add_clicks(mixed: Array, at: Array, firsts: Array) -> None:
    for start, first in zip(at.tolist(), firsts.tolist(), strict=True):
        sound = CLICK * click(first)
        room = len(mixed) - start
        mixed[start : start + len(sound)] += sound[:room, None]
