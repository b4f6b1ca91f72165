"""What is written can be read again, or is refused; no song is larger than ``song_size`` allow.

The limits are this project's own; that files are refused with their place and within seconds is
its promise. Sources of what a format can hold: MusicXML 4.0 (octaves 0 to 9), Standard MIDI Files
1.0 (three bytes of microseconds a quarter note, one byte of beats).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scores import WHOLE_BAR, attributes, note, read_text, score
from songs import parts_of, song

import arrange as ar
from arrange.formats.chart import format_chart, read_chart
from arrange.formats.converting import write_song
from arrange.song_size import (
    LEAST_TEMPO,
    MOST_CAPO,
    MOST_FRETS,
    MOST_NOTICES,
    MOST_REMARK,
    MOST_TEMPO,
    MOST_TEXT,
)
from arrange.tables.song import Remark

# Any song that a caller may make: odd meters, tempos, lengths, necks, labels and pitches among
# plain ones. Times lie on common grids, so that MIDI can hold them (its ticks are chosen for that).

METERS = ("4/4", "free", "1/128", "255/128", "3+2/8", "2/4 + 3/8", "255/1", "7/64", "12/16")
STEPS = (1.0, 0.5, 0.25, 1 / 3, 1.5, 7.0, 1 / 32, 20.0)
# Signs that some format needs for itself, that look like a count, a heading or markup, or that
# paper does not know.
SIGNS = "aZ 9;:,|#%~./-_()&<>'\"é½☃\t"


@st.composite
def odd_parts(draw):
    label = st.sampled_from(["Guitar 1", "Guitar 2", "Voice", "Bass", "P1"])
    label = st.one_of(label, label, label, st.text(SIGNS, min_size=1, max_size=12))
    labels = draw(st.lists(label, min_size=1, max_size=3, unique_by=str.strip))
    families = ("guitar", "bass", "voice", "keys", "drums", "other")
    tunings = st.sampled_from(
        [None, (64, 59, 55, 50, 45, 40), (127,), tuple(range(60, 48, -1)), (0, 0, 0)]
    )
    count = len(labels)

    def several(one):
        return draw(st.lists(one, min_size=count, max_size=count))

    return parts_of(
        *labels,
        family=several(st.sampled_from(families)),
        tuning=pd.Series(several(tunings), dtype=object),
        capo=several(st.sampled_from([0, 1, MOST_CAPO])),
        transpose=several(st.sampled_from([0, -12, 12, 48, -7])),
        drive=several(st.sampled_from(["clean", "edge", "overdriven", "distorted"])),
        level=several(st.sampled_from([0.0, -3.0, -120.0])),
    )


@st.composite
def odd_notes(draw, part, end):
    """A note of a part, somewhere before the end: on a string where it has one."""
    step = draw(st.sampled_from(STEPS))
    onset = step * draw(st.integers(0, 8))
    onset = onset if onset < end else 0.0
    length = draw(st.sampled_from(STEPS)) * draw(st.integers(1, 3))
    pitch = draw(st.sampled_from([0, 1, 2, 11, 12, 40, 60, 60.5, 64, 126, 127, math.nan]))
    string = fret = None
    if part["tuning"] is not None and draw(st.booleans()):
        string = draw(st.integers(1, len(part["tuning"])))
        fret = draw(st.sampled_from([part["capo"], min(part["capo"] + 7, MOST_FRETS), MOST_FRETS]))
        pitch = part["tuning"][string - 1] + fret
        if pitch > 127:
            string, fret, pitch = None, None, 127
    return {
        "part": part["part"], "onset": onset, "duration": min(length, end - onset),
        "pitch": float(pitch), "string": string, "fret": fret, "grace": False,
    }  # fmt: skip


@st.composite
def odd_songs(draw):
    """A song within the limits, however odd."""
    meter = draw(st.sampled_from(METERS))
    slow = 60.0 if meter == "255/1" else LEAST_TEMPO  # else it would last too long
    tempo = draw(st.sampled_from([slow, MOST_TEMPO, 92.0, 100.0]))
    plain = song(("Guitar", "E3", 0, 0.01), meter=meter, bars=draw(st.integers(1, 3)), tempo=tempo,
                 key=draw(st.sampled_from([None, "Bb major", "C# minor"])),
                 title=draw(st.sampled_from(["", "Low Tide", "A: b | c; (d) %"])))  # fmt: skip
    parts = draw(odd_parts())
    end = plain.measures["duration"].sum()
    rows = [
        draw(odd_notes(part, end))
        for part in parts.to_dict("records")
        for _ in range(draw(st.integers(0, 4)))
    ]
    columns = {name: [row[name] for row in rows] for name in
               ("part", "onset", "duration", "pitch", "string", "fret", "grace")}  # fmt: skip
    measures = plain.measures
    at = np.searchsorted(measures["onset"], columns["onset"], side="right") if rows else []
    frame = pd.DataFrame(columns).assign(
        measure=at, section="Song", voice=None, technique=None,
        source_id=[f"n{number}" for number in range(len(rows))],
    )  # fmt: skip
    frame["string"], frame["fret"] = (frame[name].astype("Int64") for name in ("string", "fret"))
    return replace(
        plain,
        parts=parts,
        notes=frame.astype({"onset": float, "duration": float, "pitch": float, "grace": bool,
                            "measure": "int64"}),
    )  # fmt: skip


def sounds(a_song):
    """What each part plays, in an order of its own; -1 for a note without a pitch."""
    notes = a_song.notes
    place = {part: number for number, part in enumerate(a_song.parts["part"])}
    return sorted(
        zip(notes["part"].map(place), notes["onset"].round(4), notes["duration"].round(4),
            notes["pitch"].fillna(-1.0), strict=True)
    )  # fmt: skip


def keys(a_song):
    """When which keys go down and up: MIDI pairs equal ones as they come, and knows semitones."""
    notes = a_song.notes
    pitch = notes["pitch"].fillna(-1.0).round()
    return [sorted(zip(times.round(4), pitch, strict=True)) for times in
            (notes["onset"], notes["onset"] + notes["duration"])]  # fmt: skip


def bars(a_song):
    """Onset, length and tempo of each bar."""
    columns = a_song.measures[["onset", "duration", "tempo"]]
    return columns.round(4).to_numpy().tolist()


def plain_labels(a_song):
    return [" ".join(label.split()) for label in a_song.parts["part"]]


SLOW_BUT_MEANT = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
FORMATS = ("musicxml", "txt", "mid")


@pytest.mark.sampled
@pytest.mark.parametrize("suffix", FORMATS)
@given(a_song=odd_songs())
@settings(max_examples=20, deadline=None, suppress_health_check=SLOW_BUT_MEANT)
def test_what_is_written_is_read_again_or_refused(tmp_path, suffix, a_song):
    """Notes, bars and tempos of any song come back from each format, or the writer refuses it."""
    path = tmp_path / f"song.{suffix}"
    path.unlink(missing_ok=True)
    try:
        write_song(a_song, path, overwrite=True)
    except ar.ArrangeError:
        assert not path.exists()
        return
    again = ar.read(path)
    assert bars(again) == bars(a_song)
    if suffix == "mid":  # it has no necks, and a channel of its own for what has no pitch
        assert keys(again) == keys(a_song)
        return
    assert sounds(again) == sounds(a_song)
    assert plain_labels(again) == plain_labels(a_song)
    for column in ("capo", "transpose", "tuning", "drive"):
        assert again.parts[column].tolist() == a_song.parts[column].tolist(), column
    for column in ("meter", "key"):
        assert again.measures[column].equals(a_song.measures[column]), column


def limited(what):
    """A song, and one table of it changed by a dict of table name to columns."""
    a_song = song(("Guitar", "E3", 0, 1), bars=2)
    return replace(a_song, **{name: getattr(a_song, name).assign(**columns)
                              for name, columns in what.items()})  # fmt: skip


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ({"parts": {"capo": 25}}, "'capo', row 0: 25; it lies between 0 and 24"),
        ({"parts": {"transpose": 49}}, "'transpose', row 0: 49; it lies between -48 and 48"),
        ({"parts": {"tuning": [(60,) * 13]}}, "it holds up to 12 strings"),
        ({"notes": {"string": 13}}, "'string', row 0: 13"),
        ({"notes": {"fret": 37}}, "'fret', row 0: 37"),
        ({"notes": {"onset": 8.5}}, "lies outside the song, which is 8 quarter notes long"),
        ({"measures": {"tempo": 0.001}}, "measure 1: a tempo of 0.001; it lies between 5 and 2000"),
        ({"measures": {"meter": "4/5"}}, "measure 1: a meter of '4/5'; it is written 4/4"),
        ({"measures": {"key": "H minor"}}, "measure 1: a key of 'H minor'"),
        ({"measures": {"duration": [4.0, 20160.0]}}, "measure 2: a duration of 20160.0"),
        ({"measures": {"onset": [0.0, 5.0]}}, "measure 2 begins at 5; the bars before it end at 4"),
    ],
)
def test_a_song_beyond_the_limits_is_refused(what, says):
    """The error gives the row and the limit."""
    with pytest.raises(ar.TableError) as caught:
        limited(what)
    assert says in str(caught.value)


def test_a_long_title_is_refused_and_shown_cut():
    """A title of a megabyte is not shown in full."""
    with pytest.raises(ar.TableError, match="1,000,000 characters; 1000 is the most") as caught:
        song(("Guitar", "E3", 0, 1), title="a" * 10**6)
    assert len(str(caught.value)) < 120


def test_forty_parts_for_an_hour_fit():
    """1,800 bars of 4/4 at 120 are an hour: within all limits."""
    song(*((f"Guitar {part}", "E3", 0, 1) for part in range(40)), bars=1800, tempo=120.0)


def test_a_tempo_out_of_range_is_taken_as_the_nearest(tmp_path):
    """0.001 quarter notes a minute would make a bar last for days; reported."""
    mark = '<direction><sound tempo="0.001"/></direction>'
    a_song = read_text(tmp_path, score([attributes() + mark + WHOLE_BAR]), valid=False)
    assert a_song.measures["tempo"].tolist() == [5.0]
    assert any("between 5 and 2000" in notice for notice in a_song.notices)


def test_a_duration_of_years_is_refused_with_its_place(tmp_path):
    """2^31 divisions in one note, and many notes in one bar that only together are too long."""
    with pytest.raises(ar.ReadError, match="part P1, measure 2: a <duration> of '2147483648'"):
        read_text(tmp_path, score([WHOLE_BAR, note("C4", 2**31)]), valid=False)
    with pytest.raises(ar.ReadError, match="measure 1: its notes and rests last 1,500 quarter"):
        read_text(tmp_path, score([note("C4", 2000) * 3]), valid=False)


def test_a_long_title_in_a_file_is_cut_and_reported(tmp_path):
    """The song is read; what is too long for a page is not worth losing it."""
    a_song = read_text(tmp_path, score([WHOLE_BAR], title="Low tide " * 10**5), valid=False)
    assert len(a_song.title) == MOST_TEXT
    assert "the title is cut to 1000 characters" in a_song.notices
    chart = f"title: {'x' * 10**5}\npart: Guitar 1\nsection: Verse\nGuitar 1 | x32010 |\n"
    assert len(read_chart(chart.encode()).title) == MOST_TEXT


def test_a_setting_behind_a_section_is_for_the_next_one():
    """A section that is as another begins after the tempo between them, and does not repeat it."""
    top = "part: Guitar 1\ntempo: 80\nsection: Verse\nGuitar 1 | x32010 |\ntempo: 100\n"
    a_song = read_chart((top + "\nsection: Tag; as Verse\n").encode())
    assert a_song.measures["tempo"].tolist() == [80, 100]


def test_remarks_are_limited_like_other_texts():
    """A song with more remarks, or a longer one, than a sheet has room for is refused."""
    a_song = song(("Guitar", "E3", 0, 1))
    with pytest.raises(ar.TableError, match="1,001 remarks; a song has 1,000 at most"):
        replace(a_song, remarks=(Remark("play"),) * 1001)
    with pytest.raises(ar.TableError, match=r"a remark: .* 501 characters; 500 is the most"):
        replace(a_song, remarks=(Remark("x" * 501),))


def test_a_long_remark_in_a_chart_is_cut_and_reported():
    """As a title is; the rest of the chart is read."""
    chart = f"part: Guitar 1\nremark: {'x' * 1000}\nsection: Verse\nGuitar 1 | x32010 |\n"
    a_song = read_chart(chart.encode())
    assert len(a_song.remarks[0].text) == MOST_REMARK
    assert "line 2: the remark is cut to 500 characters" in a_song.notices


def test_a_long_rehearsal_mark_is_cut_and_reported(tmp_path):
    """A label has 1000 characters; words that name no section are left as they are."""
    mark = "<direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>"
    words = mark.format("y" * 1300).replace("rehearsal", "words")
    bars = [
        attributes() + mark.format("x" * 1300) + WHOLE_BAR,
        mark.format("B") + words + WHOLE_BAR,
    ]
    a_song = read_text(tmp_path, score(bars), valid=False)
    assert [len(label) for label in a_song.sections["section"]] == [MOST_TEXT, 1]
    assert "names of sections are cut to 1000 characters: 1" in a_song.notices


@pytest.mark.parametrize("bars", [MOST_NOTICES, 1000])
def test_as_many_faults_are_reported_as_fit_a_page(tmp_path, bars):
    """Two chord symbols at one place, bar after bar: the first ones, and how many more."""
    chords = "".join(
        f"<harmony><root><root-step>{step}</root-step></root><kind>major</kind></harmony>"
        for step in "CD"
    )
    text = score([attributes() + chords + WHOLE_BAR, *[chords + WHOLE_BAR] * (bars - 1)])
    notices = read_text(tmp_path, text, valid=False).notices
    listed = [each for each in notices if "two chord symbols at one place" in each]
    more = [each for each in notices if "more notices" in each]
    if bars == MOST_NOTICES:
        assert (len(listed), more) == (MOST_NOTICES, [])
    else:
        assert (len(listed), more) == (MOST_NOTICES - 1, [
            f"and {bars - MOST_NOTICES + 1} more notices, which are not shown"
        ])  # fmt: skip
    assert any("no tempo is given" in each for each in notices), "what is said of all the song"


def test_a_label_that_begins_like_a_comment_stands_in_no_chart():
    """Its rows would be passed over; the writer says so."""
    with pytest.raises(ar.ArrangeError, match="part '#9': a chart would read this label"):
        format_chart(song(("#9", "E3", 0, 1)))


@pytest.mark.parametrize("size", [256, 257])
def test_notes_struck_at_once_have_a_limit(size):
    """More is a damaged file, on which every pair of notes would be looked at."""
    rows = [("Keys", "C4", 0, 1)] * size + [("Keys", "C4", 1, 1), ("Guitar", "C4", 0, 1)]
    if size == 256:
        assert len(song(*rows).notes) == 258
    else:
        with pytest.raises(ar.TableError, match="measure 1: Keys strikes 257 notes at once; 256"):
            song(*rows)
