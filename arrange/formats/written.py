"""A score as printed, in whole columns: what every reader fills, bar by bar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from arrange.errors import ReadError, shortened
from arrange.formats.playing_order import Bar
from arrange.theory.chords import Chord

Array = np.ndarray[Any, Any]

TECHNIQUES = (
    "slide",
    "hammer-on",
    "pull-off",
    "bend",
    "let ring",
    "palm mute",
    "muted",
    "harmonic",
    "tap",
    "vibrato",
    "cue",
)
HARMONIC = 1 << TECHNIQUES.index("harmonic")  # its bit
MOST_OCTAVES = 3  # that a part is moved by; more is a slip of the hand (ours)
DEFAULT_TEMPO = 120.0  # quarter notes a minute, as in the Standard MIDI File specification


class Setup(NamedTuple):
    """What a part has from a printed bar on; its layers only in the section that begins there."""

    bar: int
    part: int
    drive: str
    echo: str | None
    capo: int
    layers: str | None = None


@dataclass(frozen=True)
class Written:
    """What stands on the page. Times are in ticks, whole numbers of one grid.

    Parameters
    ----------
    ticks : int
        Ticks in a quarter note.
    parts : mapping
        Column name of the parts table -> list of values, a value a part.
    notes : mapping of str to array
        A value a note, in the order of the page: ``part`` and ``measure`` (indices from 0),
        ``offset`` and ``duration`` (ticks; offset from the start of the bar), ``pitch`` (NaN if
        unpitched), ``voice`` (index into `voices`, -1 for none), ``string``, ``fret`` (-1 for
        none), ``technique`` (a bit for each of ``TECHNIQUES``), ``grace``, ``tie_start``,
        ``tie_stop``.
    voices : list of str
    numbers : list of str
        The printed number of each bar.
    lengths : array of int
        Length of each bar in ticks.
    meters, keys : list
        Meter and key (or None) of each bar.
    tempos : list of (measure, offset, quarter notes a minute)
    chords : list of (measure, offset, Chord)
    marks : list of (measure, text, is a rehearsal mark)
    double_bars : list of int
        Bars that begin behind a double bar or a repeat sign.
    bars : list of Bar
        Signs for the order of playing.
    kinds, passes : mapping of bar to str, to int
        Kind and pass of the section that begins at a bar, where the source has them.
    sources : list of str
        What the file calls each note; empty where it has no names for them: they are numbered.
    remarks : list of (bar, text)
        Words to the players of the section that begins at a bar, or of all the song at -1.
    setups : list of Setup
        Where a part has something else than its row of `parts` says, until its next one.
    players : list of str
        Who may play the guitars, a line each as ``read_player`` reads it.
    title : str
    notices : list of str
        What the reader had to repair or leave out.
    """

    ticks: int
    parts: Mapping[str, Sequence[Any]]
    notes: Mapping[str, Array]
    voices: Sequence[str]
    numbers: Sequence[str]
    lengths: Array
    meters: Sequence[str]
    keys: Sequence[str | None]
    tempos: Sequence[tuple[int, int, float]]
    chords: Sequence[tuple[int, int, Chord]]
    marks: Sequence[tuple[int, str, bool]]
    double_bars: Sequence[int]
    bars: Sequence[Bar]
    kinds: Mapping[int, str] = field(default_factory=dict)
    passes: Mapping[int, int] = field(default_factory=dict)
    sources: Sequence[str] = ()
    remarks: Sequence[tuple[int, str]] = ()
    setups: Sequence[Setup] = ()
    players: Sequence[str] = ()
    title: str = ""
    notices: Sequence[str] = ()


@dataclass(frozen=True)
class PlayedBars:
    """The bars of a song in the order in which they are played.

    Parameters
    ----------
    order : array of int
        The printed bar that each played one is, from 0.
    starts : array of int
        Where each begins, and where the last one ends, in ticks.
    sections : array of int
        The section that each lies in, from 0.
    labels : sequence of str
        Of the sections.
    heads : array of int
        The printed bar at which each section begins on the page, from 0.
    """

    order: Array
    starts: Array
    sections: Array
    labels: Sequence[str]
    heads: Array


def move_octaves(written: Written, octaves: Mapping[str, int], name: str) -> Written:
    """Return the score with parts moved by octaves.

    Raises
    ------
    ReadError
        If no part has one of the labels, or nothing could be heard so far away.
    """
    if not octaves:
        return written
    labels = list(written.parts["part"])
    _check_octaves(octaves, labels, name)
    shift = 12 * np.array([octaves.get(label, 0) for label in labels])
    transpose = (np.array(written.parts["transpose"], dtype=np.int64) + shift).tolist()
    pitch = written.notes["pitch"] + shift[written.notes["part"]]
    return replace(
        written,
        parts={**written.parts, "transpose": transpose},
        notes={**written.notes, "pitch": pitch},
    )


def _check_octaves(octaves: Mapping[str, int], labels: Sequence[str], name: str) -> None:
    for label, shift in octaves.items():
        if label not in labels:
            raise ReadError(
                f"no part is called {label!r}, to be moved by an octave; "
                f"there are {', '.join(labels)}",
                file=name,
            )
        if shift not in range(-MOST_OCTAVES, MOST_OCTAVES + 1):
            raise ReadError(
                f"{label!r} cannot be moved by {shortened(shift, 12)} octaves; a whole number from "
                f"-{MOST_OCTAVES} to {MOST_OCTAVES}",
                file=name,
            )
