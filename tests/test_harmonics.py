"""Harmonics: what a touched string sounds, from reading to the sheet.

Where a string is touched and what it sounds: its partials at a half, a third, a quarter and a fifth
of its length (common practice). The element and its three pitches: MusicXML 4.0, ``harmonic``.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from explaining_twin import wrong_statements

import arrange as ar
from arrange.formats.chart import read_chart
from arrange.guitar.harmonics import ABOVE, natural_places
from arrange.guitar.players import Player
from arrange.handouts.sheets import part_sheet

CHART = b"""key: D major
part: Guitar; capo 2; frets from the capo
section: A
chords | D | Bm | F# | G |
Guitar | F#5,C#5,A4 harmonic | xxx777 harmonic | 5xxxxx harmonic | D3,A3,D4 harmonic |
section: B
Guitar | A4,F#5 harmonic | ~ |
"""


def test_the_pitches_of_a_touched_string():
    """A string touched at k parts of n, without a common divisor, sounds its partial n."""
    for fret, above in ABOVE.items():
        share = 1 - 2 ** (-fret / 12)  # of the string, from the nut to the fret
        partial = round(2 ** (above / 12))
        parts = round(share * partial)
        assert share == pytest.approx(parts / partial, abs=0.0065)
        assert math.gcd(parts, partial) == 1
        assert above == pytest.approx(12 * math.log2(partial), abs=0.15)
    assert natural_places(69, ar.Neck(capo=2)) == [(3, 14)]


@pytest.fixture(scope="module")
def bells():
    return read_chart(CHART)


def test_a_chart_s_fret_is_touched_and_its_note_sounds(bells):
    """Over fret 7 behind capo 2: an octave and a fifth above the open strings, F#4, C#4 and A3."""
    pitches = [sorted(own["pitch"].tolist()) for _, own in bells.notes.groupby("onset")]
    assert pitches == [[69, 73, 78], [76, 80, 85], [66], [50, 57, 62], [69, 78]]
    fingered = ar.finger_part(bells, "Guitar")
    places = [[*zip(own["string"], own["fret"], strict=True)]
              for _, own in fingered.groupby("onset")]  # fmt: skip
    assert [sorted(own) for own in places[:3]] == [
        [(1, 14), (2, 14), (3, 14)], [(1, 9), (2, 9), (3, 9)], [(6, 7)],
    ]  # fmt: skip
    problems = fingered.groupby("onset")["problem"].count().tolist()
    assert problems == [0, 0, 0, 3, 0]
    assert "no open string has D3 as a natural harmonic" in fingered["problem"].dropna().iloc[-1]


def test_words_say_where_they_are_touched(bells):
    """And nothing is a power chord; a wrong fret is not borne out."""
    words = ar.explain_part(bells, "Guitar")
    assert wrong_statements(bells, "Guitar", words) == []
    first, last = words.sections
    assert "Bar 4: no open string has these harmonics, play plain notes." in first.steps
    assert "power" not in words.text().lower()
    assert last.line == "Harmonics, touched over fret 12, strings 3 and 1, struck on 1."
    assert "Bar 5: strings 3 and 1 touched over fret 12 on 1." in last.steps
    planted = replace(last, steps=(*last.steps, "Bar 5: strings 3 and 1 touched over fret 7 on 1."))
    wrong = wrong_statements(bells, "Guitar", replace(words, sections=(planted,)))
    assert wrong == [("B", planted.steps[-1])]


@pytest.mark.parametrize("style", ["notation", "shapes"])
def test_a_sheet_draws_them_in_tablature(bells, style):
    """In angle brackets, and no fret picture; the plain notes have none."""
    sheet = part_sheet(bells, Player("Guitar"), style)
    assert not any(stretch.shapes for stretch in sheet.stretches)
    drawn = "".join(line.picture for own in sheet.web_systems for span in own for line in span)
    assert [drawn.count(sign) for sign in ("‹12›<", "‹7›<", "‹5›<")] == [5, 3, 1]
    assert "‹12› a harmonic: touch the string over the fret" in sheet.legend
    assert not any("harmonic" in cue for stretch in sheet.stretches for cue in stretch.cues)
