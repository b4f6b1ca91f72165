"""Pictures of who plays which layer, before and after: artists compared with songs worked by
hand.
"""

import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from songs import song

from arrange.plots import plot_before_after, plot_layers, render_picture

SECTIONS = (("Verse 1", 1), ("Chorus 1", 3))


@pytest.fixture
def three_layers():
    """Return Guitar 1 throughout, Guitar 2 in measures 2 and 4, Guitar 3 in the chorus; a
    singer.
    """
    return song(
        ("Guitar 1", "C3", 0, 16), ("Guitar 2", "E4", 4, 4), ("Guitar 2", "E4", 12, 2),
        ("Guitar 3", "G4", 8, 8), ("Voice", "C5", 0, 16), sections=SECTIONS, bars=4,
    )  # fmt: skip


CHOICES = pd.DataFrame(
    {
        "section": ["Verse 1", "Verse 1", "Chorus 1", "Chorus 1"],
        "player": ["Ann", "Ben", "Ann", "Ben"],
        "layers": [("Guitar 1",), (), ("Guitar 1", "Guitar 2"), ("Guitar 3",)],
    }
)


def bars(ax, gid):
    """Return (left, right, colour, dashed) of each bar under a name."""
    found = []
    for artist in ax.get_children():
        if artist.get_gid() == gid:
            corners = artist.get_paths()[0].vertices[:, 0]
            dashed = artist.get_linestyle()[0][1] is not None
            found.append(
                (corners.min(), corners.max(), tuple(artist.get_facecolor()[0][:3]), dashed)
            )
    return sorted(found)


def written(ax, gid):
    return [text.get_text() for text in ax.texts if text.get_gid() == gid]


def test_each_layer_shows_whose_it_is(three_layers):
    ax = plot_layers(three_layers, CHOICES)
    blue, orange, white = to_rgb("#0072b2"), to_rgb("#e69f00"), to_rgb("#ffffff")
    assert bars(ax, "layer Guitar 1") == [(0.5, 2.5, blue, False), (2.5, 4.5, blue, False)]
    assert bars(ax, "layer Guitar 2") == [(1.5, 2.5, white, True), (3.5, 4.5, blue, False)]
    assert bars(ax, "layer Guitar 3") == [(2.5, 4.5, orange, False)]
    assert not bars(ax, "layer Voice")
    assert written(ax, "part name") == ["Guitar 1", "Guitar 2", "Guitar 3", "Ann", "Ben"]
    assert len(bars(ax, "player")) == 3  # Ben lays out in the verse
    assert written(ax, "player number") == ["1", "1", "1", "2", "1", "2", "1"]
    key = [text.get_text() for text in ax.get_legend().get_texts()]
    assert key == ["1 Ann", "2 Ben", "there, but nobody plays it"]
    assert "3 layers, 2 players" in ax.get_title(loc="left")


def test_patterns_of_four_players_differ_without_colour(three_layers):
    players = ["A", "B", "C", "D"]
    choices = pd.DataFrame(
        {"section": "Chorus 1", "player": players,
         "layers": [("Guitar 1",), ("Guitar 2",), ("Guitar 3",), ("Voice",)]}
    )  # fmt: skip
    ax = plot_layers(three_layers, choices)
    looks = set()
    for artist in ax.get_children():
        if artist.get_gid() == "player":
            red, green, blue = artist.get_facecolor()[0][:3]
            looks.add((round(0.21 * red + 0.72 * green + 0.07 * blue, 1), artist.get_hatch()))
    assert len(looks) == 4


def test_a_song_without_layers_says_so():
    none = pd.DataFrame({"section": [], "player": [], "layers": []})
    ax = plot_layers(song(("Voice", "C5", 0, 4)), none)
    assert any("No layers here." in text.get_text() for text in ax.texts)


def test_before_and_after_stand_on_one_scale(three_layers):
    up = three_layers.notes.assign(pitch=three_layers.notes["pitch"] + 12)
    after = type(three_layers)(three_layers.parts, three_layers.sections, three_layers.measures,
                               three_layers.chords, up)  # fmt: skip
    above, below = plot_before_after(three_layers, after, ["Guitar 1", "Guitar 2"])
    assert above.get_ylim() == below.get_ylim()
    assert above.get_title(loc="left").startswith("Before. ")
    assert below.get_title(loc="left").startswith("After. ")
    assert render_picture(above, "svg") != b""
