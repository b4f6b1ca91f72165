"""Voicings: complete within their limits, named as the trade names them, refused with a reason."""

import itertools

import numpy as np
import pytest
import slow_hands

from arrange.errors import ArrangeError, ChordError
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, TUNINGS, Neck, parse_shape
from arrange.guitar.voicings import Tones, find_voicings
from arrange.theory.chord_members import members_of
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.pitch import parse_pitch_class

WIDE = Hand(110, 150, 200)

# Frets low string first, standard tuning, root position first: the definitions of close, drop 2
# and drop 3 (Lowell and Pullig, Arranging for Large Jazz Ensemble; Pease and Pullig, Modern Jazz
# Voicings, both from memory) worked out on the strings.
TABLE = [
    ("Cmaj7", "drop 2", (4, 3, 2, 1), "10 12 12 12", "2 4 1 3", "5 5 5 7", "9 9 8 8"),
    ("Cmaj7", "drop 2", (5, 4, 3, 2), "3 5 4 5", "7 9 5 8", "10 10 9 12", "2 2 0 1"),
    ("Cmaj7", "drop 3", (6, 4, 3, 2), "8 9 9 8", "12 10 12 12", "3 2 4 1", "7 5 5 5"),
    ("C7", "drop 2", (4, 3, 2, 1), "10 12 11 12", "2 3 1 3", "5 5 5 6", "8 9 8 8"),
    ("Cm7", "drop 2", (4, 3, 2, 1), "10 12 11 11", "1 3 1 3", "5 5 4 6", "8 8 8 8"),
    ("Cm7b5", "drop 2", (4, 3, 2, 1), "10 11 11 11", "1 3 1 2", "4 5 4 6", "8 8 7 8"),
    ("C", "close triad", (3, 2, 1), "5 5 3", "9 8 8", "0 1 0"),
    ("C", "close triad", (4, 3, 2), "10 9 8", "2 0 1", "5 5 5"),
    ("C", "close triad", (5, 4, 3), "3 2 0", "7 5 5", "10 10 9"),
    ("C", "close triad", (6, 5, 4), "8 7 5", "12 10 10", "3 3 2"),
    ("C", "spread triad", (5, 3, 2), "3 0 5", "7 5 8", "10 9 13"),
]
INVERSIONS = ("root position", "first inversion", "second inversion", "third inversion")


def rises(frets):
    """Return whether each string sounds above the next lower one."""
    pitches = [o + f for o, f in zip(Neck().tuning, frets, strict=True) if f != LEFT_OUT]
    return pitches == sorted(pitches, reverse=True)


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]} {row[1]} {row[2]}")
def test_the_table_of_drop_voicings(row):
    """Each entry is found on its strings with its name and inversion, and is the only one of
    that name there below fret 12, or has its octave above."""
    chord, word, strings, *entries = row
    found = find_voicings(chord, Neck(frets=24), WIDE, strings=strings)
    assert set(found["strings"]) == {"-".join(map(str, strings))}
    for number, frets in enumerate(entries):
        shape = [LEFT_OUT] * 6
        for string, fret in zip(strings, frets.split(), strict=True):
            shape[string - 1] = int(fret)
        own = found[found["frets"] == tuple(shape)]
        assert len(own) == 1, frets
        assert own["inversion"].item() == number
        name = own["name"].item()
        assert name.startswith(word)
        assert INVERSIONS[number] in name
        rising = [f for f in found[found["name"] == name]["frets"] if rises(f)]
        if word != "spread triad":  # others are wider still
            moves = [{a - b for a, b in zip(other, shape, strict=True)} for other in rising]
            assert all(move <= {0, 12, -12} for move in moves)


def brute_force(chord, neck, hand, *, silent=(), need=None):
    """Try every combination of frets on all strings; keep those with the right notes that can be
    held.
    """
    chord = parse_chord(chord)
    root = parse_pitch_class(chord.root)
    members = {m for m, name in members_of(chord).items() if name not in silent}
    need = members if need is None else {m for m, n in members_of(chord).items() if n in need}
    found = set()
    for shape in itertools.product(
        (LEFT_OUT, *range(neck.capo, neck.frets + 1)), repeat=neck.strings
    ):
        pitches = [o + f for o, f in zip(neck.tuning, shape, strict=True) if f != LEFT_OUT]
        sounding = {(pitch - root) % 12 for pitch in pitches}
        if not pitches or not need <= sounding <= members:
            continue
        if chord.bass and min(pitches) % 12 != parse_pitch_class(chord.bass):
            continue
        if slow_hands.can_hold(shape, neck, hand):
            found.add(shape)
    return found


CASES = [
    *[(c, "standard", 4, 0, Hand()) for c in ("C", "Am7", "E7(#9)", "F", "B7", "Dsus4", "G/B")],
    *[(c, "drop d", 4, 0, Hand(thumb=True)) for c in ("D", "D/F#", "F#m", "Gadd9")],
    *[(c, "open g", 4, 0, Hand(60, 70, 80)) for c in ("G", "C/D", "G7")],
    *[(c, "baritone", 6, 2, Hand(fingers=3)) for c in ("C#m", "F#7")],
    *[(c, "bass", 12, 0, Hand(thumb=True)) for c in ("D7", "A5", "Em")],
    *[(c, "five-string bass", 8, 2, Hand(thumb=True)) for c in ("F#m7b5", "C#5")],
    *[(c, "G4 C4 E4 A4", 12, 0, Hand()) for c in ("C", "Dm7")],
    *[(c, "E2 A2 D3 G3", 14, 3, Hand(100, 140, 190, fingers=2)) for c in ("E5", "Bb")],
]


@pytest.mark.sampled
@pytest.mark.parametrize(("chord", "tuning", "frets", "capo", "hand"), CASES)
def test_nothing_is_missing_and_nothing_is_too_much(chord, tuning, frets, capo, hand):
    """Equal sets with all fret combinations, tried by the slow twin of the hand."""
    neck = Neck(tuning, frets=frets, capo=capo)
    expected = brute_force(chord, neck, hand)
    found = find_voicings(chord, neck, hand)
    assert len(expected) > 0
    assert len(found) == len(expected)
    assert set(found["frets"]) == expected


def test_limits_are_filters():
    """Each limit gives exactly those voicings that respect it."""
    everything = find_voicings("Am7", tones=Tones(keep=("1", "3", "7")))

    def those(fits):
        return {row.frets for row in everything.itertuples() if fits(row)}

    def asked(strings=None, frets=None, **limits):
        tones = Tones(keep=("1", "3", "7"), **limits)
        return set(find_voicings("Am7", strings=strings, frets=frets, tones=tones)["frets"])

    def sounding(row):
        tuning = Neck().tuning
        return [o + f for o, f in zip(tuning, row.frets, strict=True) if f != LEFT_OUT]

    assert asked(top="3") == those(lambda row: row.members.endswith(" b3"))
    assert asked(bass="b7") == those(lambda row: row.members.startswith("b7 "))
    assert asked(leave_out="5") == those(lambda row: " 5" not in f" {row.members}")
    assert asked(notes=4) == those(lambda row: len(sounding(row)) == 4)
    assert asked(strings=(5, 4, 3, 2)) == those(lambda row: row.frets[0] == row.frets[5] == -1)
    assert asked(frets=(5, 9)) == those(lambda row: set(row.frets) <= {-1, 5, 6, 7, 8, 9})
    assert asked(drones=(5,)) == those(lambda row: row.frets[4] == 0)
    assert asked(pitches=(52, 69)) == those(
        lambda row: min(sounding(row)) >= 52 and max(sounding(row)) <= 69
    )


def test_each_row_describes_the_shape():
    """Notes, strings, fingers and costs are those of the shape; the order is by cost."""
    neck = Neck("open d", capo=2)
    found = find_voicings("E7", neck)
    assert (np.diff(found["order_mm"].round(3)) >= 0).all()
    assert found["frets"].is_unique
    assert found["shape"].is_unique
    for row in found.iloc[::40].itertuples():
        assert parse_shape(row.shape, neck) == row.frets
        grip = hold_shape(row.frets, neck)
        assert (row.fingering, row.position, row.verdict) == (
            grip.fingering,
            grip.position,
            grip.verdict,
        )
        assert (row.cost_mm, row.reach_mm, row.span_mm) == pytest.approx(
            (grip.cost_mm, grip.reach_mm, grip.span_mm)
        )
        assert len(row.notes.split()) == len(row.members.split()) == row.strings.count("-") + 1
    assert found.equals(find_voicings("E7", neck))


@pytest.mark.parametrize(
    ("chord", "text", "name"),
    [
        ("C", "x32010", "full, root position, root and third doubled"),
        ("F", "133211", "full, root position, root and fifth doubled"),
        ("C5", "x355xx", "power, root position, root doubled"),
        ("G5", "355xxx", "power, root position, root doubled"),
        ("C", "xx555x", "close triad on strings 4-3-2, second inversion"),
        ("D/F#", "2x0232", "full, first inversion, root and third doubled"),
        ("Cmaj7", "x3545x", "drop 2, root position"),
        ("Cmaj7", "8x998x", "drop 3, root position"),
        ("C/D", "xx0010", "drop 2, 2 in the bass"),
        ("C", "x3x01x", None),
    ],
)
def test_names(chord, text, name):
    """Well-known shapes (common practice) under their names."""
    found = find_voicings(chord, Neck(), WIDE)
    own = found[found["shape"] == text]["name"]
    if name is None:
        assert not len(own)  # no third
    else:
        assert own.item() == name


def test_shells_octaves_and_double_drops():
    """Root, third and seventh with the root below; one member alone; drop 2 & 4 of Cmaj7, root in
    the bass: from close E G B C (voices from the top C B G E) to C's inversion E B, G C."""
    shells = find_voicings("C7", tones=Tones(("1", "3", "7"), leave_out="5", notes=3, bass="1"))
    assert set(shells["name"]) == {"shell, root position, no fifth"} or set(shells["name"]) == {
        "shell, root position"
    }
    assert "8x89xx" in set(shells["shape"])
    octaves = find_voicings("A", tones=Tones("1", leave_out=("3", "5"), notes=2))
    assert {"octaves, root", "unison, root"} == set(octaves["name"])
    assert {"5x7xxx", "x0x2xx"} & set(octaves["shape"])
    double = find_voicings("Cmaj7", Neck(), WIDE, tones=Tones(notes=4))
    double = double[double["name"].str.startswith("drop 2 & 4")]
    assert len(double) > 0
    for row in double.itertuples():
        pitches = sorted(o + f for o, f in zip(Neck().tuning, row.frets, strict=True) if f >= 0)
        raised = sorted([pitches[0] + 12, pitches[1] + 12, *pitches[2:]])
        assert raised[-1] - raised[0] < 12
        assert (raised[0], raised[2]) == (pitches[0] + 12, pitches[1] + 12)


def test_a_drone_that_is_no_member_is_named():
    """An open D under E major: allowed, and stated."""
    found = find_voicings("E", tones=Tones(drones=(4,)))
    assert set(found["name"].str.contains("D3 as a drone")) == {True}
    assert {f[3] for f in found["frets"]} == {0}
    under_capo = find_voicings("B", Neck(capo=4), tones=Tones(drones=(1,)))
    assert under_capo["name"].str.contains(", G#4 as a").all()


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ({"chord": "C13"}, r"7 members to sound .* for 6; .*keep=\('1', '3', 'b7', '9', '11', "),
        ({"chord": "N.C."}, "'N.C.' is no chord"),
        ({"chord": "C7", "strings": (3, 2, 1)}, "4 members to sound"),
        ({"chord": "C", "tones": Tones(top="7")}, "C has no 7; its members are 1, 3, 5"),
        ({"chord": "C", "tones": Tones(keep="x")}, "no member is called 'x'"),
        ({"chord": "C", "tones": Tones(leave_out="3", top="3")}, "left out and asked for"),
        ({"chord": "C", "tones": Tones(leave_out=("1", "3", "5"))}, "left to sound"),
        ({"chord": "C", "strings": (1, 7)}, "no string 7; the neck has 1 .highest. to 6"),
        ({"chord": "C", "strings": (1, 2, 3), "tones": Tones(drones=(6,))}, "string 6 is a drone"),
        ({"chord": "C", "frets": (9, 5)}, r"no fret lies in frets=\(9, 5\)"),
        ({"chord": "C", "frets": (30, 40)}, "no fret lies in"),
        ({"chord": "C", "tones": Tones(pitches=(60, 50))}, "no pitch lies in"),
        ({"chord": "C", "tones": Tones(notes=9)}, "notes=9 on 6 strings"),
        ({"chord": "C7", "strings": (4, 3, 2, 1), "frets": (5, 6), "tones": Tones(top="3")},
         "no voicing of C7 with strings=.*without top='3' there is one"),
        ({"chord": "Cmaj7", "strings": (6, 5, 4, 3), "frets": (0, 1)}, "without frets=.* there"),
    ],
)  # fmt: skip
def test_impossible_limits_are_refused(limits, message):
    """The error says what, why and what to do; the answer is never empty."""
    with pytest.raises(ArrangeError, match=message):
        find_voicings(**limits)


def test_an_unknown_chord_keeps_its_suggestion():
    """The error is that of the reader of chord symbols."""
    with pytest.raises(ChordError, match="did you mean 'Bm7'"):
        find_voicings("Hm7")


def test_the_reason_is_counted():
    """The number of voicings without the limit, as the message gives it, is right."""
    with pytest.raises(ArrangeError) as caught:
        find_voicings("Cmaj7", hand=Hand(40, 45, 50), strings=(6, 5, 4, 3), frets=(1, 9))
    text = str(caught.value)
    assert "a reach up to 50 mm" in text
    count = len(find_voicings("Cmaj7", hand=Hand(40, 45, 50), frets=(1, 9)))
    assert f"without strings=(3, 4, 5, 6) there are {count}" in text


@pytest.mark.parametrize("tuning", TUNINGS)
def test_every_tuning_has_its_chords(tuning):
    """A triad on each usual tuning; all its rows hold all members."""
    found = find_voicings("D", Neck(tuning))
    assert len(found) > 0
    assert all({"1", "3", "5"} == set(m.split()) for m in found["members"])
