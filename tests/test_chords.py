"""Chord kinds and members, against the MusicXML schema and music21's harmony."""

from pathlib import Path

import music21
import musicxml
import pytest
from lxml import etree

from arrange.theory.chords import KINDS, Chord, Degree, chord_intervals, chord_number, chord_symbol

SCHEMA = Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"

# music21 calls these kinds by other names.
OTHER_NAMES = {
    "dominant": "dominant-seventh",
    "half-diminished": "half-diminished-seventh",
    "major-minor": "minor-major-seventh",
}


def classes(kind: str, *degrees: tuple[int, int, str]) -> set[int]:
    """Return the pitch classes of a chord on C."""
    return {above % 12 for above in chord_intervals(kind, [Degree(*d) for d in degrees])}


def test_kinds_are_those_of_the_schema():
    """MusicXML 4.0, simple type kind-value: 33 words, read from the W3C's own schema."""
    schema = etree.parse(SCHEMA)
    words = schema.xpath(
        "//xs:simpleType[@name='kind-value']//xs:enumeration/@value",
        namespaces={"xs": "http://www.w3.org/2001/XMLSchema"},
    )
    assert len(words) == 33
    assert sorted(KINDS) == sorted(words)


@pytest.mark.parametrize("kind", sorted(set(KINDS) - {"Neapolitan", "other", "none"}))
@pytest.mark.parametrize("root", [0, 10])
def test_members_agree_with_music21(kind, root):
    """The same pitch classes as music21's chord symbol of that kind; kind words and the order
    of notes differ and are not compared.
    """
    name = ("C", "B-")[root == 10]
    symbol = music21.harmony.ChordSymbol(root=name, kind=OTHER_NAMES.get(kind, kind))
    ours = {(root + above) % 12 for above in chord_intervals(kind)}
    assert ours == {pitch.pitchClass for pitch in symbol.pitches}


def test_members_that_music21_does_not_settle():
    """The Neapolitan in C is D flat major, Db F Ab (W. Piston, Harmony; from memory); music21
    spells one that no textbook has. "other" is known by its root alone, "none" is no chord.
    """
    assert classes("Neapolitan") == {1, 5, 8}
    assert classes("other") == {0}
    assert chord_intervals("none") == []


def test_members_start_with_the_root():
    """Members are listed from the root up, ninths and beyond above the octave."""
    for kind in set(KINDS) - {"Neapolitan", "none"}:
        assert chord_intervals(kind)[0] == 0
    assert chord_intervals("dominant-13th") == [0, 4, 7, 10, 14, 17, 21]


@pytest.mark.parametrize(
    ("kind", "degrees", "expected"),
    [
        ("dominant", [(9, -1, "add")], {0, 4, 7, 10, 1}),
        ("dominant", [(9, 1, "add")], {0, 4, 7, 10, 3}),
        ("dominant", [(5, -1, "alter")], {0, 4, 6, 10}),
        ("major", [(9, 0, "add")], {0, 4, 7, 2}),
        ("major", [(7, 0, "add")], {0, 4, 7, 10}),
        ("major", [(7, 1, "add")], {0, 4, 7, 11}),
        ("major", [(3, 0, "subtract")], {0, 7}),
        ("dominant-ninth", [(9, -1, "alter")], {0, 4, 7, 10, 1}),
        ("dominant-13th", [(11, 0, "subtract")], {0, 4, 7, 10, 2, 9}),
        ("minor-seventh", [(5, -1, "alter")], {0, 3, 6, 10}),
        ("major-seventh", [(7, -1, "alter")], {0, 4, 7, 10}),
        ("diminished-seventh", [(7, 1, "alter")], {0, 3, 6, 10}),
        ("augmented", [(5, -1, "alter")], {0, 4, 7}),
        ("major-sixth", [(6, 0, "subtract")], {0, 4, 7}),
        ("suspended-fourth", [(7, 0, "add")], {0, 5, 7, 10}),
    ],
)
def test_degrees(kind, degrees, expected):
    """MusicXML 4.0, element degree-alter: added degrees are altered from those of a dominant
    chord, so that an added plain 7 is the minor seventh; degrees altered are altered from the
    chord's own. Worked by hand.
    """
    assert classes(kind, *degrees) == expected


@pytest.mark.parametrize(
    ("kind", "degree", "expected"),
    [
        ("dominant", (11, 1, "alter"), {0, 4, 7, 10, 6}),
        ("dominant", (13, -1, "alter"), {0, 4, 7, 10, 8}),
        ("minor-seventh", (9, -1, "alter"), {0, 3, 7, 10, 1}),
        ("minor-seventh", (9, 0, "subtract"), {0, 3, 7, 10}),
        ("dominant", (13, 0, "subtract"), {0, 4, 7, 10}),
    ],
)
def test_a_degree_leaves_its_neighbours_alone(kind, degree, expected):
    """A sharp eleven written as an alteration must not replace the third, a semitone off the plain
    eleventh; a flat thirteen must not replace the seventh, nor a flat nine the minor third. A
    degree that the chord does not hold is added when altered, and nothing when taken away.
    """
    assert classes(kind, degree) == expected


@pytest.mark.parametrize(
    ("chord", "symbol"),
    [
        (Chord("F#", "half-diminished"), "F#m7b5"),
        (Chord("D", "major", bass="F#"), "D/F#"),
        (Chord("Bb", "major-seventh"), "Bbmaj7"),
        (Chord("", "none"), "N.C."),
        (Chord("C", "dominant", degrees=(Degree(9, -1, "add"),)), "C7(b9)"),
        (Chord("A", "major", degrees=(Degree(9, 0, "add"),)), "Aadd9"),
        (Chord("A", "major", degrees=(Degree(3, 0, "subtract"),)), "Ano3"),
        (Chord("E", "power"), "E5"),
        (Chord("G", "minor-seventh", text="-7"), "G-7"),
    ],
)
def test_symbols(chord, symbol):
    """As players write them (common practice); where the source spells the kind, as it does."""
    assert chord_symbol(chord) == symbol


@pytest.mark.parametrize(
    ("root", "kind", "bass", "key", "number"),
    [
        (9, "m", None, "C major", "6m"),
        (11, "m", 11, "D major", "6m"),
        (7, "", 11, "G major", "1/3"),
        (2, "", 6, "G major", "5/7"),
        (10, "", None, "C major", "b7"),
        (5, "maj7", None, "A minor", "b6maj7"),
        (4, "7", None, "A minor", "57"),
        (6, "dim", None, "C major", "#4dim"),
    ],
)
def test_numbers(root, kind, bass, key, number):
    """Counted in the major scale on the tonic, in minor too (common practice of bands that
    write numbers); a bass that is the root is not written.
    """
    assert chord_number(root, kind, bass, key) == number
