"""A capo that is put elsewhere for a section: fingering, ranges, moves and pictures of that part.

Standard tuning has E2 A2 D3 G3 B3 E4; behind a capo at fret 2 its lowest open string is F#2, behind
one at 5 it is A2 (arithmetic).
"""

from dataclasses import replace

import pandas as pd
import pytest
from songs import parts_of, song

import arrange as ar
from arrange.findings.possible_moves import Unit
from arrange.guitar.fingering import lowest_neck
from arrange.tables.schemas import SETUPS


def moved_capo(capo: int, pitch: str, drive: str = "clean") -> ar.Song:
    """A guitar with the usual capo 2, and another one in its second section of three."""
    made = song(
        ("Guitar", "F#2", 0, 4), ("Guitar", pitch, 4, 4), ("Guitar", "F#2", 8, 4),
        sections=[("A", 1), ("B", 2), ("C", 3)],
        parts=parts_of("Guitar", capo=2, tuning=((64, 59, 55, 50, 45, 40),)),
    )  # fmt: skip
    row = ("Guitar", "B", drive, None, capo, None)
    return replace(made, setups=pd.DataFrame([row], columns=SETUPS.names))


def test_each_stretch_is_fingered_on_its_neck():
    """F#2, A2 and F#2 are open strings behind the capos at 2, 5 and 2."""
    found = ar.finger_part(moved_capo(5, "A2"), "Guitar")
    assert found["fret"].tolist() == [2, 5, 2]
    assert found["finger"].tolist() == [0, 0, 0]
    assert found["problem"].isna().all()
    usual = replace(moved_capo(5, "A2"), setups=moved_capo(5, "A2").setups[:0])
    assert ar.finger_part(usual, "Guitar")["finger"].gt(0).tolist() == [False, True, False]


def test_a_note_under_the_capo_of_its_section_is_a_problem():
    """Behind the capo at 5 there is no F#2; the sentence names that capo."""
    found = ar.finger_part(moved_capo(5, "F#2"), "Guitar")
    assert found["problem"].notna().tolist() == [False, True, False]
    assert "lowest open string, A2 with the capo at 5" in found["problem"].iloc[1]


def test_a_neck_given_holds_everywhere():
    """Whoever gives a neck means that one."""
    found = ar.finger_part(moved_capo(0, "E2"), "Guitar", neck=ar.Neck())
    assert found["fret"].tolist() == [2, 0, 2]


def test_a_song_is_fingered_with_the_capos_of_its_sections():
    """As the part is, and the table's order stays."""
    fingered = ar.fingered_song(moved_capo(0, "E2"), ["Guitar"])
    assert fingered.notes["fret"].tolist() == [2, 0, 2]


def test_a_stray_open_string_costs_more_where_the_part_is_driven():
    """The drive is that of the section: behind the capo at 2, C#4 is open on the second string."""
    cost = {
        drive: ar.finger_part(moved_capo(2, "C#4", drive), "Guitar")["cost_mm"].tolist()
        for drive in ("clean", "distorted")
    }
    assert cost["clean"][0] == pytest.approx(cost["distorted"][0])
    assert cost["clean"][1] < cost["distorted"][1]


def test_reserves_count_from_the_capo_of_the_section():
    """Every section's lowest note is the lowest that there is."""
    made = moved_capo(5, "A2")
    ranges = ar.part_ranges(made.notes, "section", made.parts, made.setups)
    assert ranges["lower_reserve"].tolist() == [0, 0, 0]
    assert ar.part_ranges(made.notes, "section", made.parts)["lower_reserve"].tolist() == [0, 3, 0]
    whole = ar.part_ranges(made.notes, "song", made.parts, made.setups)
    assert whole["lower_reserve"].tolist() == [0]


def test_no_move_goes_under_the_capo_of_the_section():
    """From A2, the lowest note behind the capo at 5, every step goes up."""
    made = moved_capo(5, "A2")
    steps = Unit(made, "Guitar", made.notes.iloc[[1]]).steps("the note")
    assert all(step.semitones > 0 for step in steps)


def test_a_part_whose_capo_moves_is_drawn_on_its_barest_neck():
    """An open string without a capo lies left of fret 2, where the usual capo is."""
    made = moved_capo(0, "E2")
    found = ar.finger_part(made, "Guitar")
    assert lowest_neck(made, "Guitar", found).capo == 0
    assert lowest_neck(made, "Guitar", found[found["section"] == "A"]).capo == 2
    assert ar.plot_neck(found, song=made).get_title(loc="left")


def test_a_picture_of_one_part_takes_a_song_whose_other_part_has_setups():
    """Setups name parts of their song alone."""
    made = song(
        ("Guitar 1", "E4", 0, 4), ("Guitar 2", "E3", 0, 4), parts=parts_of("Guitar 1", "Guitar 2")
    )
    row = ("Guitar 1", "Song", "edge", None, 0, None)
    made = replace(made, setups=pd.DataFrame([row], columns=SETUPS.names))
    assert ar.plot_texture(made, parts=["Guitar 2"]).get_title(loc="left")
