"""The text chart: everything that it can say, checked by hand; both demos; reading and writing.

Sources: worked by hand from the grammar in datasets/README.md; 'common practice' where it is a
fact of the trade.
"""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import music21
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import arrange as ar
from arrange.errors import ArrangeError
from arrange.formats.chart import format_chart, read_chart, write_chart
from arrange.formats.chart.header import SETTINGS, TUNINGS
from arrange.formats.chart.items import WORDS
from arrange.formats.chart.tablature import STEPS
from arrange.tables.schemas import SETUPS
from arrange.tables.setups import where_otherwise
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

DATASETS = Path(__file__).parent.parent / "datasets"
CORPUS = Path(music21.__file__).parent / "corpus"
SUITE = Path(music21.__file__).parent / "musicxml" / "lilypondTestSuite"
TABLES = ("parts", "sections", "measures", "chords", "notes", "setups")
TOP = """part: Guitar 1; standard tuning
part: Guitar 2; standard tuning; capo 3; frets from the capo
part: Guitar 3; standard tuning; capo 3
part: Voice
"""


def chart(text: str, top: str = "") -> Song:
    """Return a song from rows of one section, in 4/4 unless `top` says otherwise."""
    return read_chart(f"{top}{TOP}section: Verse\n{text}\n".encode())


def heard(song: Song, part: str = "Guitar 1") -> list[tuple[float, float, str]]:
    """Return onset, duration and notes of what sounds together, such as (0.0, 4.0, "E2 B2")."""
    notes = song.notes[song.notes["part"] == part]
    groups: dict[tuple[float, float], list[str]] = {}
    for onset, duration, pitch in zip(
        notes["onset"], notes["duration"], notes["pitch"], strict=True
    ):
        groups.setdefault((onset, duration), []).append(
            "hit" if np.isnan(pitch) else note_name(pitch)
        )
    return [(*time, " ".join(names)) for time, names in groups.items()]


def assert_same(one: Song, other: Song) -> None:
    """Check that all tables are equal, except for the ids of notes."""
    assert one.title == other.title
    assert one.players == other.players
    for name in TABLES:
        left, right = getattr(one, name), getattr(other, name)
        if name == "notes":
            columns = [column for column in left.columns if column != "source_id"]
            order = ["onset", "part", "pitch", "duration", "voice", "string", "grace", "technique"]
            left, right = (
                frame[columns].sort_values(order).reset_index(drop=True) for frame in (left, right)
            )
        pd.testing.assert_frame_equal(left, right)


def again(song: Song) -> Song:
    """Write the song as a chart and read it."""
    return read_chart(format_chart(song).encode())


# ---------------------------------------------------------------- items and their time


def test_shape_is_held_for_the_bar():
    """Common practice: x32010 is a C chord, low string first."""
    assert heard(chart("Guitar 1 | x32010 |")) == [(0, 4, "C3 E3 G3 C4 E4")]


def test_shape_gives_strings_and_frets():
    """Strings count from the highest; an x is no note."""
    notes = chart("Guitar 1 | x32010 |").notes
    assert notes["string"].tolist() == [5, 4, 3, 2, 1]
    assert notes["fret"].tolist() == [3, 2, 0, 1, 0]


def test_frets_of_two_digits_stand_apart():
    """Frets of ten and more: the tenth fret of G is F4, the eleventh of B is Bb4."""
    assert heard(chart("Guitar 1 | x-x-x-10-11-x |")) == [(0, 4, "F4 Bb4")]


def test_frets_from_the_nut_and_from_the_capo():
    """Common practice: the same grip behind a capo at 3, called from the nut or from the capo.

    A G shape sounds Bb; as played, frets are 653336 from the nut.
    """
    song = chart("Guitar 2 | 320003 |\nGuitar 3 | 653336 |")
    sound = [(0, 4, "Bb2 D3 F3 Bb3 D4 Bb4")]
    assert heard(song, "Guitar 2") == heard(song, "Guitar 3") == sound
    for part in ("Guitar 2", "Guitar 3"):
        assert song.notes.loc[song.notes["part"] == part, "fret"].tolist() == [6, 5, 3, 3, 3, 6]


def test_note_names_sound_as_written():
    """C4 is middle C, 60; a quarter tone up is half a semitone."""
    song = chart("Voice | C4 Bb3,D4 F#4+ . |")
    assert song.notes["pitch"].tolist() == [60, 58, 62, 66.5]
    assert song.notes["duration"].tolist() == [1, 1, 1, 1]


def test_hit_has_no_pitch():
    """A hit is an unpitched stroke."""
    assert heard(chart("Guitar 1 | hit . |")) == [(0, 2, "hit")]


def test_items_share_the_bar():
    """Two items take half a bar each, eight an eighth each; rests and holds count as items."""
    assert heard(chart("Voice | C4 D4 | E4 ~ ~ F4 . . G4 ~ |"), "Voice") == [
        (0, 2, "C4"),
        (2, 2, "D4"),
        (4, 1.5, "E4"),
        (5.5, 0.5, "F4"),
        (7, 1, "G4"),
    ]


def test_counts():
    """1 is the start, 2& half a beat behind 2, 2e and 2a its quarters; 3+1/3 a triplet's second."""
    song = chart("Voice | 1: C4 2e: D4 2&: E4 2a: F4 3+1/3: G4 4: . |")
    assert heard(song, "Voice") == [
        (0, 1.25, "C4"),
        (1.25, 0.25, "D4"),
        (1.5, 0.25, "E4"),
        (1.75, pytest.approx(7 / 12), "F4"),
        (pytest.approx(7 / 3), pytest.approx(2 / 3), "G4"),
    ]


def test_first_item_may_begin_later():
    """There is silence before the first count."""
    assert heard(chart("Voice | 2: C4 |"), "Voice") == [(1, 3, "C4")]


def test_slash_strikes_again():
    """A slash strikes the same shape again."""
    sound = "E2 B2 E3"
    assert heard(chart("Guitar 1 | 022xxx / . / |")) == [
        (0, 1, sound),
        (1, 1, sound),
        (3, 1, sound),
    ]


def test_held_over_the_bar_line():
    """One note is held for six beats."""
    assert heard(chart("Voice | C4 | ~ . |"), "Voice") == [(0, 6, "C4")]


def test_held_over_into_another_section():
    """The held note continues into the next section."""
    text = f"{TOP}section: Verse\nVoice | C4 |\nsection: Chorus\nVoice | ~ D4 |\n"
    song = read_chart(text.encode())
    assert heard(song, "Voice") == [(0, 6, "C4"), (6, 2, "D4")]


def test_pushed_over_the_bar_line():
    """The second shape sounds an eighth early and is tied for 4.5 beats; the first is cut."""
    song = chart("Voice | C4 | D4 pushed |")
    assert heard(song, "Voice") == [(0, 3.5, "C4"), (3.5, 4.5, "D4")]
    assert song.notes["measure"].tolist() == [1, 1]


def test_percent_is_the_bar_before():
    """A percent sign repeats the bar before, also twice, and with tablature."""
    song = chart("Voice | C4 D4 | % | % |")
    assert [onset for onset, *_ in heard(song, "Voice")] == [0, 2, 4, 6, 8, 10]


def test_eighths_quarters_sixteenths():
    """The sign says how often a shape is struck in a bar of four beats."""
    for word, count in (("quarters", 4), ("eighths", 8), ("sixteenths", 16)):
        sound = heard(chart(f"Voice | C4 {word} |"), "Voice")
        assert [onset for onset, *_ in sound] == [4 / count * index for index in range(count)]
        assert {duration for _, duration, _ in sound} == {4 / count}


def test_picked_up_and_down():
    """A picked shape sounds string by string in eighths, from the low or from the high string."""
    up = heard(chart("Guitar 1 | xx023x picked-up . |"))
    assert [name for *_, name in up] == ["D3", "A3", "D4", "D3"]
    down = heard(chart("Guitar 1 | xx023x picked-down . |"))
    assert [name for *_, name in down] == ["D4", "A3", "D3", "D4"]


def test_off_beats():
    """Off-beats lie half-way between the counts, or on the third eighth if a count has three."""
    assert [at for at, *_ in heard(chart("Voice | C4 off-beats |"), "Voice")] == [
        0.5,
        1.5,
        2.5,
        3.5,
    ]
    jig = chart("Voice | C4 off-beats |", "meter: 6/8 in two\n")
    assert [at for at, *_ in heard(jig, "Voice")] == [1, 2.5]


@pytest.mark.parametrize(
    ("word", "technique"),
    [
        ("slide", "slide"),
        ("hammer-on", "hammer-on"),
        ("pull-off", "pull-off"),
        ("muted", "muted"),
        ("let-ring", "let ring"),
        ("palm-mute", "palm mute"),
        ("bend", "bend"),
        ("harmonic", "harmonic"),
        ("tap", "tap"),
        ("vibrato", "vibrato"),
        ("cue", "cue"),
    ],
)
def test_technique(word, technique):
    """A technique after an item is for that item; after a label it is for the whole row."""
    song = chart(f"Guitar 1 | xxx0xx {word} xxxx0x |")
    assert song.notes["technique"].fillna("").tolist() == [technique, ""]
    song = chart(f"Guitar 1, {word} | xxx0xx xxxx0x |")
    assert song.notes["technique"].tolist() == [technique, technique]


def test_grace_note_comes_before_the_next():
    """A grace note takes no time."""
    song = chart("Voice | C4 D4 grace E4 |")
    assert song.notes["grace"].tolist() == [False, True, False]
    assert song.notes["onset"].tolist() == [0, 2, 2]
    assert song.notes["duration"].tolist() == [2, 0, 2]


def test_voices():
    """A bass is held under a line; rows of one voice may also sound together."""
    song = chart("Guitar 1 | 0xxxxx |\nGuitar 1, voice 2 | xxxx0x xxxx1x |")
    assert song.notes["voice"].tolist() == ["1", "2", "2"]
    song = chart("Voice | C4 |\nVoice | E4 F4 |")
    assert heard(song, "Voice") == [(0, 4, "C4"), (0, 2, "E4"), (2, 2, "F4")]


# ---------------------------------------------------------------- meter, tempo, key


def test_six_eight_in_six_and_in_two():
    """Common practice: 6/8 has six eighths, felt in two."""
    six = chart("Voice | 1: C4 4: D4 |", "meter: 6/8 in six\n")
    two = chart("Voice | 1: C4 2: D4 |", "meter: 6/8 in two\n")
    plain = chart("Voice | 1: C4 4: D4 |", "meter: 6/8\n")
    for song in (six, two, plain):
        assert heard(song, "Voice") == [(0, 1.5, "C4"), (1.5, 1.5, "D4")]
        assert song.measures["meter"].tolist() == ["6/8"]
        assert song.duration == 3


def test_two_chords_in_a_bar_of_six_eight():
    """Each chord lasts half the bar, however the bar is counted."""
    for counted in ("in six", "in two"):
        song = chart("chords | G C |", f"meter: 6/8 {counted}\n")
        assert song.chords["onset"].tolist() == [0, 1.5]


@pytest.mark.parametrize(
    ("text", "tempo"),
    [
        ("102", 102),
        ("64 dotted quarters", 96),
        ("120 eighths", 60),
        ("60 halfs a minute", 120),
        ("92.5", 92.5),
    ],
)
def test_tempo_has_its_beat_unit(text, tempo):
    """64 dotted quarters a minute are 96 quarters."""
    assert chart("Voice | C4 |", f"tempo: {text}\n").measures["tempo"].tolist() == [tempo]


def test_changes_inside_a_section():
    """Key, meter and tempo hold from the next row on."""
    song = chart(
        "chords | 1 |\n\nkey: Bb major\nmeter: 6/8 in two\ntempo: 64 dotted quarters\nchords | 1 |",
        "key: G major\ntempo: 100\n",
    )
    assert song.measures["key"].tolist() == ["G major", "Bb major"]
    assert song.measures["meter"].tolist() == ["4/4", "6/8"]
    assert song.measures["tempo"].tolist() == [100, 96]
    assert song.measures["duration"].tolist() == [4, 3]
    assert song.chords["symbol"].tolist() == ["G", "Bb"]


def test_pickup():
    """The pickup is one beat before the first whole bar."""
    song = chart("length: 1 beat\nVoice | C4 |\n\nlength: full\nVoice | D4 |")
    assert song.measures["duration"].tolist() == [1, 4]
    assert heard(song, "Voice") == [(0, 1, "C4"), (1, 4, "D4")]


def test_spellings_of_keys():
    """Keys are spelled as players write them."""
    for text, key in (("Bb", "Bb major"), ("Dm", "D minor"), ("e minor", "E minor"),
                      ("B flat major", "Bb major"), ("F sharp minor", "F# minor"),
                      ("A dorian", "A dorian")):  # fmt: skip
        assert chart("Voice | C4 |", f"key: {text}\n").measures["key"].tolist() == [key]


# ---------------------------------------------------------------- chords


def test_chords_hold_to_the_next():
    """Two chords share a bar, then one holds for two bars."""
    song = chart("chords | G C | D | ~ |")
    assert song.chords["symbol"].tolist() == ["G", "C", "D"]
    assert song.chords["duration"].tolist() == [2, 2, 8]


def test_chords_at_uneven_beats():
    """Chords at uneven beats are placed by their counts."""
    song = chart("chords | 1: G 2&: C/E 4: N.C. |")
    assert song.chords["onset"].tolist() == [0, 1.5, 3]
    assert song.chords["symbol"].tolist() == ["G", "C/E", "N.C."]


def test_numbers_in_the_key():
    """In D: 1 4 5 are D, G, A; 6m is Bm; 5/7 is A over C#; 57 is A7 (common practice)."""
    song = chart("chords | 1 4 5 6m | 5/7 57 |", "key: D major\n")
    assert song.chords["symbol"].tolist() == ["D", "G", "A", "Bm", "A/C#", "A7"]
    assert song.chords["degree"].tolist() == ["1", "4", "5", "6m", "5/7", "57"]


# ---------------------------------------------------------------- sections


def sections(text: str, top: str = "") -> Song:
    """Return a song from whole sections."""
    return read_chart(f"{top}{TOP}{text}\n".encode())


def test_sections_in_playing_order():
    """Sections come in playing order, with their kinds."""
    song = sections("section: Intro\nchords | G |\nsection: Verse 1\nchords | C | D |")
    assert song.sections["section"].tolist() == ["Intro", "Verse 1"]
    assert song.sections["kind"].tolist() == ["intro", "verse"]
    assert song.sections["first_measure"].tolist() == [1, 2]


def test_played_twice():
    """As in a score with repeat signs, Verse 1 and Verse 2 keep the same bar numbers."""
    song = sections("section: Verse; played twice\nchords | G | C |")
    assert song.sections["section"].tolist() == ["Verse 1", "Verse 2"]
    assert song.sections["pass"].tolist() == [1, 2]
    assert song.measures["written"].tolist() == ["1", "2", "1", "2"]


def test_third_and_fourth_time():
    """The row replaces the plain one in these repetitions."""
    song = sections(
        "section: Verse; played 4 times\nVoice | C4 |\nVoice, third and fourth time | D4 |"
    )
    assert [name for *_, name in heard(song, "Voice")] == ["C4", "C4", "D4", "D4"]


def test_from_the_second_time():
    """Before that time the part rests if it has no plain row."""
    song = sections("section: Verse; played 3 times\nVoice, from the second time | C4 |")
    assert [onset for onset, *_ in heard(song, "Voice")] == [4, 8]


def test_repeat_with_endings():
    """A repeat with two endings is played as A B A C."""
    song = sections("section: Verse\nVoice |: C4 |1. D4 :|2. E4 |")
    assert [name for *_, name in heard(song, "Voice")] == ["C4", "D4", "C4", "E4"]
    assert song.measures["written"].tolist() == ["1", "2", "1", "3"]


def test_endings_and_times_together():
    """Rows for certain times are played with the ending of that time."""
    song = sections(
        "section: Verse\nchords |: G |1. C :|2. D |\nVoice | C4 | D4 | E4 |\n"
        "Voice, second time | C5 | D5 | E5 |"
    )
    assert [name for *_, name in heard(song, "Voice")] == ["C4", "D4", "C5", "E5"]


def test_repeated_three_times():
    """A number after the sign says how often the section is played."""
    song = sections("section: Vamp\nVoice |: C4 :|x3")
    assert [onset for onset, *_ in heard(song, "Voice")] == [0, 4, 8]


def test_as_an_earlier_section():
    """The earlier section is repeated whole, with its changes of key."""
    song = sections(
        "section: Chorus 1\nVoice | C4 | D4 |\nGuitar 1 | x32010 | xx0232 |\n"
        "section: Chorus 2; as Chorus 1"
    )
    first, second = (song.notes[song.notes["section"] == f"Chorus {n}"] for n in (1, 2))
    assert first["pitch"].tolist() == second["pitch"].tolist()
    assert (second["onset"].to_numpy() - first["onset"].to_numpy() == 8).all()


def test_as_an_earlier_section_with_rows_replaced():
    """The other parts play as before."""
    song = sections(
        "section: Chorus 1\nVoice | C4 |\nGuitar 1 | x32010 |\n"
        "section: Chorus 2; as Chorus 1\nGuitar 1 | xxx0xx |"
    )
    assert heard(song, "Voice") == [(0, 4, "C4"), (4, 4, "C4")]
    assert heard(song)[-1] == (4, 4, "G3")


def test_who_has_no_row_rests():
    """In the second section the guitar rests."""
    song = sections("section: A\nVoice | C4 |\nGuitar 1 | x32010 |\nsection: B\nVoice | D4 |")
    assert heard(song)[-1][0] == 0


def test_rows_go_on_below():
    """A second system continues the same section; the voice pauses in the first."""
    song = sections("section: Verse\nGuitar 1 | 0xxxxx |\n\nGuitar 1 | 1xxxxx |\nVoice | C4 |")
    assert heard(song) == [(0, 4, "E2"), (4, 4, "F2")]
    assert heard(song, "Voice") == [(4, 4, "C4")]


def test_remarks_and_comments_are_for_the_players():
    """Remarks and comments change nothing; a sharp sign is no comment."""
    song = sections(
        "# a comment\nsection: Verse  # one more\nremark: watch the singer | slow\n"
        "chords | F#m |  # a third\nremark: F#\nVoice | C4 |"
    )
    assert song.chords["symbol"].tolist() == ["F#m"]
    assert heard(song, "Voice") == [(0, 4, "C4")]


def test_printed_numbers():
    """Printed numbers are written where they do not simply continue."""
    song = sections(
        "section: A; numbered 79-80, 80a\nchords | G | C | D |\nsection: B\nchords | G |"
    )
    assert song.measures["written"].tolist() == ["79", "80", "80a", "1"]


def test_part_line():
    """A part line may say everything about a part, in any order."""
    song = read_chart(
        b"part: Lead; player Ann; edge; electric guitar; echo dotted eighth; tuning D2 A2 D3 G3 B3 "
        b"E4; level -3 dB; capo 2; program 28\nsection: Verse\nLead | 222222 |\n"
    )
    part = song.parts.iloc[0]
    assert part["tuning"] == (64, 59, 55, 50, 45, 38)
    assert (part["instrument"], part["family"], part["player"]) == (
        "electric guitar", "guitar", "Ann")  # fmt: skip
    assert (part["drive"], part["echo"], part["level"]) == ("edge", "dotted eighth", -3)
    assert (part["capo"], part["program"], part["transpose"]) == (2, 28, -12)


# ---------------------------------------------------------------- tablature


def test_players_are_named_on_top():
    """As on the command line, in the form that is read there."""
    song = chart("Voice | C4 |", "player:  Ann;  acoustic guitar; capo none or 4\nplayer: Ben\n")
    assert song.players == ("Ann; acoustic guitar; capo none or 4", "Ben")
    assert ar.song_players(song)[0] == ar.Player(
        "Ann", capos=(0, 4), sounds=("clean",), echo=False, instrument="acoustic guitar"
    )
    assert "player: Ann; acoustic guitar; capo none or 4\nplayer: Ben\n" in format_chart(song)


SOUNDS = """sound: Guitar 1; overdriven; echo eighth; plays Hook + Drive left
sound: Guitar 2; capo none
Guitar 1 | 320003 |
Guitar 2 | 320003 |

section: Chorus; as Verse
sound: Guitar 2; capo 5

section: Outro; as Chorus
sound: Guitar 1; no echo; edge
sound: Guitar 2; usual
"""


def test_a_part_is_otherwise_in_a_section():
    """A line for each; a section that is as another takes them over, and its own lines go first."""
    song = chart(SOUNDS)
    assert song.setups.fillna("").to_numpy().tolist() == [
        ["Guitar 1", "Verse", "overdriven", "eighth", 0, "Hook + Drive left"],
        ["Guitar 1", "Chorus", "overdriven", "eighth", 0, "Hook + Drive left"],
        ["Guitar 1", "Outro", "edge", "", 0, ""],
        ["Guitar 2", "Verse", "clean", "", 0, ""],
        ["Guitar 2", "Chorus", "clean", "", 5, ""],
    ]
    assert song.parts.set_index("part").loc["Guitar 2", "capo"] == 3
    assert_same(again(song), song)


def test_frets_count_from_the_capo_of_the_section():
    """Guitar 2 counts from the capo: none, then at 5, then at 3, its own."""
    notes = chart(SOUNDS).notes
    lowest = notes[(notes["part"] == "Guitar 2") & (notes["string"] == 6)]
    assert lowest["fret"].tolist() == [3, 8, 6]
    assert lowest["pitch"].tolist() == [43, 48, 46]


def test_frets_from_the_nut_stay_where_they_are():
    """Guitar 3 counts from the nut: the same frets sound the same."""
    song = chart("sound: Guitar 3; capo none\nGuitar 3 | 320003 |\n")
    assert song.notes["fret"].tolist() == [3, 2, 0, 0, 0, 3]


def test_tablature_counts_from_the_capo_of_the_section():
    """Below a sound line with another capo."""
    tab = "Guitar 2, tab in quarters\n" + "\n".join(f"{name} |-0--|" for name in "EBGDAE")
    song = chart(f"{tab}\n\nsection: Bridge\nsound: Guitar 2; capo 5\n{tab}")
    assert song.notes["fret"].tolist() == [3] * 6 + [5] * 6


def test_a_section_that_is_played_twice_has_its_sound_both_times():
    """And so it is after repeat signs, whichever way round."""
    text = "sound: Voice; plays Lead\nVoice |: C4 |1. D4 :|2. E4 |\n\nsection: Tag\nVoice | C4 |"
    song = chart(text)
    assert song.setups["section"].tolist() == ["Verse 1", "Verse 2"]
    assert song.setups["layers"].tolist() == ["Lead", "Lead"]


def test_a_sound_line_may_stand_between_rows():
    """It does not part the rows above and below it, as a remark does not."""
    song = chart("Guitar 1 | 320003 |\nsound: Guitar 1; edge\nGuitar 2 | 320003 |")
    assert len(song.measures) == 1
    assert song.setups["drive"].tolist() == ["edge"]


def test_tablature():
    """Eight steps are eighths; a note lasts to the next on any string, a point is silence."""
    song = chart("""Guitar 1, tab in eighths
E|--------|
B|----1-.-|
G|--0h2---|
D|--------|
A|3-------|
E|--------|""")
    assert heard(song) == [(0, 1, "C3"), (1, 1, "G3"), (2, 1, "A3 C4")]
    assert song.notes["technique"].fillna("").tolist() == ["", "hammer-on", "", ""]


def test_tablature_with_three_signs_a_step():
    """Frets of two digits fit, and a step may contain the technique that leads to the next note."""
    rows = "\n".join(f"{name}|{'-' * 12}|" for name in "BGDAE")
    song = chart(f"Guitar 1, let-ring, tab in quarters\nE|10/12-x--.--|\n{rows}")
    assert heard(song) == [(0, 1, "D5"), (1, 1, "E5"), (2, 1, "E4")]
    assert song.notes["technique"].tolist() == ["slide, let ring", "let ring", "let ring, muted"]


def test_tablature_counts_frets_as_its_part_does():
    """0 is the open string behind the capo if the part counts from the capo."""
    rows = "\n".join(f"{name}|0---|" for name in "EBGDAE")
    song = chart(f"Guitar 2, tab in quarters\n{rows}")
    assert heard(song, "Guitar 2") == [(0, 4, "G2 C3 F3 Bb3 D4 G4")]


def test_tablature_in_triplets_beside_rows():
    """Twelve steps in a bar of four are triplets."""
    rows = "\n".join(f"{name}|{'5-----------' if name == 'A' else '-' * 12}|" for name in "EBGDA")
    song = chart(f"chords | G |\nGuitar 1, tab in eighth triplets\n{rows}\nE|-0----------|")
    assert heard(song) == [
        (0, pytest.approx(1 / 3), "D3"),
        (pytest.approx(1 / 3), pytest.approx(11 / 3), "E2"),
    ]


# ---------------------------------------------------------------- the page on charts


def page_examples() -> list[str]:
    """Return the charts that datasets/README.md shows."""
    text = (DATASETS / "README.md").read_text(encoding="utf-8")
    return re.findall(r"^```chart\n(.*?)^```", text, re.S | re.M)


@pytest.mark.parametrize("example", page_examples(), ids=lambda text: text.splitlines()[0])
def test_examples_on_the_page_can_be_read(example):
    """They can be read as they stand, and written again."""
    song = read_chart(example.encode())
    assert not [notice for notice in song.notices if "fingers" in notice]
    assert_same(song, again(song))


def test_first_example_on_the_page():
    """Counted by hand: a verse twice, a chorus twice, a verse."""
    song = read_chart(page_examples()[0].encode())
    assert song.sections["section"].tolist() == [
        "Verse 1", "Verse 2", "Chorus 1", "Chorus 2", "Last verse"]  # fmt: skip
    assert song.chords["symbol"].tolist()[:5] == ["G", "Em", "C", "D", "N.C."]
    assert song.notes.loc[song.notes["part"] == "Guitar 2", "section"].iloc[0] == "Verse 2"


def test_mistake_on_the_page():
    """The message shown on the page is the one that is raised."""
    text = (DATASETS / "README.md").read_text(encoding="utf-8")
    shown = re.search(r"^```text\n(.*?)\n```", text, re.S | re.M)[1]
    line = shown.splitlines()[1][4:]
    with pytest.raises(ArrangeError) as caught:
        read_chart(("\n" * 11 + f"part: Guitar 1\nsection: A\n{line}\n").encode(), "song.txt")
    assert str(caught.value) == shown


def test_every_word_is_on_the_page():
    """Every word that a chart may contain is on the page."""
    text = (DATASETS / "README.md").read_text(encoding="utf-8").lower()
    for word in (*WORDS, *TUNINGS, *STEPS, *SETTINGS):
        assert word.lower() in text, word


# ---------------------------------------------------------------- demos, and back again


def test_demo_chart_is_the_demo_score():
    """The chart typed by a person and the MusicXML give equal tables, except for ids of notes."""
    score = ar.read(DATASETS / "low-water.musicxml")
    typed = read_chart((DATASETS / "low-water.txt").read_bytes())
    assert_same(score, typed)
    assert typed.notices == ()


def test_second_demo():
    """A pickup, then 54 bars: an eighth, 8 bars four times, 4 + 4, 3 and one of 9/8, 8, 2."""
    song = read_chart((DATASETS / "tarrow-weir.txt").read_bytes())
    assert song.notices == ()
    assert song.duration == 0.5 + (32 + 8 + 3 + 8 + 2) * 3 + 4.5
    assert song.sections["section"].tolist() == [
        "Lead-in", "Tune", "Tune (2)", "Tune (3)", "Tune (4)", "Turn", "Turn (2)", "Middle",
        "Last time", "End"]  # fmt: skip
    assert song.chords["symbol"].tolist()[:5] == ["D", "A/C#", "Bm", "G", "A"]
    second = song.notes[song.notes["part"] == "Guitar 2"]
    assert second["section"].iloc[0] == "Tune (2)"
    assert second["pitch"].tolist()[:5] == [50, 54, 57, 62, 66]  # a C shape picked, sounding D


@pytest.mark.parametrize("name", ["low-water.txt", "tarrow-weir.txt"])
def test_demo_comes_back(name):
    """Reading, writing and reading again gives the same Song and, from then on, the same text."""
    song = read_chart((DATASETS / name).read_bytes())
    back = again(song)
    assert_same(song, back)
    assert format_chart(back) == format_chart(song)


def round_trip_files() -> list[Path]:
    """Return some scores of music21's corpus, with one voice and with several, long and odd."""
    names = [
        "bach/bwv66.6.mxl",
        "bach/bwv1.6.mxl",
        "beethoven/opus18no1/movement1.mxl",
        "haydn/opus74no1/movement3.mxl",
        "leadSheet/fosterBrownHair.mxl",
        "mozart/k155/movement2.mxl",
        "schoenberg/opus19/movement2.mxl",
        "schubert/lindenbaum.mxl",
        "schumann_clara/opus17/movement3.xml",
    ]
    suite = ["21c-Chords-ThreeNotesDuration.xml", "24a-GraceNotes.xml", "45a-SimpleRepeat.xml",
             "45b-RepeatWithAlternatives.xml", "71e-TabStaves.xml", "71f-AllChordTypes.xml",
             "42a-MultiVoice-TwoVoicesOnStaff-Lyrics.xml", "11a-TimeSignatures.xml"]  # fmt: skip
    paths = [CORPUS / name for name in names] + [SUITE / name for name in suite]
    return [path for path in paths if path.exists()]


@pytest.mark.sampled
@pytest.mark.parametrize("path", round_trip_files(), ids=lambda path: path.name)
def test_scores_come_back(path):
    """A chart keeps what MusicXML gives; a change on a bar line comes back after it."""
    song = ar.read(path)
    back = again(song)
    own = song.notes.assign(voice=song.notes["voice"].fillna("1"))
    starts = song.measures["onset"].to_numpy()
    own["measure"] = np.searchsorted(starts, own["onset"], side="right")
    own["section"] = song.measures["section"].to_numpy()[own["measure"] - 1]
    own["section"] = own["section"].astype(song.notes["section"].dtype)
    assert_same(dataclasses.replace(song, notes=own, title=back.title), back)


def test_there_are_scores_to_try():
    """The list of scores is not empty, as it would be if the corpus moved."""
    assert len(round_trip_files()) >= 12


TUNING = (64, 59, 55, 50, 45, 40)
PLAYERS = ((), ("Ann; acoustic guitar; capo none or 4; no echo", '"Ben: b": clean, edge', "Cy"))
TECHNIQUES = (None, "slide", "let ring", "palm mute", "hammer-on, vibrato")


def setup(part: str, section: str, capo: int) -> st.SearchStrategy[tuple]:
    """A row of the setups table."""
    return st.tuples(
        st.just(part), st.just(section), st.sampled_from(["clean", "edge", "distorted"]),
        st.sampled_from([None, "dotted eighth", "quarter"]), st.just(capo),
        st.sampled_from([None, None, "Hook", 'Hook + "Pad + 2" + Low: b']),
    )  # fmt: skip


@st.composite
def songs(draw) -> Song:
    """Draw a song that a chart can hold: two parts, some sections, any rhythm on a grid."""
    meters = draw(st.lists(st.sampled_from(["4/4", "6/8", "3/4", "5/8"]), min_size=1, max_size=6))
    length = {"4/4": 4.0, "6/8": 3.0, "3/4": 3.0, "5/8": 2.5}
    durations = [length[meter] for meter in meters]
    onsets = np.concatenate([[0.0], np.cumsum(durations)])
    count = len(meters)
    cut = draw(st.integers(0, count - 1))
    labels = ["Verse 1"] * cut + ["Chorus (2)"] * (count - cut)
    heads = sorted({0, cut} - {count})
    capo = draw(st.sampled_from([0, 3]))
    here = [draw(st.sampled_from([capo, capo, 0, 2, 5])) for _ in heads]
    grid = draw(st.sampled_from([4, 6, 5]))
    rows = []
    for part, voice in (("Gtr A", "1"), ("Gtr A", "2"), ("Flute", "1")):
        at = draw(st.integers(0, 4))
        for _ in range(draw(st.integers(0, 10))):
            size = draw(st.integers(1, 9))
            onset, duration = at / grid, size / grid
            if onset + duration > onsets[-1]:
                break
            grace = draw(st.integers(0, 5)) == 0
            measure = int(np.searchsorted(onsets, onset, side="right"))
            technique = draw(st.sampled_from(TECHNIQUES))
            for string in sorted(draw(st.sets(st.integers(1, 6), min_size=1, max_size=4))):
                lowest = here[heads.index(max(head for head in heads if head < measure))]
                fret = draw(st.integers(lowest, 15))
                is_guitar = part == "Gtr A"
                pitch = TUNING[string - 1] + fret if is_guitar else 55 + 2.5 * string
                if not is_guitar and draw(st.integers(0, 9)) == 0:
                    pitch = np.nan
                rows.append(
                    {
                        "part": part, "onset": onset, "duration": 0.0 if grace else duration,
                        "measure": measure, "section": labels[measure - 1],
                        "pitch": float(pitch), "voice": voice,
                        "string": string if is_guitar else pd.NA,
                        "fret": fret if is_guitar else pd.NA, "technique": technique,
                        "grace": grace, "source_id": "x",
                    }
                )  # fmt: skip
            at += 0 if grace and draw(st.booleans()) else size + draw(st.integers(0, 3))
    notes = pd.DataFrame(rows, columns=[
        "part", "onset", "duration", "measure", "section", "pitch", "voice", "string", "fret",
        "technique", "grace", "source_id"])  # fmt: skip
    parts = pd.DataFrame({
        "part": ["Gtr A", "Flute"],
        "instrument": [draw(st.sampled_from(["clean", "guitar"])), None],
        "family": ["guitar", "other"], "tuning": pd.Series([TUNING, None], dtype=object),
        "capo": [capo, 0], "transpose": [-12, draw(st.sampled_from([0, -2]))],
        "drive": [draw(st.sampled_from(["clean", "edge"])), "clean"],
        "echo": [draw(st.sampled_from([None, "dotted eighth"])), None],
        "level": [draw(st.sampled_from([0.0, -3.25])), 0.0],
        "program": pd.array([draw(st.sampled_from([28, None])), None], dtype="Int64"),
        "player": ["Ann", None],
    })  # fmt: skip
    key = draw(st.sampled_from([None, "Bb major", "F# minor"]))
    measures = pd.DataFrame({
        "measure": range(1, count + 1),
        "written": [str(number) for number in draw(st.permutations(range(1, count + 1)))],
        "section": labels, "onset": onsets[:-1], "duration": durations, "meter": meters,
        "key": [key] * count,
        "tempo": draw(st.lists(st.sampled_from([96.0, 100.5]), min_size=count, max_size=count)),
    })  # fmt: skip
    ends = [*heads[1:], count]
    sections = pd.DataFrame({
        "section": [labels[head] for head in heads],
        "kind": [draw(st.sampled_from(["verse", "other", "chorus"])) for _ in heads],
        "pass": [draw(st.integers(1, 3)) for _ in heads],
        "first_measure": [head + 1 for head in heads], "last_measure": ends,
        "onset": [onsets[head] for head in heads],
        "duration": [onsets[end] - onsets[head] for head, end in zip(heads, ends, strict=True)],
    })  # fmt: skip
    empty = chart("Voice | C4 |")
    setups = pd.DataFrame(
        [draw(setup(part, labels[head], at if part == "Gtr A" else 0))
         for part in ("Gtr A", "Flute") for head, at in zip(heads, here, strict=True)],
        columns=SETUPS.names,
    )  # fmt: skip
    return Song(parts=parts, sections=sections, measures=measures,
                chords=empty.chords, notes=notes, title="A # B",
                setups=where_otherwise(setups, parts),
                players=draw(st.sampled_from(PLAYERS)))  # fmt: skip


@settings(max_examples=20, deadline=None)
@given(songs())
def test_any_song_of_what_a_chart_holds_comes_back(song):
    """Song, chart and Song are equal; an instrument named like a setting becomes the label."""
    back = again(song)
    own = song.parts["instrument"].replace("clean", "Gtr A").fillna("Flute")
    parts = song.parts.assign(instrument=own)
    assert_same(dataclasses.replace(song, parts=parts, title="A No. B"), back)
    assert_same(back, again(back))


def test_written_file_is_whole_or_not_there(tmp_path):
    """A label that a chart cannot hold leaves the old file as it was."""
    song = chart("Voice | C4 |")
    path = tmp_path / "song.txt"
    write_chart(song, path)
    assert_same(read_chart(path.read_bytes()), song)
    before = path.read_bytes()
    parts = song.parts.replace({"part": {"Voice": "Voice, high"}})
    notes = song.notes.replace({"part": {"Voice": "Voice, high"}})
    with pytest.raises(ArrangeError, match=r"needs the sign ',' for itself; rename the part"):
        write_chart(dataclasses.replace(song, parts=parts, notes=notes), path)
    assert path.read_bytes() == before
    assert [child.name for child in tmp_path.iterdir()] == ["song.txt"]


@pytest.mark.parametrize(
    "label", ["a,b", "a;b", "a|b", "chords", "a # b", "key: x", " a", "a\nb", ""]
)
def test_labels_that_a_chart_cannot_hold(label):
    """These labels would be read as something else."""
    song = chart("Voice | C4 |")
    parts = song.parts.replace({"part": {"Voice": label}})
    notes = song.notes.replace({"part": {"Voice": label}})
    with pytest.raises(ArrangeError, match="rename the part"):
        format_chart(dataclasses.replace(song, parts=parts, notes=notes))


def test_page_order_and_octaves():
    """Page order and octaves work as in the other formats."""
    text = f"{TOP}section: Verse\nVoice |: C4 :|\n".encode()
    song = read_chart(text, played=False, octaves={"Voice": 1})
    assert heard(song, "Voice") == [(0, 4, "C5")]
    assert song.parts["transpose"].tolist()[-1] == 12
