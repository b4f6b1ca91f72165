"""A player that only the line of a player names: whose part it is, or what to do."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from songs import song

import arrange as ar
from arrange.tables.song import played_parts

MADE = song(("Guitar 1", "C4", 0, 4), ("Guitar 2", "C4", 0, 4))


def test_a_player_without_a_part_is_known():
    """The sentence says what is missing, not that nobody has this name."""
    named = replace(MADE, players=('"Hanne; left": acoustic', "Ben"))
    for name in ("Hanne; left", "Ben"):
        with pytest.raises(ar.ArrangeError) as caught:
            played_parts(named, name)
        assert str(caught.value).startswith(
            f"no part is given to the player {name!r}: write 'player {name}' on the line of a part"
        )
        assert str(caught.value).endswith("the parts are Guitar 1 and Guitar 2")
    with pytest.raises(ar.ArrangeError, match="there is no player 'Eva'; there are Guitar 1, Gui"):
        played_parts(named, "Eva")


def test_a_text_says_what_a_player_has():
    """Where players are asked for, a text is a line as a song has it, not a name with all of it."""
    found = ar.condense(MADE, ["Ann: acoustic; capo none or 2", '"Ben: b"'])
    ann, ben = found.known.problem.lineup.players
    assert (ann.name, ann.capos, ann.sounds, ann.echo) == ("Ann", (0, 2), ("clean",), False)
    assert ben == ar.Player("Ben: b")
    row = found.song.parts.set_index("part").loc["Ann"]  # as sheets name it, and as it sounds
    assert (row["instrument"], row["program"] is pd.NA) == ("acoustic guitar", True)
    recorded = ["Acoustic guitar", "Electric guitar, distorted"]
    driven = MADE.parts.assign(instrument=recorded, drive="overdriven")
    found = ar.condense(replace(MADE, parts=driven), ["Ben", "Cy"]).song.parts.set_index("part")
    assert found.loc[["Ben", "Cy"], "drive"].tolist() == ["overdriven"] * 2
    assert set(found["instrument"]) == {"electric guitar", recorded[1]}
    with pytest.raises(ar.ArrangeError, match="'kazoo'; write one of electric guitar, aco"):
        ar.Player("Ann", instrument="kazoo")
    with pytest.raises(ar.ArrangeError, match="player Ann: 'kazoo' is"):
        ar.condense(MADE, ["Ann: kazoo"])


def test_a_player_whose_part_says_so_is_found():
    """The label of the part, and the name on its line, both do."""
    parts = MADE.parts.assign(player=[None, "Hanne"])
    named = replace(MADE, parts=parts, players=("Hanne; acoustic",))
    assert played_parts(named, "Hanne") == played_parts(named, "Guitar 2") == ["Guitar 2"]
