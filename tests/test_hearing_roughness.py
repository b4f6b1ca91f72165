"""Roughness against published values, a slow twin, and two other libraries."""

from dataclasses import replace
from functools import cache

import dissonant
import mpt
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrange.errors import ArrangeError
from arrange.hearing import Partials, bark_width, erb, joined, partials, roughest_difference
from arrange.hearing.roughness import (
    SETHARES_CODE,
    SETHARES_PAPER,
    critical_bandwidth,
    interference,
    interval_roughness,
    roughness,
    roughness_sethares,
    roughness_vassilakis,
    tone_table,
)

EXAMPLES = settings(max_examples=15, deadline=None, derandomize=True)
PITCHES = st.integers(56, 176).map(lambda half_semitones: half_semitones / 2)
CHORDS = st.lists(st.lists(PITCHES, max_size=6), min_size=1, max_size=5)


def tones(frequency, amplitude):
    """Return pure tones from two lists."""
    return Partials(np.array(frequency, dtype=float), np.array(amplitude, dtype=float))


def chord(*pitches, count=10):
    """Return a chord of tones with harmonics of 1/k."""
    return partials(np.array(pitches, dtype=float), count=count)


def padded(chords):
    """Return chords of unequal sizes as one array."""
    rows = np.full((len(chords), max(map(len, chords), default=0)), np.nan)
    for row, pitches in zip(rows, chords, strict=True):
        row[: len(pitches)] = pitches
    return rows


def slow_roughness(frequency, amplitude, *, merging=True):
    """Return Hutchinson and Knopoff's sum, pair by pair, after merging partials that coincide."""
    lines = {}
    for number, (hertz, share) in enumerate(zip(frequency, amplitude, strict=True)):
        if np.isfinite(hertz):
            key = round(hertz, 4) if merging else number
            lines[key] = (hertz, lines.get(key, (0, 0))[1] + share)
    lines = list(lines.values())
    total = 0.0
    for i, (f, a) in enumerate(lines):
        for g, b in lines[i + 1 :]:
            y = abs(f - g) / (1.72 * ((f + g) / 2) ** 0.65)
            if y <= 1.2:
                total += a * b * (y / 0.25 * np.exp(1 - y / 0.25)) ** 2
    power = sum(a * a for _, a in lines)
    return total / power if power else 0.0


# --- Hutchinson and Knopoff. Published values: the tests of the R package dycon
# (pmcharrison/dycon, tests/testthat/test-hutch.R), of 3 or 4 decimals.


def test_the_curve_of_two_tones():
    """dycon's hutch_g; beyond 1.2 bandwidths the curve is cut to 0."""
    got = interference(np.array([1.0, 0.5, 1.5, 0.25, 0.0]))
    assert got == pytest.approx([0.0397, 0.5413, 0, 1, 0], abs=5e-5)
    y = 1.5 / 0.25  # without the cut
    assert (y * np.exp(1 - y)) ** 2 == pytest.approx(0.0016, abs=5e-5)


def test_intervals_of_a_guitar():
    """Each is its two strings together; the lower the third, the rougher."""
    for low in (40, 64):
        made = interval_roughness(low, [1, 4, 12])
        by_hand = [roughness(chord(low, low + size)) for size in (1, 4, 12)]
        np.testing.assert_allclose(made, by_hand, rtol=1e-9)
    assert interval_roughness(40, [4]) > 2 * interval_roughness(64, [4])


def test_critical_bandwidth():
    """dycon's hutch_cbw."""
    assert critical_bandwidth(400, np.array([440, 380])) == pytest.approx(
        [87.225, 83.123], abs=5e-4
    )


@pytest.mark.parametrize(
    ("pitches", "count", "value"),
    [
        ((60, 61), 1, 0.499),
        ((69, 70), 1, 0.491),
        ((60, 61), 11, 0.484),
        ((60, 64, 67), 11, 0.120),
        ((60, 63, 67), 11, 0.130),
    ],
)
def test_five_chords(pitches, count, value):
    """dycon's five chords, within its tolerance."""
    assert roughness(chord(*pitches, count=count)) == pytest.approx(value, abs=1e-3)


# Hutchinson and Knopoff (1978), dyads on C4 of ten harmonics 1/k, m2 to P8: from memory.
DYADS_1978 = (
    0.4886, 0.2690, 0.1109, 0.0551, 0.0451, 0.0930, 0.0221, 0.0843, 0.0477, 0.0998, 0.2312, 0.0014,
)  # fmt: skip


def test_dyads_of_1978():
    """The printed table used a curve read from a graph: same order, within 0.02."""
    got = roughness(partials(np.array([[60, 60 + size] for size in range(1, 13)])))
    assert np.array_equal(np.argsort(got), np.argsort(DYADS_1978))
    assert got == pytest.approx(DYADS_1978, abs=0.02)
    assert np.corrcoef(got, DYADS_1978)[0, 1] > 0.998


# The formula worked once more by itself, m2 to M7 and M10; four decimals.
WORKED_DYADS = {
    60: (0.4823, 0.2518, 0.1082, 0.0667, 0.0407, 0.0931, 0.0195, 0.0916, 0.0554, 0.0975, 0.2215),
    40: (0.4761, 0.4552, 0.2965, 0.1863, 0.1314, 0.1478, 0.0719, 0.1484, 0.1481, 0.2142, 0.2612),
}


@pytest.mark.parametrize("root", WORKED_DYADS)
def test_worked_dyads(root):
    got = roughness(partials(np.array([[root, root + size] for size in range(1, 12)])))
    assert got == pytest.approx(WORKED_DYADS[root], abs=5e-5 + 1e-9)


def test_more_worked_dyads():
    assert roughness(chord(40, 56)) == pytest.approx(0.0848, abs=6e-5)
    got = [float(roughness(chord(48, 48 + size))) for size in (3, 4, 7, 16)]
    assert got == pytest.approx([0.2080, 0.1232, 0.0426, 0.0532], abs=6e-5)
    low = [float(roughness(chord(root, root + 4))) for root in (64, 57, 52, 48, 46, 45, 43, 40)]
    assert low == pytest.approx([0.056, 0.078, 0.100, 0.123, 0.137, 0.144, 0.160, 0.186], abs=6e-4)


@pytest.mark.parametrize(
    ("pitches", "apart", "merged"),
    [
        ((60, 72), 0.0015, 0.0010),
        ((40, 52), 0.0180, 0.0122),
        ((48, 60), 0.0077, 0.0053),
        ((40, 47, 52, 56, 59, 64), 0.294, 0.191),
        ((43, 47, 50, 55, 59, 67), 0.408, 0.265),
        ((43, 50, 55, 59, 67), 0.227, 0.155),
        ((43, 50, 55, 62, 67), 0.123, 0.075),
    ],
)
def test_octaves_need_merging(pitches, apart, merged):
    """With octaves in a chord, coinciding partials increase the power once they are merged."""
    all_tones = chord(*pitches)
    assert slow_roughness(*all_tones, merging=False) == pytest.approx(apart, abs=6e-4)
    assert roughness(all_tones) == pytest.approx(merged, abs=6e-4)


@EXAMPLES
@given(CHORDS)
def test_roughness_is_the_slow_sum(chords):
    all_tones = partials(padded(chords), level=60, rolloff=5.0)
    slow = [slow_roughness(f, a) for f, a in zip(*all_tones, strict=True)]
    assert roughness(all_tones) == pytest.approx(np.array(slow), rel=1e-9, abs=1e-12)


@cache
def bright_and_dark():
    """Return table of quarter tones from E1 to E6 in two timbres."""
    palette = np.arange(28, 88.5, 0.5)[:, None]
    both = partials(palette, rolloff=4.8), partials(palette, level=-6)
    return tone_table(Partials(*map(np.concatenate, zip(*both, strict=True))))


@EXAMPLES
@given(CHORDS)
def test_the_table_gives_the_same(chords):
    """Two timbres share one palette, and each note of a chord has either timbre."""
    pitches = padded(chords)
    table = bright_and_dark()
    strength = np.zeros((len(chords), len(table.rough)))
    for row, notes in zip(strength, chords, strict=True):
        for number, pitch in enumerate(notes):
            row[int(2 * (pitch - 28)) + len(row) // 2 * (number % 2)] += 1
    is_dark = np.arange(pitches.shape[1]) % 2 == 1
    direct = partials(pitches, np.where(is_dark, -6.0, 0.0), np.where(is_dark, 6.0, 4.8))
    assert table.roughness(strength) == pytest.approx(roughness(direct), rel=1e-9, abs=1e-12)


def test_a_table_wants_matching_shapes():
    with pytest.raises(ArrangeError, match="row for each tone"):
        tone_table(chord(60, 64))
    with pytest.raises(ArrangeError, match="palette's 2 tones"):
        tone_table(partials(np.array([[60], [64]]))).roughness(np.ones(3))


@EXAMPLES
@given(CHORDS)
def test_sane(chords):
    """Doubling in unison, the order of parts, and the level change nothing."""
    one = partials(padded(chords))
    rough = roughness(one)
    assert roughness(joined(one, one)) == pytest.approx(rough, abs=1e-12)
    assert roughness(partials(padded([c[::-1] for c in chords]))) == pytest.approx(rough, abs=1e-12)
    assert roughness(partials(padded(chords), level=40)) == pytest.approx(rough, abs=1e-12)
    assert np.all((rough >= 0) & np.isfinite(rough))


def test_lower_is_rougher():
    """Thirds, fifths and triads get rougher an octave lower."""
    shapes = [(0, 4), (0, 3), (0, 7), (0, 4, 7), (0, 7, 16), (0, 3, 7)]
    high = padded([[60 + step for step in shape] for shape in shapes])
    assert np.all(roughness(partials(high - 12)) > roughness(partials(high)))


def test_silence_is_smooth():
    silence = partials(np.full((3, 2), np.nan))
    for model in (roughness, roughness_sethares, roughness_vassilakis):
        assert np.array_equal(model(silence), np.zeros(3))
        assert model(partials(np.empty((2, 0)))).shape == (2,)


def test_leading_axes_stay():
    pitches = np.arange(40.0, 64.0).reshape(2, 3, 4)
    got = roughness(partials(pitches))
    assert got.shape == (2, 3)
    assert got[1, 2] == pytest.approx(float(roughness(partials(pitches[1, 2]))), abs=1e-12)


# --- Sethares. Ratios of the author's MATLAB listing, as the R package dycon holds them
# (tests/testthat/test-sethares.R), four decimals.


@pytest.mark.parametrize(
    ("frequency", "amplitude", "ratio"),
    [
        ((440, 460, 480), (1, 1, 1), 2.9194),
        ((440, 460, 480), (1, 2, 3), 3.9161),
        ((440, 460, 480), (3, 2, 1), 3.9194),
        ((300, 250, 275, 425), (1.5, 2, 9, 4), 4.8657),
    ],
)
def test_sethares_ratios(frequency, amplitude, ratio):
    pair = roughness_sethares(tones((440, 460), (1, 1)))
    got = roughness_sethares(tones(frequency, amplitude)) / pair
    assert got == pytest.approx(ratio, abs=5e-4)


def test_sethares_ratios_of_the_paper():
    """With the slope 3.5 of the paper; worked by formula."""
    other = replace(SETHARES_CODE, rise=3.5)
    pair = roughness_sethares(tones((440, 460), (1, 1)), other)
    got = roughness_sethares(
        tones([(440, 460, 480, np.nan)] * 3 + [(300, 250, 275, 425)],
              [(1, 1, 1, 0), (1, 2, 3, 0), (3, 2, 1, 0), (1.5, 2, 9, 4)]),
        other,
    )  # fmt: skip
    assert got / pair == pytest.approx([2.9204, 3.9170, 3.9204, 4.8718], abs=5e-4)


def test_sethares_pair_in_three_programs():
    """440 and 460 Hz; the libraries dissonant (product) and mpt (author's program)."""
    product = replace(SETHARES_PAPER, slope=0.0207, floor=18.96)
    ours = float(roughness_sethares(tones((440, 460), (1, 1)), product))
    theirs = dissonant.dissonance(np.array([440.0, 460]), np.ones(2), "sethares1993")
    assert ours == pytest.approx(0.175545, abs=1e-6)
    assert ours == pytest.approx(theirs, rel=1e-12)
    program = float(roughness_sethares(tones((440, 460), (1, 1))))
    assert program == pytest.approx(0.873030, abs=1e-6)
    assert program == pytest.approx(mpt.roughness([440, 460], [1, 1]), rel=1e-12)


@EXAMPLES
@given(st.lists(PITCHES, min_size=2, max_size=4, unique=True))
def test_sethares_on_chords_in_two_libraries(pitches):
    """Six partials a note, those that coincide left out of the comparison."""
    all_tones = chord(*pitches, count=6)
    hertz = np.sort(all_tones.frequency)
    if np.any(np.diff(hertz) < 0.01):
        return
    product = replace(SETHARES_PAPER, slope=0.0207, floor=18.96)
    theirs = dissonant.dissonance(*all_tones, "sethares1993")
    assert roughness_sethares(all_tones, product) == pytest.approx(theirs, rel=1e-9)
    assert roughness_sethares(all_tones) == pytest.approx(mpt.roughness(*all_tones), rel=1e-9)


@pytest.mark.parametrize(("base", "extra"), [(261.63, []), (500.0, [1.7612])])
def test_sethares_minima_are_the_just_ratios(base, extra):
    """Sethares (1993): tones of six harmonics, 0.88 to the k-th, are smoothest at small ratios."""
    number = np.arange(1, 7)
    ratio = np.arange(1.0001, 2.2, 1e-4)
    frequency = base * np.concatenate(
        [np.tile(number, (len(ratio), 1)), ratio[:, None] * number], axis=1
    )
    amplitude = np.tile(0.88 ** (number - 1), (len(ratio), 2))
    curve = roughness_sethares(
        Partials(frequency, amplitude), replace(SETHARES_PAPER, slope=0.0207, floor=18.96)
    )
    low = np.flatnonzero((curve[1:-1] < curve[:-2]) & (curve[1:-1] < curve[2:])) + 1
    just = [6 / 5, 5 / 4, 4 / 3, 3 / 2, 5 / 3, 2]
    assert ratio[low] == pytest.approx(sorted(just + extra), abs=1e-3)
    if base == 500:  # worked by formula
        deep = [float(curve[np.abs(ratio - r).argmin()]) for r in just[::-1]]
        assert deep == pytest.approx([0.0037, 0.0684, 0.0371, 0.0978, 0.1479, 0.1581], abs=6e-5)
        assert ratio[curve.argmax()] == pytest.approx(1.0345, abs=1.5e-4)


def test_the_roughest_difference():
    """Worked by formula; a quarter of Zwicker's critical band (Plomp and Levelt 1965)."""
    hertz = np.array([82.407, 110, 261.626, 440, 1000])
    got = roughest_difference(hertz)
    assert got == pytest.approx([19.00, 19.52, 22.41, 25.80, 36.46], abs=0.006)
    semitones = 12 * np.log2(1 + got / hertz)
    assert semitones == pytest.approx([3.59, 2.83, 1.42, 0.99, 0.62], abs=0.006)
    assert got / bark_width(hertz) == pytest.approx([0.19, 0.19, 0.21, 0.23, 0.23], abs=0.006)
    assert got / erb(hertz) == pytest.approx([0.57, 0.53, 0.42, 0.36, 0.28], abs=0.006)
    apart = np.arange(0.0, 60, 0.01)[1:]
    curve = np.exp(-3.5 * (s := 0.24 / (0.0207 * 440 + 18.96)) * apart) - np.exp(-5.75 * s * apart)
    assert apart[curve.argmax()] == pytest.approx(got[3], abs=0.01)
    assert curve.max() == pytest.approx(0.180775, abs=1e-6)


# --- Vassilakis (2001), thesis p. 208 (partials in Hz, as the R package dycon holds them in
# tests/testthat/test-vass.R) and p. 210 (roughness of each dyad over the lowest tone).
VASSILAKIS = (
    ((277, 554, 837, 1118, 1398, 1677), 40.383),
    ((294, 590, 886, 1180, 1473, 1772), 27.617),
    ((311, 624, 932, 1244, 1569, 1873), 18.117),
    ((330, 663, 995, 1323, 1654, 1994), 16.002),
    ((349, 701, 1053, 1408, 1751, 2107), 11.446),
    ((370, 741, 1118, 1482, 1852, 2235), 12.826),
    ((392, 783, 1179, 1570, 1973, 2373), 6.179),
    ((415, 834, 1250, 1670, 2093, 2499), 10.103),
    ((440, 884, 1329, 1768, 2200, 2666), 5.782),
    ((466, 937, 1400, 1874, 2345, 2799), 6.214),
    ((494, 990, 1484, 1985, 2476, 2973), 6.996),
    ((524, 1052, 1573, 2110, 2634, 3154), 1.589),
)
LOWEST = (262, 526, 790, 1049, 1318, 1573)


def test_vassilakis_dyads():
    """Twelve published dyads, normalised to the minor second, within 0.5 %."""
    frequency = np.array([LOWEST + upper for upper, _ in VASSILAKIS], dtype=float)
    amplitude = np.tile(1 / np.arange(1, 7), (12, 2))
    got = roughness_vassilakis(Partials(frequency, amplitude))
    published = np.array([value for _, value in VASSILAKIS])
    assert got / got[0] == pytest.approx(published / published[0], rel=5e-3)
    assert 100 * got == pytest.approx(published, rel=3e-3)
    assert np.corrcoef(got, published)[0, 1] > 0.999999


def test_vassilakis_in_another_library():
    """dissonant leaves out the half, and takes the upper tone for the weaker one."""
    pair = tones((440, 470), (1, 0.4))
    theirs = dissonant.dissonance(*pair, "vassilakis2001")
    assert 2 * roughness_vassilakis(pair) == pytest.approx(theirs, rel=1e-12)
