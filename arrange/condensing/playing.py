"""The notes that one player plays, merged and fingered: what really can be held.

A merge takes the notes of both layers; where they hold one pitch at once it is one note, struck
anew where the other strikes it. Nothing is added. A note that sounds on into the next section is
held if the player goes on with its layer, else it ends there.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from arrange.condensing.material import Material
from arrange.condensing.options import Option
from arrange.guitar.fingering import finger_part
from arrange.guitar.fingering.moments import OVERLAP
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.tables.song import Song, integer_column
from arrange.tables.sounding import Array

Asked = tuple[int, Option, int]  # section, option, which neck


@dataclass(frozen=True)
class Line:
    """Notes of one player, as places in the material.

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


def player_line(material: Material, choices: Sequence[Option], *, cut: bool = False) -> Line:
    """Return the notes of a player who takes one option in each section.

    Parameters
    ----------
    material : Material
    choices : sequence of Option
    cut : bool
        End every note with its section.
    """
    taken = np.zeros((len(material.names), len(choices)), dtype=bool)
    for number, option in enumerate(choices):
        taken[list(option), number] = True
    note = np.flatnonzero(taken[material.layer, material.section])
    layer, section = material.layer[note], material.section[note]
    # The last section into which a note may sound: as long as its layer is taken.
    last = np.tile(np.arange(len(choices)), (len(material.names), 1))
    for before in range(len(choices) - 2, -1, -1):
        goes_on = taken[:, before] & taken[:, before + 1] & (not cut)
        last[goes_on, before] = last[goes_on, before + 1]
    limit = material.ends[last[layer, section]]
    # After the last bar nothing follows that it could stand against.
    limit = np.where(last[layer, section] == len(choices) - 1, np.inf, limit)
    end = np.minimum(material.end[note], np.maximum(limit, material.onset[note]))
    merged = np.array([len(option) > 1 for option in choices])[section]
    keep, end = _one_note(material, note, end)
    return Line(note[keep], end[keep], merged[keep])


def _one_note(material: Material, note: Array, end: Array) -> tuple[Array, Array]:
    """Make one note of what two layers hold at one pitch; which are kept, and their ends."""
    keep, end = np.ones(len(note), dtype=bool), end.copy()
    sounding = np.flatnonzero(material.is_played[note] & ~np.isnan(material.pitch[note]))
    onset, pitch = material.onset[note], material.pitch[note]
    layer = material.layer[note]
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


@dataclass
class Bench:
    """What has been fingered so far.

    Parameters
    ----------
    necks : tuple of Neck
    hand : Hand
    known : dict
        For what was asked: the notes that cannot be played, as rows of the song's notes, with why;
        and whether each is left out or only let go early.
    unbound : set
        Where strings and frets of the source do not bind, since they cannot be held.
    left : dict
        For each layer and section, why notes had to be left out or let go early.
    parts : dict
        For each choice of a player and neck, the whole part, its fingering, and the material
        that it is of.
    """

    necks: tuple[Neck, ...]
    hand: Hand
    known: dict[Asked, dict[int, tuple[str, bool]]] = field(default_factory=dict)
    unbound: set[Asked] = field(default_factory=set)
    left: dict[tuple[int, int], list[str]] = field(default_factory=dict)
    parts: dict[tuple[tuple[Option, ...], int], tuple[Line, pd.DataFrame, Material]] = field(
        default_factory=dict
    )

    def part(self, material: Material, choices: Sequence[Option], neck: int) -> list[Asked]:
        """Finger a player's whole part; return what of it cannot be played."""
        key = tuple(choices), neck
        if key not in self.parts or self.parts[key][2] is not material:
            self._fingered_part(material, choices, neck)
        if not self.parts[tuple(choices), neck][1]["problem"].notna().any():
            return []
        asked = [(section, option, neck) for section, option in enumerate(choices)]
        sections = {material.section[place] for place in self._troubled(choices, neck)}
        self.ask(material, [one for one in asked if one[0] in sections])
        bad = [one for one in asked if self.known.get(one)]
        if not bad:
            # Each section can be played: strings of the source did not bind after all, or what
            # sounds on into the next section cannot be held.
            self._fingered_part(material, choices, neck)
            if self._troubled(choices, neck):
                self._fingered_part(material, choices, neck, cut=True)
        return bad

    def _troubled(self, choices: Sequence[Option], neck: int) -> list[int]:
        """Places in the material of the notes of a part that cannot be played."""
        fingered = self.parts[tuple(choices), neck][1]
        return [int(place) for place in fingered.loc[fingered["problem"].notna(), "place"]]

    def _fingered_part(
        self, material: Material, choices: Sequence[Option], neck: int, *, cut: bool = False
    ) -> None:
        line = player_line(material, choices, cut=cut)
        unbound = [s for s, own in enumerate(choices) if (s, own, neck) in self.unbound]
        fingered = fingered_line(material, line, self.necks[neck], self.hand, unbound=unbound)
        self.parts[tuple(choices), neck] = line, fingered, material

    def ask(self, material: Material, asked: Iterable[Asked]) -> None:
        """Finger what was not yet: each section for itself."""
        new = sorted(set(asked) - self.known.keys())
        self._finger(material, [one for one in new if one[1]])
        self.known.update({one: {} for one in new if not one[1]})
        bound = [one for one in new if self.known[one] and self._is_bound(material, one)]
        if bound:
            self.unbound.update(bound)
            self._finger(material, bound)

    def forget(self, section: int, layer: int) -> None:
        """Drop what is known of a layer in a section, since it has changed."""
        for one in [o for o in self.known if o[0] == section and layer in o[1]]:
            del self.known[one]
            self.unbound.discard(one)

    def thinned(self, material: Material, asked: Sequence[Asked]) -> Material:
        """Return the material with single layers as they can be played in their sections.

        What lies nowhere is left out; what is let go early ends with the next attack of its layer.
        """
        self.ask(material, asked)
        while stuck := [one for one in asked if self.known[one]]:
            place = {row: number for number, row in enumerate(material.row.tolist())}
            gone: list[int] = []
            cut: list[int] = []
            ends: list[float] = []
            for section, option, neck in stuck:
                problems = self.known[section, option, neck]
                whys = self.left.setdefault((option[0], section), [])
                whys += [why for why, _ in problems.values()]
                own = (material.section == section) & (material.layer == option[0])
                attacks = np.append(np.unique(material.onset[own & material.is_played]), np.inf)
                for row, (_, is_out) in problems.items():
                    note = place[row]
                    after = np.searchsorted(attacks, material.onset[note] + OVERLAP)
                    if is_out or attacks[after] >= material.end[note]:
                        gone.append(note)  # or there is nothing that could end it
                    else:
                        cut.append(note)
                        ends.append(float(attacks[after]))
            material = material.without(gone, cut, ends)
            for section, option, _ in stuck:
                self.forget(section, option[0])
            self.ask(material, asked)
        return material

    def _is_bound(self, material: Material, asked: Asked) -> bool:
        section, option, neck = asked
        if len(option) > 1 or material.necks[option[0]] != self.necks[neck]:
            return False
        own = (material.section == section) & (material.layer == option[0])
        return bool(material.song.notes["string"].iloc[material.row[own]].notna().any())

    def _finger(self, material: Material, asked: Sequence[Asked]) -> None:
        """Finger each of these, as many in one part as there are different sections."""
        slots: list[dict[int, Asked]] = []
        for one in asked:
            for slot in slots:
                same_neck = next(iter(slot.values()))[2] == one[2]
                if same_neck and one[0] not in slot:
                    slot[one[0]] = one
                    break
            else:
                slots.append({one[0]: one})
        for slot in slots:
            choices = [slot[s][1] if s in slot else () for s in range(len(material.sections))]
            line = player_line(material, choices, cut=True)
            unbound = [s for s, one in slot.items() if one in self.unbound]
            neck = next(iter(slot.values()))[2]
            fingered = fingered_line(material, line, self.necks[neck], self.hand, unbound=unbound)
            problems = _problems(fingered)
            for section, one in slot.items():
                self.known[one] = {
                    int(material.row[place]): told for place, told in problems.items()
                    if material.section[place] == section
                }  # fmt: skip


def _problems(fingered: pd.DataFrame) -> dict[int, tuple[str, bool]]:
    """Why notes cannot be played, by their places in the material."""
    bad = fingered[fingered["problem"].notna()]
    return {
        int(place): (str(problem), bool(pd.isna(finger)))
        for place, problem, finger in zip(bad["place"], bad["problem"], bad["finger"], strict=True)
    }


def fingered_line(
    material: Material, line: Line, neck: Neck, hand: Hand, *, unbound: Sequence[int] = ()
) -> pd.DataFrame:
    """Return a player's notes as ``finger_part`` does, and their places in the material as `place`.

    `unbound` are the sections in which strings and frets of the source do not bind.
    """
    notes = line_notes(material, line, neck, unbound)
    if not len(notes):
        return notes.assign(place=np.zeros(0, dtype=np.int64), problem=None, finger=None)
    traced = notes.assign(source_id=pd.array(line.note.astype(str), dtype="str"))
    # Only notes recorded on this very neck have strings left; those are kept on the part's own.
    is_bound = bool(notes["string"].notna().any())
    song = _bare_song(material.song, traced, neck)
    fingered = finger_part(song, "player", neck=None if is_bound else neck, hand=hand)
    place = fingered["source_id"].astype("int64").to_numpy()
    sources = material.song.notes["source_id"].array.take(material.row[place])
    return fingered.assign(place=place, source_id=sources)


def line_notes(
    material: Material, line: Line, neck: Neck, unbound: Sequence[int] = ()
) -> pd.DataFrame:
    """Return a player's notes as a notes table, with the strings of the source where they bind."""
    notes = material.song.notes.iloc[material.row[line.note]].reset_index(drop=True)
    own = np.array([known == neck for known in material.necks], dtype=bool)
    free = line.is_merged | np.isin(material.section[line.note], list(unbound))
    free |= ~own[material.layer[line.note]]
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
        duration=line.end - material.onset[line.note],
        voice=pd.array(voice, dtype="str"),
        **columns,
    )


def _bare_song(song: Song, notes: pd.DataFrame, neck: Neck) -> Song:
    """A song of one guitar with these notes."""
    part = song.parts.iloc[:1].assign(part="player", family="guitar", capo=neck.capo)
    part["tuning"] = pd.Series([neck.tuning], index=part.index, dtype=object)
    return replace(song, parts=part, notes=notes)
