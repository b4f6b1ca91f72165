"""Files that we write, read by music21 and partitura: the same notes, tie for tie.

Sources: music21 and partitura, which know nothing of this package; music21's corpus, read from the
installed package; the MusicXML 4.0 schema. ``written_elsewhere.py`` compares the whole corpus as a
script; here is a share of it, and the small cases behind each mend.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from corpus import CORPUS, PACKAGE
from lxml import etree
from songs import song
from test_write_musicxml import schema
from written_elsewhere import KNOWN, compared_files, differing_readers, stripped_parts

import arrange as ar
from arrange.formats.musicxml.writing_durations import Value, cut_into_values

__all__ = ["schema"]  # a fixture, asked for by name

# Several voices and staves, chords with unequal ties, graces, triplets, transposing parts, repeats
# played out, and the smallest of the files with a known difference.
SHARE = (
    "bach/bwv66.6.mxl",
    "bach/bwv248.23-2.mxl",
    "demos/drum_sample.xml",
    "leadSheet/fosterBrownHair.mxl",
    "liliuokalani/aloha_oe.mxl",
    "monteverdi/madrigal.4.18.mxl",
    "schoenberg/opus19/movement6.mxl",
    "schumann_robert/opus48no2.mxl",
    "trecento/PMFC_12_15-Sanctus Lorenzo.xml",
)


@pytest.mark.sampled
@pytest.mark.parametrize("name", SHARE)
def test_other_readers_read_the_same_notes(name, tmp_path):
    """Each part's onset, duration and pitch; what a reader gets wrong is listed with the cause."""
    file = f"corpus/{name}"
    known = [reader for listed, reader in KNOWN if listed == file]
    assert sorted(differing_readers(CORPUS / name, tmp_path)) == sorted(known)


def test_the_list_of_known_differences_is_of_files_that_exist():
    """A corpus that moved would empty the comparison unseen."""
    assert len(compared_files()) > 550
    assert [file for file, _ in KNOWN if not (PACKAGE / file).is_file()] == []


def stripped(a_song, folder):
    """Return for each part the notes as music21's stripTies leaves them, in order."""
    path = folder / "song.musicxml"
    ar.write_musicxml(a_song, path)
    return [sorted(part.elements()) for part in stripped_parts(path)]


def with_voices(a_song, voices):
    """Return the song with a voice for each note."""
    return replace(a_song, notes=a_song.notes.assign(voice=voices))


def test_a_tie_from_a_note_with_a_natural_sign(tmp_path):
    """In F major Bb, then B natural over two bar lines: nine quarters of one note.

    music21 10.5, ``Pitch.__eq__``: a pitch without an accidental is not "equal to a pitch with a
    natural accidental", so ``stripTies`` joins them only if each says that its alter is 0.
    """
    a_song = song(("Voice", "Bb4", 0, 1), ("Voice", "B4", 1, 9), key="F major", bars=3)
    assert stripped(a_song, tmp_path) == [[(0, 1, 70.0), (1, 9, 71.0)]]


def test_a_pianist_gets_two_staves(tmp_path, schema):
    """Right hand and left hand hold chords over a bar line: on a staff each, in its clef.

    On one staff music21's ``stripTies`` takes the hands for one line and rejoins neither.
    """
    a_song = song(("Keys", "C5 E5", 0, 6), ("Keys", "C3 G3", 0, 6), bars=2)
    hands = ["1" if pitch > 60 else "2" for pitch in a_song.notes["pitch"]]
    a_song = with_voices(a_song, hands)
    assert stripped(a_song, tmp_path) == [[(0, 6, 48.0), (0, 6, 55.0), (0, 6, 72.0), (0, 6, 76.0)]]
    root = etree.parse(tmp_path / "song.musicxml").getroot()
    assert schema.validate(root), str(schema.error_log)[:2000]
    assert [clef.findtext("sign") for clef in root.iter("clef")] == ["G", "F"]
    pitched = [note for note in root.iter("note") if note.find("pitch") is not None]
    staves = {(note.findtext("voice"), note.findtext("staff")) for note in pitched}
    assert staves == {("1", "1"), ("2", "2")}
    again = ar.read(tmp_path / "song.musicxml").notes
    assert sorted(zip(again["pitch"], again["duration"], again["voice"], strict=True)) == [
        (48.0, 6.0, "2"), (55.0, 6.0, "2"), (72.0, 6.0, "1"), (76.0, 6.0, "1"),
    ]  # fmt: skip


def test_accidentals_hold_on_their_own_staff(tmp_path):
    """F#4 in the right hand does not spare the left hand its own sharp (common practice)."""
    a_song = song(("Keys", "F#4 C6", 0, 1), ("Keys", "F#4 C2", 1, 1), bars=1)
    a_song = with_voices(a_song, ["1", "1", "2", "2"])
    stripped(a_song, tmp_path)
    root = etree.parse(tmp_path / "song.musicxml").getroot()
    sharps = [note for note in root.iter("note") if note.findtext("accidental") == "sharp"]
    assert [note.findtext("staff") for note in sharps] == ["1", "2"]


@pytest.mark.parametrize("voices", [["1", "1"], ["1", "2"]])
def test_keys_on_one_side_of_middle_c_stay_on_one_staff(voices, tmp_path):
    """Both voices above it: one staff, one clef, and no staff named at any note."""
    a_song = with_voices(song(("Keys", "C5 E5", 0, 4)), voices)
    stripped(a_song, tmp_path)
    root = etree.parse(tmp_path / "song.musicxml").getroot()
    assert len(list(root.iter("clef"))) == 1
    assert list(root.iter("staff")) == []


def test_a_rounded_length_is_one_note():
    """171/512 of a quarter, a triplet as some program rounds it: no chain of ties to a 1024th.

    MusicXML 4.0: ``duration`` alone says how long a note is, ``type`` may be missing. partitura
    knows no value below a 256th.
    """
    assert cut_into_values(0, 171, 512, 512) == ((171, None),)
    assert cut_into_values(0, 8, 512, 512) == ((8, Value("256th")),)
