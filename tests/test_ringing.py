"""How long notes really sound: the column ``sounds``.

The cases are worked by hand; what a guitarist lets ring is common practice. The fall of a string is
held against H. Fleischer, Dead Spots of Electric Guitars and Basses (1999), and Fleischer and
Zwicker, Acustica 84 (1998) 758-765 (the seconds from memory).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import arrange as ar
from arrange.tables.ringing import REACH
from arrange.theory.decay import seconds_to_fall
from tests.songs import notes_of
from tests.songs import song as song_of

DATASETS = Path(__file__).parents[1] / "datasets"
_STRINGS = "EBGDAE"

# Of C, x32010: the fifth string's C3, E3, G3, C4 and E4.
PICKED = ("-------0", "-----1--", "----0---", "---2----", "3-------", "--------")


def chart(tmp_path, tab, words="", chords="C", part="standard tuning"):
    """Return a song of one guitar, a bar at 120 quarter notes a minute, in tablature."""
    lines = "\n".join(f"{name} |{line}|" for name, line in zip(_STRINGS, tab, strict=True))
    path = tmp_path / "song.txt"
    path.write_text(
        f"meter: 4/4\ntempo: 120\npart: Guitar; {part}\nsection: All\n"
        f"chords | {chords} |\nGuitar{words}, tab in eighths\n{lines}\n"
    )
    return ar.read(path)


def sounds(song):
    """Return onset -> how long its (only) note sounds."""
    return dict(zip(song.notes["onset"].tolist(), song.notes["sounds"].tolist(), strict=True))


def in_eighths(*pitches):
    """Return rows of a guitar's notes, one after the other."""
    return [("Guitar 1", pitch, 0.5 * at, 0.5) for at, pitch in enumerate(pitches)]


def test_a_picked_chord_rings_to_the_end_of_its_bar(tmp_path):
    """Each note of x32010 lies on a string of its own."""
    found = sounds(chart(tmp_path, PICKED))
    assert found == {0: 4.0, 1.5: 2.5, 2: 2.0, 2.5: 1.5, 3.5: 0.5}


@pytest.mark.parametrize(
    ("tab", "words", "chords", "part", "expected"),
    [
        # The fifth string is struck again with the third eighth.
        (("--------", "-----1--", "----0---", "--------", "3-3-----", "--------"), "", "C",
         "standard tuning", {0: 1.0, 1: 3.0, 2: 2.0, 2.5: 1.5}),
        # Two frets on one string: a line, whose fretted notes stop as written; the open G, a member
        # of the chord, rings to the end.
        (("--------", "-----1-3", "----0---", "--2-----", "3-------", "--------"), "", "C",
         "standard tuning", {0: 1.0, 1: 1.0, 2: 2.0, 2.5: 1.0, 3.5: 0.5}),
        # A rest is written: the hand stops the strings.
        (("-----.--", "---1----", "-0------", "--------", "3-------", "--------"), "", "C",
         "standard tuning", {0: 2.5, 0.5: 2.0, 1.5: 1.0}),
        # Marked to ring, it goes on over the rest.
        (("-----.--", "---1----", "-0------", "--------", "3-------", "--------"), ", let-ring",
         "C", "standard tuning", {0: 4.0, 0.5: 3.5, 1.5: 2.5}),
        # The harmony changes on the third quarter.
        (("--------", "---1----", "-0------", "--2-----", "3-------", "----3---"), "", "C ~ G ~",
         "standard tuning", {0: 2.0, 0.5: 1.5, 1: 1.0, 1.5: 0.5, 2: 2.0}),
        # The same chord again is no change.
        (("--------", "---1----", "-0------", "--2-----", "3-------", "--------"), "", "C ~ C ~",
         "standard tuning", {0: 4.0, 0.5: 3.5, 1: 3.0, 1.5: 2.5}),
        # The hand goes up to the eighth fret: what lies out of its reach stops, marked or not.
        (("--------", "----8---", "-0------", "--2-----", "3-------", "--------"), ", let-ring",
         "C", "standard tuning", {0: 2.0, 0.5: 3.5, 1: 1.0, 2: 2.0}),
        (PICKED, ", palm-mute", "C", "standard tuning",
         {0: 1.5, 1.5: 0.5, 2: 0.5, 2.5: 1.0, 3.5: 0.5}),
        (PICKED, "", "C", "standard tuning; dry", {0: 1.5, 1.5: 0.5, 2: 0.5, 2.5: 1.0, 3.5: 0.5}),
        (PICKED, "", "C", "standard tuning; distorted",
         {0: 1.5, 1.5: 0.5, 2: 0.5, 2.5: 1.0, 3.5: 0.5}),
    ],
)  # fmt: skip
def test_what_ends_a_ringing_note(tmp_path, tab, words, chords, part, expected):
    """Each of the ends, one by one."""
    assert sounds(chart(tmp_path, tab, words, chords, part)) == expected


def test_a_string_dies_away():
    """At 60 quarter notes a minute C3 falls by 20 dB within the bar: 3.8 s, 3.75 on the grid.

    Published: the time of a fall grows shorter with every fret, and is some 10 s for 30 dB on the
    low E string of a solid guitar, 5 s on the high one; acoustic guitars have less.
    """
    notes = notes_of(("Guitar 1", "C3", 0, 1)).assign(technique="let ring")
    slow = replace(song_of(("Guitar 1", "C3", 0, 1), bars=4), notes=notes)
    assert sounds(slow) == {0: 3.75}
    fall = seconds_to_fall("guitar", np.arange(40, 89), 30)
    assert (np.diff(fall) < 0).all()
    assert 5 < fall[0] < 10
    assert 2.5 < fall[64 - 40] < 5


def test_strings_that_are_not_known():
    """Pitches a third apart and more, picked one after the other, lie on strings of their own; a
    second may be a step on one string. A voice does not ring.
    """
    picked = [
        ("Guitar 1", pitch, 0.5 * at, 0.5) for at, pitch in enumerate(("C3", "G3", "E4", "C4"))
    ]
    made = song_of(*picked, ("Guitar 1", "G3", 2, 2), bars=1, tempo=120)
    assert sounds(made) == {0: 4.0, 0.5: 1.5, 1: 3.0, 1.5: 2.5, 2: 2.0}
    for other in (("Guitar 1", "D4", 2, 2), ("Guitar 1", "B2", 2, 2)):
        made = song_of(*picked, other, bars=1, tempo=120)
        assert (made.notes["sounds"] == made.notes["duration"]).all()
    sung = [("Voice", *rest) for _, *rest in picked]
    made = song_of(*sung, ("Voice", "G3", 2, 2), bars=1, tempo=120)
    assert (made.notes["sounds"] == made.notes["duration"]).all()


def test_without_symbols_a_note_rings_until_nobody_plays_it():
    """E3 marked to ring: the second bar has an E in the bass, the third, of G, has none; a bar in
    which nobody plays would not end it. At this tempo the string would ring longer.
    """
    guitar, basses = ("Guitar 1", "E3", 0, 1), [("Bass", "E2", 4, 4), ("Bass", "G2", 12, 4)]
    made = song_of(guitar, *basses, bars=4, tempo=240)
    marked = made.notes["technique"].mask(made.notes["part"] == "Guitar 1", "let ring")
    rings = replace(made, notes=made.notes.assign(technique=marked))
    assert sounds(rings)[0] == 12


def test_a_slide_sounds_up_to_its_target():
    """A short rest between the two is how it is written, not how it sounds."""
    notes = notes_of(("Guitar 1", "C4", 0, 1), ("Guitar 1", "D4", 1.5, 1)).assign(
        technique=["slide", None], string=2, fret=[1, 3]
    )
    song = replace(song_of(("Guitar 1", "C4", 0, 1), bars=1), notes=notes)
    assert sounds(song) == {0: 1.5, 1.5: 1.0}


@pytest.mark.parametrize("name", ["kiln-yard.txt", "tarrow-weir.txt", "last-bell.musicxml"])
def test_never_stale_and_never_shorter_than_written(name):
    """A Song computes the column, whatever stands there; what rings meets its own limits."""
    song = ar.read(DATASETS / name)
    stale = song.notes.assign(sounds=99.0)
    assert replace(song, notes=stale).notes.equals(song.notes)
    notes = song.notes.assign(end=song.notes["onset"] + song.notes["sounds"])
    rings = notes[notes["sounds"] > notes["duration"]]
    assert (notes["sounds"] >= notes["duration"]).all()
    assert 50 < len(rings) < 0.5 * len(notes)
    lines = song.chords["onset"].to_numpy()
    capo = song.parts.set_index("part")["capo"]
    for note in rings[rings["technique"].isna()].iloc[::5].itertuples():
        own = notes[(notes["part"] == note.part) & (notes["onset"] > note.onset)]
        meant = own[own["onset"] < note.end - 1e-9]
        assert not (meant["string"] == note.string).any()
        if note.fret > capo[note.part]:
            fretted = meant["fret"][meant["fret"] > capo[note.part]]
            assert (np.abs(fretted - note.fret) <= REACH).all()
        changes = lines[(lines > note.onset + 1e-9) & (lines < note.end - 1e-9)]
        at = song.chords["onset"].isin([*changes, *lines[lines <= note.onset + 1e-9][-1:]])
        members = [set(each) for each in song.chords["pitch_classes"][at]]
        assert all(each == members[0] for each in members)


@pytest.mark.parametrize("suffix", [".txt", ".musicxml"])
def test_files_keep_what_is_dry(tmp_path, suffix):
    """The word comes back, with what it does; another word is refused."""
    song = chart(tmp_path, PICKED, part="standard tuning; dry")
    path = tmp_path / f"again{suffix}"
    (ar.write_chart if suffix == ".txt" else ar.write_musicxml)(song, path)
    again = ar.read(path)
    assert again.parts["ring"].tolist() == ["dry"]
    assert sounds(again) == sounds(song)
    with pytest.raises(ar.ArrangeError, match=r"ring.*'wet'; it is one of ringing, dry"):
        replace(song, parts=song.parts.assign(ring="wet"))


def test_an_arpeggio_that_rings_against_a_held_note_is_heard():
    """C4, picked between E3 and G4, has ended as written when the other guitar's C#4 begins."""
    picked = [
        ("Guitar 1", pitch, 0.5 * at, 0.5) for at, pitch in enumerate(("E3", "C4", "G4", "E3"))
    ]
    rows = [*picked, ("Guitar 1", "G4", 2, 2), ("Guitar 2", "C#4", 2, 2)]
    made = song_of(*rows, bars=1)
    rub = ar.find_clashes(made, ["rub"])
    assert rub["pitches"].tolist() == ["C4 C#4"]
    heard = ar.finding_notes(made, rub.iloc[0])
    assert heard[["onset", "duration"]].values.tolist() == [[2.0, 1.0], [2.0, 1.0]]
    dry = replace(made, parts=made.parts.assign(ring="dry"))
    assert ar.find_clashes(dry, ["rub"]).empty
    unison = song_of(*rows[:-1], ("Guitar 2", "C4", 2, 2), bars=1)
    shared = ar.register_overlap(unison.notes)["together"].iloc[0]
    assert shared > ar.register_overlap(unison.notes.assign(sounds=0.0))["together"].iloc[0] == 0
