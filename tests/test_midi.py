"""Standard MIDI Files: read from bytes put together by hand, written and read back.

Sources: *Standard MIDI Files 1.0* (MIDI Manufacturers Association, RP-001), for chunks, variable
lengths, running status and meta events; *General MIDI System Level 1* (RP-003), for programs, the
percussion channel and channel volume. Both from memory, except where another library agrees on
the same file: ``mido`` and ``pretty_midi`` read what is written here, and ``mido``'s messages
counted up one by one are the second implementation of reading.
"""

from __future__ import annotations

import contextlib
import math
import random
import struct
import time
from collections import Counter
from io import BytesIO
from pathlib import Path

import mido
import music21
import numpy as np
import pandas as pd
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from songs import parts_of, song

import arrange as ar
from arrange.errors import ArrangeError, ReadError
from arrange.formats.midi import is_midi, read_midi, write_midi
from arrange.formats.midi.sounds import DRUM_KEYS, PROGRAM_NAMES, usual_program

LOW_WATER = Path(__file__).parents[1] / "datasets" / "low-water.musicxml"
MUSIC21 = Path(music21.__file__).parent
PLAYED = sorted((MUSIC21 / "midi" / "testPrimitive").glob("*.mid"))
SCORES = (
    "corpus/bach/bwv66.6.mxl",
    "corpus/beethoven/opus18no1/movement3.mxl",
    "corpus/haydn/opus1no1/movement3.mxl",
    "corpus/joplin/maple_leaf_rag.mxl",
    "corpus/schoenberg/opus19/movement2.mxl",
    "corpus/trecento/PMFC_13_17-Gloria Spiritus et Alme.xml",
    "musicxml/lilypondTestSuite/03aa-Rhythm-Durations.xml",
    "musicxml/lilypondTestSuite/11d-TimeSignatures-CompoundMultiple.xml",
    "musicxml/lilypondTestSuite/23d-Tuplets-Nested.xml",
    "musicxml/lilypondTestSuite/46d-PickupMeasure-ImplicitMeasures.xml",
    "musicxml/lilypondTestSuite/73a-Percussion.xml",
)

# ---------------------------------------------------------------- files put together by hand


def number(value: int) -> bytes:
    """Return a number of variable length: seven bits a byte; only the last byte's highest bit is
    clear.
    """
    digits = [value & 127]
    while value := value >> 7:
        digits.append(value & 127 | 128)
    return bytes(reversed(digits))


def meta(delta: int, kind: int, data: bytes | str = b"") -> bytes:
    data = data.encode("utf-8") if isinstance(data, str) else data
    return number(delta) + bytes([0xFF, kind]) + number(len(data)) + data


def on(delta: int, pitch: int, velocity: int = 64, channel: int = 0) -> bytes:
    return number(delta) + bytes([0x90 | channel, pitch, velocity])


def off(delta: int, pitch: int, channel: int = 0) -> bytes:
    return number(delta) + bytes([0x80 | channel, pitch, 64])


def note(delta: int, length: int, pitch: int = 60, channel: int = 0) -> bytes:
    return on(delta, pitch, channel=channel) + off(length, pitch, channel)


def control(delta: int, controller: int, value: int, channel: int = 0) -> bytes:
    return number(delta) + bytes([0xB0 | channel, controller, value])


def program(delta: int, value: int, channel: int = 0) -> bytes:
    """Return a program change; `value` counts from 0, as in the file."""
    return number(delta) + bytes([0xC0 | channel, value])


def tempo(delta: int, quarters_a_minute: float) -> bytes:
    return meta(delta, 0x51, round(60e6 / quarters_a_minute).to_bytes(3))


def meter(delta: int, beats: int, power: int) -> bytes:
    return meta(delta, 0x58, bytes([beats, power, 24, 8]))


END = meta(0, 0x2F)


def midi(*tracks: bytes, form: int = 1, ticks: int = 480, end: bytes = END) -> bytes:
    """Return a file of these tracks, each closed by `end`."""
    head = b"MThd" + struct.pack(">LHHH", 6, form, len(tracks), ticks)
    whole = [track + end for track in tracks]
    return head + b"".join(b"MTrk" + struct.pack(">L", len(track)) + track for track in whole)


CONDUCTOR = tempo(0, 120) + meter(0, 4, 2)


def rows(song: ar.Song) -> list[tuple]:
    """Return (part, onset, duration, pitch) of each note."""
    columns = [song.notes[name].tolist() for name in ("part", "onset", "duration", "pitch")]
    return [
        (part, onset, duration, None if math.isnan(pitch) else pitch)
        for part, onset, duration, pitch in zip(*columns, strict=True)
    ]


# The worked example of the specification: three sounds, a note each or two, in a bar of 4/4.
EXAMPLE_0 = bytes.fromhex(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B"
    "00 FF58 04 04021808  00 FF51 03 07A120  00 C005  00 C12E  00 C246"
    "00 923060  00 3C60  60 914340  60 904C20  8140 823040  00 3C40  00 814340  00 804C40"
    "00 FF2F 00"
)
EXAMPLE_1 = bytes.fromhex(
    "4D546864 00000006 0001 0004 0060"
    "4D54726B 00000014  00 FF58 04 04021808  00 FF51 03 07A120  8300 FF2F 00"
    "4D54726B 00000010  00 C005  8140 904C20  8140 4C00  00 FF2F 00"
    "4D54726B 0000000F  00 C12E  60 914340  8220 4300  00 FF2F 00"
    "4D54726B 00000015  00 C246  00 923060  00 3C60  8300 3000  00 3C00  00 FF2F 00"
)


@pytest.mark.parametrize("data", [EXAMPLE_0, EXAMPLE_1], ids=["format 0", "format 1"])
def test_the_example_of_the_specification(data):
    """Appendix of RP-001, from memory (its chunk lengths agree): C3 and C4 for four quarters on
    program 71 (bassoon), G4 from the second quarter on program 47 (harp), E5 from the third on
    program 6 (electric piano). Format 0 has a key up for each, format 1 running status and
    velocity 0."""
    read = read_midi(data)
    assert rows(read) == [
        ("Bassoon", 0, 4, 48),
        ("Bassoon", 0, 4, 60),
        ("Orchestral Harp", 1, 3, 67),
        ("Electric Piano 2", 2, 2, 76),
    ]
    assert read.parts["program"].tolist() == [6, 47, 71]
    assert read.measures[["duration", "meter", "tempo"]].to_numpy().tolist() == [[4, "4/4", 120]]
    assert read.notices == ()


def test_a_file_is_known_by_its_first_bytes():
    """RP-001: it begins with "MThd"; in a RIFF envelope "RMID" stands at the ninth byte."""
    body = midi(CONDUCTOR)
    riff = b"RIFF" + struct.pack("<L", len(body) + 12) + b"RMIDdata"
    riff += struct.pack("<L", len(body)) + body
    assert is_midi(body)
    assert is_midi(riff)
    assert not is_midi(b"<score-partwise/>")
    assert len(read_midi(riff).measures) == 1


def test_chunks_that_are_no_tracks_are_passed_over():
    """RP-001: "your programs should expect alien chunks and treat them as if they weren't
    there"; a longer head is read as far as it is known."""
    body = midi(CONDUCTOR, note(0, 480))
    alien = b"XFIH" + struct.pack(">L", 5) + b"\x00\xff\x01ab"
    assert rows(read_midi(body[:14] + alien + body[14:])) == [("Channel 1", 0, 1, 60)]
    longer = body[:7] + b"\x08" + body[8:14] + b"\x00\x00" + body[14:]
    assert rows(read_midi(longer)) == [("Channel 1", 0, 1, 60)]


def test_an_unknown_meta_event_keeps_its_time():
    """RP-001: unknown meta events are ignored, by their length; the time in front of one
    passes all the same."""
    track = on(0, 60) + meta(480, 0x0A, b"?") + off(480, 60)
    assert rows(read_midi(midi(CONDUCTOR, track))) == [("Channel 1", 0, 2, 60)]


def test_running_status_and_velocity_nought():
    """RP-001: a repeated status byte may be left out; a key down with velocity 0 is a
    key up."""
    track = on(0, 60) + bytes([96, 60, 0, 0, 62, 64, 96, 62, 0])
    assert rows(read_midi(midi(CONDUCTOR, track, ticks=96))) == [
        ("Channel 1", 0, 1, 60),
        ("Channel 1", 1, 1, 62),
    ]


def test_running_status_behind_a_meta_event_is_read_with_a_notice():
    """RP-001: meta events cancel running status; files that go on all the same can be read in
    one way only."""
    track = on(0, 60) + meta(0, 1, "hum") + bytes([96, 60, 0])
    read = read_midi(midi(CONDUCTOR, track, ticks=96))
    assert rows(read) == [("Channel 1", 0, 1, 60)]
    assert read.notices == (
        "track 2 leaves out a status byte behind a meta or system event, which the format "
        "forbids; the last status is taken",
    )


def test_system_exclusive_events_are_passed_over():
    """RP-001: F0 and F7 are followed by a length; an F7 event may hold any bytes."""
    track = b"\x00\xf0\x03\x7e\x09\xf7" + on(0, 60) + b"\x60\xf7\x02\xf3\x01" + off(0, 60)
    assert rows(read_midi(midi(CONDUCTOR, track, ticks=96))) == [("Channel 1", 0, 1, 60)]


# ---------------------------------------------------------------- parts


def test_parts_are_named_by_their_tracks():
    """Two tracks of one name are numbered; a name that says what it is decides the family,
    before the program, which many files leave at the piano."""
    read = read_midi(
        midi(
            meta(0, 3, "Ferry") + CONDUCTOR,
            meta(0, 3, "Guitar") + program(0, 0) + note(0, 480),
            meta(0, 3, "Guitar") + program(0, 30, 1) + note(0, 480, 64, 1),
            meta(0, 3, "Low") + meta(0, 4, "Fretless Bass") + note(0, 480, 40, 2),
            meta(0, 3, "Lead") + meta(0, 5, "la") + note(0, 480, 70, 3),
            note(0, 480, 40, 9),
        )
    )
    assert read.title == "Ferry"
    listed = read.parts[["part", "instrument", "family", "drive"]].astype(object)
    assert listed.where(listed.notna(), None).to_numpy().tolist() == [
        ["Guitar 1", "Acoustic Grand Piano", "guitar", "clean"],
        ["Guitar 2", "Distortion Guitar", "guitar", "distorted"],
        ["Low", "Fretless Bass", "bass", "clean"],
        ["Lead", None, "voice", "clean"],
        ["Drums", "Drums", "drums", "clean"],
    ]
    assert read.parts["program"].fillna(0).tolist() == [1, 31, 0, 0, 0]


def test_channels_of_one_track_are_parts_of_their_own():
    """Format 0 has one track by definition; each channel in it is an instrument."""
    track = program(0, 24) + program(0, 32, 1) + note(0, 480, 64) + note(0, 480, 40, 1)
    track += note(0, 480, 38, 9)
    single = read_midi(midi(CONDUCTOR + meta(0, 3, "Song") + track, form=0))
    assert single.title == "Song"
    assert single.parts["part"].tolist() == ["Acoustic Guitar (nylon)", "Acoustic Bass", "Drums"]
    assert single.parts["family"].tolist() == ["guitar", "bass", "drums"]
    double = read_midi(midi(CONDUCTOR, meta(0, 3, "Duo") + track))
    assert double.parts["part"].tolist() == [
        "Duo Acoustic Guitar (nylon)", "Duo Acoustic Bass", "Duo Drums"
    ]  # fmt: skip


def test_the_percussion_channel_has_no_pitch():
    """General MIDI: on channel 10 a key is a drum."""
    read = read_midi(midi(CONDUCTOR, note(0, 480, 38, 9)))
    assert rows(read) == [("Drums", 0, 1, None)]


def test_level_is_the_channel_volume_against_the_loudest():
    """General MIDI: 40 log10(volume / 127) dB. 127 against 64 is 11.9 dB; in a fade the value of
    most notes counts; without any volume it is 100."""
    fading = control(0, 7, 64) + note(0, 240) * 3 + control(0, 7, 1) + note(0, 240)
    read = read_midi(
        midi(CONDUCTOR, control(0, 7, 127) + note(0, 480), fading, note(0, 480, 50, 2))
    )
    expected = [0, 40 * math.log10(64 / 127), 40 * math.log10(100 / 127)]
    assert read.parts["level"].tolist() == pytest.approx(expected)
    assert expected[1] == pytest.approx(-11.9, abs=0.01)


def test_a_program_change_before_the_first_note_counts():
    """The sound in force when the part begins counts; a later one is reported."""
    track = program(0, 0) + program(0, 25) + note(0, 480) + program(0, 30) + note(0, 480)
    read = read_midi(midi(CONDUCTOR, track))
    assert read.parts["program"].tolist() == [26]
    assert read.notices == ("Acoustic Guitar (steel): it changes its sound; the first is kept",)


def test_pedal_and_bends_are_reported():
    """They neither lengthen nor move a note, which is reported."""
    track = control(0, 64, 127) + note(0, 480) + b"\x00\xe0\x00\x50"
    assert read_midi(midi(CONDUCTOR, track)).notices == (
        "Channel 1: the sustain pedal is not applied; notes end where their keys go up",
        "Channel 1: pitch bends are left out",
    )


def test_a_track_that_only_sets_up_its_channel_is_a_part_that_lays_out():
    """A track with only a name is no part: many files put their credits into names of empty
    tracks.
    """
    read = read_midi(
        midi(CONDUCTOR, note(0, 480), meta(0, 3, "Organ") + program(0, 16, 1), meta(0, 3, "by me"))
    )
    assert read.parts["part"].tolist() == ["Channel 1", "Organ"]


def test_octaves_move_a_part():
    """An octave is twelve semitones."""
    data = midi(CONDUCTOR, meta(0, 3, "Guitar") + note(0, 480, 64))
    assert rows(read_midi(data, octaves={"Guitar": -1})) == [("Guitar", 0, 1, 52)]
    with pytest.raises(ReadError, match=r"^x\.mid: no part is called 'Lute', .* there are Guitar$"):
        read_midi(data, "x.mid", octaves={"Lute": -1})


def test_names_in_other_encodings():
    """RP-001 asks for ASCII and allows others: UTF-8 if it is that, else Western; control signs
    are no part of a name."""
    tracks = [
        meta(0, 3, name) + note(0, 480)
        for name in ("Gitarre ♭".encode(), "Flöte".encode("latin-1"), b"Bass\x00\r\n 2 ", b"\x81")
    ]
    read = read_midi(midi(CONDUCTOR, *tracks))
    assert read.parts["part"].tolist() == ["Gitarre ♭", "Flöte", "Bass 2", "\ufffd"]


def test_program_names_are_general_midis():
    """pretty_midi has the same 128 names, but for brackets."""
    plain = [name.replace("(", "").replace(")", "") for name in PROGRAM_NAMES]
    other = [pretty_midi.program_to_instrument_name(number) for number in range(128)]
    assert plain == [name.replace("(", "").replace(")", "") for name in other]
    assert sorted(DRUM_KEYS) == list(range(35, 82))  # the keys that have a drum


# ---------------------------------------------------------------- bars


def test_bars_follow_from_the_time_signatures():
    """The bars are two of 4/4, one of 6/8, then 5/4 to the end, where the last bar is filled."""
    conductor = tempo(0, 120) + meter(0, 4, 2) + meter(3840, 6, 3) + meter(1440, 5, 2)
    read = read_midi(midi(conductor, note(0, 480) + note(5760, 480)))
    assert read.measures[["onset", "duration", "meter"]].to_numpy().tolist() == [
        [0, 4, "4/4"], [4, 4, "4/4"], [8, 3, "6/8"], [11, 5, "5/4"]
    ]  # fmt: skip
    assert read.notices == ()


def test_a_time_signature_inside_a_bar_cuts_it():
    """The bar before becomes shorter, which is reported."""
    conductor = tempo(0, 120) + meter(0, 4, 2) + meter(2400, 3, 2)
    read = read_midi(midi(conductor, note(0, 480) + note(3360, 480)))
    assert read.measures[["onset", "duration", "meter"]].to_numpy().tolist() == [
        [0, 4, "4/4"], [4, 1, "4/4"], [5, 3, "3/4"], [8, 3, "3/4"]
    ]  # fmt: skip
    assert read.notices == ("a time signature stands inside a bar and cuts it short: bar 2",)


def test_without_time_signature_and_tempo_the_formats_own_are_taken():
    """RP-001: "the time signature is assumed to be 4/4, and the tempo 120 beats per minute"."""
    read = read_midi(midi(note(0, 480)))
    assert read.measures[["duration", "meter", "tempo"]].to_numpy().tolist() == [[4, "4/4", 120]]
    assert read.notices == (
        "no time signature is given: 4/4 is assumed",
        "no tempo is given: 120 quarter notes a minute are assumed",
    )


def test_the_end_of_the_tracks_asks_for_bars():
    """Nine quarters are three bars of 4/4; a track that ends a few ticks behind a bar line asks
    for no further bar."""
    assert len(read_midi(midi(CONDUCTOR, note(0, 480), end=meta(4320, 0x2F))).measures) == 3
    assert len(read_midi(midi(CONDUCTOR, note(0, 480), end=meta(1450, 0x2F))).measures) == 1


def test_tempo_changes_inside_a_bar():
    """Two quarters at 120 and two at 60 last 1 + 2 seconds: four quarters in 3 s are 80 a
    minute. The second bar goes on at 60."""
    conductor = meter(0, 4, 2) + tempo(0, 120) + tempo(960, 60)
    read = read_midi(midi(conductor, note(0, 3840)))
    assert read.measures["tempo"].tolist() == pytest.approx([80, 60])
    assert read.seconds(8) == pytest.approx(7)


def test_before_the_first_tempo_the_formats_own_is_in_force():
    """RP-001: 120 until the file sets a tempo; a bar at 120, then one at 60."""
    read = read_midi(midi(meter(0, 4, 2) + tempo(1920, 60), note(0, 3840)))
    assert read.measures["tempo"].tolist() == [120, 60]


@pytest.mark.parametrize("written", [92, 97, 120, 133.5, 71.43])
def test_a_tempo_is_the_roundest_that_its_microseconds_mean(written):
    """60,000,000 / 92 is 652,173.9: the file keeps 652,174, which is 91.99999 a minute."""
    read = read_midi(midi(meter(0, 4, 2) + tempo(0, written), note(0, 480)))
    assert read.measures["tempo"].tolist() == [written]


def test_keys():
    """RP-001: sharps, or flats as a negative byte, and 1 for minor: -3 and 1 is C minor; the key
    holds until the next."""
    conductor = CONDUCTOR + meta(0, 0x59, bytes([253, 1])) + meta(3840, 0x59, bytes([2, 0]))
    read = read_midi(midi(conductor, note(0, 7680)))
    assert read.measures["key"].tolist() == ["C minor", "C minor", "D major", "D major"]


def test_markers_name_sections():
    """Every marker names a section; cue points and texts do if they are a section's name; one that
    stands a little before a bar line belongs to it."""
    conductor = (
        CONDUCTOR
        + meta(0, 6, "A")
        + meta(0, 1, "made in a hurry")
        + meta(1910, 7, "Verse")
        + meta(1930, 1, "Chorus 2")
        + meta(960, 6, "Late")
        + meta(960, 7, "Car crashes")
    )
    read = read_midi(midi(conductor, note(0, 7680)))
    assert read.sections[["section", "kind", "first_measure"]].to_numpy().tolist() == [
        ["A", "other", 1], ["Verse", "verse", 2], ["Chorus 2", "chorus", 3]
    ]  # fmt: skip
    late = read_midi(midi(CONDUCTOR + meta(2880, 6, "Late"), note(0, 7680)))
    assert late.sections["first_measure"].tolist() == [1, 2]
    assert late.notices == ("markers inside a bar, whose sections begin with it: 1",)


# ---------------------------------------------------------------- which key up ends which


def test_a_second_key_down_before_the_key_up():
    """Down at 0 and 1, up at 2 and 3: the note that begins first ends first."""
    track = on(0, 60) + on(480, 60) + off(480, 60) + off(480, 60)
    read = read_midi(midi(CONDUCTOR, track))
    assert rows(read) == [("Channel 1", 0, 2, 60), ("Channel 1", 1, 2, 60)]
    assert read.notices == (
        "notes that sound on while their pitch is struck again: the one that begins first ends "
        "first (1 in Channel 1)",
    )


def test_stuck_notes_end_at_the_next_of_their_pitch_or_with_their_bar():
    """Down at 0 and 1, up at 2: the first has no key up and ends where the second begins. One that
    nothing follows ends with its bar, at 8. A key up without a down is nothing."""
    track = on(0, 60) + on(480, 60) + off(480, 60) + off(480, 65) + on(960, 62)
    read = read_midi(midi(CONDUCTOR, track, end=meta(1920, 0x2F)))
    assert rows(read) == [
        ("Channel 1", 0, 1, 60), ("Channel 1", 1, 1, 60), ("Channel 1", 5, 3, 62)
    ]  # fmt: skip
    assert read.notices == (
        "notes whose key never goes up: each ends where its pitch is struck again, or with its "
        "bar (2 in Channel 1)",
    )


def test_a_stuck_note_does_not_sound_on_into_the_next_bar():
    """Struck at 0 and, three bars later, at 12: it ends with its bar, at 4."""
    read = read_midi(midi(CONDUCTOR, on(0, 60) + note(5760, 480)))
    assert rows(read) == [("Channel 1", 0, 4, 60), ("Channel 1", 12, 1, 60)]


def test_a_key_up_in_another_channel_or_track_ends_nothing():
    """A key belongs to its channel; tracks are played by different hands."""
    read = read_midi(midi(CONDUCTOR, on(0, 60) + off(480, 60, 1) + off(480, 60), off(480, 60)))
    assert rows(read) == [("Channel 1", 0, 2, 60)]


def test_notes_of_no_length_last_a_step():
    """Down and up at one tick become a sixteenth, since the part's onsets lie on quarters."""
    read = read_midi(midi(CONDUCTOR, note(0, 0) + note(480, 480)))
    assert rows(read) == [("Channel 1", 0, 0.25, 60), ("Channel 1", 1, 1, 60)]
    assert read.notices == (
        "notes of no length, in the file or on the grid: each lasts a step of the grid "
        "(1 in Channel 1)",
    )


@given(
    st.lists(st.tuples(st.booleans(), st.integers(0, 2), st.integers(0, 3)), max_size=40)
)  # fmt: skip
@settings(max_examples=75, deadline=None)
def test_pairing_is_that_of_brackets(events):
    """The slow, obvious way: a stack pairs downs and ups, and a queue decides which note ends."""
    track = b"".join(
        (on if down else off)(delta * 120, 60 + pitch) for down, pitch, delta in events
    )
    stacks: dict[int, list] = {}
    downs: dict[int, list] = {}
    ups: dict[int, list] = {}
    at = 0
    for down, pitch, delta in events:
        at += delta * 120
        if down:
            stacks.setdefault(pitch, []).append(at)
        elif stacks.get(pitch):
            downs.setdefault(pitch, []).append(stacks[pitch].pop())
            ups.setdefault(pitch, []).append(at)
    expected = Counter(
        (60 + pitch, begin / 480, (end - begin) / 480 or 0.25)
        for pitch in downs
        for begin, end in zip(sorted(downs[pitch]), sorted(ups[pitch]), strict=True)
    )
    read = read_midi(midi(CONDUCTOR, track))
    paired = Counter((pitch, onset, length) for _, onset, length, pitch in rows(read))
    assert not expected - paired
    assert sum(paired.values()) == sum(down for down, *_ in events)


# ---------------------------------------------------------------- the grid


def played(*times: tuple[float, float], ticks: int = 480, pitch: int = 60) -> ar.Song:
    """Return a part of notes (onset, end) in quarter notes, at 120 a minute, at the nearest
    ticks.
    """
    moments = sorted(
        (round(time * ticks), down, pitch + place % 12)
        for place, pair in enumerate(times)
        for down, time in zip((True, False), pair, strict=True)
    )
    track, before = b"", 0
    for tick, down, key in moments:
        track += (on if down else off)(tick - before, key)
        before = tick
    return read_midi(midi(CONDUCTOR, track, ticks=ticks))


def nearly(meant: list[tuple[float, float]]) -> list:
    """Return whether numbers are equal except for the last digit of a sum of thirds."""
    return [pytest.approx(pair, abs=1e-12) for pair in meant]


def times(song: ar.Song) -> list[tuple[float, float]]:
    return list(zip(song.notes["onset"], song.notes["onset"] + song.notes["duration"], strict=True))


@pytest.mark.parametrize("ticks", [24, 96, 120, 192, 384, 480, 960, 1024, 15360])
@pytest.mark.parametrize("lines", [1, 2, 3, 4, 6, 8, 12, 24])
def test_a_file_on_a_grid_comes_out_exactly(ticks, lines):
    """Multiples of 1/d quarter note, at the nearest ticks where they are no whole number: the
    intended values are read, and nothing is reported."""
    meant = [(at / lines, (at + 1) / lines) for at in range(0, 4 * lines)]
    read = played(*meant, ticks=ticks)
    if ticks % lines == 0 or ticks >= 8 * lines:
        assert times(read) == nearly(meant)
        assert read.notices == ()


@pytest.mark.parametrize("lines", [5, 7, 9, 10, 11, 15, 20, 30, 60])
def test_odd_grids_come_out_exactly_when_their_ticks_are_whole(lines):
    """Quintuplets, septuplets and finer grids are exact if their steps are eight ticks or more."""
    meant = [(at / lines, (at + 1) / lines) for at in range(0, 4 * lines)]
    assert times(played(*meant, ticks=16 * lines)) == nearly(meant)


def test_straight_and_swung_eighths():
    """Swung eighths, two thirds and one third of a quarter, stay where they are."""
    meant = [(0, 2 / 3), (2 / 3, 1), (1, 1.5), (1.5, 2)]
    assert times(played(*meant)) == nearly(meant)


def test_live_playing_is_moved_to_sixteenths():
    """Eight eighths, up to 20 ticks of 480 off, are nearest to a grid of sixteenths (120 ticks) in
    its own steps: mean 10.5 of 120 is 0.09, on a grid of twelfths 10.5 of 40 is 0.26, as chance
    has it. Off by 10.5 / 480 = 0.022 quarter notes, which at half a second a quarter are 10.9 ms;
    at most 20 / 480 = 0.042, 20.8 ms."""
    off_by = [0, 7, -13, 20, 5, -9, 11, 19]
    meant = [(at / 2, at / 2 + 0.5) for at in range(8)]
    read = played(*((at + by / 480, end) for (at, end), by in zip(meant, off_by, strict=True)))
    assert times(read) == meant
    assert read.notices == (
        "Channel 1: onsets moved to multiples of 1/4 quarter note, by 10.9 ms (0.022 quarter "
        "notes) on average and 20.8 ms (0.042) at most",
    )


def test_live_triplets_are_moved_to_triplets():
    """Thirds of a quarter, up to 9 ticks off, are off by a third of a step on sixteenths."""
    off_by = [0, 4, -3, 9, 5, -9, 1, 7, -5, 2, -7, 3]
    meant = [(at / 3, (at + 1) / 3) for at in range(12)]
    read = played(*((at + by / 480, end) for (at, end), by in zip(meant, off_by, strict=True)))
    assert times(read) == nearly(meant)
    assert "1/6 quarter note" in read.notices[0]


def test_playing_that_follows_no_beat_is_reported():
    """Random onsets are on no grid nearer than a quarter of its step."""
    dice = random.Random(5)
    onsets = sorted(dice.randrange(0, 15000) / 480 for _ in range(200))
    read = played(*((at, at + 1) for at in onsets))
    assert "hardly nearer than chance would have it: it may not follow the beat" in read.notices[0]


def test_each_part_has_its_own_grid():
    """One part plays triplets a little off, the other sixteenths exactly on the grid."""
    loose = b"".join(note(by, 100) for by in (0, 63, 57, 66, 54, 60))
    strict_ = note(0, 120, 50, 1) * 8
    read = read_midi(midi(CONDUCTOR, meta(0, 3, "A") + loose, meta(0, 3, "B") + strict_))
    second = read.notes[read.notes["part"] == "B"]
    assert second["onset"].tolist() == [at / 4 for at in range(8)]
    assert len(read.notices) == 1
    assert read.notices[0].startswith("A: onsets moved to multiples of 1/6 quarter note")


def test_ends_alone_are_moved_when_the_onsets_lie():
    """Quarters that end a tick early, as many programs write them, are quarters."""
    read = played(*((at, at + 479 / 480) for at in range(4)))
    assert times(read) == [(at, at + 1) for at in range(4)]
    assert read.notices == (
        "Channel 1: ends moved to multiples of 1/4 quarter note, by 1.0 ms (0.002 quarter notes) "
        "on average and 1.0 ms (0.002) at most",
    )


def test_the_grid_begins_anew_with_each_bar():
    """A bar of 7/16 ends between two eighths; the next bar's eighths count from its line."""
    conductor = tempo(0, 120) + meter(0, 7, 4) + meter(840, 4, 2)
    read = read_midi(midi(conductor, note(0, 240) + note(600 + 7, 240) + note(233 + 5, 240)))
    assert read.notes["onset"].tolist() == [0, 1.75, 2.75]
    assert read.notes["measure"].tolist() == [1, 2, 2]


def test_a_note_a_little_early_belongs_to_the_next_bar():
    """A note eleven ticks before the bar line is on the first beat of the next bar."""
    read = read_midi(midi(CONDUCTOR, note(0, 480) + note(1429, 480)))
    assert read.notes[["onset", "measure"]].to_numpy().tolist() == [[0, 1], [4, 2]]


def test_live_seconds_follow_the_tempo():
    """Onsets at ticks 12, 474, 969 and 1430 of 480: the most, 12 or 0.025 quarter notes, are 25 ms
    at 60 a minute and half of that at 120."""
    track = b"".join(note(by, 100) for by in (12, 362, 395, 361))
    slow = read_midi(midi(meter(0, 4, 2) + tempo(0, 60), track)).notices[0]
    fast = read_midi(midi(meter(0, 4, 2) + tempo(0, 120), track)).notices[0]
    assert "25.0 ms (0.025) at most; ends" in slow
    assert "12.5 ms (0.025) at most; ends" in fast


# ---------------------------------------------------------------- against mido, message by message


def counted_up(path: Path) -> list[tuple[float, int]]:
    """Return (quarter notes, pitch) of each key down, in order, from mido's messages."""
    whole = mido.MidiFile(path)
    found = []
    for track in whole.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "note_on" and message.velocity:
                found.append((tick / whole.ticks_per_beat, message.note))
    return sorted(found)


@pytest.mark.sampled
@pytest.mark.parametrize("path", PLAYED, ids=lambda path: path.stem)
def test_notes_are_where_mido_has_them(path):
    """Files of music21's tests, some played live: pitches are the same, and onsets differ by as
    much as the notices say, to the last digit given.
    """
    expected = counted_up(path)
    read = read_midi(path.read_bytes())
    assert len(read.notes) == len(expected)
    if read.notes["pitch"].notna().all():
        assert Counter(read.notes["pitch"]) == Counter(pitch for _, pitch in expected)
    moved = [notice for notice in read.notices if "onsets moved" in notice]
    most = max([float(sentence.split("ms (")[2].split(")")[0]) for sentence in moved], default=0)
    onsets = sorted(read.notes["onset"])
    assert onsets == pytest.approx([at for at, _ in expected], abs=most + 1e-3)


def test_bar_lines_of_a_live_tempo_are_where_mido_has_them():
    """A file with a tempo for every few notes: each bar line's second, by mido's merged tracks
    up to the first message there. Within a bar a Song's tempo is even."""
    path = next(path for path in PLAYED if path.stem == "test04")
    read = read_midi(path.read_bytes())
    whole = mido.MidiFile(path)
    tick, seconds, pace, reached = 0, 0.0, 0.5, {}
    for message in mido.merge_tracks(whole.tracks):
        tick += message.time
        seconds += message.time * pace / whole.ticks_per_beat
        reached[tick / whole.ticks_per_beat] = seconds
        if message.type == "set_tempo":
            pace = message.tempo / 1e6
    bars = [at for at in read.measures["onset"] if at in reached]
    assert len(bars) > 200
    assert len(set(read.measures["tempo"])) > 20
    assert read.seconds(np.array(bars)) == pytest.approx([reached[at] for at in bars], abs=2e-3)


# ---------------------------------------------------------------- written


def sounding(song: ar.Song) -> pd.DataFrame:
    """Return the notes that a MIDI file can hold, with their seconds."""
    notes = song.notes
    cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    notes = notes[~notes["grace"] & (notes["duration"] > 0) & ~cue].reset_index(drop=True)
    end = notes["onset"] + notes["duration"]
    return notes.assign(end=end, start_s=song.seconds(notes["onset"]), end_s=song.seconds(end))


def lines(notes: pd.DataFrame, begin: str, end: str) -> dict[tuple, tuple[list, list]]:
    """Return onsets and ends of each part's pitch, each in order: if two notes of one pitch sound
    at once, a MIDI file does not say which ends first.
    """
    pitch = notes["pitch"].round().fillna(-1)
    return {
        line: (sorted(group[begin]), sorted(group[end]))
        for line, group in notes.groupby([notes["part"], pitch])
    }


def same(first: dict, second: dict, **within) -> None:
    assert first.keys() == second.keys()
    for line, (begins, ends) in first.items():
        assert second[line][0] == pytest.approx(begins, **within), line
        assert second[line][1] == pytest.approx(ends, **within), line


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> tuple[ar.Song, Path]:
    """Return the demo song and the file made from it."""
    read = ar.read(LOW_WATER)
    path = tmp_path_factory.mktemp("midi") / "low-water.mid"
    write_midi(read, path)
    return read, path


def test_the_demo_song_comes_back(written):
    """Notes, bars and sections are the same; what a MIDI file cannot hold is missing, such as how
    often a section has come round, and printed bar numbers.
    """
    before, path = written
    after = read_midi(path.read_bytes())
    assert after.notices == ()
    assert after.title == before.title
    columns = ["part", "onset", "duration", "measure", "section", "pitch"]
    order = ["part", "onset", "pitch", "duration"]
    pd.testing.assert_frame_equal(
        after.notes[columns].sort_values(order, ignore_index=True),
        before.notes[columns].sort_values(order, ignore_index=True),
    )
    pd.testing.assert_frame_equal(
        after.sections.drop(columns="pass"), before.sections.drop(columns="pass")
    )
    pd.testing.assert_frame_equal(
        after.measures.drop(columns="written"), before.measures.drop(columns="written"), rtol=1e-6
    )
    columns = ["part", "instrument", "family", "drive", "level", "program"]
    pd.testing.assert_frame_equal(after.parts[columns], before.parts[columns])


def test_pretty_midi_reads_the_same_notes(written):
    """An independent reader, in seconds: pitches, onsets and ends of each part to 0.1 ms."""
    before, path = written
    theirs = pd.DataFrame(
        [
            (instrument.name, float(single.pitch), single.start, single.end)
            for instrument in pretty_midi.PrettyMIDI(str(path)).instruments
            for single in instrument.notes
        ],
        columns=["part", "pitch", "start_s", "end_s"],
    )
    assert len(theirs) == len(before.notes)
    expected = sounding(before)
    same(lines(expected, "start_s", "end_s"), lines(theirs, "start_s", "end_s"), abs=1e-4)


def test_pretty_midi_reads_the_same_tempo_meter_and_key(written):
    """Every bar line at its second; 4/4 changes to 6/8; B flat major is number 10."""
    before, path = written
    other = pretty_midi.PrettyMIDI(str(path))
    changes = other.time_signature_changes
    assert [(c.numerator, c.denominator) for c in changes] == [(4, 4), (6, 8), (4, 4)]
    starts = before.measures["onset"][before.measures["meter"].ne(before.measures["meter"].shift())]
    assert [c.time for c in changes] == pytest.approx(before.seconds(starts.to_numpy()), abs=1e-4)
    assert [c.key_number for c in other.key_signature_changes] == [10]
    bars = [other.tick_to_time(round(at * other.resolution)) for at in before.measures["onset"]]
    assert bars == pytest.approx(before.seconds(before.measures["onset"].to_numpy()), abs=1e-4)


def test_mido_reads_the_same_notes_and_markers(written):
    """Message by message: each key down in its place, the sections' names in order."""
    before, path = written
    notes = before.notes[["onset", "pitch"]].sort_values(["onset", "pitch"])
    assert counted_up(path) == list(notes.itertuples(index=False, name=None))
    markers = [m.text for m in mido.MidiFile(path).tracks[0] if m.type == "marker"]
    assert markers == before.sections["section"].tolist()


@pytest.mark.sampled
@pytest.mark.parametrize("name", SCORES)
def test_scores_come_back(name, tmp_path):
    """Scores of music21's corpus: the notes that sound, the bars and the sections."""
    before = ar.read(MUSIC21 / name)
    path = tmp_path / "score.mid"
    write_midi(before, path)
    after = read_midi(path.read_bytes())
    assert not any("moved" in notice for notice in after.notices)
    assert after.parts["part"].tolist() == before.parts["part"].tolist()
    same(lines(sounding(before), "onset", "end"), lines(sounding(after), "onset", "end"), abs=1e-9)
    assert after.sections["section"].tolist() == before.sections["section"].tolist()
    columns = ["onset", "duration"]
    np.testing.assert_allclose(after.measures[columns], before.measures[columns], atol=1e-9)
    np.testing.assert_allclose(after.measures["tempo"], before.measures["tempo"], rtol=1e-6)


def back(song: ar.Song, path: Path) -> ar.Song:
    write_midi(song, path / "song.mid")
    return read_midi((path / "song.mid").read_bytes())


def test_odd_bars_and_meters_come_back(tmp_path):
    """A bar that its meter does not fill gets the meter that it fills: three eighths are 3/8,
    3+2/8 is 5/8; a third of a quarter, or four, is no meter's, and the next time signature or one
    at the end cuts it."""
    base = song(("Guitar", "C4", 0, 1), bars=6)
    length = [1.0, 1.5, 2.5, 1 / 3, 4.0, 4 / 3]
    bars = base.measures.assign(
        duration=length,
        onset=np.concatenate([[0], np.cumsum(length)[:-1]]),
        meter=["4/4", "6/8", "3+2/8", "4/4", "free", "4/4"],
    )
    sections = base.sections.assign(duration=sum(length))
    after = back(ar.Song(base.parts, sections, bars, base.chords, base.notes), tmp_path)
    assert after.measures["duration"].tolist() == pytest.approx(length)
    assert after.measures["meter"].tolist() == ["1/4", "3/8", "5/8", "11/128", "4/4", "43/128"]
    assert after.notices == ("a time signature stands inside a bar and cuts it short: bar 4, 6",)


def test_keys_come_back_as_major_or_minor(tmp_path):
    """D dorian has no signs and a minor third: it is written as A minor. Beyond seven signs a key
    is written enharmonically: G sharp major as A flat major."""
    for key, expected in (
        ("Eb minor", "Eb minor"), ("F# major", "F# major"), ("D dorian", "A minor"),
        ("G# major", "Ab major"), ("G mixolydian", "C major"),
    ):  # fmt: skip
        after = back(song(("Guitar", "C4", 0, 1), key=key), tmp_path)
        assert after.measures["key"].tolist() == [expected], key


def test_unpitched_notes_get_keys_of_their_own(tmp_path):
    """Three drums at once, one of them held while a fourth begins: four notes come back, on
    channel 10, none on a key that still sounds."""
    rows_ = [("Drums", math.nan, 0, 2), ("Drums", math.nan, 0, 0.5), ("Drums", math.nan, 0, 0.5),
             ("Drums", math.nan, 1, 1)]  # fmt: skip
    before = song(*rows_)
    after = back(before, tmp_path)
    assert sorted(rows(after)) == sorted(
        [("Drums", 0, 0.5, None), ("Drums", 0, 0.5, None), ("Drums", 0, 2, None),
         ("Drums", 1, 1, None)]
    )  # fmt: skip
    assert after.parts["family"].tolist() == ["drums"]
    assert after.notices == ()
    downs = [m for m in mido.MidiFile(tmp_path / "song.mid").tracks[1] if m.type == "note_on"]
    assert [m.channel for m in downs] == [9] * 4
    assert len({m.note for m in downs[:3]}) == 3


def test_grace_and_cue_notes_are_left_out(tmp_path):
    """Neither sounds by itself."""
    base = song(("Guitar", "C4", 0, 1), ("Guitar", "D4", 1, 1), ("Guitar", "E4", 2, 1))
    notes = base.notes.assign(
        grace=[True, False, False],
        duration=[0.0, 1.0, 1.0],
        technique=pd.array([None, "cue", None], dtype="str"),
    )
    after = back(ar.Song(base.parts, base.sections, base.measures, base.chords, notes), tmp_path)
    assert rows(after) == [("Guitar", 2, 1, 64)]


def test_what_is_left_out_is_reported(tmp_path):
    """Grace notes, cue notes and notes of no length: MIDI holds none, and ``convert`` says so."""
    base = song(*(("Guitar", "C4", beat, 1) for beat in range(4)))
    notes = base.notes.assign(
        grace=[True, False, False, False],
        duration=[0.0, 1.0, 0.0, 1.0],
        technique=pd.array([None, "cue", None, None], dtype="str"),
    )
    made = ar.Song(base.parts, base.sections, base.measures, base.chords, notes)
    assert write_midi(made, tmp_path / "song.mid") == (
        "grace notes are left out, since MIDI does not hold them: 1",
        "cue notes are left out, since MIDI does not hold them: 1",
        "notes of no length are left out, since MIDI does not hold them: 1",
    )
    assert write_midi(base, tmp_path / "song.mid") == ()
    chart = "part: Guitar 1\nsection: Verse\nGuitar 1 | C4 grace D4 |\n"
    (tmp_path / "song.txt").write_text(chart)
    read = ar.convert(tmp_path / "song.txt", tmp_path / "other.mid")
    assert "grace notes are left out, since MIDI does not hold them: 1" in read.notices


def test_a_part_that_lays_out_and_a_song_without_notes_come_back(tmp_path):
    """Four bars and two parts come back, with nothing played."""
    after = back(song(parts=("Guitar", "Bass"), bars=4), tmp_path)
    assert after.parts["part"].tolist() == ["Guitar", "Bass"]
    assert after.parts["program"].tolist() == [28, 34]  # the usual ones of their families
    assert len(after.measures) == 4
    assert after.notices == ("there are no notes in it",)


def test_levels_come_back_to_a_volume_step(tmp_path):
    """-6 dB is volume 127 * 10^(-6/40) = 89.9, written as 90."""
    base = song(("Guitar", "C4", 0, 1), ("Bass", "C2", 0, 1))
    parts = base.parts.assign(level=[0.0, -6.0])
    after = back(ar.Song(parts, base.sections, base.measures, base.chords, base.notes), tmp_path)
    assert after.parts["level"].tolist() == pytest.approx([0, 40 * math.log10(90 / 127)])


def test_a_note_struck_again_is_let_go_first(tmp_path):
    """At the tick where one C ends and the next begins, key up stands before key down; otherwise a
    synthesizer would cut the second.
    """
    write_midi(song(("Guitar", "C4", 0, 1), ("Guitar", "C4", 1, 1)), tmp_path / "song.mid")
    track = mido.MidiFile(tmp_path / "song.mid").tracks[1]
    kinds = [message.type for message in track if message.type.startswith("note")]
    assert kinds == ["note_on", "note_off", "note_on", "note_off"]


def test_each_part_has_a_channel_of_its_own(written):
    """Two guitars of one program can be mixed apart; the percussion channel, 10, is passed over
    (counted from 0 it is 9)."""
    channels = [{m.channel for m in track if not m.is_meta} for track in
                mido.MidiFile(written[1]).tracks[1:]]  # fmt: skip
    assert channels == [{0}, {1}, {2}, {3}]


def test_more_than_fifteen_parts_share_channels_by_program(tmp_path):
    """Twenty guitars on two programs need two channels; sixteen programs are one too many."""
    names = [f"Guitar {n}" for n in range(20)]
    rows_ = [(name, "C4", 0, 1) for name in names]
    parts = parts_of(*names, program=[26 + n % 2 for n in range(20)])
    after = back(song(*rows_, parts=parts), tmp_path)
    assert after.parts["part"].tolist() == names
    assert len(after.notes) == 20
    tracks = mido.MidiFile(tmp_path / "song.mid").tracks[1:]
    assert {message.channel for track in tracks for message in track if not message.is_meta} == {
        0,
        1,
    }
    parts = parts_of(*names, program=[1 + n % 16 for n in range(20)])
    with pytest.raises(
        ArrangeError,
        match=r"^the song has parts with 16 different sounds and a MIDI file has 15 channels for "
        r"them; give some parts the same program, or write fewer parts$",
    ):
        write_midi(song(*rows_, parts=parts), tmp_path / "many.mid")
    assert not (tmp_path / "many.mid").exists()


def test_what_the_format_cannot_hold_is_refused(tmp_path):
    """A bar has at most 255 beats (one byte): 300 in 200 + 100 quarters are more."""
    with pytest.raises(ArrangeError, match=r"^measure 1: 300/4 is more than the 255 beats that"):
        write_midi(song(("Guitar", 60, 0, 1), meter="200/4 + 100/4"), tmp_path / "a.mid")
    assert not list(tmp_path.iterdir())


def test_the_highest_and_lowest_keys_come_back(tmp_path):
    """The format's keys go from 0 to 127; what lies between two is rounded."""
    after = back(song(("Guitar", 0, 0, 1), ("Guitar", 127, 0, 1), ("Guitar", 60.4, 0, 1)), tmp_path)
    assert after.notes["pitch"].tolist() == [0, 60, 127]


def test_a_file_is_written_whole_or_not_at_all(tmp_path):
    """The old file stays when the new one cannot be made."""
    path = tmp_path / "song.mid"
    write_midi(song(("Guitar", 60, 0, 1)), path)
    old = path.read_bytes()
    with pytest.raises(ArrangeError):
        write_midi(song(("Guitar", 60, 0, 1), tempo=2.0), path)
    assert path.read_bytes() == old
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(ArrangeError, match=r"inside\.mid: cannot be written: Not a directory"):
        write_midi(song(("Guitar", 60, 0, 1)), path / "inside.mid")


@st.composite
def generated(draw) -> ar.Song:
    """Draw up to twenty notes on one grid, in any meter and tempo."""
    lines_ = draw(st.sampled_from([4, 6, 8, 12, 20, 24, 28]))
    part = st.sampled_from(["Guitar 1", "Guitar 2", "Bass", "Drums"])
    moment, length = st.integers(0, 12 * lines_), st.integers(1, 4 * lines_)
    notes = draw(st.lists(st.tuples(part, st.integers(0, 127), moment, length), min_size=1,
                          max_size=20))  # fmt: skip
    return song(
        *((part, pitch, at / lines_, long / lines_) for part, pitch, at, long in notes),
        meter=draw(st.sampled_from(["4/4", "3/4", "6/8", "7/16"])),
        tempo=draw(st.floats(20, 300)),
    )


@given(generated())
@settings(max_examples=20, deadline=None)
def test_songs_come_back(tmp_path_factory, before):
    """Onsets and ends to the digit, the bars, and the tempo to its microsecond."""
    after = back(before, tmp_path_factory.getbasetemp())
    same(lines(sounding(before), "onset", "end"), lines(sounding(after), "onset", "end"), abs=1e-9)
    np.testing.assert_allclose(after.measures["onset"], before.measures["onset"], atol=1e-9)
    np.testing.assert_allclose(after.measures["tempo"], before.measures["tempo"], rtol=1e-5)


# ---------------------------------------------------------------- bad input

BODY = midi(CONDUCTOR, note(0, 480))
EMPTY_HEAD = b"MThd" + struct.pack(">LHHH", 6, 1, 0, 480)


def chunk(track: bytes, length: int | None = None) -> bytes:
    return b"MTrk" + struct.pack(">L", len(track) if length is None else length) + track


def one(track: bytes) -> bytes:
    return midi(track, end=b"")


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"GIF89a", "this is no Standard MIDI File, which begins with 'MThd'; export the song as "
         ".mid"),
        (b"RIFF\x04\0\0\0RMID", "its RIFF envelope holds no MIDI file; export the song as plain "
         ".mid"),
        (b"MThd\0\0", "the file ends inside its head; copy or export it again"),
        (b"MThd" + struct.pack(">LHHH", 2, 1, 1, 480), "its head is 2 bytes long and must be 6; "
         "export the song again"),
        (midi(CONDUCTOR, form=2), "it is of format 2: its tracks are songs of their own, not parts "
         "of one; export each of them as a file of format 1"),
        (midi(CONDUCTOR, form=7), "it is of format 7; there are 0, 1 and 2: export it as format 1"),
        (midi(CONDUCTOR, ticks=0xE728), "its times are film frames (SMPTE), not beats, so it has "
         "no bars; export it with ticks per quarter note"),
        (midi(CONDUCTOR, ticks=0), "it has 0 ticks to a quarter note; export it again, with 480, "
         "say"),
        (EMPTY_HEAD, "there are no tracks in it; export the song again"),
        (BODY[:11] + b"\x05" + BODY[12:], "its head promises 5 tracks and there are 2: the file is "
         "cut short; copy or export it again"),
        (BODY[:-3], "track 2 claims 13 bytes and the file has 10 left: it is cut short or damaged; "
         "copy or export it again"),
        (midi(CONDUCTOR)[:14] + chunk(END, 2**32 - 1), "track 1 claims 4,294,967,295 bytes and the "
         "file has 4 left: it is cut short or damaged; copy or export it again"),
        (midi(CONDUCTOR)[:14] + b"ABCD\x7f\xff\xff\xff", "the chunk at byte 14 claims "
         "2,147,483,647 bytes and the file has 0 left: it is cut short or damaged; copy or export "
         "it again"),
        (midi(CONDUCTOR)[:14] + b"MTrk\0", "the file ends inside the head of a chunk, at byte 14: "
         "it is cut short; copy or export it again"),
        (one(b"\x00\x3c\x40"), "track 1, byte 23 of the file: a byte 0x3C where an event should "
         "begin; the file is damaged: copy or export it again"),
        (one(on(0, 60) + b"\x00\x3c"), "track 1, byte 28 of the file: the track ends inside an "
         "event; the file is damaged: copy or export it again"),
        (one(on(0, 60) + b"\x00\x3c\x90\x40"), "track 1, byte 28 of the file: a data byte 0x90; "
         "they go up to 0x7F, so an event is cut off here; the file is damaged: copy or export it "
         "again"),
        (one(b"\x00\xf8" + END), "track 1, byte 23 of the file: a status byte 0xF8, which no file "
         "may hold; the file is damaged: copy or export it again"),
        (one(b"\x80\x80\x80\x80\x00\xff\x2f\x00"), "track 1, byte 22 of the file: a time or length "
         "of more than four bytes; the file is damaged: copy or export it again"),
        (one(b"\x00\xff\x01\xff\xff\xff\x7fabc"), "track 1, byte 23 of the file: an event of "
         "268,435,455 bytes, and the track has 3 left; the file is damaged: copy or export it "
         "again"),
        (one(meta(480 * 90_000, 0x2F)), "track 1 is 90,000 quarter notes long; 80,000 is the most, "
         "so a time in it is damaged: export it again"),
        (midi(meter(0, 1, 6) + meta(480 * 10_000, 1, "x")), "its time signatures make more than "
         "20,000 bars; mend the time signature in bar 1, 1/64, or a damaged time"),
        (midi(*[note(0, 480)] * 1001), "its tracks and channels make 1,001 parts; 200 is the "
         "most: export it with one track a part"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_read_says_why(data, problem):
    """The error says where the mistake is, what it is, and what to do."""
    with pytest.raises(ReadError) as raised:
        read_midi(data, "song.mid")
    assert str(raised.value) == f"song.mid: {problem}"


@pytest.mark.parametrize(
    ("data", "notice"),
    [
        (midi(CONDUCTOR + meta(0, 0x59, bytes([8, 0])), note(0, 480)),
         "key signatures that make no sense, left out: 1"),
        (midi(CONDUCTOR + meta(0, 0x59, bytes([128, 7])) + meta(0, 0x59), note(0, 480)),
         "key signatures that make no sense, left out: 2"),
        (midi(CONDUCTOR + meter(0, 0, 2) + meter(0, 4, 200) + meta(0, 0x58, b"\x04"),
              note(0, 480)), "time signatures that make no sense, left out: 3"),
        (midi(CONDUCTOR + meta(0, 0x51, b"\0\0\0") + meta(0, 0x51, b"\1"), note(0, 480)),
         "tempos that make no sense, left out: 2"),
        (midi(CONDUCTOR, note(0, 480), end=b""), "track 1 has no end-of-track event; it is read"),
        (midi(CONDUCTOR, note(0, 480) + END + b"\x00\x90"),
         "track 2 goes on for 6 bytes behind its end; they are left out"),
        (BODY + b"more", "4 bytes behind the last track are left out"),
    ],
)  # fmt: skip
def test_small_damage_is_left_out_and_reported(data, notice):
    """One odd event does not make the file unreadable."""
    read = read_midi(data)
    assert rows(read) == [("Channel 1", 0, 1, 60)]
    assert read.measures[["meter", "tempo", "duration"]].to_numpy().tolist() == [["4/4", 120, 4]]
    assert notice in read.notices


def test_more_tracks_than_promised_are_read():
    """The head announces one track, and there are two."""
    read = read_midi(BODY[:11] + b"\x01" + BODY[12:])
    assert rows(read) == [("Channel 1", 0, 1, 60)]
    assert read.notices == ("its head promises 1 tracks and there are 2; all are read",)


def test_a_song_without_notes_has_bars_and_says_so():
    """A conductor track alone gives bars and a notice."""
    read = read_midi(midi(CONDUCTOR + meta(1920 * 3, 6, "End")))
    assert len(read.parts) == len(read.notes) == 0
    assert len(read.measures) == 3
    assert read.notices == ("there are no notes in it",)


def test_a_file_cut_short_anywhere_is_refused(written):
    """Every incomplete beginning of a short file, and some of a long one, are refused."""
    whole = [EXAMPLE_0, EXAMPLE_1, BODY]
    cuts = [data[:length] for data in whole for length in range(len(data))]
    data = written[1].read_bytes()
    cuts += [data[:length] for length in range(0, len(data), 97)]
    for cut in cuts:
        with pytest.raises(ReadError):
            read_midi(cut)


def mutated(data: bytes, dice: random.Random) -> bytes:
    """Return the bytes with some changed, removed, inserted or all set."""
    changed = bytearray(data)
    for _ in range(dice.choice([1, 1, 2, 5, 20])):
        at, some = dice.randrange(len(changed)), dice.randrange(1, 9)
        kind = dice.randrange(4)
        if kind == 0:
            changed[at] = dice.randrange(256)
        elif kind == 1:
            del changed[at : at + some]
        elif kind == 2:
            changed[at:at] = dice.randbytes(some)
        else:
            changed[at : at + 4] = b"\xff" * 4
    return bytes(changed)


def test_damaged_files_are_read_or_refused(written):
    """400 mutations of files by hand, played and written, always the same ones, raise no error but
    ours, and none takes six seconds.
    """
    dice = random.Random(20)
    whole = [EXAMPLE_0, EXAMPLE_1, BODY, written[1].read_bytes()]
    whole += [path.read_bytes() for path in PLAYED if path.stat().st_size < 2000]
    for _ in range(400):
        data = mutated(dice.choice(whole), dice)
        begun = time.process_time()
        with contextlib.suppress(ArrangeError):
            read_midi(data)
        assert time.process_time() - begun < 6


@given(st.binary(max_size=120), st.integers(0, 1), st.integers(1, 0x7FFF))
@settings(max_examples=100, deadline=None)
def test_any_bytes_in_a_track_are_read_or_refused(body, form, ticks):
    """The head is complete, and the track holds any bytes."""
    with contextlib.suppress(ReadError):
        read_midi(midi(body, form=form, ticks=ticks))


@pytest.mark.parametrize(
    "track",
    [
        b"".join(bytes([1, 0x90 | at % 16, at % 128, 64]) for at in range(25_000)),
        b"\x00\x90\x3c\x40" + b"\x01\x3c\x40" * 33_000,
        b"".join(meter(1, 1 + at % 7, 2 + at % 3) for at in range(12_000)),
        b"".join(meta(960, 6, f"Verse {at}") for at in range(8_000)),
        b"".join(meta(1, 0x51, bytes([1 + at % 7, at % 251, 0])) for at in range(14_000)),
        b"".join(meta(1, 0x59, bytes([at % 256, at % 3])) for at in range(16_000)),
    ],
    ids=["chords", "stuck", "meters", "markers", "tempos", "keys"],
)
def test_a_hundred_kilobytes_are_read_in_seconds(track):
    """The heaviest of each kind. (An ordinary file of that size takes a tenth of a second.)"""
    data = midi(track)
    assert 80_000 < len(data) < 130_000
    begun = time.process_time()
    read_midi(data)
    assert time.process_time() - begun < 6


def test_mido_agrees_that_what_was_written_is_whole(written):
    """It reads every track up to its end, strictly."""
    data = written[1].read_bytes()
    assert [track[-1].type for track in mido.MidiFile(file=BytesIO(data)).tracks] == [
        "end_of_track"
    ] * 5


@pytest.mark.parametrize(
    ("family", "name", "drive", "sound"),
    [
        ("guitar", "Guitar 1 electric guitar", "clean", "Electric Guitar (clean)"),
        ("guitar", "Rhythm electric guitar", "edge", "Electric Guitar (clean)"),
        ("guitar", "Rhythm electric guitar", "overdriven", "Overdriven Guitar"),
        ("guitar", "Rhythm electric guitar", "distorted", "Distortion Guitar"),
        ("guitar", "Guitar 2 acoustic guitar", "clean", "Acoustic Guitar (steel)"),
        ("guitar", "High acoustic", "clean", "Acoustic Guitar (steel)"),
        ("guitar", "Guitar classical guitar", "clean", "Acoustic Guitar (nylon)"),
        ("guitar", "Tenor banjo", "clean", "Banjo"),
        ("guitar", "Lap steel", "clean", "Electric Guitar (clean)"),
        ("bass", "Bass", "clean", "Electric Bass (finger)"),
        ("bass", "Double bass", "clean", "Acoustic Bass"),
        ("bass", "Fretless bass", "clean", "Fretless Bass"),
        ("voice", "Voice", "clean", "Voice Oohs"),
        ("keys", "Piano", "clean", "Acoustic Grand Piano"),
        ("keys", "Organ", "clean", "Drawbar Organ"),
        ("drums", "Timpani", "clean", "Timpani"),
    ],
)
def test_a_part_without_a_program_sounds_like_its_instrument(family, name, drive, sound):
    """As pretty_midi names the programs of General MIDI System Level 1; which instrument is meant
    by a name is common practice.
    """
    program = usual_program(family, drive, name)
    plain = sound.replace("(", "").replace(")", "")
    assert pretty_midi.program_to_instrument_name(program - 1).translate({40: "", 41: ""}) == plain


def test_an_acoustic_guitar_is_written_as_one(tmp_path):
    """General MIDI System Level 1: 26, counted from 1, has steel strings; 28 is an electric."""
    made = parts_of("Guitar 1", "Guitar 2", instrument=["electric guitar", "acoustic guitar"])
    ar.write_midi(song(("Guitar 1", "C4", 0, 1), ("Guitar 2", "C4", 0, 1), parts=made),
                  tmp_path / "song.mid")  # fmt: skip
    assert ar.read(tmp_path / "song.mid").parts["program"].tolist() == [28, 26]
