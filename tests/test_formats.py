"""A file format is one row with its suffixes; an invented reader shows what a reader must give."""

from __future__ import annotations

import numpy as np
import pytest

import arrange as ar
from arrange.formats.known import FORMATS, WRITERS
from arrange.formats.playing_order import Bar
from arrange.formats.song_making import song_reader
from arrange.formats.suffixes import READ_SUFFIXES, SUFFIXES, WRITTEN_SUFFIXES
from arrange.formats.written import Written


def invented(data: bytes, _: str) -> Written:
    """Read an invented format: a guitar plays a quarter note for each byte, in one long bar."""
    count = len(data)
    none, no = np.full(count, -1), np.zeros(count, dtype=bool)
    return Written(
        ticks=1,
        parts={
            "part": ["Guitar"], "instrument": ["Guitar"], "family": ["guitar"], "tuning": [None],
            "capo": [0], "transpose": [0], "drive": ["clean"], "echo": [None], "level": [0.0],
            "program": [None], "player": [None],
        },
        notes={
            "part": np.zeros(count, dtype=np.int64), "measure": np.zeros(count, dtype=np.int64),
            "offset": np.arange(count), "duration": np.ones(count, dtype=np.int64),
            "pitch": np.array([*data], dtype=np.float64), "voice": none, "string": none,
            "fret": none, "technique": np.zeros(count, dtype=np.int64), "grace": no,
            "tie_start": no, "tie_stop": no,
        },
        voices=[], numbers=["1"], lengths=np.array([count]), meters=["free"], keys=[None],
        tempos=[], chords=[], marks=[], double_bars=[], bars=[Bar()],
    )  # fmt: skip


def test_notes_that_a_file_has_no_names_for_are_numbered():
    """What a reader must give is what ``Written`` lists without a default, and no more."""
    song = song_reader(invented)(bytes([60, 62, 64]))
    assert song.notes["source_id"].tolist() == ["n1", "n2", "n3"]
    assert song.notes["pitch"].tolist() == [60, 62, 64]


def test_every_format_has_its_suffixes_and_every_suffix_its_format():
    """A suffix listed without a reader would be promised in the help and then refused."""
    assert [tuple(row) for row in SUFFIXES.values()] == [
        (each.name, each.read_suffixes, each.written_suffixes) for each in FORMATS
    ]
    assert set(WRITERS) == set(WRITTEN_SUFFIXES) <= set(READ_SUFFIXES)


def test_what_is_of_no_format_is_told_them_all(tmp_path):
    """The message lists the formats by the names in the rows."""
    path = tmp_path / "list.doc"
    path.write_text("bread, milk")
    with pytest.raises(ar.ReadError) as refused:
        ar.read(path)
    assert all(f"no {each.name}" in str(refused.value) for each in FORMATS)
