"""The MusicXML reader on small scores of our own.

Each score is built here from the MusicXML 4.0 specification and checked by its schema
(``scores.read_text``); the docstring says why the answer is right. Facts of the trade that no
specification states are marked as common practice.
"""

from __future__ import annotations

import zipfile

import numpy as np
import pytest
from corpus import SUITE
from lxml import etree
from scores import (
    DOCTYPE,
    WHOLE_BAR,
    attributes,
    backup,
    barline,
    direction,
    forward,
    harmony,
    note,
    read_text,
    rehearsal,
    schema_errors,
    score,
    technical,
    timewise,
    words,
)

import arrange as ar
from arrange.tables.schemas import SONG_TABLES
from arrange.theory.chords import KINDS

CLEF = "<clef><sign>{}</sign><line>2</line></clef>"
OCTAVE_DOWN = "<transpose><chromatic>0</chromatic><octave-change>-1</octave-change></transpose>"
STANDARD = "".join(
    f'<staff-tuning line="{line}"><tuning-step>{step}</tuning-step>'
    f"<tuning-octave>{octave}</tuning-octave></staff-tuning>"
    for line, (step, octave) in enumerate(
        [("E", 2), ("A", 2), ("D", 3), ("G", 3), ("B", 3), ("E", 4)], 1
    )
)


def same(song, other):
    """Check that two Songs hold the same tables."""
    for table in SONG_TABLES:
        assert getattr(song, table.name).equals(getattr(other, table.name)), table.name
    assert song.title == other.title


def column(song, *names):
    """Return rows of some columns of the notes table, as tuples, or the values of one column."""
    rows = [song.notes[name].tolist() for name in names]
    return rows[0] if len(names) == 1 else list(zip(*rows, strict=True))


def two_part_score(**options):
    """Return a score with a bit of everything, for changes that must not alter the result."""
    return score(
        [
            attributes(4, key="<key><fifths>-1</fifths></key>") + harmony("F") + rehearsal("Verse")
            + note("F4", 8, ties="start") + note("A4", 8, first="<chord/>") + note("C5", 8),
            note("F4", 16, ties="stop"),
        ],
        [note("F3", 16, voice="1") + backup(16) + note("A3", 8, voice="2"), WHOLE_BAR],
        names=["Guitar", "Piano"],
        title="Caf\xe9 au lait",
        **options,
    )  # fmt: skip


# One score in many wrappings


def test_timewise_is_the_same_song_as_partwise(tmp_path):
    """score-timewise holds the same music the other way round (MusicXML 4.0, timewise XSL)."""
    text = two_part_score()
    same(
        read_text(tmp_path, timewise(text), valid=False),  # schema_errors checks it below
        read_text(tmp_path, text),
    )
    assert schema_errors(timewise(text)) == []


def test_timewise_part_that_begins_late(tmp_path):
    """A part that is not in the first measure stands beside the measure of its number."""
    text = timewise(score([WHOLE_BAR, WHOLE_BAR], [WHOLE_BAR, note("E4", 16)]))
    root = etree.fromstring(text)
    first = root.find("measure")
    late = first.findall("part")[1]
    root.findall("measure")[1].findall("part")[1].insert(0, late.find("attributes"))
    first.remove(late)
    song = read_text(tmp_path, etree.tostring(root, encoding="unicode"), valid=False)
    assert column(song, "part", "onset", "pitch") == [
        ("Part 1", 0, 60), ("Part 1", 4, 60), ("Part 2", 4, 64)
    ]  # fmt: skip


@pytest.mark.parametrize("encoding", ["UTF-8", "UTF-16", "ISO-8859-1", "US-ASCII"])
def test_any_encoding_gives_the_same_song(tmp_path, encoding):
    """XML 1.0, 4.3.3: the file says in which encoding it is, and UTF-16 by its byte-order mark."""
    text = two_part_score(encoding=encoding)
    data = text.encode(encoding, errors="xmlcharrefreplace")
    song = read_text(tmp_path, data, name="encoded.musicxml")
    same(song, read_text(tmp_path, two_part_score()))
    assert song.title == "Caf\xe9 au lait"


def test_utf8_with_a_byte_order_mark(tmp_path):
    """XML 1.0, 4.3.3: UTF-8 may begin with one."""
    data = b"\xef\xbb\xbf" + two_part_score(encoding="UTF-8").encode()
    same(read_text(tmp_path, data, valid=False), read_text(tmp_path, two_part_score()))


def test_without_a_declaration_it_is_utf8(tmp_path):
    """XML 1.0, 4.3.3: without a declaration and a byte-order mark the encoding is UTF-8."""
    song = read_text(tmp_path, two_part_score().encode("utf-8"), name="plain.musicxml")
    assert song.title == "Caf\xe9 au lait"


def compressed(text, inner="scores/song.musicxml"):
    """Return a compressed file's bytes, made as the specification describes."""
    import io

    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<?xml version="1.0"?><container><rootfiles>'
            f'<rootfile full-path="{inner}"/><rootfile full-path="scores/song.pdf" '
            'media-type="application/pdf"/></rootfiles></container>',
        )
        archive.writestr("scores/song.pdf", "%PDF")
        archive.writestr(inner, text)
    return stream.getvalue()


@pytest.mark.parametrize("name", ["song.mxl", "song.xml", "song"])
def test_compressed_files_are_known_by_their_content(tmp_path, name):
    """The first rootfile of META-INF/container.xml is the score, whatever the file is called."""
    data = compressed(two_part_score())
    song = read_text(tmp_path, data, name=name, valid=False)
    same(song, read_text(tmp_path, two_part_score()))


@pytest.mark.parametrize("name", ["song.mxl", "song.txt"])
def test_plain_files_are_known_by_their_content(tmp_path, name):
    """A plain score is read as one under any suffix."""
    same(read_text(tmp_path, two_part_score(), name=name), read_text(tmp_path, two_part_score()))


def test_a_doctype_is_read_past_and_nothing_is_fetched(tmp_path, monkeypatch):
    """Most files name a DTD; it is never opened, from the net or from disk."""
    import socket

    def no_network(*_args, **_kwargs):
        raise AssertionError("the network was asked")

    monkeypatch.setattr(socket, "socket", no_network)
    text = two_part_score(doctype=DOCTYPE)
    local = two_part_score(doctype=f'<!DOCTYPE score-partwise SYSTEM "{tmp_path}/none.dtd">')
    plain = read_text(tmp_path, two_part_score())
    same(read_text(tmp_path, text), plain)
    same(read_text(tmp_path, local), plain)


def test_comments_and_processing_instructions_are_nothing(tmp_path):
    """Comments and processing instructions are no content (XML 1.0, 2.5 and 2.6)."""
    text = two_part_score()
    noisy = text.replace("<pitch>", "<pitch><!-- <step>A</step> --><?x <step>?>")
    same(read_text(tmp_path, noisy), read_text(tmp_path, text))


def test_facts_about_the_file(tmp_path):
    """The file's name and the SHA-256 of its bytes show later whether it is still the same file."""
    song = read_text(tmp_path, score([WHOLE_BAR]))
    assert song.source == "song.musicxml"
    assert len(song.fingerprint) == 64


# Time


def test_divisions_that_change(tmp_path):
    """``divisions`` of a quarter note hold from where they stand: 4 of 4, then 3 of 12."""
    text = score([note("C4", 16), attributes(12, "") + note("D4", 3) + note("E4", 45)])
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration") == [(0, 4), (4, 0.25), (4.25, 3.75)]


def test_divisions_that_change_inside_a_measure(tmp_path):
    """The change counts for what follows only."""
    text = score([attributes() + note("C4", 8) + attributes(3, "") + note("D4") + note("E4", 2)])
    song = read_text(tmp_path, text)
    assert column(song, "onset")[:2] == [0, 2]
    assert column(song, "duration") == pytest.approx([2, 4 / 3, 2 / 3], abs=1e-15)
    assert song.measures["duration"].tolist() == [4]


def test_each_part_has_its_own_divisions(tmp_path):
    """Half of 8 and of 480 divisions: both a half quarter, at the very same onset."""
    text = score(
        [attributes(8) + note("C4", 4) + note("D4", 28)],
        [attributes(480) + note("E4", 240) + note("F4", 1680)],
    )
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration", "pitch") == [
        (0, 0.5, 60), (0, 0.5, 64), (0.5, 3.5, 62), (0.5, 3.5, 65)
    ]  # fmt: skip


def test_decimal_divisions_and_durations(tmp_path):
    """positive-divisions is a decimal: 2.5 divisions, so 1.25 of them are an eighth note."""
    text = score([attributes("2.5") + note("C4", "1.25") + note("D4", "8.75")])
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration") == [(0, 0.5), (0.5, 3.5)]


def test_triplets_meet_the_next_beat_exactly(tmp_path):
    """Three thirds of a quarter end where another part's next quarter begins, to the last bit."""
    text = score(
        [attributes(3) + note("C4", 1) * 3 + note("D4", 9)],
        [attributes(1) + note("E4", 1) + note("F4", 3)],
    )
    song = read_text(tmp_path, text)
    first = song.notes[song.notes["part"] == "Part 1"]
    assert first["onset"].tolist() == [0, 1 / 3, 2 / 3, 1]
    assert first["duration"].iloc[:3].tolist() == [1 / 3] * 3
    assert first["onset"].iloc[3] == song.notes.query("pitch == 65")["onset"].iloc[0]


def test_a_long_run_of_quintuplets_does_not_drift(tmp_path):
    """After 500 fifths of a quarter the onset is the whole number 100: no rounding adds up."""
    bar = note("C4", 1) * 20
    song = read_text(tmp_path, score([attributes(5) + bar, *[bar] * 25, note("D4", 20)]))
    assert song.notes.query("pitch == 62")["onset"].tolist() == [104]
    assert song.notes["onset"].iloc[500] == 100


def test_backup_and_forward_move_the_cursor(tmp_path):
    """``backup`` goes back, ``forward`` on, without a note (MusicXML 4.0, backup, forward)."""
    text = score(
        [note("C4", 16, voice="1") + backup(16) + forward(4) + note("E4", 4, voice="2") + backup(4)
         + note("G4", 12, voice="3")]
    )  # fmt: skip
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration", "pitch", "voice") == [
        (0, 4, 60, "1"), (1, 1, 64, "2"), (1, 3, 67, "3")
    ]  # fmt: skip


def test_chord_notes_begin_with_their_first(tmp_path):
    """A note with ``chord`` does not move the cursor; a shorter one ends earlier."""
    text = score([note("C4", 8) + note("E4", 4, first="<chord/>") + note("G4", 8)])
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration", "pitch") == [(0, 2, 60), (0, 1, 64), (2, 2, 67)]


def test_chord_notes_are_in_the_voice_of_their_first(tmp_path):
    """Without a ``voice`` of its own a chord's further note is in its first one's."""
    text = score([note("C4", 16, voice="2") + note("E4", 16, first="<chord/>")])
    assert column(read_text(tmp_path, text), "voice") == ["2", "2"]


def test_a_direction_between_chord_notes_changes_nothing(tmp_path):
    """The suite's 21f: a direction and a chord symbol between the notes of one chord."""
    text = score(
        [note("C4", 16) + direction("<dynamics><p/></dynamics>") + note("E4", 16, first="<chord/>")]
    )
    assert column(read_text(tmp_path, text), "onset") == [0, 0]


def test_durations_of_other_elements_move_nothing(tmp_path):
    """``figured-bass`` has a duration too: it is its own, not the cursor's."""
    figures = (
        "<figured-bass><figure><figure-number>6</figure-number></figure><duration>8</duration>"
        "</figured-bass>"
    )
    song = read_text(tmp_path, score([figures + note("C4", 8) + figures + note("E4", 8)]))
    assert column(song, "onset") == [0, 2]


def test_grace_notes_are_kept_and_marked(tmp_path):
    """A grace note has no duration (MusicXML 4.0, grace) and stands where its main note does."""
    text = score([note("C4", 8) + note("D4", "", first="<grace/>") + note("E4", 8)])
    song = read_text(tmp_path, text)
    assert column(song, "onset", "duration", "pitch", "grace") == [
        (0, 2, 60, False), (2, 0, 62, True), (2, 2, 64, False)
    ]  # fmt: skip


def test_cue_notes_are_kept_and_marked(tmp_path):
    """A cue note takes its time, but shows another part's music: its technique says cue."""
    song = read_text(tmp_path, score([note("C4", 8, first="<cue/>") + note("E4", 8)]))
    assert song.notes["onset"].tolist() == [0, 2]
    assert song.notes["technique"].fillna("").tolist() == ["cue", ""]


def test_rests_take_time_and_make_no_rows(tmp_path):
    """Two beats of silence, then a note; a whole-measure rest has the measure's length."""
    song = read_text(tmp_path, score([note("rest", 8) + note("C4", 8), note("rest", 16)]))
    assert column(song, "onset") == [2]
    assert len(song.measures) == 2


# Ties


def test_a_tie_across_the_bar_line(tmp_path):
    """One sounding note of six quarters (MusicXML 4.0, tie: "indicates sound")."""
    text = score([note("C4", 16, ties="start"), note("C4", 8, ties="stop") + note("D4", 8)])
    assert column(read_text(tmp_path, text), "onset", "duration") == [(0, 6), (6, 2)]


def test_a_tie_over_three_notes(tmp_path):
    """The note in the middle has both a stop and a start."""
    text = score(
        [
            note("C4", 16, ties="start"),
            note("C4", 16, ties="stop start"),
            note("C4", 16, ties="stop"),
        ]
    )
    assert column(read_text(tmp_path, text), "onset", "duration") == [(0, 12)]


def test_a_tie_into_another_voice(tmp_path):
    """The same pitch continues in voice 2 and is still one sound."""
    text = score(
        [note("C4", 16, ties="start", voice="1"),
         note("E4", 16, voice="1") + backup(16) + note("C4", 16, ties="stop", voice="2")]
    )  # fmt: skip
    assert column(read_text(tmp_path, text), "onset", "duration", "pitch") == [
        (0, 8, 60), (4, 4, 64)
    ]  # fmt: skip


def test_a_tie_stays_in_its_voice_where_two_sound_alike(tmp_path):
    """Two voices hold C4; each tie goes on in its own, so 8 and 6 quarters, not 6 and 8."""
    first = note("C4", 16, ties="start", voice="1") + backup(16)
    second = note("C4", 16, ties="stop", voice="1") + backup(16)
    text = score(
        [first + note("C4", 16, ties="start", voice="2"),
         second + note("C4", 8, ties="stop", voice="2") + note("rest", 8, voice="2")]
    )  # fmt: skip
    song = read_text(tmp_path, text)
    assert sorted(column(song, "voice", "duration")) == [("1", 8), ("2", 6)]


def test_a_tie_into_a_chord(tmp_path):
    """One note is held while two more join it; the held one is not struck again."""
    text = score(
        [note("C4", 16, ties="start"),
         note("C4", 16, ties="stop") + note("E4", 16, first="<chord/>")]
    )  # fmt: skip
    assert column(read_text(tmp_path, text), "onset", "duration", "pitch") == [
        (0, 8, 60), (4, 4, 64)
    ]  # fmt: skip


def test_a_tie_out_of_a_chords_middle(tmp_path):
    """Only the chord note that says so goes on."""
    chord = note("C4", 16) + note("E4", 16, first="<chord/>", ties="start")
    text = score([chord + note("G4", 16, first="<chord/>"), note("E4", 16, ties="stop")])
    assert sorted(column(read_text(tmp_path, text), "pitch", "duration")) == [
        (60, 4), (64, 8), (67, 4)
    ]  # fmt: skip


def test_a_tie_into_both_endings(tmp_path):
    """``|: C tied [1 C :| [2 C``: played out, the first note is held into either ending."""
    text = score(
        [
            barline("left", 'direction="forward"') + note("C4", 16, ties="start"),
            barline("left", ending="1 start") + note("C4", 16, ties="stop")
            + barline("right", 'direction="backward"', "1 stop"),
            barline("left", ending="2 start") + note("C4", 8, ties="stop") + note("D4", 8)
            + barline("right", ending="2 stop"),
        ]
    )  # fmt: skip
    song = read_text(tmp_path, text)
    assert song.measures["written"].tolist() == ["1", "2", "1", "3"]
    assert column(song, "onset", "duration", "pitch") == [(0, 8, 60), (8, 6, 60), (14, 2, 62)]
    page = read_text(tmp_path, text, played=False)
    assert column(page, "onset", "duration") == [(0, 8), (8, 2), (10, 2)]


def test_a_tie_over_a_bar_that_is_too_short(tmp_path):
    """One part's bar lacks a beat; its tied note goes on at the bar line all the same."""
    text = score(
        [note("C4", 16), note("C4", 16)],
        [note("C4", 16), note("C4", 16)],
        [note("E4", 12, ties="start"), note("E4", 16, ties="stop")],
    )
    song = read_text(tmp_path, text)
    assert song.notes.query("pitch == 64")[["onset", "duration"]].to_numpy().tolist() == [[0, 8]]


def test_tied_without_tie_is_notation_only(tmp_path):
    """MusicXML 4.0, tie: "The tie element indicates sound; the tied element notation"."""
    held = note("C4", 16, notations='<tied type="start"/>')
    text = score([held, note("C4", 16, notations='<tied type="stop"/>')])
    assert column(read_text(tmp_path, text), "duration") == [4, 4]


# Measures


def test_a_pickup_is_as_long_as_its_notes(tmp_path):
    """An implicit first measure of one beat: the song begins there, bar 1 a quarter later."""
    text = score(
        [note("G4", 4), note("C5", 16)], numbers=["0", "1"]
    ).replace('number="0"', 'number="0" implicit="yes"')  # fmt: skip
    song = read_text(tmp_path, text)
    assert song.measures["onset"].tolist() == [0, 1]
    assert song.measures["duration"].tolist() == [1, 4]
    assert song.measures["written"].tolist() == ["0", "1"]
    assert song.measures["measure"].tolist() == [1, 2]


def test_a_rest_does_not_fill_up_a_pickup(tmp_path):
    """A resting part may hold a whole bar of rest over the other's pickup: the notes count."""
    text = score([note("G4", 4), WHOLE_BAR], [note("rest", 16), WHOLE_BAR])
    song = read_text(tmp_path, text)
    assert song.measures["duration"].tolist() == [1, 4]
    assert song.notes["onset"].tolist() == [0, 1, 1]


def test_measure_numbers_need_not_be_numbers(tmp_path):
    """A measure's number is a token: "X1" for a bar that continues one across a repeat sign."""
    text = score([WHOLE_BAR, note("C4", 8), note("C4", 8)], numbers=["1", "2", "X1"])
    song = read_text(tmp_path, text)
    assert song.measures["written"].tolist() == ["1", "2", "X1"]
    assert song.measures["onset"].tolist() == [0, 4, 6]


def test_parts_out_of_step_follow_the_most(tmp_path):
    """Two parts say four quarters, one five: all begin the next bar together, with a notice."""
    text = score([WHOLE_BAR] * 2, [note("C4", 20), WHOLE_BAR], [WHOLE_BAR] * 2)
    song = read_text(tmp_path, text)
    assert song.measures["duration"].tolist() == [4, 4]
    assert song.notes.query("measure == 2")["onset"].tolist() == [4, 4, 4]
    assert any("different lengths to measure 1" in notice for notice in song.notices)


def test_parts_out_of_step_one_each_follow_the_meter(tmp_path):
    """One part says five quarters, one four: the 4/4 on the page decides."""
    text = score([note("C4", 20), WHOLE_BAR], [WHOLE_BAR] * 2)
    assert read_text(tmp_path, text).measures["duration"].tolist() == [4, 4]


def test_a_bar_rounded_on_export_is_full(tmp_path):
    """17 divisions cannot hold a 6/8 bar's two dotted quarters (25.5 each): 50/17 is meant as 3."""
    text = score([attributes(17, "6/8") + note("C4", 25) * 2, note("D4", 25) * 2])
    song = read_text(tmp_path, text)
    assert song.measures["duration"].tolist() == [3, 3]
    assert song.measures["onset"].tolist() == [0, 3]
    assert any("rounded on export" in notice for notice in song.notices)


def test_measures_of_one_number_stand_beside_each_other(tmp_path):
    """Part 2 lacks bar 2: its bar 3 is beside bar 3, not beside bar 2."""
    text = score([WHOLE_BAR] * 3, [WHOLE_BAR, note("E4", 16)])
    head, tail = text.split('<part id="P2">')
    text = head + '<part id="P2">' + tail.replace('number="2"', 'number="3"')
    song = read_text(tmp_path, text)
    assert song.notes.query("pitch == 64")["onset"].tolist() == [8]
    assert any("measure numbers differ between parts" in notice for notice in song.notices)


def test_a_part_that_ends_early(tmp_path):
    """The part is silent from there on, with a notice."""
    song = read_text(tmp_path, score([WHOLE_BAR] * 3, [WHOLE_BAR]))
    assert len(song.measures) == 3
    assert any("1 of 2 parts have fewer measures" in notice for notice in song.notices)


def test_an_empty_bar_has_its_meters_length(tmp_path):
    """A bar with nothing in it, in 6/8: three quarters."""
    song = read_text(tmp_path, score([attributes(4, "6/8") + note("C4", 12), "", note("C4", 12)]))
    assert song.measures["onset"].tolist() == [0, 3, 6]


def test_meters(tmp_path):
    """A meter holds until the next; 3+2/8 is a composite one (MusicXML 4.0, time: beats)."""
    text = score(
        [attributes(4, "6/8") + note("C4", 12), note("C4", 12),
         attributes(0, "3+2/8") + note("C4", 10), attributes(0, "2/2") + note("C4", 16)]
    )  # fmt: skip
    song = read_text(tmp_path, text)
    assert song.measures["meter"].tolist() == ["6/8", "6/8", "3+2/8", "2/2"]
    assert song.measures["duration"].tolist() == [3, 3, 2.5, 4]


def test_a_meter_of_several_fractions(tmp_path):
    """3/8 + 2/4: several pairs of beats and beat-type; an empty bar is 1.5 + 2 quarters long."""
    time = (
        "<time><beats>3</beats><beat-type>8</beat-type><beats>2</beats><beat-type>4</beat-type>"
        "</time>"
    )
    song = read_text(tmp_path, score([attributes(4, "", key=time), ""]))
    assert song.measures["meter"].tolist() == ["3/8 + 2/4"] * 2
    assert song.measures["duration"].tolist() == [3.5, 3.5]


def test_senza_misura(tmp_path):
    """No meter: the bar is as long as what is in it (MusicXML 4.0, senza-misura)."""
    text = score([attributes(4, "", key="<time><senza-misura/></time>") + note("C4", 28)])
    song = read_text(tmp_path, text)
    assert song.measures["meter"].tolist() == ["free"]
    assert song.measures["duration"].tolist() == [7]


@pytest.mark.parametrize(
    ("fifths", "mode", "key"),
    [
        (0, "", "C major"), (2, "major", "D major"), (-1, "minor", "D minor"),
        (-3, "", "Eb major"), (3, "minor", "F# minor"), (0, "dorian", "D dorian"),
        (-2, "mixolydian", "F mixolydian"), (7, "major", "C# major"),
    ],
)  # fmt: skip
def test_keys(tmp_path, fifths, mode, key):
    """``fifths`` counts sharps or flats, ``mode`` gives the tonic (MusicXML 4.0, key)."""
    element = f"<mode>{mode}</mode>" if mode else ""
    text = score([attributes(key=f"<key><fifths>{fifths}</fifths>{element}</key>") + WHOLE_BAR])
    assert read_text(tmp_path, text).measures["key"].tolist() == [key]


def test_a_key_change_holds_from_its_bar(tmp_path):
    """D minor, from the third bar A major; played out, a repeat brings the old one back."""
    change = "<attributes><key><fifths>3</fifths></key></attributes>"
    text = score(
        [attributes(key="<key><fifths>-1</fifths><mode>minor</mode></key>") + WHOLE_BAR, WHOLE_BAR,
         change + WHOLE_BAR + barline("right", 'direction="backward"')]
    )  # fmt: skip
    assert read_text(tmp_path, text).measures["key"].tolist() == [
        "D minor", "D minor", "A major"
    ] * 2  # fmt: skip


def test_the_sounding_key_of_a_transposing_part(tmp_path):
    """A part for an instrument in B flat, written in G major, sounds in F major: two down."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    key = "<key><fifths>1</fifths></key>"
    text = score([attributes(more=transpose, key=key) + WHOLE_BAR])
    song = read_text(tmp_path, text)
    assert song.measures["key"].tolist() == ["F major"]
    assert song.notes["pitch"].tolist() == [58]


# Tempo


def test_a_missing_tempo_is_reported(tmp_path):
    """120 quarter notes a minute, the default of the Standard MIDI File; reported."""
    song = read_text(tmp_path, score([WHOLE_BAR]))
    assert song.measures["tempo"].tolist() == [120]
    assert any("no tempo is given" in notice for notice in song.notices)


def test_sound_tempo(tmp_path):
    """``tempo`` of ``sound`` is in quarter notes a minute: 4 quarters at 60 last 4 seconds."""
    song = read_text(tmp_path, score(['<sound tempo="60"/>' + WHOLE_BAR, WHOLE_BAR]))
    assert song.measures["tempo"].tolist() == [60, 60]
    assert song.seconds(8) == 8


def metronome(unit, per_minute, dots=0):
    """Return a metronome mark."""
    return direction(
        f"<metronome><beat-unit>{unit}</beat-unit>{'<beat-unit-dot/>' * dots}"
        f"<per-minute>{per_minute}</per-minute></metronome>"
    )


@pytest.mark.parametrize(
    ("unit", "dots", "per_minute", "tempo"),
    [
        ("quarter", 0, "96", 96), ("half", 0, "60", 120), ("eighth", 0, "100", 50),
        ("quarter", 1, "64", 96), ("eighth", 1, "80", 60), ("quarter", 2, "40", 70),
        ("quarter", 0, "ca. 72", 72), ("whole", 0, "30", 120), ("16th", 0, "240", 60),
    ],
)  # fmt: skip
def test_metronome_marks(tmp_path, unit, dots, per_minute, tempo):
    """So many of the note value a minute, dots lengthen it: 64 dotted quarters are 96 quarters."""
    text = score([metronome(unit, per_minute, dots) + WHOLE_BAR])
    assert read_text(tmp_path, text).measures["tempo"].tolist() == [tempo]


def test_sound_tempo_wins_over_its_own_metronome_mark(tmp_path):
    """One direction shows a mark and says how fast it really goes: the sound counts."""
    mark = "<metronome><beat-unit>quarter</beat-unit><per-minute>100</per-minute></metronome>"
    text = score([direction(mark, sound='tempo="104"') + WHOLE_BAR])
    assert read_text(tmp_path, text).measures["tempo"].tolist() == [104]


def test_a_tempo_change_inside_a_bar_keeps_the_bar_line_exact(tmp_path):
    """Two quarters at 60 and two at 120 take 2 + 1 seconds; the next bar begins at second 3."""
    text = score(
        ['<sound tempo="60"/>' + note("C4", 8) + '<sound tempo="120"/>' + note("C4", 8), WHOLE_BAR]
    )
    song = read_text(tmp_path, text)
    assert song.seconds(4) == pytest.approx(3, abs=1e-12)
    assert song.seconds(8) == pytest.approx(5, abs=1e-12)
    assert song.measures["tempo"].tolist() == pytest.approx([80, 120])


def test_an_offset_of_sound_moves_the_tempo_change(tmp_path):
    """``offset`` in ``sound`` counts divisions from the cursor: here to the middle of the bar."""
    text = score(
        ['<sound tempo="60"/><sound tempo="120"><offset>8</offset></sound>' + WHOLE_BAR, WHOLE_BAR]
    )
    assert read_text(tmp_path, text).seconds(4) == pytest.approx(3, abs=1e-12)


def test_seconds_of_many_onsets(tmp_path):
    """An array in, an array out; beyond the end the last tempo goes on."""
    song = read_text(tmp_path, score(['<sound tempo="60"/>' + WHOLE_BAR]))
    assert song.seconds(np.array([0, 1, 4, 6])).tolist() == [0, 1, 4, 6]


# Pitch


@pytest.mark.parametrize(
    ("name", "pitch"),
    [("C4", 60), ("A4", 69), ("Cb4", 59), ("B#3", 60), ("F##5", 79), ("Bbb2", 45), ("G9", 127)],
)
def test_pitches(tmp_path, name, pitch):
    """Octave 4 begins with middle C, 60; alter adds semitones (MusicXML 4.0, pitch)."""
    assert column(read_text(tmp_path, score([note(name, 16)])), "pitch") == [pitch]


def test_a_quarter_tone(tmp_path):
    """``alter`` may be half a semitone."""
    sharp = "<pitch><step>C</step><alter>0.5</alter><octave>4</octave></pitch>"
    assert column(read_text(tmp_path, score([note(sharp, 16)])), "pitch") == [60.5]


def test_a_guitar_sounds_an_octave_lower(tmp_path):
    """Written E4 with octave-change -1 sounds E3, 52 (MusicXML 4.0, transpose)."""
    text = score([attributes(more=OCTAVE_DOWN) + note("E4", 16)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [52]
    assert song.parts["transpose"].tolist() == [-12]
    assert not any("plain treble clef" in notice for notice in song.notices)


def test_a_transposition_that_changes(tmp_path):
    """From B flat to A in the middle: the same written note sounds two, then three lower."""
    flat = "<transpose><chromatic>-2</chromatic></transpose>"
    third = "<transpose><chromatic>-3</chromatic></transpose>"
    text = score([attributes(more=flat) + WHOLE_BAR, attributes(0, "", third) + WHOLE_BAR])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [58, 57]
    assert any("its transposition changes on the way" in notice for notice in song.notices)


def test_a_transposition_of_one_staff(tmp_path):
    """``number`` of ``transpose`` names the staff that is transposed."""
    lower = '<transpose number="2"><chromatic>-12</chromatic></transpose>'
    text = score(
        [attributes(more="<staves>2</staves>" + lower) + note("C4", 16, staff="1") + backup(16)
         + note("C4", 16, staff="2")]
    )  # fmt: skip
    assert sorted(column(read_text(tmp_path, text), "pitch")) == [48, 60]


def test_a_transposition_stays_in_its_part(tmp_path):
    """The part below it is at concert pitch."""
    text = score([attributes(more=OCTAVE_DOWN) + WHOLE_BAR], [WHOLE_BAR])
    assert sorted(column(read_text(tmp_path, text), "part", "pitch")) == [
        ("Part 1", 48), ("Part 2", 60)
    ]  # fmt: skip


def test_an_octave_clef_moves_nothing(tmp_path):
    """``pitch`` is the true written pitch; a clef with a small 8 only says where it is drawn.

    MusicXML 4.0, clef-octave-change: for a clef's appearance; ``transpose`` is for the sound.
    """
    clef = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
    text = score([attributes(more=clef) + note("E3", 16)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [52]
    assert not any("plain treble clef" in notice for notice in song.notices)


def test_an_8va_line_moves_nothing(tmp_path):
    """MusicXML 4.0, octave-shift: the notes' pitch already is what it would be without the line."""
    up = direction('<octave-shift type="down" size="8"/>')
    end = direction('<octave-shift type="stop" size="8"/>')
    text = score([up + note("C6", 16) + end, WHOLE_BAR])
    assert column(read_text(tmp_path, text), "pitch") == [84, 60]


def test_a_guitar_on_a_plain_treble_clef_is_reported_and_can_be_moved(tmp_path):
    """Guitars sound an octave lower than written (common practice); some files do not say so."""
    text = score([attributes(more=CLEF.format("G")) + note("E4", 16)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [64]
    assert any("Guitar: a guitar on a plain treble clef" in notice for notice in song.notices)
    lower = read_text(tmp_path, text, octaves={"Guitar": -1})
    assert column(lower, "pitch") == [52]
    assert lower.parts["transpose"].tolist() == [-12]


def test_unpitched_percussion_is_kept_without_a_pitch(tmp_path):
    """``unpitched`` gives a line of the staff, not a pitch; an x there is a cymbal, not muted."""
    drum = "<unpitched><display-step>E</display-step><display-octave>5</display-octave></unpitched>"
    song = read_text(tmp_path, score([note(drum, 16, notehead="x")], names=["Kit"]))
    assert song.notes["pitch"].isna().tolist() == [True]
    assert song.notes["technique"].isna().tolist() == [True]
    assert song.parts["family"].tolist() == ["drums"]


# Strings, frets and how they are played


def tab(capo=0, transpose=""):
    """Return attributes of a guitar part in standard tuning, with or without a capo."""
    fixed = f"<capo>{capo}</capo>" if capo else ""
    return attributes(more=f"<staff-details>{STANDARD}{fixed}</staff-details>{transpose}")


def fretted(name, string, fret, duration=16, more=""):
    """Return a note with its string and fret."""
    place = f"<string>{string}</string><fret>{fret}</fret>"
    return note(name, duration, notations=technical(place + more))


def test_tuning_string_and_fret(tmp_path):
    """Staff lines count from the bottom, strings from the highest (MusicXML 4.0).

    C4 on the second string, B3 = 59, at fret 1: 60.
    """
    song = read_text(tmp_path, score([tab() + fretted("C4", 2, 1)], names=["Guitar"]))
    assert song.parts["tuning"].tolist() == [(64, 59, 55, 50, 45, 40)]
    assert column(song, "pitch", "string", "fret") == [(60, 2, 1)]


def test_an_altered_open_string(tmp_path):
    """``tuning-alter`` moves it: the sixth string down to E flat, 39."""
    flat = STANDARD.replace(
        "<tuning-step>E</tuning-step><tuning-octave>2",
        "<tuning-step>E</tuning-step><tuning-alter>-1</tuning-alter><tuning-octave>2",
    )
    text = score([attributes(more=f"<staff-details>{flat}</staff-details>") + WHOLE_BAR])
    assert read_text(tmp_path, text).parts["tuning"].tolist() == [(64, 59, 55, 50, 45, 39)]


def test_frets_count_from_the_capo_in_the_file_and_from_the_nut_in_the_table(tmp_path):
    """A capo "changes the open tuning": fret 0 under a capo at 3 sounds three higher, and is 3."""
    text = score([tab(capo=3) + fretted("D4", 2, 0, 8) + fretted("E4", 2, 2, 8)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert song.parts["capo"].tolist() == [3]
    assert column(song, "pitch", "fret") == [(62, 3), (64, 5)]
    opened = song.parts["tuning"].iloc[0][1]
    assert all(pitch == opened + fret for pitch, fret in column(song, "pitch", "fret"))


def test_frets_that_only_fit_from_the_nut_are_taken_so(tmp_path):
    """Some files count from the nut, against the specification: the pitches show it; reported."""
    text = score([tab(capo=3) + fretted("D4", 2, 3, 8) + fretted("E4", 2, 5, 8)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "fret") == [3, 5]
    assert any("only when counted from the nut" in notice for notice in song.notices)


def test_strings_that_do_not_fit_the_pitch_are_reported(tmp_path):
    """The pitch is kept, since it is what sounds."""
    text = score([tab() + fretted("C4", 2, 1, 8) + fretted("C4", 2, 7, 8)], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [60, 60]
    assert any("1 of 2 notes have a string and fret" in notice for notice in song.notices)


def test_standard_tuning_is_filled_in_where_it_fits(tmp_path):
    """Strings and frets without a tuning: E2 A2 D3 G3 B3 E4 explains them (common practice)."""
    text = score([attributes() + fretted("C4", 2, 1, 8) + fretted("G3", 3, 0, 8)])
    assert read_text(tmp_path, text).parts["tuning"].tolist() == [(64, 59, 55, 50, 45, 40)]


def test_strings_inside_a_chord_frame_belong_to_the_frame(tmp_path):
    """``frame-note`` has string and fret too: not those of the note behind the chord symbol."""
    frame = (
        "<frame><frame-strings>6</frame-strings><frame-frets>4</frame-frets><frame-note>"
        "<string>5</string><fret>3</fret></frame-note></frame>"
    )
    song = read_text(tmp_path, score([harmony("C", more=frame) + WHOLE_BAR]))
    assert song.notes["string"].isna().tolist() == [True]


TECHNIQUES = [
    (technical('<hammer-on type="start">H</hammer-on>'), "hammer-on"),
    (technical('<pull-off type="start">P</pull-off>'), "pull-off"),
    (technical("<bend><bend-alter>2</bend-alter></bend>"), "bend"),
    (technical("<harmonic><natural/></harmonic>"), "harmonic"),
    (technical("<tap/>"), "tap"),
    ('<slide type="start"/>', "slide"),
    ('<glissando type="start"/>', "slide"),
    ('<tied type="let-ring"/>', "let ring"),
    ('<ornaments><trill-mark/><wavy-line type="start"/></ornaments>', "vibrato"),
]


@pytest.mark.parametrize(("notations", "technique"), TECHNIQUES)
def test_techniques(tmp_path, notations, technique):
    """Each by its element in ``notations``; marked at the note where it starts."""
    text = score([note("E4", 8, notations=notations) + note("G4", 8)])
    song = read_text(tmp_path, text)
    assert song.notes["technique"].fillna("").tolist() == [technique, ""]


@pytest.mark.parametrize(("name", "kind"), [
    ("B4", "<natural/><touching-pitch/>"), ("E4", "<natural/><base-pitch/>"),
    ("B4", "<natural/>"), ("B5", "<natural/><sounding-pitch/>"),
])  # fmt: skip
def test_a_harmonic_is_read_as_it_sounds(tmp_path, name, kind):
    """String 1 touched over fret 7 sounds B5, whichever of its three pitches is written."""
    harmonic = fretted(name, 1, 7, 16, f"<harmonic>{kind}</harmonic>")
    own = read_text(tmp_path, score([tab() + harmonic], names=["Guitar"]))
    assert column(own, "pitch", "string", "fret") == [(83, 1, 7)]
    assert not any("do not give" in notice for notice in own.notices)
    ar.write_musicxml(own, tmp_path / "again.musicxml")
    again = ar.read(tmp_path / "again.musicxml")
    assert column(again, "pitch", "string", "fret") == [(83, 1, 7)]


def test_hammer_on_is_marked_where_it_starts(tmp_path):
    """Two notes share it; the first has it, the second only its end."""
    text = score(
        [fretted("E4", 1, 0, 8, '<hammer-on type="start">H</hammer-on>')
         + fretted("G4", 1, 3, 8, '<hammer-on type="stop"/>')]
    )  # fmt: skip
    song = read_text(tmp_path, text)
    assert song.notes["technique"].fillna("").tolist() == ["hammer-on", ""]


def test_several_techniques_of_one_note(tmp_path):
    """The techniques are joined by commas."""
    text = score(
        [note("E4", 16, notations=technical("<bend><bend-alter>1</bend-alter></bend>")
              + '<tied type="let-ring"/>')]
    )  # fmt: skip
    assert column(read_text(tmp_path, text), "technique") == ["bend, let ring"]


def test_a_muted_string(tmp_path):
    """A cross instead of a head: struck with the string damped (common practice)."""
    song = read_text(tmp_path, score([note("E3", 16, notehead="x")]))
    assert column(song, "technique") == ["muted"]


def test_palm_mute_of_one_note_and_of_a_passage(tmp_path):
    """``play`` in a note is for that note, in ``sound`` for all that follow (see play)."""
    single = note("E3", 8).replace("</note>", "<play><mute>palm</mute></play></note>")
    on, off = (f"<sound><play><mute>{value}</mute></play></sound>" for value in ("palm", "off"))
    text = score(
        [single + note("E3", 8), on + note("E3", 16), note("E3", 16), off + note("E3", 16)]
    )
    song = read_text(tmp_path, text)
    assert song.notes["technique"].fillna("").tolist() == [
        "palm mute", "", "palm mute", "palm mute", ""
    ]  # fmt: skip


def test_a_tablature_staff_below_a_staff_is_the_same_music(tmp_path):
    """One part, notes above and tablature below: each note once, with its string and fret."""
    staves = (
        "<staves>2</staves>"
        + '<clef number="1"><sign>G</sign><line>2</line></clef>'
        + '<clef number="2"><sign>TAB</sign><line>5</line></clef>'
        + f'<staff-details number="2"><staff-lines>6</staff-lines>{STANDARD}</staff-details>'
    )
    above = note("C4", 8, voice="1", staff="1") + note("E4", 8, voice="1", staff="1")
    below = (
        note("C4", 8, voice="2", staff="2", notations=technical("<string>2</string><fret>1</fret>"))
        + note("E4", 8, voice="2", staff="2",
               notations=technical("<string>1</string><fret>0</fret>"))
    )  # fmt: skip
    text = score([attributes(more=staves) + above + backup(16) + below], names=["Guitar"])
    song = read_text(tmp_path, text)
    assert column(song, "onset", "pitch", "string", "fret") == [(0, 60, 2, 1), (2, 64, 1, 0)]


def test_a_piano_on_two_staves_keeps_its_unisons(tmp_path):
    """Without tablature two hands on one key are two notes as written."""
    staves = (
        "<staves>2</staves>"
        '<clef number="1"><sign>G</sign><line>2</line></clef>'
        '<clef number="2"><sign>F</sign><line>4</line></clef>'
    )
    hands = note("C4", 16, voice="1", staff="1") + backup(16) + note("C4", 16, voice="2", staff="2")
    text = score([attributes(more=staves) + hands], names=["Piano"])
    assert len(read_text(tmp_path, text).notes) == 2


# Chord symbols


def chord_row(tmp_path, *harmonies):
    """Return the chord rows of one bar, evenly spread."""
    length = 16 // len(harmonies)
    measure = "".join(symbol + note("C4", length) for symbol in harmonies)
    return read_text(tmp_path, score([measure])).chords


# Kinds that music21 defines differently: its Neapolitan is no triad of the flat second degree
# (Db F Ab on C; Piston, Harmony), its "other" and "none" have no members of their own.
NOT_COMPARED = ("Neapolitan", "other", "none")


@pytest.mark.parametrize("root", ["C", "F#", "Bb"])
def test_members_of_all_kinds(tmp_path, root):
    """Against music21's chord symbols, by pitch classes and bass; the kinds are the schema's."""
    harmony21 = pytest.importorskip("music21.harmony")
    kinds = [kind for kind in KINDS if kind not in NOT_COMPARED]
    bars = [harmony(root, kind) + note("C4", 16) for kind in kinds]
    for row, kind in zip(read_text(tmp_path, score(bars)).chords.itertuples(), kinds, strict=True):
        other = harmony21.ChordSymbol(root=root.replace("b", "-"), kind=kind)
        assert set(row.pitch_classes) == {pitch.pitchClass for pitch in other.pitches}, kind
        assert row.root == row.bass == other.root().pitchClass == other.bass().pitchClass
        assert row.kind == kind


def test_the_kinds_are_those_of_the_schema():
    """33 values of kind-value in the MusicXML 4.0 schema, none missing, none made up."""
    import importlib.util
    from pathlib import Path

    (package,) = importlib.util.find_spec("musicxml").submodule_search_locations
    schema = etree.parse(Path(package) / "generate_classes" / "musicxml_4_0.xsd")
    values = schema.xpath(
        "//xs:simpleType[@name='kind-value']//xs:enumeration/@value",
        namespaces={"xs": "http://www.w3.org/2001/XMLSchema"},
    )
    assert len(values) == 33
    assert sorted(values) == sorted(KINDS)


def test_the_three_kinds_that_are_not_compared(tmp_path):
    """Neapolitan on C is D flat major, "other" only its root, "none" nothing."""
    rows = chord_row(tmp_path, harmony("C", "Neapolitan"), harmony("C", "other"))
    assert rows["pitch_classes"].tolist() == [(1, 5, 8), (0,)]


@pytest.mark.filterwarnings("ignore")  # music21's own, on parsing
def test_all_chords_of_the_suite_like_music21():
    """The suite's 71f, 38 chord symbols: members with the bass as music21 has them, but two.

    Neapolitan: see above. The last one subtracts degree 1: the root is then no member by the
    specification (degree-type subtract); music21 keeps it.
    """
    music21 = pytest.importorskip("music21")
    path = SUITE / "71f-AllChordTypes.xml"
    score21 = music21.converter.parse(path, format="musicxml", forceSource=True)
    symbols = list(score21.recurse().getElementsByClass(music21.harmony.ChordSymbol))
    chords = ar.read(path).chords
    assert len(chords) == len(symbols) == 38
    differing = [
        row["kind"]
        for (_, row), symbol in zip(chords.iterrows(), symbols, strict=True)
        if {*row["pitch_classes"], row["bass"]} != {p.pitchClass for p in symbol.pitches}
        or row["bass"] != symbol.bass().pitchClass
    ]
    assert differing[:1] == ["Neapolitan"]
    assert 0 not in chords["pitch_classes"].iloc[-1]


def degree(value, alter, how):
    """Return a degree of a chord."""
    return (
        f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
        f"<degree-type>{how}</degree-type></degree>"
    )


@pytest.mark.parametrize(
    ("root", "kind", "degrees", "members"),
    [
        # added degrees are altered from a dominant chord on the root (degree-alter): b9 = Db
        ("C", "dominant", degree(9, -1, "add"), {0, 4, 7, 10, 1}),
        ("C", "dominant", degree(9, 1, "add"), {0, 4, 7, 10, 3}),
        ("C", "major", degree(9, 0, "add"), {0, 4, 7, 2}),
        ("G", "dominant", degree(11, 1, "add"), {7, 11, 2, 5, 1}),
        # altered ones from the chord's own members
        ("C", "dominant", degree(5, -1, "alter"), {0, 4, 6, 10}),
        ("C", "dominant", degree(5, 1, "alter"), {0, 4, 8, 10}),
        ("C", "major-seventh", degree(5, -1, "alter"), {0, 4, 6, 11}),
        # subtracted ones are left out
        ("C", "major", degree(3, 0, "subtract"), {0, 7}),
        ("A", "minor-11th", degree(9, 0, "subtract"), {9, 0, 4, 7, 2}),
        ("C", "dominant", degree(3, 0, "subtract") + degree(4, 0, "add"), {0, 5, 7, 10}),
    ],
)
def test_degrees(tmp_path, root, kind, degrees, members):
    """Added, altered, subtracted (MusicXML 4.0, degree-value, degree-alter, degree-type)."""
    row = chord_row(tmp_path, harmony(root, kind, degrees)).iloc[0]
    assert set(row["pitch_classes"]) == members


def test_a_bass_of_its_own(tmp_path):
    """D/F#: bass 6; the members are D's."""
    bass = "<bass><bass-step>F</bass-step><bass-alter>1</bass-alter></bass>"
    row = chord_row(tmp_path, harmony("D", "major", bass)).iloc[0]
    assert (row["symbol"], row["root"], row["bass"]) == ("D/F#", 2, 6)
    assert row["pitch_classes"] == (2, 6, 9)


@pytest.mark.parametrize(("inversion", "bass"), [(0, 7), (1, 11), (2, 2), (3, 5)])
def test_inversions(tmp_path, inversion, bass):
    """0 is the root in the bass, 1 the third ... (MusicXML 4.0, inversion): on G7."""
    element = f"<inversion>{inversion}</inversion>"
    assert chord_row(tmp_path, harmony("G", "dominant", element)).iloc[0]["bass"] == bass


def test_no_chord(tmp_path):
    """Kind none: N.C., no root, no members; it ends the chord before it."""
    rows = chord_row(tmp_path, harmony("A", "minor"), harmony("C", "none"))
    assert rows["symbol"].tolist() == ["Am", "N.C."]
    assert rows["root"].isna().tolist() == [False, True]
    assert rows["pitch_classes"].tolist() == [(9, 0, 4), ()]
    assert rows["duration"].tolist() == [2, 2]


def test_a_chord_holds_until_the_next(tmp_path):
    """The chord holds across the bar line, and the last one holds until the end."""
    text = score(
        [note("rest", 8) + harmony("F") + note("F4", 8), WHOLE_BAR, harmony("C") + WHOLE_BAR]
    )
    chords = read_text(tmp_path, text).chords
    assert chords[["onset", "duration", "measure"]].to_numpy().tolist() == [[2, 6, 1], [8, 4, 3]]


def test_a_chords_offset_moves_it(tmp_path):
    """``offset`` in ``harmony`` counts divisions from where it stands."""
    text = score([harmony("F") + harmony("C", more="<offset>8</offset>") + WHOLE_BAR])
    assert read_text(tmp_path, text).chords["onset"].tolist() == [0, 2]


def test_a_chord_at_the_very_end_of_a_bar_gives_way(tmp_path):
    """It would hold for no time: the next bar has its own chord at that place; reported."""
    text = score([harmony("F") + WHOLE_BAR + harmony("G"), harmony("C") + WHOLE_BAR])
    song = read_text(tmp_path, text)
    assert song.chords["symbol"].tolist() == ["F", "C"]
    assert any("at the very end of a bar" in notice for notice in song.notices)


def test_a_chord_over_a_transposing_part_sounds_as_its_notes_do(tmp_path):
    """D minor over a part in B flat sounds C minor, as its written D sounds C."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    bass = "<bass><bass-step>A</bass-step></bass>"
    text = score([attributes(more=transpose) + harmony("D", "minor", bass) + note("D4", 16)])
    song = read_text(tmp_path, text)
    assert column(song, "pitch") == [60]
    assert song.chords["symbol"].tolist() == ["Cm/G"]


def test_a_chord_over_a_transposing_part_is_spelled_in_the_sounding_key(tmp_path):
    """F minor in D flat major, over a part in B flat, is D# minor in B major, not Eb minor."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    key = "<key><fifths>-5</fifths><mode>major</mode></key>"
    text = score([attributes(more=transpose, key=key) + harmony("F", "minor") + note("F4", 16)])
    song = read_text(tmp_path, text)
    assert song.main_key == "B major"
    assert song.chords["symbol"].tolist() == ["D#m"]


def test_one_chord_written_over_two_parts_is_one(tmp_path):
    """Chord symbols stand over every part in some scores."""
    song = read_text(tmp_path, score([harmony("F") + WHOLE_BAR], [harmony("F") + WHOLE_BAR]))
    assert song.chords["symbol"].tolist() == ["F"]


def test_two_chords_at_one_place_are_reported(tmp_path):
    """The first is kept: two bands cannot play at once."""
    song = read_text(tmp_path, score([harmony("F") + harmony("G") + WHOLE_BAR]))
    assert song.chords["symbol"].tolist() == ["F"]
    assert any("two chord symbols at one place, F and G" in notice for notice in song.notices)


def test_stacked_chords_are_reported(tmp_path):
    """A harmony may stack several chords (harmony-chord, unbounded): the first is read."""
    stack = "<root><root-step>D</root-step></root><kind>minor</kind>" + degree(9, 0, "add")
    song = read_text(tmp_path, score([harmony("C", "major", stack) + WHOLE_BAR]))
    assert song.chords["symbol"].tolist() == ["C"]
    assert "1 chord symbols stack several chords: only the first is read" in song.notices


def test_functions_and_numerals_without_a_key_are_reported(tmp_path):
    """A Roman numeral names no root by letter (MusicXML 4.0, function, numeral)."""
    function = "<harmony><function>V</function><kind>dominant</kind></harmony>"
    numeral = (
        "<harmony><numeral><numeral-root>5</numeral-root></numeral><kind>dominant</kind></harmony>"
    )
    song = read_text(tmp_path, score([function + numeral + WHOLE_BAR]))
    assert len(song.chords) == 0
    assert "2 chord symbols were left out: they name no root by letter" in song.notices


def test_a_numeral_with_its_key_has_a_root(tmp_path):
    """The fifth degree of D major is A (MusicXML 4.0, numeral-key)."""
    numeral = (
        "<harmony><numeral><numeral-root>5</numeral-root><numeral-key><numeral-fifths>2"
        "</numeral-fifths><numeral-mode>major</numeral-mode></numeral-key></numeral>"
        "<kind>dominant</kind></harmony>"
    )
    assert chord_row(tmp_path, numeral)["root"].tolist() == [9]


def test_a_numeral_is_spelled_in_its_key(tmp_path):
    """The lowered sixth degree of E flat major is Cb, not B (MusicXML 4.0, numeral-alter)."""
    numeral = (
        "<harmony><numeral><numeral-root>6</numeral-root><numeral-alter>-1</numeral-alter>"
        "<numeral-key><numeral-fifths>-3</numeral-fifths><numeral-mode>major</numeral-mode>"
        "</numeral-key></numeral><kind>major</kind></harmony>"
    )
    song = read_text(tmp_path, score([numeral + WHOLE_BAR]))
    assert song.chords["symbol"].tolist() == ["Cb"]


def test_numbers_in_the_key(tmp_path):
    """In D major Bm is 6m, A/C# is 5/7 (common practice: numbers of the major scale)."""
    bass = "<bass><bass-step>C</bass-step><bass-alter>1</bass-alter></bass>"
    text = score(
        [attributes(key="<key><fifths>2</fifths></key>") + harmony("B", "minor") + note("B3", 8)
         + harmony("A", "major", bass) + note("C#4", 8)]
    )  # fmt: skip
    assert read_text(tmp_path, text).chords["degree"].tolist() == ["6m", "5/7"]


# Sections


def sections(tmp_path, *measures):
    """Return labels and kinds of sections."""
    song = read_text(tmp_path, score(measures))
    return list(zip(song.sections["section"], song.sections["kind"], strict=True))


def test_rehearsal_marks_begin_sections(tmp_path):
    """Each lasts until the next; what comes before the first has a section too."""
    text = score(
        [WHOLE_BAR, rehearsal("Verse") + WHOLE_BAR, WHOLE_BAR, rehearsal("Chorus") + WHOLE_BAR]
    )
    song = read_text(tmp_path, text)
    assert song.sections["section"].tolist() == ["Start", "Verse", "Chorus"]
    assert song.sections["kind"].tolist() == ["other", "verse", "chorus"]
    assert song.sections["first_measure"].tolist() == [1, 2, 4]
    assert song.sections["last_measure"].tolist() == [1, 3, 4]
    assert song.sections[["onset", "duration"]].to_numpy().tolist() == [[0, 4], [4, 8], [12, 4]]
    assert song.measures["section"].tolist() == ["Start", "Verse", "Verse", "Chorus"]


def test_words_that_name_a_section_begin_one(tmp_path):
    """ "Chorus" over a bar is its name (common practice); "with feeling" is not."""
    assert sections(
        tmp_path, words("Intro") + WHOLE_BAR, words("with feeling") + WHOLE_BAR,
        words("Chorus 2") + WHOLE_BAR, words("in the chorus he sings louder") + WHOLE_BAR,
    ) == [("Intro", "intro"), ("Chorus 2", "chorus")]  # fmt: skip


def test_section_labels_are_unique(tmp_path):
    """Verse twice is Verse 1 and Verse 2; letters that come again say so."""
    assert sections(
        tmp_path, rehearsal("Verse") + WHOLE_BAR, rehearsal("A") + WHOLE_BAR,
        rehearsal("Verse") + WHOLE_BAR, rehearsal("A") + WHOLE_BAR,
    ) == [
        ("Verse 1", "verse"), ("A", "other"), ("Verse 2", "verse"), ("A (2)", "other")
    ]  # fmt: skip


def test_a_label_that_is_taken_is_passed_over(tmp_path):
    """Verse, Verse 2, Verse: the second unnumbered one cannot be Verse 2 as well."""
    labels = [
        label
        for label, _ in sections(
            tmp_path, rehearsal("Verse") + WHOLE_BAR, rehearsal("Verse 2") + WHOLE_BAR,
            rehearsal("Verse") + WHOLE_BAR,
        )
    ]  # fmt: skip
    assert len(set(labels)) == 3
    assert labels[1] == "Verse 2"


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("Pre-Chorus", "pre-chorus"), ("CHORUS", "chorus"), ("Refrain", "chorus"),
        ("Middle 8", "bridge"), ("Outro", "outro"), ("Guitar Solo", "solo"), ("Tag", "tag"),
        ("Vamp", "vamp"), ("Turnaround", "turnaround"), ("Interlude", "interlude"), ("B", "other"),
    ],
)  # fmt: skip
def test_kinds_of_sections(tmp_path, text, kind):
    """What bands call the stretches of a song (common practice)."""
    assert sections(tmp_path, rehearsal(text) + WHOLE_BAR) == [(text, kind)]


def test_marks_in_every_part_are_one_section(tmp_path):
    """A rehearsal mark stands over each part in some scores."""
    text = score(*[[rehearsal("A") + WHOLE_BAR, rehearsal("B") + WHOLE_BAR]] * 3)
    assert read_text(tmp_path, text).sections["section"].tolist() == ["A", "B"]


def test_without_marks_double_bars_divide_the_song(tmp_path):
    """A light-light bar line ends a stretch of the form (common practice)."""
    text = score([WHOLE_BAR, WHOLE_BAR + barline(style="light-light"), WHOLE_BAR])
    assert read_text(tmp_path, text).sections["section"].tolist() == ["Section 1", "Section 2"]


def test_without_anything_the_song_is_one_section(tmp_path):
    """The final bar line divides nothing."""
    text = score([WHOLE_BAR, WHOLE_BAR + barline(style="light-heavy")])
    assert read_text(tmp_path, text).sections["section"].tolist() == ["Song"]


# Parts


def test_repeated_part_names_are_numbered(tmp_path):
    """Two guitars are Guitar 1 and Guitar 2; a name that stands once stays as it is."""
    text = score(*[[WHOLE_BAR]] * 3, names=["Guitar", "Bass", "Guitar"])
    assert read_text(tmp_path, text).parts["part"].tolist() == ["Guitar 1", "Bass", "Guitar 2"]


def test_a_numbered_name_that_is_taken_is_passed_over(tmp_path):
    """Guitar, Guitar 1, Guitar: all three labels differ."""
    text = score(*[[WHOLE_BAR]] * 3, names=["Guitar", "Guitar 1", "Guitar"])
    labels = read_text(tmp_path, text).parts["part"].tolist()
    assert len(set(labels)) == 3
    assert labels[1] == "Guitar 1"


def test_parts_without_names_are_called_by_their_id(tmp_path):
    """``part-name`` must be there but may be empty; the id always distinguishes parts."""
    text = score([WHOLE_BAR], [WHOLE_BAR], names=["", "Bass"])
    assert read_text(tmp_path, text).parts["part"].tolist() == ["P1", "Bass"]


def sounds(index, sound="", program="", channel="", volume=""):
    """Return instrument elements of a part."""
    element = f"<instrument-sound>{sound}</instrument-sound>" if sound else ""
    midi = "".join(
        f"<{tag}>{value}</{tag}>"
        for tag, value in (
            ("midi-channel", channel), ("midi-program", program), ("volume", volume)
        )
        if value
    )  # fmt: skip
    return (
        f'<score-instrument id="I{index}"><instrument-name>x</instrument-name>{element}'
        f'</score-instrument><midi-instrument id="I{index}">{midi}</midi-instrument>'
    )


@pytest.mark.parametrize(
    ("name", "family"),
    [
        ("Electric Guitar", "guitar"), ("Gtr. 2", "guitar"), ("Acoustic Bass", "bass"),
        ("Bass Guitar", "bass"), ("Lead Vocals", "voice"), ("Singer", "voice"), ("Canto", "voice"),
        ("Alto Sax", "other"), ("Bass Clarinet", "other"), ("Piano", "keys"), ("Organ", "keys"),
        ("Drum Kit", "drums"), ("Violin I", "other"), ("Ukulele", "guitar"),
    ],
)  # fmt: skip
def test_families_by_name(tmp_path, name, family):
    """What instruments are called in English and on scores (common practice)."""
    text = score([WHOLE_BAR], names=[name])
    assert read_text(tmp_path, text).parts["family"].tolist() == [family]


def test_a_bass_among_singers_sings(tmp_path):
    """Beside a soprano "Bass" is a voice; in a band it is the bass (common practice)."""
    choir = score(*[[WHOLE_BAR]] * 2, names=["Soprano", "Bass"])
    band = score(*[[WHOLE_BAR]] * 2, names=["Guitar", "Bass"])
    assert read_text(tmp_path, choir).parts["family"].tolist() == ["voice", "voice"]
    assert read_text(tmp_path, band).parts["family"].tolist() == ["guitar", "bass"]


@pytest.mark.parametrize(
    ("sound", "program", "channel", "family"),
    [
        # sounds.xml of MusicXML 4.0
        ("pluck.guitar.electric", "", "", "guitar"), ("pluck.bass.fretless", "", "", "bass"),
        ("voice.female", "", "", "voice"), ("keyboard.piano", "", "", "keys"),
        ("wind.flutes.flute", "", "", "other"),
        # General MIDI Level 1 sound set, programs from 1; channel 10 is percussion
        ("", "28", "", "guitar"), ("", "34", "", "bass"), ("", "1", "", "keys"),
        ("", "41", "", "other"), ("", "1", "10", "drums"),
    ],
)  # fmt: skip
def test_families_by_sound_and_program(tmp_path, sound, program, channel, family):
    """Where the name says nothing: MusicXML's standard sounds, then General MIDI programs."""
    text = score([WHOLE_BAR], names=["Player"], entries=[sounds(1, sound, program, channel)])
    song = read_text(tmp_path, text)
    assert song.parts["family"].tolist() == [family]
    assert song.parts["program"].fillna(0).tolist() == [int(program or 0)]


def test_a_part_with_lyrics_is_sung(tmp_path):
    """Words under the notes: somebody sings them."""
    lyric = "<lyric><text>oh</text></lyric></note>"
    text = score([WHOLE_BAR.replace("</note>", lyric)], names=["Anna"])
    assert read_text(tmp_path, text).parts["family"].tolist() == ["voice"]


def test_levels_and_drive(tmp_path):
    """``volume`` is a percentage: half of the loudest is -6.02 dB; program 31 is distorted (GM)."""
    entries = [sounds(1, program="31", volume="80"), sounds(2, program="28", volume="40")]
    song = read_text(tmp_path, score([WHOLE_BAR], [WHOLE_BAR], entries=entries))
    assert song.parts["level"].tolist() == pytest.approx([0, -6.0206], abs=1e-4)
    assert song.parts["drive"].tolist() == ["distorted", "clean"]


def test_ids_of_notes_are_kept(tmp_path):
    """``id`` of a note where it has one, else its place in the file."""
    text = score([note("C4", 8, head='id="first"') + note("E4", 8)])
    assert column(read_text(tmp_path, text), "source_id") == ["first", "n2"]
