"""What a clipping curve adds: trigonometry by hand, and simulation by Fourier transform."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arrange.errors import ArrangeError
from arrange.hearing import (
    DRIVES,
    Drive,
    Partials,
    beats,
    clipped_tones,
    clipping_products,
    intermodulation_products,
    joined,
    loudness,
    masked_share,
    roughness,
)
from arrange.theory.pitch import frequency

EXAMPLES = settings(max_examples=10, deadline=None, derandomize=True)
RATE = 14080  # samples a second; folded multiples of 55 Hz stay multiples of 55


def spectrum(curve, hertz, amplitude, wave=np.cos):
    """Return the amplitude at each whole Hz of a second of cosines (or sines) sent through a
    curve.
    """
    time = np.arange(RATE) / RATE
    signal = wave(2 * np.pi * np.multiply.outer(time, hertz)) @ np.asarray(amplitude)
    lines = np.abs(np.fft.rfft(curve(signal))) * 2 / RATE
    lines[0] /= 2
    return lines


def found(products, *combination):
    """Return frequency and amplitude of one product of the first chord."""
    (row,) = np.flatnonzero((products.combination == combination).all(axis=1))
    return products.frequency[..., row], products.amplitude[..., row]


def test_the_polynomial_by_trigonometry():
    """a2 A B; a2 A^2 / 2; 3 a3 A^2 B / 4; a3 A^3 / 4; three tones 3 a3 A B C / 2."""
    a, b, c, square, cube = 0.3, 0.2, 0.1, 0.5, 0.4
    got = intermodulation_products(
        np.array([1000.0, 1300, 1750]), np.array([a, b, c]), square, cube
    )
    expected = {
        (1, -1, 0): (300, square * a * b),
        (1, 1, 0): (2300, square * a * b),
        (2, 0, 0): (2000, square * a**2 / 2),
        (2, -1, 0): (700, 3 * cube * a**2 * b / 4),
        (1, -2, 0): (1600, 3 * cube * a * b**2 / 4),
        (2, 1, 0): (3300, 3 * cube * a**2 * b / 4),
        (3, 0, 0): (3000, cube * a**3 / 4),
        (1, 1, -1): (550, 3 * cube * a * b * c / 2),
    }
    for combination, (hertz, amplitude) in expected.items():
        assert found(got, *combination) == pytest.approx((hertz, amplitude), rel=1e-12)
    assert len(got.combination) == 9 + 19
    assert np.array_equal(np.unique(got.order), [2, 3])


def test_the_polynomial_by_simulation():
    """Every product of three tones, where no two coincide."""
    hertz, amplitude = np.array([401.0, 512, 690]), np.array([0.5, 0.3, 0.2])
    got = intermodulation_products(hertz, amplitude, 0.4, 0.3)
    lines = spectrum(lambda x: x + 0.4 * x**2 + 0.3 * x**3, hertz, amplitude)
    assert len(set(got.frequency)) == len(got.frequency)
    assert lines[got.frequency.astype(int)] == pytest.approx(got.amplitude, abs=1e-12)


def test_small_signals():
    """tanh is x - x^3 / 3 + ...: for A = 0.05, 3.125e-5 at 700 Hz, nothing at 300 (algebra)."""
    hertz = np.array([1000.0, 1300])
    cubic = intermodulation_products(hertz, 0.05, 0, 1 / 3)
    lines = spectrum(np.tanh, hertz, [0.05, 0.05])
    assert found(cubic, 2, -1)[1] == pytest.approx(3.125e-5, rel=1e-9)
    assert lines[700] == pytest.approx(3.11e-5, rel=1e-3)
    assert lines[700] == pytest.approx(3.125e-5, rel=0.01)
    assert lines[300] < 1e-12
    bent = spectrum(lambda x: x + 0.5 * x**2, hertz, [0.05, 0.05])
    assert bent[300] == pytest.approx(1.25e-3, rel=1e-9)
    assert found(intermodulation_products(hertz, 0.05, 0.5, 0), 1, -1)[1] == pytest.approx(1.25e-3)


@pytest.mark.parametrize("name", [name for name in DRIVES if name != "clean"])
@pytest.mark.parametrize("amplitude", [(0.5, 0.5), (0.7, 0.3), (0.4, 0.35, 0.25)])
def test_clipping_by_simulation(name, amplitude):
    """Each product agrees with the transform of the clipped sound, at frequencies without a simple
    ratio.

    Products of high order, which the model leaves out, often add a little to the same frequency.
    """
    hertz = np.array([401.0, 562, 733])[: len(amplitude)]
    drive = DRIVES[name]
    got = clipping_products(hertz, np.array(amplitude), drive)
    lines = spectrum(lambda x: np.tanh(drive.gain * x + drive.bias) / drive.gain, hertz, amplitude)
    assert lines[got.frequency.astype(int)] == pytest.approx(got.amplitude, abs=2e-3)
    own = clipped_tones(hertz, np.array(amplitude), drive)
    assert lines[hertz.astype(int)] == pytest.approx(own.amplitude, abs=2e-3)


@pytest.mark.parametrize("name", [name for name in DRIVES if name != "clean"])
def test_clipping_by_phases(name):
    """Two tones whose phases run over all pairs: each product has a cell of its own."""
    drive, points = DRIVES[name], 512
    phase = 2 * np.pi * np.arange(points) / points
    signal = 0.6 * np.cos(phase)[:, None] + 0.4 * np.cos(phase)
    cells = np.fft.fft2(np.tanh(drive.gain * signal + drive.bias)) * 2 / points**2 / drive.gain
    hertz = np.array([110.0, 139])
    got = clipping_products(hertz, np.array([0.6, 0.4]), drive)
    assert np.abs(cells[tuple(got.combination.T)]) == pytest.approx(got.amplitude, abs=1e-8)
    own = clipped_tones(hertz, np.array([0.6, 0.4]), drive).amplitude
    assert np.abs(cells[[1, 0], [0, 1]]) == pytest.approx(own, abs=1e-8)


def test_a_fifth_through_a_clipping_curve():
    """tanh(5x) of sines of 110 and 165 Hz: levels against 110 Hz within 0.3 dB (worked).

    All lines are multiples of 55 Hz, where products of many orders meet; cosines of the same
    tones give other levels.
    """
    lines = spectrum(lambda x: np.tanh(5 * x), [110, 165], [0.5, 0.5], wave=np.sin)
    levels = 20 * np.log10(lines[[55, 220, 385, 440]] / lines[110])
    assert levels == pytest.approx([-13.3, -11.6, -10.6, -12.0], abs=0.3)
    off = np.delete(lines, np.arange(0, len(lines), 55))
    assert off.max() < 1e-12


def test_a_third_through_an_uneven_curve():
    """110 and 138 Hz: 28 Hz at -14.9 dB behind tanh(5x + 0.5), absent behind tanh(5x)."""
    hertz, uneven, even = np.array([110.0, 138]), Drive(5, 0.5, 6), Drive(5, 0, 6)
    own = clipped_tones(hertz, 0.5, uneven).amplitude
    place, strength = found(clipping_products(hertz, 0.5, uneven), 1, -1)
    assert place == 28
    assert 20 * np.log10(strength / own[0]) == pytest.approx(-14.9, abs=0.05)
    assert found(clipping_products(hertz, 0.5, even), 1, -1)[1] < 1e-12


def test_a_clean_amplifier_adds_nothing():
    got = clipping_products(np.array([110.0, 165]), 0.5, DRIVES["clean"])
    assert np.all(got.amplitude == 0)
    own = clipped_tones(np.array([110.0, 165]), np.array([0.5, 0.2]), DRIVES["clean"])
    assert np.array_equal(own.amplitude, [0.5, 0.2])
    with pytest.raises(ArrangeError, match="axis of tones"):
        clipping_products(110.0, 1, DRIVES["edge"])


# Just intervals on A2: f2; the common fundamental; f2 - f1, 2 f1 - f2, 2 f2 - f1, f1 + f2 in Hz.
# Penttinen and Lilja: what is added depends on the ratio; the numbers are arithmetic.
JUST = (
    (220, 110, (110, 0, 330, 330)),
    (165, 55, (55, 55, 220, 275)),
    (110 * 4 / 3, 110 / 3, (36.67, 73.33, 183.33, 256.67)),
    (137.5, 27.5, (27.5, 82.5, 165, 247.5)),
    (132, 22, (22, 88, 154, 242)),
)
PLACES = ((1, -1), (2, -1), (1, -2), (1, 1))


@pytest.mark.parametrize(("upper", "root", "expected"), JUST)
def test_products_of_just_intervals(upper, root, expected):
    got = clipping_products(np.array([110, upper]), 0.5, DRIVES["distorted"])
    assert [found(got, *row)[0] for row in PLACES] == pytest.approx(expected, abs=0.005)
    assert got.frequency / root == pytest.approx(np.round(got.frequency / root), abs=1e-9)


def beating(pitches, *products):
    """Return the beats a second of two products (or played tones) of a tempered chord."""
    hertz = frequency(np.array(pitches, dtype=float))
    got = clipping_products(hertz, 1 / len(pitches), DRIVES["overdriven"])
    lines = joined(Partials(hertz, np.ones(len(pitches))), got.tones)
    found_beats = beats(lines)
    rows = np.concatenate([np.eye(len(pitches)), got.combination])
    (one,), (other,) = (np.flatnonzero((rows == row).all(axis=1)) for row in products)
    assert abs(lines.frequency[one] - lines.frequency[other]) == pytest.approx(
        found_beats.rate[one], abs=1e-9
    ), "these two are not the nearest"
    return found_beats.rate[one]


def test_tempered_chords_beat():
    """Equal temperament on A2, worked: a fifth swells slowly, a triad beats at 2.37 Hz."""
    fifth = clipping_products(frequency(np.array([45.0, 52])), 0.5, DRIVES["distorted"])
    assert [found(fifth, *row)[0] for row in PLACES[:2]] == pytest.approx([54.81, 55.19], abs=5e-3)
    assert beating((45, 52), (1, -1), (2, -1)) == pytest.approx(0.37, abs=0.005)
    third = clipping_products(frequency(np.array([45.0, 49])), 0.5, DRIVES["distorted"])
    places = [found(third, *row)[0] for row in PLACES[:3]]
    assert places == pytest.approx([28.59, 81.41, 167.18], abs=5e-3)
    minor = clipping_products(frequency(np.array([45.0, 48])), 0.5, DRIVES["distorted"])
    assert found(minor, 1, -2)[0] == pytest.approx(151.63, abs=5e-3)
    assert beating((45, 49, 52), (1, -1, 0), (0, 1, -1)) == pytest.approx(2.37, abs=0.005)
    assert beating((45, 49, 52), (1, -2, 0), (0, 0, 1)) == pytest.approx(2.37, abs=0.005)


@EXAMPLES
@given(st.lists(st.lists(st.integers(36, 76), max_size=4, unique=True), min_size=1, max_size=4))
def test_many_chords_at_once(chords):
    """Padded chords give the same as each chord alone; beats are those of the slow search."""
    width = max(map(len, chords))
    hertz = np.full((len(chords), width), np.nan)
    for row, pitches in zip(hertz, chords, strict=True):
        row[: len(pitches)] = frequency(np.array(pitches, dtype=float))
    amplitude = np.where(np.isnan(hertz), 0, 0.25)
    got = clipping_products(hertz, amplitude, DRIVES["edge"])
    rates = beats(got.tones).rate
    for number, pitches in enumerate(chords):
        alone = clipping_products(hertz[number, : len(pitches)], 0.25, DRIVES["edge"])
        expected = dict(
            zip(map(tuple, alone.combination), zip(*alone.tones, strict=True), strict=True)
        )
        for row, combination in enumerate(got.combination):
            place, strength = got.frequency[number, row], got.amplitude[number, row]
            if np.any(combination[len(pitches) :]):
                assert np.isnan(place)
                assert strength == 0
            else:
                assert (place, strength) == pytest.approx(
                    expected[tuple(combination[: len(pitches)])], abs=1e-9
                )
        heard = got.frequency[number][got.amplitude[number] > 0]
        for row, place in enumerate(got.frequency[number]):
            if got.amplitude[number, row] > 0:
                apart = [abs(place - f) for f in heard if abs(place - f) > 1e-6 * max(place, f)]
                near = [d for d in apart if d <= 24.7 * (4.37 * place / 1000 + 1)]
                slow = min(near, default=np.nan)
                assert rates[number, row] == pytest.approx(slow, nan_ok=True, abs=1e-9)


def test_even_curves_make_odd_orders_only():
    """A symmetric curve, three tones (theory)."""
    got = clipping_products(np.array([110.0, 139, 165]), 1 / 3, Drive(5, 0, 6))
    assert np.all(got.amplitude[got.order == 2] < 1e-12)
    assert np.all(got.amplitude[(got.order == 3)] > 1e-6)
    pairs = {tuple(row) for row in got.combination}
    for row in itertools.product((-1, 1), repeat=2):
        assert (1, *row) in pairs


def driven_roughness(pitches, drive):
    """Return the roughness of chords of pure tones with everything that the curve adds."""
    hertz = frequency(np.array(pitches, dtype=float))
    own = clipped_tones(hertz, 0.5, drive)
    return roughness(joined(own, clipping_products(hertz, 0.5, drive).tones))


def test_drive_makes_thirds_rougher_than_fifths():
    """Under drive, roots, fifths and octaves are played, but no thirds low down (common
    practice).
    """
    chords = 45.0 + np.array([[0, 3], [0, 4], [0, 7], [0, 12]])  # thirds, fifth, octave on A2
    clean = driven_roughness(chords, DRIVES["clean"])
    driven = driven_roughness(chords, DRIVES["distorted"])
    assert np.all(driven[:2] > driven[2:].max())
    assert np.all(driven[:2] - driven[2:].max() > 0.1)
    assert clean[2:].max() < 0.01


def test_an_octave_that_stands_still():
    """2 f1 - f2 of an octave is 0 Hz, which is not heard and gives no warning."""
    got = clipping_products(np.array([110.0, 220]), 0.5, DRIVES["distorted"])
    loud = Partials(got.frequency, 1e4 * got.amplitude)
    assert found(got, 2, -1)[0] == 0
    assert np.isfinite(loudness(loud))
    assert np.isfinite(roughness(loud))
    assert 0 <= masked_share(loud, loud) <= 1
