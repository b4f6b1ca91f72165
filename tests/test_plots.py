"""The pictures: artists on the axes are compared with the tables they come from."""

from __future__ import annotations

import inspect
import re
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from pictures import drawn, lightness, overlapping
from songs import song as song_of

import arrange as ar
from arrange import plots
from arrange.clashes import KINDS
from arrange.plots import figures, plot_clashes, plot_overlap, plot_ranges, render_picture
from arrange.plots.overlap import MOST_PAIRS, MOST_SECTIONS
from arrange.plots.range_bands import HALF
from arrange.theory.pitch import note_name, parse_note

GUITARS = ["Guitar 1", "Guitar 2"]


def make_song(lines, sections=None):
    """Return a song in 4/4: for each part a list of measures, each a list of note names, one a
    beat.
    """
    count = max(len(measures) for measures in lines.values())
    sections = sections or {"Verse": count}
    firsts = np.cumsum([1, *sections.values()])[:-1].tolist()
    rows = [
        (part, name, 4.0 * bar + beat, 1.0)
        for part, measures in lines.items()
        for bar, names in enumerate(measures)
        for beat, name in enumerate(names)
    ]
    stretches = list(zip(sections, firsts, strict=True))
    return song_of(*rows, parts=list(lines), sections=stretches, bars=count)


def without_pitch(song, part):
    """Return the song with one part's notes left without a pitch, as percussion is."""
    pitch = song.notes["pitch"].where(song.notes["part"] != part)
    return replace(song, notes=song.notes.assign(pitch=pitch))


def make_findings(*rows):
    """Return findings from (kind, first measure, measures, severity, waived)."""
    return pd.DataFrame(
        [
            {"section": "Verse", "measure": first, "beat": 1.0, "onset": 4.0 * (first - 1),
             "duration": 4.0 * size, "kind": kind, "parts": "A + B", "pitches": "C4", "value": 1.0,
             "limit": 1.0, "unit": "s", "severity": severity, "why": "Because.", "source": "x",
             "notes": (), "waived": waived}
            for kind, first, size, severity, waived in rows
        ],
        columns=ar.describe("findings")["column"].tolist(),
    )  # fmt: skip


def extent(ax, gid, measure):
    """Return lowest and highest y of a drawing under a name at the middle of a measure, or None."""
    edges = []
    for artist in drawn(ax, gid):
        for path in artist.get_paths():
            corners = path.vertices
            crosses = (corners[:-1, 0] - measure) * (corners[1:, 0] - measure) < 0
            edges += corners[:-1][crosses, 1].tolist()
    return (min(edges), max(edges)) if edges else None


def texts(ax, gid=None):
    return [text.get_text() for text in ax.texts if gid is None or text.get_gid() == gid]


# Ranges --------------------------------------------------------------------------------------


def test_band_edges_are_the_numbers_of_part_ranges(demo):
    """A second road: part_ranges of the cut notes, measure by measure, half a semitone out."""
    ax = plot_ranges(demo)
    ranges = ar.part_ranges(ar.cut_notes(demo.notes, demo.measures, by="measure"), by="measure")
    for row in ranges[ranges["part"].isin(GUITARS)].itertuples():
        band = extent(ax, f"range {row.part}", row.measure)
        middle = extent(ax, f"middle half {row.part}", row.measure)
        assert band == (row.lowest - HALF, row.highest + HALF)
        assert middle == (row.middle_half_low - HALF, row.middle_half_high + HALF)


def test_band_has_a_gap_where_the_part_rests(demo):
    """Guitar 1 waits for the first four measures of the bridge, 65 to 68 as played."""
    ax = plot_ranges(demo)
    resting = [m for m in range(1, 93) if extent(ax, "range Guitar 1", m) is None]
    assert resting == [65, 66, 67, 68]


def test_shared_zone_is_exactly_where_ranges_meet():
    """By hand: C3-G3 against E3-C4 share E3-G3; against A3-C4 nothing; B rests in measure 3.

    In measure 4 both play G3 alone: one semitone, shared by the middle halves as well. The
    middle half of C3 C3 G3 G3 is C3-G3; of E3 C4 C4 C4 it is E3-C4, for the first quarter of
    the time ends with E3.
    """
    low, high = ["C3", "C3", "G3", "G3"], ["E3", "C4", "C4", "C4"]
    song = make_song(
        {"A": [low, low, low, ["G3"] * 4], "B": [high, ["A3", "A3", "C4", "C4"], [], ["G3"] * 4]}
    )
    ax = plot_ranges(song)
    e3, g3 = parse_note("E3"), parse_note("G3")
    zones = [extent(ax, "shared zone", measure) for measure in (1, 2, 3, 4)]
    assert zones == [(e3 - HALF, g3 + HALF), None, None, (g3 - HALF, g3 + HALF)]
    middles = [extent(ax, "shared middle", measure) for measure in (1, 2, 3, 4)]
    assert middles == [(e3 - HALF, g3 + HALF), None, None, (g3 - HALF, g3 + HALF)]


def test_shared_zone_of_the_demo_is_found_where_its_ranges_meet(demo):
    """A second road: the measures in which max of the lowest is at most min of the highest."""
    ax = plot_ranges(demo)
    ranges = ar.part_ranges(ar.cut_notes(demo.notes, demo.measures, by="measure"), by="measure")
    one, two = (ranges[ranges["part"] == part].set_index("measure") for part in GUITARS)
    for measure in demo.measures["measure"]:
        zone = extent(ax, "shared zone", measure)
        if measure not in one.index:
            assert zone is None
            continue
        low = max(one["lowest"][measure], two["lowest"][measure])
        high = min(one["highest"][measure], two["highest"][measure])
        assert zone == ((low - HALF, high + HALF) if low <= high else None)


def test_title_names_the_crowded_chorus(demo):
    """The demo's one crowding lies in Chorus 1 (datasets/README.md), played as 25 to 32."""
    title = plot_ranges(demo).get_title(loc="left")
    assert title == "Look for black: both in one register, most in Chorus 1 (measures 25–32)"


def test_title_says_when_parts_keep_apart():
    song = make_song({"A": [["C3"] * 4], "B": [["C5"] * 4]})
    assert plot_ranges(song).get_title(loc="left").startswith("No black")


def test_pitch_axis_names_notes(demo):
    ax = plot_ranges(demo)
    labels = [label.get_text() for label in ax.get_yticklabels()]
    assert labels == [note_name(tick) for tick in ax.get_yticks()]
    assert {"C3", "C4", "C5"} <= set(labels)


def test_sections_and_measures_are_named(demo):
    ax = plot_ranges(demo)
    assert texts(ax, "section name") == demo.sections["section"].tolist()
    first = {str(measure) for measure in demo.sections["first_measure"]}
    numbers = {label.get_text() for label in ax.get_xticklabels()}
    assert {"1", "25", "57", "77"} <= numbers <= first
    assert ax.get_xlabel() == "measure, as played"


@pytest.mark.parametrize("count", [1, 8, 50, 500])
def test_section_names_never_overlap(count):
    """Measures of two sections each, with whole and long names, however many sections there are."""
    sections = {f"Pre-chorus number {n}" if n % 3 else f"V{n}": 1 + n % 4 for n in range(count)}
    song = make_song({"A": [["C4"]] * sum(sections.values())}, sections=sections)
    ax = plot_ranges(song)
    names = drawn(ax, "section name")
    assert names
    assert overlapping(names) == []
    assert overlapping([label for label in ax.get_xticklabels() if label.get_text()]) == []


def test_longest_sections_keep_their_names():
    """Among sixty sections of one measure, the one of forty measures is still named."""
    sections = {f"Short {n}": 1 for n in range(60)} | {"Jam": 40}
    song = make_song({"A": [["C4"]] * 100}, sections=sections)
    assert "Jam" in texts(plot_ranges(song), "section name")


@pytest.mark.parametrize("parts", [2, 4, 20])
def test_names_beside_the_picture_never_overlap(parts):
    """Parts that all end on one note would have their names at one place."""
    song = make_song({f"Guitar {n}": [["C4", "E4"]] * 8 for n in range(parts)})
    ax = plot_ranges(song)
    names = drawn(ax, "part name")
    assert {f"Guitar {n}" for n in range(parts)} <= set(texts(ax, "part name"))
    assert overlapping(names) == []
    assert overlapping(ax.get_yticklabels()) == []


def test_many_parts_get_lanes_with_one_scale():
    """Three parts: each band keeps its height in semitones and none reaches into another."""
    song = make_song({"A": [["C3", "C4"]], "B": [["E4", "G4"]], "C": [["E4", "F4"]]})
    ax = plot_ranges(song)
    bands = [extent(ax, f"range {part}", 1) for part in "ABC"]
    assert [round(high - low, 6) for low, high in bands] == [13, 4, 2]
    assert bands[0][0] > bands[1][1] > bands[1][0] > bands[2][1]


def test_lanes_blacken_only_what_two_middle_halves_share():
    """By hand: B and C share E4-F4, two semitones; A shares nothing and names no partner."""
    song = make_song({"A": [["C3", "C4"]], "B": [["E4", "G4"]], "C": [["E4", "F4"]]})
    ax = plot_ranges(song)
    lower = extent(ax, "range B", 1)[0]
    assert extent(ax, "shared middle A", 1) is None
    assert extent(ax, "shared middle B", 1) == (lower, lower + 2)
    assert extent(ax, "shared middle C", 1) == extent(ax, "range C", 1)
    assert texts(ax, "part name") == ["A", "B", "with C", "C", "with B"]


def test_lane_shares_low_with_one_part_and_high_with_another():
    """By hand: B, D3 to C4, shares D3-E3 with A and B3-C4 with C; F3 is its own."""
    song = make_song({"A": [["C3", "E3"]], "B": [["D3", "C4"]], "C": [["B3", "D4"]]})
    ax = plot_ranges(song)
    low, high = extent(ax, "range B", 1)
    pieces = [path.get_extents() for path in drawn(ax, "shared middle B")[0].get_paths()]
    assert [(box.y0, box.y1) for box in pieces] == [(low, low + 3), (high - 2, high)]


def test_guitars_are_drawn_unless_parts_are_named(demo):
    assert texts(plot_ranges(demo), "part name") == GUITARS
    named = plot_ranges(demo, parts=["Voice", "Guitar 2"])
    assert texts(named, "part name") == ["Voice", "Guitar 2"]


def test_all_pitched_parts_are_drawn_without_two_guitars():
    song = make_song({"Voice": [["C5"]], "Guitar": [["C4"]]})
    assert texts(plot_ranges(song), "part name") == ["Voice", "Guitar"]


def test_unknown_part_is_refused_before_a_figure_is_made(demo):
    with pytest.raises(ar.ArrangeError, match=r"no part 'Banjo'; there are Voice, Guitar 1"):
        plot_ranges(demo, parts=["Banjo"])
    assert plt.get_fignums() == []


def test_single_part_in_a_single_measure():
    song = make_song({"Guitar": [["E2", "E2", "E2", "B2"]]})
    ax = plot_ranges(song)
    assert extent(ax, "range Guitar", 1) == (40 - HALF, 47 + HALF)
    assert extent(ax, "middle half Guitar", 1) == (40 - HALF, 40 + HALF)
    assert ax.get_title(loc="left") == "Where Guitar lies, measure by measure"
    assert [label.get_text() for label in ax.get_xticklabels()] == ["1"]


def test_percussion_only_is_a_plain_sentence():
    song = without_pitch(make_song({"Drums": [["C4"] * 4]}), "Drums")
    ax = plot_ranges(song)
    assert "No part here has pitched notes." in texts(ax)
    assert "Without pitched notes, left out: Drums." in texts(ax)


def test_part_without_pitches_is_left_out_and_named():
    song = without_pitch(make_song({"A": [["C4"]], "B": [["C4"]], "Drums": [["C4"]]}), "Drums")
    ax = plot_ranges(song, parts=["A", "B", "Drums"])
    assert texts(ax, "part name") == ["A", "B"]
    assert "Without pitched notes, left out: Drums." in texts(ax)


def test_long_song_says_how_many_measures_a_step_is():
    """1,600 measures on 390 points: four to a step, and a step holds the notes of all four."""
    song = make_song({"A": [["C4"], ["E4"], ["G4"], ["C5"]] * 400})
    ax = plot_ranges(song)
    assert "Each step is 4 measures." in texts(ax)
    assert extent(ax, "range A", 2.3) == (60 - HALF, 72 + HALF)


def test_fills_differ_in_grey():
    """CIE lightness: 30 steps to the black, 20 from part to part and from dark to pale."""
    fills = [figures.BLUE, figures.ORANGE, figures.PALE_BLUE, figures.PALE_ORANGE, figures.PAPER]
    levels = sorted(lightness(fill) for fill in fills)
    assert lightness(figures.INK) < levels[0] - 30
    for deep, pale in ((figures.BLUE, figures.PALE_BLUE), (figures.ORANGE, figures.PALE_ORANGE)):
        assert lightness(pale) - lightness(deep) > 20
    assert lightness(figures.ORANGE) - lightness(figures.BLUE) > 20
    assert min(np.diff(levels)) > 6


# Overlap -------------------------------------------------------------------------------------


def test_overlap_cells_hold_the_numbers_of_register_overlap(demo):
    cut = ar.cut_notes(demo.notes, demo.sections, by="section")
    overlap = ar.register_overlap(cut, by="section").dropna(subset="together")
    ax = plot_overlap(demo)
    rows = [label.get_text() for label in ax.get_yticklabels()]
    columns = [label.get_text() for label in ax.get_xticklabels()]
    assert columns == demo.sections["section"].tolist()
    shown = {
        (rows[round(text.get_position()[1])], columns[round(text.get_position()[0])]):
        text.get_text() for text in drawn(ax, "overlap")
    }  # fmt: skip
    assert shown == {
        (f"{row.part_a} + {row.part_b}", row.section): f"{100 * row.together:.0f}"
        for row in overlap.itertuples()
    }


def test_guitars_come_first_then_the_most_overlapping(demo):
    rows = [label.get_text() for label in plot_overlap(demo).get_yticklabels()]
    assert rows[:2] == ["Guitar 1 + Guitar 2", "Guitar 1 + Voice"]


def test_overlap_takes_a_table(demo):
    cut = ar.cut_notes(demo.notes, demo.sections, by="section")
    ax = plot_overlap(ar.register_overlap(cut, by="section"))
    assert len(ax.get_yticklabels()) == 6


def test_overlap_refuses_another_table(demo):
    with pytest.raises(ar.ArrangeError, match=r"lacks \['section'\]; plot_overlap takes a Song"):
        plot_overlap(ar.register_overlap(demo.notes, by="song"))
    assert plt.get_fignums() == []


def test_pair_that_never_sounds_together_is_left_empty():
    song = make_song({"A": [["C4"], []], "B": [["C4"], ["C4"]]}, sections={"Verse": 1, "Tag": 1})
    ax = plot_overlap(song)
    assert [text.get_text() for text in drawn(ax, "overlap")] == ["100"]
    apart = make_song({"A": [["C4"]], "B": [[]], "C": [["C4"]]})
    late = apart.notes.assign(onset=apart.notes["onset"] + (apart.notes["part"] == "C"))
    ax = plot_overlap(replace(apart, notes=late))
    assert drawn(ax, "overlap") == []
    assert texts(ax)[-1].endswith("Empty: never together.")


def test_of_many_pairs_the_most_overlapping_are_shown():
    """Twenty parts make 190 pairs, twenty-six sections are more than fit."""
    sections = {f"Section {n}": 1 for n in range(26)}
    song = make_song({f"P{n}": [["C4", "E4"]] * 26 for n in range(20)}, sections=sections)
    ax = plot_overlap(song)
    assert len(ax.get_yticklabels()) == MOST_PAIRS
    assert len(ax.get_xticklabels()) == MOST_SECTIONS
    shown = "Shown: 30 of 190 pairs and 24 of 26 sections, those that overlap most."
    assert texts(ax)[-1].endswith(shown)
    assert overlapping(drawn(ax, "overlap")) == []
    assert overlapping([*ax.get_xticklabels(), *ax.get_yticklabels()]) == []


def test_one_part_has_no_pair():
    ax = plot_overlap(make_song({"A": [["C4"]]}))
    assert "No two parts sound in one section." in texts(ax)


def test_numbers_stand_out_from_their_cells(demo):
    ax = plot_overlap(demo)
    cells = ax.collections[0]
    for text in drawn(ax, "overlap"):
        fill = cells.cmap(float(text.get_text()) / 100)[:3]
        assert abs(lightness(text.get_color()) - lightness(fill)) > 38


# Clashes -------------------------------------------------------------------------------------


@pytest.fixture
def song():
    return make_song({"A": [["C4"]] * 16, "B": [["E4"]] * 16}, sections={"Verse": 8, "Chorus": 8})


class Bar(NamedTuple):
    """A finding as it is drawn: from left to right, from its lane's line up."""

    left: float
    width: float
    foot: float
    height: float
    color: tuple[float, ...]


def bars_of(ax, gid="finding"):
    """Return the bars of all lanes, in the order in which they are drawn."""
    bars = []
    for lane in sorted(drawn(ax, gid), key=lambda lane: lane.get_zorder()):
        colors = lane.get_facecolor()
        for number, path in enumerate(lane.get_paths()):
            (left, foot), (right, top) = path.vertices[0], path.vertices[2]
            color = colors[number] if len(colors) else (1.0, 1.0, 1.0, 0.0)
            bars.append(Bar(left, right - left, foot, foot - top, tuple(color)))
    return bars


def test_bars_run_from_start_to_end_in_the_lane_of_their_kind(song):
    findings = make_findings(("mud", 3, 2, 0.5, None), ("rub", 5, 1, 1.0, None))
    ax = plot_clashes(findings, song)
    bars = {round(bar.left, 6): bar for bar in bars_of(ax)}
    assert sorted(bars) == [2.5, 4.5]
    assert [bars[2.5].width, bars[4.5].width] == [2, 1]
    assert [bars[2.5].foot, bars[4.5].foot] == [2, 1]
    assert texts(ax, "kind") == ["rub (1)", KINDS["rub"].lane, "mud (1)", KINDS["mud"].lane]
    assert texts(ax, "section name") == ["Verse", "Chorus"]


def test_severe_bars_are_taller_and_darker(song):
    rows = [("rub", 1 + n, 1, n / 10, None) for n in range(11)]
    ax = plot_clashes(make_findings(*rows), song)
    bars = sorted(bars_of(ax))
    heights = [bar.height for bar in bars]
    greys = [lightness(bar.color[:3]) for bar in bars]
    assert (np.diff(heights) > 0.03).all()
    assert (np.diff(greys) < -2).all()
    assert greys[0] < 88


def test_strongest_bar_is_drawn_before_the_others(song):
    """Twenty at one place: the tallest hides the rest, and the label counts them."""
    rows = [("crowding", 1, 8, n / 20, None) for n in range(20)]
    ax = plot_clashes(make_findings(*rows), song)
    assert bars_of(ax)[-1].height == max(bar.height for bar in bars_of(ax))
    assert texts(ax, "strongest") == ["A + B and 19 more"]


def test_waived_findings_are_hollow_and_unlabelled(song):
    findings = make_findings(("rub", 1, 1, 0.9, "d1"), ("rub", 9, 1, 0.4, None))
    ax = plot_clashes(findings, song)
    (hollow,) = bars_of(ax, "waived finding")
    assert hollow.color[3] == 0
    (label,) = drawn(ax, "strongest")
    assert label.get_position()[0] == pytest.approx(8.5)
    legend = [text.get_text() for text in ax.get_legend().get_texts()]
    assert legend == ["severe", "mild", "waived by a decision"]


def test_labels_of_the_strongest_never_overlap(song):
    kinds = list(KINDS)
    rows = [(kind, 1 + n, 2, (n * 7 % 15) / 15, None) for kind in kinds for n in range(15)]
    ax = plot_clashes(make_findings(*rows), song)
    assert overlapping([*drawn(ax, "strongest"), *drawn(ax, "kind")]) == []
    inside = ax.get_window_extent()
    assert all(text.get_window_extent().x1 <= inside.x1 + 3 for text in drawn(ax, "strongest"))


def test_few_labels_are_tried_of_many_bars_at_one_place(song, monkeypatch):
    """Once the strongest bar has its label, bars that begin under it are not measured."""
    measured = []
    monkeypatch.setattr(
        "arrange.plots.clashes.text_points",
        lambda text: measured.append(text) or figures.text_points(text),
    )
    plot_clashes(make_findings(*[("rub", 1, 2, n / 200, None) for n in range(200)]), song)
    assert len(measured) == 1


def test_short_finding_in_a_long_song_stays_visible():
    long = make_song({"A": [["C4"]] * 1000})
    ax = plot_clashes(make_findings(("rub", 500, 0.1, 0.5, None)), long)
    (bar,) = bars_of(ax)
    pixels = np.ptp(ax.transData.transform([[bar.left, 0], [bar.left + bar.width, 0]])[:, 0])
    assert pixels >= 1.8 * ax.get_figure().dpi / 72 - 0.01


def test_no_findings_is_a_plain_sentence(song):
    assert "No clashes found." in texts(plot_clashes(make_findings(), song))


def test_demo_findings_are_all_drawn(demo):
    findings = ar.find_clashes(demo)
    ax = plot_clashes(findings, demo)
    assert len(bars_of(ax)) == len(findings)


# All of them ---------------------------------------------------------------------------------


def _draw_all(song, axes):
    findings = make_findings(("rub", 1, 1, 0.5, None))
    return [
        plot_ranges(song, ax=axes[0]),
        plot_overlap(song, ax=axes[1]),
        plot_clashes(findings, song, ax=axes[2]),
    ]


def test_plots_draw_on_the_given_axes_and_open_no_figure(demo):
    axes = Figure(figsize=(8, 12)).subplots(3, 1)
    assert _draw_all(demo, axes) == list(axes)
    assert plt.get_fignums() == []


def test_plots_make_one_figure_each_and_leave_settings_alone(demo):
    before = dict(mpl.rcParams)
    made = _draw_all(demo, [None, None, None])
    assert len(plt.get_fignums()) == 3
    assert all(ax.get_figure().get_figwidth() == figures.PAGE_WIDTH for ax in made)
    assert dict(mpl.rcParams) == before


def test_tables_are_left_as_they_are(song):
    findings = make_findings(("rub", 1, 1, 0.5, None))
    kept, notes = findings.copy(), song.notes.copy()
    plot_clashes(findings, song)
    plot_ranges(song)
    pd.testing.assert_frame_equal(findings, kept)
    pd.testing.assert_frame_equal(song.notes, notes)


def test_names_are_written_as_they_are():
    """A dollar sign starts no formula in any picture."""
    song = make_song({"A $x_1$": [["C4"]], "B $": [["C4"]]}, sections={"Verse $^$": 1})
    findings = make_findings(("rub", 1, 1, 0.5, None)).assign(parts="A $x_1$ + B $")
    for ax in (plot_ranges(song), plot_overlap(song), plot_clashes(findings, song)):
        assert b"<svg" in render_picture(ax)


def test_long_names_keep_their_numbers():
    assert figures.short("Guitar 12") == "Guitar 12"
    assert figures.short("Rhythm guitar, left, layer 12", 20) == "Rhythm guitar…yer 12"
    assert len(figures.short("Rhythm guitar, left, layer 12", 20)) <= 20


def test_rendered_picture_is_the_same_each_time_and_closed(song):
    first, second = (render_picture(plot_ranges(song)) for _ in range(2))
    assert first == second
    assert render_picture(plot_ranges(song), "png").startswith(b"\x89PNG")
    assert plt.get_fignums() == []
    with pytest.raises(ar.ArrangeError, match="kind='gif': a picture is one of 'svg', 'png'"):
        render_picture(plot_ranges(song), "gif")


def test_signs_that_the_typeface_lacks_are_no_warning():
    """A label may hold a picture of a guitar; warnings are errors here."""
    song = make_song({"Guitar \U0001f3b8": [["C4"]]}, sections={"Chorus \U0001f3b8": 1})
    assert b"<svg" in render_picture(plot_ranges(song), "svg")


def test_each_picture_lies_in_the_file_of_its_name():
    """The list is ``plots.__all__``; the front door offers every picture, and nothing else draws
    one. Each takes seven parameters at most, the last of them the axes to draw on."""
    pictures = [name for name in plots.__all__ if name.startswith("plot_")]
    files = Path(plots.__file__).parent.glob("*.py")
    code = "\n".join(file.read_text(encoding="utf-8") for file in files)
    made = re.findall(r"^def (plot_\w+)", code, re.M)
    assert pictures == sorted(made), "arrange/plots/__init__.py: the import and __all__"
    offered = [name for name in ar.__all__ if name.startswith("plot_")]
    assert pictures == offered, "arrange/__init__.py: the import, __all__ and _HOMES"
    for name in pictures:
        plot = getattr(plots, name)
        assert plot.__module__ == f"arrange.plots.{name.removeprefix('plot_')}"
        parameters = list(inspect.signature(plot).parameters)
        assert parameters[-1] == "ax" or name == "plot_before_after"  # which makes two
        assert len(parameters) <= 7, name
