"""The content of a fret picture, and that the page and the plots show the same.

The element ``frame`` of MusicXML 4.0 (W3C) lists what belongs in such a picture.
"""

from __future__ import annotations

import re

import matplotlib.pyplot as plt
import pytest

import arrange as ar
from arrange.guitar.fret_pictures import Barre, FretLabels, fret_pictures
from arrange.handouts.drawing import draw_shape

SHAPES = [
    ("x32010", ar.Neck()),
    ("133211", ar.Neck()),
    ("x46664", ar.Neck()),
    ("x-10-12-12-12-10", ar.Neck()),
    ("xx3565", ar.Neck(capo=3)),
    ("x-x-10-10-10-x", ar.Neck(capo=3)),
    ("1-x-x-x-x-15", ar.Neck()),
    ("2210", ar.Neck("bass")),
]


@pytest.fixture(autouse=True)
def _close():
    yield
    plt.close("all")


def picture(shape, neck, labels=None):
    """Return the content of the picture of one shape."""
    (own,) = fret_pictures(shape, "T", neck, ar.Hand(), labels or FretLabels())
    return own


def test_a_barre_chord_by_hand():
    """F at the first fret (common practice): the first finger lies across six strings, 3 4 2 behind
    it.
    """
    own = picture("133211", ar.Neck())
    assert own.barres == [Barre(1, 1, 6, 1)]
    assert own.dots == [(3, 2), (4, 3), (5, 3)]
    assert own.words == ("1", "1", "2", "4", "3", "1")
    assert (own.first, own.rows, own.shows_end, own.numbers) == (1, 4, True, [])
    assert not own.open_strings
    assert not own.left_out


def test_rows_and_numbers_under_a_capo_by_hand():
    """With a capo at 3, fret 7 is the fourth row behind it and still fits; fret 8 does not."""
    near = picture("xx3577", ar.Neck(capo=3))
    assert (near.first, near.shows_end, near.numbers) == (4, True, [(4, "4")])
    assert near.open_strings == [4]
    assert near.left_out == [5, 6]
    far = picture("xx3568", ar.Neck(capo=3))
    assert (far.first, far.rows, far.shows_end) == (5, 4, False)
    assert far.numbers == [(5, "5"), (6, "(2)")]


@pytest.mark.parametrize(("shape", "neck"), SHAPES)
def test_the_page_and_the_plot_show_the_same(shape, neck):
    """The signs, dots, bars, numbers and words in the SVG and on the axes are counted."""
    ax = ar.plot_shape(shape, "T", neck)
    svg = draw_shape(picture(shape, neck))
    on_axes = [artist.get_gid() for artist in (*ax.lines, *ax.patches, *ax.texts)]
    strokes = re.findall(r'stroke-width="([\d.]+)" stroke-linecap="(\w+)"', svg)
    assert svg.count('fill="#fff" stroke') == on_axes.count("open")
    assert len(re.findall(r'<circle [^f>]*r="[\d.]+"/>', svg)) == on_axes.count("dot")
    assert strokes.count(("2.4", "butt")) == 2 * on_axes.count("left out")
    assert sum(cap == "round" for _, cap in strokes) == on_axes.count("barre") + on_axes.count(
        "capo"
    )
    written = [text.get_text() for text in ax.texts if text.get_gid() != "title"]
    assert sorted(re.findall(r">([^<>]+)</text>", svg)) == sorted([*written, "T"])


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({"show": "colours"}, "show='colours': a fret picture shows one of 'fingers', 'notes'"),
        ({"show": "members"}, "members of which chord"),
    ],
)
def test_labels_that_cannot_be_are_refused(more, message):
    with pytest.raises(ar.ArrangeError, match=message):
        FretLabels(**more)
