"""One format into another, by function and by command."""

from pathlib import Path

import pandas as pd
import pytest

import arrange as ar
from arrange.__main__ import main

DATASETS = Path(__file__).parents[1] / "datasets"
SOUND = ["part", "onset", "duration", "measure", "section", "pitch"]


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


def test_what_is_there_stays_unless_told(tmp_path, capsys):
    """A file of that name is refused and kept; --overwrite replaces it. Exit codes 2 and 0."""
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
    """What was typed, with its comments and repeats, would be lost, and its log would not fit."""
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
    """An unknown suffix lists the known ones; a faulty source leaves no file behind."""
    with pytest.raises(ar.ArrangeError, match=r"no format ends so; name it \.musicxml, \.xml"):
        ar.convert(DATASETS / "low-water.txt", tmp_path / "song.pdf")
    (tmp_path / "bad.txt").write_text("title: x\nkey: H major\n\nsection: Verse\nGuitar | G |\n")
    assert main(["convert", str(tmp_path / "bad.txt"), str(tmp_path / "out.mid")]) == 2
    told = capsys.readouterr().err
    assert "line 2, column 6" in told
    assert "line 5" in told
    assert not (tmp_path / "out.mid").exists()


def test_read_knows_a_file_by_its_content(tmp_path):
    """A MIDI file with another suffix is read as one (it begins with MThd); so is MusicXML."""
    ar.convert(DATASETS / "tarrow-weir.txt", tmp_path / "song.mid")
    (tmp_path / "song.xml").write_bytes((tmp_path / "song.mid").read_bytes())
    assert len(ar.read(tmp_path / "song.xml").notes) == len(ar.read(tmp_path / "song.mid").notes)
    (tmp_path / "score.txt").write_bytes((DATASETS / "low-water.musicxml").read_bytes())
    assert len(ar.read(tmp_path / "score.txt").notes) == 2031
