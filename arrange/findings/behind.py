"""Which notes make a finding: those to play to hear it, and those that a move would change.

Kinds about sound ask what sounds together, slice by slice, and cut the notes to the finding's
time; kinds about attacks (``ATTACK_KINDS``) ask what is attacked in it, and keep the notes whole.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import find_clashes
from arrange.clashes.attacks import ALMOST, TOGETHER
from arrange.clashes.harmony import FOURTH, MAJOR_THIRD, MINOR_THIRD
from arrange.clashes.limits import DEFAULT_LIMITS
from arrange.clashes.places import FOUNDATION, INTO_THE_BASS, NEAR_THE_VOICE
from arrange.clashes.scene import Scene
from arrange.errors import ArrangeError
from arrange.part_lists import split_parts
from arrange.pitch import parse_note
from arrange.sounding import Array, played_notes, slices, sounding_notes
from arrange.tables import Song
from arrange.texture import echo_attacks

ATTACK_KINDS = ("doubling", "near", "busy", "fusing")
SIXTEENTH = 0.25  # quarter notes; two attacks farther apart do not miss each other


def finding_notes(song: Song, finding: Any) -> pd.DataFrame:
    """Return the notes that make a finding.

    Parameters
    ----------
    song : Song
        The song that it was found in.
    finding : a row of the findings table, or the label of one in ``find_clashes(song)``
        A Series or a named tuple.

    Returns
    -------
    DataFrame
        Rows of the notes table under their own labels, cut to the time of the finding (whole for
        the kinds about attacks), with ``beat``, the place in the bar from 1, and ``name``, the
        note's name as the key spells it (empty if unpitched); by onset, part and pitch. Of a
        part's echo that misses another part, the attacks that it repeats.

    Raises
    ------
    ArrangeError
        If no finding has that label, or it is of parts that the song does not have.
    """
    finding = finding_row(song, finding)
    window = Window(song, finding)
    rows = window.rows[
        _ATTACKED[finding.kind](window)
        if finding.kind in ATTACK_KINDS
        else np.unique(window.note[_SOUNDING.get(finding.kind, _all_together)(window)])
    ]
    notes = song.notes.iloc[rows]
    onset = notes["onset"].to_numpy()
    if finding.kind not in ATTACK_KINDS:
        end = np.minimum(onset + notes["duration"].to_numpy(), window.end)
        onset = np.maximum(onset, window.begin)
        notes = notes.assign(onset=onset, duration=end - onset)
    scene = Scene(song)
    bar = scene.measure_of(onset)
    pitch = notes["pitch"].to_numpy()
    names = [
        scene.name(each, at) if np.isfinite(each) else ""
        for each, at in zip(pitch.tolist(), onset.tolist(), strict=True)
    ]
    notes = notes.assign(
        measure=bar + 1,
        section=song.measures["section"].array.take(bar),
        beat=song.beat(onset, bar + 1),
        name=pd.array(names, dtype="str"),
    )
    order = np.lexsort((pitch, pd.Index(scene.parts).get_indexer(notes["part"]), onset))
    return notes.iloc[order]


def finding_row(song: Song, finding: Any) -> Any:
    """Return a row of the findings table, looked up if its label is given.

    Raises
    ------
    ArrangeError
        If no finding has that label, or the song has no such part.
    """
    if not hasattr(finding, "kind"):
        findings = find_clashes(song)
        if finding not in findings.index:
            raise ArrangeError(
                f"no finding has the label {finding!r}; there are {len(findings)}, from 0: give "
                "a row of find_clashes(song), or its label"
            )
        finding = findings.loc[finding]
    finding_parts(song, finding)
    return finding


def finding_parts(song: Song, finding: Any) -> list[str]:
    """Return the labels of a finding's parts.

    Raises
    ------
    ArrangeError
        If the song has no such part.
    """
    known = set(song.parts["part"])
    parts = split_parts(str(finding.parts))
    for label in parts:
        if label not in known:
            raise ArrangeError(
                f"the finding is of a part {label!r}, which the song does not have; its parts are "
                f"{', '.join(song.parts['part'])}"
            )
    return parts


@dataclass(frozen=True)
class Window:
    """The notes of a finding's parts in its time, and what of them sounds in each slice."""

    song: Song
    finding: Any

    @property
    def begin(self) -> float:
        """Quarter notes."""
        return float(self.finding.onset)

    @property
    def end(self) -> float:
        """Quarter notes."""
        return float(self.finding.onset + self.finding.duration)

    @cached_property
    def parts(self) -> list[str]:
        """Labels, in score order."""
        return finding_parts(self.song, self.finding)

    @cached_property
    def families(self) -> list[str]:
        """Family of each part."""
        families = dict(zip(self.song.parts["part"], self.song.parts["family"], strict=True))
        return [families[part] for part in self.parts]

    @property
    def echoing(self) -> str:
        """The part whose echo misses the other; none if it is the attacks themselves."""
        is_near = self.finding.kind == "near"
        starts = (part for part in self.parts if str(self.finding.why).startswith(f"{part}'s echo"))
        return next(starts, "") if is_near else ""

    @cached_property
    def rows(self) -> Array:
        """Positions in the notes table."""
        notes = self.song.notes
        onset, duration = notes["onset"].to_numpy(), notes["duration"].to_numpy()
        if self.finding.kind in ATTACK_KINDS:  # the last attack of a run is its end
            inside = (onset >= self.begin - ALMOST) & (onset <= self.end + ALMOST)
            inside |= self._is_repeated(onset)
        else:
            inside = (onset < self.end - ALMOST) & (onset + duration > self.begin + ALMOST)
        inside[inside] = notes["part"][inside].isin(self.parts).to_numpy()
        own = notes[inside]
        rhythm = self.finding.kind in ATTACK_KINDS and self.finding.kind != "doubling"
        own = played_notes(own) if rhythm else sounding_notes(own)
        return notes.index.get_indexer(own.index)

    def _is_repeated(self, onset: Array) -> Array:
        """Whether an attack is one of those whose echo misses the other part."""
        if not self.echoing:
            return np.zeros(len(onset), dtype=bool)
        repeats = echo_attacks(self.song)
        within = repeats["onset"].between(self.begin - ALMOST, self.end + ALMOST)
        within &= repeats["part"] == self.echoing
        is_its_own = (self.song.notes["part"] == self.echoing).to_numpy()
        return is_its_own & np.isin(onset, repeats["attack"][within])

    @cached_property
    def part(self) -> Array:
        """Index of each note's part."""
        return pd.Index(self.parts).get_indexer(self.song.notes["part"].iloc[self.rows])

    @cached_property
    def pitch(self) -> Array:
        """Sounding pitch of each note."""
        return self.song.notes["pitch"].to_numpy()[self.rows]

    @cached_property
    def nearest(self) -> Array:
        """The semitone that each pitch is named by."""
        return np.floor(self.pitch + 0.5 - 1e-9)

    @cached_property
    def onset(self) -> Array:
        """Quarter notes."""
        return self.song.notes["onset"].to_numpy()[self.rows]

    @cached_property
    def _slices(self) -> tuple[Array, Array, Array]:
        onset = np.maximum(self.onset, self.begin)
        until = self.onset + self.song.notes["duration"].to_numpy()[self.rows]
        starts = self.song.chords["onset"].to_numpy()
        cuts = np.append(starts, starts + self.song.chords["duration"].to_numpy())
        cuts = cuts[(cuts > self.begin) & (cuts < self.end)]
        return slices(onset, np.minimum(until, self.end), cuts)

    @property
    def note(self) -> Array:
        """The note of each (note, slice)."""
        return self._slices[1]

    @property
    def at(self) -> Array:
        """The slice of each (note, slice)."""
        return self._slices[2]

    @cached_property
    def told(self) -> list[int]:
        """The pitches that the finding tells, to the semitone."""
        return [parse_note(name.rstrip("+-")) for name in str(self.finding.pitches).split()]

    def held(self, which: Array) -> Array:
        """Parts x slices: whether a part sounds one of some (note, slice) pairs."""
        held = np.zeros((len(self.parts), max(len(self._slices[0]) - 1, 0)), dtype=bool)
        held[self.part[self.note[which]], self.at[which]] = True
        return held

    def anyone(self, which: Array) -> Array:
        """The slices in which any part sounds one of some (note, slice) pairs."""
        there: Array = np.any(self.held(which), axis=0)
        return there

    def others(self, held: Array) -> Array:
        """For each (note, slice): whether another part than the note's is in `held` there."""
        return (held.sum(axis=0)[self.at] - held[self.part[self.note], self.at]) > 0

    def extreme(self, which: np.ufunc, none: float) -> Array:
        """Parts x slices: the highest or lowest pitch; `none` where the part is silent."""
        pitch = np.full((len(self.parts), max(len(self._slices[0]) - 1, 0)), none)
        which.at(pitch, (self.part[self.note], self.at), self.pitch[self.note])
        return pitch

    def chord_root(self) -> Array:
        """Root of the chord symbol in each slice, -1 for none."""
        chords = self.song.chords
        if chords.empty:
            return np.full(max(len(self._slices[0]) - 1, 0), -1)
        row = Scene(self.song).chord_at(self._slices[0][:-1])
        return np.where(row >= 0, chords["root"].fillna(-1).to_numpy(dtype=np.int64)[row], -1)


def _all_together(window: Window) -> Array:
    """A part alone: the pitches told; several: what sounds while all of them do."""
    if len(window.parts) == 1:
        return np.isin(window.nearest[window.note], window.told)
    everyone: Array = np.all(window.held(np.ones(len(window.note), dtype=bool)), axis=0)
    return everyone[window.at]


def _rub(window: Window) -> Array:
    """The pitches told, where another part holds the other one."""
    low, high = (window.nearest[window.note] == pitch for pitch in window.told)
    return (low & window.others(window.held(high))) | (high & window.others(window.held(low)))


def _mud(window: Window) -> Array:
    """The pitches told where they sound together; over an assumed root only the upper sounds."""
    low, high = (window.nearest[window.note] == pitch for pitch in window.told)
    both = window.anyone(low) & window.anyone(high)
    muddy: Array = (low | high) & both[window.at]
    return muddy if muddy.any() else high


def _crowding(window: Window) -> Array:
    """Within the shared zone, while the other part sounds."""
    low, high = min(window.told), max(window.told)
    inside = (window.nearest[window.note] >= low) & (window.nearest[window.note] <= high)
    return inside & window.others(window.held(np.ones(len(window.note), dtype=bool)))


def _crossing(window: Window) -> Array:
    """The top notes, where that of the upper part lies lower."""
    top = window.extreme(np.maximum, -np.inf)
    upper = _upper_part(window.song, window.parts)
    both: Array = np.all(np.isfinite(top), axis=0)
    crossed: Array = both & (top[upper] < top[1 - upper])
    is_top = window.pitch[window.note] == top[window.part[window.note], window.at]
    return crossed[window.at] & is_top


def _upper_part(song: Song, parts: list[str]) -> int:
    """Which of two parts has the higher top line over the song, by time."""
    notes = sounding_notes(song.notes[song.notes["part"].isin(parts)])
    onset = notes["onset"].to_numpy()
    lines, note, at = slices(onset, onset + notes["duration"].to_numpy(), np.empty(0))
    seconds = np.diff(song.seconds(lines))
    top = np.full((2, len(seconds)), -np.inf)
    part = pd.Index(parts).get_indexer(notes["part"])
    np.maximum.at(top, (part[note], at), notes["pitch"].to_numpy()[note])
    sounds = np.isfinite(top)
    mean = (np.where(sounds, top, 0) * seconds).sum(axis=1) / (sounds * seconds).sum(axis=1)
    return int(np.argmax(mean))


def _third(window: Window) -> Array:
    """The two degrees that disagree over the root, one in each part."""
    root = window.chord_root()[window.at]
    above = np.where(root >= 0, np.mod(window.nearest[window.note] - root, 12), -1)
    first = root[window.at == window.at.min()][:1] if len(root) else root
    told = {(pitch - int(first[0])) % 12 for pitch in window.told} if len(first) else set()
    degrees = sorted(told & {MINOR_THIRD, MAJOR_THIRD, FOURTH})
    if len(degrees) < 2:
        return np.isin(window.nearest[window.note], window.told)
    one, other = (above == degree for degree in degrees)
    return (one & window.others(window.held(other))) | (other & window.others(window.held(one)))


def _outside(window: Window) -> Array:
    """The pitch told."""
    return np.isin(window.nearest[window.note], window.told)


def _voice(window: Window) -> Array:
    """What lies within a third of the sung note, and the sung note."""
    singer = window.families.index("voice")
    sung = window.extreme(np.maximum, -np.inf)[singer]
    own = window.part[window.note] != singer
    distance = np.abs(window.pitch[window.note] - sung[window.at])
    near = own & (distance > 0.5) & (distance <= NEAR_THE_VOICE + 0.5)
    there = window.anyone(near)
    is_sung = ~own & (window.pitch[window.note] == sung[window.at])
    return near | (is_sung & there[window.at])


def _bass(window: Window) -> Array:
    """The part's lowest note and the bass's, where they blur."""
    bass = window.families.index("bass")
    lowest = window.extreme(np.minimum, np.inf)
    sound: Array = np.all(np.isfinite(lowest), axis=0)
    both = sound & (lowest[bass] < FOUNDATION)
    above = np.where(both, lowest[1 - bass], 0) - np.where(both, lowest[bass], 0)
    blurred: Array = both & (above <= INTO_THE_BASS) & (np.mod(above, 12) != 0)
    is_lowest = window.pitch[window.note] == lowest[window.part[window.note], window.at]
    return blurred[window.at] & is_lowest


_SOUNDING: dict[str, Callable[[Window], Array]] = {
    "rub": _rub,
    "mud": _mud,
    "crowding": _crowding,
    "crossing": _crossing,
    "third": _third,
    "outside": _outside,
    "voice": _voice,
    "bass": _bass,
}


def _doubling(window: Window) -> Array:
    """The top notes of attacks that both make, at the octaves that most of them lie apart."""
    tops: list[dict[float, int]] = [{}, {}]
    for note in np.lexsort((window.pitch, window.onset)).tolist():
        tops[window.part[note]][float(window.onset[note])] = note
    shared = sorted(tops[0].keys() & tops[1].keys())
    pairs = np.array([[top[onset] for top in tops] for onset in shared], dtype=np.int64)
    if not len(pairs):
        return np.empty(0, dtype=np.int64)
    size = np.diff(window.pitch[pairs], axis=1)[:, 0]
    octaves, counts = np.unique(size[np.mod(size, 12) == 0], return_counts=True)
    return pairs[size == octaves[np.argmax(counts)]].ravel()


def near_shifts(window: Window) -> tuple[Array, Array]:
    """Return the notes of two parts that miss each other, and how far each is from the other's.

    Returns
    -------
    note : array of int
        Index into the window's notes.
    quarters : array
        From the note to the attack that it misses.
    """
    seconds = np.asarray(window.song.seconds(window.onset))
    found = [np.flatnonzero(window.part == part) for part in (0, 1)]
    near = [_nearest(seconds[own], seconds[other]) for own, other in (found, found[::-1])]
    notes, quarters = [np.empty(0, dtype=np.int64)], [np.empty(0)]
    for part in (0, 1):
        own, other = found[part], found[1 - part]
        if not len(own) or not len(other):
            continue
        partner = other[near[part]]
        back = own[near[1 - part][near[part]]]
        shift = window.onset[partner] - window.onset[own]
        gap = np.abs(seconds[partner] - seconds[own])
        missed = (gap > TOGETHER + ALMOST) & (np.abs(shift) <= SIXTEENTH + ALMOST)
        missed &= gap <= DEFAULT_LIMITS.near_seconds + ALMOST
        missed &= np.abs(seconds[back] - seconds[own]) <= TOGETHER + ALMOST
        notes.append(own[missed])
        quarters.append(shift[missed])
    return np.concatenate(notes), np.concatenate(quarters)


def _nearest(times: Array, others: Array) -> Array:
    """Index of the nearest of the others to each time."""
    if not len(others):
        return np.empty(0, dtype=np.int64)
    order = np.argsort(others, kind="stable")
    after = np.clip(np.searchsorted(others[order], times), 1, max(len(others) - 1, 1))
    after = np.minimum(after, len(others) - 1)
    before = np.maximum(after - 1, 0)
    back = times - others[order][before] <= others[order][after] - times
    return order[np.where(back, before, after)]


def _near(window: Window) -> Array:
    """Attacks that miss each other; or those that an echo repeats beside the other part's."""
    return np.arange(len(window.rows)) if window.echoing else near_shifts(window)[0]


def _every_attack(window: Window) -> Array:
    return np.arange(len(window.rows))


_ATTACKED: dict[str, Callable[[Window], Array]] = {
    "doubling": _doubling,
    "near": _near,
    "busy": _every_attack,
    "fusing": _every_attack,
}
