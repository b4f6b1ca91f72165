"""Voicings as a table: what each sounds, what it is called, how it is held.

Whole columns at once; a name is put into words once for all voicings that share it.
``voicings.find_voicings`` says what the names mean.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import reduce
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from arrange.guitar.hands import FINGER_NAMES, VERDICTS, Grips, Hand, verdict_levels
from arrange.guitar.necks import LEFT_OUT, Array, Neck
from arrange.guitar.voicing_search import VoicingQuery
from arrange.song_size import MOST_FRETS
from arrange.tables.columns import integer_column, object_column, text_column
from arrange.theory.chord_members import (
    degree,
    inversion,
    inversion_name,
    member_names,
    member_note,
    members_of,
    note_in_octave,
    say_members,
)
from arrange.theory.chords import chord_key
from arrange.theory.pitch import interval_name, note_name, parse_pitch_class

# What moves a voicing down the list, on top of its grip, in mm. Ours: a player who is asked for
# a chord thinks of full shapes near the nut with the root in the bass first.
LEFT_OUT_COST = 10.0  # a string left out
HIGH_COST = 0.1  # a mm from the nut to the hand's position
INVERSION_COST = 12.0  # another member than the root in the bass

_SILENT = 999  # sorts behind every pitch
_WORDS = (
    "single note", "unison", "octaves", "power", "full", "two notes", "shell", "close", "drop 2",
    "drop 3", "drop 2 & 4", "spread",
)  # fmt: skip
_WORD = {word: code for code, word in enumerate(_WORDS)}


def voicing_table(
    shapes: Array, grips: Grips, query: VoicingQuery, neck: Neck, hand: Hand
) -> pd.DataFrame:
    """Return playable shapes of a chord with the columns that ``find_voicings`` describes.

    Parameters
    ----------
    shapes : array of int, shapes x strings
    grips : Grips
    query : VoicingQuery
        What was asked. Where a bass is asked for, an inversion costs nothing in the order.
    neck : Neck
    hand : Hand
    """
    rank = _order_mm(shapes, grips, query, neck)
    micrometres = np.rint(rank * 1000).astype(np.int64)
    order = np.lexsort((_packed(shapes + 1), micrometres * (MOST_FRETS + 1) + grips.position))
    shapes, grips, rank = shapes[order], grips.take(order), rank[order]
    return pd.DataFrame(
        {
            "shape": _shape_text(shapes),
            "frets": object_column(list(zip(*shapes.T.tolist(), strict=True))),
            **_sounds(shapes, query, neck),
            "strings": _strings_text(shapes),
            "fingering": _fingering_text(grips.fingers),
            "position": grips.position.astype(np.int64),
            "span_mm": grips.span_mm,
            "reach_mm": grips.reach_mm,
            "verdict": text_column(VERDICTS, verdict_levels(grips, hand)),
            "cost_mm": grips.cost_mm,
            "order_mm": rank,
        },
        copy=False,
    )


def _packed(rows: Array) -> Array:
    """Rows of whole numbers from 0 as one number each, in the order of the last column first."""
    return rows @ (MOST_FRETS + 2) ** np.arange(rows.shape[1], dtype=np.int64)


def _sounds(shapes: Array, query: VoicingQuery, neck: Neck) -> dict[str, Any]:
    """The columns for what sounds; worked out once for shapes that sound the same."""
    chord, members = query.chord, query.members
    root = parse_pitch_class(chord.root)
    pitches = np.where(shapes == LEFT_OUT, _SILENT, shapes + np.array(neck.tuning, np.int16))
    foreign = [
        s for s in query.drones if (neck.tuning[s - 1] + neck.capo - root) % 12 not in members
    ]
    sounds = np.ascontiguousarray((shapes != LEFT_OUT).T)
    on = np.where(_count(sounds) == 3 + len(foreign), _bits(sounds), 0)  # for a triad's strings
    in_order = np.sort(pitches, axis=1)
    first, same = _alike(in_order, on)
    in_order, pitches = in_order[first], pitches[first]
    names = {m: member_names([m])[m] for m in range(12)} | members
    letters = [member_note(chord.root, m, names[m]) for m in range(12)]
    spelled = [note_in_octave(letters[(pitch - root) % 12], pitch) for pitch in range(128)]
    name, inversions = _named(pitches, query, foreign, neck)
    return {
        "notes": _joined(spelled, in_order, " ").take(same),
        "members": _member_text(names, in_order, root).take(same),
        "name": name.take(same),
        "inversion": inversions.take(same),
    }


def _member_text(names: dict[int, str], ordered: Array, root: int) -> Any:
    """The members low to high, put into words once for all rows that hold the same."""
    silent = len(names)
    member = np.where(ordered == _SILENT, silent, (ordered - root) % 12)
    known, codes = np.unique(_packed(member), return_inverse=True)
    each = known[:, None] // (MOST_FRETS + 2) ** np.arange(member.shape[1]) % (MOST_FRETS + 2)
    return _joined([names[m] for m in range(silent)], each, " ").take(codes)


def _alike(ordered: Array, on: Array) -> tuple[Array, Array]:
    """The first of each kind of row, and which kind each row is of; six pitches at a time."""
    kind = on
    for at in range(0, ordered.shape[1], 6):
        chunk = np.minimum(ordered[:, at : at + 6], 127)
        for column in chunk.T:
            kind = kind << 7 | column
        _, first, kind = np.unique(kind, return_index=True, return_inverse=True)
    return first, kind


def _order_mm(shapes: Array, grips: Grips, query: VoicingQuery, neck: Neck) -> Array:
    """What the rows are ordered by, mm: the grip, and what players look for first."""
    frets = np.ascontiguousarray(shapes.T)
    rank = grips.cost_mm + LEFT_OUT_COST * _count(frets == LEFT_OUT)
    rank += HIGH_COST * neck.mm[grips.position]
    if query.bass is not None:
        return rank
    root = parse_pitch_class(query.chord.root)
    tuning = np.array(neck.tuning, np.int16)[:, None]
    bass = reduce(np.minimum, np.where(frets == LEFT_OUT, _SILENT, frets + tuning))
    return rank + INVERSION_COST * ((bass - root) % 12 != 0)


def _joined(labels: list[str], codes: Array, separator: str = "") -> Any:
    """A column of text: in each row the labels at its codes; a code past the last is skipped."""
    is_there = codes < len(labels)
    starts = np.append(0, np.cumsum(is_there.sum(axis=1))).astype(np.int32)
    words = pa.array(labels, type=pa.string()).take(pa.array(codes[is_there]))
    text = pc.binary_join(pa.ListArray.from_arrays(starts, words), separator)
    return pd.array(text.cast(pa.large_string()), dtype="str")


def _fingering_text(fingers: Array) -> Any:
    """One sign a string, low string first."""
    signs = np.array([name or "-" for name in FINGER_NAMES], dtype="S1").view(np.uint8)
    rows, strings = fingers.shape
    return _as_text(signs[fingers[:, ::-1]].ravel(), np.arange(rows + 1) * strings)


def _as_text(letters: Array, ends: Array) -> Any:
    """A column of text from all its bytes, row after row, and where each row ends (0 first)."""
    buffers = pa.py_buffer(ends.astype(np.int64)), pa.py_buffer(letters)
    return pd.array(pa.LargeStringArray.from_buffers(len(ends) - 1, *buffers), dtype="str")


def _shape_text(shapes: Array) -> Any:
    """The shapes as ``necks.format_shape`` writes them."""
    # Where a fret has two digits, signs are set apart: a second set of labels with a dash.
    labels = ["x", *map(str, range(MOST_FRETS + 1))]
    letters = np.array([*labels, *(f"-{label}" for label in labels)], dtype="S")
    apart = np.any(shapes > 9, axis=1, keepdims=True) & (np.arange(shapes.shape[1]) > 0)
    codes = shapes[:, ::-1] + 1 + np.where(apart, len(labels), 0)
    text = letters[codes].view(np.uint8).reshape(len(codes), -1)
    is_letter = text != 0
    return _as_text(text[is_letter], np.append(0, np.cumsum(is_letter.sum(axis=1))))


def _bits(flags: Array, places: Iterable[int] | None = None) -> Array:
    """Flags, places x rows, as one number a row."""
    bits = np.zeros(flags.shape[1], dtype=np.int64)
    for place in range(len(flags)) if places is None else places:
        bits |= flags[place].astype(np.int64) << place
    return bits


def _count(flags: Array) -> Array:
    """How many are true in each column; row by row, since numpy is slow along a short axis."""
    count: Array = reduce(np.add, flags.view(np.int8))
    return count


def _strings_text(shapes: Array) -> Any:
    sets, codes = np.unique(_bits((shapes != LEFT_OUT).T), return_inverse=True)
    return text_column([_string_numbers(each) for each in sets.tolist()], codes)


def _string_numbers(bits: int) -> str:
    """Strings low to high, as a player says them: ``"4-3-2"``."""
    return "-".join(str(s + 1) for s in range(bits.bit_length() - 1, -1, -1) if bits >> s & 1)


class _Kind(NamedTuple):
    """What voicings of one name have in common, as whole numbers or columns of them.

    Members and strings are bits.
    """

    word: Any  # a code of ``_WORDS``
    bass: Any  # semitones above the root
    interval: Any  # semitones, of two notes
    sounding: Any
    doubled: Any
    strings: Any  # of three notes


_KIND_BITS = _Kind(4, 4, 7, 12, 12, 12)


def _named(pitches: Array, query: VoicingQuery, foreign: list[int], neck: Neck) -> tuple[Any, Any]:
    """The names and the inversions; `pitches` in the order of the strings.

    `foreign` are strings that ring open and are no members.
    """
    chord, members = query.chord, query.members
    kinds, codes = _kinds(pitches, query, foreign)
    key = chord_key(chord)
    opened = "".join(
        f", {note_name(neck.tuning[s - 1] + neck.capo, key)} as a drone" for s in foreign
    )
    basses = {
        m: (inversion(name, members.values()), inversion_name(name, members.values()))
        for m, name in members.items()
    }
    whole = members_of(chord)
    labels, numbers = [], []
    for kind in kinds:
        number, name = basses[kind.bass] if kind.sounding else (None, "")
        labels.append(_kind_name(kind, name, whole, members) + opened)
        numbers.append(number)
    missing = np.array([number is None for number in numbers])[codes]
    return text_column(labels, codes), integer_column(
        np.array([number or 0 for number in numbers])[codes], missing
    )


def _kinds(pitches: Array, query: VoicingQuery, foreign: list[int]) -> tuple[list[_Kind], Array]:
    """Each kind of voicing there is, and which of them each row is."""
    members = query.members
    pitches = np.ascontiguousarray(pitches.T)
    pitches[[s - 1 for s in foreign]] = _SILENT
    ordered = np.sort(pitches, axis=0)
    sounds = ordered < _SILENT
    member = (ordered - parse_pitch_class(query.chord.root)) % 12
    counts = np.zeros((12, ordered.shape[1]), dtype=np.int8)
    for each in members:
        counts[each] = _count(sounds & (member == each))
    size = _count(sounds)
    word = _arrangement(ordered, size, member[0], counts, members)
    interval = ordered[min(1, len(ordered) - 1)] - ordered[0]
    kind = _Kind(
        word=word,
        bass=np.where(sounds[0], member[0], 0),
        interval=np.where(word == _WORD["two notes"], interval, 0),
        sounding=_bits(counts > 0, members),
        doubled=_bits(counts > 1, members),
        strings=np.where(size == 3, _bits(pitches < _SILENT), 0),
    )
    packed = np.zeros(ordered.shape[1], np.int64)
    for values, width in zip(kind, _KIND_BITS, strict=True):
        packed = packed << width | values
    known, codes = np.unique(packed, return_inverse=True)
    columns = []
    for width in reversed(_KIND_BITS):
        columns.append((known & (1 << width) - 1).tolist())
        known = known >> width
    return [_Kind(*each) for each in zip(*reversed(columns), strict=True)], codes


def _arrangement(
    ordered: Array, size: Array, bass: Array, counts: Array, members: dict[int, str]
) -> Array:
    """The word for how the notes lie, as a code of ``_WORDS``; `ordered` is voices x rows."""
    different = _count(counts > 0)
    sounds = ordered < _SILENT
    top = reduce(np.maximum, np.where(sounds, ordered, 0))
    word = np.full(ordered.shape[1], _WORD["spread"])

    def above(pitch: Array, first: int) -> Array:
        return _count((ordered[first:] > pitch) & sounds[first:])

    def fill(where: Array, name: str) -> None:
        word[where] = _WORD[name]

    if len(ordered) >= 3:
        raised, second = ordered[0] + 12, ordered[1] + 12
        is_close = np.maximum(top, raised) - ordered[1] < 12
        for rank, name in ((2, "drop 2"), (3, "drop 3")):
            fill(is_close & (above(raised, 1) == rank - 1) & (size >= 4), name)
        both = np.maximum(top, second) - np.minimum(ordered[2], raised) < 12
        both &= (above(second, 2) == 1) & (above(raised, 2) == 2) & (size >= 4)
        fill(both, "drop 2 & 4")
    fill(top - ordered[0] < 12, "close")
    seventh = {m for m, name in members.items() if degree(name) in (6, 7)}
    third = {m for m, name in members.items() if degree(name) == 3}
    is_shell = (size == 3) & (bass == 0) & (different == 3)
    for wanted in (third, seventh):
        is_shell &= counts[sorted(wanted)].sum(axis=0) == 1
    fill(is_shell, "shell")
    fill(different == 2, "two notes")
    fill(size > different, "full")
    fill((different == 2) & (counts[0] > 0) & (counts[7] > 0), "power")
    fill(different == 1, "octaves")
    fill((different == 1) & (top == ordered[0]), "unison")
    fill(size == 1, "single note")
    return word


def _kind_name(
    kind: _Kind, inversion_words: str, whole: dict[int, str], members: dict[int, str]
) -> str:
    """A name in words; `whole` are the chord's members, `members` those that may sound."""
    word = _WORDS[kind.word]
    held = [name for m, name in members.items() if kind.sounding >> m & 1]
    if not held:
        return "only drones"
    if word in ("single note", "unison", "octaves"):
        return f"{word}, {say_members(held)}"
    if word == "two notes":
        word = interval_name(kind.interval)
    degrees = sorted(degree(name) for name in held)
    is_triad = degrees in ([1, 3, 5], [1, 2, 5], [1, 4, 5])
    if is_triad and kind.strings:
        word = f"{word} triad on strings {_string_numbers(kind.strings)}"
    parts = [word, inversion_words]
    missing = [name for m, name in whole.items() if not kind.sounding >> m & 1]
    if missing and word not in ("shell", "power"):
        parts.append(f"no {say_members(missing)}")
    twice = [name for m, name in members.items() if kind.doubled >> m & 1]
    if twice:
        parts.append(f"{say_members(twice)} doubled")
    return ", ".join(parts)
