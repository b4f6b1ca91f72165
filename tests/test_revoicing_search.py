"""The search for re-voicings is compared with all choices; costs with notes counted one by one."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from slow_revoicing import slow_choice, slow_pair
from songs import song

from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.scene import Scene
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.voicings import Tones, find_voicings
from arrange.hearing import partials
from arrange.hearing.roughness import critical_bandwidth, interference
from arrange.revoicing.candidates import voicing_pool
from arrange.revoicing.choosing import choose, choose_both
from arrange.revoicing.clash_costs import pair_costs
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.ideas import any_or_fewer
from arrange.revoicing.preparing import make_mover
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Prices, Taste
from arrange.revoicing.units import SILENT, part_units

PARTS = ("Guitar 1", "Guitar 2")
ROOTS = ((0, "major"), (5, "major"), (7, "dominant"), (9, "minor"), (2, "minor-seventh"))
TASTE = Taste()


def drawn_song(seed):
    """Draw three chords and two guitars with voicings and rhythms; one plays alone at times."""
    draw = np.random.default_rng(seed)
    chords = [(4.0 * bar, *ROOTS[draw.integers(len(ROOTS))], None) for bar in range(3)]
    members = {"major": (0, 4, 7), "minor": (0, 3, 7), "dominant": (0, 4, 7, 10),
               "minor-seventh": (0, 3, 7, 10)}  # fmt: skip
    rows = []
    for part in PARTS:
        for onset, root, kind, _ in chords:
            count = int(draw.integers(2, 4))
            around = [p for p in range(45, 70) if (p - root) % 12 in members[kind]]
            low = int(draw.integers(0, len(around) - count))
            begin = onset + float(draw.choice([0.0, 0.0, 1.0, 1.5]))
            for onset_ in np.arange(begin, onset + 4, float(draw.choice([1.0, 2.0]))):
                length = min(1.0, onset + 4 - onset_)
                rows += [(part, p, onset_, length) for p in around[low : low + count]]
    return song(*rows, chords=chords, parts=PARTS)


def movers_of(drawn, without):
    """Return both parts of a song."""
    stretch, harmonies = find_stretch(drawn), Harmonies(drawn)
    return [
        make_mover(harmonies, part, stretch, Scope(), None, TASTE, (other,) if without else ())
        for part, other in zip(PARTS, PARTS[::-1], strict=True)
    ]


@settings(max_examples=6, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_one_player_against_all_choices(seed):
    """Three chords, six options each: the path costs what the best of all choices costs."""
    mover = movers_of(drawn_song(seed), False)[0]
    options = mover.options(any_or_fewer, most=6)
    found = choose(mover.units, options, TASTE.prices)
    cost, rows = slow_choice(mover.units, options, TASTE.prices)
    assert found.cost == pytest.approx(cost)
    again = choose(mover.units, options, TASTE.prices)
    assert again.options.tolist() == found.options.tolist()
    if len({round(c, 6) for o in options for c in o.cost}) == sum(len(o.cost) for o in options):
        assert tuple(found.options.tolist()) == rows or found.cost == pytest.approx(cost)


@settings(max_examples=4, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.sampled_from(["above", "below", None]))
def test_two_players_against_all_choices(seed, side):
    """Three chords, three options each: 27 times 27 choices tried."""
    drawn = drawn_song(seed)
    movers = movers_of(drawn, True)
    options = [mover.options(any_or_fewer, most=2, distinct=True) for mover in movers]
    units = movers[0].units, movers[1].units
    found = choose_both(movers[0].scene, units, (options[0], options[1]), side, TASTE)
    slow = slow_pair(drawn, units, options, side, TASTE)
    assert found[0].cost == pytest.approx(slow)
    assert found[1].cost == found[0].cost


def test_pools_are_the_voicings_of_the_chord():
    """The candidates are those of ``find_voicings`` with any members, two notes at least, and
    no unison.
    """
    neck, hand = Neck(), Hand()
    harmony = Harmony("Am7", 9, 9, (9, 0, 4, 7))
    pool = voicing_pool(harmony, neck, hand, 7)
    expected = set()
    for member in ("1", "3", "5", "7"):
        found = find_voicings("Am7", neck, hand, frets=(0, 7), tones=Tones(keep=member))
        for frets in found["frets"]:
            pitches = sorted(o + f for o, f in zip(neck.tuning, frets, strict=True) if f >= 0)
            if len(pitches) >= 2 and len(set(pitches)) == len(pitches):
                expected.add(tuple(pitches))
    rows = {tuple(p for p in row if p != SILENT) for row in pool.pitches.tolist()}
    assert rows == expected


def test_pair_costs_follow_the_rules_of_the_findings():
    """Each table is compared, pitch by pitch, with what it is made from."""
    tables = pair_costs(TASTE)
    free = Prices(rough=0.0, same_register=0.0, mud=0.0)
    rubs = pair_costs(Taste(prices=free))["other"]
    assert rubs[60, 61] == free.rub  # weight 1 at C4 (clashes.intervals)
    assert rubs[48, 61] == pytest.approx(free.rub * 2**0.5)
    assert rubs[60, 62] == rubs[60, 60] == rubs[60, 72] == 0
    muds = pair_costs(Taste(prices=Prices(rub=0.0, rough=0.0, same_register=0.0, mud=1.0)))["other"]
    for size, low in DEFAULT_LIMITS.low_intervals.items():
        assert muds[low - 3, low - 3 + size] == 3
        assert muds[low, low + size] == 0
    only = pair_costs(Taste(prices=Prices(rub=0.0, mud=0.0, same_register=0.0, rough=1.0)))["other"]
    # No partials of the two coincide.
    one, other = (partials(np.array([pitch])) for pitch in (60.0, 64.0))
    rough = sum(
        a * b * float(interference(abs(f - g) / critical_bandwidth(f, g)))
        for f, a in zip(one.frequency, one.amplitude, strict=True)
        for g, b in zip(other.frequency, other.amplitude, strict=True)
    )
    power = float((one.amplitude**2).sum() + (other.amplitude**2).sum())
    assert only[60, 64] == pytest.approx(rough / power)
    assert tables["voice"][63, 60] == TASTE.prices.voice
    assert tables["voice"][60, 60] == 0
    assert tables["bass"][43, 40] >= TASTE.prices.bass
    assert tables["above"][60, 64] == 4 * TASTE.prices.crossing
    assert tables["above"][64, 60] == 0
    for table in tables.values():
        assert (table[SILENT] == 0).all()
        assert (table[:, SILENT] == 0).all()


def test_clash_costs_note_by_note():
    """What a unit's pitches cost against the other part, summed over notes one by one."""
    drawn = drawn_song(11)
    mover = movers_of(drawn, False)[0]
    around = mover._tables
    scene, table = Scene(drawn), pair_costs(TASTE)["other"]
    for number, unit in enumerate(mover.units):
        slow = np.zeros((len(unit.written), SILENT + 1))
        for note in range(len(unit.rows)):
            for other in np.flatnonzero(scene.part == 1):
                begin = max(unit.onset[note], scene.onset[other])
                end = min(unit.end[note], scene.end[other])
                if end > begin:
                    slow[unit.rank[note]] += (end - begin) * table[:, int(scene.pitch[other])]
        inner = slice(0, len(unit.written) - 1)  # the top rank also pays for crossing
        np.testing.assert_allclose(around[number][inner], slow[inner])


def units_of(*rows, chords, **more):
    """Return the units of Guitar 1 in a song."""
    one = song(*rows, chords=chords, **more)
    return part_units(one, "Guitar 1", find_stretch(one), Harmonies(one))


C_MAJOR = ((0, 0, "major", None),)


def test_strummed_and_picked_chords_are_grips():
    """Three shapes in one bar are three grips; picking through a chord is one; a tune is a line."""
    climbing = [("Guitar 1", shape, onset, 1.0)
                for onset, shape in enumerate(("C4 E4 G4", "E4 G4 C5", "G4 C5 E5"))]  # fmt: skip
    assert [u.written.tolist() for u in units_of(*climbing, chords=C_MAJOR)] == [
        [60, 64, 67], [64, 67, 72], [67, 72, 76],
    ]  # fmt: skip
    picked = [("Guitar 1", p, 0.5 * n, 0.5) for n, p in enumerate((48, 55, 60, 64, 60, 55))]
    (unit,) = units_of(*picked, chords=C_MAJOR)
    assert unit.harmony.symbol == "major"
    assert unit.rank.tolist() == [0, 1, 2, 3, 2, 1]
    tune = [("Guitar 1", p, float(n), 1.0) for n, p in enumerate((60, 62, 64, 65, 67, 69, 71, 72))]
    (line,) = units_of(*tune, chords=C_MAJOR)
    assert line.harmony is None
    assert len(line.rows) == 8


def test_a_passing_note_follows_in_its_octave():
    """F between E and G under C goes an octave up with them, and keeps its name."""
    rows = [("Guitar 1", "C4 E4 G4", 0.0, 2.0), ("Guitar 1", "F4", 2.0, 0.5),
            ("Guitar 1", "C4 E4 G4", 2.5, 1.5)]  # fmt: skip
    (unit,) = units_of(*rows, chords=C_MAJOR)
    assert unit.follows.tolist() == [False] * 3 + [True] + [False] * 3
    assert unit.harmony is not None


def test_units_lie_in_order_and_hold_every_note_once():
    """No note is lost when the song is cut into units, and none is there twice."""
    drawn = drawn_song(3)
    units = part_units(drawn, "Guitar 1", find_stretch(drawn), Harmonies(drawn))
    rows = np.concatenate([unit.rows for unit in units])
    own = np.flatnonzero((drawn.notes["part"] == "Guitar 1").to_numpy())
    assert sorted(rows.tolist()) == own.tolist()
    assert all(one.begin < other.begin for one, other in pairwise(units))
