"""The notes that one player plays, merged and fingered: what can really be held.

A merge takes the notes of both layers. Where both hold one pitch at once it becomes one note, which
is struck again where the second layer strikes it. Nothing is added. A note that sounds on into the
next section is held if the player goes on with its layer; else it ends there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from arrange.condensing.held_together import Asked
from arrange.condensing.lineup import Gear
from arrange.condensing.player_options import Option
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.guitar.fingering import finger_part
from arrange.guitar.fingering.moments import OVERLAP
from arrange.guitar.necks import Neck
from arrange.tables.columns import integer_column
from arrange.tables.song import Song
from arrange.tables.sounding import Array

Problems = dict[int, tuple[str, bool]]  # row of a note: why it cannot be played, is it left out
PartKey = tuple[tuple[Option, ...], int]  # a player's option in each section, number of the neck
LeftOut = dict[tuple[int, int], list[str]]  # (layer, section): why notes are left out or cut short


@dataclass(frozen=True)
class PlayerLine:
    """Notes of one player, as places in the recorded layers.

    Parameters
    ----------
    note : array of int
    end : array of float
        Quarter notes.
    is_merged : array of bool
        Its section is played as a merge, so that strings and frets of the source do not bind.
    """

    note: Array
    end: Array
    is_merged: Array


def layers_taken(recorded: RecordedLayers, choices: Sequence[Option]) -> Array:
    """Return whether a player with one option in each section takes a layer: layers x sections."""
    taken = np.zeros((len(recorded.names), len(choices)), dtype=bool)
    for section, option in enumerate(choices):
        taken[list(option), section] = True
    return taken


def player_line(
    recorded: RecordedLayers, choices: Sequence[Option], *, cut: bool = False
) -> PlayerLine:
    """Return the notes of a player who takes one option in each section.

    Parameters
    ----------
    recorded : RecordedLayers
    choices : sequence of Option
    cut : bool
        End every note with its section.
    """
    taken = layers_taken(recorded, choices)
    note = np.flatnonzero(taken[recorded.layer, recorded.section])
    layer, section = recorded.layer[note], recorded.section[note]
    # The last section into which a note may sound: as long as its layer is taken.
    last = np.tile(np.arange(len(choices)), (len(recorded.names), 1))
    for before in range(len(choices) - 2, -1, -1):
        goes_on = taken[:, before] & taken[:, before + 1] & (not cut)
        last[goes_on, before] = last[goes_on, before + 1]
    limit = recorded.ends[last[layer, section]]
    # After the last bar nothing follows that it could stand against.
    limit = np.where(last[layer, section] == len(choices) - 1, np.inf, limit)
    end = np.minimum(recorded.end[note], np.maximum(limit, recorded.onset[note]))
    merged = np.array([len(option) > 1 for option in choices])[section]
    keep, end = _one_note(recorded, note, end)
    return PlayerLine(note[keep], end[keep], merged[keep])


def _one_note(recorded: RecordedLayers, note: Array, end: Array) -> tuple[Array, Array]:
    """Make one note of what two layers hold at one pitch; which are kept, and their ends."""
    keep, end = np.ones(len(note), dtype=bool), end.copy()
    sounding = np.flatnonzero(recorded.is_played[note] & ~np.isnan(recorded.pitch[note]))
    onset, pitch = recorded.onset[note], recorded.pitch[note]
    layer = recorded.layer[note]
    order = sounding[
        np.lexsort((layer[sounding], -end[sounding], onset[sounding], pitch[sounding]))
    ]
    meets = (pitch[order[1:]] == pitch[order[:-1]]) & (layer[order[1:]] != layer[order[:-1]])
    if not meets.any():
        return keep, end
    held = -1
    for now in order.tolist():
        if held >= 0 and pitch[held] == pitch[now] and end[held] > onset[now] + 1e-9:
            if layer[held] == layer[now]:
                held = now if end[now] >= end[held] else held
                continue
            if onset[held] == onset[now]:
                keep[now] = False  # the longer of the two stands
                continue
            end[now] = max(end[now], end[held])
            end[held] = onset[now]
        held = now
    return keep, end


@dataclass(frozen=True)
class Fingerings:
    """What has been fingered so far of some layers.

    Parameters
    ----------
    recorded : RecordedLayers
    necks : tuple of Gear
    problems : mapping
        For each option asked for in a section and on a neck: the notes that cannot be played, as
        rows of the song's notes, with why; and whether each is left out or only let go early.
    unbound : frozenset
        Where strings and frets of the source do not bind, since they cannot be held.
    parts : mapping
        For each choice of a player and neck, the whole part and its fingering.
    """

    recorded: RecordedLayers
    necks: tuple[Gear, ...]
    problems: Mapping[Asked, Problems] = field(default_factory=dict)
    unbound: frozenset[Asked] = frozenset()
    parts: Mapping[PartKey, tuple[PlayerLine, pd.DataFrame]] = field(default_factory=dict)

    def with_part(self, choices: Sequence[Option], neck: int) -> tuple[Fingerings, list[Asked]]:
        """Return it with a player's whole part fingered, and what of it cannot be played."""
        key = tuple(choices), neck
        known = self if key in self.parts else self._with_fingered(key)
        troubled = known._troubled(key)
        if not troubled:
            return known, []
        asked = [(section, option, neck) for section, option in enumerate(choices)]
        sections = {self.recorded.section[place] for place in troubled}
        known = known.with_asked(one for one in asked if one[0] in sections)
        bad = [one for one in asked if known.problems.get(one)]
        if not bad:
            # Each section can be played: strings of the source did not bind after all, or what
            # sounds on into the next section cannot be held.
            known = known._with_fingered(key)
            if known._troubled(key):
                known = known._with_fingered(key, cut=True)
        return known, bad

    def stretched_shares(self, option: Option, neck: int, sections: Sequence[int]) -> Array:
        """Return in what share of its attacks an option reaches beyond what is comfortable.

        For each section of the song; the option is fingered in these, and by itself, so that the
        share does not depend on what else its player takes.
        """
        count = len(self.recorded.sections)
        choices = [option if section in sections else () for section in range(count)]
        line, gear = player_line(self.recorded, choices, cut=True), self.necks[neck]
        fingered = fingered_line(self.recorded, line, gear)
        bad = fingered.loc[fingered["problem"].notna(), "place"].to_numpy(dtype=np.int64)
        if len(bad):
            unbound = np.unique(self.recorded.section[bad]).tolist()
            fingered = fingered_line(self.recorded, line, gear, unbound=unbound)
        reach = fingered.groupby("onset")["reach_mm"].max()
        at = np.searchsorted(self.recorded.begins, reach.index.to_numpy() + 1e-9, "right") - 1
        far = np.bincount(at, reach.to_numpy() > gear.hand.comfortable_mm, minlength=count)
        return np.asarray(far / np.maximum(np.bincount(at, minlength=count), 1))

    def _troubled(self, key: PartKey) -> list[int]:
        """Places in the recorded layers of the notes of a part that cannot be played."""
        fingered = self.parts[key][1]
        return [int(place) for place in fingered.loc[fingered["problem"].notna(), "place"]]

    def _with_fingered(self, key: PartKey, *, cut: bool = False) -> Fingerings:
        choices, neck = key
        line = player_line(self.recorded, choices, cut=cut)
        unbound = [s for s, own in enumerate(choices) if (s, own, neck) in self.unbound]
        fingered = fingered_line(self.recorded, line, self.necks[neck], unbound=unbound)
        return replace(self, parts={**self.parts, key: (line, fingered)})

    def with_asked(self, asked: Iterable[Asked]) -> Fingerings:
        """Return it with each of these options fingered, each section for itself."""
        new = sorted(set(asked) - self.problems.keys())
        if not new:
            return self
        found = self._fingered([one for one in new if one[1]], self.unbound)
        found |= {one: {} for one in new if not one[1]}
        bound = [one for one in new if found[one] and self.is_bound(one)]
        unbound = self.unbound | frozenset(bound)
        found |= self._fingered(bound, unbound)
        return replace(self, problems={**self.problems, **found}, unbound=unbound)

    def is_bound(self, asked: Asked) -> bool:
        """Return whether strings and frets of the source bind, while they can be held."""
        section, option, neck = asked
        recorded = self.recorded
        own = (recorded.section == section) & (recorded.layer == option[0])
        return len(option) == 1 and bool(recorded.binds(self.necks[neck].neck)[own].any())

    def _fingered(self, asked: Sequence[Asked], unbound: frozenset[Asked]) -> dict[Asked, Problems]:
        """Finger each of these, as many in one part as there are different sections."""
        recorded, found = self.recorded, {}
        for slot in _slots(asked):
            choices = [slot[s][1] if s in slot else () for s in range(len(recorded.sections))]
            line = player_line(recorded, choices, cut=True)
            free = [section for section, one in slot.items() if one in unbound]
            neck = self.necks[next(iter(slot.values()))[2]]
            problems = _problems(fingered_line(recorded, line, neck, unbound=free))
            for section, one in slot.items():
                found[one] = {
                    int(recorded.row[place]): problem for place, problem in problems.items()
                    if recorded.section[place] == section
                }  # fmt: skip
        return found

    def thinned(self, asked: Sequence[Asked]) -> tuple[Fingerings, LeftOut]:
        """Return the fingerings of layers thinned out until they can be played, and what is gone.

        Each of `asked` is a single layer in a section. What lies nowhere is left out; what is let
        go early ends with the next attack of its layer.
        """
        known, left_out = self.with_asked(asked), LeftOut()
        while stuck := [one for one in asked if known.problems[one]]:
            for one in stuck:
                whys = left_out.setdefault((one[1][0], one[0]), [])
                whys += [why for why, _ in known.problems[one].values()]
            known = known._without({(one[0], one[1][0]) for one in stuck}, known._cuts(stuck))
            known = known.with_asked(asked)
        return known, left_out

    def _cuts(self, stuck: Sequence[Asked]) -> dict[int, float]:
        """Where notes that cannot be played end, by their places; NaN for those left out."""
        recorded, ends = self.recorded, {}
        place = {row: number for number, row in enumerate(recorded.row.tolist())}
        for asked in stuck:
            own = (recorded.section == asked[0]) & (recorded.layer == asked[1][0])
            attacks = np.append(np.unique(recorded.onset[own & recorded.is_played]), np.inf)
            for row, (_, is_out) in self.problems[asked].items():
                note = place[row]
                after = attacks[np.searchsorted(attacks, recorded.onset[note] + OVERLAP)]
                # Where no attack is left to end it, the note goes too.
                ends[note] = np.nan if is_out or after >= recorded.end[note] else float(after)
        return ends

    def _without(self, changed: set[tuple[int, int]], ends: Mapping[int, float]) -> Fingerings:
        """Return what is still known once layers have changed in (section, layer)."""
        problems = {
            one: found for one, found in self.problems.items()
            if not any((one[0], layer) in changed for layer in one[1])
        }  # fmt: skip
        unbound = frozenset(one for one in self.unbound if one in problems)
        return Fingerings(self.recorded.with_ends(ends), self.necks, problems, unbound)


def _slots(asked: Sequence[Asked]) -> list[dict[int, Asked]]:
    """What can be fingered in one part: different sections on one neck."""
    slots: list[dict[int, Asked]] = []
    for one in asked:
        for slot in slots:
            if next(iter(slot.values()))[2] == one[2] and one[0] not in slot:
                slot[one[0]] = one
                break
        else:
            slots.append({one[0]: one})
    return slots


def _problems(fingered: pd.DataFrame) -> Problems:
    """Why notes cannot be played, by their places in the recorded layers."""
    bad = fingered[fingered["problem"].notna()]
    return {
        int(place): (str(problem), bool(pd.isna(finger)))
        for place, problem, finger in zip(bad["place"], bad["problem"], bad["finger"], strict=True)
    }


def fingered_line(
    recorded: RecordedLayers,
    line: PlayerLine,
    held: Gear,
    *,
    unbound: Sequence[int] = (),
) -> pd.DataFrame:
    """Return a player's notes as ``finger_part`` does.

    The column `place` holds their places in the recorded layers. `unbound` are the sections in
    which strings and frets of the source do not bind.
    """
    neck = held.neck
    notes = line_notes(recorded, line, neck, unbound)
    if not len(notes):
        nothing = np.zeros(0)
        return notes.assign(
            place=nothing.astype(np.int64), problem=None, finger=None, reach_mm=nothing
        )
    traced = notes.assign(source_id=pd.array(line.note.astype(str), dtype="str"))
    song = _bare_song(recorded.song, traced, neck)
    fingered = finger_part(song, "player", neck=neck, hand=held.hand, picks=held.picks)
    place = fingered["source_id"].astype("int64").to_numpy()
    sources = recorded.song.notes["source_id"].array.take(recorded.row[place])
    return fingered.assign(place=place, source_id=sources)


def line_notes(
    recorded: RecordedLayers, line: PlayerLine, neck: Neck, unbound: Sequence[int] = ()
) -> pd.DataFrame:
    """Return a player's notes as a notes table, with the strings of the source where they bind."""
    notes = recorded.song.notes.iloc[recorded.row[line.note]].reset_index(drop=True)
    free = line.is_merged | np.isin(recorded.section[line.note], list(unbound))
    free |= ~recorded.binds(neck)[line.note]
    columns = {
        name: integer_column(
            notes[name].fillna(0).to_numpy(dtype=np.int64), notes[name].isna().to_numpy() | free
        )
        for name in ("string", "fret")
    }
    # What two layers call by one voice would be tied to one.
    voice = np.where(line.is_merged, None, notes["voice"].to_numpy(dtype=object, na_value=None))
    return notes.assign(
        part="player",
        duration=line.end - recorded.onset[line.note],
        voice=pd.array(voice, dtype="str"),
        **columns,
    )


def _bare_song(song: Song, notes: pd.DataFrame, neck: Neck) -> Song:
    """A song of one guitar with these notes."""
    part = song.parts.iloc[:1].assign(part="player", family="guitar", capo=neck.capo)
    part["tuning"] = pd.Series([neck.tuning], index=part.index, dtype=object)
    return replace(song, parts=part, notes=notes, setups=song.setups[:0])
