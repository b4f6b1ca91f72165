"""A pitch has one name, as the key spells it, wherever it is printed.

B major has F# C# G# D# A# (five sharps; theory of the circle of fifths), so that 44 is G#2 and
63 D#4 there, and neither Ab2 nor Eb4.
"""

from __future__ import annotations

import matplotlib.pyplot as plt
import pytest
from songs import song

from arrange import plots
from arrange.formats.chart import read_chart
from arrange.guitar.fingering import finger_part
from arrange.guitar.necks import Neck
from arrange.guitar.shape_names import name_shape
from arrange.report.studying import study
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import moved_chord
from arrange.theory.pitch import moved_key

CHART = """\
key: B major
part: Guitar 1; capo 2
section: A
chords   | B      | G#m    | D#m    |
Guitar 1 | x24442 | 466444 | xx4322 |
section: B
key: Eb major
chords   | Ab     |
Guitar 1 | 466544 |
"""


@pytest.fixture(scope="module")
def both_keys():
    return read_chart(CHART.encode())


def test_a_song_names_a_pitch_by_the_key_of_the_moment(both_keys):
    """There are three bars of B major and one of Eb major; over the song the key that holds longest
    counts.
    """
    assert both_keys.main_key == "B major"
    assert [both_keys.key_at(onset) for onset in (0, 11.9, 12, 99)] == [
        "B major", "B major", "Eb major", "Eb major",
    ]  # fmt: skip
    assert (both_keys.note_name(44, 4), both_keys.note_name(44, 12)) == ("G#2", "Ab2")
    assert both_keys.note_name(63) == "D#4"
    without = song(("Guitar", "C3", 0, 4))
    assert (without.main_key, without.note_name(63)) == (None, "Eb4")


def test_the_report_and_the_ranges_spell_as_the_findings(tmp_path):
    path = tmp_path / "b.txt"
    path.write_text(
        "key: B major\npart: Guitar 1\npart: Guitar 2\nsection: A\nchords | G#m |\n"
        "Guitar 1 | G#2,D#3,B3,D#4 |\nGuitar 2 | G#3,D#5 |\n",
        encoding="utf-8",
    )
    own = study(path)
    page = own._repr_html_()
    assert "G#2 to D#4" in page
    assert "Ab2" not in page
    assert "Eb4" not in page
    ax = plots.plot_ranges(own.song)
    assert not {"Ab2", "Eb4", "Ab3", "Eb5"} & {tick.get_text() for tick in ax.get_yticklabels()}
    plt.close("all")


def test_what_cannot_be_played_is_named_in_the_key():
    chart = "key: B major\npart: Guitar 1\nsection: A\nGuitar 1 | D#2 | F#2,G#2 |\n"
    problems = finger_part(read_chart(chart.encode()), "Guitar 1")["problem"].dropna()
    assert problems.iloc[0].startswith("measure 1: D#2 lies below")
    assert "D#3, can be played" in problems.iloc[0]
    assert "F#2 and G#2" in problems.iloc[1]
    assert Neck().why_no_place(39).startswith("Eb2 lies below")


def test_a_shape_is_spelled_by_the_key_or_plainly():
    """The barre at the fourth fret: in E major G#, with B# as its third; at capo 4 an E shape."""
    assert str(name_shape("466544")).startswith("466544: Ab2 Eb3 Ab3 C4 Eb4 Ab4: Ab,")
    assert name_shape("466544", key="E major").notes[:4] == ("G#2", "D#3", "G#3", "B#3")
    assert name_shape("466544", key="E major").name == "G#"
    (best, *_) = name_shape("466444", Neck(capo=2), "B major").readings
    assert (best.symbol, best.shape_of) == ("G#m", "F#m")  # from a capo at 2, B major is A major


@pytest.mark.parametrize(
    ("symbol", "semitones", "key", "moved"),
    [
        ("D#m7/G#", -2, "A major", "C#m7/F#"),
        ("Gm/Bb", -3, None, "Em/G"),
        ("Bb", 1, None, "B"),
        ("N.C.", -2, "A major", "N.C."),
    ],
)
def test_a_chord_moves_with_a_capo(symbol, semitones, key, moved):
    assert moved_chord(parse_chord(symbol), semitones, key) == parse_chord(moved)


def test_a_key_moves_to_the_one_with_the_fewest_signs():
    assert moved_key("B major", -2) == "A major"
    assert moved_key("B major", -4) == "G major"
    assert moved_key("C major", 6) == "F# major"
    assert moved_key("D minor", 2) == "E minor"
    assert moved_key(None, 3) is None
    assert moved_key("Gb major", 12) == "Gb major"
