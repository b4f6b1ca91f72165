"""How long notes really sound: the column ``sounds`` of the notes table.

A note that rings sounds on after its written duration, until the first of these:

- its string is struck again; where strings are not known, its pitch is;
- the fretting hand must leave it: a note of the part lies out of its reach (``REACH``);
- the harmony changes under it: another chord symbol, with other members or another bass. Without
  symbols that is the first bar in which nobody plays its note, in any octave; a picked chord stops
  at the bar line;
- the part has a written rest, unless the note itself is marked to ring;
- it has died away (``theory.decay``).

These notes ring: those marked "let ring", of any part; picked chords of a guitar, which are notes
one after the other on three strings and more that one hand position holds for a bar; open strings
of a guitar that belong to the chord; and slides, up to the note that they lead to. A muted or
palm-muted note rings never, and a part that is ``dry`` has no note that does. With an overdriven
or distorted sound only what is marked rings, since the hand damps the rest. What a player lets
ring is common practice, the numbers are ours.

A Song computes the column anew whenever it is made, because it depends on the parts, the chords and
the tempo besides the notes, so that it is right whatever was changed; what a notes table that is
given to a Song has there does not count.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.tables.columns import Columns
from arrange.tables.schemas import DRY
from arrange.tables.sounding import Array, each_of
from arrange.theory.decay import seconds_to_fall

REACH = 4  # frets between two fingers that hold their notes at one time (common practice)
_STRINGS = 3  # of a picked chord, at least
_ATTACKS = 3  # of a picked chord in a bar, at least; one more where its strings are not known
_STEP = 3  # semitones: pitches nearer than that may lie on one string
_SLIDES_WITHIN = 1.0  # quarter notes of silence that a slide bridges
_GRID = 4  # to the quarter note: where a note has died away, since it is no sharper than that
_NEAR = 1e-9  # quarter notes
_DAMPED = ("overdriven", "distorted")
_NO_STRING = 100  # behind it a pitch stands in place of the string
_UNKNOWN = -1  # fret, or pitch class
_MOST = 256  # more than any fret, and than any distance of two pitches

Tables = Mapping[str, Columns | pd.DataFrame]


class _Notes(NamedTuple):
    """The notes of the parts in which anything may ring, by part and onset; a value a note."""

    row: Array  # in the notes table
    part: Array
    onset: Array
    end: Array  # as written
    pitch: Array
    string: Array  # or ``_NO_STRING`` and the pitch
    fret: Array
    is_guitar: Array
    is_marked: Array  # let ring
    is_slide: Array
    is_damped: Array  # by the hand or the amplifier, so that only what is marked rings
    is_open: Array
    block: Array  # until when its part goes on without a written rest


def sounding_durations(tables: Tables) -> Array:
    """Return how long each note sounds, in quarter notes, at least its duration.

    Parameters
    ----------
    tables : mapping of table name to columns
        Of a Song; ``sounds`` itself is not looked at.
    """
    duration = np.array(tables["notes"]["duration"], dtype=np.float64)
    notes = _notes(tables, duration)
    if notes is None:
        return duration
    end = np.maximum(_ring_until(tables, notes), notes.end)
    end = _until_hand_leaves(notes, end)
    measures = tables["measures"]
    over = sum(float(np.asarray(measures[name])[-1]) for name in ("onset", "duration"))
    end = np.maximum(np.minimum(end, over), notes.end)
    lasts = end - notes.onset
    lasts = np.where(notes.onset + lasts > end, np.nextafter(lasts, 0), lasts)
    rings = end > notes.end + _NEAR
    duration[notes.row[rings]] = lasts[rings]
    return duration


def _notes(tables: Tables, duration: Array) -> _Notes | None:
    """The notes of the parts in which anything may ring; None where there are none."""
    parts, notes = tables["parts"], tables["notes"]
    guitars = np.array([family == "guitar" for family in parts["family"].tolist()], dtype=bool)
    wet = np.array([ring != DRY for ring in parts["ring"].tolist()], dtype=bool)
    marks = _marks(notes["technique"], "let ring", "slide", "mute", "cue")
    if not len(duration) or not ((guitars & wet).any() or marks["let ring"].any()):
        return None
    part = _places(notes["part"], parts["part"])
    pitch = np.asarray(notes["pitch"], dtype=np.float64)
    played = (duration > 0) & ~np.asarray(notes["grace"], dtype=bool) & ~marks["cue"]
    rings = guitars.copy()
    rings[part[marks["let ring"]]] = True
    rows = np.flatnonzero((rings & wet)[part] & played & ~np.isnan(pitch))
    onset = np.asarray(notes["onset"], dtype=np.float64)
    if not len(rows):
        return None
    rows = rows[np.lexsort((onset[rows], part[rows]))]
    part, pitch, onset = part[rows], pitch[rows], onset[rows]
    string, fret = (_whole(notes[name])[rows] for name in ("string", "fret"))
    string = np.where(string > 0, string, _NO_STRING + np.rint(pitch)).astype(np.int64)
    drive, capo = _of_setup(tables, "drive", part, onset), _of_setup(tables, "capo", part, onset)
    end = onset + duration[rows]
    return _Notes(
        rows, part, onset, end, pitch, string, fret, guitars[part],
        marks["let ring"][rows] & ~marks["mute"][rows], marks["slide"][rows],
        marks["mute"][rows] | np.isin(drive, _DAMPED), fret == capo,
        _blocks(part, onset, end),
    )  # fmt: skip


def _ring_until(tables: Tables, notes: _Notes) -> Array:
    """Until when each note would ring if the hand stayed where it is; its end if it does not."""
    measures = tables["measures"]
    lines = np.append(np.asarray(measures["onset"])[1:], np.inf)
    bar = np.searchsorted(lines, notes.onset + _NEAR, side="right")
    stretch, is_member = bar, np.full(len(bar), True)
    tone = np.mod(np.rint(notes.pitch), 12).astype(np.int64)
    if not len(tables["chords"]["onset"]):
        changes = np.append(np.inf, lines)[_bar_without(tables["notes"], lines)[bar + 1, tone]]
        at_once = lines[bar]
    else:
        begins, members = _harmony(tables["chords"])
        at = np.searchsorted(begins, notes.onset + _NEAR, side="right") - 1
        stretch, changes = bar * len(begins) + at, np.append(begins[1:], np.inf)[at]
        is_member = members[at, tone]
        at_once = lines[bar] if np.isinf(changes).all() else changes
    at_once = np.minimum(at_once, notes.block)
    free = notes.is_guitar & ~notes.is_damped
    rings = free & (_is_picked(notes, stretch, free) | (notes.is_open & is_member))
    until = np.where(rings, at_once, notes.end)
    until = np.where(notes.is_marked, np.maximum(until, changes), until)
    again = _struck_again(notes)
    slides = notes.is_slide & (again <= notes.end + _SLIDES_WITHIN)
    until = np.where(slides, again, until)
    return np.minimum(np.minimum(until, again), _died_away(tables, notes, bar))


def _bar_without(notes: Columns | pd.DataFrame, lines: Array) -> Array:
    """The first bar from each one on in which notes are played, but none of each pitch class: bars
    and one more x 12. `lines` are the bars' ends.
    """
    onset, pitch = (np.asarray(notes[name], dtype=np.float64) for name in ("onset", "pitch"))
    own = np.flatnonzero(~np.isnan(pitch))
    end = onset[own] + np.asarray(notes["duration"], dtype=np.float64)[own]
    first = np.searchsorted(lines, onset[own] + _NEAR, side="right")
    last = np.maximum(np.searchsorted(lines, end - _NEAR), first)
    heard = np.zeros((len(lines) + 1, 12), dtype=bool)
    tone = np.mod(np.rint(pitch[own]), 12).astype(np.int64)
    heard[each_of(first, last - first + 1), np.repeat(tone, last - first + 1)] = True
    number = np.arange(len(lines) + 1)[:, None]
    without = np.where(~heard & heard.any(axis=1, keepdims=True), number, len(lines))
    return np.minimum.accumulate(without[::-1], axis=0)[::-1]


def _is_picked(notes: _Notes, stretch: Array, counts: Array) -> Array:
    """Whether the notes of a part in a stretch are a chord that is picked in one hand position."""
    picked = np.zeros(len(counts), dtype=bool)
    own = np.flatnonzero(counts)
    if not len(own):
        return picked
    own = own[np.argsort(notes.part[own] * (stretch.max() + 1) + stretch[own], kind="stable")]
    onset, pitch, string, fret = (
        values[own] for values in (notes.onset, notes.pitch, notes.string, notes.fret)
    )
    new = np.append(True, (np.diff(notes.part[own]) != 0) | (np.diff(stretch[own]) != 0))
    starts, group = np.flatnonzero(new), np.cumsum(new) - 1  # by onset within each group
    attacks = np.add.reduceat(new | np.append(True, np.diff(onset) > _NEAR), starts, dtype=int)
    place = np.sort((group * (string.max() + 1) + string) * _MOST + fret - _UNKNOWN)
    is_string = np.append(True, np.diff(place // _MOST) != 0)
    strings = np.add.reduceat(is_string, starts, dtype=int)
    shapes = np.add.reduceat(np.append(True, np.diff(place) != 0), starts, dtype=int)
    by_hand = (fret != _UNKNOWN) & ~notes.is_open[own]
    low = np.minimum.reduceat(np.where(by_hand, fret, np.inf), starts)
    high = np.maximum.reduceat(np.where(by_hand, fret, -np.inf), starts)
    unknown = np.logical_or.reduceat(string >= _NO_STRING, starts)
    gap = np.diff(np.sort(_MOST * group + pitch), prepend=np.inf)
    near = np.logical_or.reduceat(~new & (gap > 0) & (gap < _STEP), starts)
    held = (strings >= _STRINGS) & (shapes == strings) & (high - low <= REACH)
    held &= (attacks >= _ATTACKS + unknown) & ~(unknown & near)
    picked[own] = held[group]
    return picked


def _struck_again(notes: _Notes) -> Array:
    """When the string of each note is struck next, in its part; a unison is one stroke."""
    place = notes.part * (notes.string.max() + 1) + notes.string
    order = np.argsort(place, kind="stable")  # by onset on each string, as they come
    place, onset = place[order], notes.onset[order]
    other = np.append(True, np.diff(place) != 0)
    new = other | np.append(True, np.diff(onset) > _NEAR)
    starts = np.flatnonzero(new)
    following = np.append(np.where(other[starts[1:]], np.inf, onset[starts[1:]]), np.inf)
    again = np.empty(len(order))
    again[order] = following[np.cumsum(new) - 1]
    return again


def _died_away(tables: Tables, notes: _Notes, bar: Array) -> Array:
    families = tables["parts"]["family"].tolist()
    seconds = np.empty(len(notes.part))
    for family in set(families):
        own = np.array([each == family for each in families])[notes.part]
        seconds[own] = seconds_to_fall(family, notes.pitch[own])
    gone = notes.onset + seconds * np.asarray(tables["measures"]["tempo"])[bar] / 60
    return np.asarray(np.floor(gone * _GRID) / _GRID)


def _until_hand_leaves(notes: _Notes, end: Array) -> Array:
    """The ends, cut where a later note of the part is fretted out of the hand's reach."""
    end = end.copy()
    fretted = notes.is_guitar & ~notes.is_open & (notes.fret != _UNKNOWN)
    long = np.flatnonzero(fretted & (end > notes.end + _NEAR))
    apart = float(max(end.max(), notes.onset.max())) + 1
    place = notes.part * apart + notes.onset
    first = np.searchsorted(place, place[long] + _NEAR, side="right")
    last = np.searchsorted(place, notes.part[long] * apart + end[long] - _NEAR)
    count = np.maximum(last - first, 0)
    own, other = np.repeat(long, count), each_of(first, count)
    far = fretted[other] & (np.abs(notes.fret[other] - notes.fret[own]) > REACH)
    np.minimum.at(end, own[far], notes.onset[other[far]])
    return np.maximum(end, notes.end)


def _blocks(part: Array, onset: Array, end: Array) -> Array:
    """Until when the part of each note plays on without a rest; notes by part and onset."""
    apart = part * (float(end.max()) + 1)
    reached = np.maximum.accumulate(end + apart)
    new = np.append(True, (onset + apart)[1:] > reached[:-1] + _NEAR)
    starts = np.flatnonzero(new)
    return np.asarray((np.maximum.reduceat(end, starts))[np.cumsum(new) - 1])


def _harmony(chords: Columns | pd.DataFrame) -> tuple[Array, Array]:
    """Where each stretch of one set of chord members and one bass begins, the first before the
    song, and the members, stretches x pitch classes; none where there is no chord.
    """
    onset = np.asarray(chords["onset"], dtype=np.float64)
    end = onset + np.asarray(chords["duration"], dtype=np.float64)
    classes = chords["pitch_classes"].tolist()
    members = np.zeros((len(onset) + 1, 12), dtype=bool)
    counts = [len(each) for each in classes]
    members[np.repeat(np.arange(len(onset)), counts), list(chain.from_iterable(classes))] = True
    gaps = np.append(end[:-1] < onset[1:] - _NEAR, True)
    lines = np.concatenate([onset, end[gaps], [-1.0]])
    rows = np.concatenate([np.arange(len(onset)), np.full(gaps.sum() + 1, len(onset))])
    order = np.argsort(lines, kind="stable")
    bass = np.append(_whole(chords["bass"]), _UNKNOWN)[rows[order]]
    lines, members = lines[order], members[rows[order]]
    new = np.append(True, (members[1:] != members[:-1]).any(axis=1) | (np.diff(bass) != 0))
    return lines[new], members[new]


def _marks(technique: Any, *words: str) -> dict[str, Array]:
    """Whether each note's techniques have a word in them."""
    if not pd.notna(technique).any():
        return dict.fromkeys(words, np.zeros(len(technique), dtype=bool))
    code, known = pd.factorize(technique)
    texts = [*map(str, known.tolist()), ""]  # the last where there is none, code -1
    return {word: np.array([word in text for text in texts])[code] for word in words}


def _places(labels: Any, known: Any) -> Array:
    """The place of each label among the known ones."""
    code, own = pd.factorize(labels)
    place = {label: at for at, label in enumerate(known.tolist())}
    return np.array([place.get(label, -1) for label in own.tolist()], dtype=np.int64)[code]


def _whole(values: Any) -> Array:
    return np.asarray(values.to_numpy(dtype=np.int64, na_value=_UNKNOWN))


def _of_setup(tables: Tables, name: str, part: Array, onset: Array) -> Array:
    """What the part of each note has in the section in which the note begins."""
    usual = np.array(tables["parts"][name].tolist(), dtype=object)
    setups = tables["setups"]
    if not len(setups["part"]):
        return np.asarray(usual[part])
    sections = tables["sections"]["section"]
    every = np.repeat(usual[:, None], len(sections), axis=1)
    rows = _places(setups["part"], tables["parts"]["part"])
    every[rows, _places(setups["section"], sections)] = setups[name].tolist()
    begins = np.asarray(tables["sections"]["onset"])
    at = np.maximum(np.searchsorted(begins, onset + _NEAR, side="right") - 1, 0)
    return np.asarray(every[part, at])
