"""What a sheet in a browser is given to play: times, pitches, loudness, text that breaks nothing.

Times are worked out here from the measures table, pitches from A4 = 440 Hz in equal temperament
(ISO 16:1975); counts of a bar and what muted and ringing notes do are common practice.
"""

from __future__ import annotations

import json
import re
from bisect import bisect_right
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from songs import notes_of, with_setup
from songs import song as song_of

from arrange.formats.chart import read_chart
from arrange.formats.reading import read
from arrange.handouts import write_handout
from arrange.handouts.sheet_player import player_html
from arrange.handouts.sheet_sound import song_sound
from arrange.sound import PEAK

DATASETS = Path(__file__).parent.parent / "datasets"
SONGS = ("low-water.txt", "tarrow-weir.txt", "barn-lights.txt")
HARBOUR = """\
title: Harbour </script><script>alert(1)</script> & "co" <!--
meter: 6/8
tempo: 60 dotted quarters
part: Guitar 1; electric guitar; level -6 dB
part: Guitar 2; electric guitar

section: O'Neil's "verse" </script>
chords   | A | D |
Guitar 1 | A3 | D4 |
Guitar 2 | A2 | D3 |
"""


@pytest.fixture(scope="module")
def harbour():
    return read_chart(HARBOUR.encode())


def time_of(song):
    """Return a function of onsets that gives the time, bar by bar: a second reading of tempo."""
    bars, total = [], 0.0
    for row in song.measures.itertuples():
        bars.append((row.onset, total, 60 / row.tempo))
        total += row.duration * 60 / row.tempo
    starts = [start for start, _, _ in bars]

    def seconds(onset):
        start, begun, beat = bars[bisect_right(starts, onset) - 1]
        return begun + (onset - start) * beat

    return seconds


def given(sound):
    """Return each note as (part, start, length, Hz), as the script reads it."""
    for start, length, tone, bus, *_ in sound["notes"]:
        part = sound["parts"][sound["buses"][bus]["part"]]["part"]
        yield part, start, length, sound["tones"][tone][0] if tone >= 0 else None


def in_order(notes):
    return sorted(notes, key=lambda each: (each[0], each[3] or 0.0, each[1], each[2]))


@pytest.mark.sampled
@pytest.mark.parametrize("name", SONGS)
def test_every_note_is_given_in_seconds_and_hertz(name):
    song = read(DATASETS / name)
    sound = song_sound(song)
    played = song.notes[(song.notes["duration"] > 0) & ~song.notes["grace"]]
    wanted, seconds = [], time_of(song)
    for row in played.itertuples():
        at = seconds(row.onset)
        end = seconds(min(row.onset + row.duration, song.duration))
        hertz = None if row.pitch != row.pitch else 440 * 2 ** ((row.pitch - 69) / 12)
        wanted.append((row.part, at, end - at, hertz))
    for own, other in zip(in_order(given(sound)), in_order(wanted), strict=True):
        assert (own[0], own[3] is None) == (other[0], other[3] is None)
        assert own[1:3] == pytest.approx(other[1:3], abs=2e-4)
        assert own[3] is None or own[3] == pytest.approx(other[3], rel=1e-6)
    starts = [note[0] for note in sound["notes"]]
    assert starts == sorted(starts)


def test_a_bar_of_six_eighths_is_counted_in_two(harbour):
    """At a dotted quarter = 60 a beat lasts a second."""
    assert song_sound(harbour)["bars"] == [[0.0, 2.0, 1.0], [2.0, 2.0, 1.0]]
    (label, *times), = song_sound(harbour)["sections"]  # fmt: skip
    assert label == "O'Neil's \"verse\" </script>"
    assert times == [0.0, 4.0, 1, 2]


def test_loudness_follows_the_levels(harbour):
    """-6 dB is nearly half the amplitude (20 log10 of it)."""
    first, second = (part["volume"] for part in song_sound(harbour)["parts"])
    assert 20 * np.log10(first / second) == pytest.approx(-6, abs=0.01)
    assert song_sound(harbour)["fixed"]["peak"] == PEAK


def test_muted_and_ringing_notes_differ_from_plain_ones():
    rows = [("Guitar 1", "A2", 0, 1), ("Guitar 1", "A2", 1, 1), ("Guitar 1", "A2", 3, 1)]
    table = notes_of(*rows).assign(technique=["muted", "let ring", None])
    sound = song_sound(replace(song_of(*rows), notes=table.astype({"technique": "str"})))
    muted, ringing, plain = sound["notes"]
    assert len(ringing) == 5
    assert ringing[4] > 0
    assert len(muted) == len(plain) == 4
    decay = [sound["tones"][note[2]][2][0] for note in sound["notes"]]
    assert decay[0] > 5 * decay[2]
    assert decay[1] == decay[2]


def test_drive_and_echo_are_those_of_the_section():
    """An echo of a quarter note lasts a second at 60."""
    rows = [("Guitar 1", "A2", 0, 1), ("Guitar 1", "A2", 4, 1)]
    song = song_of(*rows, sections=(("Verse", 1), ("Chorus", 2)))
    song = with_setup(song, "Guitar 1", "Chorus", drive="distorted", echo="quarter")
    clean, driven = song_sound(song)["buses"]
    assert (clean["drive"], clean["delay"]) == (None, 0.0)
    assert driven["drive"]
    assert driven["delay"] == 1.0


def test_strokes_without_a_pitch_and_songs_without_a_note():
    song = read(DATASETS / "tarrow-weir.txt")
    drums = replace(song, notes=song.notes[song.notes["pitch"].isna()].reset_index(drop=True))
    sound = song_sound(drums)
    assert {note[2] for note in sound["notes"]} == {-1}
    assert sound["tones"] == []
    silent = replace(drums, notes=drums.notes[:0])
    assert song_sound(silent)["notes"] == []


def test_no_text_of_a_song_ends_the_script(harbour, tmp_path):
    """The JSON in the page reads back as it was given, whatever titles and labels hold."""
    paths = write_handout(harbour, tmp_path, player="Guitar 1")
    page = next(path for path in paths if path.suffix == ".html").read_text()
    assert "<script>alert" not in page
    data = re.search(r'<script type="application/json" id="song-sound">(.*?)</script>', page)[1]
    assert json.loads(data) == {"own": "Guitar 1", **song_sound(harbour)}
    labels = re.findall(r"data-section='([^']*)'", page)
    assert [json.loads(each) for each in labels] == [["O'Neil's \"verse\" </script>"]]
    assert page.count("</script>") == 2


def test_a_page_stays_small():
    """Under 300 kB more, also for a song of 17 layers; and nothing is fetched."""
    page = player_html(song_sound(read(DATASETS / "last-bell.musicxml")), "Voice")
    assert len(page) < 300_000
    assert not re.search(r"https?:|src=|import\(|fetch\(", page)
