"""Strings, frets and fingers for a whole part: the easiest way through it.

A part is a row of moments: what begins at each, and what is held from before. Each moment has
ways to play it: a string and a fret for every note, a finger for every fretted one, a place for
the first finger (``ways``). The best path through them (``path``) is exact: no other choice of
ways costs less. All costs are in mm, of our own making (nobody has published validated ones), and
stand as constants where they are used:

- holding: the cost of the grip as ``hands.hold_shapes`` counts it (reach, fingers, barres; strings
  to silence only where a chord is strummed), fingers off one finger a fret, the fourth finger;
- height on the neck: of chords by the mm of the frets held, of a single note by its fret squared,
  so that a line may lie in one position in the middle of the neck, and not far up;
- open strings: each by how far the hand is from the first fret, a single one only by how far it
  is beyond the third position, where a line still uses them; and each under drive
  (``DRIVEN_OPEN_COST``). An open string that two or three notes strike again is a drone and free,
  to leave one whose note is struck again costs ``DRONE_COST``;
- moving: the longest of the way of the first finger's place along the neck and of every finger
  that is down before and after, times 1 + ``HURRY_SECONDS`` / the seconds from onset to onset. To
  play on in position costs nothing, to move a finger costs its way; with open strings alone the
  hand may be anywhere. Two or three notes that stay on their strings slide there (``KEPT_SET``);
  to go to other strings costs ``SET_COST``, less in the same shape (``SAME_SHAPE_COST``);
- the picking hand: its way over strings; with a pick, each string passed between those struck
  together (``SKIPPED_COST``), and what cannot be struck at once (``UNPICKED_COST``; ``picking``
  has the rule);
- a held note that changes its finger.

Held notes keep string and fret (``moments`` finds which are held); one is let go early only where
no path could hold it. What the source fixed is kept, though a pick may not do it.

References
----------
S. I. Sayegh (1989), Computer Music Journal 13(3) (from memory): fingering as a shortest path.
G. Hori and S. Sagayama (2016), ISMIR (from memory): the least worst move instead of the least
sum. H. Heijink and R. G. J. Meulenbroek (2002), J. Motor Behavior 34: travel and spread.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.fingering.moments import OVERLAP, Moment, hold_on, part_moments
from arrange.guitar.fingering.path import FingerPath, find_path
from arrange.guitar.fingering.problems import leave_out
from arrange.guitar.fingering.unpicked import find_unpicked
from arrange.guitar.hands import Hand
from arrange.guitar.necks import SCALES_MM, STANDARD_FRETS, STANDARD_TUNINGS, Array, Neck
from arrange.guitar.picking import PICKS, usual_picks
from arrange.tables.columns import integer_column, text_column
from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song, part_row

OBJECTIVES = ("sum", "worst")
DRIVEN = ("overdriven", "distorted")  # drives under which a stray open string rings on

# A move that a player must prepare: farther than about a hand is wide, or faster than a shift of
# two frets within a sixteenth note at a moderate tempo. Ours.
JUMP_MM = 90.0
JUMP_MM_A_SECOND = 400.0


def finger_part(
    song: Song,
    part: str,
    *,
    neck: Neck | None = None,
    hand: Hand | None = None,
    picks: str | None = None,
    objective: str = "sum",
) -> pd.DataFrame:
    """Return strings, frets and fingers for a whole part.

    Parameters
    ----------
    song : Song
    part : str
        Label of a part.
    neck : Neck, optional
        Else the part's own tuning and the capo that it has in each section, with the usual number
        of frets. Frets that the source fixed for another tuning are not kept.
    hand : Hand, optional
    picks : str, optional
        ``"pick"`` or ``"fingers"``: what strikes the strings; else as is usual for the part's
        instrument, a pick for guitars that are not classical (common practice).
    objective : str
        ``"sum"`` for the least effort in all; ``"worst"`` for the least effort at the hardest
        moment, which suits somebody who is new to the instrument.

    Returns
    -------
    DataFrame
        A row for each note of the part, in order of onset and string: the columns of a notes
        table, with `string` and `fret`; `finger` (1 to 4, 5 for the thumb, 0 for an open string);
        `position`, the fret of the first finger; `span_mm` and `reach_mm` of what the hand holds
        then, as in ``hands``; `move_mm`, how far the hand goes to get there, and `move_seconds`,
        the time from the onset before; `cost_mm`, what move and grip cost; `jump`, whether the
        move is one to prepare; `problem`, none where the note can be played as written, else why
        not and what would help. A note that cannot be played has no finger; it has a string if
        the source gave one, or if it is only a pick that cannot strike it with the others. A note
        with a problem and a finger was let go early or stood on a false fret.
        Notes without pitch and cue notes have neither string nor problem.

    Raises
    ------
    ArrangeError
        If there is no such part, its instrument has no strings that are known, or `picks` or the
        objective is neither of the two.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> fingered = ar.finger_part(song, "Guitar 2")
    >>> fingered[["measure", "string", "fret", "finger"]].head(3).values.tolist()
    [[1, 5, 5, 2], [1, 4, 3, 0], [1, 4, 5, 2]]
    >>> int(fingered["problem"].notna().sum())
    0
    """
    for name, given, known in (("objective", objective, OBJECTIVES), ("picks", picks, PICKS)):
        if given not in (*known, None):
            raise ArrangeError(f"{name}={given!r}; it is one of {', '.join(map(repr, known))}")
    part_row(song, part)
    notes = song.notes[song.notes["part"] == part]
    notes = notes.sort_values("onset", kind="stable")
    fingered = _finger(song, part, notes, neck, (hand or Hand(), picks), objective)
    return fingered.sort_values(["onset", "string"], kind="stable", ignore_index=True)


def fingered_song(
    song: Song,
    parts: Sequence[str] | None = None,
    *,
    hand: Hand | None = None,
    objective: str = "sum",
) -> Song:
    """Return the song with a string and a fret for each note that can be played.

    Parameters
    ----------
    song : Song
    parts : sequence of str, optional
        Labels; else all guitars and basses, and other parts whose tuning is given.
    hand, objective
        As for ``finger_part``.

    Raises
    ------
    ArrangeError
        As for ``finger_part``. If no parts were named, one that cannot be fingered is reported in
        the song's `notices` instead.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.fingered_song(ar.read("datasets/low-water.musicxml"), ["Guitar 2"])
    >>> own = song.notes[song.notes["part"] == "Guitar 2"]
    >>> own[["string", "fret"]].head(3).values.tolist()
    [[5, 5], [4, 3], [4, 5]]
    """
    notes = song.notes.reset_index(drop=True)
    notices = list(song.notices)
    for part in _with_strings(song) if parts is None else parts:
        part_row(song, part)
        own = notes[notes["part"] == part].sort_values("onset", kind="stable")
        try:
            fingered = _finger(song, part, own, None, (hand or Hand(), None), objective)
        except ArrangeError as error:
            if parts is not None:
                raise
            notices.append(f"not fingered: {error}")
            continue
        for name in ("string", "fret"):  # one by one: together, missing values lose their dtype
            notes.loc[own.index, name] = fingered[name].array
    return replace(song, notes=notes, notices=tuple(notices))


def _with_strings(song: Song) -> list[str]:
    """Labels of the parts whose strings are known."""
    rows = zip(*(song.parts[name] for name in ("part", "family", "tuning")), strict=True)
    return [
        part
        for part, family, tuning in rows
        if isinstance(tuning, tuple) or family in STANDARD_TUNINGS
    ]


def part_picks(song: Song, part: str) -> str:
    """Return how a part is played where nobody says: with a pick or with the fingers."""
    row = part_row(song, part)
    program = None if pd.isna(row["program"]) else int(row["program"])
    return usual_picks(str(row["instrument"]), row["family"], program)


def part_neck(song: Song, part: str, capo: int | None = None) -> Neck:
    """Return the neck that a part is written for, with its usual capo or another one.

    Raises
    ------
    ArrangeError
        If its instrument has no strings that are known, or they cannot be strung.
    """
    row = part_row(song, part)
    family = row["family"]
    given = row["tuning"]
    if not isinstance(given, tuple) and family not in STANDARD_TUNINGS:
        able = _with_strings(song)
        others = f"; there are {', '.join(able)}" if able else "; no part of this song has"
        raise ArrangeError(
            f"part {part!r} ({family}) has no strings to finger{others}. If it is a guitar, call "
            f"it so in its file, such as '{part} guitar'"
        )
    written = song.notes.loc[song.notes["part"] == part, "fret"].max()
    frets = max(STANDARD_FRETS.get(family, 22), 0 if pd.isna(written) else int(written))
    scale = SCALES_MM["bass" if family == "bass" else "long electric"]
    try:
        tuning = given if isinstance(given, tuple) else STANDARD_TUNINGS[family]
        return Neck(tuning, frets, int(row["capo"]) if capo is None else capo, scale)
    except ArrangeError as error:
        raise ArrangeError(f"part {part!r}: {error}; or give neck=Neck(...)") from None


def lowest_neck(song: Song, part: str, notes: pd.DataFrame) -> Neck:
    """Return a part's neck with the lowest capo that some notes of it are played behind.

    Raises
    ------
    ArrangeError
        As for ``part_neck``.
    """
    capos = part_capos(song, part, notes)
    return part_neck(song, part, int(capos.min()) if len(capos) else None)


def part_capos(song: Song, part: str, notes: pd.DataFrame) -> Array:
    """Return the fret of the capo behind which each of some notes of a part is played."""
    return _in_sections(song, part, notes, "capo")


def _in_sections(song: Song, part: str, notes: pd.DataFrame, name: str) -> Array:
    """What a part has, of a column of the setups table, in the section of each of some notes."""
    row = song.parts["part"].tolist().index(part)
    return by_section(song, name)[row, section_at(song, notes["onset"])]


def _finger(
    song: Song,
    part: str,
    notes: pd.DataFrame,
    neck: Neck | None,
    hands: tuple[Hand, str | None],
    objective: str,
) -> pd.DataFrame:
    """The notes of a part in the order given, with the columns of ``finger_part``.

    Each stretch with one capo is fingered by itself: while the capo moves, so may the hand.
    """
    hand, picked = hands[0], (hands[1] or part_picks(song, part)) == "pick"
    capos = part_capos(song, part, notes)
    is_driven = np.isin(_in_sections(song, part, notes, "drive").astype(str), DRIVEN)
    edges = [0, *(np.flatnonzero(np.diff(capos)) + 1).tolist(), len(notes)]
    if neck is not None or len(edges) == 2:
        capo = int(capos[0]) if len(capos) else None
        playing = _Playing(neck or part_neck(song, part, capo), neck is None, hand, picked)
        return _finger_stretch(song, notes, is_driven, playing, objective)
    necks = {capo: part_neck(song, part, capo) for capo in set(capos.tolist())}
    return pd.concat([
        _finger_stretch(song, notes.iloc[start:end], is_driven[start:end],
                        _Playing(necks[int(capos[start])], True, hand, picked), objective)
        for start, end in pairwise(edges)
    ])  # fmt: skip


class _Playing(NamedTuple):
    """What a stretch is played on, whether its source wrote its frets for that, and with."""

    neck: Neck
    is_own_neck: bool
    hand: Hand
    picked: bool


def _finger_stretch(
    song: Song, notes: pd.DataFrame, is_driven: Array, playing: _Playing, objective: str
) -> pd.DataFrame:
    """Notes on one neck, with the columns of ``finger_part``."""
    neck, is_own_neck, hand, picked = playing
    moments, problems = part_moments(song, notes, neck, is_own_neck=is_own_neck)
    for moment in moments:
        moment.driven, moment.picked = bool(is_driven[moment.struck[0].rows[0]]), picked
    left_out, ways = leave_out(moments, neck, hand, song.main_key)
    hold_on(moments)
    path = find_path(moments, ways, neck, hand, objective) if moments else None
    columns = _Columns(notes, is_own_neck=is_own_neck)
    if path:
        columns.fill(moments, path)
        problems |= _let_go(song, moments, path)
        out = find_unpicked(song, moments, path.ways, hand)
        columns.whole["finger"][list(out)] = -1
        problems |= out
    problems |= left_out
    return columns.table(problems)


class _Columns:
    """The columns that fingering adds, being filled."""

    def __init__(self, notes: pd.DataFrame, *, is_own_neck: bool) -> None:
        self.notes = notes
        count = len(notes)
        self.whole = {name: np.full(count, -1) for name in ("string", "fret", "finger", "position")}
        if is_own_neck:  # what the source fixed is kept even where it cannot be held
            for name in ("string", "fret"):
                self.whole[name] = notes[name].to_numpy(dtype=np.int64, na_value=-1).copy()
        self.mm = {
            name: np.full(count, np.nan)
            for name in ("span_mm", "reach_mm", "move_mm", "move_seconds", "cost_mm")
        }

    def fill(self, moments: Sequence[Moment], path: FingerPath) -> None:
        """Take from each moment what is known of the notes that begin there."""
        rows: list[int] = []
        moment_of: list[int] = []
        values_of: dict[str, list[int]] = {"string": [], "fret": [], "finger": []}
        for number, (moment, way) in enumerate(zip(moments, path.ways, strict=True)):
            for name, values in values_of.items():
                here = getattr(way, name)[0].tolist()
                for stroke, value in zip(moment.struck, here, strict=False):
                    values += [value] * len(stroke.rows)
            for stroke in moment.struck:
                rows += stroke.rows
                moment_of += [number] * len(stroke.rows)
        for name, values in values_of.items():
            self.whole[name][rows] = values
        self.whole["position"][rows] = [path.ways[n].position.item() for n in moment_of]
        for name in ("span_mm", "reach_mm"):
            self.mm[name][rows] = [getattr(path.ways[n], name).item() for n in moment_of]
        for name in ("move_mm", "move_seconds", "cost_mm"):
            self.mm[name][rows] = getattr(path, name)[moment_of]

    def table(self, problems: dict[int, str]) -> pd.DataFrame:
        """The notes with those columns."""
        rows = range(len(self.notes))
        measures = self.notes["measure"].tolist()
        sentences = [
            f"measure {measures[r]}: {problems[r]}" if r in problems else None for r in rows
        ]
        move, seconds = self.mm["move_mm"], self.mm["move_seconds"]
        far = np.nan_to_num(move) > JUMP_MM
        fast = np.nan_to_num(move / seconds) > JUMP_MM_A_SECOND
        columns: dict[str, Any] = {
            name: integer_column(values, values < 0) for name, values in self.whole.items()
        }
        return self.notes.assign(
            **columns, **self.mm, jump=far | fast, problem=text_column(sentences)
        )


def _let_go(song: Song, moments: Sequence[Moment], path: FingerPath) -> dict[int, str]:
    """The sentences for notes that are let go before their end, by row."""
    problems: dict[int, str] = {}
    lines = song.measures["onset"].to_numpy()
    for moment, way in zip(moments, path.ways, strict=True):
        strings = way.string[0].tolist()
        for stroke, string in zip(moment.held, strings[len(moment.struck) :], strict=True):
            if string or stroke.rows[0] in problems or moment.onset >= stroke.end - OVERLAP:
                continue
            struck = ", ".join(song.note_name(other.pitch, moment.onset) for other in moment.struck)
            measure = int(np.searchsorted(lines, moment.onset, side="right"))
            sentence = (
                f"{song.note_name(stroke.pitch, stroke.onset)} cannot be held to its end under "
                f"{struck} in measure {measure}; it is let go after "
                f"{moment.onset - stroke.onset:g} of {stroke.end - stroke.onset:g} quarter notes: "
                "write it so, or move one by an octave"
            )
            problems.update(dict.fromkeys(stroke.rows, sentence))
    return problems
