"""The view of one moment: its partials, bands, beats and thresholds are compared with formulas.

The ERB and its scale are written once more here, as B. R. Glasberg and B. C. J. Moore (1990),
Hearing Research 47, 103-138, give them; equal temperament from A4 = 440 Hz (ISO 16:1975).
"""

from __future__ import annotations

from itertools import combinations

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure
from pictures import beyond_figure, drawn, lightness, written
from songs import parts_of
from songs import song as song_of

import arrange as ar
from arrange.hearing import is_masked, masked_threshold, merged, partials
from arrange.plots import figures, hearing, plot_hearing, render_picture
from arrange.theory.pitch import parse_note


def rate(hertz):
    """Return the number of ERBs below a frequency (Glasberg and Moore 1990)."""
    return 21.4 * np.log10(0.00437 * np.asarray(hertz) + 1)


def width(hertz):
    """Return the ERB at a frequency, Hz (Glasberg and Moore 1990)."""
    return 24.7 * (0.00437 * np.asarray(hertz) + 1)


def hertz_of(name):
    return 440.0 * 2 ** ((parse_note(name) - 69) / 12)


def tones(*names, level=70.0):
    return merged(partials(np.array([float(parse_note(name)) for name in names]), level))


def points(ax, gid):
    (line,) = drawn(ax, gid)
    return np.asarray(line.get_xdata()), np.asarray(line.get_ydata())


def key(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def said(ax):
    return " ".join(text.get_text() for text in ax.texts)


def title(ax):
    return ax.get_title(loc="left").split("\n")


def two(one, other, **parts):
    """Return two guitars that hold notes for a measure, then Guitar A alone, then silence."""
    return song_of(
        ("Guitar A", one, 0, 8), ("Guitar B", other, 0, 4), bars=3,
        parts=parts_of("Guitar A", "Guitar B", **parts),
    )  # fmt: skip


# Partials ------------------------------------------------------------------------------------


def test_partials_of_a2_are_at_110_220_330():
    """A string's partials are multiples; 6 dB an octave: the second 6 below, the fourth 12."""
    x, level = points(plot_hearing(two("A2", "E5"), 0), "partials Guitar A")
    assert x == pytest.approx(rate(110.0 * np.arange(1, 11)))
    assert level[[0, 1, 3, 7]] == pytest.approx([70, 64, 58, 52], abs=0.1)


def test_coinciding_partials_of_one_part_are_one():
    """An octave A2 A3: 110 to 1100, and of A3 only 1320, 1540, ... 2200 are new."""
    x, _ = points(plot_hearing(two("A2 A3", "E5"), 0), "partials Guitar A")
    assert x == pytest.approx(rate([*range(110, 1101, 110), *range(1320, 2201, 220)]))


def test_levels_follow_the_parts_table():
    ax = plot_hearing(two("A2", "E5", level=[0.0, -12.0]), 0)
    assert points(ax, "partials Guitar A")[1].max() == pytest.approx(70)
    assert points(ax, "partials Guitar B")[1].max() == pytest.approx(58)


def test_driven_partials_fall_less_steeply():
    """Distorted: 5 dB an octave as ``hearing.DRIVES`` has it, so the second is 5 below."""
    _, level = points(plot_hearing(two("A2", "E5", drive=["distorted", "clean"]), 0),
                      "partials Guitar A")  # fmt: skip
    assert level[0] - level[1] == pytest.approx(5, abs=0.02)


def test_axis_names_notes_and_hertz():
    """C3 is 130.8 Hz, C4 261.6 (ISO 16 and equal temperament), at their place on the scale."""
    ax = plot_hearing(two("A2", "E5"), 0)
    labels = {label.get_text(): x for label, x in zip(ax.get_xticklabels(), ax.get_xticks(),
                                                      strict=True)}  # fmt: skip
    assert labels["C3\n131"] == pytest.approx(rate(130.8128), abs=1e-4)
    assert labels["C4\n262"] == pytest.approx(rate(261.6256), abs=1e-4)


# Bands and beats -----------------------------------------------------------------------------


def test_shared_band_is_an_erb_wide():
    """A2 and Bb2: 110 and 116.54 Hz, middle 113.27, where the ERB is 36.93 Hz."""
    ax = plot_hearing(two("A2", "Bb2"), 0)
    band = min(drawn(ax, "shared band"), key=lambda each: each.get_x())
    assert width(113.2705) == pytest.approx(36.93, abs=0.005)
    assert band.get_x() == pytest.approx(rate(113.2705 - 36.93 / 2), abs=1e-3)
    assert band.get_x() + band.get_width() == pytest.approx(rate(113.2705 + 36.93 / 2), abs=1e-3)


def test_far_apart_shares_no_band():
    """E1 reaches to its tenth partial, 412 Hz; C7 begins at 2093."""
    ax = plot_hearing(two("E1", "C7"), 0)
    assert drawn(ax, "shared band") == drawn(ax, "beat") == []
    assert key(ax) == ["Guitar A", "Guitar B"]


PITCHES = st.lists(st.integers(28, 88), min_size=1, max_size=4, unique=True)


@settings(derandomize=True, deadline=None, max_examples=12)
@given(PITCHES, PITCHES)
def test_shared_bands_are_those_of_the_slow_twin(one, other):
    """Every place, one after another: within half an ERB of the middle of two that are near."""
    first, second = (merged(partials(np.array(each, dtype=float))) for each in (one, other))
    low, high = hearing.shared_bands(first, second)
    assert (low[1:] > high[:-1]).all()
    middles = [
        (f + g) / 2
        for f in first.frequency
        for g in second.frequency
        if abs(f - g) < width((f + g) / 2)
    ]
    for place in np.linspace(30, 9000, 400):
        slow = any(abs(place - middle) <= width(middle) / 2 for middle in middles)
        assert slow == bool(((low <= place) & (place <= high)).any())


@settings(derandomize=True, deadline=None, max_examples=12)
@given(PITCHES, PITCHES)
def test_beating_pairs_are_those_of_the_slow_twin(one, other):
    """Each is the other's nearest, less than an ERB away, but not at one place."""
    first, second = (merged(partials(np.array(each, dtype=float))) for each in (one, other))
    f, g = first.frequency, second.frequency
    slow = {
        (i, j)
        for i in range(len(f))
        for j in range(len(g))
        if 1e-6 * f[i] < abs(f[i] - g[j]) < width((f[i] + g[j]) / 2)
        and all(abs(f[i] - g[j]) <= abs(f[i] - each) for each in g)
        and all(abs(f[i] - g[j]) <= abs(each - g[j]) for each in f)
    }
    a, b, rates = hearing.beating_pairs(first, second)
    assert set(zip(a.tolist(), b.tolist(), strict=True)) == slow
    assert rates == pytest.approx(np.abs(f[a] - g[b]))
    softer = np.minimum(first.amplitude[a], second.amplitude[b])
    assert (np.diff(softer) <= 0).all()


def test_beats_agree_with_values_by_hand():
    """110 and 116.54 beat 6.54 times a second, their second partials twice as fast."""
    ax = plot_hearing(two("A2", "Bb2"), 0)
    assert hertz_of("Bb2") - 110 == pytest.approx(6.541, abs=1e-3)
    assert {"6.5", "13", "20"} <= set(written(ax, "beat rate"))


def test_tempered_fifth_beats_slowly():
    """A2 and E3: 330 against 2 x 164.81 = 329.63 Hz, 0.37 beats a second (equal temperament)."""
    assert "0.4" in written(plot_hearing(two("A2", "E3"), 0), "beat rate")


def test_unison_does_not_beat():
    ax = plot_hearing(two("A2", "A2"), 0)
    assert drawn(ax, "beat") == []
    assert "beats a second" not in key(ax)
    assert len(drawn(ax, "shared band")) > 0


def test_brackets_stand_over_both_and_rates_do_not_overlap(demo):
    ax = plot_hearing(demo, 84.0, ["Guitar 1", "Guitar 2"])
    rates = drawn(ax, "beat rate")
    assert len(rates) == len(drawn(ax, "beat")) >= 3
    boxes = [text.get_window_extent() for text in rates]
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    tops = [points(ax, f"partials {part}") for part in ("Guitar 1", "Guitar 2")]
    for bracket in drawn(ax, "beat"):
        x, y = np.asarray(bracket.get_xdata()), np.asarray(bracket.get_ydata())
        for place, level in tops:
            under = (place >= x.min() - 1e-9) & (place <= x.max() + 1e-9)
            assert under.any()
            assert (level[under] < y.min()).all()


# Masking -------------------------------------------------------------------------------------


def test_threshold_of_the_louder_and_what_it_hides():
    """``is_masked`` on the partials gives the same, for a part 30 dB softer a third above."""
    ax = plot_hearing(two("A2", "C3", level=[0.0, -30.0]), 0)
    loud, soft = tones("A2"), tones("C3", level=40.0)
    hidden = is_masked(loud, soft) & (soft.level >= masked_threshold(tones("A2", level=-200.0),
                                                                   soft.frequency))  # fmt: skip
    assert hidden.any()
    x, level = points(ax, "hidden")
    assert x == pytest.approx(rate(soft.frequency[hidden]))
    assert level == pytest.approx(soft.level[hidden])
    place, threshold = points(ax, "masked threshold")
    hertz = (10 ** (place / 21.4) - 1) / 0.00437
    assert threshold == pytest.approx(masked_threshold(loud, hertz))
    assert key(ax)[-1] == "hidden by Guitar A"


def test_louder_part_hides_whichever_comes_first():
    ax = plot_hearing(two("C3", "A2", level=[-30.0, 0.0]), 0)
    assert key(ax)[-1] == "hidden by Guitar B"


def test_no_threshold_where_nothing_is_hidden():
    ax = plot_hearing(two("A2", "E5"), 0)
    assert drawn(ax, "masked threshold") == drawn(ax, "hidden") == []


# The moment ----------------------------------------------------------------------------------


def test_title_names_measure_beat_and_notes():
    song = song_of(("Guitar A", "A2 E3", 4, 4), ("Guitar B", "C#4", 6, 2),
                   sections=[("Verse", 1)])  # fmt: skip
    first, one, other = title(plot_hearing(song, 6.0))
    assert first.startswith("Measure 2 (Verse), beat 3:")
    assert (one, other) == ("Guitar A: A2 E3", "Guitar B: C#4")


def test_notes_are_spelled_by_the_key():
    song = song_of(("Guitar A", "A#2", 0, 4), key="F major")
    assert title(plot_hearing(song, 0))[1] == "Guitar A: Bb2"


def test_default_is_the_first_two_that_sound():
    song = song_of(("Voice", "A4", 4, 4), ("Guitar A", "A2", 0, 4), ("Guitar B", "E3", 0, 4),
                   ("Bass", "A1", 0, 4))  # fmt: skip
    assert key(plot_hearing(song, 0))[:2] == ["Guitar A", "Guitar B"]
    assert key(plot_hearing(song, 0, ["Bass", "Voice", "Guitar B"]))[:2] == ["Bass", "Guitar B"]


def test_one_alone_says_who_rests():
    ax = plot_hearing(two("A2", "E3"), 4.0, ["Guitar A", "Guitar B"])
    assert "Guitar A alone" in title(ax)[0]
    assert "Guitar B rests here." in said(ax)
    assert len(points(ax, "partials Guitar A")[0]) == 10


def test_silence_says_so():
    ax = plot_hearing(two("A2", "E3"), 8.0)
    assert said(ax) == "Silence: no note sounds here."
    assert title(ax) == ["Measure 3 (Song), beat 1"]


def test_drums_alone_have_no_partials():
    ax = plot_hearing(song_of(("Drums", np.nan, 0, 4)), 0)
    assert "Silence" in said(ax)


def test_every_finding_can_be_seen(demo):
    """Each finding is drawn, and no part of it is clipped."""
    findings = ar.find_clashes(demo)
    assert len(findings) > 5
    for finding in findings.itertuples():
        ax = plot_hearing(demo, finding.onset, finding.parts.split(" + "))
        assert title(ax)[0].startswith(f"Measure {finding.measure} (")
        assert beyond_figure(ax) < 0.01
        plt.close("all")


def test_unknown_part_and_moment_are_reported():
    song = two("A2", "E3")
    with pytest.raises(ar.ArrangeError, match="no part 'Harp'; there are Guitar A, Guitar B"):
        plot_hearing(song, 0, ["Harp"])
    for onset in (-1, 12, float("nan")):
        with pytest.raises(ar.ArrangeError, match="lies outside the song; it lasts 12 quarter"):
            plot_hearing(song, onset)


def test_roughness_of_both_is_shown():
    """The tests of hearing compare the values; here, a unison adds nothing to one part alone."""
    texts = said(plot_hearing(two("A2", "A2"), 0))
    alone = texts.split("Guitar A ")[1].split(",")[0]
    assert f"together {alone} (" in texts


# Looks ---------------------------------------------------------------------------------------


def test_parts_differ_without_colour():
    """Shape, filling and line differ; grey bands stay lighter than any line on them by 25."""
    one, other = hearing.LOOKS
    assert one.marker != other.marker
    assert one.line != other.line
    assert one.inside != other.inside
    assert lightness(other.color) - lightness(one.color) > 20
    assert 8 < 100 - lightness(hearing.SHARED) < 20
    for look in hearing.LOOKS:
        assert lightness(hearing.SHARED) - lightness(look.color) > 15


@pytest.mark.sampled
@pytest.mark.parametrize("parts", [2, 20])
@pytest.mark.parametrize("notes", ["A2", "C2 E2 G2 B2 D3 F3 A3 C4 E4 G4 B4 D5"])
def test_long_names_and_thick_chords_are_not_clipped(parts, notes):
    names = [f"Harbour festival guitar, left side, layer {n}" for n in range(parts)]
    song = song_of(*[(name, notes, 0, 4) for name in names],
                   parts=parts_of(*names, level=[-30.0, *[0.0] * (parts - 1)]),
                   sections=[("A long introduction to it all", 1)])  # fmt: skip
    assert beyond_figure(plot_hearing(song, 1 / 3)) < 0.01


def test_draws_on_the_given_axes_and_leaves_song_and_settings_alone():
    song = two("A2", "E3")
    before, notes = dict(mpl.rcParams), song.notes.copy()
    ax = Figure(figsize=(8, 5)).subplots()
    assert plot_hearing(song, 0, ax=ax) is ax
    assert plt.get_fignums() == []
    assert dict(mpl.rcParams) == before
    assert song.notes.equals(notes)
    assert b"<svg" in render_picture(plot_hearing(song_of(("A $x_1$", "C4", 0, 4)), 0))
    assert plot_hearing(song, 0).get_figure().get_figwidth() == figures.PAGE_WIDTH
