"""Pictures of form, texture and sonority: artists on the axes are compared with songs worked by
hand.
"""

from __future__ import annotations

from itertools import pairwise

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from pictures import beyond_figure, drawn, lightness, overlapping, written
from songs import parts_of
from songs import song as song_of

import arrange as ar
from arrange.hearing import joined, masked_share, partials, roughness
from arrange.plots import (
    figures,
    form,
    plot_form,
    plot_sonority,
    plot_texture,
    render_picture,
    sonority,
    texture,
)
from arrange.plots.lane_bars import stretches
from arrange.quantities import sonority as measured
from arrange.theory.pitch import parse_note

DRAW = [plot_form, plot_sonority, plot_texture]


def bars(ax, gid):
    """Return (left, right, low, high) of each bar under a name, from left to right."""
    (collection,) = drawn(ax, gid)
    corners = [path.vertices for path in collection.get_paths()]
    return sorted(
        (c[:, 0].min(), c[:, 0].max(), c[:, 1].min(), c[:, 1].max()) for c in corners
    )  # fmt: skip


def bar_at(ax, gid, measure):
    """Return (low, high) of the bar over the middle of a measure, or None."""
    found = [bar for bar in bars(ax, gid) if bar[0] < measure < bar[1]]
    return found[0][2:] if found else None


def shade_at(ax, gid, measure):
    """Return which shade the bar over the middle of a measure has, or None."""
    (collection,) = drawn(ax, gid)
    for path, color in zip(collection.get_paths(), collection.get_facecolors(), strict=True):
        if path.vertices[:, 0].min() < measure < path.vertices[:, 0].max():
            return [to_rgb(shade) for shade in form.SHADES].index(to_rgb(color))
    return None


def big_song(parts, measures):
    """Return parts with long names that play in turn, and two sections with long names."""
    rows = [
        (f"Harbour festival player {number}", 40 + 2 * number % 40, 4.0 * bar, 4.0)
        for number in range(parts)
        for bar in range(measures)
        if (bar + number) % 3
    ]
    sections = [("Slow introduction", 1), ("Dance with everyone in", measures // 2 + 1)]
    return song_of(*rows, sections=sections, bars=measures)


# Form ----------------------------------------------------------------------------------------


@pytest.fixture
def hand():
    """At 60 a minute a measure lasts 4 s. Guitar A: measure 1 four attacks (1 a second); 2 one
    chord of three notes, held through 3; 4 rest; 5 sixteen (4 a second); 6 thirty-two (8).
    """
    return song_of(
        *[("Guitar A", "C4", beat, 1) for beat in range(4)],
        ("Guitar A", "C4 E4 G4", 4, 8),
        *[("Guitar A", "C4", 16 + beat / 4, 0.25) for beat in range(16)],
        *[("Guitar A", "C4", 20 + beat / 8, 0.125) for beat in range(32)],
        ("Guitar B", "C3", 12, 4),
    )


def test_shade_is_attacks_a_second_and_silence_is_empty(hand):
    """By hand: 1, 0.25, 0 (held), silent, 4 and 8 attacks a second."""
    ax = plot_form(hand)
    shades = [shade_at(ax, "part Guitar A", measure) for measure in range(1, 7)]
    assert shades == [1, 1, 0, None, 3, 4]
    assert [shade_at(ax, "part Guitar B", m) for m in range(1, 7)] == [None] * 3 + [1] + [None] * 2


def test_thickness_is_the_notes_at_once(hand):
    """One note, then three, in a lane from 0 to 1 with its middle at 0.5."""
    ax = plot_form(hand)
    for measure, notes in ((1, 1), (2, 3), (3, 3), (5, 1)):
        low, high = bar_at(ax, "part Guitar A", measure)
        assert high - low == pytest.approx(form.THICKNESS[notes - 1])
        assert (low + high) / 2 == pytest.approx(0.5)


def test_bars_are_those_of_part_texture(demo):
    """The table is compared, row by row, with what is drawn at its measure."""
    ax = plot_form(demo)
    for row in ar.part_texture(demo, by="measure").itertuples():
        shade = shade_at(ax, f"part {row.part}", row.measure)
        if row.silence == 1:
            assert shade is None
        else:
            limit = [0, 1, 2, 4, np.inf]
            assert shade == next(n for n, most in enumerate(limit) if row.density <= most)


def test_guitar_1_is_seen_to_lay_out_in_the_bridge(demo):
    """It waits for the first four measures of the bridge, 65 to 68 as played."""
    ax = plot_form(demo)
    resting = [m for m in range(1, 93) if bar_at(ax, "part Guitar 1", m) is None]
    assert resting == [65, 66, 67, 68]


def test_energy_steps_by_hand():
    """Alone, then doubled: half the players, notes and attacks, 1/sqrt(2) of the amplitude.

    (0.5 + 0.5 + 0.5 + 0.7071) / 4 = 0.5518, against 1 for the fullest.
    """
    alone = [("Guitar A", "C4", 4 * bar, 4) for bar in range(4)]
    other = [("Guitar B", "C4", 4 * bar, 4) for bar in (2, 3)]
    ax = plot_form(song_of(*alone, *other, sections=[("Alone", 1), ("Both", 3)]))
    assert written(ax, "energy number") == ["55", "100"]
    (line,) = drawn(ax, "energy of sections")
    assert line.get_xdata().tolist() == [0.5, 2.5, 2.5, 4.5]
    zero, half, full = ax.get_yticks()
    assert [label.get_text() for label in ax.get_yticklabels()] == ["0", "50", "100"]
    assert (half - zero) * 2 == pytest.approx(full - zero)
    heights = (line.get_ydata() - zero) / (full - zero)
    assert heights == pytest.approx([0.5518, 0.5518, 1, 1], abs=1e-4)
    assert "Fullest: Both." in " ".join(text.get_text() for text in ax.texts)


def test_energy_of_measures_is_that_of_the_table(demo):
    ax = plot_form(demo)
    (curve,) = drawn(ax, "energy of measures")
    zero, _, full = ax.get_yticks()
    top = curve.get_paths()[0].vertices
    for row in ar.song_energy(demo, by="measure").itertuples():
        y = top[np.abs(top[:, 0] - row.measure) == 0.5, 1]
        assert np.abs((y - zero) / (full - zero) - row.energy).min() < 1e-9


def test_one_section_has_no_line_to_compare():
    ax = plot_form(song_of(("Guitar A", "C4", 0, 4)))
    assert drawn(ax, "energy of sections") == []
    assert "Fullest" not in " ".join(text.get_text() for text in ax.texts)


def test_shades_step_evenly_in_grey():
    """CIE lightness falls by 15 or more from each shade to the next, and from paper by 10."""
    levels = [lightness(shade) for shade in form.SHADES]
    assert min(a - b for a, b in pairwise(levels)) > 15
    assert lightness(figures.PAPER) - levels[0] > 10


def test_stretches_end_where_looks_or_measures_part():
    """By hand: measures 1-2 look alike, 3 differs, 5 follows a gap."""
    first, last = stretches(np.array([1, 2, 3, 5]), np.array([1, 1, 2, 2]))
    assert (first.tolist(), last.tolist()) == ([0, 2, 3], [1, 2, 3])
    assert [len(each) for each in stretches(np.array([]), np.array([]))] == [0, 0]


@pytest.mark.parametrize("draw", DRAW)
def test_a_song_without_notes_says_so(draw):
    ax = draw(song_of(parts=["Guitar A", "Guitar B"], bars=4))
    said = "No two parts sound at once." if draw is plot_sonority else "No part here has notes."
    assert said in [text.get_text() for text in ax.texts]


def test_drums_are_drawn_as_busy():
    song = song_of(("Drums", np.nan, 0, 4), ("Guitar A", "C4", 0, 4))
    assert shade_at(plot_form(song), "part Drums", 1) == 1


# Texture -------------------------------------------------------------------------------------


def heights(ax, gid, measure):
    """Return how far a bar reaches, from and to, in attacks a second; None without a bar."""
    found = bar_at(ax, gid, measure)
    if found is None:
        return None
    lane = int(found[0] + 1e-9)
    per_attack = texture.UP / float(written(ax, "scale")[1])
    return tuple(round((lane + 1 - y) / per_attack, 9) for y in reversed(found))


def test_bars_are_attacks_a_second_and_black_those_together():
    """By hand, at 60 a minute: A strikes on each of four beats, B on the first two and between
    the last two; so two of A's four and two of B's three are together.
    """
    ax = plot_texture(
        song_of(
            *[("Guitar A", "C4 E4", beat, 1) for beat in range(4)],
            *[("Guitar B", "G4", beat, 0.5) for beat in (0, 1, 2.5)],
        )
    )
    assert heights(ax, "together Guitar A", 1) == (0, 0.5)
    assert heights(ax, "attacks Guitar A", 1) == (0.5, 1)
    assert heights(ax, "together Guitar B", 1) == (0, 0.5)
    assert heights(ax, "attacks Guitar B", 1) == (0.5, 0.75)
    assert heights(ax, "echoes Guitar A", 1) is None


def test_echoes_stand_on_top_by_their_loudness():
    """One attack a second, three repeats of 6, 12 and 18 dB less each: 0.501 + 0.251 + 0.126 of
    it (-6 dB is an amplitude of 10 ** (-6 / 20)).
    """
    parts = parts_of("Guitar A", "Guitar B", echo=["sixteenth", None])
    song = song_of(
        *[("Guitar A", "C4", beat, 1) for beat in range(4)], ("Guitar B", "C3", 0.5, 1), parts=parts
    )
    low, high = heights(plot_texture(song), "echoes Guitar A", 1)
    assert low == 1
    assert high - low == pytest.approx(sum(10 ** (-6 * n / 20) for n in (1, 2, 3)))


def test_only_the_parts_that_are_drawn_count_as_together():
    song = song_of(*[(f"Guitar {name}", "C4", beat, 1) for name, beat in ("A0", "B1", "C1")])
    assert heights(plot_texture(song, ["Guitar B", "Guitar A"]), "together Guitar B", 1) is None
    assert heights(plot_texture(song), "together Guitar B", 1) == (0, 0.25)
    with pytest.raises(ar.ArrangeError, match="Guitar D"):
        plot_texture(song, ["Guitar D"])


def test_the_picture_of_texture_is_the_table(demo):
    """The table of all parts is compared; its column for the other guitar is the same."""
    ax = plot_texture(demo)
    assert written(ax, "part name") == ["Guitar 1", "Guitar 2"]
    for row in ar.part_texture(demo, by="measure").to_dict("records"):
        if row["part"] not in ("Guitar 1", "Guitar 2"):
            continue
        other = {"Guitar 1": "with Guitar 2", "Guitar 2": "with Guitar 1"}[row["part"]]
        black = heights(ax, f"together {row['part']}", row["measure"])
        shared = row["density"] * row[other] if row["attacks"] else 0
        assert (black[1] if black else 0) == pytest.approx(shared, abs=1e-9)
        rest = heights(ax, f"attacks {row['part']}", row["measure"])
        assert (rest or black or (0, 0))[1] == pytest.approx(row["density"], abs=1e-9)


def test_the_title_of_texture_names_the_section_with_most_together():
    apart = [("Guitar A", "C4", 0, 1), ("Guitar B", "C4", 1, 1)]
    both = [(f"Guitar {name}", "C4", 4, 1) for name in "AB"]
    song = song_of(*apart, *both, sections=[("Verse", 1), ("Tag", 2)])
    assert plot_texture(song).get_title(loc="left").endswith("struck together, most in Tag")
    assert plot_texture(song_of(*apart)).get_title(loc="left").startswith("No black")
    one = plot_texture(song, ["Guitar A"])
    assert one.get_title(loc="left") == "How often Guitar A strikes, measure by measure"


# Sonority ------------------------------------------------------------------------------------


def scale_ends(ax):
    """Return ends of the first lane's scales: added roughness, and hidden share."""
    up, _, down = written(ax, "scale")[:3]
    return float(up), float(down.rstrip("%")) / 100


def test_bars_up_are_the_roughness_added():
    """The partials of both parts are computed directly: a semitone, an octave, and one part
    alone.
    """
    song = song_of(
        ("Guitar A", "A3", 0, 12), ("Guitar B", "Bb3", 0, 4), ("Guitar B", "A4", 4, 4)
    )  # fmt: skip
    ax = plot_sonority(song)
    end, _ = scale_ends(ax)
    for measure, other in ((1, "Bb3"), (2, "A4")):
        one, two = (partials(np.array([parse_note(name)]), 70.0) for name in ("A3", other))
        added = float(roughness(joined(one, two)) - max(roughness(one), roughness(two)))
        low, high = bar_at(ax, "added Guitar A + Guitar B", measure)
        assert high == sonority.ZERO
        assert (high - low) / sonority.UP * end == pytest.approx(max(added, 0), abs=1e-9)
    assert bar_at(ax, "added Guitar A + Guitar B", 3) is None
    assert bar_at(ax, "together Guitar A + Guitar B", 3) is None


def test_bars_down_are_the_share_that_the_louder_hides():
    """``masked_share`` of the partials is computed directly, for a part 30 dB softer a third
    above.
    """
    parts = parts_of("Guitar A", "Guitar B", level=[0.0, -30.0])
    song = song_of(("Guitar A", "A2", 0, 4), ("Guitar B", "C3", 0, 4), parts=parts)
    ax = plot_sonority(song)
    loud = partials(np.array([parse_note("A2")]), measured.REFERENCE_LEVEL)
    soft = partials(np.array([parse_note("C3")]), measured.REFERENCE_LEVEL - 30)
    low, high = bar_at(ax, "hidden Guitar A + Guitar B", 1)
    share = float(masked_share(loud, soft))
    assert share > 0.5
    assert low == sonority.ZERO
    assert (high - low) / sonority.DOWN * scale_ends(ax)[1] == pytest.approx(share)
    assert f"Most hidden: {share:.0%} of Guitar B, by Guitar A in measure 1." in [
        text.get_text() for text in ax.texts
    ]


def test_every_bar_is_a_row_of_the_tables(demo):
    ax = plot_sonority(demo)
    end, hidden_end = scale_ends(ax)
    shares = measured.masked_energy(demo, by="measure")
    place = {name: n // 2 for n, name in enumerate(written(ax, "part name"))}
    assert len(place) == 4
    pairs = list(zip(*[iter(written(ax, "part name"))] * 2, strict=True))
    for row in measured.pair_roughness(demo, by="measure").itertuples():
        zero = pairs.index((row.part_a, row.part_b)) + sonority.ZERO
        name = f"{row.part_a} + {row.part_b}"
        low, _ = bar_at(ax, f"added {name}", row.measure)
        assert (zero - low) / sonority.UP * end == pytest.approx(max(row.added, 0), abs=1e-9)
        both = shares["masker"].isin([row.part_a, row.part_b]) & shares["target"].isin(
            [row.part_a, row.part_b]
        )
        most = shares.loc[both & (shares["measure"] == row.measure), "share"].max()
        _, high = bar_at(ax, f"hidden {name}", row.measure)
        assert (high - zero) / sonority.DOWN * hidden_end == pytest.approx(most, abs=1e-9)


def test_at_most_six_pairs_the_worst_first():
    """Five parts make ten pairs; B2 and C3 low down are rough, the others are octaves of A."""
    names = ["A4", "A5", "B2", "C3", "A6"]
    song = song_of(*[(f"Guitar {n}", note, 0, 4) for n, note in enumerate(names, 1)])
    ax = plot_sonority(song)
    assert len(written(ax, "part name")) == 12
    assert written(ax, "part name")[:2] == ["Guitar 3", "Guitar 4"]
    assert any("Shown: 6 of 10 pairs" in text.get_text() for text in ax.texts)


def test_up_and_down_differ_in_grey():
    """They lie on two sides of a line, and their lightness also differs by 20."""
    assert lightness(figures.ORANGE) - lightness(figures.BLUE) > 20


# All -----------------------------------------------------------------------------------------


@pytest.mark.sampled
@pytest.mark.parametrize("draw", DRAW)
@pytest.mark.parametrize("parts", [2, 20])
@pytest.mark.parametrize("measures", [8, 500])
def test_nothing_is_clipped_and_no_names_overlap(draw, parts, measures):
    ax = draw(big_song(parts, measures))
    assert beyond_figure(ax) < 0.01
    for gid in ("part name", "section name", "energy number", "scale"):
        assert overlapping(drawn(ax, gid)) == [], gid
    assert overlapping([label for label in ax.get_xticklabels() if label.get_text()]) == []
    assert ax.get_figure().get_figwidth() == figures.PAGE_WIDTH


@pytest.mark.sampled
@pytest.mark.parametrize("draw", DRAW)
def test_sections_along_the_top_and_the_demo_fits(draw, demo):
    ax = draw(demo)
    assert written(ax, "section name") == demo.sections["section"].tolist()
    assert beyond_figure(ax) < 0.01


@pytest.mark.parametrize("draw", DRAW)
def test_draws_on_the_given_axes_and_leaves_song_and_settings_alone(draw, hand):
    before, notes = dict(mpl.rcParams), hand.notes.copy()
    ax = Figure(figsize=(8, 5)).subplots()
    assert draw(hand, ax=ax) is ax
    assert plt.get_fignums() == []
    assert dict(mpl.rcParams) == before
    assert hand.notes.equals(notes)


@pytest.mark.parametrize("draw", DRAW)
def test_names_are_written_as_they_are(draw):
    """A dollar sign opens no formula."""
    song = song_of(("A $x_1$", "C4", 0, 4), ("B $", "C4", 0, 4), sections=[("Verse $^$", 1)])
    assert b"<svg" in render_picture(draw(song))
