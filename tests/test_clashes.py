"""Findings: each kind worked by hand, and found again by a slow obvious search.

The slow searches look at the song eighth by eighth, at 60 quarter notes a minute, so that an
eighth is half a second.
"""

import dataclasses
import warnings
from collections import Counter
from itertools import combinations, pairwise
from pathlib import Path

import music21
import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from songs import song

from arrange.clashes import (
    DISPUTED_LIMITS,
    LOW_INTERVAL_LIMITS,
    Limits,
    find_clashes,
    low_interval_table,
)
from arrange.clashes.scene import runs
from arrange.errors import ArrangeError
from arrange.formats.reading import read
from arrange.tables.song import Song
from arrange.text.bibliography import SOURCES
from arrange.theory.pitch import parse_note

KINDS = ["rub", "mud", "crowding", "crossing", "doubling"]
EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.generate])
FEWER = settings(EXAMPLES, max_examples=6)
CORPUS = Path(music21.__file__).parent / "corpus"
CHORALES = sorted((CORPUS / "bach").glob("bwv3[0-9][0-9].mxl"))  # in four parts

# The low interval limits, lowest bottom note by interval in semitones: D. Lowell and K. Pullig,
# Arranging for Large Jazz Ensemble (2003), table from memory, ninths and tenths too.
LOWEST_BOTTOM = {
    1: "E3", 2: "Eb3", 3: "C3", 4: "Bb2", 5: "Bb2", 6: "B2", 7: "Bb1", 8: "F2", 9: "F2", 10: "F2",
    11: "F2", 13: "E2", 14: "Eb2", 15: "C2", 16: "Bb1",
}  # fmt: skip


def found(made: Song, kind: str, **limits) -> list[tuple]:
    """Return findings of one kind as (parts, pitches, onset, duration, value), by onset."""
    table = find_clashes(made, [kind], Limits(**limits)).sort_values(["onset", "parts", "pitches"])
    columns = ("parts", "pitches", "onset", "duration", "value")
    return list(zip(*(table[name].tolist() for name in columns), strict=True))


def rub(*rows, **about) -> float:
    """Return the value of the one rub in a song, 0 if there is none."""
    reported = found(song(*rows, **about), "rub", rub=0.01)
    assert len(reported) < 2
    return reported[0][-1] if reported else 0.0


def mud(*rows, **about) -> set[str]:
    """Return the muddy pairs of notes in a song."""
    return {pitches for _, pitches, *_ in found(song(*rows, **about), "mud", mud=0.01)}


# ---------------------------------------------------------------- rub


@pytest.mark.parametrize(("lower", "upper"), [("C4", "Db4"), ("C4", "Db5"), ("C4", "Db6")])
def test_minor_seconds_and_ninths_rub(lower, upper):
    """A minor second, a minor ninth and their compounds, held for 2 s at C4 or higher, where the
    weight is 1, have the value 2 if nothing else sounds.
    """
    assert rub(("Guitar 1", lower, 0, 2), ("Guitar 2", upper, 0, 2)) == pytest.approx(2)


@pytest.mark.parametrize("upper", ["C4", "D4", "Eb4", "F#4", "Bb4", "B4", "C5", "D5", "B5"])
def test_other_intervals_do_not_rub(upper):
    """A major seventh (an inverted minor second) is no rub, nor is any other interval."""
    assert rub(("Guitar 1", "C4", 0, 2), ("Guitar 2", upper, 0, 2)) == 0


def test_two_notes_of_one_part_do_not_rub():
    """One player's own notes are a choice of that player; and notes in turn never meet."""
    assert rub(("Guitar 1", "C4 Db4", 0, 2), ("Guitar 2", "G4", 0, 2)) == 0
    assert rub(("Guitar 1", "C4", 0, 2), ("Guitar 2", "Db4", 2, 2)) == 0


def test_weights_of_a_rub():
    """A rub held twice as long counts twice; an octave lower it counts sqrt(2) as much, at most
    twice and at least half; among four notes at once it counts sqrt(2 / 4). The weights are our
    own.
    """

    def held(pitch, *more, duration=1.0):
        return rub(("Guitar 1", pitch, 0, duration), ("Guitar 2", pitch + 1, 0, duration), *more)

    assert held(60) == pytest.approx(1)
    assert held(60, duration=3) == pytest.approx(3)
    assert held(48) == pytest.approx(2**0.5)
    assert held(36) == held(30) == pytest.approx(2)
    assert held(72) == pytest.approx(0.5**0.5)
    assert held(84) == held(96) == pytest.approx(0.5)
    assert held(60, ("Bass", "D2 G2", 0, 1)) == pytest.approx(0.5**0.5)
    assert held(60, ("Bass", "D2 G2", 0, 0.5)) == pytest.approx(0.5 + 0.5 * 0.5**0.5)


def test_a_rub_is_reported_once_with_its_length():
    """A rub held over five bars while another part moves is one row; so is one that comes back
    within a bar; after more than a bar it is a new row.
    """
    moving = [("Bass", "C2", beat, 1) for beat in range(20)]
    held = song(("Guitar 1", "A4", 0, 20), ("Guitar 2", "Bb4", 0, 20), *moving)
    row = find_clashes(held, ["rub"]).iloc[0]
    assert len(find_clashes(held, ["rub"])) == 1
    assert (row["parts"], row["pitches"]) == ("Guitar 1 + Guitar 2", "A4 Bb4")
    assert (row["onset"], row["duration"], row["measure"], row["beat"]) == (0, 20, 1, 1)
    assert row["why"] == (
        "Guitar 2's Bb4 rubs against Guitar 1's A4, a minor second, for 20.0 s: listen whether it "
        "is meant. Fewer than one passage in 100 of well-made music goes this far."
    )
    again = [("Guitar 2", "Bb4", onset, 1) for onset in (0, 5, 12)]
    reported = found(song(("Guitar 1", "A4", 0, 20), *again), "rub", rub=0.1)
    assert [(onset, duration) for _, _, onset, duration, _ in reported] == [(0, 6), (12, 1)]
    why = find_clashes(song(("Guitar 1", "A4", 0, 20), *again), ["rub"])["why"]
    assert "for 2.0 s in 2 places" in why.iloc[0]


def test_rubs_in_two_sections_are_two():
    """Each section is rehearsed by itself, so that each has its own row."""
    sections = (("Verse", 1), ("Chorus", 2))
    rows = [("Guitar 1", "A4", 0, 4), ("Guitar 1", "A4", 4, 4), ("Guitar 2", "Bb4", 0, 8)]
    table = find_clashes(song(*rows, sections=sections), ["rub"])
    assert table["section"].tolist() == ["Verse", "Chorus"]


@pytest.mark.parametrize(
    ("chord", "value"),
    [
        ((0, 7, "dominant", None, (9, -1, "add")), 0),
        ((0, 7, "dominant-ninth", None, (9, -1, "alter")), 0),
        ((0, 7, "dominant", None), 2),
        ((0, 7, "minor-seventh", None, (9, -1, "add")), 2),
        ((0, 0, "dominant", None, (9, -1, "add")), 2),
        ((4, 7, "dominant", None, (9, -1, "add")), 2),
    ],
)
def test_a_dominants_flat_nine_is_excused(chord, value):
    """G under A flat over G7(b9) is the one minor ninth that handbooks allow (minor-ninth rule);
    over another chord, over another root, or before the chord comes it rubs.
    """
    rows = (("Guitar 1", "G4", 0, 2), ("Guitar 2", "Ab5", 0, 2), ("Voice", "D5", 6, 2))
    scale = 2 ** ((60 - 67) / 24)
    assert rub(*rows, chords=[chord]) == pytest.approx(value * scale)


# ---------------------------------------------------------------- mud


def test_the_low_interval_table():
    """The package's table is equal to the one written above."""
    assert {size: parse_note(name) for size, name in LOWEST_BOTTOM.items()} == LOW_INTERVAL_LIMITS
    assert set(DISPUTED_LIMITS) == {4, 5, 6, 7}
    third = low_interval_table("Bb major").set_index("interval").loc["major third"]
    assert third.tolist() == ["Bb2 and D3", True]


@pytest.mark.sampled
@pytest.mark.parametrize("size", range(1, 20))
@pytest.mark.parametrize("players", [("Guitar 1", "Guitar 1"), ("Guitar 1", "Guitar 2")])
def test_low_interval_limits(size, players):
    """At its limit an interval is clear, a semitone lower it is muddy by one semitone; octaves, and
    what is wider than a tenth, are clear everywhere. It makes no difference whether one part plays
    both notes or two.
    """
    bottom = parse_note(LOWEST_BOTTOM[size]) if size in LOWEST_BOTTOM else 30

    def value(low):
        rows = [(part, pitch, 0, 3) for part, pitch in zip(players, (low, low + size), strict=True)]
        return [row[-1] for row in found(song(*rows), "mud", mud=0.01)]

    assert value(bottom) == []
    assert value(bottom - 1) == ([3.0] if size in LOWEST_BOTTOM else [])


@pytest.mark.parametrize(
    ("shape", "notes", "muddy"),
    [
        ("E 022100", "E2 B2 E3 G#3 B3 E4", set()),
        ("C x32010", "C3 E3 G3 C4 E4", set()),
        ("G 320003", "G2 B2 D3 G3 B3 G4", {"G2 B2", "B2 D3"}),
        ("G 3x0003", "G2 D3 G3 B3 G4", set()),
        ("Am/E 002210", "E2 A2 E3 A3 C4 E4", {"E2 A2"}),
        ("F, low A", "F2 A2", {"F2 A2"}),
        ("E5 022xxx", "E2 B2 E3", set()),
        ("F5 133xxx", "F2 C3 F3", set()),
    ],
)
def test_guitar_shapes(shape, notes, muddy):
    """Shapes in standard tuning, with every pair of notes compared with the table by hand: in the
    open G the major third G2 B2 (bottom below B flat 2) and the minor third B2 D3 (below C3) are
    muddy; with the fifth string muted none is.
    """
    assert mud(("Guitar 1", notes, 0, 2)) == muddy, shape


def test_an_assumed_root():
    """Lowell and Pullig: if the bottom note is not the root, assume a root below and check again.
    G2 alone is clear; over E flat major an E flat 2 is assumed below it, and the major third E flat
    2 to G2 stands seven semitones under its limit (B flat 2). No root is assumed where a bass
    plays, where the chord asks for G in the bass, over the root itself, or without a chord.
    """
    low = ("Guitar 1", "G2 Eb4", 0, 2)
    major, over_g = (0, 3, "major", None), (0, 3, "major", 7)
    rows = found(song(low, chords=[major], key="Eb major"), "mud", mud=0.01)
    assert rows == [("Guitar 1", "Eb2 G2", 0, 2, 14)]
    why = find_clashes(song(low, chords=[major], key="Eb major"), ["mud"])["why"].iloc[0]
    assert "over an assumed root" in why
    assert "handbooks differ" in why
    assert mud(low) == set()
    assert mud(low, chords=[over_g]) == set()
    assert mud(low, chords=[(0, None, "none", None)]) == set()
    assert mud(("Guitar 1", "Eb2 Eb4", 0, 2), chords=[major]) == set()
    assert mud(low, ("Bass", "G1", 0, 2), chords=[major]) == set()
    # E flat in the guitar is the root: no G is assumed below it. B flat is neither.
    assert mud(("Guitar 1", "Eb2 Eb4", 0, 2), chords=[over_g]) == set()
    assert mud(("Guitar 1", "Bb2 Eb4", 0, 2), chords=[over_g]) == {"G2 Bb2"}


def test_an_edited_table():
    """The user may change the limits: no table finds no mud; a stricter one finds more; a limit
    above middle C counts as well.
    """
    made = song(("Guitar 1", "C4 E4", 0, 2), ("Guitar 2", "E2 F2", 0, 2))
    assert len(found(made, "mud", mud=0.1)) == 1
    assert found(made, "mud", low_intervals={}) == []
    assert found(made, "mud", low_intervals={4: 62}) == [("Guitar 1", "C4 E4", 0, 2, 4)]


# ---------------------------------------------------------------- crowding


def test_crowding_is_found_by_section():
    """In the verse both hold C4 and E4 the same time, on the same notes: 1. In the chorus one is
    two octaves higher: 0. Sections of three seconds are too short to count.
    """
    sections = (("Verse", 1), ("Chorus", 3))
    rows = [("Guitar 1", "C4", 0, 4), ("Guitar 1", "E4", 4, 4), ("Guitar 2", "E4", 0, 4)]
    rows += [("Guitar 2", "C4", 4, 4), ("Guitar 1", "C4", 8, 8), ("Guitar 2", "C6", 8, 8)]
    table = find_clashes(song(*rows, sections=sections), ["crowding"])
    assert table["section"].tolist() == ["Verse"]
    row = table.iloc[0]
    assert (row["value"], row["limit"]) == (1, 0.4)
    assert (row["parts"], row["pitches"]) == ("Guitar 1 + Guitar 2", "C4 E4")
    assert (row["onset"], row["duration"]) == (0, 8)
    short = [("Guitar 1", "C4", 0, 3), ("Guitar 2", "C4", 0, 3)]
    assert found(song(*short), "crowding") == []
    assert len(found(song(*short), "crowding", crowding_seconds=3)) == 1


def test_crowding_by_a_note_held_over_sections():
    """A note that both hold through three sections crowds each of them."""
    sections = (("Verse", 1), ("Bridge", 3), ("Chorus", 5))
    made = song(("Guitar 1", "C4", 0, 24), ("Guitar 2", "C4", 0, 24), sections=sections)
    rows = found(made, "crowding")
    assert [(onset, duration) for _, _, onset, duration, _ in rows] == [(0, 8), (8, 8), (16, 8)]


def test_a_singer_or_bass_beside_a_guitar_is_not_asked():
    """Whether a guitar lies in the singer's register is another finding; two singers, or keys and a
    guitar, are compared.
    """

    def crowded(one, other):
        return bool(found(song((one, "C4", 0, 8), (other, "C4", 0, 8)), "crowding"))

    assert not crowded("Guitar 1", "Voice")
    assert not crowded("Bass", "Guitar 1")
    assert crowded("Voice 1", "Voice 2")
    assert crowded("Keys", "Guitar 1")


def test_crowding_of_quarter_tones():
    """A note bent up by a quarter tone counts as the semitone below, so that the two crowd."""
    rows = found(song(("Guitar 1", 60.5, 0, 8), ("Guitar 2", 60, 0, 8)), "crowding")
    assert [row[-1] for row in rows] == [1]


# ---------------------------------------------------------------- crossing


def test_a_crossing():
    """Guitar 1 is on top for 10 of 14 s, so it is the upper one; from 4 to 8 it goes below, by 4
    semitones. Its top note counts, not its lower notes. A pause of a quarter does not end the
    crossing, a longer one does. More than an octave counts as an octave.
    """
    high = [("Guitar 1", "E3 C5", 0, 4), ("Guitar 1", "C4", 4, 4), ("Guitar 1", "C5", 8, 6)]
    made = song(*high, ("Guitar 2", "E4", 0, 14))
    assert found(made, "crossing") == [("Guitar 1 + Guitar 2", "C4 E4", 4, 4, 16)]
    why = find_clashes(made, ["crossing"])["why"].iloc[0]
    assert why.startswith("Guitar 1, on top over the song, goes below Guitar 2 for 4.0 s, by up")
    assert "by up to 4 semitones" in why
    deep = [("Guitar 1", "E3 C5", 0, 4), ("Guitar 1", "C2", 4, 4), ("Guitar 1", "C5", 8, 6)]
    assert found(song(*deep, ("Guitar 2", "E4", 0, 14)), "crossing")[0][-1] == 4 * 12

    def dips(pause):
        rows = [("Guitar 1", "C5", 0, 8), ("Guitar 1", "C4", 8, 1)]
        rows += [("Guitar 1", "C4", 9 + pause, 1), ("Guitar 1", "C5", 12, 4)]
        return found(song(*rows, ("Guitar 2", "E4", 0, 16)), "crossing", crossing=0.5)

    assert [row[2:] for row in dips(1)] == [(8, 3, 8)]
    assert [row[2:] for row in dips(1.5)] == [(8, 1, 4), (10.5, 1, 4)]


def test_who_is_on_top_is_asked_within_a_family():
    """A guitar under the singer is no crossing; two parts that are on top equally long have no
    upper one; equal notes are no crossing.
    """
    rows = [("C5", 0, 10), ("C4", 10, 4)]
    one, other = ([(name, *row) for row in rows] for name in ("Guitar 1", "Voice"))
    assert len(found(song(*one, ("Guitar 2", "E4", 0, 14)), "crossing")) == 1
    assert found(song(*other, ("Guitar 2", "E4", 0, 14)), "crossing") == []
    turns = [("Guitar 1", "C5", 0, 4), ("Guitar 1", "C4", 4, 4)]
    turns += [("Guitar 2", "C4", 0, 4), ("Guitar 2", "C5", 4, 4)]
    assert found(song(*turns), "crossing") == []
    meets = [("Guitar 1", "C5", 0, 8), ("Guitar 1", "E4", 8, 4)]
    assert found(song(*meets, ("Guitar 2", "E4", 0, 12)), "crossing") == []


def parsed(path: Path):
    """Return a score read by music21, in page order."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return music21.converter.parse(path)


def spans(part) -> list[tuple[float, float, float]]:
    """Return (onset, end, pitch) of each note of a music21 part, tied notes one by one."""
    return [
        (float(element.offset), float(element.offset + element.quarterLength), pitch.ps)
        for element in part.flatten().notes
        if element.quarterLength
        for pitch in element.pitches
    ]


@pytest.mark.sampled
@pytest.mark.parametrize("path", CHORALES[:20], ids=lambda path: path.name)
def test_crossings_of_chorales_agree_with_music21(path):
    """Cut time wherever a note of music21's begins or ends and compare the two voices slice by
    slice: exactly the same crossings of neighbours are found, from and to the same beats.
    """
    made = read(path, played=False)
    names = made.parts["part"].tolist()
    voices = [spans(part) for part in parsed(path).parts]
    expected = set()
    for upper, lower in pairwise(range(len(voices))):
        lines = sorted({time for note in voices[upper] + voices[lower] for time in note[:2]})
        below, on_top = [], 0.0
        for start, end in pairwise(lines):
            heights = [
                [pitch for onset, until, pitch in voices[v] if onset <= start < until]
                for v in (upper, lower)
            ]
            if not all(heights):
                continue
            depth = max(heights[1]) - max(heights[0])
            on_top += (end - start) * ((depth < 0) - (depth > 0))
            if depth > 0:
                weighed = min(depth, 12) * (end - start)
                if below and start - below[-1][1] <= 1:
                    below[-1][1:] = end, below[-1][2] + weighed
                else:
                    below.append([start, end, weighed])
        assert on_top > 0, "the upper voice is not the upper of the song"
        pair = f"{names[upper]} + {names[lower]}"
        expected |= {(pair, start, end - start, round(weighed, 6)) for start, end, weighed in below}
    assert made.measures["tempo"].nunique() == 1, "every quarter note has the same length"
    quarter = 60 / made.measures["tempo"].iloc[0]
    pairs = {f"{one} + {other}" for one, other in pairwise(names)}
    reported = found(made, "crossing", crossing=1e-9)
    ours = {
        (parts, onset, duration, round(value / quarter, 6))
        for parts, _, onset, duration, value in reported
        if parts in pairs
    }
    assert ours == expected


# ---------------------------------------------------------------- doubling

TUNE = [(60, 0), (62, 0.5), (64, 1), (65, 2), (67, 2.5), (64, 3), (62, 4), (60, 5)]


def line(part, tune, up=0):
    """Return a tune as rows of eighths."""
    return [(part, pitch + up, onset, 0.5) for pitch, onset in tune]


@pytest.mark.parametrize(
    ("up", "how"),
    [(0, "in unison"), (12, "in octaves"), (-12, "in octaves"), (24, "2 octaves apart")],
)
def test_a_line_doubled(up, how):
    """The same eight notes at the same times are eight attacks, probably meant, and so of low
    severity.
    """
    made = song(*line("Guitar 1", TUNE), *line("Guitar 2", TUNE, up))
    row = find_clashes(made, ["doubling"]).iloc[0]
    assert (row["value"], row["onset"], row["duration"]) == (8, 0, 5.5)
    assert f"play the same line {how}, every attack together, so it reads as meant" in row["why"]
    assert 0 < row["severity"] < 0.2


@pytest.mark.parametrize("up", [7, 36, 11])
def test_other_intervals_are_no_doubling(up):
    """Parallel fifths are two lines; three octaves apart, lines are hardly heard as one (ours)."""
    made = song(*line("Guitar 1", TUNE), *line("Guitar 2", TUNE, up))
    assert found(made, "doubling") == []


def test_a_note_alone_is_its_own_bass():
    """F2 in a riff over D minor is a melody: no D is assumed below it; below F2 and A2 one is."""
    chords = [(0, 2, "minor", None)]
    assert found(song(("Guitar 1", "F2", 0, 4), chords=chords), "mud") == []
    assert "D2 F2" in [row[1] for row in found(
        song(("Guitar 1", "F2 A2", 0, 4), chords=chords), "mud")]  # fmt: skip


def test_a_double_that_is_nearly_exact_or_of_the_bass_is_meant():
    """One slip in twenty attacks is a player's; a bass an octave below carries the roots, however
    many attacks it has beside them. In unison with the bass it is as with any other part.
    """
    long = [(pitch, onset + 6 * turn) for turn in range(3) for pitch, onset in TUNE]
    slip = [(pitch, onset + 0.25 * (row == 9)) for row, (pitch, onset) in enumerate(long)]
    sparse = [each for row, each in enumerate(long) if row % 3]
    for other, notes, up, says in (
        ("Guitar 2", slip, 0, "reads as meant"),
        ("Bass", sparse, -12, "carries the roots"),
        ("Bass", sparse, 0, "an accident"),
    ):
        made = song(*line("Guitar 1", long), *line(other, notes, up))
        row = find_clashes(made, ["doubling"]).iloc[0]
        assert says in row["why"]
        assert (row["severity"] < 0.2) == (says != "an accident")


def test_a_slip_in_a_doubled_line():
    """If one note is late, 7 of 8 attacks are together, which looks like an accident and weighs
    more. One note an octave off is tolerated in the same way. Two in a row end the run.
    """
    late, off, two = TUNE.copy(), TUNE.copy(), TUNE.copy()
    late[3] = (65, 2.25)
    off[3] = (77, 2)
    two[3:5] = (65, 2.25), (67, 2.75)
    exact = find_clashes(song(*line("Guitar 1", TUNE), *line("Guitar 2", TUNE)), ["doubling"])
    for tune in (late, off):
        made = song(*line("Guitar 1", TUNE), *line("Guitar 2", tune))
        row = find_clashes(made, ["doubling"]).iloc[0]
        assert row["value"] == 7
        assert "7 of 8 attacks together, so it reads as an accident" in row["why"]
        assert exact["severity"].iloc[0] < row["severity"] < 0.5
    made = song(*line("Guitar 1", TUNE), *line("Guitar 2", two))
    assert found(made, "doubling") == []
    assert [row[-1] for row in found(made, "doubling", doubling=3)] == []


def test_what_makes_a_line():
    """Six notes on one pitch are a pulse, not a line; a pause of a whole note ends a line."""
    pulse = [(60, onset / 2) for onset in range(8)]
    assert found(song(*line("Guitar 1", pulse), *line("Guitar 2", pulse)), "doubling") == []
    apart = [*TUNE[:4], *((pitch, onset + 4.1) for pitch, onset in TUNE[4:])]
    made = song(*line("Guitar 1", apart), *line("Guitar 2", apart))
    assert found(made, "doubling") == []
    assert [row[-1] for row in found(made, "doubling", doubling=4)] == [4, 4]


def tops(part) -> list[tuple[float, float, music21.note.Note]]:
    """Return (onset, end, note): the highest note at each attack of a music21 part."""
    attacks = {}
    for element in part.stripTies().flatten().notes:
        if element.quarterLength:
            highest = max(element.pitches)
            held = attacks.get(float(element.offset))
            if held is None or held[2].pitch < highest:
                end = float(element.offset + element.quarterLength)
                attacks[float(element.offset)] = (float(element.offset), end, note_of(highest))
    return [attacks[onset] for onset in sorted(attacks)]


def note_of(pitch) -> music21.note.Note:
    return music21.note.Note(pitch)


def parallel_chains(one, other, least: int) -> list[tuple[float, int]]:
    """Return first onset and attacks of each stretch in which, by music21, every step is a parallel
    unison or octave or repeats the note.
    """
    places = {attack[0]: index for index, attack in enumerate(other)}
    chains, chain = [], []
    for index, attack in enumerate(one):
        at = places.get(attack[0])
        if at is not None:
            ahead = chain and chain[-1] == (index - 1, at - 1)
            if ahead and is_parallel(one[index - 1], attack, other[at - 1], other[at]):
                chain.append((index, at))
                continue
        chains.append(chain)
        chain = [(index, at)] if at is not None else []
    chains.append(chain)
    listed = []
    for chain in chains:
        pitches = [one[index][2].pitch.ps for index, _ in chain]
        moves = sum(a != b for a, b in pairwise(pitches))
        if len(chain) >= least and moves >= 3:
            listed.append((one[chain[0][0]][0], len(chain)))
    return listed


def is_parallel(first, second, below_first, below_second) -> bool:
    if second[0] - max(first[1], below_first[1]) > 4:
        return False
    notes = [attack[2] for attack in (first, second, below_first, below_second)]
    sizes = {notes[0].pitch.ps - notes[2].pitch.ps, notes[1].pitch.ps - notes[3].pitch.ps}
    if len(sizes) > 1 or not sizes <= {-24, -12, 0, 12, 24}:
        return False
    step = music21.voiceLeading.VoiceLeadingQuartet(*notes)
    return step.parallelUnison() or step.parallelOctave() or step.noMotion()


@pytest.mark.sampled
@pytest.mark.parametrize(
    "path",
    [*CHORALES[:12], *(CORPUS / "haydn" / "opus1no1" / f"movement{n}.mxl" for n in (1, 2, 5))],
    ids=lambda path: path.name,
)
def test_doublings_agree_with_music21(path):
    """Chorales avoid parallel octaves, an early quartet is full of them. Every stretch of at
    least four attacks that music21's voice-leading objects call parallel lies in a run of ours,
    and every run of ours without a slip is such a stretch.
    """
    made = read(path, played=False)
    names = made.parts["part"].tolist()
    table = find_clashes(made, ["doubling"], Limits(doubling=4))
    lines = [tops(part) for part in parsed(path).parts]
    assert len(lines) == len(names)
    for one, other in combinations(range(len(names)), 2):
        chains = parallel_chains(lines[one], lines[other], 4)
        rows = table[table["parts"] == f"{names[one]} + {names[other]}"]
        exact = rows[rows["why"].str.contains("every attack together")]
        ours = set(zip(exact["onset"], exact["value"], strict=True))
        assert ours <= set(chains)
        for onset, attacks in chains:
            ends = rows["onset"] + rows["duration"]
            inside = (rows["onset"] <= onset) & (onset < ends) & (rows["value"] >= attacks)
            assert inside.any(), (names[one], names[other], onset)
    if path.stem == "movement1":
        assert len(table) > 2, "nothing was compared"


# ---------------------------------------------------------------- slow searches

PLAYERS = ["Guitar 1", "Guitar 2", "Keys", "Bass"]

# (part, pitch, onset, duration) on a grid of eighths, dense so that many notes clash.
ROWS = st.lists(
    st.tuples(
        st.sampled_from(PLAYERS),
        st.integers(40, 54),
        st.integers(0, 60).map(lambda eighths: eighths / 2),
        st.sampled_from([0.5, 1, 2, 4, 7.5]),
    ),
    min_size=2,
    max_size=16,
)
CHORDS = st.sampled_from(
    [
        [],
        [(0, 4, "dominant", None, (9, -1, "add"))],
        [(0, 0, "major", None)],
        [(8, 9, "minor", 0), (16, None, "none", None), (24, 5, "major", None)],
    ]
)


def heard(rows) -> dict[float, set[tuple[str, int]]]:
    """Return what sounds in each half beat."""
    sounds = {}
    for part, pitch, onset, duration in rows:
        for eighth in range(int(2 * onset), int(2 * (onset + duration))):
            sounds.setdefault(eighth / 2, set()).add((part, pitch))
    return sounds


def stretches(times, gap: float) -> list[list[float]]:
    """Return half beats, joined where at most `gap` quarters lie between one's end and the next."""
    runs: list[list[float]] = []
    for time in sorted(times):
        if runs and time - (runs[-1][-1] + 0.5) <= gap:
            runs[-1].append(time)
        else:
            runs.append([time])
    return runs


def chord_at(chords, time: float):
    """Return the chord in force."""
    return ([None] + [chord for chord in chords if chord[0] <= time])[-1]


def between(*names: str) -> str:
    """Return the parts of a finding, in score order."""
    return " + ".join(name for name in PLAYERS if name in names)


def rounded(rows: list[tuple]) -> Counter:
    """Return findings to compare, values to a millionth."""
    return Counter((*row[:-1], round(row[-1], 6)) for row in rows)


@given(ROWS, CHORDS)
@EXAMPLES
def test_rubs_by_the_half_beat(rows, chords):
    """Compare every pair of notes in every half beat, in one section, so that only a bar's pause
    separates two rubs.
    """
    made = song(*rows, chords=chords, bars=10, parts=PLAYERS)
    sounds = heard(rows)
    times = {}
    for time, notes in sounds.items():
        chord = chord_at(chords, time)
        for (part, low), (other, high) in combinations(sorted(notes, key=lambda n: n[1]), 2):
            flat_nine = chord is not None and len(chord) > 4 and low % 12 == chord[1]
            if part != other and (high - low) % 12 == 1 and not flat_nine:
                times.setdefault((part, other, low, high), []).append(time)
    expected = []
    for (part, other, low, high), when in times.items():
        weight = min(max(2 ** ((60 - low) / 24), 0.5), 2)
        for run in stretches(when, 4):
            value = sum(0.5 * weight * (2 / len(sounds[time])) ** 0.5 for time in run)
            if value > 0.1:
                names = " ".join(made_name(pitch) for pitch in (low, high))
                duration = run[-1] + 0.5 - run[0]
                expected.append((between(part, other), names, run[0], duration, value))
    assert rounded(found(made, "rub", rub=0.1)) == rounded(expected)


def made_name(pitch: int) -> str:
    """Return a pitch class name as a band says it without a key."""
    names = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
    return f"{names[pitch % 12]}{pitch // 12 - 1}"


@given(ROWS, CHORDS)
@EXAMPLES
def test_mud_by_the_half_beat(rows, chords):
    """Compare every pair of notes in every half beat with the table, and every note with the root
    assumed below it; a note alone has none.
    """
    made = song(*rows, chords=chords, bars=10, parts=PLAYERS)
    limits = {size: parse_note(name) for size, name in LOWEST_BOTTOM.items()}
    times = {}
    for time, notes in heard(rows).items():
        pairs = combinations(sorted(notes, key=lambda note: note[1]), 2)
        checked = [(part, other, low, high) for (part, low), (other, high) in pairs]
        chord = chord_at(chords, time)
        lowest = min(pitch for _, pitch in notes)
        if chord and chord[1] is not None and not any(part == "Bass" for part, _ in notes):
            asked = chord[1] if chord[3] is None else chord[3]
            several = len({pitch for _, pitch in notes}) > 1
            if several and lowest % 12 not in (chord[1], asked):
                root = lowest - (lowest - asked) % 12
                checked += [(None, part, root, pitch) for part, pitch in notes]
        for part, other, low, high in checked:
            if low < limits.get(high - low, 0):
                times.setdefault((part, other, low, high), []).append(time)
    expected = []
    for (part, other, low, high), when in times.items():
        for run in stretches(when, 4):
            value = 0.5 * len(run) * (limits[high - low] - low)
            if value >= 1.5:
                names = f"{made_name(low)} {made_name(high)}"
                duration = run[-1] + 0.5 - run[0]
                expected.append((between(part, other), names, run[0], duration, value))
    assert rounded(found(made, "mud", mud=1.5)) == rounded(expected)


@given(ROWS)
@EXAMPLES
def test_crowding_by_the_half_beat(rows):
    """In two sections of five bars, count the half beats in which both parts sound."""
    made = song(*rows, bars=10, parts=PLAYERS, sections=(("Verse", 1), ("Chorus", 6)))
    sounds = heard(rows)
    expected = []
    for one, other in combinations(["Guitar 1", "Guitar 2", "Keys"], 2):
        for start, until in ((0, 20), (20, max(40, *sounds) + 0.5)):
            within = [notes for time, notes in sounds.items() if start <= time < until]
            both = [notes for notes in within if {one, other} <= {part for part, _ in notes}]
            shares = []
            for name in (one, other):
                dwell = Counter(pitch for notes in both for part, pitch in notes if part == name)
                shares.append({pitch: n / dwell.total() for pitch, n in dwell.items()})
            value = sum(min(share, shares[1].get(pitch, 0)) for pitch, share in shares[0].items())
            if value < 0.4 - 1e-12 or len(both) / 2 < 1:
                continue
            ranges = [
                [pitch for notes in within for part, pitch in notes if part == name]
                for name in (one, other)
            ]
            ends = {max(map(min, ranges)), min(map(max, ranges))}
            low, high = min(ends), max(ends)
            names = f"{made_name(low)} {made_name(high)}"
            expected.append((f"{one} + {other}", names, start, 20, value))
    reported = found(made, "crowding", crowding=0.4 - 1e-12, crowding_seconds=1)
    assert rounded([(*row[:3], 20, row[-1]) for row in reported]) == rounded(expected)


@given(ROWS)
@EXAMPLES
def test_crossings_by_the_half_beat(rows):
    """Compare the top notes of the two guitars in every half beat."""
    rows = [row for row in rows if row[0].startswith("Guitar")]
    made = song(*rows, bars=10, parts=["Guitar 1", "Guitar 2"])
    top = {
        name: {
            time: max(pitch for part, pitch in notes if part == name)
            for time, notes in heard(rows).items()
            if any(part == name for part, _ in notes)
        }
        for name in ("Guitar 1", "Guitar 2")
    }
    expected = []
    if all(top.values()):
        both = sorted(set(top["Guitar 1"]) & set(top["Guitar 2"]))
        apart = {time: top["Guitar 1"][time] - top["Guitar 2"][time] for time in both}
        on_top = sum((size > 0) - (size < 0) for size in apart.values())
        upper, lower = ("Guitar 1", "Guitar 2") if on_top > 0 else ("Guitar 2", "Guitar 1")
        under = [time for time in both if top[upper][time] < top[lower][time]] if on_top else []
        for run in stretches(under, 1):
            value = sum(min(abs(apart[time]), 12) / 2 for time in run)
            if value >= 4:
                ends = (
                    min(top[upper][time] for time in run),
                    max(top[lower][time] for time in run),
                )
                names = " ".join(map(made_name, ends))
                duration = run[-1] + 0.5 - run[0]
                expected.append((between(upper, lower), names, run[0], duration, value))
    assert rounded(found(made, "crossing", crossing=4)) == rounded(expected)


@given(
    st.lists(st.sampled_from([60, 62, 64]), min_size=6, max_size=24),
    st.dictionaries(st.integers(0, 23), st.sampled_from(["rest", "late", "octave", "other"])),
    st.sampled_from([-12, 0, 24]),
)
@EXAMPLES
def test_doublings_by_walking_along(tune, slips, up):
    """One plays quarters, the other the same with slips: go through the attacks that both share on
    one interval, and let a run continue over one stray attack of either.
    """
    first = [(pitch, float(onset)) for onset, pitch in enumerate(tune)]
    second = []
    for pitch, onset in first:
        slip = slips.get(int(onset))
        if slip != "rest":
            moved = {"octave": 12, "other": 5}.get(slip, 0)
            second.append((pitch + up + moved, onset + (0.25 if slip == "late" else 0)))
    made = song(*line("Guitar 1", first), *line("Guitar 2", second), parts=["Guitar 1", "Guitar 2"])
    attacks = [{onset: pitch for pitch, onset in tune} for tune in (first, second)]
    expected = []
    for octaves in range(-2, 3):
        shared = [
            onset
            for onset in attacks[0]
            if onset in attacks[1] and attacks[0][onset] - attacks[1][onset] == 12 * octaves
        ]
        runs: list[list[float]] = []
        for onset in shared:
            strays = [
                sum(runs[-1][-1] < other < onset for other in own) if runs else 0 for own in attacks
            ]
            if runs and max(strays) <= 1 and onset - (runs[-1][-1] + 0.5) <= 4:
                runs[-1].append(onset)
            else:
                runs.append([onset])
        for run in runs:
            moves = sum(attacks[0][a] != attacks[0][b] for a, b in pairwise(run))
            if len(run) >= 4 and moves >= 3:
                expected.append((run[0], run[-1] + 0.5 - run[0], len(run)))
    reported = [row[2:] for row in found(made, "doubling", doubling=4)]
    assert rounded(reported) == rounded(expected)


# ---------------------------------------------------------------- all kinds


def busy_song() -> Song:
    """Return a song with every kind once: guitars in one place, a rub, a muddy third, a crossing, a
    double.
    """
    rows = [("Guitar 1", "C5", 0, 8), ("Guitar 2", "B4", 0, 8), ("Bass", "G1 B1", 8, 2)]
    rows += [("Guitar 1", "C4 E4", 8, 4), ("Guitar 1", "E4", 12, 4), ("Guitar 2", "C4 G4", 8, 8)]
    rows += line("Guitar 1", [(pitch + 12, onset + 16) for pitch, onset in TUNE])
    rows += line("Guitar 2", [(pitch, onset + 16) for pitch, onset in TUNE])
    return song(*rows, sections=(("Verse", 1), ("Chorus", 3), ("Tag", 5)))


LOOSE = Limits(rub=0.01, mud=0.01, crowding=0.1, crowding_seconds=0.1, crossing=0.1, doubling=4)


def places(made: Song, kinds=None) -> Counter:
    """Return what is found where and between which parts, whatever the order of names."""
    table = find_clashes(made, kinds, LOOSE)
    return Counter(
        (row.kind, frozenset(row.parts.split(" + ")), row.onset, row.duration, round(row.value, 9))
        for row in table.itertuples()
    )


def test_the_table_of_findings():
    """Rows are sorted by severity, then by time; every source stands in the bibliography; severity
    is between 0 and 1; every value has reached its limit, every finding lies in the song.
    """
    made = busy_song()
    table = find_clashes(made, KINDS, LOOSE)
    assert set(table["kind"]) == set(KINDS)
    assert set(table["source"]) <= set(SOURCES)
    assert table["severity"].between(0, 1).all()
    assert (table["value"] >= table["limit"]).all()
    assert table["waived"].isna().all()
    order = list(zip(-table["severity"], table["onset"], strict=True))
    assert order == sorted(order)
    assert table["why"].str.endswith(".").all()
    starts = made.measures.set_index("measure")["onset"]
    assert (table["onset"] - starts[table["measure"]].to_numpy() == table["beat"] - 1).all()
    for kind in KINDS:
        assert set(find_clashes(made, [kind], LOOSE)["kind"]) == {kind}
        assert len(find_clashes(made, [kind], LOOSE)) == (table["kind"] == kind).sum()


def test_every_kind_has_its_own_source():
    """Each kind names its source by a key of the bibliography."""
    table = find_clashes(busy_song(), KINDS, LOOSE)
    assert dict(zip(table["kind"], table["source"], strict=True)) == {
        "rub": "minor-ninth rule",
        "mud": "low interval limits",
        "crowding": "overlap coefficient",
        "crossing": "part-crossing",
        "doubling": "doubling",
    }


def test_an_unknown_kind_is_reported_with_all_known_ones():
    """The message lists every kind."""
    with pytest.raises(
        ArrangeError,
        match="no finding is of kind 'rubs'; there are rub, mud, roughness, crowding, masking, ",
    ):
        find_clashes(busy_song(), ["mud", "rubs"])


@pytest.mark.parametrize("kind", KINDS)
def test_severity_rises_with_the_value(kind):
    """A clash that lasts longer or has more notes is more severe, and none exceeds 1."""
    pairs = []
    for length in (2, 3, 4, 8, 16, 64):
        tune = [(60 + 2 * (step % 3), step / 2) for step in range(2 * length)]
        rows = {
            "rub": [("Guitar 1", "C4", 0, length), ("Guitar 2", "Db4", 0, length)],
            "mud": [("Guitar 1", "C2 D2", 0, length)],
            "crowding": [("Guitar 1", "C4", 0, 64), ("Guitar 2", "C4", 0, length),
                         ("Guitar 2", "C5", length, 65 - length)],
            "crossing": [("Guitar 1", "C5", 0, 99), ("Guitar 1", "C4", 99, length),
                         ("Guitar 2", "E4", 0, 99 + length)],
            "doubling": line("Guitar 1", tune) + line("Guitar 2", tune),
        }[kind]  # fmt: skip
        table = find_clashes(song(*rows), [kind], LOOSE)
        assert len(table) == (length >= 8 or kind != "crowding")
        pairs += zip(table["value"], table["severity"], strict=True)
    assert pairs == sorted(pairs)
    assert len({value for value, _ in pairs}) == len(pairs) > 1
    assert all(0 <= severity <= 1 for _, severity in pairs)


@pytest.mark.parametrize("kind", ["rub", "mud", "crossing"])
def test_severity_is_of_the_value_whatever_the_limit(kind):
    """Well-made music is as it is: a smaller limit reports more, and makes nothing more severe."""
    table = find_clashes(busy_song(), [kind], LOOSE)
    value = float(table["value"].max())
    for ratio in (1, 2, 4):
        again = find_clashes(busy_song(), [kind], Limits(**{kind: value / ratio}))
        assert again["severity"].iloc[0] == table["severity"].iloc[0]


@given(ROWS)
@FEWER
def test_an_octave_higher_or_lower(rows):
    """Crowding, crossing and doubling compare parts with each other, so that moving all by an
    octave changes nothing; rubs stay where they are; mud increases downward and decreases upward.
    """
    made = song(*rows, bars=10)
    low, high = (
        dataclasses.replace(made, notes=made.notes.assign(pitch=made.notes["pitch"] + octave))
        for octave in (-12, 12)
    )
    kinds = ["crowding", "crossing", "doubling"]
    assert places(low, kinds) == places(made, kinds) == places(high, kinds)
    rubs = [{row[:4] for row in places(each, ["rub"])} for each in (low, made, high)]
    assert rubs[0] == rubs[1] == rubs[2]
    assert places(high, ["mud"]).total() <= places(made, ["mud"]).total()
    assert places(made, ["mud"]).total() <= places(low, ["mud"]).total()


@given(ROWS, st.randoms(use_true_random=False))
@FEWER
def test_the_order_of_parts_and_notes_does_not_matter(rows, random):
    """The same is found between the same parts, whatever their order on the page."""
    made = song(*rows, bars=10)
    shuffled = rows.copy()
    random.shuffle(shuffled)
    other = song(*shuffled, bars=10)
    parts = list(range(len(other.parts)))
    random.shuffle(parts)
    other = dataclasses.replace(other, parts=other.parts.iloc[parts].reset_index(drop=True))
    assert places(made) == places(other)


@given(ROWS, st.lists(st.integers(0, 59).map(lambda eighths: eighths / 2)))
@FEWER
def test_a_note_held_is_a_note_tied(rows, cuts):
    """A note written as two, where the second begins when the first ends, sounds as long: the same
    is found, except for doubling, which counts attacks.
    """
    pieces = []
    for part, pitch, onset, duration in rows:
        lines = sorted(
            {onset, onset + duration, *(c for c in cuts if onset < c < onset + duration)}
        )
        pieces += [(part, pitch, start, end - start) for start, end in pairwise(lines)]
    kinds = ["rub", "mud", "crowding", "crossing"]
    assert places(song(*rows, bars=10), kinds) == places(song(*pieces, bars=10), kinds)


@given(ROWS)
@FEWER
def test_two_voices_of_a_part_on_one_note(rows):
    """A note that two voices of one part hold at one time sounds once: nothing weighs more."""
    twice = [*rows, *((part, pitch, onset, duration) for part, pitch, onset, duration in rows)]
    assert places(song(*rows, bars=10)) == places(song(*twice, bars=10))


def test_nothing_to_find():
    """Without notes, with one part, or with parts that only take turns, the table is empty but has
    all its columns.
    """
    for made in (song(), song(("Guitar 1", "C4", 0, 4)), song(("Drums", "C4", 0, 0))):
        table = find_clashes(made)
        assert table.empty
        assert table.columns.tolist() == find_clashes(busy_song()).columns.tolist()


def test_runs_of_many_groups():
    """Two events of each of a hundred thousand groups, exactly the allowed gap apart, are one run
    for each group, though thirds of a quarter have no exact sum; with a thousandth more they are
    two.
    """
    groups = np.repeat(np.arange(100_000), 2)
    onset = np.tile([1000 / 3, 1000 / 3 + 2], 100_000)
    order, starts = runs((groups,), onset, onset + 1, np.ones(len(onset)))
    assert len(starts) == 100_000
    assert (groups[order] == groups).all()
    _, starts = runs((groups,), onset, onset + 0.999, np.ones(len(onset)))
    assert len(starts) == 200_000
