"""Fingering from pitches alone against a published table of chord shapes.

The table is that of npm's package @tombatossals/chords-db 0.5.1, the first-listed shape of each of
its 529 chords.
"""

from functools import lru_cache
from pathlib import Path

import pytest
from songs import song
from test_fingering_idioms import frets_of

from arrange.guitar.fingering import finger_part
from arrange.guitar.fingering.ways import Task, find_ways
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.theory.chord_members import members_of
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.pitch import parse_note

TABLE = Path(__file__).parent / "reference" / "chord-shapes.txt"
LEAST_LISTED = 515  # of 529, 97.4 %

# Eight entries of the package are wrong: C# maj13 lists no finger for a fretted string, and these
# do not sound their chord. Our name of it, the notes that are foreign to it, and those that it
# lacks but for the fifth.
WRONG = {
    "C 9": ("C9", "", "Bb"),
    "C# 9#11": ("C#9#11", "C E", "C# F Eb"),
    "C# 11": ("C#11", "G", "Eb F#"),
    "C# aug": ("C#aug", "F# B", "F A"),
    "E madd9": ("Em(add9)", "F Ab C", "E F#"),
    "A m/G#": ("Am/G#", "F#", "G#"),
    "Bb m9": ("Bbm9", "", "Bb"),
}


@lru_cache
def shapes():
    """Name and shape of each chord."""
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    rows = [line.split(" | ") for line in lines if not line.startswith("#")]
    return {name: frets_of(shape) for name, shape in rows}


def pitches_of(shape):
    """What a shape sounds."""
    return [Neck().tuning[string - 1] + fret for string, fret in shape.items()]


@lru_cache
def first_answers():
    """String: fret, of the notes of each chord as they are fingered from pitches alone."""
    tasks = [
        Task(tuple(sorted(tuple(Neck().places(float(pitch))) for pitch in pitches_of(shape))))
        for shape in shapes().values()
    ]
    found = {}
    for name, ways in zip(shapes(), find_ways(tasks, Neck(), Hand()), strict=True):
        if len(ways):
            best = ways.cost_mm.argmin()
            strings, frets = ways.string[best].tolist(), ways.fret[best].tolist()
            found[name] = dict(zip(strings, frets, strict=True))
    return found


def test_chords_are_fingered_as_the_table_lists_them():
    """The first answer is the listed shape for 97.4 % of the chords, wrong entries among them."""
    assert len(shapes()) == 529
    answers = first_answers()
    listed = [name for name, shape in shapes().items() if answers.get(name) == shape]
    assert len(listed) >= LEAST_LISTED


@pytest.mark.parametrize("name", list(shapes())[::50])
def test_a_part_of_one_chord_is_fingered_so(name):
    """``finger_part`` gives the same answer."""
    notes = [("Guitar", pitch, 0, 2) for pitch in pitches_of(shapes()[name])]
    fingered = finger_part(song(*notes), "Guitar")
    places = zip(fingered["string"].tolist(), fingered["fret"].tolist(), strict=True)
    assert dict(places) == first_answers()[name]


@pytest.mark.parametrize("name", WRONG)
def test_entries_that_are_wrong(name):
    """They have notes that are foreign to their chord, or lack what it is named for."""
    symbol, foreign, lacking = WRONG[name]
    chord = parse_chord(symbol)
    root = parse_note(f"{chord.root}4")
    asked = {(root + member) % 12 for member in members_of(chord)}
    asked |= {parse_note(f"{chord.bass}4") % 12} if chord.bass else set()
    sounded = {pitch % 12 for pitch in pitches_of(shapes()[name])}
    fifth = {(root + 7) % 12}
    assert sounded - asked == {parse_note(f"{note}4") % 12 for note in foreign.split()}
    assert asked - sounded - fifth == {parse_note(f"{note}4") % 12 for note in lacking.split()}
