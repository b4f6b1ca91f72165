"""A song to listen to: parts, pairs, sections and clashing moments, at any tempo.

Everything is made from the tables; a repeat gives the same samples. Levels stay low and never
jump: the loudest sample is at most ``PEAK``, and clicks are softer than that. Still, turn your
headphones down before you press play and up afterwards: 85 dBA over a working day is the limit
that NIOSH recommends, and each 3 dB more halves the time (``exposure_hours``).

References
----------
ISO 16 (1975): A4 is 440 Hz. NIOSH, Criteria for a recommended standard: occupational noise
exposure, publication 98-126 (1998).
"""

from __future__ import annotations

import base64
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import soundfile

from arrange.errors import ArrangeError, shortened
from arrange.findings import finding_notes
from arrange.findings.finding_notes import finding_row
from arrange.formats.files import check_target, whole_file
from arrange.quantities.texture import echo_times
from arrange.sound.amplifier import add_echo, driven
from arrange.sound.clicks import add_beats, count_in_clicks, count_in_seconds
from arrange.sound.heard_bars import HeardBars, check_heard, heard_bars
from arrange.sound.soundfont import Sampler
from arrange.sound.tones import MOST_SECONDS, RATE, RELEASE_SECONDS, Array, knock, tone
from arrange.tables.song import Song, part_row
from arrange.text.part_lists import split_parts

__all__ = [
    "LONGEST_SECONDS",
    "MOST_COUNT_IN",
    "PEAK",
    "RATE",
    "Sound",
    "exposure_hours",
    "finding_sound",
    "join_sounds",
    "render_sound",
    "write_sound",
]

PEAK = 0.5  # of full scale, -6 dB
_NOTE = 0.07  # amplitude of a note of a part at level 0
_APART = 0.7  # how far guitars are panned apart, of 1
_TAIL_SECONDS = 2.0  # after the last bar line, in which notes die away
_RING_SECONDS = 1.0  # that a note goes on which is let ring
_FORMATS = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS")}
_BLOCK_SAMPLES = 2**16  # written at a time: the Vorbis writer cannot take minutes at once
LONGEST_SECONDS = 30 * 60  # of a sound, so that memory is enough
MOST_COUNT_IN = 16  # bars
_MUTED = ("muted", "palm mute")


@dataclass(frozen=True)
class Sound:
    """Something to listen to. A notebook shows it as a player.

    Parameters
    ----------
    samples : array of float32, samples x 2
        Left and right, at ``RATE``, between -1 and 1.
    begins : float
        Seconds at which the music begins, after a count-in.
    is_loop : bool
        Whether the player begins anew at the end.
    """

    samples: Array
    begins: float = 0.0
    is_loop: bool = False

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / RATE

    def _repr_html_(self) -> str:
        # Without loss, a fifth of a WAV's size, and played by every browser.
        file = io.BytesIO()
        _write_blocks(self, file, ".flac")
        data = base64.b64encode(file.getvalue()).decode()
        loop = " loop" if self.is_loop else ""
        return f'<audio controls{loop} src="data:audio/flac;base64,{data}"></audio>'


def render_sound(
    song: Song,
    path: str | os.PathLike[str] | None = None,
    *,
    parts: Sequence[str] | None = None,
    section: str | None = None,
    measures: tuple[int, int] | None = None,
    tempo: float | None = None,
    pan: Mapping[str, float] | None = None,
    count_in: int = 0,
    with_click: bool = False,
    loop: bool = False,
    font: str | os.PathLike[str] | None = None,
) -> Sound:
    """Return a song, some of its parts or a stretch of it as sound; written too if a path is given.

    Parameters
    ----------
    song : Song
    path : path, optional
        Where to write it, ``.wav``, ``.flac`` or ``.ogg``.
    parts : sequence of str, optional
        Those that are heard; all if not given.
    section : str, optional
    measures : (int, int), optional
        First and last, as played. Notes that sound into the stretch are struck at its start.
    tempo : float, optional
        Quarter notes a minute at the start of the stretch; later changes keep their proportion.
        Pitch does not change.
    pan : mapping of part to float, optional
        From -1, left, to 1, right. Guitars stand apart and all else in the middle if not given.
    count_in : int
        Bars of clicks before, at most ``MOST_COUNT_IN``.
    with_click : bool
        Clicks on the beats.
    loop : bool
        What rings beyond the end stands at the start, so that it can be repeated without a seam;
        a count-in is then heard each time round, with the last notes ringing into it.
    font : path, optional
        A SoundFont (``.sf2``) of your own, from which the parts are played instead, by their
        General MIDI programs; needs ``pip install 'arrange[sampled]'``. Drive and echo are added
        as always.

    Raises
    ------
    ArrangeError
        If a part, section or measure is not there, the tempo is not from 10 to 400, a pan is
        beyond -1 to 1, the count-in is not from 0 to ``MOST_COUNT_IN`` bars, none of the parts
        sounds there, it would last longer than ``LONGEST_SECONDS``, the font cannot be read, or
        the file cannot be written.
    """
    if path is not None:
        _check_sound_path(Path(path))
    names = _parts(song, parts)
    stretch = heard_bars(song, section, measures, tempo)
    sides = _sides(song, pan)
    _check_length(song, stretch, count_in, is_sampled=font is not None)
    if not with_click:
        check_heard(song, names, stretch)
    before = count_in_clicks(song, stretch, count_in)
    begins = len(before)
    tail = 0 if loop else round(_TAIL_SECONDS * RATE)
    mixed = np.zeros((begins + stretch.samples + tail, 2), dtype=np.float32)
    sampler = None if font is None else Sampler(song, Path(font), stretch.slower)
    echoes = echo_times(song)
    for name in names:
        mono = _part(song, name, stretch, echoes, sampler)
        mono = _looped(mono, begins, len(mixed)) if loop else _faded(mono, begins, len(mixed))
        for side, gain in enumerate(_gains(sides[name])):
            mixed[:, side] += mono * np.float32(gain)
    peak = max(-mixed.min(initial=0.0), mixed.max(initial=0.0))
    if peak > PEAK:
        mixed *= PEAK / peak
    mixed[:begins] += before
    if with_click:
        add_beats(mixed, song, stretch, begins)
    sound = Sound(mixed, begins / RATE, loop)
    if path is not None:
        write_sound(sound, path)
    return sound


def finding_sound(song: Song, finding: Any) -> Sound:
    """Return the bars of a finding: each of its parts alone, then all of them together.

    Parameters
    ----------
    song : Song
    finding : a row of the findings table, or the label of one in ``find_clashes(song)``

    Raises
    ------
    ArrangeError
        As ``finding_notes``.
    """
    row = finding_row(song, finding)
    notes = finding_notes(song, finding)
    names = list(dict.fromkeys(notes["part"])) or split_parts(row.parts)
    starts = song.measures["onset"].to_numpy()
    last = int(np.searchsorted(starts, row.onset + row.duration - 1e-6))
    bars = (int(row.measure), max(int(row.measure), min(last, len(starts))))
    alone = [render_sound(song, parts=[name], measures=bars) for name in names]
    together = render_sound(song, parts=names, measures=bars)
    return join_sounds(*(alone if len(names) > 1 else []), together)


def join_sounds(*sounds: Sound, pause: float = 0.8) -> Sound:
    """Return sounds one after the other, with a pause in seconds between: before and after."""
    silence = np.zeros((round(pause * RATE), 2), dtype=np.float32)
    pieces = [piece for sound in sounds for piece in (sound.samples, silence)][:-1]
    return Sound(np.concatenate(pieces)) if pieces else Sound(silence[:0])


def write_sound(sound: Sound, path: str | os.PathLike[str]) -> Path:
    """Write a sound as ``.wav`` or ``.flac`` (16 bits) or ``.ogg`` (Vorbis), whole or not at all.

    Raises
    ------
    ArrangeError
        If the name ends in none of them, or the file cannot be written.
    """
    path = Path(path)
    _check_sound_path(path)
    with whole_file(path) as draft:
        try:
            _write_blocks(sound, draft, path.suffix.lower())
        except soundfile.LibsndfileError as error:  # a full disk is "System error." to it
            raise ArrangeError(
                f"{shortened(path)}: cannot be written: {error.error_string} Is the disk full? "
                "Choose another place"
            ) from None
    return path


def _check_sound_path(path: Path) -> None:
    if path.suffix.lower() not in _FORMATS:
        raise ArrangeError(
            f"{shortened(path)}: a sound is written as .wav, .flac or .ogg; end the name in one"
        )
    check_target(path)


def _write_blocks(sound: Sound, target: Path | io.BytesIO, suffix: str) -> None:
    kind, subtype = _FORMATS[suffix]
    samples = sound.samples
    with soundfile.SoundFile(target, "w", RATE, samples.shape[1], subtype, format=kind) as file:
        for begin in range(0, len(samples), _BLOCK_SAMPLES):
            file.write(samples[begin : begin + _BLOCK_SAMPLES])


def exposure_hours(decibels: Any) -> Any:
    """Return how many hours of a day one may hear a level, dBA, after NIOSH: 8 at 85 dBA, half
    as long for each 3 dB more. A rule for work places; your own ears may ask for less.
    """
    return 8 / 2 ** ((np.asarray(decibels) - 85) / 3)


def _check_length(song: Song, stretch: HeardBars, count_in: int, *, is_sampled: bool) -> None:
    if not 0 <= count_in <= MOST_COUNT_IN:
        raise ArrangeError(f"count_in={count_in}: bars of clicks before, from 0 to {MOST_COUNT_IN}")
    seconds = count_in_seconds(song, stretch, count_in) + stretch.seconds
    if is_sampled:  # a font plays from the start of the song
        seconds += stretch.start * stretch.slower
    if not seconds <= LONGEST_SECONDS:
        raise ArrangeError(
            f"this would sound for {seconds / 60:,.0f} minutes; at most "
            f"{LONGEST_SECONDS // 60} are made at once: ask for a section, for fewer measures or "
            "for a faster tempo"
        )


def _parts(song: Song, parts: Sequence[str] | None) -> list[str]:
    for part in parts or ():
        part_row(song, part)
    return song.parts["part"].tolist() if parts is None else list(dict.fromkeys(parts))


def _sides(song: Song, pan: Mapping[str, float] | None) -> dict[str, float]:
    """Where each part stands, from -1, left, to 1, right."""
    guitars = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    places = np.linspace(-_APART, _APART, len(guitars)) if len(guitars) > 1 else [0.0]
    sides = dict.fromkeys(song.parts["part"], 0.0) | dict(zip(guitars, places, strict=False))
    for part, side in (pan or {}).items():
        part_row(song, part)
        if not -1 <= side <= 1:
            raise ArrangeError(f"pan of {part}: {side}; from -1, left, to 1, right")
        sides[part] = side
    return sides


def _gains(side: float) -> tuple[float, float]:
    """Left and right, so that the power stays the same wherever a part stands."""
    angle = (side + 1) * np.pi / 4
    return float(np.cos(angle)), float(np.sin(angle))


def _looped(mono: Array, begins: int, length: int) -> Array:
    """A part from `begins` on, what goes beyond the length laid over the start."""
    rounds = -(-(begins + len(mono)) // length)
    whole = np.zeros(rounds * length, dtype=mono.dtype)
    whole[begins : begins + len(mono)] = mono
    looped: Array = whole.reshape(rounds, length).sum(axis=0)
    return looped


def _faded(mono: Array, begins: int, length: int) -> Array:
    """A part from `begins` on, let in within a millisecond and dying away at the end."""
    whole = np.zeros(length, dtype=mono.dtype)
    whole[begins:] = mono[: length - begins]
    whole[begins : begins + RATE // 1000] *= np.linspace(0.0, 1.0, RATE // 1000)
    fade = round(_TAIL_SECONDS * RATE)
    whole[-fade:] *= np.linspace(1.0, 0.0, fade)
    return whole


def _part(
    song: Song, name: str, stretch: HeardBars, echoes: pd.DataFrame, sampler: Sampler | None
) -> Array:
    """One part in mono, from the start of the stretch: its notes, its drive, its echo."""
    part = part_row(song, name)
    notes = stretch.notes(song, name)
    tail = round((_TAIL_SECONDS + MOST_SECONDS) * RATE)
    whole = np.zeros(stretch.samples + tail, dtype=np.float32)
    volume = _NOTE * 10 ** (float(part["level"]) / 20)
    echoes = echoes[(echoes["part"] == name) & echoes["milliseconds"].notna()]
    for delay, some in _by_echo(song, notes, echoes):
        wave = np.zeros_like(whole)
        if sampler is None:
            _strike(wave, song, some, str(part["family"]), stretch)
        else:
            begin = round(stretch.start * stretch.slower * RATE)
            played = sampler.play(name, some)[begin : begin + len(wave)]
            wave[: len(played)] += played
        wave = driven(wave, str(part["drive"]))
        wave *= np.float32(volume)
        whole += wave
        if delay:
            add_echo(wave, whole, delay * stretch.slower)
    return whole


def _by_echo(
    song: Song, notes: pd.DataFrame, echoes: pd.DataFrame
) -> list[tuple[float, pd.DataFrame]]:
    """The notes by the delay of their echo in seconds, which follows the tempo at the attack."""
    if echoes.empty:
        return [(0.0, notes)]
    lines = song.measures["onset"].to_numpy()
    bar = np.searchsorted(lines, notes["onset"].to_numpy() + 1e-9, side="right") - 1
    tempo = song.measures["tempo"].to_numpy()[bar]
    return [
        (each.milliseconds / 1000, notes[tempo == each.tempo])
        for each in echoes.itertuples()
        if (tempo == each.tempo).any()
    ]


def _strike(wave: Array, song: Song, notes: pd.DataFrame, family: str, stretch: HeardBars) -> None:
    """Add each note at its onset."""
    begin = np.maximum(notes["onset"].to_numpy(), stretch.begin)
    end = np.minimum((notes["onset"] + notes["duration"]).to_numpy(), stretch.end)
    start = np.rint(stretch.at(song, begin) * RATE).astype(np.int64)
    seconds = stretch.at(song, end) - stretch.at(song, begin)
    techniques = notes["technique"].tolist()
    for at, lasts, pitch, technique in zip(
        start.tolist(), seconds.tolist(), notes["pitch"].tolist(), techniques, strict=True
    ):
        told = technique if isinstance(technique, str) else ""
        rings = _RING_SECONDS if "let ring" in told else 0.0
        if pitch != pitch:  # unpitched
            sound = knock(round(0.3 * RATE))
        else:
            samples = round((min(lasts + rings, MOST_SECONDS) + RELEASE_SECONDS) * RATE)
            sound = tone(family, float(pitch), samples, any(word in told for word in _MUTED))
        room = len(wave) - at
        wave[at : at + len(sound)] += sound[:room]
