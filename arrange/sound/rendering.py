"""Parts of a song as sound: each part's notes, drive and echo are made alone, then mixed."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.findings import finding_notes
from arrange.findings.finding_notes import finding_row
from arrange.quantities.texture import echo_times
from arrange.sound.amplifier import add_echo, driven
from arrange.sound.clicks import add_beats, count_in_clicks, count_in_seconds
from arrange.sound.heard_bars import HeardBars, check_heard, heard_bars
from arrange.sound.note_sounds import (
    is_muted,
    notes_by_sound,
    part_sides,
    part_volume,
    side_gains,
)
from arrange.sound.playback import PLAIN, Playback
from arrange.sound.soundfont import Sampler
from arrange.sound.sounds import Sound, check_sound_path, join_sounds, write_sound
from arrange.sound.tones import (
    KNOCK_SECONDS,
    MOST_SECONDS,
    RATE,
    RELEASE_SECONDS,
    Array,
    knock,
    tone,
)
from arrange.tables.song import Song, part_row
from arrange.text.part_lists import split_parts

PEAK = 0.5  # of full scale, -6 dB
LONGEST_SECONDS = 30 * 60  # of a sound, so that memory is enough
TAIL_SECONDS = 2.0  # after the last bar line, in which notes die away


def render_sound(
    song: Song,
    path: str | os.PathLike[str] | None = None,
    *,
    parts: Sequence[str] | None = None,
    section: str | None = None,
    measures: tuple[int, int] | None = None,
    playback: Playback = PLAIN,
) -> Sound:
    """Return a song, some of its parts or some of its measures as sound.

    Parameters
    ----------
    song : Song
    path : path, optional
        A file that the sound is written to as well, ``.wav``, ``.flac`` or ``.ogg``.
    parts : sequence of str, optional
        Labels of the parts that are heard. Default: all.
    section : str, optional
        Label of the section that is heard.
    measures : (int, int), optional
        First and last measure that are heard, as played, in place of a section. Notes that sound
        into the first one are struck at its start.
    playback : Playback, optional
        Tempo, place of the parts, clicks, loop and instruments.

    Raises
    ------
    ArrangeError
        If a part, section or measure is not there, none of the parts sounds there, the sound would
        last longer than ``LONGEST_SECONDS``, the font cannot be read, or the file cannot be
        written.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> sound = ar.render_sound(song, parts=["Guitar 1"], measures=(1, 2))
    >>> slow = ar.render_sound(
    ...     song, parts=["Guitar 1"], measures=(1, 2), playback=ar.Playback(tempo=60, count_in=1)
    ... )
    >>> round(sound.seconds, 1), slow.seconds, slow.begins
    (6.7, 14.0, 4.0)
    """
    if path is not None:
        check_sound_path(Path(path))
    names = _parts(song, parts)
    heard = heard_bars(song, section, measures, playback.tempo)
    sides = part_sides(song, playback.pan)
    _check_length(song, heard, playback)
    if not playback.click:
        check_heard(song, names, heard)
    sound = Sound(*_mixed(song, heard, {name: sides[name] for name in names}, playback))
    sound = replace(sound, is_loop=playback.loop)
    if path is not None:
        write_sound(sound, path)
    return sound


def finding_sound(song: Song, finding: Any, playback: Playback = PLAIN) -> Sound:
    """Return the bars of a finding as sound: each of its parts alone, then all of them together.

    Parameters
    ----------
    song : Song
    finding : a row of the findings table, or the label of one in ``find_clashes(song)``
    playback : Playback, optional
        As in ``render_sound``. With ``loop`` all of it is repeated.

    Raises
    ------
    ArrangeError
        As ``finding_notes`` and ``render_sound``.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> strongest = ar.find_clashes(song).iloc[0]
    >>> round(ar.finding_sound(song, strongest).seconds, 1)
    6.4
    """
    row = finding_row(song, finding)
    notes = finding_notes(song, finding)
    names = list(dict.fromkeys(notes["part"])) or split_parts(row.parts)
    starts = song.measures["onset"].to_numpy()
    last = int(np.searchsorted(starts, row.onset + row.duration - 1e-6))
    bars = (int(row.measure), max(int(row.measure), min(last, len(starts))))
    heard = [[name] for name in names if len(names) > 1] + [names]
    once = replace(playback, loop=False)
    sounds = [render_sound(song, parts=own, measures=bars, playback=once) for own in heard]
    return replace(join_sounds(*sounds), is_loop=playback.loop)


def _mixed(
    song: Song, heard: HeardBars, sides: Mapping[str, float], playback: Playback
) -> tuple[Array, float]:
    """The samples of the parts at their sides, and the seconds at which the music begins."""
    before = count_in_clicks(song, heard, playback.count_in)
    begins = len(before)
    tail = 0 if playback.loop else round(TAIL_SECONDS * RATE)
    mixed = np.zeros((begins + heard.samples + tail, 2), dtype=np.float32)
    font = playback.font
    sampler = None if font is None else Sampler(song, Path(font), heard.slower)
    echoes = echo_times(song)
    for name, side in sides.items():
        mono = _part(song, name, heard, echoes, sampler)
        placed = _looped if playback.loop else _faded
        mono = placed(mono, begins, len(mixed))
        for channel, gain in enumerate(side_gains(side)):
            mixed[:, channel] += mono * np.float32(gain)
    peak = max(-mixed.min(initial=0.0), mixed.max(initial=0.0))
    if peak > PEAK:
        mixed *= PEAK / peak
    mixed[:begins] += before
    if playback.click:
        add_beats(mixed, song, heard, begins)
    return mixed, begins / RATE


def _check_length(song: Song, heard: HeardBars, playback: Playback) -> None:
    seconds = count_in_seconds(song, heard, playback.count_in) + heard.seconds
    if playback.font is not None:  # a font plays from the start of the song
        seconds += heard.start * heard.slower
    if not seconds <= LONGEST_SECONDS:
        raise ArrangeError(
            f"this would sound for {seconds / 60:,.0f} minutes; at most "
            f"{LONGEST_SECONDS // 60} are made at once: ask for a section, for fewer measures or "
            "for a faster tempo"
        )


def _parts(song: Song, parts: Sequence[str] | None) -> list[str]:
    if isinstance(parts, str):
        raise ArrangeError(f"parts={shown(parts)}: give a list of labels, [{shown(parts)}]")
    for part in parts or ():
        part_row(song, part)
    return song.parts["part"].tolist() if parts is None else list(dict.fromkeys(parts))


def _looped(mono: Array, begins: int, length: int) -> Array:
    """A part from the sample `begins` on; what goes beyond the length is added at the start."""
    rounds = -(-(begins + len(mono)) // length)
    whole = np.zeros(rounds * length, dtype=mono.dtype)
    whole[begins : begins + len(mono)] = mono
    looped: Array = whole.reshape(rounds, length).sum(axis=0)
    return looped


def _faded(mono: Array, begins: int, length: int) -> Array:
    """A part from the sample `begins` on, faded in within a millisecond and out at the end."""
    whole = np.zeros(length, dtype=mono.dtype)
    whole[begins:] = mono[: length - begins]
    whole[begins : begins + RATE // 1000] *= np.linspace(0.0, 1.0, RATE // 1000)
    fade = round(TAIL_SECONDS * RATE)
    whole[-fade:] *= np.linspace(1.0, 0.0, fade)
    return whole


def _part(
    song: Song, name: str, heard: HeardBars, echoes: pd.DataFrame, sampler: Sampler | None
) -> Array:
    """One part in mono, from the first measure heard: its notes, its drive, its echo."""
    notes = heard.notes(song, name)
    tail = round((TAIL_SECONDS + MOST_SECONDS) * RATE)
    whole = np.zeros(heard.samples + tail, dtype=np.float32)
    volume, family = part_volume(song, name), str(part_row(song, name)["family"])
    for (drive, delay), some in notes_by_sound(song, name, notes, echoes):
        wave = np.zeros_like(whole)
        if sampler is None:
            _strike(wave, song, some, family, heard)
        else:
            begin = round(heard.start * heard.slower * RATE)
            played = sampler.play(name, some)[begin : begin + len(wave)]
            wave[: len(played)] += played
        wave = driven(wave, drive)
        wave *= np.float32(volume)
        whole += wave
        if delay:
            add_echo(wave, whole, delay * heard.slower)
    return whole


def _strike(wave: Array, song: Song, notes: pd.DataFrame, family: str, heard: HeardBars) -> None:
    """Add each note at its onset."""
    begin = np.maximum(notes["onset"].to_numpy(), heard.begin)
    end = np.minimum((notes["onset"] + notes["sounds"]).to_numpy(), heard.end)
    start = np.rint(heard.at(song, begin) * RATE).astype(np.int64)
    seconds = heard.at(song, end) - heard.at(song, begin)
    techniques = notes["technique"].tolist()
    for at, lasts, pitch, technique in zip(
        start.tolist(), seconds.tolist(), notes["pitch"].tolist(), techniques, strict=True
    ):
        if pitch != pitch:  # unpitched
            sound = knock(round(KNOCK_SECONDS * RATE))
        else:
            samples = round((min(lasts, MOST_SECONDS) + RELEASE_SECONDS) * RATE)
            sound = tone(family, float(pitch), samples, is_muted(technique))
        room = len(wave) - at
        wave[at : at + len(sound)] += sound[:room]
