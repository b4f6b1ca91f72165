"""Frets in mm, places of pitches, tunings that can be strung."""

import pytest

from arrange.errors import ArrangeError
from arrange.guitar.necks import (
    TUNINGS,
    Neck,
    check_shape,
    format_shape,
    fret_mm,
    parse_shape,
    parse_tuning,
)
from arrange.theory.pitch import frequency, parse_note

INCH = 25.4


@pytest.mark.parametrize("scale", [628.65, 647.7, 650.0, 685.8, 863.6])
def test_the_octave_halves_the_string(scale):
    """Each fret leaves 2^(-1/12) of the string: 12 leave half, 24 a quarter (Fletcher and
    Rossing, The Physics of Musical Instruments, 2nd ed., chapter 9, from memory)."""
    assert fret_mm(12, scale) == scale / 2
    assert fret_mm(24, scale) == 3 * scale / 4
    for fret in range(1, 13):
        slot = fret_mm(fret, scale) - fret_mm(fret - 1, scale)
        octave_up = fret_mm(fret + 12, scale) - fret_mm(fret + 11, scale)
        assert octave_up == pytest.approx(slot / 2, abs=1e-9)
    assert scale / fret_mm(1, scale) == pytest.approx(17.817154, abs=1e-6)  # the rule of 18


@pytest.mark.parametrize(
    ("scale", "distances"),
    [
        (24.75 * INCH, (35.28, 100.02, 157.69, 209.08, 314.32, 393.17, 471.49)),
        (25.5 * INCH, (36.35, 103.05, 162.47, 215.41, 323.85, 405.09, 485.77)),
        (650.0, (36.48, 103.42, 163.05, 216.18, 325.00, 406.53, 487.50)),
    ],
)
def test_distances_from_the_nut(scale, distances):
    """The formula of Fletcher and Rossing, chapter 9, worked out to 0.01 mm."""
    for fret, distance in zip((1, 3, 5, 7, 12, 17, 24), distances, strict=True):
        assert fret_mm(fret, scale) == pytest.approx(distance, abs=0.01)


def test_where_pitches_lie():
    """E4 lies at (1, 0), (2, 5), (3, 9), (4, 14): Lombardo and Radicioni, Proc. ICMC 2005,
    fig. 1; at six places on 24 frets: Burlet and Fujinaga, ISMIR 2013. The others counted."""
    long, short = Neck(frets=24), Neck(frets=20)
    assert long.places(64) == [(1, 0), (2, 5), (3, 9), (4, 14), (5, 19), (6, 24)]
    assert short.places(64) == [(1, 0), (2, 5), (3, 9), (4, 14), (5, 19)]
    assert len(long.places(60)) == 5  # C4
    assert long.places(40) == [(6, 0)]  # E2
    assert long.places(45) == [(5, 0), (6, 5)]  # A2


def test_strings_and_frequencies():
    """ISO 16:1975, A4 is 440 Hz, and equal temperament; the table's strings to 0.001 Hz."""
    hertz = {"E1": 41.203, "B1": 61.735, "E2": 82.407, "A2": 110.0, "D3": 146.832, "G3": 195.998}
    hertz |= {"B3": 246.942, "C4": 261.626, "E4": 329.628, "E6": 1318.510}
    for name, value in hertz.items():
        assert frequency(parse_note(name)) == pytest.approx(value, abs=0.001)
    assert Neck().tuning == tuple(map(parse_note, ("E4", "B3", "G3", "D3", "A2", "E2")))
    assert Neck("bass").tuning[-1] == parse_note("E1")
    assert Neck(frets=24).highest == parse_note("E6")


def test_a_capo_takes_away_what_lies_under_it():
    """MusicXML 4.0, staff-details/capo: it raises the open tuning by so many half steps."""
    neck = Neck(capo=3)
    assert neck.places(64) == [(2, 5), (3, 9), (4, 14), (5, 19)]
    assert neck.lowest == 43
    assert neck.lost == (40, 41, 42)
    assert parse_shape("x65343", neck) == (3, 4, 3, 5, 6, -1)
    assert parse_shape("055400", neck)[0] == 3
    assert "with the capo at 3" in neck.why_no_place(41)
    assert "an octave up, F3, can be played" in neck.why_no_place(41)


@pytest.mark.parametrize("name", TUNINGS)
def test_usual_tunings_can_be_strung(name):
    """Each tuning makes a neck, and its notes from the low string up read as the same tuning."""
    assert Neck(name).tuning == parse_tuning(TUNINGS[name])


@pytest.mark.parametrize(
    ("about", "message"),
    [
        ({"tuning": ()}, "a tuning of 0 strings"),
        ({"tuning": " "}, "without strings"),
        ({"tuning": "opn g"}, "did you mean 'open G'"),
        ({"tuning": "zither"}, "no tuning is called 'zither'"),
        ({"tuning": "E2 A2 D3 G3 B3 E5"}, "strings 1 and 2 are tuned to E5 and B3"),
        ({"capo": 22}, "a capo at fret 22 of a neck with 22"),
        ({"capo": -1}, "a capo at fret -1"),
        ({"frets": 0}, "a neck of 0 frets"),
        ({"scale_mm": 0.0}, "scale_mm is 0.0"),
    ],
)
def test_necks_that_cannot_be(about, message):
    """The error says what is wrong, and what would be right."""
    with pytest.raises(ArrangeError, match=message):
        Neck(**about)


def test_shapes_as_text():
    """The low string comes first; there are separators if a fret has two digits."""
    neck = Neck()
    for text in ("x32010", "x-10-12-12-12-x", "022100"):
        assert format_shape(parse_shape(text, neck)) == text
    with pytest.raises(ArrangeError, match="has 5 strings and the neck has 6"):
        parse_shape("x3201", neck)
    with pytest.raises(ArrangeError, match="'q' on string 6"):
        parse_shape("q32010", neck)
    with pytest.raises(ArrangeError, match="fret 30 on string 5"):
        parse_shape("x-30-x-x-x-x", neck)
    assert "below the lowest open string, E2" in neck.why_no_place(39)
    assert neck.why_no_place(40) == ""
    assert neck.places("E2") == neck.places(40) == [(6, 0)]
    assert neck.why_no_place("Eb2") == neck.why_no_place(39)


def test_a_short_drone_string_sounds_open_only():
    """A five-string banjo, gDGBD, has a fifth string that is short and above the first (common
    practice): its G4 is there open, and at fret 5 of string 1, and no A4 lies on it.
    """
    banjo = Neck("G4 D3 G3 B3 D4", frets=22)
    assert banjo.short_string == 5
    assert banjo.places(67) == [(1, 5), (2, 8), (3, 12), (4, 17), (5, 0)]
    assert (5, 2) not in banjo.places(69)
    assert banjo.highest == 62 + 22
    with pytest.raises(ArrangeError, match="fret 2 on string 5, a short drone string"):
        check_shape((0, 0, 0, 0, 2), banjo)
    assert Neck("five-string bass").short_string == 0
