"""What a hand can hold: compared with a slow twin, published spans, and what players do."""

import numpy as np
import pytest
import slow_hands

from arrange.errors import ArrangeError
from arrange.guitar.calibration import calibrate_hand
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import THUMB, Hand, hold_shapes
from arrange.guitar.necks import LEFT_OUT, TUNINGS, Neck, format_shape, parse_shape

HANDS = (
    Hand(),
    Hand(thumb=True),
    Hand(60, 75, 90),
    Hand(fingers=3),
    Hand(100, 130, 180, thumb=True),
    Hand(40, 50, 60, fingers=2),
)


def some_shapes(random, neck, count):
    """Return shapes within four frets, with open strings and unused strings."""
    base = random.integers(neck.capo, 17, count)[:, None]
    shapes = base + random.integers(0, 4, (count, neck.strings))
    kind = random.random(shapes.shape)
    return np.where(kind < 0.25, LEFT_OUT, np.where(kind < 0.4, neck.capo, shapes))


@pytest.mark.sampled
@pytest.mark.parametrize("hand", HANDS)
def test_the_slow_twin_agrees(hand):
    """A shape is playable if some way to share strings among fingers is; its cost is the least for
    four fingers.
    """
    random = np.random.default_rng(7)
    seen = set()
    for tuning in TUNINGS.values():
        neck = Neck(tuning, capo=int(random.integers(0, 4)))
        shapes = some_shapes(random, neck, 40)
        grips = hold_shapes(shapes, neck, hand)
        for row, shape in enumerate(map(tuple, shapes.tolist())):
            playable = slow_hands.can_hold(shape, neck, hand)
            assert grips.playable[row] == playable, format_shape(shape)
            seen.add(playable)
            if playable:
                cost = slow_hands.cost(shape, neck, hand)
                assert grips.cost_mm[row] == pytest.approx(cost, abs=1e-6), format_shape(shape)
    assert seen == {True, False}


def test_fingers_are_a_hand():
    """Each string has one note; there are at most four fingers; a finger on several strings is a
    barre on one fret, with nothing nearer to the nut under it; fingers stand in order along the
    neck.
    """
    random = np.random.default_rng(11)
    neck = Neck()
    shapes = some_shapes(random, neck, 4000)
    grips = hold_shapes(shapes, neck, Hand())
    for shape, fingers in zip(
        shapes[grips.playable].tolist(), grips.fingers[grips.playable].tolist(), strict=True
    ):
        assert [f > 0 for f in fingers] == [fret > 0 for fret in shape]
        used = sorted(set(fingers) - {0})
        assert len(used) <= 4
        for finger in used:
            own = [s for s, other in enumerate(fingers) if other == finger]
            assert slow_hands.may_lie(shape, own)
        frets = [max(shape[s] for s in range(6) if fingers[s] == finger) for finger in used]
        assert frets == sorted(frets)


@pytest.mark.parametrize(
    ("low", "high", "short_mm", "long_mm"),
    [
        (1, 4, 94.4, 97.3),
        (1, 5, 122.4, 126.1),
        (3, 6, 84.1, 86.7),
        (5, 8, 74.9, 77.2),
        (5, 9, 97.2, 100.1),
        (7, 10, 66.8, 68.8),
        (7, 11, 86.6, 89.2),
        (9, 13, 77.1, 79.5),
        (12, 15, 50.0, 51.5),
        (12, 17, 78.8, 81.2),
    ],
)
def test_spans_on_two_scales(low, high, short_mm, long_mm):
    """Fletcher and Rossing's formula (chapter 9, from memory), worked out to 0.1 mm."""
    wide = Hand(100, 120, 200)
    for scale, expected in ((628.65, short_mm), (647.7, long_mm)):
        grip = hold_shape((high, low, *[LEFT_OUT] * 4), Neck(scale_mm=scale), wide)
        assert grip.span_mm == pytest.approx(expected, abs=0.06)


def test_cost_never_falls_when_a_stretch_grows():
    """If a finger moves farther from the other, the shape costs more or becomes impossible."""
    neck = Neck()
    for low in range(1, 16):
        shapes = [(low, LEFT_OUT, LEFT_OUT, fret, 0, 0) for fret in range(low + 1, 22)]
        grips = hold_shapes(np.array(shapes), neck, Hand())
        costs = np.where(grips.playable, grips.cost_mm, np.inf)
        assert (costs[1:] >= costs[:-1]).all()
        assert costs[0] < np.inf


@pytest.mark.parametrize(
    ("spacing", "dearer"), [({"nut_spacing_mm": 8.0, "bridge_spacing_mm": 8.0}, 1.0), ({}, 1.1)]
)
def test_a_capo_moves_shapes_where_they_are_shorter(spacing, dearer):
    """The same pattern above a capo at c has 2^(-c/12) of the span and never costs more, where
    strings are as far apart all along; as they spread it costs a tenth more at most."""
    random = np.random.default_rng(5)
    shapes = some_shapes(random, Neck(), 2000)
    plain = hold_shapes(shapes, Neck(frets=24, **spacing), Hand())
    both = plain.playable
    for capo in (1, 3, 5):
        moved = np.where(shapes == LEFT_OUT, LEFT_OUT, shapes + capo)
        above = hold_shapes(moved, Neck(frets=24, capo=capo, **spacing), Hand())
        assert above.span_mm == pytest.approx(plain.span_mm * 2 ** (-capo / 12))
        assert above.playable[both].all()
        assert (above.cost_mm[both] <= dearer * plain.cost_mm[both] + 1e-9).all()


@pytest.mark.parametrize(
    ("text", "fingering"),
    [
        ("x32010", "-32-1-"),
        ("022100", "-231--"),
        ("320003", "21---3"),
        ("320001", "32---1"),
        ("x02210", "--231-"),
        ("xx0232", "---132"),
        ("xx0231", "---231"),
        ("xx0212", "---213"),
        ("x21202", "-213-4"),
        ("133211", "134211"),
        ("577655", "134211"),
        ("x24432", "-13421"),
        ("x35553", "-13331"),
        ("xx3211", "--3211"),
        ("133xxx", "134---"),
        ("x46x6x", "-13-4-"),
    ],
)
def test_the_fingers_that_players_use(text, fingering):
    """Open chords, barres, a power chord, octaves as players finger them (common practice)."""
    grip = hold_shape(parse_shape(text, Neck()), Neck())
    assert (grip.fingering, grip.playable) == (fingering, True)
    assert grip.verdict == "comfortable"


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1-2-3-4-5-6", "takes 6 fingers"),
        ("1-x-x-x-x-9", "a reach of"),
        ("1-5-x-x-x-x", "a reach of"),
        ("4-3-0-4-3-5", "takes 5 fingers"),
    ],
)
def test_what_no_hand_holds(text, why):
    """An impossible shape is refused, with the reason and a remedy."""
    grip = hold_shape(parse_shape(text, Neck()), Neck())
    assert (grip.playable, grip.verdict) == (False, "refused")
    assert why in grip.why_not
    assert "leave out" in grip.why_not


def test_a_thumb_takes_the_lowest_string():
    """F with the thumb over the neck instead of a barre (common practice)."""
    neck = Neck()
    shape = parse_shape("1x3210", neck)
    with_thumb = hold_shapes(np.array([shape]), neck, Hand(thumb=True))
    assert with_thumb.playable[0]
    far = parse_shape("1-x-x-5-x-7", neck)
    assert not hold_shape(far, neck, Hand(thumb=True)).playable
    two = parse_shape("2x0232", neck)
    assert not hold_shape(two, neck, Hand(fingers=2)).playable
    assert hold_shape(two, neck, Hand(fingers=2, thumb=True)).fingers[-1] == THUMB


def test_a_hand_is_calibrated_by_three_reaches():
    """1-4 is 97.3 mm, 3-7 112.4 mm, 1-5 126.1 mm on a long scale; limits lie at or between."""
    neck = Neck()
    hand = calibrate_hand({(1, 4): "comfortable", (3, 7): "stretch", (1, 5): "refuse"}, neck)
    assert hand.comfortable_mm == pytest.approx(97.3, abs=0.1)
    assert hand.stretch_mm == pytest.approx(112.4, abs=0.1)
    assert 112.4 < hand.refuse_mm < 126.1
    small = calibrate_hand({(1, 4): "refuse"}, neck)
    assert small.refuse_mm < 97.3
    assert not hold_shape(parse_shape("x-x-x-x-1-4", neck), neck, small).playable


@pytest.mark.parametrize(
    ("tried", "message"),
    [
        ({}, "no reach was tried"),
        ({(1, 4): "ouch"}, "say one of comfortable, stretch, refuse"),
        ({(1, 4): "stretch", (1, 5): "comfortable"}, "try both once more"),
        ({(1, 30): "stretch"}, "fret 30"),
    ],
)
def test_what_cannot_be_calibrated(tried, message):
    """The error names the answer that is wrong, and what to try."""
    with pytest.raises(ArrangeError, match=message):
        calibrate_hand(tried, Neck())


def test_hands_that_cannot_be():
    """Limits must rise, and a hand has one to four fingers."""
    with pytest.raises(ArrangeError, match="must rise"):
        Hand(100, 90, 120)
    with pytest.raises(ArrangeError, match="0 fingers"):
        Hand(fingers=0)
