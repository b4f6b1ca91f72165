"""How a score as printed becomes a Song as played.

Every reader ends here: ``make_song`` puts the bars of a ``Written`` into played order, merges the
ties, names the sections, spreads the tempo and gives the tables. ``song_reader`` makes a
format's reader of what reads its files into a ``Written``.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from arrange.errors import ReadError, TableError
from arrange.formats.notices import first_notices
from arrange.formats.played_chords import chord_columns
from arrange.formats.played_notes import note_columns
from arrange.formats.played_setups import setup_table
from arrange.formats.playing_order import playing_order
from arrange.formats.section_names import section_heads, section_kind, section_labels
from arrange.formats.written import (
    DEFAULT_TEMPO,
    HARMONIC,
    Array,
    PlayedBars,
    Written,
    move_octaves,
)
from arrange.guitar.harmonics import NAME, harmonic_pitches
from arrange.song_size import LEAST_TEMPO, MOST_SECTIONS, MOST_TEMPO
from arrange.tables.columns import integer_column, object_column, text_column
from arrange.tables.schema_check import make_table
from arrange.tables.schemas import NUT, PARTS, RINGING, SONG_TABLES
from arrange.tables.setups import note_setups
from arrange.tables.size_check import check_limits
from arrange.tables.song import Remark, Song
from arrange.text.words import first_few


def song_reader(read_written: Callable[[bytes, str], Written]) -> Callable[..., Song]:
    """Return the reader of a format, from the function that reads its files as printed.

    Readers of all formats have the same parameters and return a Song:

    Parameters
    ----------
    data : bytes
        The file's content.
    name : str
        What to call the file in messages.
    played : bool
        False keeps the page order instead of playing out repeats and jumps.
    octaves : mapping of part label to int, optional
        Octaves to move parts by: -1 for a guitar that the file should have transposed.
    **about
        source and fingerprint of the Song.

    Raises
    ------
    ReadError
        If the file cannot be read, a part to be moved is not in it, or the song passes the limits.
    """

    @functools.wraps(read_written)
    def read_song(
        data: bytes,
        name: str = "",
        *,
        played: bool = True,
        octaves: Mapping[str, int] | None = None,
        **about: Any,
    ) -> Song:
        written = move_octaves(read_written(data, name), octaves or {}, name)
        try:
            return make_song(written, played=played, **about)
        except ReadError as error:
            raise ReadError(error.problem, file=name, measure=error.measure) from None

    return read_song


def make_song(written: Written, *, played: bool, **about: Any) -> Song:
    """Return the Song that a printed score makes, in played or in page order.

    Parameters
    ----------
    written : Written
    played : bool
        False keeps the page order.
    **about
        source and fingerprint of the Song.

    Raises
    ------
    ReadError
        If the song passes the limits that hold for every format (``song_size``).
    """
    printed = len(written.numbers)
    notices = first_notices(written.notices)
    in_order = playing_order(written.bars, written.numbers, notices) if played else range(printed)
    order = np.array(in_order, dtype=np.int64)
    if printed and not len(order):
        raise ReadError(
            "no measure is ever played: the endings lead past all of them; mend their numbers, or "
            "read the page order with played=False"
        )
    passed = np.flatnonzero(np.bincount(order, minlength=printed) == 0)
    if len(passed):
        numbers = first_few((written.numbers[bar] for bar in passed.tolist()), 8)
        notices.append(
            f"measure {numbers}: never played, the repeats, endings and jumps lead past; look at "
            "them, or read the page order with played=False"
        )
    lengths = written.lengths[order]
    starts = np.concatenate([[0], np.cumsum(lengths)])
    sections, section_of_bar, heads = _sections(written, order, starts, notices)
    labels = sections["section"]
    bars = PlayedBars(order, starts, section_of_bar, labels, heads)
    measures = {
        "measure": np.arange(1, len(order) + 1),
        "written": _taken(written.numbers, order),
        "section": text_column(labels, section_of_bar),
        "onset": starts[:-1] / written.ticks,
        "duration": lengths / written.ticks,
        "meter": _taken(written.meters, order),
        "key": _taken(written.keys, order),
        "tempo": _mean_tempos(written, notices)[order],
    }
    try:
        parts = make_table(_part_columns(written), PARTS)
        song = Song.from_columns(
            {
                "parts": parts,
                "sections": {
                    **sections,
                    "section": text_column(labels),
                    "kind": text_column(sections["kind"]),
                },
                "measures": measures,
                "chords": chord_columns(written, bars, notices),
                "notes": note_columns(written, bars, notices),
                "setups": setup_table(written, bars, parts, notices),
            },
            title=written.title,
            notices=tuple(notices),
            remarks=_remarks(written, bars),
            players=tuple(written.players),
            **about,
        )
        if (written.notes["technique"] & HARMONIC).any():
            song = _with_harmonics(song)
        check_limits(
            {table.name: getattr(song, table.name) for table in SONG_TABLES},
            song.title,
            [*(remark.text for remark in song.remarks), *song.players],
        )
    except TableError as error:
        raise ReadError(str(error)) from None
    return song


def _with_harmonics(song: Song) -> Song:
    """The song with each harmonic on a string at the pitch that it sounds.

    A fret says where the string is touched, and files have the pitch of that fret, or the open
    string's.
    """
    notes = song.notes
    is_harmonic = notes["technique"].str.contains(NAME, na=False).to_numpy(dtype=bool)
    is_placed = notes[["pitch", "string", "fret"]].notna().to_numpy().all(axis=1)
    own = notes[is_harmonic & is_placed]
    tunings = dict(zip(song.parts["part"], song.parts["tuning"], strict=True))
    opened = [
        tunings[part][string - 1] if 0 < string <= len(tunings[part] or ()) else np.nan
        for part, string in zip(own["part"], own["string"], strict=True)
    ]
    capo = note_setups(song)["capo"].loc[own.index].to_numpy(dtype=float)
    at_capo, node = np.array(opened, dtype=float) + capo, own["fret"].to_numpy(dtype=float) - capo
    sounding, pitch = harmonic_pitches(at_capo, node), own["pitch"].to_numpy()
    is_touch = np.isfinite(sounding) & ((pitch == at_capo + node) | (pitch == at_capo))
    if not (is_touch & (pitch != sounding)).any():
        return song
    moved = notes["pitch"].copy()
    moved.loc[own.index[is_touch]] = sounding[is_touch]
    return replace(song, notes=notes.assign(pitch=moved))


def _taken(values: Sequence[str | None], order: Array) -> Any:
    """The column of the values at each place of the order."""
    return text_column([values[bar] for bar in order.tolist()])


def _part_columns(written: Written) -> dict[str, Any]:
    parts = written.parts
    numbers = [-1 if value is None else value for value in parts["program"]]
    return {
        **{
            name: text_column(parts[name])
            for name in ("part", "instrument", "family", "drive", "echo", "player")
        },
        "frets_from": text_column(parts.get("frets_from") or [NUT] * len(numbers)),
        "ring": text_column(parts.get("ring") or [RINGING] * len(numbers)),
        "tuning": object_column(parts["tuning"]),
        "capo": np.array(parts["capo"], dtype=np.int64),
        "transpose": np.array(parts["transpose"], dtype=np.int64),
        "level": np.array(parts["level"], dtype=np.float64),
        "program": integer_column(numbers, np.array(numbers) < 0),
    }


def _sections(
    written: Written, order: Array, starts: Array, notices: list[str]
) -> tuple[dict[str, Any], Array, Array]:
    """The sections as played, the row of each played bar, the printed bar where each begins."""
    heads = section_heads(written.marks, written.double_bars, len(written.numbers))
    firsts = sorted(heads)
    head_of_bar = np.searchsorted(firsts, order, side="right") - 1
    is_head = np.zeros(len(written.numbers), dtype=bool)
    is_head[firsts] = True
    begins = is_head[order] | (np.diff(head_of_bar, prepend=-1) != 0)
    first = np.flatnonzero(begins)
    if len(first) > MOST_SECTIONS and len(heads) > 1:
        notices.append(
            f"{len(first):,} sections are too many to name ({MOST_SECTIONS:,} is the most); their "
            "marks are left out"
        )
        return _sections(replace(written, marks=[], double_bars=[]), order, starts, notices)
    last = np.append(first[1:], len(order)) - 1
    names = [heads[firsts[head]] for head in head_of_bar[first]]
    rounds: dict[int, int] = {}
    passes = []
    for head in head_of_bar[first].tolist():
        rounds[head] = rounds.get(head, 0) + 1
        passes.append(rounds[head] - 1 + written.passes.get(firsts[head], 1))
    columns = {
        "section": section_labels(names),
        "kind": [
            written.kinds.get(firsts[head], section_kind(name))
            for head, name in zip(head_of_bar[first].tolist(), names, strict=True)
        ],
        "pass": np.array(passes, dtype=np.int64),
        "first_measure": first + 1,
        "last_measure": last + 1,
        "onset": starts[first] / written.ticks,
        "duration": (starts[last + 1] - starts[first]) / written.ticks,
    }
    return columns, np.cumsum(begins) - 1, np.array(firsts)[head_of_bar[first]]


def _remarks(written: Written, played: PlayedBars) -> tuple[Remark, ...]:
    """The words to the players, the same text once with all the sections that it is for."""
    found: dict[tuple[str, bool], list[str]] = {}
    labels_at = {
        bar: [played.labels[row] for row in played.sections[played.order == bar].tolist()]
        for bar in {bar for bar, _ in written.remarks}
    }
    for bar, text in written.remarks:
        own = labels_at[bar]
        if own or bar < 0:
            found.setdefault((text, bar < 0), []).extend(own)
    return tuple(Remark(text, tuple(dict.fromkeys(own))) for (text, _), own in found.items())


def _mean_tempos(written: Written, notices: list[str]) -> Array:
    """The tempo of each printed bar: even within it, and right over its whole length."""
    count = len(written.numbers)
    changes = sorted(written.tempos)
    odd = [tempo for _, _, tempo in changes if not LEAST_TEMPO <= tempo <= MOST_TEMPO]
    if odd:
        notices.append(
            f"a tempo lies between {LEAST_TEMPO:g} and {MOST_TEMPO:g} quarter notes a minute; "
            f"others are taken as the nearest of these: {len(odd)}, the first {odd[0]:g}"
        )
        changes = [
            (bar, at, min(max(tempo, LEAST_TEMPO), MOST_TEMPO)) for bar, at, tempo in changes
        ]
    if not changes:
        notices.append(f"no tempo is given: {DEFAULT_TEMPO:g} quarter notes a minute are assumed")
    tempos = np.empty(count)
    tempo = changes[0][2] if changes else DEFAULT_TEMPO
    by_bar: dict[int, list[tuple[int, float]]] = {}
    for measure, offset, value in changes:
        by_bar.setdefault(measure, []).append((offset, value))
    done = 0
    for measure, inside in by_bar.items():
        tempos[done:measure] = tempo
        length = max(int(written.lengths[measure]), 1)
        at, minutes = 0, 0.0
        for offset, value in inside:
            offset = min(max(offset, at), length)
            minutes += (offset - at) / tempo
            at, tempo = offset, value
        minutes += (length - at) / tempo
        tempos[measure] = length / minutes if at else tempo
        done = measure + 1
    tempos[done:] = tempo
    return np.clip(tempos, LEAST_TEMPO, MOST_TEMPO)  # a mean may miss them by a rounding
