"""Another key: how things are spelled there, and how each guitar plays its part."""

import re
from dataclasses import replace

import music21
import numpy as np
import pandas as pd
import pytest
from corpus import CORPUS
from songs import parts_of, song, with_setup

import arrange as ar
from arrange.__main__ import main
from arrange.clashes import KINDS
from arrange.errors import ArrangeError
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.revoicing.key_ways import onto_neck
from arrange.revoicing.transposing import transposed
from arrange.theory.pitch import key_fifths, moved_key, moved_name

G1, G2 = "Guitar 1", "Guitar 2"


# --- How it is spelled ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "names"),
    [
        ("C major", "Db D Eb E F F# G Ab A Bb B"),
        ("A minor", "Bb B C C# D Eb E F F# G G#"),
    ],
)
def test_keys_have_the_fewest_signs(key, names):
    """The circle of fifths; of six sharps and six flats F# major and Eb minor (common practice)."""
    mode = key.split()[1]
    found = [moved_key(key, semitones) for semitones in range(1, 12)]
    assert found == [f"{name} {mode}" for name in names.split()]
    assert [moved_key(key, semitones - 12) for semitones in range(1, 12)] == found


@pytest.mark.parametrize(
    ("name", "fifths", "moved"),
    [("C#", 2, "D#"), ("Eb", 2, "F"), ("Bb", -5, "Cb"), ("F", -2, "Eb"), ("B", 6, "E#"),
     ("Fb", -1, "A")],
)  # fmt: skip
def test_a_name_goes_round_the_circle(name, fifths, moved):
    """B two more fifths up is C#; what would need two signs has its plain name."""
    assert moved_name(name, fifths) == moved


def chart(tmp_path, *lines, key="A minor"):
    """A song typed as a chart."""
    path = tmp_path / "song.txt"
    path.write_text(f"title: Pier End\nkey: {key}\nmeter: 4/4\n\n" + "\n".join(lines), "utf-8")
    return ar.read(path)


def test_raised_notes_stay_raised(tmp_path):
    """The leading note of A minor under its dominant is G#; in B minor it is A#, not Bb."""
    before = chart(
        tmp_path, "part: Guitar 1", "section: Verse", "chords | Am | E7/G# | N.C. | Dm |"
    )
    after = transposed(before, 2)
    assert after.chords["symbol"].tolist() == ["Bm", "F#7/A#", "N.C.", "Em"]
    assert after.chords["degree"].tolist() == before.chords["degree"].tolist()
    assert after.main_key == "B minor"
    assert after.chords["root"].tolist()[:2] == [11, 6]
    assert after.chords["bass"].tolist()[:2] == [11, 10]
    assert after.chords["pitch_classes"].iloc[1] == (6, 10, 1, 4)


@pytest.mark.sampled
@pytest.mark.parametrize("semitones", [-7, -2, 1, 6])
@pytest.mark.parametrize(
    "path",
    ["bach/bwv66.6.mxl", "leadSheet/fosterBrownHair.mxl", "leadSheet/berlinAlexandersRagtime.mxl",
     "mozart/k155/movement2.mxl"],
)  # fmt: skip
def test_as_music21_transposes(path, semitones):
    """Every pitch, the keys and the chords' roots of scores of music21's corpus, which moves them
    by the interval between the two tonics.
    """
    before = ar.read(CORPUS / path, played=False)
    after = transposed(before, semitones)
    old, new = (key.split()[0].replace("b", "-") for key in (before.main_key, after.main_key))
    low = music21.pitch.Pitch(f"{old}4")
    high = next(each for octave in range(2, 7)
                for each in [music21.pitch.Pitch(f"{new}{octave}")]
                if each.ps - low.ps == semitones)  # fmt: skip
    score = music21.converter.parse(CORPUS / path)
    moved = score.transpose(music21.interval.Interval(low, high)).stripTies()
    symbols = [*moved.recurse().getElementsByClass("ChordSymbol")]
    chords = {id(each) for each in symbols}
    pitches = [pitch.midi for note in moved.recurse().notes if id(note) not in chords
               for pitch in note.pitches]  # fmt: skip
    assert sorted(after.notes["pitch"].tolist()) == sorted(pitches)
    signs = {key.sharps for key in moved.recurse().getElementsByClass("KeySignature")}
    assert {key_fifths(key) for key in after.measures["key"]} == signs
    roots = [re.match("[A-G][b#]?", symbol)[0] for symbol in after.chords["symbol"]]
    assert roots == [each.root().name.replace("-", "b") for each in symbols]


@pytest.mark.parametrize("semitones", [-11, -5, 1, 6])
def test_there_and_back(semitones):
    """The pitches, keys, chords and numbers of the demo song; only strings have to be found anew,
    and how long they ring. Drums and strokes without pitch stay.
    """
    before = ar.read("datasets/last-bell.musicxml")
    back = transposed(transposed(before, semitones), -semitones)
    strings = ["string", "fret", "sounds"]
    pd.testing.assert_frame_equal(back.notes.drop(columns=strings),
                                  before.notes.drop(columns=strings))  # fmt: skip
    assert back.measures["key"].tolist() == before.measures["key"].tolist()
    pd.testing.assert_frame_equal(back.chords, before.chords)
    drums = before.parts.loc[before.parts["family"] == "drums", "part"].tolist()
    own = before.notes["part"].isin(drums)
    assert own.any()
    pd.testing.assert_frame_equal(transposed(before, semitones).notes[own], before.notes[own])


def test_without_a_key_chords_have_plain_names(tmp_path):
    """Nothing says how to spell them."""
    before = chart(tmp_path, "part: Guitar 1", "section: Verse", "chords | C | Bb/D |")
    before = replace(before, measures=before.measures.assign(key=None))
    assert transposed(before, 1).chords["symbol"].tolist() == ["C#", "B/D#"]


def test_what_midi_cannot_hold_is_refused():
    """A note near its upper end, and a symbol that is no chord."""
    with pytest.raises(ArrangeError, match="Guitar 1 in measure 1: G9 moved by 2 semitones"):
        transposed(song(("Guitar 1", 127, 0, 4)), 2)
    wrong = song(("Guitar 1", "C4", 0, 4), chords=[(0, 0, "major", None)])
    wrong = replace(wrong, chords=wrong.chords.assign(symbol=pd.array(["loud"], dtype="str")))
    with pytest.raises(ArrangeError, match="measure 1: 'loud' cannot be moved to another key"):
        transposed(wrong, 2)


# --- How it is played -------------------------------------------------------------------------

# Open C, G, Am, F and their like, a bar each, as beginners learn them (common practice).
OPEN_C = ["Ann | x32010 / / / | 320003 / / / | x02210 / / / | 133211 / / / |"]
CHORDS_C = "chords | C | G | Am | F |"


def strummer(tmp_path, *more):
    """Ann strums open shapes in C major."""
    header = ("part: Ann; acoustic guitar", *more, "", "section: Verse")
    return chart(tmp_path, *header, CHORDS_C, *OPEN_C, key="C major")


def way(proposal):
    """Capo, and each bar's shape, low string first."""
    notes = proposal.song.notes
    shapes = []
    for _, bar in notes[notes["onset"] % 4 == 0].groupby("measure"):
        fret = dict(zip(bar["string"], bar["fret"], strict=True))
        shapes.append("-".join(str(fret.get(string, "x")) for string in range(6, 0, -1)))
    return int(proposal.song.parts["capo"].iloc[0]), shapes


def test_open_shapes_go_up_with_a_capo(tmp_path):
    """Two semitones up: the same shapes with a capo at 2, each string and fret as given."""
    before = strummer(tmp_path)
    found = ar.change_key(before, 2)
    capo, shapes = way(found[0])
    assert capo == 2
    assert shapes == ["x-5-4-2-3-2", "5-4-2-2-2-5", "x-2-4-4-3-2", "3-5-5-4-3-3"]
    assert found[0].idea == "Ann: capo 2, the same shapes"
    assert found[0].song.main_key == "D major"
    assert found[0].song.chords["symbol"].tolist() == ["D", "A", "Bm", "G"]
    assert found[0].semitones == 0
    assert [each.cost for each in found] == sorted(each.cost for each in found)


def test_a_capo_that_is_there_moves(tmp_path):
    """From 3 to 1 for two semitones down."""
    before = chart(
        tmp_path, "part: Ann; acoustic guitar; capo 3; frets from the capo", "", "section: Verse",
        "chords | Eb | Bb | Cm | Ab |", *OPEN_C, key="Eb major",
    )  # fmt: skip
    best = ar.change_key(before, -2)[0]
    assert way(best)[0] == 1
    assert best.idea == "Ann: capo 1, the same shapes"
    assert best.song.main_key == "Db major"


def test_without_a_lower_capo_the_shapes_of_another_key(tmp_path):
    """C major two semitones down has no capo for the same shapes. Bb major is played in the open
    shapes of G at 3 or of A at 1 (common practice); nothing sounds outside the chords.
    """
    found = ar.change_key(strummer(tmp_path), -2)
    ideas = {each.idea for each in found}
    assert {"Ann: capo 3, open shapes, as in G major"} <= ideas
    best = found[0]
    for chord, (_, bar) in zip(best.song.chords.itertuples(), best.song.notes.groupby("measure"),
                               strict=True):  # fmt: skip
        assert {int(pitch) % 12 for pitch in bar["pitch"]} <= set(chord.pitch_classes)
    fingered = ar.finger_part(best.song, "Ann")
    assert fingered["problem"].isna().all()


def test_only_capos_that_the_player_takes(tmp_path):
    """With 5 alone it is 5."""
    found = ar.change_key(strummer(tmp_path), 2, [Player("Ann", capos=(0, 5))])
    assert {way(each)[0] for each in found} <= {0, 5}


def test_a_line_without_open_strings_moves_along_the_neck():
    """A lead at the eighth fret goes two frets up, on its strings, and asks for no capo."""
    line = song(("Guitar 1", "Eb5 F5 G5", 0, 1), key="Eb major")
    notes = line.notes.assign(
        onset=[0.0, 1.0, 2.0], string=pd.array([2, 1, 1], "Int64"),
        fret=pd.array([16, 13, 15], "Int64"),
    )  # fmt: skip
    [best, *_] = ar.change_key(replace(line, notes=notes), 2)
    assert best.song.parts["capo"].tolist() == [0]
    assert best.song.notes["fret"].tolist() == [18, 15, 17]
    assert best.song.notes["string"].tolist() == [2, 1, 1]
    assert best.idea == "Guitar 1: no capo, the same shapes, 2 frets higher"


def test_two_guitars_are_judged_together():
    """All ways of both are compared, findings before and after."""
    before = ar.read("datasets/low-water.musicxml")
    found = ar.change_key(before, -2)
    assert len(found) >= 3
    kinds = [name for name, kind in KINDS.items() if not kind.is_of_the_song]
    for each in found:
        after = ar.find_clashes(each.song, kinds)
        assert each.before_after["before"].sum() == len(ar.find_clashes(before, kinds))
        assert each.before_after["after"].sum() == len(after)
        assert each.cost == pytest.approx(sum(each.costs.values()))
        sung = (song.notes.loc[song.notes["part"] == "Voice", "pitch"].to_numpy()
                for song in (before, each.song))  # fmt: skip
        assert set(np.subtract(*sung)) == {2}
    assert len({each.before_after["after"].sum() for each in found}) > 1


def test_a_bass_goes_up_where_it_has_no_string():
    """Its low E goes down no more: an octave higher, and it is said."""
    before = song(("Bass", "E1", 0, 4), ("Bass", "A1", 4, 4), ("Voice", "A4", 0, 8))
    [best, *_] = ar.change_key(before, -2)
    bass = best.song.notes[best.song.notes["part"] == "Bass"]
    assert bass["pitch"].tolist() == [38, 31]
    assert "Bass: 1 note (in measure 1) below its lowest string, E1; played an octave higher" in (
        best.song.notices
    )
    assert "Voice sings from G4 to G4, not from A4 to A4" in best.why


def test_a_voice_beyond_its_range():
    """A tenor's A4 goes up no more (common practice)."""
    parts = parts_of("Voice", "Guitar 1", instrument=["Tenor", "Guitar"])
    before = song(("Voice", "A4", 0, 4), ("Guitar 1", "A3", 0, 4), parts=parts)
    assert "B4 is high for a tenor, who goes up to A4" in ar.change_key(before, 2)[0].why
    assert "tenor" not in ar.change_key(before, -2)[0].why


def test_off_the_neck_by_octaves():
    """Low notes go up, high ones down; where the part sounds the same already, one is enough."""
    notes = song(("Guitar 1", "D2 D3 A3", 0, 4), ("Guitar 1", "C2", 4, 4),
                 ("Guitar 1", 89, 8, 4)).notes  # fmt: skip
    placed, moved, lost = onto_neck(notes, Neck())
    assert placed["pitch"].tolist() == [50, 57, 48, 77]
    assert moved["by"].tolist() == [12, -12]
    assert lost["pitch"].tolist() == [38]


# --- Bad input --------------------------------------------------------------------------------


@pytest.mark.parametrize("semitones", [0, 12, -12, 1.5, "up", True])
def test_how_far_is_checked(semitones):
    with pytest.raises(ArrangeError, match="write a whole number from 1 to 11"):
        ar.change_key(song(("Guitar 1", "C4", 0, 4)), semitones)


def test_who_plays_is_checked():
    """Unknown, twice, or two for one part: one sentence each."""
    before = replace(song(("Guitar 1", "C4", 0, 4)), parts=parts_of("Guitar 1", player=["Ann"]))
    with pytest.raises(ArrangeError, match="no player 'Anne'; did you mean 'Ann'"):
        ar.change_key(before, 1, [Player("Anne")])
    with pytest.raises(ArrangeError, match="two players are called 'Ann'"):
        ar.change_key(before, 1, [Player("Ann"), Player("Ann")])
    with pytest.raises(ArrangeError, match="are both given for the part 'Guitar 1'"):
        ar.change_key(before, 1, [Player("Ann"), Player("Guitar 1")])


def test_no_capo_that_serves():
    """A riff on F#2, A2 and B2 has no room above a capo at 7; the message says what would do."""
    riff = [("Guitar 1", note, at, 1) for at, note in enumerate(("E2", "G2", "A2", "G2"))]
    before = song(*riff, key="E minor")
    with pytest.raises(ArrangeError) as caught:
        ar.change_key(before, 2, [Player("Guitar 1", capos=(7,))])
    assert str(caught.value) == (
        "Guitar 1: in F# minor much of the part does not lie on the neck with capo 7; "
        "capo 2 is the nearest that would do"
    )
    with pytest.raises(ArrangeError, match="no capo would do: take another key, or tune"):
        ar.change_key(before, -3, [Player("Guitar 1", capos=(7,))])


def test_silent_parts_and_songs_without_guitars():
    """Nothing to play is played in every key."""
    silent = song(("Guitar 1", "C4", 0, 4), parts=(G1, G2))
    assert len(ar.change_key(silent, 2)[0].song.notes) == 1
    keys = song(("Keys", "C4", 0, 4))
    [only] = ar.change_key(keys, 2)
    assert only.song.notes["pitch"].tolist() == [62]


# --- On the command line ----------------------------------------------------------------------


def test_the_command_prints_and_writes(tmp_path, capsys):
    """The ways with their findings, and the one that is taken as a song."""
    target = tmp_path / "lower.musicxml"
    words = ["change-key", "datasets/low-water.musicxml", "--by", "-2", "--player",
             "Guitar 2: acoustic; capo 1 or 3", "--most", "2", "-o", str(target)]  # fmt: skip
    assert main(words) == 0
    out = capsys.readouterr().out
    assert "1. findings 21 to " in out
    assert "2. findings 21 to " in out
    assert "3. findings" not in out
    assert "In Ab major, 2 semitones lower: " in out
    after = ar.read(target)
    assert after.main_key == "Ab major"
    assert after.parts["capo"].tolist()[2] in (1, 3)
    best = ar.change_key(ar.read("datasets/low-water.musicxml"), -2,
                         [Player("Guitar 2", capos=(1, 3))])[0]  # fmt: skip
    assert len(after.notes) == len(best.song.notes)
    assert main([*words, "--overwrite", "--take", "99"]) == 2
    assert "--take 99: there is no such way; there are " in capsys.readouterr().err


def test_a_new_capo_holds_in_every_section():
    """Also where a section had a capo of its own, and its layers stay named."""
    made = song(("Guitar 1", "C4 E4 G4", 0, 4), ("Guitar 1", "C4 E4 G4", 4, 4), bars=2,
                sections=[("A", 1), ("B", 2)], key="C major")  # fmt: skip
    made = with_setup(made, "Guitar 1", "B", capo=3, layers="Strum")
    found = ar.change_key(made, 2, [ar.Player("Guitar 1", capos=(5,))])[0].song
    setups = ar.part_setups(found)
    assert setups["capo"].tolist() == [5, 5]
    assert setups["layers"].fillna("").tolist() == ["", "Strum"]


def test_the_players_of_the_song_are_asked():
    """A capo that its player does not use is not proposed."""
    made = song(("Guitar 1", "C4 E4 G4", 0, 8), bars=2, key="C major",
                players=("Guitar 1; capo none or 3", "Nobody here; capo 9"))  # fmt: skip
    capos = {int(each.song.parts["capo"].iloc[0]) for each in ar.change_key(made, 2)}
    assert capos <= {0, 3}


def test_other_open_shapes_where_the_same_would_do_are_called_so(tmp_path):
    """With the capo moved along with the key; every two proposals read differently."""
    path = tmp_path / "quay.txt"
    path.write_text(
        "title: Quay Lamp\nkey: G major\nmeter: 4/4\ntempo: 100\n\n"
        "part: Strum; acoustic guitar\n\nsection: Verse\n"
        "chords | G | C | D | G |\nStrum | 320003 | x32010 | xx0232 | 320003 |\n"
    )
    found = ar.change_key(ar.read(path), 2, [Player("Strum", capos=(2,))])
    assert sorted(each.idea for each in found) == [
        "Strum: capo 2, other open shapes, as in G major",
        "Strum: capo 2, the same shapes",
    ]
    places = [
        each.song.notes[["onset", "pitch", "string", "fret"]].to_csv(index=False) for each in found
    ]
    assert len(set(places)) == len(found)
