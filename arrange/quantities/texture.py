"""How busy the parts are, alone and together, what their echoes add, and how the song grows.

An attack is a moment at which a part begins one or more notes; a chord is one attack. Grace and
cue notes are left out, unpitched notes count. A held note counts in each span that it sounds in,
an attack in the span that it falls in. Two attacks count as together within `window` seconds:
players who mean to attack together miss by some 30 to 50 ms (R. A. Rasch, Synchronization in
performed ensemble music, Acustica 43 (1979); from memory).

An echo set to a note value repeats each attack of its part. A song does not say how often or how
softly: three repeats are counted, each 6 dB softer than the one before (ours).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song
from arrange.tables.sounding import Array, played_notes, slices
from arrange.theory.note_values import named_quarters

ECHO_REPEATS = 3  # the third lies 18 dB below the attack (ours)
ECHO_DECIBELS = -6.0  # of each repeat against the one before (ours)

_SPANS = ("song", "section", "measure")

# dB that a driven sound adds to the part's level, since it is compressed and full of partials;
# set by ear.
DRIVE_DECIBELS = {"clean": 0.0, "edge": 2.0, "overdriven": 4.0, "distorted": 6.0}


def part_texture(song: Song, by: str = "section", *, window: float = 0.03) -> pd.DataFrame:
    """Return how busy each part is, over the song or by section or measure.

    Parameters
    ----------
    song : Song
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.
    window : float
        How near two attacks count as together, seconds.

    Returns
    -------
    DataFrame
        A row for each part and span, silent ones too, in score order: ``part``, the span's label
        (but for the song); ``attacks``, their number; ``density``, attacks a second;
        ``echoes``, repeats a second, each counted by its amplitude (-6 dB is a half);
        ``polyphony``, how many notes sound at once while any does (0 where none does);
        ``silence``, the share of the span in which it is silent; ``together``, the share of its
        attacks that are together with one of any other part's, and for each part of the song a
        column ``with <part>``, the same with that part's alone (missing without attacks, and for
        itself).

    Raises
    ------
    ArrangeError
        If `by` is none of the three.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> texture = ar.part_texture(song)
    >>> busiest = texture.loc[texture["attacks"].idxmax()]
    >>> busiest["part"], busiest["section"], int(busiest["attacks"])
    ('Guitar 2', 'Bridge', 72)
    """
    starts, ends, labels = _spans(song, by)
    spans, parts = len(starts), song.parts["part"].tolist()
    notes = played_notes(song.notes)
    struck, echoes = attack_onsets(notes, parts), echo_attacks(song)
    seconds = [song.seconds(onsets) for onsets in struck]
    lengths = song.seconds(ends) - song.seconds(starts)
    sounding, notes_time = _sounding_time(notes, parts, starts, ends)
    rows = []
    for index, part in enumerate(parts):
        span = _span_of(struck[index], starts)
        attacks = np.bincount(span, minlength=spans)
        busy = sounding[index]
        repeats = echoes[echoes["part"] == part]
        columns: dict[str, Any] = {
            "part": pd.array([part] * spans, dtype="str"),
            **labels,
            "attacks": attacks,
            "density": attacks / lengths,
            "echoes": _echo_density(repeats, (starts, ends), lengths),
            "polyphony": notes_time[index] / np.where(busy > 0, busy, 1),
            "silence": np.clip(1 - busy / (ends - starts), 0, 1),
        }
        others = np.concatenate([np.empty(0), *seconds[:index], *seconds[index + 1 :]])
        columns["together"] = _share(seconds[index], np.sort(others), span, attacks, window)
        for other, name in enumerate(parts):
            share = _share(seconds[index], seconds[other], span, attacks, window)
            columns[f"with {name}"] = np.full(spans, np.nan) if other == index else share
        rows.append(pd.DataFrame(columns))
    return pd.concat(rows, ignore_index=True) if rows else _no_texture(labels)


def _no_texture(labels: dict[str, Any]) -> pd.DataFrame:
    """The texture of a song without parts."""
    numbers = ("density", "echoes", "polyphony", "silence", "together")
    columns = {"part": "str", "attacks": "int64", **dict.fromkeys(numbers, "float64")}
    empty = {name: pd.array([], dtype=dtype) for name, dtype in columns.items()}
    spans = {name: label[:0] for name, label in labels.items()}
    return pd.DataFrame({"part": empty.pop("part"), **spans, **empty})


def song_energy(song: Song, by: str = "section") -> pd.DataFrame:
    """Return how full the song is, span by span: the curve along which it grows.

    Parameters
    ----------
    song : Song
    by : str
        ``"song"``, ``"section"`` or ``"measure"``.

    Returns
    -------
    DataFrame
        A row a span: its label; ``players``, how many parts sound, on average over its time;
        ``notes``, how many notes sound, likewise; ``density``, attacks a second of all parts,
        echoes by their amplitude;
        ``level``, dB of all parts together against one clean part at level 0, from their levels
        and drive (missing in silence); ``energy``, the mean of players, notes, density and
        amplitude, each as a share of the song's fullest span, 0 to 1 (ours: it compares spans of
        one song, not songs).

    Raises
    ------
    ArrangeError
        If `by` is none of the three.

    Examples
    --------
    >>> import arrange as ar
    >>> energy = ar.song_energy(ar.read("datasets/low-water.musicxml"))
    >>> energy.loc[energy["energy"].idxmax(), "section"]
    'Chorus 1'
    """
    starts, ends, labels = _spans(song, by)
    parts, played = song.parts["part"].tolist(), played_notes(song.notes)
    sounding, notes_time = _sounding_time(played, parts, starts, ends)
    attacks = np.concatenate([np.empty(0), *attack_onsets(played, parts)])
    length, seconds = ends - starts, song.seconds(ends) - song.seconds(starts)
    power = _power(song, played, by)
    players = (sounding / length).sum(axis=0)
    notes = (notes_time / length).sum(axis=0)
    density = np.bincount(_span_of(attacks, starts), minlength=len(starts)) / seconds
    density = density + _echo_density(echo_attacks(song), (starts, ends), seconds)
    shares = [_of_fullest(values) for values in (players, notes, density, np.sqrt(power))]
    return pd.DataFrame(
        {
            **labels,
            "players": players,
            "notes": notes,
            "density": density,
            "level": 10 * np.log10(np.where(power > 0, power, np.nan)),
            "energy": np.mean(shares, axis=0),
        }
    )


def _power(song: Song, played: pd.DataFrame, by: str) -> Array:
    """Mean power of all parts together in each span, by their levels and drives."""
    # A drive holds for a section, so that the song is taken section by section.
    starts, ends, _ = _spans(song, "section" if by == "song" else by)
    sounding, _ = _sounding_time(played, song.parts["part"].tolist(), starts, ends)
    drives = by_section(song, "drive")[:, section_at(song, starts)]
    added = np.vectorize(DRIVE_DECIBELS.get, otypes=[float])(drives)
    each = 10 ** ((song.parts["level"].to_numpy()[:, None] + added) / 10) * sounding
    if by == "song":
        return np.asarray(each.sum(keepdims=True)[0] / song.duration)
    return np.asarray(each.sum(axis=0) / (ends - starts))


def echo_times(song: Song) -> pd.DataFrame:
    """Return how long each part's echo takes, in milliseconds at the song's tempos.

    Parameters
    ----------
    song : Song

    Returns
    -------
    DataFrame
        A row for each part, each echo that it has and each tempo at which it has that, in the order
        in which they come: ``part``; ``echo``, the note value; ``quarters``, the same in quarter
        notes; ``measure``, the first played bar with that echo at that tempo; ``tempo``, quarter
        notes a minute; ``milliseconds``, 60000 / tempo times the note value. An echo that names no
        note value ("slap") has no quarters and no milliseconds.
    """
    measures, parts = song.measures, song.parts["part"]
    echoes = by_section(song, "echo")[:, section_at(song, measures["onset"])]
    number, at = np.nonzero(echoes != None)  # noqa: E711 (each of an array)
    rows = pd.DataFrame(
        {
            "part": parts.array.take(number),
            "echo": pd.array(echoes[number, at], dtype="str"),
            "measure": measures["measure"].to_numpy()[at],
            "tempo": measures["tempo"].to_numpy()[at],
        }
    ).drop_duplicates(["part", "echo", "tempo"], ignore_index=True)
    quarters = np.array([named_quarters(echo) for echo in rows["echo"]], dtype=np.float64)
    rows.insert(2, "quarters", quarters)
    return rows.assign(milliseconds=60_000 / rows["tempo"] * rows["quarters"])


def echo_attacks(song: Song) -> pd.DataFrame:
    """Return the repeats that the parts' echoes make of their attacks.

    The echo follows the tempo at the attack, and repeats it at even distances in seconds;
    repeats after the last bar line are there too.

    Parameters
    ----------
    song : Song

    Returns
    -------
    DataFrame
        A row for each attack of a part with an echo and each of its repeats, by part in score
        order, then by attack: ``part``; ``attack``, its onset, and ``onset``, that of the
        repeat, quarter notes; ``seconds``, the time of the repeat; ``repeat``, its number from
        1; ``level``, dB against the attack. An echo that names no note value repeats nothing.
    """
    parts = song.parts["part"].tolist()
    struck, echoing = attack_onsets(played_notes(song.notes), parts), parts_with_echo(song)
    repeats = [echo_repeats(song, part, struck[part]) for part in echoing]
    counts = [len(each.onset) for each in repeats]
    columns = {
        "attack": [struck[part][each.attack] for part, each in zip(echoing, repeats, strict=True)],
        **{name: [getattr(each, name) for each in repeats] for name in Repeats._fields[1:]},
    }
    return pd.DataFrame(
        {
            "part": pd.array(np.repeat([parts[part] for part in echoing], counts), dtype="str"),
            **{name: np.concatenate([np.empty(0), *each]) for name, each in columns.items()},
        }
    ).astype({"repeat": "int64"})


class Repeats(NamedTuple):
    """What an echo makes of a part's attacks, an item a repeat.

    Parameters
    ----------
    attack : array of int
        Place of the attack among those given.
    onset, seconds : array
        Of the repeat: quarter notes, seconds from the start.
    repeat : array of int
        Its number, from 1.
    level : array
        dB against the attack.
    """

    attack: Array
    onset: Array
    seconds: Array
    repeat: Array
    level: Array


def parts_with_echo(song: Song) -> list[int]:
    """Return the places of the parts that have an echo in any section."""
    has_echo = by_section(song, "echo") != None  # noqa: E711 (each of an array)
    return np.flatnonzero(has_echo.any(axis=1)).tolist()


def echo_repeats(song: Song, part: int, onset: Array) -> Repeats:
    """Return the repeats that a part's echo makes of attacks at onsets, as ``echo_attacks``."""
    echoes = by_section(song, "echo")[part]
    values = np.array([named_quarters(echo or "") for echo in echoes.tolist()], dtype=np.float64)
    quarters = values[section_at(song, onset)]
    attack = np.repeat(np.flatnonzero(np.isfinite(quarters)), ECHO_REPEATS)
    repeat = np.tile(np.arange(1, ECHO_REPEATS + 1), len(attack) // ECHO_REPEATS)
    row = _span_of(onset[attack], song.measures["onset"].to_numpy())
    delay = quarters[attack] * 60 / song.measures["tempo"].to_numpy()[row]
    seconds = np.asarray(song.seconds(onset[attack])) + repeat * delay
    return Repeats(attack, _onset_at(song, seconds), seconds, repeat, repeat * ECHO_DECIBELS)


def amplitude(level: Any) -> Any:
    """Return the amplitude ratio that a level difference in dB stands for; 1 at 0 dB."""
    return 10 ** (np.asarray(level) / 20)


def attack_onsets(notes: pd.DataFrame, parts: Sequence[str]) -> list[Array]:
    """Return the onsets of each part's attacks, each once, in quarter notes."""
    onset, part = notes["onset"].to_numpy(), pd.Index(parts).get_indexer(notes["part"])
    return [np.unique(onset[part == number]) for number in range(len(parts))]


def _onset_at(song: Song, seconds: Array) -> Array:
    """Quarter notes at times in seconds, beyond the last bar line too."""
    lines = np.append(song.measures["onset"].to_numpy(), song.duration)
    times = song.seconds(lines)
    after = np.maximum(seconds - times[-1], 0) * song.measures["tempo"].iloc[-1] / 60
    # Put the times back on the score's grid: conversion to seconds causes rounding errors.
    return np.round(np.interp(seconds, times, lines) + after, 9)


def _echo_density(repeats: pd.DataFrame, spans: tuple[Array, Array], seconds: Array) -> Array:
    """Repeats a second in each span, each counted by its amplitude; later ones are left out."""
    starts, ends = spans
    heard = repeats[repeats["onset"] < ends.max(initial=0)]
    span = _span_of(heard["onset"].to_numpy(), starts)
    return np.bincount(span, amplitude(heard["level"]), minlength=len(starts)) / seconds


def _spans(song: Song, by: str) -> tuple[Array, Array, dict[str, Any]]:
    """Starts and ends of the spans in quarter notes, and their label's column."""
    if by not in _SPANS:
        raise ArrangeError(f"by={by!r}: it is one of {', '.join(map(repr, _SPANS))}")
    if by == "song":
        return np.array([0.0]), np.array([song.duration]), {}
    table = song.sections if by == "section" else song.measures
    table = table[table["duration"] > 0]
    starts = table["onset"].to_numpy()
    return starts, starts + table["duration"].to_numpy(), {by: table[by].array}


def _span_of(onsets: Array, starts: Array) -> Array:
    return np.maximum(np.searchsorted(starts, onsets + 1e-9, side="right") - 1, 0)


def _sounding_time(
    notes: pd.DataFrame, parts: list[str], starts: Array, ends: Array
) -> tuple[Array, Array]:
    """Quarter notes in which each part (rows) sounds in each span, and those of all its notes."""
    onset = notes["onset"].to_numpy()
    end = onset + notes["duration"].to_numpy()
    part = pd.Index(parts).get_indexer(notes["part"])
    shape = len(parts), len(starts)
    lines, note, at = slices(onset, end, np.concatenate([starts, ends]))
    span = _span_of(lines[at], starts)
    length = np.diff(lines)[at]
    cell = part[note] * shape[1] + span
    notes_time = np.bincount(cell, length, minlength=shape[0] * shape[1]).reshape(shape)
    _, once = np.unique(part[note] * len(lines) + at, return_index=True)
    sounding = np.bincount(cell[once], length[once], minlength=shape[0] * shape[1])
    return sounding.reshape(shape), notes_time


def _share(own: Array, others: Array, span: Array, attacks: Array, window: float) -> Array:
    """The share of the attacks of each span that have one of the others within the window."""
    shared = np.bincount(span, _near(own, others, window), minlength=len(attacks))
    return np.where(attacks > 0, shared / np.where(attacks, attacks, 1), np.nan)


def _near(own: Array, others: Array, window: float) -> Array:
    """1 for each time that has one of the others within the window, else 0."""
    if not len(others):
        return np.zeros(len(own))
    after = np.searchsorted(others, own)
    before = np.abs(own - others[np.maximum(after - 1, 0)])
    nearest = np.minimum(before, np.abs(others[np.minimum(after, len(others) - 1)] - own))
    return (nearest <= window + 1e-9).astype(np.float64)


def _of_fullest(values: Array) -> Array:
    most = values.max(initial=0)
    return values / most if most > 0 else np.zeros(len(values))
