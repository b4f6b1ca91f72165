"""What is written can be read again, or is refused; no song is larger than ``limits`` allow.

The limits are this project's own; that files are refused with their place and within seconds is
its promise. Sources of what a format can tell: MusicXML 4.0 (octaves 0 to 9), Standard MIDI Files
1.0 (three bytes of microseconds a quarter note, one byte of beats).
"""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scores import WHOLE_BAR, attributes, note, read_text, score
from songs import parts_of, song

import arrange as ar
from arrange.converting import write_song
from arrange.formats.chart import read_chart
from arrange.limits import (
    LEAST_TEMPO,
    MOST_BAR,
    MOST_CAPO,
    MOST_FRETS,
    MOST_MEASURES,
    MOST_STRINGS,
    MOST_TEMPO,
    MOST_TEXT,
)
from arrange.pitch import CIRCLE

# Any song that a caller may make: odd meters, tempos, lengths, necks, labels and pitches among
# plain ones. Times lie on common grids, so that MIDI can tell them (its ticks are chosen for that).

METERS = ("4/4", "free", "1/128", "255/128", "3+2/8", "2/4 + 3/8", "255/1", "7/64", "12/16")
STEPS = (1.0, 0.5, 0.25, 1 / 3, 1.5, 7.0, 1 / 32, 20.0)
# Signs that some format needs for itself, that look like a count, a heading or markup, or that
# paper does not know.
SIGNS = "aZ 9;:,|#%~./-_()&<>'\"é½☃\t"


@st.composite
def odd_parts(draw):
    labels = draw(st.lists(st.text(SIGNS, min_size=1, max_size=12), min_size=1, max_size=3,
                           unique_by=str.strip))  # fmt: skip
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
    measures = a_song.measures
    return [(round(onset, 4), round(length, 4), round(tempo, 3)) for onset, length, tempo in
            zip(measures["onset"], measures["duration"], measures["tempo"], strict=True)]  # fmt: skip


def plain_labels(a_song):
    return [" ".join(label.split()) for label in a_song.parts["part"]]


FORMATS = ("musicxml", "txt", "mid")


@pytest.mark.parametrize("suffix", FORMATS)
@given(a_song=odd_songs())
@settings(max_examples=60, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])  # fmt: skip
def test_what_is_written_is_read_again_or_refused(tmp_path, suffix, a_song):
    """Notes, bars and tempos of any song come back from each format, or the writer refuses it."""
    path = tmp_path / f"song.{suffix}"
    path.unlink(missing_ok=True)
    try:
        write_song(a_song, path, overwrite=True)
    except ar.ArrangeError as error:
        assert str(error).strip()
        assert "\n" not in str(error)
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
