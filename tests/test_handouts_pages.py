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
