"""Attacks of two parts against each other: worked by hand, and found again one by one.

Milliseconds are 60000 / tempo times the note value. A triplet's second note lies 1/12 of a quarter
after a sixteenth, a swung eighth 1/6 after a straight one. What counts as near, busy or fused is
our own choice from the sources named beside each test; the slow twins state the definition.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from slow_rhythm import GUITARS, PARTS, slow_busy, slow_fusing, slow_near
from songs import parts_of, song

from arrange.clashes import Limits, find_clashes
from arrange.clashes.rhythm import two_streams_from

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
KINDS = ["near", "busy", "fusing"]

QUARTERS = [0, 1, 2, 3]
EIGHTHS = [eighth / 2 for eighth in range(8)]
SIXTEENTHS = [sixteenth / 4 for sixteenth in range(16)]
TRIPLETS = [third / 3 for third in range(12)]
SWUNG = [beat + at for beat in range(4) for at in (0, 2 / 3)]
LATE = [beat + 1 / 4 for beat in range(4)]
OFF_BEATS = [beat + 1 / 2 for beat in range(4)]
DOTTED = [beat + at for beat in range(4) for at in (0, 3 / 4)]
PUSHED = [0, 3 / 4, 3 / 2, 2, 11 / 4, 7 / 2]  # three, three and two sixteenths
ONE_PUSH = [0, 1, 7 / 4, 3]


def line(part, pattern, notes="C4", *, bars=2, first=0):
    """Return a part that repeats a bar's attacks, with its notes in turn."""
    names = notes.split()
    onsets = [4 * bar + at for bar in range(first, first + bars) for at in pattern]
    return [(part, names[at % len(names)], onset, 0.05) for at, onset in enumerate(onsets)]


def two(one, other, **about):
    """Return a song of two guitars, each with its bar's attacks."""
    return song(*line("Guitar 1", one), *line("Guitar 2", other, "E4"), **about)


def findings_of(music, kind, limits=Limits()):  # noqa: B008
    """Return findings of one kind as dicts."""
    return find_clashes(music, [kind], limits).to_dict("records")


# --- near -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tempo", "milliseconds", "counts"),
    [(120, 41.7, 1 / 2), (90, 55.6, 1), (140, 35.7, 1 / 2), (150, 33.3, 1 / 2), (180, 27.8, 0)],
)
def test_triplets_against_sixteenths(tempo, milliseconds, counts):
    """They miss by a twelfth of a quarter, twice a beat over two bars. Professional trios play
    within 30 ms (Rasch 1979, as cited in later work); below 50 ms a miss counts half (our choice).
    """
    found = findings_of(two(SIXTEENTHS, TRIPLETS, tempo=tempo), "near")
    assert 60_000 / tempo / 12 == pytest.approx(milliseconds, abs=0.05)
    assert [row["value"] for row in found] == ([16 * counts] if counts else [])
    for row in found:
        assert f"at 16 attacks, by {milliseconds:.0f} ms" in row["why"]
        assert "a triplet against sixteenths" in row["why"]
        assert (row["onset"], row["onset"] + row["duration"]) == pytest.approx((1 / 4, 7.75))


def test_swung_against_straight_eighths():
    """A sixth of a quarter is 83.3 ms at 120; every second attack misses, over two bars."""
    (row,) = findings_of(two(EIGHTHS, SWUNG, tempo=120), "near")
    assert row["value"] == 8
    assert "by 83 ms at this tempo (swung against straight eighths)" in row["why"]
    assert row["pitches"] == "C4 E4"


@pytest.mark.parametrize(("tempo", "milliseconds"), [(120, 125), (90, 167), (60, 250)])
def test_a_part_late_by_a_sixteenth_is_one_finding(tempo, milliseconds):
    """Eight quarters, each a sixteenth late, are one run, and the finding says who is late."""
    (row,) = findings_of(two(QUARTERS, LATE, tempo=tempo), "near")
    assert (row["value"], row["onset"], row["duration"]) == (8, 0, 7.25)
    assert row["why"].startswith(
        f"Guitar 2 comes in a sixteenth after Guitar 1 at 8 attacks, {milliseconds} ms"
    )
    (row,) = findings_of(two(LATE, QUARTERS, tempo=tempo), "near")
    assert row["why"].startswith("Guitar 1 comes in a sixteenth after Guitar 2 at 8 attacks")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (QUARTERS, SIXTEENTHS),  # each quarter has a partner
        (QUARTERS, DOTTED),
        (QUARTERS, OFF_BEATS),  # one on the beat, the other between
        (EIGHTHS, [at + 1 / 4 for at in EIGHTHS]),  # sixteenths shared out
        (EIGHTHS, TRIPLETS),  # two against three: nothing is clearly nearest
        (QUARTERS, PUSHED),
        (QUARTERS, ONE_PUSH),
        (QUARTERS, QUARTERS),
    ],
)
def test_rhythms_of_their_own_are_no_misses(one, other):
    """Common practice: counter-rhythms, pushes and polyrhythms are written on purpose."""
    music = song(*line("Guitar 1", one, bars=8), *line("Guitar 2", other, bars=8), tempo=120)
    assert findings_of(music, "near") == []
    assert findings_of(replace(music, parts=music.parts.iloc[::-1]), "near") == []


def test_late_and_then_early_are_two_findings():
    """Four quarters a sixteenth late, then four early, are two findings: the order is reversed."""
    quarters = [beat for beat in range(9) if beat != 4]
    shifted = [*LATE, *(beat - 1 / 4 for beat in range(5, 9))]
    rows = *line("Guitar 1", quarters, bars=1), *line("Guitar 2", shifted, "E4", bars=1)
    found = findings_of(song(*rows, tempo=120), "near")
    assert sorted((row["onset"], row["value"]) for row in found) == [(0, 4), (4.75, 4)]
    assert len({row["why"] for row in found}) == 2


def test_few_misses_are_not_reported():
    """Three late attacks in a row are below the limit of four, four are reported."""
    late = [*QUARTERS, *(4 + at for at in LATE)]
    rows = line("Guitar 1", QUARTERS, bars=4)
    for count, found in ((3, 0), (4, 1)):
        other = [(("Guitar 2"), "E4", onset, 0.05) for onset in late[: 4 + count]]
        assert len(findings_of(song(*rows, *other, tempo=120), "near")) == found


def test_a_strum_is_one_attack():
    """Four strings struck within 24 ms at 120 are together with a bass note on the first."""
    strum = [("Guitar 1", 60 + string, beat + 0.016 * string, 0.5)
             for beat in range(8) for string in range(4)]  # fmt: skip
    bass = [("Bass", "C2", beat, 0.5) for beat in range(8)]
    assert findings_of(song(*strum, *bass, tempo=120), "near") == []
    assert findings_of(song(*strum, *bass, tempo=120), "busy", Limits(busy=4, busy_seconds=1)) == []


def with_echo(*rows, tempo=120, echo="dotted eighth"):
    parts = parts_of("Guitar 1", "Guitar 2", echo=[echo, None])
    return song(*rows, parts=parts, tempo=tempo)


def test_an_echo_that_misses_the_other_guitar():
    """Quarters with a dotted-eighth echo, against an attack 2/3 of the way to the next quarter: 375
    ms against 333.3 at 120. Of the repeats only the first counts: it is 6 dB softer, and as a flam
    it counts half: 8 x 0.501 x 0.5 = 2.0. The third repeat, 1125 ms against 1166.7 (from the attack
    of the second bar on), lies at a quarter of the beat, 41.7 ms before no attack of the other
    part.
    """
    rows = *line("Guitar 1", QUARTERS), *line("Guitar 2", SWUNG, "E4")
    (row,) = findings_of(with_echo(*rows), "near", Limits(near=1))
    assert row["value"] == pytest.approx(8 * 10 ** (-6 / 20) / 2)
    assert row["why"].startswith("Guitar 1's echo and Guitar 2 miss each other at 8 attacks, by 42")
    assert findings_of(with_echo(*rows), "near") == []  # too soft for the limit of four
    assert findings_of(with_echo(*rows, echo="eighth triplet"), "near", Limits(near=1)) == []
    assert findings_of(with_echo(*rows, echo=None), "near", Limits(near=1)) == []


def test_an_echo_in_the_gaps_is_meant():
    """Straight eighths on both with a dotted-eighth echo: the repeats fall on off sixteenths
    (375, 625, 875 ms at 120), a sixteenth from the other's attacks, and fill the gaps.
    """
    rows = *line("Guitar 1", EIGHTHS), *line("Guitar 2", EIGHTHS)
    assert findings_of(with_echo(*rows), "near", Limits(near=0.1)) == []


def test_an_echo_does_not_hide_a_late_part():
    """The third repeat falls on the late guitar's attacks, 18 dB down; the guitars still miss."""
    rows = *line("Guitar 1", QUARTERS), *line("Guitar 2", LATE)
    assert [row["value"] for row in findings_of(with_echo(*rows), "near")] == [8]


# --- busy -------------------------------------------------------------------------------------


def test_sixteenths_and_triplets_at_once_are_busy():
    """At 120 four and three a beat make six times of attack, twelve a second. About 100 ms from
    one to the next is the fastest that is heard as a rhythm (London 2004), ten a second.
    Stretches that begin at the end hold fewer, so that the average is a little less.
    """
    (row,) = findings_of(two(SIXTEENTHS, TRIPLETS, tempo=120, bars=2), "busy")
    assert row["value"] == pytest.approx(12, abs=0.2)
    assert (row["onset"], row["limit"], row["unit"]) == (0, 10, "attacks/s")
    assert "about 12 attacks a second between them for 3.9 s" in row["why"]
    assert findings_of(two(SIXTEENTHS, TRIPLETS, tempo=90), "busy") == []  # nine a second


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (SIXTEENTHS, SIXTEENTHS),  # one rhythm
        (SIXTEENTHS, EIGHTHS),  # one inside the other
        (TRIPLETS, QUARTERS),
        (SIXTEENTHS, [0, 2 / 3]),  # it leaves room
        (SIXTEENTHS, []),
    ],
)
def test_shared_rhythms_and_room_are_not_busy(one, other):
    """Common practice: while one moves, the other holds; or both play one rhythm."""
    music = song(*line("Guitar 1", one, bars=4), *line("Guitar 2", other, bars=4), tempo=160,
                 parts=GUITARS)  # fmt: skip
    assert findings_of(music, "busy") == []


@pytest.mark.parametrize(("sixteenths", "busy"), [(1, True), (4, False), (8, False)])
def test_taking_turns_is_not_busy(sixteenths, busy):
    """Call and answer, a beat or half a bar each, is common practice: never both at once. At 160
    sixteenths are 10.7 a second; shared out one by one they have no room.
    """
    turns = [at for at in SIXTEENTHS if 4 * at % (2 * sixteenths) < sixteenths]
    music = two(turns, [at for at in SIXTEENTHS if at not in turns], tempo=160)
    assert bool(findings_of(music, "busy")) == busy


def test_drums_are_not_asked():
    """Common practice: a busy kit is what the others play to."""
    rows = [*line("Guitar 1", SIXTEENTHS), *line("Drums", TRIPLETS)]
    assert findings_of(song(*rows, tempo=120), "busy") == []


def test_an_echo_makes_a_part_busier():
    """Eighths and triplets at 120: four times of attack a beat, eight a second. A dotted-eighth
    echo adds two repeats a beat at half the amplitude (-6 dB): two a second more, ten.
    """
    rows = *line("Guitar 1", EIGHTHS, bars=4), *line("Guitar 2", TRIPLETS, bars=4)
    dry = findings_of(with_echo(*rows, echo=None), "busy", Limits(busy=8))
    wet = findings_of(with_echo(*rows), "busy", Limits(busy=8))
    assert dry[0]["value"] == pytest.approx(8)
    assert wet[0]["value"] == pytest.approx(8 + 4 * 10 ** (-6 / 20), abs=0.2)


# --- fusing -----------------------------------------------------------------------------------


def taking_turns(one, other, **about):
    """Return two guitars that share sixteenths in turn for two bars."""
    offset = [at + 1 / 4 for at in EIGHTHS]
    rows = *line("Guitar 1", EIGHTHS, one), *line("Guitar 2", offset, other)
    return song(*rows, **{"tempo": 120, **about})


@pytest.mark.parametrize(
    ("one", "other", "fuses"),
    [
        ("C4", "D4", True),
        ("C4", "C4", True),
        ("C4", "Eb4", False),  # three semitones: below them tones fuse whatever the pace
        ("C4", "D4 Eb4", True),  # two and three: two and a half
        ("C4", "C5", False),
    ],
)
def test_lines_that_take_turns_close_by_fuse(one, other, fuses):
    """The fission boundary, about three semitones whatever the pace (van Noorden 1975, from
    memory); 32 sixteenths at 120 are 125 ms apart.
    """
    found = findings_of(taking_turns(one, other), "fusing")
    assert [row["value"] for row in found] == ([32] if fuses else [])
    for row in found:
        assert "32 attacks, 125 ms and" in row["why"]
        assert (row["onset"], row["duration"]) == (0, 7.75)


@pytest.mark.parametrize(
    ("milliseconds", "semitones"), [(60, 4), (105, 8.5), (150, 13), (30, 4), (400, 13)]
)
def test_how_far_apart_two_lines_must_lie(milliseconds, semitones):
    """The temporal coherence boundary (van Noorden 1975): 4 semitones at 60 to 70 ms a tone, 13
    near 150 ms (from memory), a straight line between.
    """
    assert two_streams_from(milliseconds / 1000) == pytest.approx(semitones)


def test_what_does_not_fuse():
    """Slow turns, chords, attacks together, few attacks or different families do not fuse."""
    assert findings_of(taking_turns("C4", "D4", tempo=59), "fusing") == []  # 254 ms apart
    assert len(findings_of(taking_turns("C4", "D4", tempo=60), "fusing")) == 1
    chords = [(part, f"G3 {note}", onset, length)
              for part, note, onset, length in line("Guitar 1", EIGHTHS)]  # fmt: skip
    offset = line("Guitar 2", [at + 1 / 4 for at in EIGHTHS], "D4")
    assert findings_of(song(*chords, *offset, tempo=120), "fusing") == []
    assert findings_of(two(EIGHTHS, EIGHTHS, tempo=120), "fusing") == []
    eleven, twelve = (song(*line("Guitar 1", EIGHTHS, bars=1), *offset[:count], tempo=120)
                      for count in (5, 6))  # fmt: skip
    assert findings_of(eleven, "fusing") == []
    assert [row["value"] for row in findings_of(twelve, "fusing")] == [13]
    other = song(*line("Guitar 1", EIGHTHS), *(("Voice", *row[1:]) for row in offset), tempo=120)
    assert findings_of(other, "fusing") == []


@pytest.mark.parametrize("more", [{"drive": ["clean", "distorted"]}, {"level": [0.0, -6.0]}])
def test_another_sound_helps(more):
    """Difference in timbre or level helps to separate streams (van Noorden 1975, from memory)."""
    (alike,) = findings_of(taking_turns("C4", "D4"), "fusing")
    (apart,) = findings_of(taking_turns("C4", "D4", parts=parts_of(*GUITARS, **more)), "fusing")
    assert apart["severity"] == alike["severity"] / 2
    assert "their different sound helps" in apart["why"]


# --- the slow, obvious twins ------------------------------------------------------------------

PATTERNS = [QUARTERS, EIGHTHS, SIXTEENTHS, TRIPLETS, SWUNG, LATE, OFF_BEATS, DOTTED, PUSHED,
            [], [at + 1 / 4 for at in EIGHTHS], [0, 0.03, 0.06, 1, 2 - 0.07, 3]]  # fmt: skip
LOOSE = Limits(near=1, busy=6, busy_seconds=0.5, fusing=4, fusing_semitones=5)

# Crowded, so that something is found: two bars, the guitars in most of them.
BARS = st.lists(
    st.tuples(
        st.sampled_from([*PARTS, *GUITARS * 2]),
        st.sampled_from(PATTERNS),
        st.integers(0, 1),
        st.integers(60, 64),
    ),
    min_size=3,
    max_size=7,
)
TEMPOS = st.sampled_from([60, 90, 120, 140, 200])
ECHOES = st.sampled_from([None, "dotted eighth", "triplet quarter"])


def rows_of(bars):
    """Return notes in a pattern that walks through three pitches."""
    return [
        (part, pitch + place % 3, 4 * bar + at, 0.1)
        for part, pattern, bar, pitch in bars
        for place, at in enumerate(pattern)
    ]


def places(table, kind):
    """Return (parts, onset, end, value) of the findings of a kind, in order."""
    rows = table[table["kind"] == kind]
    ends = rows["onset"] + rows["duration"]
    return sorted(zip(rows["parts"], rows["onset"], ends, rows["value"], strict=True))


@given(BARS, TEMPOS, ECHOES)
@EXAMPLES
def test_attack_by_attack(bars, tempo, echo):
    """All three kinds, with and without an echo, are equal row for row."""
    rows = rows_of(bars)
    parts = parts_of(*PARTS, echo=[echo, None, None, None])
    table = find_clashes(song(*rows, parts=parts, tempo=tempo, bars=4), KINDS, LOOSE)
    expected = {
        "near": slow_near(rows, tempo, echo, LOOSE),
        "busy": slow_busy(rows, tempo, echo, LOOSE),
        "fusing": slow_fusing(rows, tempo, LOOSE),
    }
    for kind in KINDS:
        found, wanted = places(table, kind), sorted(expected[kind])
        assert [row[0] for row in found] == [row[0] for row in wanted], kind
        numbers = [np.array([row[1:] for row in rows_]) for rows_ in (found, wanted)]
        assert numbers[0] == pytest.approx(numbers[1]), kind


@given(BARS, TEMPOS)
@EXAMPLES
def test_the_order_of_the_parts_changes_nothing(bars, tempo):
    """Only the order in which a finding names the parts may change."""
    rows = rows_of(bars)
    tables = [
        find_clashes(song(*rows, parts=parts, tempo=tempo, bars=4), KINDS, LOOSE)
        for parts in (PARTS, PARTS[::-1])
    ]
    seen = [
        sorted(
            (row.kind, row.onset, row.duration, row.value, row.pitches, *sorted(
                row.parts.split(" + ")))
            for row in table.itertuples()
        )
        for table in tables
    ]  # fmt: skip
    assert seen[0] == seen[1]


@given(BARS, BARS, TEMPOS)
@EXAMPLES
def test_two_halves_give_what_the_whole_gives(first, second, tempo):
    """Bars 1 to 4 and 9 to 12 have four silent bars between, which no finding reaches across."""
    early, late = rows_of(first), rows_of(second)
    moved = [(part, pitch, onset + 32, length) for part, pitch, onset, length in late]
    whole, *halves = (
        find_clashes(song(*rows, parts=PARTS, tempo=tempo, bars=12), KINDS, LOOSE)
        for rows in (early + moved, early, late)
    )
    for kind in KINDS:
        shifted = [(parts, onset + 32, end + 32, *more)
                   for parts, onset, end, *more in places(halves[1], kind)]  # fmt: skip
        wanted = sorted([*places(halves[0], kind), *shifted])
        found = places(whole, kind)
        assert [row[0] for row in found] == [row[0] for row in wanted]
        for row, other in zip(found, wanted, strict=True):
            assert row[1:] == pytest.approx(other[1:])


@pytest.mark.parametrize(
    "music",
    [
        song(parts=GUITARS, bars=2),
        song(("Guitar 1", "C4", 0, 1), bars=2),
        song(("Guitar 1", "C4", 0, 0), ("Guitar 2", "C4", 0.1, 0), bars=2),
        song(*line("Drums", SIXTEENTHS)),
    ],
)
def test_silence_and_one_part_give_none(music):
    assert find_clashes(music, KINDS).empty
