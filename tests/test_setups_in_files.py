"""What a part has section by section, written to files and read again.

Source: the MusicXML 4.0 schema (W3C, as the package ``musicxml`` carries it) and music21, which
knows nothing of this package; what the words say is our own.
"""

from dataclasses import replace
from pathlib import Path

import mido
import music21
import pandas as pd
import pytest
from lxml import etree
from songs import parts_of, song

import arrange as ar
from arrange.formats.musicxml.writing import format_musicxml
from arrange.tables.schemas import SETUPS
from arrange.tables.setups import where_otherwise

DATASETS = Path(__file__).parent.parent / "datasets"
DEMOS = ("low-water.musicxml", "last-bell.musicxml", "tarrow-weir.txt", "barn-lights.txt",
         "kiln-yard.txt", "harbour-set/3-gulls-over-the-roofs.txt")  # fmt: skip
SOUNDS = ("clean", "overdriven", "edge", "distorted")


def with_setups(made: ar.Song) -> ar.Song:
    """A song whose parts change their sound, echo and layers, and put their capo lower or off."""
    setups = ar.part_setups(made)
    number = pd.Series(range(len(setups)))
    setups["drive"] = [SOUNDS[each % 4] for each in number]
    setups["echo"] = [("dotted eighth", None, None, "quarter")[each // 2 % 4] for each in number]
    setups["capo"] = [capo * (each % 3 != 1) for each, capo in zip(number, setups["capo"],
                                                                  strict=True)]  # fmt: skip
    setups["layers"] = [(None, "Hook + Pulse", '"Lead + Fx"')[each % 3] for each in number]
    return replace(made, setups=where_otherwise(setups, made.parts))


def in_three_sections(*rows: tuple) -> ar.Song:
    """A guitar with the usual capo 2 in three sections of a bar each, with rows of setups."""
    made = song(
        ("Guitar", "E4", 0, 4), ("Guitar", "E4", 4, 4), ("Guitar", "E4", 8, 4),
        sections=[("Intro", 1), ("Verse", 2), ("Chorus", 3)],
        parts=parts_of("Guitar", capo=2, tuning=((64, 59, 55, 50, 45, 40),)),
    )  # fmt: skip
    places = pd.array([2, 1, 2], dtype="Int64"), pd.array([5, 0, 5], dtype="Int64")
    notes = made.notes.assign(string=places[0], fret=places[1])
    return replace(
        made, notes=notes, setups=pd.DataFrame([("Guitar", *row) for row in rows],
                                               columns=SETUPS.names),
    )  # fmt: skip


CHANGING = (
    ("Intro", "overdriven", None, 2, "Hook"),
    ("Verse", "overdriven", "quarter", 0, "Hook"),
)


def words_by_bar(made: ar.Song) -> list[list[str]]:
    """The words of each measure of the first part."""
    root = etree.fromstring(format_musicxml(made, []))
    return [[each.text for each in measure.iterfind(".//words")]
            for measure in root.iterfind("part/measure")]  # fmt: skip


def test_words_stand_where_a_part_changes():
    """At the start what it has and what changes later; then each change, and the way back."""
    assert words_by_bar(in_three_sections(*CHANGING)) == [
        ["capo 2", "overdriven", "no echo", "plays: Hook"],
        ["no capo", "echo: quarter", "plays: Hook"],
        ["capo 2", "clean", "no echo"],
    ]


def test_nothing_is_said_of_what_does_not_change():
    """A part without setups has its words at the beginning, as ever."""
    assert words_by_bar(in_three_sections()) == [["capo 2"], [], []]


def test_frets_in_the_file_count_from_the_capo_of_their_section():
    """MusicXML counts from the capo, which stands in staff-details of the bar (MusicXML 4.0)."""
    root = etree.fromstring(format_musicxml(in_three_sections(*CHANGING), []))
    assert [each.text for each in root.iterfind(".//capo")] == ["2", "0", "2"]
    assert [each.text for each in root.iterfind(".//fret")] == ["3", "0", "3"]


@pytest.mark.parametrize(("first", "then", "fret"), [(0, 2, 0), (2, 0, 2), (0, 5, 4), (5, 3, 7)])
def test_notes_tied_into_another_capo_count_from_the_capo_that_they_were_struck_under(
    tmp_path, first, then, fret
):
    """Two strings (B3 and E4 open) ring from one section into the next, then one is struck open.

    With the first row the tied ends say fret 0 under the capo at 2, which only a count from the
    nut explains.
    """
    made = song(
        ("Guitar", 59 + fret, 0, 6), ("Guitar", 64 + fret, 0, 6), ("Guitar", 64 + then, 6, 2),
        sections=[("Intro", 1), ("Verse", 2)],
        parts=parts_of("Guitar", capo=first, tuning=((64, 59, 55, 50, 45, 40),), frets_from="capo"),
    )  # fmt: skip
    notes = made.notes.assign(string=[2, 1, 1], fret=[fret, fret, then])
    setups = pd.DataFrame([("Guitar", "Verse", "clean", None, then, None)], columns=SETUPS.names)
    path = tmp_path / "song.musicxml"
    ar.write_musicxml(replace(made, notes=notes, setups=setups), path)
    frets = [each.text for each in etree.parse(path).iterfind(".//fret")]
    assert frets == [*[str(fret - first)] * 4, "0"]
    again = ar.read(path)
    assert again.notes["fret"].tolist() == [fret, fret, then]
    assert again.parts["frets_from"].tolist() == ["capo"]
    assert not [notice for notice in again.notices if "fret" in notice]


def test_the_usual_setup_comes_back_where_the_song_begins_with_another(tmp_path):
    """The parts table says clean, though the first words say overdriven."""
    made = in_three_sections(*CHANGING)
    path = tmp_path / "song.musicxml"
    assert ar.write_musicxml(made, path) == ()
    again = ar.read(path)
    assert again.parts["drive"].tolist() == ["clean"]
    pd.testing.assert_frame_equal(again.setups, made.setups)
    assert again.notes["fret"].tolist() == [5, 0, 5]


def test_words_of_another_program_hold_until_the_next(tmp_path):
    """Without our own field the first word of a kind holds from the start."""
    data = format_musicxml(in_three_sections(*CHANGING), [])
    root = etree.fromstring(data)
    root.find("identification").remove(root.find("identification/miscellaneous"))
    path = tmp_path / "song.musicxml"
    path.write_bytes(etree.tostring(root))
    again = ar.read(path)
    assert again.parts["drive"].tolist() == ["overdriven"]
    assert ar.part_setups(again)["drive"].tolist() == ["overdriven", "overdriven", "clean"]


def test_a_change_inside_a_section_is_reported(tmp_path):
    """A section has what holds in most of its bars."""
    made = song(*[("Guitar", "E4", 4 * bar, 4) for bar in range(3)], sections=[("Verse", 1)])
    data = format_musicxml(made, []).decode()
    words = "<direction><direction-type><words>distorted</words></direction-type></direction>"
    first = words.replace("distorted", "clean")
    for number, each in (("1", first), ("2", words)):
        start = data.index(">", data.index(f'<measure number="{number}"')) + 1
        end = data.find("</attributes>", start, data.index("<note", start))
        at = end + len("</attributes>") if end > 0 else start
        data = data[:at] + each + data[at:]
    path = tmp_path / "song.musicxml"
    path.write_text(data)
    again = ar.read(path)
    assert ar.part_setups(again)["drive"].tolist() == ["distorted"]
    assert again.notices == (
        "Guitar: its sound, echo or capo changes inside a section, which has what holds longest "
        "there: Verse",
    )


@pytest.mark.sampled
@pytest.mark.parametrize("suffix", [".musicxml", ".txt"])
@pytest.mark.parametrize("name", DEMOS)
def test_the_demos_with_setups_read_the_same_again(name, suffix, tmp_path):
    """Tables, frets and players, from the files that hold them; written again, the same file."""
    made = replace(with_setups(ar.read(DATASETS / name)), players=("Ann; clean", "Ben; acoustic"))
    path, second = tmp_path / f"song{suffix}", tmp_path / f"again{suffix}"
    write = ar.write_musicxml if suffix == ".musicxml" else ar.write_chart
    write(made, path)
    again = ar.read(path)
    pd.testing.assert_frame_equal(again.setups, made.setups)
    assert again.players == made.players
    columns = ["part", "onset", "pitch", "string", "fret"]
    first, other = (
        each.notes[columns].sort_values(columns, ignore_index=True) for each in (made, again)
    )
    pd.testing.assert_frame_equal(first, other)
    write(again, second)
    assert path.read_bytes() == second.read_bytes()


def test_a_driven_section_has_a_program_of_its_own(tmp_path):
    """General MIDI: 28 is a clean electric guitar, 30 an overdriven one. The rest is reported."""
    made = in_three_sections(*CHANGING)
    left_out = ar.write_midi(made, tmp_path / "song.mid")
    assert left_out[1:] == (
        "capos, echoes and layers of sections are left out, since MIDI does not hold them: 2",
    )
    track = mido.MidiFile(tmp_path / "song.mid").tracks[1]
    found, at = [], 0
    for message in track:
        at += message.time
        if message.type in ("program_change", "note_on"):
            value = message.program + 1 if message.type == "program_change" else message.note
            found.append((at // 480, value))
    assert found == [(0, 30), (0, 64), (4, 64), (8, 28), (8, 64)]
    assert [note.time for note in track if note.type == "note_off"] == [4 * 480] * 3


@pytest.mark.long
def test_music21_reads_the_same_pitches(tmp_path):
    """Written pitches, moved as the file says; the words and the capo change none."""
    made = with_setups(ar.read(DATASETS / "low-water.musicxml"))
    path = tmp_path / "song.musicxml"
    ar.write_musicxml(made, path)
    score = music21.converter.parse(path, forceSource=True).toSoundingPitch()
    for part in score.parts:
        own = made.notes[made.notes["part"] == part.partName]
        heard = sorted(
            pitch.midi
            for each in part.recurse().notes
            if isinstance(each, music21.note.Note | music21.chord.Chord)
            and not isinstance(each, music21.harmony.ChordSymbol)
            and (each.tie is None or each.tie.type == "start")
            for pitch in each.pitches
        )
        assert heard == sorted(own["pitch"].astype(int))
