"""Sheets of odd songs: names without end, parts that hardly play, hundreds of sections.

What a page must keep clear is measured on its picture. Songs are worked by hand.
"""

from __future__ import annotations

import io

import matplotlib.image
import pypdf
import pytest

from arrange.explaining import explain_part
from arrange.formats.chart import read_chart
from arrange.guitar.players import Player
from arrange.handouts import PAPERS, page_picture, printing, write_handout
from arrange.handouts.sheets import part_sheet

WHITE_MM = 9.0  # at every edge of a page
TOP = """\
title: {title}
key: G major
part: {part}; electric guitar; player {player}
part: Guitar 2; acoustic guitar; capo 2; frets from the capo
"""
VERSE = """
section: {section}
chords | G | C |
{part} | 320003 | x32010 |
"""


def chart(*, title="Lanterns", part="Guitar 1", player="Ann", section="Verse", more="") -> str:
    top = TOP.format(title=title, part=part, player=player)
    return top + VERSE.format(section=section, part=part) + more


def song_of(text: str):
    return read_chart(text.encode())


def is_white_at_the_edges(path, paper: str) -> bool:
    """Whether no letter of any page lies in its margins, left and right, or below its foot."""
    wide = PAPERS[paper][0]
    for page in range(1, len(pypdf.PdfReader(path).pages) + 1):
        picture = matplotlib.image.imread(io.BytesIO(page_picture(path, page)))[..., :3]
        white = 4.0  # mm, around the page
        edge = int((white + WHITE_MM) / (wide + 2 * white) * picture.shape[1])
        ends = picture[:, :edge], picture[:, -edge:], picture[-edge * 2 // 3 :]
        if min(each.min() for each in ends) < 1:
            return False
    return True


@pytest.mark.sampled
@pytest.mark.parametrize(
    "odd",
    [
        {"title": "x" * 300, "section": "V" * 300},
        {"title": "Low tide " * 200, "part": "G" * 150},
        {"part": "Left guitar with the broken amplifier " * 4, "player": "Annabel-" * 20},
        {"title": '<b>Tide</b> #strong[x] "q" </script><script>alert(1)</script> $x^2$ \\ @ref',
         "part": '<i>Left</i> #strong[x] $y$ "q"', "section": '= </script> $ #x "v"'},
        {"more": f"remark: {'w' * 500}\n"},
    ],
    ids=["title and section", "part", "player", "markup", "remark"],
)  # fmt: skip
def test_words_without_end_stay_on_the_page(odd, tmp_path):
    paths = write_handout(song_of(chart(**odd)), tmp_path)
    pdfs = [path for path in paths if path.suffix == ".pdf"]
    assert len(pdfs) == 3
    assert all(is_white_at_the_edges(path, "A4") for path in pdfs)


def test_a_part_that_never_plays_is_said_once(tmp_path):
    more = "".join(f"\nsection: Part {n}; as Verse\n" for n in range(60))
    song = song_of(chart(more=more))
    sheet = part_sheet(song, Player("Guitar 2"), "notation")
    assert sheet.notices == ("Guitar 2 does not play in this song.",)
    assert sheet.stretches == ()
    paths = write_handout(song, tmp_path, player="Guitar 2")
    assert len(pypdf.PdfReader(paths[0]).pages) == 1
    assert "Guitar 2 does not play in this song." in paths[1].read_text()
    words = explain_part(song, "Guitar 2").text().split("\n")
    assert len(words) == 1
    assert words[0].endswith("It does not play in this song.")


def test_a_silent_part_keeps_what_is_asked_of_it():
    more = "\nsection: Part 2; as Verse\nremark: Guitar 2: count the band in\n"
    sheet = part_sheet(song_of(chart(more=more)), Player("Guitar 2"), "shapes")
    assert [(each.title, len(each.notices)) for each in sheet.stretches] == [("Part 2", 1)]


@pytest.mark.long
def test_a_song_that_no_two_pages_hold_is_engraved_once(monkeypatch):
    names = ["G3", "A3", "B3", "C4", "D4", "E4", "F#4", "G4"]
    more = "".join(
        f"\nsection: Part {n}\nchords | G | C | D | G |\nGuitar 1 | "
        + " | ".join(" ".join(names[(n // 8**bar + k * k) % 8] for k in range(4))
                     for bar in range(4)) + " |\n"
        for n in range(0, 4096, 41)
    )  # fmt: skip
    tried, laid_out = [], printing._laid_out

    def counted(*args, **more):
        tried.append(more.get("are_blank", False))
        return laid_out(*args, **more)

    monkeypatch.setattr(printing, "_laid_out", counted)
    song = song_of(chart(more=more))
    pdf = printing.print_part(part_sheet(song, Player("Guitar 1"), "notation"), song, "A4").pdf()
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert (tried.count(False), tried[-1]) == (1, False)
    assert len(pages) > 2
    assert f"{len(pages)} pages: " in " ".join(pages[0].extract_text().split())
