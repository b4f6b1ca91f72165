"""Arranged songs, one condensed and one re-voiced, are written in every format and read again.

Each comes back from MusicXML, MIDI and a chart as far as the format promises; what a format cannot
hold is listed in ``test_write_musicxml``, ``test_midi`` and ``test_chart``. Sources: the MusicXML
4.0 schema (W3C); music21 reads and verovio engraves, neither knowing anything of this package.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
import verovio
from corpus import in_time, music21_parts
from lxml import etree
from test_chart import assert_same
from test_midi import lines, same
from test_midi import sounding as sounding_in_midi
from test_write_musicxml import WORKED_OUT, differences, schema, sounding

import arrange as ar
from arrange.tables.song import Song

DATASETS = Path(__file__).parents[1] / "datasets"

__all__ = ["schema"]  # a fixture, asked for by name


@pytest.fixture(scope="session")
def condensed(layers) -> Song:
    """Return fourteen layers condensed for two players."""
    return layers.song


@pytest.fixture(scope="session")
def revoiced() -> Song:
    """Return the demo song with the best proposal for its crowded chorus."""
    demo = ar.read(DATASETS / "low-water.musicxml")
    return ar.revoice(demo, "Guitar 1", section="Chorus 1")[0].song


@pytest.fixture(scope="session", params=["condensed", "revoiced"])
def arranged(request) -> Song:
    """Return each of the two songs."""
    return request.getfixturevalue(request.param)


@pytest.fixture(scope="session")
def score(arranged, tmp_path_factory) -> Path:
    """Return its MusicXML."""
    path = tmp_path_factory.mktemp("arranged") / "song.musicxml"
    ar.write_musicxml(arranged, path)
    return path


def plain(song: Song) -> Song:
    """Return the notes without ids, which the file makes; a test below compares voices."""
    return replace(song, notes=song.notes.assign(source_id="", voice="1"))


def voices(song: Song) -> Counter:
    """Return the voices of notes that have one, with their place."""
    with_voice = song.notes[song.notes["voice"].notna()].fillna({"pitch": -1.0})
    return Counter(
        with_voice[["part", "onset", "pitch", "voice"]].itertuples(index=False, name=None)
    )


def test_voices_in_the_file_stay(arranged, score, tmp_path):
    """A note of a second layer has no voice in a condensed song; a file gives it one."""
    ar.write_chart(arranged, tmp_path / "song.txt")
    for path in (score, tmp_path / "song.txt"):
        assert voices(arranged) <= voices(ar.read(path)), path.suffix


def test_they_are_arranged(condensed, revoiced):
    """The condensed song has two parts instead of fourteen guitars, and the chorus of the other
    differs from the demo's.
    """
    guitars = condensed.parts[condensed.parts["family"] == "guitar"]
    assert len(guitars) == 2
    demo = ar.read(DATASETS / "low-water.musicxml")
    columns = ["part", "onset", "duration", "pitch"]
    before, after = (set(each.notes[columns].itertuples(index=False)) for each in (demo, revoiced))
    moved = pd.DataFrame(before ^ after, columns=columns)
    assert set(moved["part"]) == {"Guitar 1"}
    chorus = demo.sections.set_index("section").loc["Chorus 1"]
    end = chorus["onset"] + chorus["duration"]
    assert moved["onset"].between(chorus["onset"], end, inclusive="left").all()


def test_musicxml_is_valid(score, schema):
    """The file is valid against the MusicXML 4.0 schema."""
    assert schema.validate(etree.parse(score)), str(schema.error_log)[:2000]


def test_musicxml_comes_back(arranged, score):
    """Every column comes back, strings and frets too, except what the format cannot hold."""
    again = ar.read(score)
    assert differences(plain(arranged), plain(again), WORKED_OUT) == {}
    assert again.title == arranged.title
    fretted = arranged.notes["string"].notna()
    assert fretted.sum() > 500
    assert again.notes["string"].notna().sum() == fretted.sum()


def test_strings_and_frets_are_in_the_file(arranged, score):
    """The elements hold the string, fret and capo of each part's notes.

    MusicXML 4.0: ``capo`` "changes the open tuning of the strings", so frets are written from it;
    in the tables they are from the nut. The open string and the fret make the pitch.
    """
    for index, part in enumerate(ET.parse(score).getroot().iter("part")):
        row = arranged.parts.iloc[index]
        in_file = Counter(
            (int(note.findtext(".//string")), int(note.findtext(".//fret")) + row["capo"])
            for note in part.iter("note")
            if note.find(".//fret") is not None and note.find("tie[@type='stop']") is None
        )
        own = arranged.notes[arranged.notes["part"] == row["part"]].dropna(subset=["fret"])
        assert in_file == Counter(own[["string", "fret"]].itertuples(index=False, name=None))
        assert int(part.findtext(".//staff-details/capo", "0")) == row["capo"]
        if len(own):
            opens = own["string"].map(dict(enumerate(row["tuning"], start=1)))
            assert (opens + own["fret"] == own["pitch"]).all()


def test_music21_reads_the_same_pitches(arranged, score):
    """music21 reads the same onset, duration and pitch of every note, and the grace notes."""
    theirs = in_time(music21_parts(score))
    assert [notes for notes, _ in theirs] == sounding(arranged)
    graces = [
        Counter(arranged.notes.query("part == @part and grace")["pitch"])
        for part in arranged.parts["part"]
    ]
    assert [each for _, each in theirs] == graces


def test_verovio_engraves_it(score, capfd):
    """verovio engraves every page, with a head for every note.

    It has no sign for a hammer-on in tablature and warns of that once for each end, and of nothing
    else.
    """
    verovio.enableLog(verovio.LOG_WARNING)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"xmlIdSeed": 1})
    assert toolkit.loadFile(str(score))
    pages = [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]
    printed = capfd.readouterr()
    root = ET.parse(score).getroot()
    hammered = sum(1 for _ in root.iter("hammer-on"))
    assert (printed.err + printed.out).splitlines() == [
        "[Error] Adding 'artic' to a 'tabGrp'"
    ] * hammered
    heads = sum(
        "note" in element.get("class", "").split()
        for page in pages
        for element in ET.fromstring(page).iter()
    )
    written = sum(note.find("rest") is None for note in root.iter("note"))
    assert heads == written


def test_midi_comes_back(arranged, tmp_path):
    """Notes, bars, tempo and sections come back; MIDI holds neither strings nor chords."""
    path = tmp_path / "song.mid"
    ar.write_midi(arranged, path)
    again = ar.read(path)
    before, after = (lines(sounding_in_midi(each), "onset", "end") for each in (arranged, again))
    same(before, after, abs=1e-9)
    assert again.title == arranged.title
    # A MIDI part has one sound; the changes from section to section stay in the file as programs.
    changes = ("Ann: it changes its sound; the first is kept",)
    assert again.notices == (changes if len(arranged.setups) else ())
    assert again.parts["part"].tolist() == arranged.parts["part"].tolist()
    has_program = arranged.parts["program"].notna() & (arranged.parts["family"] != "drums")
    has_program &= ~arranged.parts["part"].isin([name.split(":")[0] for name in again.notices])
    assert (
        again.parts["program"][has_program].tolist()
        == arranged.parts["program"][has_program].tolist()
    )
    pd.testing.assert_frame_equal(
        again.sections.drop(columns="pass"), arranged.sections.drop(columns="pass")
    )
    pd.testing.assert_frame_equal(
        again.measures.drop(columns="written"), arranged.measures.drop(columns="written"), rtol=1e-6
    )


def test_chart_comes_back(arranged, tmp_path):
    """All tables are equal, except for ids and voices; no note is moved or left out."""
    path = tmp_path / "song.txt"
    ar.write_chart(arranged, path)
    again = ar.read(path)
    assert list(again.notices) == []
    assert_same(plain(arranged), plain(again))
