"""What two players get of the songs of many layers: whether they could take it to a rehearsal."""

from functools import cache
from pathlib import Path

import pytest

from arrange import Hand, condense, finger_part, part_setups, read, song_energy
from arrange.guitar.necks import capo_words
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

# Its layers have another capo, sound and echo in the chorus; the break leaves 8 s for the capo.
BY_SECTION = """
title: Two Lanterns
key: D major
meter: 4/4
tempo: 120

part: Strum; acoustic guitar
part: Line; electric guitar

section: Verse
chords | D           | G           | A           | D           |
Strum  | xx0232 | 320003 | x02220 | xx0232 |
Line   | D4 ~ F#4 A4 | B4 ~ G4 D4  | E4 ~ A4 C#5 | D5 ~ A4 F#4 |

section: Break
chords | D           | D           | D           | D           |
Line   | D5 ~ F#5 A5 | F#5 ~ D5 A4 | D5 ~ F#5 A5 | F#5 ~ D5 A4 |

section: Chorus
sound: Strum; capo 2
sound: Line; overdriven; echo dotted eighth
chords | E           | A           | B           | E           |
Strum  | xx2454 | 542225 | x24442 | xx2454 |
Line   | E5 ~ G#5 B5 | A5 ~ E5 C#5 | B4 ~ D#5 F#5 | E5 ~ B4 G#4 |
"""


@cache
def two(name):
    """Return the recording, its players and what they make of it."""
    song = read(DATASETS / name)
    players = [read_player(line) for line in SONGS[name]]
    return song, players, condense(song, players)


@pytest.mark.sampled
@pytest.mark.parametrize("name", list(SONGS))
def test_no_capo_and_no_sound_changes_without_a_word(name):
    """Where a layer, merged or alone, had another sound, echo or capo, the reason says so."""
    song, _, found = two(name)
    recorded = song.parts.set_index("part")
    played = found.choices[found.choices["layers"].map(bool)]
    for row in played.itertuples():
        echo = row.echo if isinstance(row.echo, str) else None
        for had in recorded.loc[list(row.layers)].itertuples():
            if had.drive != row.drive:
                assert f"recorded {had.drive}" in row.reason
                assert f"played {row.drive}" in row.reason
            if had.capo != row.capo:
                assert f"recorded with {capo_words(had.capo)}" in row.reason
            if (had.echo if isinstance(had.echo, str) else None) != echo:
                assert f"{'with the' if echo else 'without its'} echo" in row.reason


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


def by_section(tmp_path, *players):
    """Return what players of a song whose layers change by section have: layers, sounds, reasons.

    A row for each section and player, by section and the layer.
    """
    path = tmp_path / "lanterns.txt"
    path.write_text(BY_SECTION.lstrip())
    found = condense(read(path), [read_player(line) for line in players])
    choices = found.choices[found.choices["layers"].map(bool)]
    costs = found.terms[found.terms["term"] == "instrument"].set_index("section")["value"]
    own = choices.assign(layer=choices["layers"].str[0]).set_index(["section", "layer"])
    return own, costs, part_setups(found.song).set_index(["part", "section"])


def test_layers_are_played_with_what_they_have_in_the_section(tmp_path):
    """By players who have all of it, at no cost: a pedal in the chorus, a capo after the break."""
    players = ("Ann: acoustic; capo none or 2", "Ben: clean, overdriven; echo")
    own, costs, setups = by_section(tmp_path, *players)
    assert own["player"].groupby("layer").unique().str[0].to_dict() == {
        "Line": "Ben", "Strum": "Ann"
    }  # fmt: skip
    assert own.loc[("Verse", "Line"), "drive"] == own.loc[("Break", "Line"), "drive"] == "clean"
    assert own.loc[("Verse", "Line"), "echo"] is not own.loc[("Chorus", "Line"), "echo"]
    assert own.loc[("Chorus", "Line"), ["drive", "echo"]].tolist() == [
        "overdriven", "dotted eighth"
    ]  # fmt: skip
    assert own.loc[("Verse", "Strum"), "capo"] == 0
    assert own.loc[("Chorus", "Strum"), "capo"] == setups.loc[("Ann", "Chorus"), "capo"] == 2
    assert not own["reason"].str.contains("recorded|echo").any()
    assert costs.tolist() == [0, 0, 0]


def test_what_a_player_lacks_costs_in_the_sections_that_ask_for_it(tmp_path):
    """In the chorus alone: a drive two steps away, and the echo; without a capo, its shapes too.

    A second of the layer costs 0.1 for each step and 0.2 for the echo; the chorus lasts 8 s, in
    which it sounds all the time.
    """
    own, costs, _ = by_section(
        tmp_path, "Ann: acoustic; capo none or 2", "Ben: acoustic; capo none"
    )
    assert costs.tolist() == pytest.approx([0, 0, -8 * (2 * 0.1 + 0.2)], abs=1e-4)
    before = own[own.index.get_level_values("section") != "Chorus"]
    assert not before["reason"].str.contains("recorded|echo").any()
    line = own.loc[("Chorus", "Line"), "reason"]
    assert "recorded overdriven, played clean" in line
    assert "played without its echo" in line
    own, more, _ = by_section(tmp_path, "Ann: acoustic; capo none", "Ben: acoustic; capo none")
    strum = own.loc[("Chorus", "Strum"), "reason"]
    assert "recorded with capo 2, played with no capo" in strum
    assert more.tolist()[:2] == [0, 0]
    assert more["Chorus"] <= costs["Chorus"] - 8 * 0.02
