"""Pictures of necks and hands: artists on the axes are compared with the tables and shapes."""

from __future__ import annotations

from itertools import combinations, pairwise

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from pictures import drawn, lightness, written
from songs import song as song_of
from songs import with_setup

import arrange as ar
from arrange.guitar.fingering import finger_part
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck, parse_shape
from arrange.plots import neck as neck_module
from arrange.plots import plot_neck, plot_positions, plot_shape, positions, render_picture
from arrange.plots.time_on_neck import hand_moments, hand_shares, place_shares, shared_share


@pytest.fixture(scope="module")
def both_hands(demo):
    return [finger_part(demo, part) for part in ("Guitar 1", "Guitar 2")]


def fingered(*rows, part="Guitar 1"):
    """Return a fingered table from (onset, duration, string, fret, finger, position)."""
    columns = ["onset", "duration", "string", "fret", "finger", "position"]
    table = pd.DataFrame(rows, columns=columns)
    integers = dict.fromkeys(columns[2:], "Int64")
    return table.astype(integers).assign(part=part, jump=False)


def words(ax, gid):
    """Return (word, x, y) of the texts under a name."""
    return [(text.get_text(), *text.get_position()) for text in drawn(ax, gid)]


def places(ax, gid):
    """Return (x, y) of the marks under a name."""
    return sorted(
        (float(line.get_xdata()[0]), float(line.get_ydata()[0])) for line in drawn(ax, gid)
    )


def behind(fret, scale=647.7):
    """Return the middle between a fret and the one before, mm from the nut, by the formula."""
    return scale * (1 - (2 ** (-(fret - 1) / 12) + 2 ** (-fret / 12)) / 2)


# Shapes on the neck --------------------------------------------------------------------------


def test_marks_lie_between_the_frets_at_their_true_distances():
    """x32010: strings 5, 4, 2 at frets 3, 2, 1; string 1 on top."""
    ax = plot_neck("x32010")
    expected = sorted([(behind(3), 5.0), (behind(2), 4.0), (behind(1), 2.0)])
    assert np.allclose(places(ax, "mark"), expected)
    assert {y for _, y in places(ax, "open")} == {1.0, 3.0}
    assert all(x < 0 for x, _ in places(ax, "open")), "open strings lie left of the nut"
    assert [y for _, y in places(ax, "left out")] == [6.0]
    low, high = ax.get_ylim()
    assert low > high, "string 1 is on top"


def test_frets_are_drawn_at_their_mm():
    """The 12th fret halves the string, the 5th leaves three quarters (to 0.2%: 2^(-5/12)).

    N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, 1998, chapter 9 (from
    memory): each fret leaves 2^(-1/12).
    """
    ax = plot_neck("x02210", Neck(scale_mm=650))
    at = [float(line.get_xdata()[0]) for line in drawn(ax, "fret")]
    assert at[11] == pytest.approx(325.0)
    assert at[4] == pytest.approx(650 * (1 - 2 ** (-5 / 12)))
    assert np.all(np.diff(at, 2) < 0), "spaces get narrower"


def test_notes_members_and_fingers_stand_in_the_marks():
    neck, shape = Neck(), "x32310"
    notes = {
        y: word for word, _, y in words(plot_neck(shape, labels=ar.FretLabels("notes")), "word")
    }
    assert notes == {1: "E", 2: "C", 3: "Bb", 4: "E", 5: "C"}
    members = plot_neck(shape, labels=ar.FretLabels("members", chord="C7"))
    assert {y: w for w, _, y in words(members, "word")} == {1: "3", 2: "1", 3: "b7", 4: "3", 5: "1"}
    fingers = {y: w for w, _, y in words(plot_neck(shape, labels=ar.FretLabels("fingers")), "word")}
    held = hold_shape(parse_shape(shape, neck), neck, Hand()).fingers
    assert fingers == {s: str(f) for s, f in enumerate(held, 1) if f}
    assert fingers == {2: "1", 3: "4", 4: "2", 5: "3"}  # common practice


def test_a_key_spells_the_notes():
    flat = written(plot_neck("x13331", labels=ar.FretLabels("notes", key="Bb major")), "word")
    sharp = written(plot_neck("x13331", labels=ar.FretLabels("notes", key="B major")), "word")
    assert ("Bb" in flat, "A#" in sharp) == (True, True)


def test_a_barre_lies_over_its_strings():
    (barre,) = drawn(plot_neck("133211"), "barre")
    assert list(barre.get_ydata()) == [1, 6]
    assert np.allclose(barre.get_xdata(), behind(1))


def test_a_capo_is_drawn_named_and_counted_from():
    ax = plot_neck("xx3556", Neck(capo=3))
    assert "capo 3" in [a.get_text() for a in ax.texts]
    line = next(a for a in drawn(ax, "capo") if not hasattr(a, "get_text"))
    assert np.allclose(line.get_xdata(), behind(3))
    assert np.allclose([x for x, _ in places(ax, "open")], behind(3))
    nut = {word: x for word, x, _ in words(ax, "from the nut")}
    capo = {word: x for word, x, _ in words(ax, "from capo 3")}
    assert capo["0"] == nut["3"] == pytest.approx(behind(3))
    assert capo["2"] == nut["5"] == pytest.approx(behind(5))
    assert drawn(ax, "under the capo")
    assert not drawn(plot_neck("xx0232"), "capo")


def test_several_shapes_have_a_key_and_stay_apart():
    shapes, titles = ["xx555x", "xx555x"], ["one", "other"]
    ax = plot_neck(shapes, titles=titles)
    assert [text.get_text() for text in ax.get_legend().get_texts()] == titles
    assert len(set(places(ax, "mark"))) == 6, "marks at one place stand side by side"
    assert len(drawn(ax, "line")) == 2


@pytest.mark.parametrize(
    ("shown", "more", "said"),
    [
        ("x3201", {}, "has 5 strings"),
        ("x-30-x-x-x-x", {}, "fret 30"),
        (["x32010"] * 7, {}, "7 shapes on one neck"),
        ([], {}, "no shape"),
        ("x32010", {"labels": ar.FretLabels("members", "Hm")}, "Hm"),
        ("x32010", {"titles": ["a", "b"]}, "2 titles for 1 shape;"),
        (pd.DataFrame({"note": [1]}), {}, "lacks"),
        (fingered((0, 1, 1, 30, 1, 30)), {}, "fret 30 on string 1"),
        (fingered((0, 1, None, None, None, None)), {}, "0 parts"),
    ],
)  # fmt: skip
def test_what_cannot_be_drawn_is_said(shown, more, said):
    with pytest.raises(ar.ArrangeError, match=said):
        plot_neck(shown, **more)


# Hands on the neck ---------------------------------------------------------------------------


def test_time_under_the_hand_by_hand():
    """Position 1 for 3 quarters, position 5 for 1: frets 1-4 have 3/4, frets 5-8 have 1/4."""
    table = fingered((0, 3, 1, 1, 1, 1), (3, 1, 1, 5, 1, 5))
    shares = hand_shares(table, Neck())
    assert shares.tolist()[:10] == [0, 0.75, 0.75, 0.75, 0.75, 0.25, 0.25, 0.25, 0.25, 0]
    other = hand_shares(fingered((0, 4, 1, 3, 1, 3)), Neck())  # frets 3-6 all the time
    assert shared_share(shares, other) == (0.75 + 0.75 + 0.25 + 0.25) / 4


def test_a_note_that_rings_on_does_not_count_twice():
    """The first note is held under the second, but the hand is at each place for one quarter."""
    moments = hand_moments(fingered((0, 4, 6, 3, 2, 2), (1, 1, 1, 5, 1, 5)))
    assert moments[["onset", "end", "position"]].to_numpy().tolist() == [[0, 1, 2], [1, 2, 5]]


def test_area_of_a_mark_is_its_share_of_the_time():
    """A mark for 4 quarters is twice as wide as one for 1."""
    ax = plot_neck(fingered((0, 4, 1, 5, 1, 5), (4, 1, 2, 5, 1, 5)))
    size = {float(m.get_ydata()[0]): m.get_markersize() for m in drawn(ax, "place Guitar 1")}
    assert size[1.0] == pytest.approx(2 * size[2.0])


def test_bars_are_the_shares_and_black_is_what_both_have(demo, both_hands):
    ax = plot_neck(both_hands, song=demo)
    necks = {"Guitar 1": Neck(), "Guitar 2": Neck(capo=3)}
    shares = {part: hand_shares(own, necks[part])
              for part, own in zip(necks, both_hands, strict=True)}  # fmt: skip
    scale = 0.8 * neck_module._LANE / max(own.max() for own in shares.values())
    for part, own in shares.items():
        heights = [-bar.get_height() for bar in drawn(ax, f"hand {part}")]
        assert np.allclose(heights, scale * own[own > 0])
        black = [-bar.get_height() for bar in drawn(ax, f"shared {part}")]
        least = np.minimum(*shares.values())
        assert np.allclose(black, scale * least[least > 0])
    assert f"{100 * shared_share(*shares.values()):.0f}% in common" in ax.get_title(loc="left")


def test_every_place_of_both_guitars_is_there(demo, both_hands):
    ax = plot_neck(both_hands, song=demo)
    for own in both_hands:
        part = own["part"].iloc[0]
        played = own[["string", "fret"]].dropna().drop_duplicates()
        marks = places(ax, f"place {part}")
        assert len(marks) == len(played)
        assert np.allclose(sorted({x for x, _ in marks}), sorted(map(behind, set(played["fret"]))))
    assert "capo 3, Guitar 2" in [text.get_text() for text in ax.texts]


def test_the_usual_finger_is_shown():
    table = fingered((0, 1, 1, 5, 1, 5), (1, 2, 1, 5, 3, 3), (3, 1, 1, 0, 0, 3))
    assert set(place_shares(table)["finger"]) == {3, 0}
    assert written(plot_neck(table, labels=ar.FretLabels("fingers")), "word") == ["3"]


def test_more_than_two_parts_are_refused():
    three = [fingered((0, 1, 1, 1, 1, 1), part=name) for name in "ABC"]
    for plot in (plot_neck, lambda own: plot_positions(own, song_of(("A", "E4", 0, 1)))):
        with pytest.raises(ar.ArrangeError, match="3 parts"):
            plot(three)


def test_tables_without_positions_show_places_alone(demo):
    own = demo.notes[demo.notes["part"] == "Guitar 2"]
    ax = plot_neck(own, song=demo)
    assert drawn(ax, "place Guitar 2")
    assert not drawn(ax, "hand Guitar 2")


# Along the song ------------------------------------------------------------------------------


def test_the_path_is_the_position_measure_by_measure():
    """Four bars: position 1 for three beats and 5 for one; position 5; rest; position 8."""
    table = fingered(
        (0, 3, 1, 1, 1, 1), (3, 1, 1, 5, 1, 5), (4, 4, 1, 5, 1, 5), (12, 4, 1, 12, 4, 8)
    )
    song = song_of(*[("Guitar 1", 65, 4.0 * bar, 4.0) for bar in range(20)])
    ax = plot_positions(table, song)
    (line,) = drawn(ax, "first finger Guitar 1")
    x, y = line.get_xdata(), line.get_ydata()
    at = {m: y[(x >= m - 0.5) & (x <= m + 0.5)] for m in (1, 2, 3, 4)}
    assert at[1][0] == pytest.approx(behind(1)), "where it stands for most of the measure"
    assert at[2][-2] == pytest.approx(behind(5))
    assert at[4][-1] == pytest.approx(behind(8))
    (band,) = drawn(ax, "hand Guitar 1")
    rows = [path.vertices for path in band.get_paths()]
    assert len(rows) == 2, "a gap where the part rests"
    neck = Neck()
    assert rows[0][:, 1].min() == pytest.approx(0.0)
    assert rows[0][:, 1].max() == pytest.approx(neck.mm[8])
    assert rows[1][:, 1].max() == pytest.approx(neck.mm[12]), "what is held beyond four frets"


def test_jumps_are_marked_once_each(demo, both_hands):
    ax = plot_positions(both_hands, demo)
    marks = drawn(ax, "jump")
    assert [len(line.get_xdata()) for line in marks] == [
        own.loc[own["jump"], "onset"].nunique() for own in both_hands
    ]
    assert sum(len(line.get_xdata()) for line in marks) > 0


def test_two_hundred_measures_stay_legible():
    """Every step is wide enough to be seen, and measure numbers do not touch."""
    rows = [(float(beat), 1.0, 1, 1 + (beat * 7) % 15, 1, 1 + (beat * 7) % 15)
            for beat in range(4 * 800)]  # fmt: skip
    table = fingered(*rows)
    for bars in (200, 800):
        song = song_of(*[("Guitar 1", 65, 4.0 * bar, 4.0) for bar in range(bars)])
        ax = plot_positions(table[table["onset"] < 4 * bars], song)
        ax.figure.canvas.draw()
        step = positions._step_size(bars, positions.points_wide(ax))
        assert positions.points_wide(ax) * step / bars >= positions._NARROWEST_STEP
        boxes = [label.get_window_extent() for label in ax.get_xticklabels()]
        assert not [1 for one, other in combinations(boxes, 2) if one.overlaps(other)]


def test_what_has_no_positions_is_refused(demo):
    with pytest.raises(ar.ArrangeError, match="plot_positions takes what finger_part returns"):
        plot_positions(demo.notes, demo)


# The small fret picture ----------------------------------------------------------------------


def circles(ax, gid):
    return sorted((round(p.center[0], 3), round(p.center[1], 3)) for p in drawn(ax, gid))


def test_the_small_picture_shows_what_a_frame_shows():
    """MusicXML 4.0, element frame: frame-note with string and fret, fingering, barre, and what is
    unplayed; first-fret. Here x13331 with its two barres (common practice: 1 3 3 3 1)."""
    ax = plot_shape("x13331", "Bb")
    assert written(ax, "title") == ["Bb"]
    assert len(drawn(ax, "left out")) == 1
    assert not drawn(ax, "open")
    assert len(drawn(ax, "barre")) == 2
    assert not drawn(ax, "dot")
    by_x = sorted(words(ax, "word"), key=lambda each: each[1])
    assert [word for word, *_ in by_x] == ["1", "3", "3", "3", "1"]
    assert len(drawn(ax, "string")) == 6
    assert len(drawn(ax, "nut")) == 1
    assert not drawn(ax, "first fret")


def test_dots_stand_in_the_rows_of_their_frets_low_string_left():
    ax = plot_shape("320003")
    xs = sorted(float(line.get_xdata()[0]) for line in drawn(ax, "string"))
    rows = sorted((float(line.get_ydata()[0]) for line in drawn(ax, "fret")), reverse=True)
    middle = [(above + below) / 2 for above, below in pairwise(rows)]
    expected = sorted([(xs[0], middle[2]), (xs[1], middle[1]), (xs[5], middle[2])])
    assert np.allclose(circles(ax, "dot"), expected, atol=1e-3)
    assert [x for x, _ in circles(ax, "open")] == pytest.approx(xs[2:5], abs=1e-3)


def test_capos_of_the_sections_that_are_drawn():
    """A section has its own capo; the whole song has each, with its sections."""
    made = song_of(
        ("Guitar 1", "C4", 0, 4), ("Guitar 1", "E4", 4, 4), ("Guitar 1", "F4", 8, 4),
        sections=[("Verse", 1), ("Bridge", 2), ("Coda", 3)],
    )  # fmt: skip
    made = with_setup(made, "Guitar 1", "Bridge", capo=2)
    made = with_setup(made, "Guitar 1", "Coda", capo=4)
    fingered = made.notes.assign(string=[2, 2, 2], fret=[1, 5, 6], finger=1, position=[1, 5, 6])

    def capos(ax):
        return [each.get_text() for each in drawn(ax, "capo") if hasattr(each, "get_text")]

    assert capos(plot_neck(fingered, song=made)) == ["capo 2, Bridge", "capo 4, Coda"]
    assert capos(plot_neck(fingered[1:2], song=made)) == ["capo 2"]
    assert capos(plot_neck(fingered[:1], song=made)) == []
    assert capos(plot_positions(fingered, made)) == [
        "capo 2, Guitar 1 in Bridge", "capo 4, Guitar 1 in Coda"
    ]  # fmt: skip
    assert capos(plot_positions(fingered[1:2], made)) == ["capo 2, Guitar 1"]


def test_the_first_fret_is_numbered_from_the_nut_and_from_the_capo():
    assert written(plot_shape("x-10-12-12-12-10"), "first fret") == ["10"]
    ax = plot_shape("x-x-10-10-10-x", "F", Neck(capo=3))
    assert written(ax, "first fret") == ["10"]
    assert written(ax, "from the capo") == ["(7)"]
    assert written(ax, "title") == ["F", "capo 3"]
    assert not drawn(ax, "capo")
    near = plot_shape("xx3556", "F\nshape of D", Neck(capo=3))
    assert written(near, "title") == ["F", "shape of D", "capo 3"]
    assert len(drawn(near, "capo")) == len(drawn(near, "open")) == 1


def test_one_picture_is_25_mm_wide_and_seven_fill_the_page():
    one = plot_shape("x32010").figure.get_size_inches()[0]
    assert one * 25.4 == pytest.approx(25, abs=0.1)
    row = plot_shape(["x32010"] * 7).figure.get_size_inches()
    more = plot_shape(["x32010"] * 8).figure.get_size_inches()
    assert row[0] * 2.54 <= 18
    assert more[0] == row[0]
    assert more[1] == pytest.approx(2 * row[1])


def test_type_is_large_enough_and_nothing_written_touches():
    """At 65 cm 10 arc minutes are 1.9 mm: twice what 20/20 sight resolves (ISO 8596: 5 minutes).

    A capital of this type is 0.73 of its size; 1.9 mm asks for 7.4 points.
    """
    titles = ["Bbmaj7(#11)", "Eb\nshape of C", "G#m7b5"]
    for show, chord in (("fingers", None), ("notes", None), ("members", "Bbmaj7(#11)")):
        ax = plot_shape(["xx5433", "133211", "464544"], titles, labels=ar.FretLabels(show, chord))
        ax.figure.canvas.draw()
        texts = [text for text in ax.texts if text.get_text()]
        assert min(text.get_fontsize() for text in texts) >= 7.4
        boxes = [text.get_window_extent().shrunk(0.98, 0.7) for text in texts]
        assert not [1 for one, other in combinations(boxes, 2) if one.overlaps(other)]


def test_type_grows_with_the_axes():
    figure, ax = plt.subplots(figsize=(5, 6))
    large = plot_shape("x32010", "C", ax=ax)
    assert large is ax
    assert ax.figure is figure
    small = plot_shape("x32010", "C")
    assert large.texts[0].get_fontsize() > 2 * small.texts[0].get_fontsize()


def test_the_pictures_take_a_table_of_voicings():
    table = pd.DataFrame(
        {"frets": [(0, 1, 0, 2, 3, -1), (3, 5, 5, 5, 3, -1)], "name": ["open", "barre"],
         "fingering": ["-32-1-", "-13331"]}
    )  # fmt: skip
    table["fingering"] = ["-32-1-", "-12341"]
    ax = plot_shape(table)
    assert written(ax, "title") == ["open", "barre"]
    by_x = sorted(words(ax, "word"), key=lambda each: each[1])
    assert "".join(word for word, *_ in by_x) == "32112341"
    assert len(plot_neck(table).get_legend().get_texts()) == 2


def test_a_shape_that_no_hand_can_hold_is_drawn_without_fingers():
    ax = plot_shape("1-x-x-x-x-15")
    assert not drawn(ax, "word")
    assert len(drawn(ax, "dot")) == 2


def test_other_instruments_have_their_own_number_of_strings():
    assert len(drawn(plot_shape("2210", neck=Neck("bass")), "string")) == 4
    assert len(drawn(plot_neck("x022100", Neck("seven-string")), "string")) == 7


# Grey print ----------------------------------------------------------------------------------


def test_parts_and_shapes_differ_in_grey():
    """Either another outline, or 15 steps of CIE lightness between the faces; words stand out."""
    faces = [lightness(style[1]) for style in neck_module._STYLES]
    outlines = [style[0] for style in neck_module._STYLES]
    assert len(set(outlines)) == len(outlines)
    assert all(abs(a - b) >= 15 for a, b in pairwise(faces))
    for _, face, _, inside in neck_module._STYLES:
        assert abs(lightness(face) - lightness(inside)) >= 45
    one, other = neck_module._PART_STYLES
    assert one[0] != other[0]
    assert one[4] != other[4]
    assert abs(lightness(one[1]) - lightness(other[1])) >= 20


def test_pictures_are_bytes_and_never_shown(demo, both_hands, monkeypatch):
    monkeypatch.setattr(plt, "show", lambda *_: pytest.fail("a picture was shown"))
    for ax in (plot_neck(both_hands, song=demo), plot_positions(both_hands, demo),
               plot_shape("x32010", "C")):  # fmt: skip
        assert render_picture(ax).startswith(b"<?xml")
