"""Two players at once, and their capos."""

import numpy as np
import pytest
from songs import song
from test_revoicing import (
    CHORDS,
    G1,
    G2,
    LOW_WATER,
    OPEN,
    chords_sounding,
    sounding,
    strummed,
)

import arrange as ar
from arrange.errors import ArrangeError
from arrange.guitar.fingering import finger_part
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.revoicing import Scope, find_capos, revoice_pair

BOTH = (G1, G2)


@pytest.fixture(scope="module")
def crowded():
    """Return two guitars that strum the same open shapes."""
    return song(*strummed(G1, OPEN), *strummed(G2, OPEN), chords=CHORDS, key="C major")


@pytest.fixture(scope="module")
def capos(crowded):
    """Return the pairs of capos for them."""
    return find_capos(crowded, BOTH)


def test_two_players_move_apart(crowded):
    """Common practice: one plays low and one high, in triads or shells; both orders are
    proposed.
    """
    found = revoice_pair(crowded, BOTH)
    ideas = [each.idea for each in found]
    assert len(set(ideas)) == len(ideas)
    assert any("high" in idea or "chords" in idea for idea in ideas)
    assert "crowding" in set(found[0].ended["kind"])
    for each in found:
        after = each.song
        for part in BOTH:
            assert finger_part(after, part)["problem"].isna().all()
        members = ({0, 4, 7}, {5, 9, 0}, {7, 11, 2})
        for has, chord, third in zip(chords_sounding(after), members, (4, 9, 11), strict=True):
            assert has <= chord
            assert third in has
    low, high = found[0].song.notes.groupby("part")["pitch"].mean().sort_values()
    assert high - low > 4


def test_what_is_pinned_stays(crowded):
    """If the first player is pinned throughout, only the second moves. A pinned measure 1 stays."""
    for each in revoice_pair(crowded, BOTH, scope=Scope(pinned={G1: [1, 2, 3], G2: [1]})):
        old, new = crowded.notes, each.song.notes
        for part, until in ((G1, 3), (G2, 1)):
            own = [(n["part"] == part) & (n["measure"] <= until) for n in (old, new)]
            assert sounding(old, own[0]) == sounding(new, own[1])


def test_low_water_pair():
    """In the demo's crowded chorus both findings end if both players may move."""
    demo = ar.read(LOW_WATER)
    found = revoice_pair(demo, BOTH, section="Chorus 1")
    clear = [each for each in found if each.before_after["after"].sum() == 0]
    assert clear
    for each in found:
        for part in BOTH:
            assert finger_part(each.song, part)["problem"].isna().all()
        kept = ~demo.notes["section"].eq("Chorus 1") | ~demo.notes["part"].isin(BOTH)
        same = ~each.song.notes["section"].eq("Chorus 1") | ~each.song.notes["part"].isin(BOTH)
        assert sounding(demo.notes, kept) == sounding(each.song.notes, same)


@pytest.mark.parametrize(
    ("parts", "asked", "message"),
    [
        ((G1,), {}, "two parts"),
        ((G1, G1), {}, "two parts"),
        ((G1, "Guitar 3"), {}, "no part 'Guitar 3'"),
        (BOTH, {"scope": Scope(pinned={"Bass": [1]})}, "'Bass' is pinned and is not asked for"),
        (BOTH, {"scope": Scope(pinned=[1, 2, 3])}, "both pinned"),
        (BOTH, {"scope": Scope(pinned={G1: [9]})}, "there are 1 to 3"),
        (BOTH, {"scope": Scope(ideas=["lay out"])}, "leave them out of the scope"),
        (BOTH, {"players": [Player(G1)]}, "give two players"),
        (BOTH, {"players": [Player(G2), Player(G1)]}, "in the order of the parts"),
    ],
)
def test_bad_input(crowded, parts, asked, message):
    """A value that is impossible is refused."""
    with pytest.raises(ArrangeError, match=message):
        revoice_pair(crowded, parts, **asked)


def test_capos_cover_all_pairs_and_the_order_is_by_cost(capos):
    """There are eight times eight pairs; for two equal players the table is symmetrical."""
    assert len(capos) == 64
    assert capos["cost_mm"].is_monotonic_increasing
    cost = capos.pivot_table(index="capo_a", columns="capo_b", values="cost_mm").to_numpy()
    np.testing.assert_allclose(cost, cost.T)
    assert capos["separation"].iloc[0] > 3
    assert capos["shared"].between(0, 1).all()


def test_capos_hold_the_chords(capos):
    """In every pair each chord has its members only, its root and its third."""
    members = ({0, 4, 7}, {5, 9, 0}, {7, 11, 2})
    for row in capos.itertuples():
        low = Neck(capo=row.capo_a).lowest
        for one, other, chord, root, third in zip(
            row.shapes_a, row.shapes_b, members, (0, 5, 7), (4, 9, 11), strict=True
        ):
            classes = {pitch % 12 for pitch in (*one, *other)}
            assert {root, third} <= classes <= chord
            assert min(one) >= low


def test_open_shapes_where_wanted(crowded):
    """A C on a capo at 5 is held as a G, F as a C, G as a D (common practice: shapes five
    semitones lower): open shapes all the time.
    """
    table = find_capos(crowded, BOTH, open_shapes=[G2], pinned={G1: 0})
    assert (table["capo_a"] == 0).all()
    assert (table["open_b"] == 1).all()
    assert 5 in set(table["capo_b"])


def test_a_capo_takes_written_notes_away(crowded, capos):
    """A capo at 7 makes B2 the lowest open string: of the three shapes only G2 is lost, four
    strums of it (counted by hand).
    """
    row = capos[(capos["capo_a"] == 7) & (capos["capo_b"] == 0)].iloc[0]
    neck = Neck(capo=7)
    own = crowded.notes[crowded.notes["part"] == G1]["pitch"]
    assert row["lost_a"] == sum(not neck.places(pitch) for pitch in own) == 4
    assert row["lost_b"] == 0


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"pinned": {G1: 9}}, "lies at 0 to 7"),
        ({"pinned": {"Bass": 1}}, "not among the two parts"),
        ({"open_shapes": ["Voice"]}, "not among the two parts"),
    ],
)
def test_bad_capos(crowded, asked, message):
    """A value that is impossible is refused."""
    with pytest.raises(ArrangeError, match=message):
        find_capos(crowded, BOTH, **asked)


def test_no_chords_no_capos():
    """Where no chords are written and nothing sounds there is nothing to compare: an error."""
    bare = song((G1, "C4", 0.0, 0.0), (G2, "C4", 0.0, 0.0))
    with pytest.raises(ArrangeError, match="no chord symbols and none can be inferred"):
        find_capos(bare, BOTH)
