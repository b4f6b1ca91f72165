"""What two players get of the songs of many layers: whether they could take it to a rehearsal."""

from functools import cache
from pathlib import Path

import pytest

from arrange import Hand, condense, finger_part, part_setups, read, song_energy
from arrange.guitar.players import read_player
from arrange.text.part_lists import split_parts

DATASETS = Path(__file__).parent.parent / "datasets"
SONGS = {
    "last-bell.musicxml": ("Ann: acoustic; capo none or 2", "Ben: clean, overdriven; echo"),
    "barn-lights.txt": ("Wren: acoustic; capo none or 2", "Jory: clean, edge, overdriven; echo"),
    "kiln-yard.txt": (
        "Ada: acoustic; drop D tuning; capo none",
        "Tom: drop D tuning; clean, edge, overdriven, distorted; echo",
    ),
}
FAR = 0.02  # of all attacks


@cache
def two(name):
    """Return the recording, its players and what they make of it."""
    song = read(DATASETS / name)
    players = [read_player(line) for line in SONGS[name]]
    return song, players, condense(song, players)


@pytest.mark.parametrize("name", list(SONGS))
def test_no_capo_and_no_sound_changes_without_a_word(name):
    """Where the recording had another sound, echo or capo, the reason says so."""
    song, _, found = two(name)
    recorded = song.parts.set_index("part")
    played = found.choices[found.choices["layers"].map(bool)]
    for row in played.itertuples():
        own = recorded.loc[list(row.layers)]
        if row.drive not in set(own["drive"]):
            assert f"played {row.drive}" in row.reason
        if row.capo not in set(own["capo"]):
            assert "recorded with" in row.reason
        if own["echo"].notna().all() and not isinstance(row.echo, str):
            assert "without its echo" in row.reason


@pytest.mark.parametrize("name", list(SONGS))
def test_the_song_carries_what_each_player_has_in_each_section(name):
    """The same as the choices say."""
    _, _, found = two(name)
    setups = part_setups(found.song).set_index(["part", "section"])
    for row in found.choices[found.choices["layers"].map(bool)].itertuples():
        own = setups.loc[(row.player, row.section)]
        assert (own["drive"], own["capo"]) == (row.drive, row.capo)
        assert set(split_parts(own["layers"])) == set(row.layers)


@pytest.mark.parametrize("name", list(SONGS))
def test_a_layer_changes_hands_only_for_a_gain_that_is_named(name):
    """Who has a layer in a section's return had it before, or the reason says what is gained."""
    _, _, found = two(name)
    had = {}
    for section, rows in found.choices.groupby("section", sort=False):
        kind = section.rstrip("0123456789 ")
        now = {layer: row for row in rows.itertuples() for layer in row.layers}
        for layer, row in now.items():
            before = had.get(kind, {}).get(layer, row.player)
            if before != row.player:
                assert f"{layer} here, which {before} had in" in row.reason
        had[kind] = {layer: row.player for layer, row in now.items()}


@pytest.mark.parametrize("name", list(SONGS))
def test_a_section_returns_no_thinner_where_the_recording_does_not(name):
    """The duo's energy follows the order of the recording's returns."""
    _, _, found = two(name)
    assert not found.growth["behind"].any()
    assert len(song_energy(found.song)) == len(found.growth)


@pytest.mark.parametrize("name", list(SONGS))
def test_hands_and_pick_can_play_it(name):
    """No note out of reach, nothing that the pick cannot strike, few stretches."""
    _, players, found = two(name)
    attacks, far = 0, 0
    for player in players:
        own = finger_part(found.song, player.name, hand=player.hand, picks=player.picks)
        assert own["problem"].isna().all()
        reach = own.groupby("onset")["reach_mm"].max()
        attacks, far = attacks + len(reach), far + int((reach > Hand().comfortable_mm).sum())
    assert far <= FAR * attacks
