"""How full a song is, section by section, with all its layers and with a few players: the table
and its picture, on songs worked by hand.
"""

import pandas as pd
import pytest
from pictures import beyond_figure, drawn, overlapping
from songs import song, with_setup

import arrange as ar
from arrange.condensing.growth import growth_table, part_energy
from arrange.plots import plot_growth, render_picture

FORM = {"sections": [("Verse 1", 1), ("Chorus 1", 2), ("Chorus 2", 3)], "bars": 3}


def held(*voices):
    """A song in which each part holds one note through the bars that it is given."""
    rows = [(part, 60 + place, 4 * bar, 4)
            for place, (part, bars) in enumerate(voices) for bar in bars]  # fmt: skip
    made = song(*rows, **FORM)
    kinds = made.sections["section"].str.split().str[0].str.lower()
    return ar.Song(made.parts, made.sections.assign(kind=kinds), made.measures, made.chords,
                   made.notes)  # fmt: skip


RECORDING = held(("Layer 1", (0, 1, 2)), ("Layer 2", (1, 2)), ("Layer 3", (2,)), ("Bass", (0,)))
LAYERS = ["Layer 1", "Layer 2", "Layer 3"]


def test_energy_is_measured_against_the_fullest_of_the_same_parts():
    """Players, notes and attacks are each a third, two thirds and all; so is the power, of which
    the amplitude is the root.
    """
    shares = [1 / 3, 2 / 3, 1]
    expected = [(3 * share + share**0.5) / 4 for share in shares]
    assert part_energy(RECORDING, LAYERS).tolist() == pytest.approx(expected)


def test_a_section_that_returns_thinner_than_the_recording_falls_behind():
    """Chorus 2 has a layer more in the recording; the player who leaves makes it thinner."""
    made = held(("Ann", (0, 1, 2)), ("Ben", (1,)), ("Bass", (0,)))
    table = growth_table(RECORDING, LAYERS, made, ["Ann", "Ben"])
    assert table["returns"].fillna("").tolist() == ["", "", "Chorus 1"]
    assert table["behind"].tolist() == [False, False, True]
    share = round(100 * table["played"].iloc[2])
    assert (
        table["why"]
        .iloc[2]
        .startswith(
            f"Chorus 2 is played with {share}% of the players' fullest, after 100% in Chorus 1"
        )
    )


@pytest.mark.parametrize("bens", [(1, 2), (0, 1, 2), ()])
def test_a_section_that_returns_as_full_keeps_up(bens):
    made = held(("Ann", (0, 1, 2)), ("Ben", bens))
    parts = made.parts["part"].tolist()
    assert not growth_table(RECORDING, LAYERS, made, parts)["behind"].any()


def test_a_section_that_is_thinner_in_the_recording_too_keeps_up():
    recording = held(("Layer 1", (0, 1, 2)), ("Layer 2", (1,)))
    made = held(("Ann", (0, 1, 2)), ("Ben", (1,)))
    table = growth_table(recording, LAYERS[:2], made, ["Ann", "Ben"])
    assert not table["behind"].any()


def test_a_layer_left_out_to_leave_room_says_how_full_the_recording_is(layers):
    """In the share that the table of growth has for that section."""
    found = layers
    lost = found.lost[found.lost["why"].str.contains("room to grow")]
    recorded = found.growth.set_index("section")["recorded"]
    assert len(lost)
    for row in lost.itertuples():
        assert row.why == (
            f"to leave room to grow: the recording is at {recorded[row.section]:.0%} of its "
            f"fullest section here, and with {row.layer} the players would be nearer to theirs"
        )


def test_a_driven_section_is_fuller():
    """The sound that a player has in a section counts."""
    made = held(("Ann", (0, 1, 2)), ("Ben", (1, 2)))
    driven = with_setup(made, "Ben", "Chorus 2", drive="distorted")
    plain, fuller = part_energy(made, ["Ann", "Ben"]), part_energy(driven, ["Ann", "Ben"])
    assert plain[1] == plain[2]
    assert fuller[1] < fuller[2]


# --- the picture ---------------------------------------------------------------------------------

TABLE = pd.DataFrame(
    {
        "section": ["Verse 1", "Chorus 1", "Chorus 2"],
        "recorded": [0.4, 0.8, 1.0],
        "played": [0.5, 1.0, 0.7],
        "behind": [False, False, True],
    }
)


def test_columns_are_the_recording_and_the_line_the_players():
    ax = plot_growth(TABLE)
    heights = [bar.get_height() for bar in ax.patches]
    assert heights == TABLE["recorded"].tolist()
    (line,) = drawn(ax, "players")
    assert line.get_ydata().tolist() == TABLE["played"].tolist()
    assert drawn(ax, "falls behind")[0].get_xdata().tolist() == [2]
    assert drawn(ax, "keeps up")[0].get_xdata().tolist() == [0, 1]
    weights = {label.get_text(): label.get_fontweight() for label in ax.get_xticklabels()}
    assert weights == {"Verse 1": "normal", "Chorus 1": "normal", "Chorus 2": "bold"}


@pytest.mark.parametrize("count", [0, 1, 3, 40])
def test_nothing_overlaps_and_nothing_lies_beyond_the_figure(count):
    names = [f"Chorus with a long name, time {n}" for n in range(count)]
    columns = {"recorded": 0.5, "played": 1.0, "behind": True}
    table = pd.DataFrame({"section": pd.Series(names, dtype="str"), **columns}, index=range(count))
    ax = plot_growth(table)
    assert beyond_figure(ax) <= 0.01
    if count < 40:  # forty names beside each other are small print
        assert overlapping(ax.get_xticklabels()) == []
    assert render_picture(ax, "png").startswith(b"\x89PNG")


def test_a_table_without_its_columns_is_refused():
    with pytest.raises(ar.TableError, match=r"a table of growth lacks \['behind'\]"):
        plot_growth(TABLE.drop(columns="behind"))
