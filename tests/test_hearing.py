"""Partials, drives and critical bands: handbook tables, formulas and another library."""

import importlib

import mpt
import numpy as np
import pytest

from arrange.errors import ArrangeError
from arrange.hearing import (
    DRIVES,
    Partials,
    bark,
    bark_width,
    drive_named,
    erb,
    erb_frequency,
    erb_rate,
    joined,
    merged,
    partials,
    rolloff,
)
from arrange.hearing.critical_bands import BARK_EDGES, bark_traunmuller
from arrange.theory.pitch import frequency


def test_frequencies_of_an_array():
    """ISO 16:1975 and equal temperament, worked to 0.001 Hz."""
    pitches = np.array([28, 35, 40, 45, 50, 55, 59, 60, 64, 88])
    hertz = [41.203, 61.735, 82.407, 110, 146.832, 195.998, 246.942, 261.626, 329.628, 1318.510]
    assert frequency(pitches) == pytest.approx(hertz, abs=1e-3)


def test_partials_of_a_chord():
    """A2 and C3, with a place left empty; 6 dB an octave is 1/k."""
    got = partials(np.array([45, 48, np.nan]), level=np.array([20, 0, 0]), count=3)
    assert got.frequency[:3] == pytest.approx([110, 220, 330])
    assert np.isnan(got.frequency[6:]).all()
    assert got.amplitude == pytest.approx([10, 5, 10 / 3, 1, 1 / 2, 1 / 3, 0, 0, 0])
    assert got.level[:2] == pytest.approx([20, 13.979], abs=1e-3)
    assert np.isneginf(got.level[8])


def test_merging():
    """An octave's even partials coincide; the amplitudes are added."""
    both = joined(*(partials(np.array([[pitch], [np.nan]]), count=2) for pitch in (45, 57, 45)))
    got = merged(both)
    assert got.frequency[0] == pytest.approx([110, 220, 440])
    assert got.amplitude == pytest.approx(np.array([[2, 2, 0.5], [0, 0, 0]]))
    assert np.isnan(got.frequency[1]).all()
    again = merged(got)
    assert np.array_equal(again.frequency, got.frequency, equal_nan=True)
    assert merged(partials(np.full((2, 3), np.nan))).frequency.shape == (2, 0)
    apart = merged(Partials(np.array([100.0, 100.01]), np.ones(2)))
    assert apart.frequency.shape == (2,)


@pytest.mark.sampled
@pytest.mark.parametrize("name", DRIVES)
def test_rolloffs_follow_from_the_curve(name):
    """Notes of 1/k with random phases behind the curve, by Fourier transform of their samples."""
    drive = DRIVES[name]
    rng = np.random.default_rng(5)
    angle = 2 * np.pi * np.arange(2048) / 2048
    number = np.arange(1, 21)
    turn = rng.uniform(0, 2 * np.pi, (400, 20, 1))
    notes = (np.cos(number[:, None] * angle + turn) / number[:, None]).sum(axis=1)
    notes /= np.abs(notes).max(axis=1, keepdims=True)
    driven = np.tanh(drive.gain * notes + drive.bias) if drive.gain else notes
    power = (np.abs(np.fft.rfft(driven)[:, 1:11]) ** 2).mean(axis=0)
    fall = -np.polyfit(np.log2(np.arange(1, 11)), 10 * np.log10(power), 1)[0]
    assert drive.rolloff == pytest.approx(fall, abs=0.15)


def test_rolloff_of_a_part():
    assert rolloff("guitar", "clean") == 6.0
    assert rolloff("guitar", "distorted") < rolloff("guitar", "overdriven") < 6.0
    assert rolloff("voice", "distorted") == 6.0
    with pytest.raises(ArrangeError, match="'fuzzy'; write one of clean, edge, overdriven"):
        drive_named("fuzzy")


def test_erb():
    """Glasberg and Moore (1990): their formulas at six frequencies, worked."""
    hertz = np.array([82.407, 100, 261.626, 440, 1000, 4000])
    assert erb(hertz) == pytest.approx([33.59, 35.49, 52.94, 72.19, 132.64, 456.46], abs=0.01)
    rate = [2.859, 3.370, 7.085, 9.968, 15.621, 27.107]
    assert erb_rate(hertz) == pytest.approx(rate, abs=1e-3)
    assert erb_frequency(erb_rate(hertz)) == pytest.approx(hertz, rel=1e-12)
    semitones = 12 * np.log2((hertz + erb(hertz) / 2) / (hertz - erb(hertz) / 2))
    assert semitones[[0, 2, 3, 4]] == pytest.approx([7.2, 3.5, 2.9, 2.3], abs=0.06)


def test_erb_and_bark_in_another_library():
    """music-perception-toolbox; its Bark is Traunmüller's without the corrections at the ends."""
    hertz = np.array([100.0, 440, 1000, 4000])
    theirs = [mpt.convert_pitch(f, "hz", "erb") for f in hertz]
    assert erb_rate(hertz) == pytest.approx(np.ravel(theirs), abs=1e-4)
    middle = hertz[1:]
    theirs = [mpt.convert_pitch(f, "hz", "bark") for f in middle]
    assert bark_traunmuller(middle) == pytest.approx(np.ravel(theirs), abs=1e-9)
    assert bark_traunmuller(middle) == pytest.approx([4.385, 8.527, 17.463], abs=1e-3)


# Zwicker and Terhardt's formula at the upper edges of Bark 1 to 13, as printed in a public
# listing (aik2mlj/music422-code, homework 4), three decimals.
AT_EDGES = (
    0.987, 1.963, 2.920, 3.847, 4.823, 5.830, 6.920, 7.985, 9.007, 10.080, 11.109, 12.115, 13.104,
)  # fmt: skip


def test_bark():
    """The edges are Zwicker's 24 (1961), after Zwicker and Fastl, table 6.1."""
    edges = np.array(BARK_EDGES)
    assert bark_traunmuller(edges) == pytest.approx(np.arange(1, 25), abs=0.05)
    assert bark(edges[:13]) == pytest.approx(AT_EDGES, abs=6e-4)
    assert bark(edges) == pytest.approx(np.arange(1, 25), abs=0.25)
    width = [100.7, 117.3, 162.2, 300.8]
    assert bark_width(np.array([100, 500, 1000, 2000])) == pytest.approx(width, abs=0.06)


def test_bark_edges_in_another_library():
    """mosqito holds the same table."""
    conversion = importlib.import_module("mosqito.utils.conversion.freq2bark")
    assert conversion.freq2bark(np.array(BARK_EDGES)) == pytest.approx(np.arange(1, 25))
