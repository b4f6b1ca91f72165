"""Voicings as a table: what each sounds, what it is called, how it is held.

Whole columns at once; a name is put into words once for all voicings that share it.
``voicings.find_voicings`` says what the names mean.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from arrange.chord_members import (
    degree,
    inversion,
    inversion_name,
    member_names,
    member_note,
    members_of,
    note_in_octave,
    say_members,
)
from arrange.chords import Chord
from arrange.hands import FINGER_NAMES, VERDICTS, Grips, Hand, verdicts
from arrange.necks import LEFT_OUT, MOST_FRETS, Array, Neck
from arrange.pitch import interval_name, note_name, parse_pitch_class
from arrange.tables import integer_column, object_column, text_column

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
    shapes: Array,
    grips: Grips,
    chord: Chord,
    members: dict[int, str],
    drones: tuple[int, ...],
    asked_bass: bool,
    neck: Neck,
    hand: Hand,
) -> pd.DataFrame:
    """Return playable shapes of a chord as ``find_voicings`` promises them.

    Parameters
    ----------
    shapes : array of int, shapes x strings
    grips : Grips
    chord : Chord
    members : dict of int to str
        Those that may sound, semitones above the root -> name.
    drones : tuple of int
        Strings that must ring open; where one is no member, the name tells it.
    asked_bass : bool
        The bass is asked for, so that an inversion costs nothing in the order.
    neck : Neck
    hand : Hand
    """
    root = parse_pitch_class(chord.root)
    rank = _order_mm(shapes, grips, root, asked_bass, neck)
    order = np.lexsort((*shapes.T, grips.position, rank.round(3)))
    shapes, grips, rank = shapes[order], grips.take(order), rank[order]
    pitches = np.where(shapes == LEFT_OUT, _SILENT, shapes + np.array(neck.tuning, np.int16))
    in_order = np.sort(pitches, axis=1)
    names = {m: member_names([m])[m] for m in range(12)} | members
    letters = [member_note(chord.root, m, names[m]) for m in range(12)]
    spelled = [note_in_octave(letters[(pitch - root) % 12], pitch) for pitch in range(128)]
    numbers = [names[(pitch - root) % 12] for pitch in range(128)]
    name, inversions = _named(pitches, chord, members, drones, neck)
    return pd.DataFrame(
        {
            "shape": _shape_text(shapes),
            "frets": object_column(list(zip(*shapes.T.tolist(), strict=True))),
            "notes": _joined(spelled, in_order, " "),
            "members": _joined(numbers, in_order, " "),
            "name": name,
            "inversion": inversions,
            "strings": _strings_text(shapes),
            "fingering": _joined([each or "-" for each in FINGER_NAMES], grips.fingers[:, ::-1]),
            "position": grips.position.astype(np.int64),
            "span_mm": grips.span_mm,
            "reach_mm": grips.reach_mm,
            "verdict": text_column(VERDICTS, _verdict_codes(grips, hand)),
            "cost_mm": grips.cost_mm,
            "order_mm": rank,
        }
    )


def _order_mm(shapes: Array, grips: Grips, root: int, asked_bass: bool, neck: Neck) -> Array:
    """What the rows are ordered by, mm: the grip, and what players look for first."""
    rank = grips.cost_mm + LEFT_OUT_COST * (shapes == LEFT_OUT).sum(axis=1)
    rank += HIGH_COST * neck.mm[grips.position]
    if asked_bass:
        return rank
    tuning = np.array(neck.tuning, np.int16)
    bass = np.where(shapes == LEFT_OUT, _SILENT, shapes + tuning).min(axis=1)
    return rank + INVERSION_COST * ((bass - root) % 12 != 0)


def _verdict_codes(grips: Grips, hand: Hand) -> Array:
    told = verdicts(grips, hand)
    codes: Array = np.select([told == verdict for verdict in VERDICTS], range(len(VERDICTS)))
    return codes


def _joined(labels: list[str], codes: Array, separator: str = "") -> Any:
    """A column of text: in each row the labels at its codes; a code past the last is skipped."""
    return _as_text(*_joined_bytes(labels, codes, separator))


def _joined_bytes(labels: list[str], codes: Array, separator: str) -> tuple[Array, Array]:
    """Every row's text, as one run of bytes, and the length of each."""
    words = np.array([*(separator + label for label in labels), ""], dtype="S")
    width = words.itemsize
    letters = words.view(np.uint8).reshape(-1, width)[np.minimum(codes, len(labels))]
    letters = letters.reshape(len(codes), -1)
    is_letter = letters != 0
    if separator and len(codes):
        first = is_letter.argmax(axis=1)
        for place in range(len(separator)):
            is_letter[np.arange(len(codes)), first + place] = False
    return letters[is_letter], is_letter.sum(axis=1)


def _as_text(letters: Array, lengths: Array) -> Any:
    """A column of text from all its bytes, row after row."""
    ends = np.append(0, np.cumsum(lengths))
    buffers = pa.py_buffer(ends), pa.py_buffer(letters)
    return pd.array(pa.LargeStringArray.from_buffers(len(lengths), *buffers), dtype="str")


def _shape_text(shapes: Array) -> Any:
    """The shapes as ``necks.format_shape`` writes them."""
    labels = ["x", *map(str, range(MOST_FRETS + 1))]
    # Where a fret has two digits, signs are set apart: a second set of labels with a dash.
    apart = np.any(shapes > 9, axis=1, keepdims=True) & (np.arange(shapes.shape[1]) > 0)
    codes = shapes[:, ::-1] + 1 + np.where(apart, len(labels), 0)
    return _joined([*labels, *(f"-{label}" for label in labels)], codes)


def _bits(flags: Array) -> Array:
    """Flags, rows x places, as one number a row."""
    return flags @ (1 << np.arange(flags.shape[1], dtype=np.int64))


def _strings_text(shapes: Array) -> Any:
    sets, codes = np.unique(_bits(shapes != LEFT_OUT), return_inverse=True)
    return text_column([_string_numbers(each) for each in sets.tolist()], codes)


def _string_numbers(bits: int) -> str:
    """Strings low to high, as a player says them: ``"4-3-2"``."""
    return "-".join(str(s + 1) for s in range(bits.bit_length() - 1, -1, -1) if bits >> s & 1)


def _named(
    pitches: Array, chord: Chord, members: dict[int, str], drones: tuple[int, ...], neck: Neck
) -> tuple[Any, Any]:
    """The names and the inversions; `pitches` in the order of the strings."""
    root = parse_pitch_class(chord.root)
    foreign = [s for s in drones if (neck.tuning[s - 1] + neck.capo - root) % 12 not in members]
    pitches = pitches.copy()
    pitches[:, [s - 1 for s in foreign]] = _SILENT
    ordered = np.sort(pitches, axis=1)
    sounds = ordered < _SILENT
    member = (ordered - root) % 12
    counts = np.zeros((len(ordered), 12), dtype=np.int8)
    for each, heard in zip(member.T, sounds.T, strict=True):
        counts[np.arange(len(ordered)), each] += heard
    size = sounds.sum(axis=1)
    word = _arrangement(ordered, size, member[:, 0], counts, members)
    if ordered.shape[1] > 1:
        interval = np.where(word == _WORD["two notes"], ordered[:, 1] - ordered[:, 0], 0)
    else:
        interval = np.zeros(len(ordered), np.int64)
    on = np.where(size == 3, _bits(pitches < _SILENT), 0)
    fields = ((word, 4), (np.where(sounds[:, 0], member[:, 0], 0), 4), (interval, 7),
              (_bits(counts > 0), 12), (_bits(counts > 1), 12), (on, 12))  # fmt: skip
    packed = np.zeros(len(ordered), np.int64)
    for values, width in fields:
        packed = packed << width | values
    known, codes = np.unique(packed, return_inverse=True)
    labels, numbers = [], []
    for each in known.tolist():
        parts = []
        for _, width in reversed(fields):
            parts.append(each & (1 << width) - 1)
            each >>= width
        on_, doubled, sounding, interval_, bass, word_ = parts
        text, number = _say(_WORDS[word_], bass, interval_, sounding, doubled, on_, chord, members)
        opened = [note_name(neck.tuning[s - 1] + neck.capo) for s in foreign]
        labels.append(", ".join([text, *(f"{note} as a drone" for note in opened)]))
        numbers.append(number)
    missing = np.array([number is None for number in numbers])[codes]
    return text_column(labels, codes), integer_column(
        np.array([number or 0 for number in numbers])[codes], missing
    )


def _arrangement(
    ordered: Array, size: Array, bass: Array, counts: Array, members: dict[int, str]
) -> Array:
    """The word for how the notes lie, as a code of ``_WORDS``."""
    different = (counts > 0).sum(axis=1)
    rows = np.arange(len(ordered))
    top = ordered[rows, np.maximum(size - 1, 0)]
    word = np.full(len(ordered), _WORD["spread"])

    def above(pitch: Array, first: int) -> Array:
        later = ordered[:, first:]
        return ((later > pitch[:, None]) & (later < _SILENT)).sum(axis=1)

    def fill(where: Array, name: str) -> None:
        word[where] = _WORD[name]

    if ordered.shape[1] >= 3:
        raised, second = ordered[:, 0] + 12, ordered[:, 1] + 12
        is_close = np.maximum(top, raised) - ordered[:, 1] < 12
        for rank, name in ((2, "drop 2"), (3, "drop 3")):
            fill(is_close & (above(raised, 1) == rank - 1) & (size >= 4), name)
        both = np.maximum(top, second) - np.minimum(ordered[:, 2], raised) < 12
        both &= (above(second, 2) == 1) & (above(raised, 2) == 2) & (size >= 4)
        fill(both, "drop 2 & 4")
    fill(top - ordered[:, 0] < 12, "close")
    seventh = {m for m, name in members.items() if degree(name) in (6, 7)}
    third = {m for m, name in members.items() if degree(name) == 3}
    is_shell = (size == 3) & (bass == 0) & (different == 3)
    for wanted in (third, seventh):
        is_shell &= counts[:, sorted(wanted)].sum(axis=1) == 1
    fill(is_shell, "shell")
    fill(different == 2, "two notes")
    fill(size > different, "full")
    fill((different == 2) & (counts[:, 0] > 0) & (counts[:, 7] > 0), "power")
    fill(different == 1, "octaves")
    fill((different == 1) & (top == ordered[:, 0]), "unison")
    fill(size == 1, "single note")
    return word


def _say(
    word: str,
    bass: int,
    interval: int,
    sounding: int,
    doubled: int,
    on: int,
    chord: Chord,
    members: dict[int, str],
) -> tuple[str, int | None]:
    """A name in words, and the inversion."""
    held = [name for m, name in members.items() if sounding >> m & 1]
    if not held:
        return "only drones", None
    number = inversion(members[bass], members.values())
    if word in ("single note", "unison", "octaves"):
        return f"{word}, {say_members(held)}", number
    if word == "two notes":
        word = interval_name(interval)
    degrees = sorted(degree(name) for name in held)
    is_triad = degrees in ([1, 3, 5], [1, 2, 5], [1, 4, 5])
    if is_triad and on:
        word = f"{word} triad on strings {_string_numbers(on)}"
    parts = [word, inversion_name(members[bass], members.values())]
    missing = [name for m, name in members_of(chord).items() if not sounding >> m & 1]
    if missing and word not in ("shell", "power"):
        parts.append(f"no {say_members(missing)}")
    twice = [name for m, name in members.items() if doubled >> m & 1]
    if twice:
        parts.append(f"{say_members(twice)} doubled")
    return ", ".join(parts), number
