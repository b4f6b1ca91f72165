"""What a search for proposals starts from: the parts that may change, and what there is to end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from arrange.clashes.lines import are_meant_doubles
from arrange.errors import ArrangeError
from arrange.guitar.fingering import part_neck
from arrange.guitar.hands import Hand
from arrange.guitar.necks import STANDARD_TUNINGS, Neck
from arrange.guitar.players import Player
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.movers import Mover
from arrange.revoicing.scope import Scope
from arrange.revoicing.stretches import Stretch
from arrange.revoicing.taste import Taste
from arrange.revoicing.units import part_units
from arrange.tables.columns import object_column
from arrange.tables.copies import quick_song
from arrange.tables.setups import all_through, by_section, section_at, song_in_section
from arrange.tables.song import Song, part_row
from arrange.text.part_lists import split_parts


def make_mover(
    harmonies: Harmonies,
    part: str,
    stretch: Stretch,
    scope: Scope,
    player: Player | None,
    taste: Taste,
    without: tuple[str, ...] = (),
) -> Mover:
    """Return a part that may change in a stretch; `without` are others that change too.

    Raises
    ------
    ArrangeError
        If there is no such part, it has no strings or is silent there, or a pin names no measure.
    """
    song = harmonies.song
    first = section_at(song, stretch.spans[0][0])
    here = song_in_section(song, song.sections["section"].iloc[first])
    neck = player_neck(here, part, player)  # a longer stretch has one neck too
    units = part_units(song, part, stretch, harmonies, scope.pins_of(song, part))
    struck = song.notes["onset"][song.notes["part"] == part].to_numpy()
    if not (units and stretch.holds(struck).any()):  # there are units in the bars around it too
        raise ArrangeError(f"{part} is silent in {stretch.name}; there is nothing to re-voice")
    hand = player.hand if player else Hand()
    return Mover(harmonies.scene, part, units, neck, hand, taste, scope.top_fret, without)


def two_players(players: Sequence[Player] | None) -> Sequence[Player | None]:
    """Return the players of two parts; none for each if none are given.

    Raises
    ------
    ArrangeError
        If there are not two.
    """
    if players is None:
        return None, None
    if len(players) != 2:
        names = [player.name for player in players]
        raise ArrangeError(f"players={names!r}; give two players, in the order of the parts")
    return players


def player_neck(song: Song, part: str, player: Player | None) -> Neck:
    """Return the neck of a part's player, or else the neck that the part is written for.

    Raises
    ------
    ArrangeError
        If the player's name is the label of another part, or the part has no strings.
    """
    if player is not None:
        if player.name != part and player.name in set(song.parts["part"]):
            raise ArrangeError(
                f"the player {player.name!r} is given for the part {part!r}; give the players in "
                "the order of the parts"
            )
        if player.neck is not None:
            part_row(song, part)
            return player.neck
    return part_neck(song, part)


def on_neck_of(song: Song, part: str, player: Player | None) -> Song:
    """Return the song with a part on its player's strings and capo.

    Where these differ from what is written, the written strings and frets are left out.
    """
    neck = player_neck(song, part, player)
    row = part_row(song, part)
    tuning = row["tuning"] or STANDARD_TUNINGS.get(row["family"])
    parts, notes = song.parts, song.notes
    is_own = (parts["part"] == part).to_numpy(dtype=bool)
    has_capo = (by_section(song, "capo")[is_own] == neck.capo).all()
    if player is None or player.neck is None or (tuning == neck.tuning and has_capo):
        return song
    tunings = [neck.tuning if own else tuning
               for own, tuning in zip(is_own, parts["tuning"], strict=True)]  # fmt: skip
    strung = quick_song(song, parts=parts.assign(tuning=object_column(tunings)))
    moved = notes["part"] == part
    freed = notes.assign(**{name: notes[name].mask(moved) for name in ("string", "fret")})
    return quick_song(all_through(strung, part, capo=neck.capo), notes=freed)


def check_some_may_change(movers: Sequence[Mover], stretch: Stretch) -> None:
    """Raise an ArrangeError if every part is pinned in all that it plays in the stretch."""
    if not any(len(mover.rows) for mover in movers):
        names = [mover.part for mover in movers]
        who = f"{names[0]} is" if len(names) == 1 else f"{' and '.join(names)} are both"
        it = "it plays" if len(names) == 1 else "they play"
        raise ArrangeError(f"{who} pinned in all that {it} in {stretch.name}; take a pin away")


def check_something_to_end(before: pd.DataFrame, parts: Sequence[str], stretch: Stretch) -> None:
    """Raise an ArrangeError if no finding of the parts touches the stretch but meant doubles."""
    before = before[~are_meant_doubles(before)]
    if not before["parts"].map(lambda names: _names_any(names, parts)).any():
        who = " or ".join(parts)
        raise ArrangeError(f"no finding touches {who} in {stretch.name}; there is nothing to end")


def _names_any(names: str, parts: Iterable[str]) -> bool:
    return bool(set(split_parts(names)) & set(parts))


def nearest_other(song: Song, part: str, before: pd.DataFrame, stretch: Stretch) -> str | None:
    """Return the part of the same family that a part shares most findings with, if any."""
    family = dict(zip(song.parts["part"], song.parts["family"], strict=True))
    met: dict[str, float] = {}
    for row in before.itertuples():
        names = split_parts(row.parts)
        if part in names:
            for other in names:
                if other != part:
                    met[other] = met.get(other, 0.0) + row.severity
    notes = song.notes
    sounds = notes["part"][stretch.holds(notes["onset"].to_numpy())].unique().tolist()
    able = [name for name in sounds if name != part and family[name] == family[part]]
    return max(able, key=lambda name: met.get(name, 0.0), default=None)


def touched(mover: Mover, before: pd.DataFrame) -> list[bool]:
    """Return for each unit whether a finding of its part touches it."""
    own = before[before["parts"].map(lambda names: _names_any(names, (mover.part,))).astype(bool)]
    onset = own["onset"].to_numpy()
    end = onset + own["duration"].to_numpy()
    return [
        bool(np.any((onset < unit.finish - 1e-6) & (end > unit.begin + 1e-6)))
        for unit in mover.units
    ]
