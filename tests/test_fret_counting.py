"""Frets counted as the part says: kept by the files, and the same in words, shapes, tablature."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import arrange as ar
from arrange.errors import TableError
from arrange.guitar.fret_counting import counting_words, shown_fret, shown_shape
from arrange.guitar.fret_pictures import finger_picture
from arrange.handouts.drawing import draw_shape
from arrange.handouts.excerpts import part_excerpt

DATASETS = Path(__file__).parent.parent / "datasets"
CHART = """title: Two ways
part: Guitar; acoustic guitar; standard tuning; capo 3{counting}

section: Verse
chords | Bb | F |
Guitar | {shapes} |

section: Higher
sound: Guitar; capo 5
chords | C | G |
Guitar | {higher} |
"""
WAYS = {
    "nut": ("", "3x5333 | 3xx546", "xx755x | x5x5x5"),
    "capo": ("; frets from the capo", "0x2000 | 0xx213", "xx200x | x0x0x0"),
}  # the same places, counted by hand


def two_ways(tmp_path, frets):
    """Return the same song as a chart that counts from the nut or from the capo."""
    counting, shapes, higher = WAYS[frets]
    path = tmp_path / f"{frets}.txt"
    path.write_text(CHART.format(counting=counting, shapes=shapes, higher=higher))
    return ar.read(path)


@pytest.mark.parametrize(("fret", "capo", "nut", "from_capo"), [
    (0, 0, 0, 0), (7, 0, 7, 7), (3, 3, 0, 0), (4, 3, 4, 1), (10, 3, 10, 7),
])  # fmt: skip
def test_numbers_by_hand(fret, capo, nut, from_capo):
    """An open string is 0 both ways; one number and a whole column give the same."""
    assert (shown_fret(fret, capo), shown_fret(fret, capo, "capo")) == (nut, from_capo)
    column = pd.array([fret, None], dtype="Int64")
    assert shown_fret(pd.Series(column), np.array([capo, 0]), "capo").tolist()[0] == from_capo


def test_shapes_and_sentence():
    """A shape left out on a string keeps its x; the sentence gives its example right."""
    assert shown_shape((-1, 12, 10, 10, 10, -1), 10) == "x-0-0-0-12-x"
    assert shown_shape((-1, 12, 10, 10, 10, -1), 10, "capo") == "x0002x"
    assert counting_words(0) == ""
    assert "from the capo" in counting_words(3, "capo")
    assert "2 is two frets above it" in counting_words(3, "capo")
    assert "5 is two frets above it" in counting_words(3, "nut")


@pytest.mark.parametrize("suffix", [".txt", ".musicxml"])
@pytest.mark.parametrize("frets", ["nut", "capo"])
def test_files_keep_how_frets_are_counted(tmp_path, frets, suffix):
    """The count and the places come back, under two capos too."""
    song, other = two_ways(tmp_path, frets), two_ways(tmp_path, {"nut": "capo"}.get(frets, "nut"))
    assert song.parts["frets_from"].tolist() == [frets]
    assert song.notes["fret"].tolist() == other.notes["fret"].tolist()
    path = tmp_path / f"again{suffix}"
    write = ar.write_chart if suffix == ".txt" else ar.write_musicxml
    write(song, path)
    again = ar.read(path)
    assert again.parts["frets_from"].tolist() == [frets]
    columns = ["pitch", "string", "fret"]
    order = ["onset", "string"]
    assert (
        again.notes.sort_values(order)[columns]
        .reset_index(drop=True)
        .equals(song.notes.sort_values(order)[columns].reset_index(drop=True))
    )


def test_no_capo_counts_from_the_capo_too(tmp_path):
    """What a part says without a capo is kept: it may get one later."""
    song = ar.read(DATASETS / "tarrow-weir.txt")
    song = replace(song, parts=song.parts.assign(capo=0, frets_from="capo"), setups=song.setups[:0])
    ar.write_musicxml(song, tmp_path / "song.musicxml")
    assert set(ar.read(tmp_path / "song.musicxml").parts["frets_from"]) == {"capo"}


def test_musicxml_counts_from_the_capo_by_standard():
    """MusicXML 4.0, element ``capo``; without one there is nothing to say."""
    parts = ar.read(DATASETS / "low-water.musicxml").parts
    assert parts["frets_from"].tolist() == np.where(parts["capo"] > 0, "capo", "nut").tolist()


def test_a_table_without_the_column_counts_from_the_nut():
    """Tables made before the column are still songs; other words than the two are refused."""
    song = ar.read(DATASETS / "tarrow-weir.txt")
    older = replace(song, parts=song.parts.drop(columns="frets_from"))
    assert set(older.parts["frets_from"]) == {"nut"}
    with pytest.raises(TableError, match=r"frets_from.*'bridge'; it is one of nut, capo"):
        replace(song, parts=song.parts.assign(frets_from="bridge"))


@pytest.mark.parametrize(("frets", "numbers"), [("nut", ["5", "(2)"]), ("capo", ["2"])])
def test_fret_pictures(frets, numbers):
    """A shape high above the capo: the number of its first row, as counted."""
    neck = replace(ar.Neck(), capo=3)
    drawn = draw_shape(finger_picture((5, 6, 8, 8, 6, 5), "D", neck, (1, 1, 3, 4, 1, 1), frets))
    beside = re.findall(r'text-anchor="end"[^>]*>([^<]+)<', drawn)
    assert beside == numbers


@pytest.mark.parametrize("frets", ["nut", "capo"])
def test_tablature_and_words_say_the_same(tmp_path, frets):
    """The numbers of the tablature are those of the chart, and those of the words."""
    song = two_ways(tmp_path, frets)
    root = part_excerpt(song, "Guitar", [(1, 1)]).root
    printed = [int(fret.text) for fret in root.iter("fret")]
    first = WAYS[frets][1].partition(" ")[0]
    typed = [0 if fret == "3" and frets == "nut" else int(fret) for fret in first if fret != "x"]
    assert sorted(printed) == sorted(typed)
    explained = ar.explain_part(song, "Guitar")
    said = first.replace("3", "0") if frets == "nut" else first
    assert f"Bb {said}" in explained.text()
    assert explained.start.count("frets are counted from the") == 1
    assert f"frets are counted from the {frets}" in explained.start


def test_layout_overrules_the_part():
    """The option of a layout holds for every part; another word is refused in one sentence."""
    song = ar.read(DATASETS / "tarrow-weir.txt")
    as_said = ar.explain_part(song, "Guitar 2")
    asked = ar.explain_part(song, "Guitar 2", frets="nut")
    assert "counted from the capo" in as_said.start
    assert "counted from the nut" in asked.start
    assert ar.Layout(frets="nut").frets == "nut"
    for make in (lambda: ar.Layout(frets="bridge"),
                 lambda: ar.explain_part(song, "Guitar 2", frets="bridge")):  # fmt: skip
        with pytest.raises(ar.ArrangeError, match=r"frets='bridge'; it is one of 'nut', 'capo'"):
            make()


def test_a_log_of_decisions_without_the_column_is_read(tmp_path):
    """A log from before the column names its columns without it."""
    song = ar.read(DATASETS / "tarrow-weir.txt")
    added = song.parts[song.parts["part"] == "Guitar 1"].assign(part="Guitar 3")
    notes = song.notes[song.notes["part"] == "Guitar 1"].assign(part="Guitar 3")
    after = replace(song, parts=pd.concat([song.parts, added], ignore_index=True),
                    notes=pd.concat([song.notes, notes], ignore_index=True))  # fmt: skip
    log = tmp_path / "song.decisions.txt"
    decision = ar.Decision(what="a third guitar", why="fuller", parts=["Guitar 3"])
    ar.record_decision(log, decision, song=song, arrangement=after)
    text = log.read_text()
    older = text.replace(" | frets_from |", " |").replace(" | nut |", " |")
    assert older != text
    log.write_text(older)
    assert ar.rebuild(song, ar.read_decisions(log)).song.parts["frets_from"].iloc[-1] == "nut"
