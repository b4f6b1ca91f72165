"""Sections of more layers than are weighed in all their combinations.

Against the best of all, found with every layer in the tables; and what must hold for forty layers.
"""

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from layered_songs import overdubbed_song
from songs import parts_of, song
from test_condensing import made_up

from arrange.condensing import condense, kept_layers
from arrange.errors import ArrangeError

FEW = settings(
    max_examples=2, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)  # fmt: skip
LETTERS = st.sampled_from("BCDEFGH")


def with_few_kept(most, *args, **more):
    """A condensation with no more than some layers of a section in its tables."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kept_layers, "MOST_LAYERS", most)
        patch.setattr(kept_layers, "MOST_KEPT", most)
        patch.setattr(kept_layers, "_NEIGHBOURS", 1)
        return condense(*args, **more)


@pytest.mark.sampled
@pytest.mark.parametrize("players", [1, 2, 3, 4])
@FEW
@given(seed=st.integers(0, 10**6), most=st.integers(2, 5), decided=st.booleans(), one=LETTERS,
       other=LETTERS)  # fmt: skip
def test_the_best_of_all_lies_between(players, seed, most, decided, one, other):
    """With few layers kept a plan is worth no more than the best of all, its bound no less.

    So with a pin and a ban too. For more than two players the best of all has a bound itself.
    """
    a_song = made_up(seed, 8, sections=(("Verse", 1), ("Chorus", 2), ("Bridge", 3)))
    more = {}
    if decided:
        more = {"pins": [("Player 1", None, f"Layer {one}")],
                "forbid": [(None, "Verse", f"Layer {other}")] if other != one else []}  # fmt: skip
    try:
        every = condense(a_song, players, **more)
    except ArrangeError as error:  # no choice is left, as when the lead is forbidden
        with pytest.raises(ArrangeError, match=re.escape(str(error))):
            with_few_kept(most, a_song, players, **more)
        return
    few = with_few_kept(most, a_song, players, **more)
    assert few.value <= every.bound + 1e-4
    assert few.bound >= every.value - 1e-4
    assert few.terms["value"].sum() == pytest.approx(few.value, abs=1e-3)
    if decided:
        own = few.choices[few.choices["player"] == "Player 1"]
        plays = set(a_song.notes.loc[a_song.notes["part"] == f"Layer {one}", "section"])
        assert set(own.loc[own["layers"] == (f"Layer {one}",), "section"]) >= plays


@FEW
@given(seed=st.integers(0, 10**6), most=st.integers(3, 6))
def test_more_layers_kept_lose_nothing(seed, most):
    """With all layers in the tables of each section the answer is the proven best."""
    a_song = made_up(seed, most)
    assert with_few_kept(most, a_song, 2).is_proven


def test_exact_doubles_count_as_one():
    """Twenty takes of two lines are two layers: proven, one of each kept, and nothing lost."""
    takes = [f"{name} {number:02}" for name in ("High", "Low") for number in range(10)]
    rows = [
        (take, 64 + step if take[0] == "H" else 43, bar * 4 + beat, 1)
        for take in takes
        for bar in range(4)
        for beat, step in enumerate((0, 2, 4, 5))
    ]
    found = condense(song(*rows, parts=parts_of(*takes, family="guitar"), bars=4), 2)
    assert sorted(layers[0] for layers in found.choices["layers"]) == ["High 00", "Low 00"]
    assert found.share == pytest.approx(1)
    assert found.is_proven
    assert set(found.lost["why"]) == {
        "High 00 plays exactly the same: nothing is lost",
        "Low 00 plays exactly the same: nothing is lost",
    }


@pytest.fixture(scope="module")
def forty():
    """A song of forty layers in three sections."""
    return overdubbed_song(sections=3, share=1.0)


@pytest.fixture(scope="module")
def for_two(forty):
    """The song of forty layers condensed to two players."""
    return condense(forty, 2)


@pytest.mark.long
def test_forty_layers(forty, for_two):
    """Each layer is taken or lost; the gap is a few per cent; the next best cost something."""
    found = for_two
    assert 0 <= found.gap < 0.05
    for section, own in found.choices.groupby("section"):
        taken = [layer for layers in own["layers"] for layer in layers]
        whole = found.lost[found.lost["value"].notna()]
        lost = whole.loc[whole["section"] == section, "layer"].tolist()
        assert sorted([*taken, *lost]) == sorted(forty.parts["part"])
    assert (found.alternatives["costs"] > -1e-6).all()
    assert len(found.alternatives) == 9
    values = found.by_players(3)["value"]
    assert values.is_monotonic_increasing


@pytest.mark.long
def test_a_pin_to_the_least_of_forty_layers(forty, for_two):
    """What is pinned is played, though it is worth least; what is forbidden is not."""
    free = for_two
    least = free.lost.sort_values("value")["layer"].iloc[0]
    first = free.choices["layers"].iloc[0][0]
    found = condense(forty, 2, pins=[("Player 2", None, least)], forbid=[(None, None, first)])
    assert (
        found.choices.loc[found.choices["player"] == "Player 2", "layers"].tolist()
        == [(least,)] * 3
    )
    assert not any(first in layers for layers in found.choices["layers"])
    assert found.value <= free.value
    assert found.bound >= found.value


def test_more_pins_than_can_be_weighed(forty):
    """Nineteen layers pinned in one section: a sentence that says how many can be."""
    players = [f"P{number}" for number in range(10)]
    names = forty.parts["part"].tolist()
    pins = [(player, "Part 1", tuple(names[2 * at : 2 * at + 2])) for at, player in
            enumerate(players)]  # fmt: skip
    with pytest.raises(ArrangeError, match="20 layers are pinned in 'Part 1'; of more than 18"):
        condense(forty, players, pins=pins)
