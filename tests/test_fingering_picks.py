"""The picking hand: what a pick strikes at once, where fingers are needed, and who says so."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from songs import parts_of, song
from test_fingering import line, with_places
from test_fingering_idioms import frets_of, idioms
from test_fingering_shapes import shapes

from arrange.condensing import condense
from arrange.condensing.held_together import can_hold
from arrange.errors import ArrangeError
from arrange.formats.reading import read
from arrange.guitar.fingering import finger_part
from arrange.guitar.fingering.ways import Task, find_ways
from arrange.guitar.hands import Hand
from arrange.guitar.necks import STANDARD_TUNINGS, Neck
from arrange.guitar.picking import usual_picks
from arrange.guitar.players import Player, read_player

DATASETS = Path(__file__).parent.parent / "datasets"
MANY_LAYERS = ("low-water.txt", "tarrow-weir.txt", "last-bell.musicxml", "barn-lights.txt",
               "kiln-yard.txt")  # fmt: skip
OPEN = STANDARD_TUNINGS["guitar"]


def in_shape(shape, **parts):
    """A guitar that strikes one shape, each note on the string that it is written on."""
    frets = frets_of(shape)
    rows = [("Guitar", OPEN[string - 1] + fret, 0, 2) for string, fret in frets.items()]
    return with_places(song(*rows, parts=parts_of("Guitar", **parts)), list(frets.items()))


def pick_problems(fingered):
    """What the pick cannot do."""
    return [problem for problem in fingered["problem"].dropna() if " the pick " in problem]


STRUCK = {  # shape, from string 6: whether a pick can strike it
    "a chord over all strings": ("320003", True),
    "octaves, the first finger over the string between": ("3x5xxx", True),
    "octaves on strings 3 and 1": ("xxx5x8", True),
    "a sixth over an open string": ("xx0x3x", True),
    "octaves over two strings, each under a fingertip": ("x7xx5x", True),
    "a tenth": ("3xx4xx", True),
    "open strings, a free finger over the two between": ("0xx0xx", True),
    "a seventh chord without fifth, four fingers": ("3x343x", True),
    "a bass and a tune over three strings": ("3xxx3x", False),
    "a pinch of the outer strings": ("0xxxx0", False),
    "a pinch of the outer strings, fretted": ("3xxxx3", False),
}  # fmt: skip


@pytest.mark.parametrize(("shape", "can"), STRUCK.values(), ids=STRUCK)
def test_what_a_pick_strikes_at_once(shape, can):
    """Neighbouring strings, or with one or two silent ones between (common practice)."""
    assert (not pick_problems(finger_part(in_shape(shape), "Guitar"))) == can
    assert not pick_problems(finger_part(in_shape(shape), "Guitar", picks="fingers"))


def test_a_free_finger_is_needed_where_nothing_else_lies():
    """Between open strings a finger has to lie; where all four are busy, none is left."""
    held = ((3, 2), (2, 3), (1, 2))
    task = Task(tuple((place,) for place in ((6, 0), (4, 0), *held)))
    for fingers, can in ((4, True), (3, True), (2, False)):
        ways = find_ways([task], Neck(), Hand(fingers=fingers))[0]
        assert bool(ways.one_stroke.any()) == can


def test_every_listed_chord_shape_can_be_struck_with_a_pick():
    """But for the one that no hand holds, of npm's @tombatossals/chords-db 0.5.1."""
    tasks = [Task(tuple((place,) for place in sorted(one.items()))) for one in shapes().values()]
    found = find_ways(tasks, Neck(), Hand())
    unheld = [name for name, ways in zip(shapes(), found, strict=True) if not len(ways)]
    assert unheld == ["C minor"]
    assert all(ways.one_stroke.any() for ways in found if len(ways))


def test_no_idiom_needs_the_fingers():
    """All shapes of the table can be struck with a pick."""
    played = [(family, name, shape) for family, name, _, all_of in idioms() for shape in all_of]
    tasks = [Task(tuple((place,) for place in sorted(shape.items()))) for *_, shape in played]
    for (family, name, _), ways in zip(played, find_ways(tasks, Neck(), Hand()), strict=True):
        assert ways.one_stroke.any(), (family, name)


def test_what_a_pick_cannot_do_is_reported_with_its_place():
    """The measure, the beat, the strings, and two ways out; the note keeps its place."""
    pinch = with_places(
        song(("Guitar", "E4", 4, 1), ("Guitar", "G2", 6, 1), ("Guitar", "B3", 6, 1)),
        [(1, 0), (6, 3), (2, 0)],
    )
    fingered = finger_part(pinch, "Guitar")
    assert pick_problems(fingered) == [
        "measure 2: at beat 3 the pick would have to skip strings 3, 4 and 5; with fingers it can "
        "be played, or leave out G2"
    ]
    bass = fingered[fingered["pitch"] == 43]
    assert bass[["string", "fret"]].to_numpy().tolist() == [[6, 3]]
    assert bass["finger"].isna().all()
    by_fingers = finger_part(pinch, "Guitar", picks="fingers")
    assert by_fingers["problem"].isna().all()
    assert by_fingers["finger"].notna().all()


def test_an_inner_note_is_left_out_before_the_tune_and_the_bass():
    """Where either the bass or the rest would have to go, the fewest go."""
    (problem,) = set(pick_problems(finger_part(in_shape("0xxx00"), "Guitar")))
    assert problem.endswith("leave out E2")
    (problem,) = set(pick_problems(finger_part(in_shape("02xxx0"), "Guitar")))
    assert problem.endswith("leave out E4")


def test_a_string_that_rings_is_not_passed():
    """It would be struck anew; notes that ring on outside the stroke do not matter."""
    inside = with_places(
        song(("Guitar", "G3", 0, 4), ("Guitar", "D3", 1, 1), ("Guitar", "D4", 1, 1)),
        [(3, 0), (4, 0), (2, 3)],
    )
    (problem,) = pick_problems(finger_part(inside, "Guitar"))
    assert "at beat 2 the pick would have to strike string 3 anew, which rings on" in problem
    outside = with_places(inside, [(3, 0), (5, 5), (4, 12)])
    assert not pick_problems(finger_part(outside, "Guitar"))


def test_strings_are_chosen_so_that_a_pick_can_strike_them():
    """C and the G a twelfth above: in third position by fingers, closer together by a pick."""
    twelfth = line("C3,G4")
    by_fingers = finger_part(twelfth, "Guitar", picks="fingers")
    assert by_fingers["string"].tolist() == [1, 5]
    by_pick = finger_part(twelfth, "Guitar", picks="pick")
    assert by_pick["problem"].isna().all()
    high, low = by_pick["string"].tolist()
    assert low - high <= 3


def test_a_pulse_under_the_palm_and_a_line_far_above_take_fingers():
    """At the attacks that they share; the pulse alone and the line alone do not."""
    both = line("E2 E2,G4 E2 E2,E3")
    palm = ["palm mute" if pitch == 40 else None for pitch in both.notes["pitch"]]
    both = replace(both, notes=both.notes.assign(technique=palm))
    (problem,) = pick_problems(finger_part(both, "Guitar"))
    assert "at beat 1.5 the pick would have to strike E2 under the palm and G4, far" in problem
    assert finger_part(both, "Guitar", picks="fingers")["problem"].isna().all()


@pytest.mark.parametrize(
    ("instrument", "program", "picks"),
    [
        ("electric guitar", None, "pick"),
        ("Acoustic guitar", 26, "pick"),
        ("Guitar 1", None, "pick"),
        ("Classical Guitar", None, "fingers"),
        ("Guitar", 25, "fingers"),
        ("Lute", None, "fingers"),
    ],
)
def test_who_plays_with_what(instrument, program, picks):
    """Guitars with a pick, classical ones with the fingers (common practice)."""
    assert usual_picks(instrument, "guitar", program) == picks
    pinch = in_shape("3xxx3x", instrument=instrument, program=program)
    assert bool(pick_problems(finger_part(pinch, "Guitar"))) == (picks == "pick")


def test_a_player_says_it():
    """By a word in their line, or by their instrument."""
    assert read_player("Ann").picks == "pick"
    assert read_player("Ann: acoustic; fingers").picks == "fingers"
    assert read_player("Ann: classical").picks == "fingers"
    assert read_player("Ann: pick; classical").picks == "pick"
    with pytest.raises(ArrangeError, match=r"Ann plays with 'toes'; write one of pick or fingers"):
        Player("Ann", picks="toes")
    with pytest.raises(ArrangeError, match="did you mean 'fingers'"):
        read_player("Ann: finger")
    with pytest.raises(ArrangeError, match=r"picks='toes'; it is one of 'pick', 'fingers'"):
        finger_part(line("E2"), "Guitar", picks="toes")


@pytest.mark.sampled
@pytest.mark.parametrize("name", MANY_LAYERS)
def test_the_demo_songs_are_played_with_a_pick(name):
    """No layer of any of them asks for fingers: octaves, barres and open chords leave one string
    out, beside a finger."""
    whole = read(DATASETS / name)
    guitars = whole.parts.loc[whole.parts["family"] == "guitar", "part"]
    assert [p for part in guitars for p in pick_problems(finger_part(whole, part))] == []


def test_what_two_players_take_can_be_picked(request):
    """Their parts are fingered with nothing that the pick cannot do."""
    two = request.getfixturevalue("layers").song
    for part in ("Ann", "Ben"):
        assert pick_problems(finger_part(two, part, picks="pick")) == []


def test_what_is_refused_at_first_sight_cannot_be_picked():
    """The quick answer for many merges never refuses what a pick can strike; it refuses some."""
    draw = np.random.default_rng(3)
    sets = np.zeros((400, 129), dtype=bool)
    for row in sets:
        row[draw.integers(40, 80, size=draw.integers(2, 5))] = True
    neck, hand = Neck(), Hand()
    tasks = [Task(tuple(tuple(neck.places(float(p))) for p in np.flatnonzero(row))) for row in sets]
    can = np.array([bool(ways.one_stroke.any()) for ways in find_ways(tasks, neck, hand)])
    quick, held = can_hold(sets, neck, hand, picked=True), can_hold(sets, neck, hand)
    assert not (can & ~quick).any()
    assert 0 < quick.sum() < held.sum()


def layers(**onsets_and_pitches):
    """Layers of four bars; what is called a pulse is muted with the palm."""
    rows = [
        (name, pitch, onset, length)
        for name, (length, pitches) in onsets_and_pitches.items()
        for number, onset in enumerate(np.arange(0, 16, length))
        for pitch in pitches[number % len(pitches)].split(",")
    ]
    made = song(*sorted(rows, key=lambda row: row[2]), bars=4, parts=parts_of(*onsets_and_pitches))
    palm = ["palm mute" if part == "Pulse" else None for part in made.notes["part"]]
    return replace(made, notes=made.notes.assign(technique=palm))


PULSE, LINE = (0.5, ["E2"]), (1, ["G4", "A4", "B4", "A4"])


def test_a_player_with_a_pick_does_not_get_a_pulse_and_a_line():
    """One with fingers does, and what is lost says that it is the pick."""
    both = layers(Pulse=PULSE, Line=LINE)
    by_pick = condense(both, [Player("Ann")])
    assert by_pick.choices["layers"].tolist() == [("Line",)]
    assert by_pick.lost["why"].str.contains("a pick could not strike it").all()
    by_fingers = condense(both, [Player("Ann", picks="fingers")])
    assert sorted(by_fingers.choices["layers"].iloc[0]) == ["Line", "Pulse"]
    assert len(by_fingers.lost) == 0
    with pytest.raises(ArrangeError, match=r"'Ann' is pinned to .* which a pick cannot strike"):
        condense(both, [Player("Ann")], pins=[("Ann", "Song", ("Pulse", "Line"))])


def test_of_two_players_the_one_with_fingers_may_take_both():
    """The other one may not."""
    three = layers(Pulse=PULSE, Line=LINE, Chords=(4, ["G3,B3,E4"]))
    people = [Player("Ann"), Player("Ben", picks="fingers")]
    found = condense(three, people, pins=[("Ben", "Song", ("Pulse", "Line"))])
    assert len(found.lost) == 0
    with pytest.raises(ArrangeError, match=r"'Ann' is pinned to .* which a pick cannot strike"):
        condense(three, people, pins=[("Ann", "Song", ("Pulse", "Line"))])


def test_a_layer_that_nobody_can_pick_is_thinned():
    """A pinched layer loses the notes that the reason names; for fingers it is whole."""
    pinched = layers(Pinch=(1, ["E2,G5"]))
    by_fingers = condense(pinched, [Player("Ann", picks="fingers")])
    assert len(by_fingers.song.notes) == 32
    by_pick = condense(pinched, [Player("Ann")])
    assert by_pick.song.notes["pitch"].tolist() == [79.0] * 16
    assert by_pick.lost["what"].tolist() == ["16 notes that no player's neck and hand allow"]
    assert "the pick would have to skip" in by_pick.lost["why"].iloc[0]
