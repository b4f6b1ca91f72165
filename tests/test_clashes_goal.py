"""Two parts that are meant to blend get other findings than two that are meant to be apart.

D. Huron, Tone and Voice, Music Perception 19 (2001): unisons, octaves and a common register fuse
two lines into one. They should be avoided where the lines should be distinct, and are wanted where
they should blend.
"""

import pytest
from songs import song

from arrange.clashes import Limits, find_clashes
from arrange.errors import ArrangeError

BLEND = Limits(goal="blend")
TUNE = [(60, 0), (62, 0.5), (64, 1), (65, 2), (67, 2.5), (64, 3), (62, 4), (60, 5)]
LATE = [*TUNE[:3], (65, 2.25), *TUNE[4:]]


def line(part, tune):
    return [(part, pitch, onset, 0.5) for pitch, onset in tune]


def kinds(made, limits=BLEND):
    return set(find_clashes(made, limits=limits)["kind"])


def test_one_register_and_crossing_are_wanted_in_a_blend():
    """Two guitars play the same notes for eight seconds, and the upper one lies below for four."""
    rows = [
        ("Guitar 1", 67, 0, 8), ("Guitar 1", 60, 8, 4), ("Guitar 1", 64, 12, 4),
        ("Guitar 2", 60, 0, 8), ("Guitar 2", 64, 8, 4), ("Guitar 2", 67, 12, 0.5),
    ]  # fmt: skip
    apart = kinds(song(*rows), Limits(crowding=0.05))
    assert {"crowding", "crossing"} <= apart
    assert not {"crowding", "crossing"} & kinds(song(*rows), Limits(crowding=0.05, goal="blend"))


def test_fusing_is_wanted_in_a_blend():
    """Two guitars that alternate note by note, a tone apart, are heard as one stream."""
    one = [("Guitar 1", 60, beat / 4, 0.25) for beat in range(0, 32, 2)]
    other = [("Guitar 2", 62, beat / 4, 0.25) for beat in range(1, 32, 2)]
    made = song(*one, *other)
    assert "fusing" in kinds(made, Limits())
    assert "fusing" not in kinds(made)


def test_a_doubling_must_be_exact_in_a_blend():
    """An exact doubling is wanted; a slip in it weighs twice as much as otherwise."""
    exact = song(*line("Guitar 1", TUNE), *line("Guitar 2", TUNE))
    assert "doubling" in kinds(exact, Limits())
    assert "doubling" not in kinds(exact)
    slip = song(*line("Guitar 1", TUNE), *line("Guitar 2", LATE))
    apart, blend = (
        find_clashes(slip, ["doubling"], limits)["severity"].iloc[0] for limits in (Limits(), BLEND)
    )
    assert blend == pytest.approx(2 * apart)


def test_only_parts_of_one_family_blend():
    """A guitar that doubles the voice is judged as before."""
    made = song(*line("Voice", TUNE), *line("Guitar 1", TUNE))
    assert "doubling" in kinds(made)


def test_there_are_two_goals():
    with pytest.raises(ArrangeError, match="goal='wide': it is one of 'separate', 'blend'"):
        Limits(goal="wide")
