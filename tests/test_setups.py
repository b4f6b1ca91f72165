"""What a part has section by section, beside what it has for the whole song."""

from dataclasses import replace

import pandas as pd
import pytest
from songs import song

from arrange import Song, TableError, describe, find_clashes, part_setups
from arrange.tables.copies import in_copies
from arrange.tables.setups import note_setups, where_otherwise

ROW = {"part": "Guitar 1", "section": "B", "drive": "overdriven", "echo": None, "capo": 2}


def two_sections(**setup) -> Song:
    """Two guitars in two sections of two bars; the first has something else in the second."""
    made = song(
        ("Guitar 1", "C4 E4", 0, 8), ("Guitar 1", "D4", 8, 4), ("Guitar 2", "C3", 10, 4),
        sections=[("A", 1), ("B", 3)],
    )  # fmt: skip
    row = {**ROW, "layers": '"Lead + Fx" + Pulse', **setup}
    return replace(made, setups=pd.DataFrame([row]))


def test_every_part_has_a_setup_in_every_section():
    """Where the setups table says nothing, the parts table holds."""
    made = two_sections()
    every = part_setups(made)
    assert every[["part", "section", "drive", "capo"]].to_numpy().tolist() == [
        ["Guitar 1", "A", "clean", 0],
        ["Guitar 1", "B", "overdriven", 2],
        ["Guitar 2", "A", "clean", 0],
        ["Guitar 2", "B", "clean", 0],
    ]
    assert every["layers"].notna().tolist() == [False, True, False, False]
    assert list(every) == describe("setups")["column"].tolist()


def test_each_note_has_the_setup_of_its_section():
    """A note has what its part has in the section that the note begins in."""
    made = two_sections()
    made = replace(made, notes=made.notes.set_axis(range(10, 10 + len(made.notes))))
    notes = note_setups(made)
    assert notes["drive"].tolist() == ["clean", "clean", "overdriven", "clean"]
    assert notes["capo"].tolist() == [0, 0, 2, 0]
    assert notes.index.equals(made.notes.index)


def test_only_what_is_otherwise_is_kept():
    """A row that repeats the parts table, and names no layers, says nothing."""
    made = two_sections(layers=None)
    kept = where_otherwise(part_setups(made), made.parts)
    assert kept.to_numpy().tolist() == made.setups.to_numpy().tolist()
    assert where_otherwise(part_setups(made)[:1], made.parts).empty
    named = part_setups(made)[:1].assign(layers="Pulse")
    assert len(where_otherwise(named, made.parts)) == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"part": "Guitar 9"}, "table 'setups': there is no part 'Guitar 9'"),
        ({"section": "C"}, "table 'setups': there is no section 'C'"),
        ({"drive": "loud"}, "column 'drive': 'loud'; it is one of clean"),
        ({"capo": 99}, "column 'capo', row 0: 99; it lies between 0"),
    ],
)
def test_setups_are_checked(change, message):
    """A setup names a part and a section of the song, a drive and a capo that exist."""
    made = two_sections()
    with pytest.raises(TableError, match=message):
        replace(made, setups=made.setups.assign(**change))


def test_a_part_has_one_setup_in_a_section():
    """Two rows for the same part and section contradict each other."""
    made = two_sections()
    twice = pd.concat([made.setups, made.setups])
    message = "row 1: a second row has part 'Guitar 1' and section 'B'"
    with pytest.raises(TableError, match=message):
        replace(made, setups=twice)


def test_a_song_without_setups_has_an_empty_table():
    """A Song made of five tables has a sixth without rows, of the right dtypes."""
    plain = song(("Guitar 1", "C4", 0, 4))
    assert plain.setups.empty
    assert str(plain.setups["capo"].dtype) == "int64"
    assert str(plain.setups["drive"].dtype) == "str"
    again = Song(plain.parts, plain.sections, plain.measures, plain.chords, plain.notes)
    assert again.setups.empty


def test_copies_of_a_passage_keep_the_setups():
    """Each copy of a passage has the sound that its part has there."""
    made = two_sections()
    copies = in_copies(made, [made.notes, made.notes], 8.0, 16.0)
    every = part_setups(copies.song)
    own = every[every["part"] == "Guitar 1"]
    assert own["section"].tolist() == ["0 B", "1 B"]
    assert own["drive"].tolist() == ["overdriven", "overdriven"]
    assert list(find_clashes(copies.song)) == describe("findings")["column"].tolist()
