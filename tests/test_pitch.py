"""Note names, frequencies, keys and intervals, against tables and against music21."""

import music21
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrange.errors import ArrangeError
from arrange.theory.pitch import (
    MODES,
    frequency,
    interval_name,
    key_fifths,
    key_name,
    key_tonic,
    note_name,
    parse_note,
    parse_pitch_class,
    pitch_class_name,
)

KEYS = [key_name(fifths, mode) for fifths in range(-7, 8) for mode in MODES]


def with_sharps_and_flats(name: str) -> str:
    """A name of music21's, which writes a flat as a minus."""
    return name.replace("-", "b")


def test_a4_is_440_hertz():
    """ISO 16:1975 sets A4 at 440 Hz; a semitone is a twelfth of an octave, an octave doubles."""
    assert frequency(parse_note("A4")) == 440
    assert frequency(parse_note("A2")) == 110
    assert frequency(70) / frequency(69) == pytest.approx(2 ** (1 / 12), abs=1e-15)


@pytest.mark.parametrize(
    ("name", "pitch", "hertz"),
    [
        ("E1", 28, 41.203),
        ("B1", 35, 61.735),
        ("E2", 40, 82.407),
        ("A2", 45, 110.000),
        ("D3", 50, 146.832),
        ("G3", 55, 195.998),
        ("B3", 59, 246.942),
        ("C4", 60, 261.626),
        ("E4", 64, 329.628),
        ("E6", 88, 1318.510),
    ],
)
def test_frequencies_of_open_strings(name, pitch, hertz):
    """440 * 2 ** ((m - 69) / 12), worked out to a thousandth: D. Tymoczko, The Geometry of
    Musical Chords, Science 313 (2006), eq. 1, with middle C at 60.
    """
    assert parse_note(name) == pitch
    assert frequency(pitch) == pytest.approx(hertz, abs=0.001)


@given(st.integers(0, 127), st.sampled_from([None, *KEYS]))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_a_name_is_read_back_as_its_pitch(pitch, key):
    """A name says one pitch only, however the key spells it: B#3 and Dbb4 are C4 too."""
    assert parse_note(note_name(pitch, key)) == pitch


def test_names_agree_with_music21():
    """Every letter, with up to two signs, in every octave: music21 gives the same number."""
    for letter in "CDEFGAB":
        for sign, minus in (("", ""), ("#", "#"), ("b", "-"), ("##", "##"), ("bb", "--")):
            for octave in range(10):
                pitch = music21.pitch.Pitch(f"{letter}{minus}{octave}").ps
                assert parse_note(f"{letter}{sign}{octave}") == pitch


def test_names_without_a_key():
    """A band says Bb, Eb and Ab, but F# and C# (common practice); the octave changes at C."""
    names = [note_name(pitch) for pitch in range(59, 72)]
    assert " ".join(names) == "B3 C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4"
    assert names == [note_name(pitch, "C major") for pitch in range(59, 72)]


def test_quarter_tones_are_marked():
    """Half a number is a quarter tone; it is written as the semitone below it and a plus."""
    assert note_name(60.5) == "C4+"
    assert note_name(60.3) == "C4+"
    assert note_name(59.7) == "C4-"
    assert note_name(60.05) == "C4"


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", list(MODES))
def test_keys_agree_with_music21(fifths, mode):
    """The tonic of a signature in a mode, and back: music21's key signatures say the same."""
    key = key_name(fifths, mode)
    other = music21.key.KeySignature(fifths).asKey(mode)
    assert key == f"{with_sharps_and_flats(other.tonic.name)} {mode}"
    assert key_fifths(key) == fifths
    assert key_tonic(key) == other.tonic.pitchClass


@pytest.mark.parametrize("fifths", range(-7, 8))
@pytest.mark.parametrize("mode", list(MODES))
def test_a_key_spells_its_own_notes(fifths, mode):
    """The seven notes of the key have seven letters, as its signature says: music21's scales."""
    scale = music21.key.KeySignature(fifths).asKey(mode).pitches[:7]
    key = key_name(fifths, mode)
    own = [pitch_class_name(pitch.pitchClass, key) for pitch in scale]
    assert own == [with_sharps_and_flats(pitch.name) for pitch in scale]


@pytest.mark.parametrize("tonic", ["D", "A", "E", "B", "F#", "C#", "G", "C", "F", "Bb", "Eb"])
def test_minor_keys_spell_the_raised_notes(tonic):
    """In minor the dominant's third is the raised seventh: A7 in D minor holds C#, no Db.
    Rudiments of harmony; music21's harmonic and melodic minor.
    """
    start = music21.pitch.Pitch(tonic.replace("b", "-"))
    for scale in (music21.scale.HarmonicMinorScale(start), music21.scale.MelodicMinorScale(start)):
        for pitch in scale.getPitches(direction=music21.scale.Direction.ASCENDING):
            name = pitch_class_name(pitch.pitchClass, f"{tonic} minor")
            assert name == with_sharps_and_flats(pitch.name)


def test_words_that_are_no_key_are_read_as_no_sharps_or_flats():
    """MusicXML lets a mode be any word; one that is none is taken for major, a key that is
    none for no signature.
    """
    assert key_name(2, "none") == "D major"
    assert key_name(-1, "hypodorian") == "F major"
    assert key_fifths("H major") == 0
    assert pitch_class_name(3, "H major") == "Eb"


def test_intervals_agree_with_music21():
    """Up to a tenth by music21's names, perfect left out as players do and 'tritone' for the
    diminished fifth; beyond, octaves are added.
    """
    for size in range(17):
        name = music21.interval.Interval(size).niceName.lower()
        name = name.removeprefix("perfect ").replace("diminished fifth", "tritone")
        assert interval_name(size) == interval_name(-size) == name
    assert interval_name(17) == "fourth and 1 octave"
    assert interval_name(25) == "minor second and 2 octaves"
    assert interval_name(24) == "2 octaves"
    assert interval_name(36) == "3 octaves"


@pytest.mark.parametrize("name", ["H4", "C", "", "4", "C#b4", "C####4", "Bb-", "do"])
def test_no_note_name(name):
    """What is no name is refused, with an example of one."""
    with pytest.raises(ArrangeError, match=r"no note is called .*; write a letter A to G.*Bb2"):
        parse_note(name)


@pytest.mark.parametrize("name", ["H", "C4", "", "Cx"])
def test_no_pitch_class_name(name):
    """A pitch class has no octave."""
    with pytest.raises(ArrangeError, match=r"no note is called .*; write a letter A to G"):
        parse_pitch_class(name)


def test_names_are_read_with_either_kind_of_sign():
    """Blanks around, small letters, and the printed signs are read too."""
    assert parse_note(" bb2 ") == parse_note("B♭2") == 46
    assert parse_pitch_class("F♯") == parse_pitch_class("gb") == 6
    assert parse_note("C-1") == 0
