"""The finders and the search for re-voicings use the same rules about two pitches."""

from dataclasses import replace

import numpy as np
import pytest
from songs import song

import arrange as ar
from arrange.clashes import LOW_INTERVAL_LIMITS
from arrange.clashes.intervals import find_mud, find_rubs
from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT, rub_weight, semitones_below
from arrange.revoicing.capos import _CapoSearch
from arrange.revoicing.clash_costs import Around, meetings, pair_costs
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Prices, Taste
from arrange.revoicing.units import SILENT, part_units

G1, G2 = "Guitar 1", "Guitar 2"
FREE = Prices(**dict.fromkeys(vars(Prices()), 0.0))
RUBS_ONLY = Taste(ar.Limits(rub=1e-9), replace(FREE, rub=1.0))
FLAT_NINE = (9, -1, "add")
# A root, a kind and a bass, degrees; whose flat nine excuses its root is common practice: a
# dominant's does, that of a suspended chord or of a minor one does not.
CHORDS = {
    "G7b9": ((0, 7, "dominant", None, FLAT_NINE), 7),
    "C9b9": ((0, 0, "dominant-ninth", None, FLAT_NINE), 0),
    "G7": ((0, 7, "dominant", None), None),
    "G7/Ab": ((0, 7, "dominant", 8), None),
    "Dm7b9": ((0, 2, "minor-seventh", None, FLAT_NINE), None),
    "Esus4b9": ((0, 4, "suspended-fourth", None, FLAT_NINE), None),
    "N.C.": ((0, None, "none", None), None),
    "none": (None, None),
}


def every_pair(chord):
    """Return a song in which two guitars hold every pair of pitches once, for a second, over one
    chord.
    """
    low, high = np.triu_indices(SILENT, 1)
    rows = [
        (part, float(pitch), float(at), 1.0)
        for part, pitches in ((G1, low), (G2, high))
        for at, pitch in enumerate(pitches)
    ]
    return song(*rows, chords=[chord] if chord else [], parts=(G1, G2))


def found(findings):
    """Return the pitches of findings, low to high."""
    return {tuple(sorted(map(int, each.pitches))) for each in findings}


def every_unit(chord):
    """Return a song in which Guitar 2 holds each pitch once, a bar apart, and Guitar 1 something;
    and the units of Guitar 1, one a bar.
    """
    rows = [(part, float(pitch), 4.0 * at, 1.0)
            for part, pitches in ((G1, [60] * SILENT), (G2, range(SILENT)))
            for at, pitch in enumerate(pitches)]  # fmt: skip
    one = song(*rows, chords=[chord] if chord else [], parts=(G1, G2))
    harmonies = Harmonies(one)
    return harmonies.scene, part_units(one, G1, find_stretch(one), harmonies)


@pytest.mark.sampled
@pytest.mark.parametrize("name", CHORDS)
def test_the_search_avoids_the_rubs_that_are_found_and_no_others(name):
    """Over each chord and for every two pitches: an excused pair costs nothing in the search, a
    reported one costs its weight.
    """
    chord, root = CHORDS[name]
    rubs = found(find_rubs(Scene(every_pair(chord)), RUBS_ONLY.limits))
    sizes = range(1, SILENT, 12)
    expected = {(low, low + size) for size in sizes for low in range(SILENT - size)
                if root is None or low % 12 != root}  # fmt: skip
    assert rubs == expected
    scene, units = every_unit(chord)
    assert len(units) == SILENT
    around = Around(scene, G1, RUBS_ONLY)
    costs = np.array([around.costs(unit, {})[0, :SILENT] for unit in units])
    assert {tuple(sorted(pair)) for pair in np.argwhere(costs > 1e-9).tolist()} == rubs
    for pitch, own in np.argwhere(costs > 1e-9).tolist()[::7]:
        assert costs[pitch, own] == pytest.approx(float(rub_weight(np.array(pitch), np.array(own))))


@pytest.mark.parametrize("name", CHORDS)
def test_a_pair_of_parts_and_capos_are_excused_alike(name):
    """The search for two parts and the one for capos excuse the same root."""
    chord, root = CHORDS[name]
    both = song((G1, "C4 E4", 0.0, 4.0), (G2, "C4 E4", 0.0, 4.0),
                chords=[chord] if chord else [], parts=(G1, G2))  # fmt: skip
    harmonies = Harmonies(both)
    units = [part_units(both, part, find_stretch(both), harmonies)[0] for part in (G1, G2)]
    tables = meetings(harmonies.scene, tuple(units), RUBS_ONLY)
    total = sum(table * held.max() for held, table in tables)[:SILENT, :SILENT]
    one = np.arange(SILENT)
    excused = NO_ROOT if root is None else root
    np.testing.assert_allclose(total, 4 * rub_weight(one[:, None], one[None, :], excused))
    harmony = harmonies.at(0.0)
    if harmony is not None:
        table = _CapoSearch(both, (G1, G2), RUBS_ONLY)._table("family", harmony)
        np.testing.assert_allclose(table[:SILENT, :SILENT] * 4, total)


def test_only_the_rub_is_excused():
    """A root far below its flat nine may rub, but is as muddy and as rough as any other note."""
    chord, _ = CHORDS["G7b9"]
    scene, units = every_unit(chord)
    taste = Taste(prices=replace(FREE, mud=1.0))
    costs = Around(scene, G1, taste).costs(units[32], {})[0]  # G#1 is held
    assert costs[31] == LOW_INTERVAL_LIMITS[1] - 31


@pytest.mark.parametrize("limits", [ar.Limits(), ar.Limits(low_intervals={4: 60, 7: 20, 12: 50})])
def test_mud_is_what_the_given_limits_say(limits):
    """Every two pitches: the search pays for exactly the intervals that the finder reports."""
    muddy = found(find_mud(Scene(every_pair(None)), replace(limits, mud=1e-9)))
    table = pair_costs(Taste(limits, replace(FREE, mud=1.0)))["own"]
    assert {tuple(p) for p in np.argwhere(np.triu(table)[:SILENT, :SILENT] > 0).tolist()} == muddy
    for low, high in sorted(muddy)[::11]:
        assert table[low, high] == limits.low_intervals[high - low] - low
        assert table[low, high] == semitones_below(
            np.array(high), np.array(low), limits.low_intervals
        )


def test_edited_low_interval_limits_change_what_is_proposed():
    """A band that finds thirds below C5 muddy gets voicings without them; with the usual limits
    the same part keeps some.
    """
    chords = [(4.0 * bar, root, "major", None) for bar, root in enumerate((0, 5, 7))]
    shapes = ("C3 E3 G3 C4 E4", "F3 A3 C4 F4", "G2 B2 D3 G3 B3 G4")
    rows = [(part, shape, 4.0 * bar, 4.0) for part in (G1, G2) for bar, shape in enumerate(shapes)]
    crowded = song(*rows, chords=chords, key="C major")
    strict = ar.Limits(low_intervals={**LOW_INTERVAL_LIMITS, 3: 72, 4: 72})

    def low_thirds(limits):
        scope = ar.Scope(ideas=["clear voicings"])
        prices = Prices(mud=2000.0)
        best = ar.revoice(crowded, G2, scope=scope, taste=Taste(limits, prices))[0]
        count = 0
        for _, held in best.song.notes.query("part == @G2").groupby("onset")["pitch"]:
            pitches = np.sort(held)
            count += sum(high - low in (3, 4) and low < 72 for low in pitches for high in pitches)
        return count

    assert low_thirds(ar.Limits()) > 0
    assert low_thirds(strict) == 0


def test_to_blend_one_register_costs_nothing():
    """With this goal, one register and crossing are wanted: the finder reports nothing, and the
    search adds no cost.
    """
    apart, blend = (pair_costs(Taste(ar.Limits(goal=goal))) for goal in ("separate", "blend"))
    assert apart["family"][60, 60] > blend["family"][60, 60]
    assert apart["other"][60, 60] == blend["other"][60, 60]
    assert apart["above"][60, 64] > 0
    assert (blend["above"] == 0).all()
    assert (blend["below"] == 0).all()
    assert blend["family"][60, 61] > Prices().rub
