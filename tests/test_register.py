"""Ranges and overlaps: worked by hand, counted slowly, and compared with music21's ambitus."""

import math
import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path

import music21
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from songs import notes_of, parts_of, song

from arrange.errors import ArrangeError
from arrange.formats.reading import read
from arrange.quantities.register import part_ranges, register_overlap
from arrange.tables.sounding import cut_notes, sounding_notes, together

EXAMPLES = settings(max_examples=15, deadline=None, derandomize=True)

# The worked example: A spends equal time on E3 G3 B3 E4, B half of its time on G3.
WORKED = (
    ("A", 52, 0, 2),
    ("A", 55, 2, 2),
    ("A", 59, 4, 2),
    ("A", 64, 6, 2),
    ("B", 55, 0, 4),
    ("B", 59, 4, 2),
    ("B", 62, 6, 2),
)

# Eighths, some at once, some of them quarter tones, in two parts over four bars.
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["A", "B"]),
        st.integers(96, 140).map(lambda half_semitones: half_semitones / 2),
        st.integers(0, 24).map(lambda eighths: eighths / 2),
        st.integers(1, 8).map(lambda eighths: eighths / 2),
    ),
    min_size=1,
    max_size=14,
)


def eighths(onset: float, duration: float) -> range:
    """Return the eighths in which a note sounds, counted one by one."""
    return range(int(2 * onset), int(2 * (onset + duration)))


def nearest(pitch: float) -> int:
    """Return the semitone of a pitch; a quarter tone counts as the semitone below."""
    return math.ceil(pitch - 0.5)


def coefficient(one: Counter, other: Counter) -> float:
    """Return the sum over the semitones of the lesser of the two shares of time."""
    a, b = sum(one.values()), sum(other.values())
    return float(
        sum(min(Fraction(one[k], a), Fraction(other[k], b)) for k in set(one) | set(other))
    )


def test_the_worked_example():
    """A runs from 52 to 64, B from 55 to 62. They share 55 to 62, 7 of the 12 semitones that the
    two cover. Shares of time: A a quarter on each of 52 55 59 64, B 1/2 1/4 1/4 on 55 59 62; the
    lesser of each is 1/4 on 55 and 1/4 on 59, together one half (the overlapping coefficient of
    Inman and Bradley, 1989). Means (52+55+59+64)/4 = 57.5, (2*55+59+62)/4 = 57.75; variances
    (30.25+6.25+2.25+42.25)/4 = 20.25 and (2*7.5625+1.5625+18.0625)/4 = 8.6875.
    """
    overlap = register_overlap(notes_of(*WORKED)).iloc[0]
    assert (overlap["part_a"], overlap["part_b"]) == ("A", "B")
    assert (overlap["shared_low"], overlap["shared_high"], overlap["shared"]) == (55, 62, 7)
    assert overlap["share"] == pytest.approx(7 / 12, abs=1e-12)
    assert overlap["histogram"] == overlap["together"] == pytest.approx(0.5, abs=1e-12)
    ranges = part_ranges(notes_of(*WORKED)).set_index("part")
    assert ranges["mean"].tolist() == [57.5, 57.75]
    assert ranges["spread"].tolist() == pytest.approx([4.5, math.sqrt(8.6875)], abs=1e-12)
    assert round(ranges["spread"]["B"], 2) == 2.95
    assert ranges["lowest"].tolist() == [52, 55]
    assert ranges["highest"].tolist() == [64, 62]
    assert ranges["notes"].tolist() == [4, 3]


def test_limits_of_the_overlap():
    """Identical parts share everything, parts in different octaves nothing, in either order; moving
    both by an octave changes no share.
    """
    rows = [row for row in WORKED if row[0] == "A"]
    same = register_overlap(notes_of(*rows, *[("C", *row[1:]) for row in rows])).iloc[0]
    apart = register_overlap(notes_of(*rows, *[("C", row[1] - 24, *row[2:]) for row in rows]))
    assert (same["share"], same["histogram"], same["together"]) == (1, 1, 1)
    assert apart[["shared", "share", "histogram", "together"]].to_numpy().tolist() == [[0] * 4]
    assert apart[["shared_low", "shared_high"]].isna().all(axis=None)

    columns = ["shared", "share", "histogram", "together"]
    one = register_overlap(notes_of(*WORKED))[columns]
    other = register_overlap(notes_of(*reversed(WORKED)))[columns]
    higher = register_overlap(notes_of(*[(row[0], row[1] + 12, *row[2:]) for row in WORKED]))[
        columns
    ]
    pd.testing.assert_frame_equal(one, other)
    pd.testing.assert_frame_equal(one, higher)


def test_parts_on_one_pitch():
    """Two parts that hold the same single note share all of their range, which has no size."""
    unison = register_overlap(notes_of(("A", 60, 0, 4), ("B", 60, 0, 4))).iloc[0]
    assert (unison["shared"], unison["share"], unison["together"]) == (0, 1, 1)
    second = register_overlap(notes_of(("A", 60, 0, 4), ("B", 61, 0, 4))).iloc[0]
    assert (second["shared"], second["share"], second["together"]) == (0, 0, 0)


def test_together_counts_only_while_both_sound():
    """A and B alternate on the same notes and meet once, on different ones: while both sound they
    share nothing; over the song they share half.
    """
    notes = notes_of(("A", 60, 0, 2), ("B", 60, 2, 2), ("A", 64, 4, 2), ("B", 67, 4, 2))
    overlap = register_overlap(notes).iloc[0]
    assert overlap["histogram"] == pytest.approx(0.5)
    assert overlap["together"] == 0
    apart = register_overlap(notes[:2]).iloc[0]
    assert apart["histogram"] == 1
    assert math.isnan(apart["together"])


@given(ROWS)
@EXAMPLES
def test_overlap_by_counting_eighths(rows):
    """The same numbers are counted from each eighth of the song and each note in it."""
    own = {part: [row for row in rows if row[0] == part] for part in "AB"}
    found = register_overlap(notes_of(*rows))
    if not all(own.values()):
        assert found.empty
        return
    time, meets = {}, {}
    busy = {part: {e for row in own[part] for e in eighths(*row[2:])} for part in "AB"}
    for part, other in ("AB", "BA"):
        time[part] = Counter(nearest(row[1]) for row in own[part] for _ in eighths(*row[2:]))
        meets[part] = Counter(
            nearest(row[1]) for row in own[part] for e in eighths(*row[2:]) if e in busy[other]
        )
    span = {part: set(range(min(time[part]), max(time[part]) + 1)) for part in "AB"}
    union = max(map(max, span.values())) - min(map(min, span.values()))
    shared = max(len(span["A"] & span["B"]) - 1, 0)
    measured = found.iloc[0]
    assert measured["shared"] == shared
    assert measured["share"] == pytest.approx(shared / union if union else 1, abs=1e-12)
    assert measured["histogram"] == pytest.approx(coefficient(time["A"], time["B"]), abs=1e-12)
    if meets["A"]:
        assert measured["together"] == pytest.approx(coefficient(meets["A"], meets["B"]), abs=1e-12)
    else:
        assert math.isnan(measured["together"])


@given(ROWS)
@EXAMPLES
def test_ranges_by_counting_eighths(rows):
    """Each eighth of each note put on a pile: lowest, highest, mean, standard deviation, and the
    quarters of the sorted pile (the lowest pitch with at least a quarter, and at least three
    quarters, of the pile at or below it).
    """
    found = part_ranges(notes_of(*rows)).set_index("part")
    assert set(found.index) == {row[0] for row in rows}
    for part, measured in found.iterrows():
        pile = sorted(row[1] for row in rows if row[0] == part for _ in eighths(*row[2:]))
        assert (measured["lowest"], measured["highest"]) == (pile[0], pile[-1])
        assert measured["mean"] == pytest.approx(np.mean(pile), abs=1e-9)
        assert measured["spread"] == pytest.approx(np.std(pile), abs=1e-9)
        assert measured["middle_half_low"] == pile[math.ceil(len(pile) / 4) - 1]
        assert measured["middle_half_high"] == pile[math.ceil(3 * len(pile) / 4) - 1]
        assert measured["notes"] == sum(row[0] == part for row in rows)


def test_reserves():
    """Herbst, Duus, Jers and Svec (2012): what is left to the ends of the instrument. A guitar of
    22 frets sounds from E2 (40) to D6 (86), so a part from 52 to 76 has 12 below and 10 above. A
    capo takes its frets away below, not above. A bass of 20 frets ends on E flat 4 (63); a tuning
    of one's own moves the lower end; a voice has no frets.
    """
    names = ("Guitar 1", "Guitar 2", "Bass", "Guitar 3", "Voice")
    notes = notes_of(*[(name, pitch, 0, 1) for name in names for pitch in (52, 76)])
    dropped = (64, 59, 55, 50, 45, 38)
    parts = parts_of(*names, capo=[0, 3, 0, 0, 0], tuning=[None, None, None, dropped, None])
    ranges = part_ranges(notes, parts=parts).set_index("part")
    assert ranges["lower_reserve"].tolist()[:4] == [12, 9, 52 - 28, 14]
    assert ranges["upper_reserve"].tolist()[:4] == [10, 10, 63 - 76, 10]
    assert ranges.loc["Voice", ["lower_reserve", "upper_reserve"]].isna().all()
    without = part_ranges(notes)
    assert without[["lower_reserve", "upper_reserve"]].isna().all(axis=None)


def test_by_section_and_measure():
    """A note counts where it begins. Sections come in order of time and measures in order of
    number, for each part, and only those in which it plays.
    """
    sections = (("Verse", 1), ("Bridge", 2), ("Chorus", 3))
    rows = (("A", 60, 0, 6), ("A", 67, 8, 4), ("B", 72, 0, 4), ("B", 55, 4, 1), ("B", 57, 8, 1))
    notes = notes_of(*rows, sections=sections)
    ranges = part_ranges(notes, "section")
    assert ranges[["part", "section", "lowest"]].to_numpy().tolist() == [
        ["A", "Verse", 60], ["A", "Chorus", 67],
        ["B", "Verse", 72], ["B", "Bridge", 55], ["B", "Chorus", 57],
    ]  # fmt: skip
    by_measure = part_ranges(notes, "measure")
    assert by_measure["measure"].tolist() == [1, 3, 1, 2, 3]
    assert by_measure["lowest"].tolist() == ranges["lowest"].tolist()
    assert register_overlap(notes, "section")["section"].tolist() == ["Verse", "Chorus"]
    assert register_overlap(notes, "measure")["measure"].tolist() == [1, 3]


def test_held_notes_are_cut_at_bar_lines():
    """A note of six quarters from the third beat of bar 1 sounds 2 quarters in bar 1 and 4 in
    bar 2, where it ends with the bar; cut, it counts in both, and no time is lost.
    """
    sections = (("Verse", 1), ("Chorus", 2))
    made = song(("A", 60, 2, 6), ("A", 64, 8, 4), ("B", 65, 4, 1), sections=sections)
    cut = cut_notes(made.notes, made.measures, "measure")
    assert cut[["part", "onset", "duration", "measure", "pitch"]].to_numpy().tolist() == [
        ["A", 2, 2, 1, 60], ["A", 4, 4, 2, 60], ["A", 8, 4, 3, 64], ["B", 4, 1, 2, 65],
    ]  # fmt: skip
    assert part_ranges(made.notes, "measure")["measure"].tolist() == [1, 3, 2]
    assert part_ranges(cut, "measure")["measure"].tolist() == [1, 2, 3, 2]
    by_section = cut_notes(made.notes, made.sections, "section")
    assert by_section["section"].tolist() == ["Verse", "Chorus", "Chorus", "Chorus"]
    assert by_section["duration"].tolist() == [2, 4, 4, 1]


@given(ROWS)
@EXAMPLES
def test_cutting_keeps_the_time(rows):
    """Cut or not, each part spends the same time on each pitch, and no piece crosses a bar line."""
    made = song(*rows)
    cut = cut_notes(made.notes, made.measures, "measure")
    whole, pieces = (n.groupby(["part", "pitch"])["duration"].sum() for n in (made.notes, cut))
    pd.testing.assert_series_equal(whole, pieces)
    assert (cut["onset"] // 4 == cut["measure"] - 1).all()
    assert (cut["onset"] + cut["duration"] <= 4 * cut["measure"]).all()


@given(ROWS)
@EXAMPLES
def test_pairs_that_sound_together(rows):
    """Two notes sound together if each begins before the other ends: all pairs, one by one."""
    rows = sorted(rows, key=lambda row: row[2])
    onset = np.array([row[2] for row in rows])
    end = onset + [row[3] for row in rows]
    expected = {
        (i, j)
        for i in range(len(rows))
        for j in range(i + 1, len(rows))
        if onset[j] < end[i] and onset[i] < end[j]
    }
    assert set(zip(*map(np.ndarray.tolist, together(onset, end)), strict=True)) == expected


def test_what_does_not_sound_does_not_count():
    """Grace notes have no duration, cue notes are another's, a drum stroke has no pitch."""
    notes = notes_of(
        ("A", 60, 0, 1), ("A", 80, 1, 0), ("A", 30, 1, 1), ("A", 62, 2, 1), ("B", 61, 0, 1),
        grace=[False, True, False, False, False],
        technique=[None, None, "cue", "slide,let ring", None],
    )  # fmt: skip
    notes.loc[4, "pitch"] = np.nan
    assert sounding_notes(notes)["pitch"].tolist() == [60, 62]
    ranges = part_ranges(notes)
    assert ranges[["part", "lowest", "highest", "notes"]].to_numpy().tolist() == [["A", 60, 62, 2]]
    assert register_overlap(notes).empty


def test_nothing_sounds():
    """Without notes there are no ranges, but the columns exist."""
    full, none = notes_of(*WORKED), notes_of()
    for by in ("song", "section", "measure"):
        for measure in (part_ranges, register_overlap):
            assert measure(none, by).empty
            assert measure(none, by).columns.tolist() == measure(full, by).columns.tolist()


@pytest.mark.parametrize("measure", [part_ranges, register_overlap])
def test_an_unknown_span_is_reported_with_all_known_ones(measure):
    """The message lists the three words that are right."""
    with pytest.raises(ArrangeError, match="by='bar': it is one of 'song', 'section', 'measure'"):
        measure(notes_of(*WORKED), by="bar")


def test_an_unknown_cut_is_reported_with_all_known_ones():
    """Notes are cut by measure or by section; by song there is nothing to cut."""
    made = song(*WORKED)
    with pytest.raises(ArrangeError, match="by='song': it is one of 'measure', 'section'"):
        cut_notes(made.notes, made.measures, "song")


def test_ranges_agree_with_music21():
    """Lowest and highest pitch of every part of 20 chorales: music21's own ambitus analysis."""
    folder = Path(music21.__file__).parent / "corpus" / "bach"
    compared = 0
    for path in sorted(folder.glob("bwv*.mxl"))[:20]:
        ours = part_ranges(read(path, played=False).notes)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            parts = music21.converter.parse(path).parts
        theirs = [music21.analysis.discrete.Ambitus().getPitchSpan(part) for part in parts]
        assert ours["lowest"].tolist() == [low.ps for low, _ in theirs], path.name
        assert ours["highest"].tolist() == [high.ps for _, high in theirs], path.name
        compared += len(theirs)
    assert compared >= 60
