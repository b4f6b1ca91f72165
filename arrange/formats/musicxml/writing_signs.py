"""What stands above the notes: chord symbols, section names, tempo and words to the player."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

from arrange.errors import ChordError
from arrange.formats.musicxml.writing_elements import add, decimal
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import (
    DEGREES,
    KINDS,
    Chord,
    Degree,
    chord_intervals,
    chord_suffix,
    moved_chord,
)
from arrange.theory.pitch import STEPS, parse_pitch_class, pitch_class_name

_ALTERED = {1: (2, -1), 3: (3, -1), 6: (5, -1), 8: (5, 1), 11: (7, 1), 13: (9, -1), 15: (9, 1),
            18: (11, 1), 20: (13, -1), 22: (13, 1)}  # fmt: skip
# Semitones above the root -> the degree that they are, as (value, alter).
_DEGREE_AT = {semitones: (value, 0) for value, semitones in DEGREES.items()} | _ALTERED


@lru_cache(maxsize=4096)
def chord_of(
    symbol: str,
    kind: str,
    root: int | None,
    bass: int | None,
    members: tuple[int, ...],
    key: str | None,
) -> tuple[Chord, bool]:
    """Return the chord that a row of the chords table holds, and whether it is that chord.

    The symbol says how it is spelled and put together, where it agrees with the row; else the
    row's kind is taken, with the degrees that it has too many or too few.

    Parameters
    ----------
    symbol, kind : str
    root, bass : int or None
        Pitch classes; a root of None is no chord.
    members : tuple of int
        Pitch classes, root first.
    key : str or None
        Spells root and bass where the symbol does not.
    """
    if root is None or kind == "none":
        return Chord("", "none"), root is None and kind == "none"
    try:
        chord = parse_chord(symbol)
    except ChordError:
        chord = Chord("", "none")
    if _agrees(chord, kind, root, bass, members):
        return chord, True
    under = "" if bass is None or bass == root else pitch_class_name(bass, key)
    intervals = tuple((member - root) % 12 for member in members)
    name = pitch_class_name(root, key)
    chord = Chord(name, kind, under, _degrees(kind, intervals))
    return chord, _agrees(chord, kind, root, bass, members)


def _agrees(chord: Chord, kind: str, root: int, bass: int | None, members: tuple[int, ...]) -> bool:
    if chord.kind != kind or not chord.root or parse_pitch_class(chord.root) != root:
        return False
    sounding = tuple((root + above) % 12 for above in chord_intervals(kind, chord.degrees))
    under = parse_pitch_class(chord.bass) if chord.bass else root
    return tuple(dict.fromkeys(sounding)) == members and under == (root if bass is None else bass)


def _degrees(kind: str, intervals: Sequence[int]) -> tuple[Degree, ...]:
    """The degrees by which members differ from those of their kind."""
    wanted: list[int] = []
    for interval in intervals:  # upward: the members stand in order, ninths above sevenths
        low = wanted[-1] + 1 if wanted else 0
        wanted.append(low + (interval - low) % 12)
    plain = KINDS[kind][0]
    missing = [_degree_at(above, kind) for above in plain if above not in wanted]
    added = [_degree_at(above, "") for above in wanted if above not in plain]
    return (
        *(Degree(value, 0, "subtract") for value, _ in missing),
        *(Degree(value, alter, "add") for value, alter in added),
    )


def _degree_at(above: int, kind: str) -> tuple[int, int]:
    if (kind, above) == ("diminished-seventh", 9):
        return 7, -1
    while above not in _DEGREE_AT:
        above -= 12
    return _DEGREE_AT[above]


def write_harmony(measure: Any, chord: Chord, offset: int, semitones: int, key: str | None) -> None:
    """Add a chord symbol to a measure.

    Parameters
    ----------
    measure : element
    chord : Chord
        As it sounds.
    offset : int
        Divisions behind the place where it stands.
    semitones : int
        From sounding to written, in the part that it stands above.
    key : str or None
        The written key.
    """
    harmony = add(measure, "harmony")
    harmony.tail = "\n"
    root = add(harmony, "root")
    if not chord.root:
        add(root, "root-step", "C", {"text": ""})
        add(harmony, "kind", "none", {"text": KINDS["none"][1]})
    else:
        chord = moved_chord(chord, semitones, key)
        _write_name(root, "root", chord.root)
        text = (chord.text or "") if chord.kind == "other" else chord_suffix(chord)
        add(harmony, "kind", chord.kind, {"text": text} if text else None)
        if chord.bass:
            _write_name(add(harmony, "bass"), "bass", chord.bass)
        for degree in chord.degrees:  # not printed: the text of the kind has them already
            element = add(harmony, "degree", attributes={"print-object": "no"})
            add(element, "degree-value", degree.value)
            add(element, "degree-alter", degree.alter)
            add(element, "degree-type", degree.type)
    if offset:
        add(harmony, "offset", offset)


def _write_name(parent: Any, name: str, spelled: str) -> None:
    add(parent, f"{name}-step", spelled[0])
    alter = spelled.count("#") - spelled[1:].count("b")
    if alter:
        add(parent, f"{name}-alter", alter)


def write_rehearsal(measure: Any, text: str) -> None:
    """Add the name of a section."""
    _direction(measure, "rehearsal", text)


def write_words(measure: Any, text: str) -> None:
    """Add words to the player."""
    _direction(measure, "words", text)


def _direction(measure: Any, tag: str, text: str) -> None:
    direction = add(measure, "direction", attributes={"placement": "above"})
    add(add(direction, "direction-type"), tag, text)
    direction.tail = "\n"


def write_tempo(measure: Any, tempo: float, *, compound: bool) -> None:
    """Add a metronome mark, and the exact tempo for whoever plays the file.

    Parameters
    ----------
    measure : element
    tempo : float
        Quarter notes a minute.
    compound : bool
        The beat is a dotted quarter, as in 6/8 felt in two (common practice).
    """
    direction = add(measure, "direction", attributes={"placement": "above"})
    metronome = add(add(direction, "direction-type"), "metronome")
    add(metronome, "beat-unit", "quarter")
    if compound:
        add(metronome, "beat-unit-dot")
    add(metronome, "per-minute", f"{tempo / 1.5 if compound else tempo:.6g}")
    add(direction, "sound", attributes={"tempo": decimal(tempo)})
    direction.tail = "\n"


def write_note_name(parent: Any, prefix: str, pitch: int) -> None:
    """Add step, alter and octave of an open string, each behind a prefix."""
    name = pitch_class_name(pitch % 12)
    alter = name.count("#") - name[1:].count("b")
    add(parent, f"{prefix}-step", name[0])
    if alter:
        add(parent, f"{prefix}-alter", alter)
    add(parent, f"{prefix}-octave", (pitch - alter - STEPS[name[0]]) // 12 - 1)
