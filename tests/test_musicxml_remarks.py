"""Words to the players in MusicXML: written, read back, and taken for nothing else.

MusicXML 4.0: ``words`` are text to be shown as it is; ``miscellaneous`` holds what the format has
no element for.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from lxml import etree
from songs import song

import arrange as ar
from arrange.formats.musicxml.writing import format_musicxml
from arrange.song_size import MOST_REMARK, MOST_REMARKS
from arrange.tables.song import Remark

DATASETS = Path(__file__).parent.parent / "datasets"
CHARTS = sorted(path.name for path in DATASETS.glob("*.txt") if "decisions" not in path.name)


@pytest.mark.sampled
@pytest.mark.parametrize("name", CHARTS)
def test_remarks_of_a_chart_come_back_from_musicxml(name, tmp_path):
    """To the same sections, in the same order, and nothing is said to be lost."""
    original = ar.read(DATASETS / name)
    remarked = replace(original, remarks=(Remark("tune down first"), *original.remarks))
    assert ar.write_musicxml(remarked, tmp_path / "song.musicxml") == ()
    again = ar.read(tmp_path / "song.musicxml")
    assert again.remarks == remarked.remarks
    assert again.sections["section"].tolist() == original.sections["section"].tolist()
    ar.write_chart(again, tmp_path / "again.txt")
    assert ar.read(tmp_path / "again.txt").remarks == remarked.remarks


def test_a_remark_stands_above_its_section_and_one_for_all_beside_the_title():
    """A player who opens the file sees it where it is meant."""
    sections = (("Verse", 1), ("Chorus", 3))
    remarked = replace(
        song(("Guitar", "C4", 0, 4), bars=4, sections=sections),
        remarks=(Remark("tune down"), Remark("wait", ("Chorus",))),
    )
    root = etree.fromstring(format_musicxml(remarked, []))
    (words,) = root.iterfind(".//words")
    assert words.text == "remark: wait"
    assert next(words.iterancestors("measure")).get("number") == "3"
    (field,) = root.iterfind("identification/miscellaneous/miscellaneous-field")
    assert (field.get("name"), field.text) == ("remark", "tune down")


@pytest.mark.parametrize(
    "text",
    ["D.C. al Fine", "Chorus 2", "To Coda", "distorted", "no echo", "echo: quarter",
     "plays: Hook", "remark: twice said", "capo 2", "Guitar 2: a <b>&amp;"],
)  # fmt: skip
def test_a_remark_is_taken_for_nothing_else(text, tmp_path):
    """Jumps, section names and sounds are words as well."""
    sections = (("Verse", 1), ("Bridge", 3))
    plain = song(("Guitar", "C4", 0, 4), bars=4, sections=sections)
    remarked = replace(plain, remarks=(Remark(text), Remark(f"{text}.", ("Bridge",))))
    for each, name in ((plain, "plain"), (remarked, "remarked")):
        ar.write_musicxml(each, tmp_path / f"{name}.musicxml")
    again, without = (ar.read(tmp_path / f"{name}.musicxml") for name in ("remarked", "plain"))
    assert again.remarks == remarked.remarks
    for table in ("parts", "sections", "measures", "setups"):
        assert getattr(again, table).equals(getattr(without, table))


def test_a_remark_for_a_section_that_is_gone_is_reported(tmp_path):
    """It has no place in a file; the song keeps it."""
    remarked = replace(song(("Guitar", "C4", 0, 4)), remarks=(Remark("wait", ("Coda",)),))
    said = ("remarks for sections that are not there are left out: 1",)
    assert ar.write_musicxml(remarked, tmp_path / "song.musicxml") == said
    assert ar.write_chart(remarked, tmp_path / "song.txt") == said


def test_remarks_of_another_hand_are_limited(tmp_path):
    """A long one is cut; more than a song may have are left out; both are reported."""
    data = format_musicxml(replace(song(("G", "C4", 0, 4)), remarks=(Remark("wait"),)), [])
    field = b'<miscellaneous-field name="remark">wait</miscellaneous-field>'
    many = b"".join(field.replace(b"wait", b"no %d" % number) for number in range(MOST_REMARKS))
    path = tmp_path / "song.musicxml"
    path.write_bytes(data.replace(field, field.replace(b"wait", b"x" * 2000) + many))
    again = ar.read(path)
    assert len(again.remarks) == MOST_REMARKS
    assert len(again.remarks[0].text) == MOST_REMARK
    assert "remarks are cut to 500 characters: 1" in again.notices
    assert "a song has 1,000 remarks at most; further ones are left out: 1" in again.notices
