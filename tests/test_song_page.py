"""The page to send: what is drawn in each section."""

import re

from arrange.__main__ import main

SONG = """\
title: Rope Walk
part: Low; standard tuning
part: High; standard tuning
part: Third; standard tuning
part: Singer
section: Verse
Low    | 320003 | 320003 |
High   | x32010 | x32010 |
Singer | G4 A4 B4 A4 | G4 |
section: Bridge
Third  | 022000 eighths | 022000 |
Low    | 320003 | . |
Singer | E4 | E4 |
section: End
Singer | G4 | G4 |
"""


def test_parts_that_play_in_a_section_are_drawn(tmp_path):
    """The same two as long as they play, the one who plays for one who rests, never a singer for a
    guitar; where no guitar plays, the two as before.
    """
    (tmp_path / "rope.txt").write_text(SONG)
    assert main(["page", str(tmp_path / "rope.txt"), "-o", str(tmp_path / "rope.html")]) == 0
    page = (tmp_path / "rope.html").read_text(encoding="utf-8")
    assert "Drawn: Low and High where they play, else those that play most there." in page
    drawn = re.findall(r'aria-label="(\w+), bars [\d–]+: ([\w ]+)"', page)
    assert drawn == [("Verse", "Low and High"), ("Bridge", "Low and Third"),
                     ("End", "Low and High")]  # fmt: skip
