"""Part sheets as they are printed, page by page, against the tables of the song.

pypdf is the second reader of what was printed. What stands on a page for the stand, and down on the
beat and up on its half, are common practice.
"""

from __future__ import annotations

from arrange.formats.chart import read_chart
from arrange.guitar.players import Player
from arrange.handouts.sheets import part_sheet

PALM = """\
key: E minor
part: Guitar 1; electric guitar
section: A
chords   | Em                       | .      |
Guitar 1 | 022xxx eighths palm-mute | 022xxx |
"""


def test_a_technique_that_the_marks_do_not_draw_is_said():
    """Palm mute is drawn in tablature; over counts it is not, and stands in the cues."""
    song = read_chart(PALM.encode())
    cues = {style: part_sheet(song, Player("Guitar 1"), style).stretches[0].cues
            for style in ("notation", "shapes")}  # fmt: skip
    assert "palm mute: bar 1" in cues["shapes"]
    assert not any("palm" in cue for cue in cues["notation"])


TWO = """\
key: D major
part: Guitar 1; electric guitar
section: A
chords   | D                   | G                    | G A           |
Guitar 1 | 1: xx0232 4: x57775 | 1: 320033 4&: 577655 | 577655 x02220 |
section: B
chords   | G                   | D                    | D             |
Guitar 1 | 355433              | xx0232               | x57775        |
"""


def test_shapes_of_a_bar_are_named_with_their_counts():
    """Where each chord has one shape, its number stands behind it; what is struck later in the bar
    has its count.
    """
    song = read_chart(TWO.encode())
    bars = [bar for stretch in part_sheet(song, Player("Guitar 1"), "shapes").stretches
            for bar in stretch.bars]  # fmt: skip
    assert [(bar.numbers, bar.shapes, bar.since) for bar in bars] == [
        ((), ("D", "D (2)"), ("", "4")),
        ((), ("G", "G (2)"), ("", "4&")),
        (("(2)", ""), (), ()),
        (("(3)",), (), ()),
        (("",), (), ()),
        (("(2)",), (), ()),
    ]
