"""Convert one format into another, by function and by command."""

from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from songs import parts_of, song

import arrange as ar
from arrange.__main__ import main
from arrange.formats.converting import write_song

DATASETS = Path(__file__).parents[1] / "datasets"
SOUND = ["part", "onset", "duration", "measure", "section", "pitch"]


@pytest.mark.sampled
@pytest.mark.parametrize("suffix", [".musicxml", ".mid", ".txt"])
@pytest.mark.parametrize("name", ["low-water.musicxml", "low-water.txt", "tarrow-weir.txt"])
def test_every_format_keeps_what_sounds(tmp_path, name, suffix):
    """The notes, bars and sections of both demo songs survive each of the three formats.

    Grace notes are left out: a MIDI file knows no note without a length (Standard MIDI Files 1.0).
    """
    target = tmp_path / f"song{suffix}"
    before = ar.convert(DATASETS / name, target)
    after = ar.read(target)
    timed = [song.notes[~song.notes["grace"]] for song in (before, after)]
    one, other = (
        notes[SOUND].sort_values(["onset", "part", "pitch"], ignore_index=True) for notes in timed
    )
    pd.testing.assert_frame_equal(one, other)
    assert before.sections["section"].tolist() == after.sections["section"].tolist()
    assert before.measures["onset"].tolist() == after.measures["onset"].tolist()


def test_score_to_chart_to_score_keeps_strings_and_chords(tmp_path):
    """MusicXML and the chart both hold strings, frets, techniques and chord symbols."""
    ar.convert(DATASETS / "low-water.musicxml", tmp_path / "a.txt")
    ar.convert(tmp_path / "a.txt", tmp_path / "b.musicxml")
    first, last = ar.read(DATASETS / "low-water.musicxml"), ar.read(tmp_path / "b.musicxml")
    for column in ("string", "fret", "technique"):
        assert first.notes[column].equals(last.notes[column])
    assert first.chords["symbol"].tolist() == last.chords["symbol"].tolist()


def test_what_is_there_stays_without_overwrite(tmp_path, capsys):
    """An existing file of that name is refused and kept; --overwrite replaces it. Exit codes: 2 and
    0.
    """
    target = tmp_path / "song.txt"
    target.write_text("mine")
    source = str(DATASETS / "tarrow-weir.txt")
    assert main(["convert", source, str(target)]) == 2
    assert target.read_text() == "mine"
    assert "is there already; choose another name, or --overwrite" in capsys.readouterr().err
    assert main(["convert", source, str(target), "--overwrite"]) == 0
    assert target.read_text().startswith("title: Down to Tarrow Weir")
    assert [path.name for path in tmp_path.iterdir()] == ["song.txt"]


@pytest.mark.parametrize("command", ["convert", "rebuild", "condense"])
def test_the_song_that_is_read_is_never_replaced(command, tmp_path, capsys):
    """Otherwise typed comments and repeats would be lost, and the log would not fit."""
    song = tmp_path / "song.txt"
    typed = (DATASETS / "tarrow-weir.txt").read_bytes()
    song.write_bytes(typed)
    (tmp_path / "again.txt").symlink_to(song)
    for target in (song, tmp_path / "again.txt"):
        name = [str(target)] if command == "convert" else ["-o", str(target)]
        assert main([command, str(song), *name, "--overwrite"]) == 2
        assert f"{target.name} is the song that is read" in capsys.readouterr().err
    assert song.read_bytes() == typed


def test_bad_names_and_bad_songs_write_nothing(tmp_path, capsys):
    """For an unknown suffix the error lists the known ones; a faulty source leaves no file."""
    with pytest.raises(ar.ArrangeError, match=r"no format ends so; name it \.musicxml, \.xml"):
        ar.convert(DATASETS / "low-water.txt", tmp_path / "song.pdf")
    (tmp_path / "bad.txt").write_text("title: x\nkey: H major\n\nsection: Verse\nGuitar | G |\n")
    assert main(["convert", str(tmp_path / "bad.txt"), str(tmp_path / "out.mid")]) == 2
    printed = capsys.readouterr().err
    assert "line 2, column 6" in printed
    assert "line 5" in printed
    assert not (tmp_path / "out.mid").exists()


def test_read_knows_a_file_by_its_content(tmp_path):
    """A MIDI file with another suffix is read as MIDI (it begins with MThd); so is MusicXML."""
    ar.convert(DATASETS / "tarrow-weir.txt", tmp_path / "song.mid")
    (tmp_path / "song.xml").write_bytes((tmp_path / "song.mid").read_bytes())
    assert len(ar.read(tmp_path / "song.xml").notes) == len(ar.read(tmp_path / "song.mid").notes)
    (tmp_path / "score.txt").write_bytes((DATASETS / "low-water.musicxml").read_bytes())
    assert len(ar.read(tmp_path / "score.txt").notes) == 2031


def odd_note(a_song, **columns):
    """Return the song with some columns of its second note changed."""
    notes = a_song.notes.copy()
    for name, value in columns.items():
        notes.loc[1, name] = value
    return replace(a_song, notes=notes)


def plain():
    return song(("Guitar 1", "E3", 0, 1), ("Guitar 1", "G3", 1, 1))


@pytest.mark.parametrize(
    ("a_song", "suffix", "says"),
    [
        (odd_note(plain(), onset=4.0, duration=0.0, grace=True), "txt",
         "grace notes on the last bar line are left out: 1"),
        (odd_note(plain(), string=1, fret=1), "txt",
         "strings and frets that do not give the pitch, or lie under the capo, are left out: 1"),
        (odd_note(plain(), pitch=60.25), "txt", "pitches are rounded to quarter tones: 1"),
        (odd_note(plain(), pitch=60.5), "mid", "quarter tones are rounded to semitones: 1"),
        (odd_note(plain(), onset=3.5, duration=9.0), "txt",
         "notes that outlast the last bar end with it: 1"),
        (odd_note(plain(), onset=3.5, duration=9.0), "mid",
         "notes that outlast the last bar end with it: 1"),
        (odd_note(plain(), onset=3.5, duration=9.0), "musicxml",
         "notes that outlast the last bar end with it: 1"),
        (song(*(("Guitar 1", "E3", at, 1 / under) for at, under in enumerate((7, 11, 13, 17)))),
         "mid", "its times have no common grid of 1/4,095 quarter note or coarser: who reads the "
         "file may move them to one"),
    ],
)  # fmt: skip
def test_what_a_file_does_not_hold_is_said(a_song, suffix, says, tmp_path):
    """Each format has its limits; a song beyond a limit comes back changed, and a notice says how.

    MIDI's pitches are semitones and its ticks at most 32,767 to a quarter note (Standard MIDI
    Files 1.0); what a chart holds is in datasets/README.md.
    """
    assert write_song(a_song, tmp_path / f"song.{suffix}") == (says,)


@pytest.mark.parametrize("suffix", ["musicxml", "mid", "txt"])
def test_a_note_that_outlasts_the_song_makes_it_no_longer(suffix, tmp_path):
    """The note ends with the last bar in every format, so that a MIDI file gets no further bars."""
    path = tmp_path / f"song.{suffix}"
    write_song(odd_note(plain(), onset=3.5, duration=9.0), path)
    again = ar.read(path)
    assert again.duration == 4
    assert again.notes["duration"].tolist() == [1, 0.5]


# Sounding keys and pitches of parts that are written where they do not sound: a clarinet in B
# flat a tone lower, an alto saxophone in E flat a major sixth lower, a guitar an octave lower
# (textbooks of instrumentation; from memory), a guitar behind a capo written as its shapes.
TRANSPOSED = [
    ("Clarinet", "other", -2, 0), ("Alto sax", "other", -9, 0), ("Guitar 1", "guitar", -12, 0),
    ("Guitar 1", "guitar", -12 + 3, 3), ("Guitar 1", "guitar", 0, 24),
]  # fmt: skip


@pytest.mark.sampled
@pytest.mark.parametrize("suffix", ["musicxml", "mid", "txt"])
@pytest.mark.parametrize("key", ["Bb major", "D dorian"])
@pytest.mark.parametrize(("part", "family", "transpose", "capo"), TRANSPOSED)
def test_transposing_parts_sound_the_same(suffix, key, part, family, transpose, capo, tmp_path):
    """Parts that are written elsewhere than they sound come back as they sound, in every format."""
    parts = parts_of(part, family=family, transpose=transpose, capo=capo)
    a_song = song((part, "Bb4", 0, 1), (part, "C#5", 1, 2), key=key, parts=parts)
    path = tmp_path / f"song.{suffix}"
    write_song(a_song, path)
    again = ar.read(path)
    assert again.notes[["onset", "duration", "pitch"]].equals(
        a_song.notes[["onset", "duration", "pitch"]]
    )
    if suffix != "mid":  # MIDI has no transposition, and only major and minor keys
        assert again.parts[["transpose", "capo"]].equals(a_song.parts[["transpose", "capo"]])
        assert again.measures["key"].tolist() == [key]


@pytest.mark.parametrize("key", ["Cb major", "F# lydian", "Ab minor", "C# major"])
def test_a_key_is_spelled_as_the_part_at_concert_pitch_has_it(key, tmp_path):
    """A part at concert pitch decides, since a clarinet in B flat writes F sharp and G flat major
    alike, as A flat major.
    """
    parts = parts_of("Clarinet", "Guitar", family=["other", "guitar"], transpose=[-2, -12])
    path = tmp_path / "song.musicxml"
    ar.write_musicxml(song(("Clarinet", "Bb4", 0, 1), key=key, parts=parts), path)
    assert ar.read(path).measures["key"].tolist() == [key]
