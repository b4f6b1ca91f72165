"""The singer wants another key: capos and shapes for each guitar that keep the parts apart.

Everything is transposed (``transposing``); each guitar then has a few ways to play its part
(``key_ways``). Of all ways together the cheapest are held against the findings, exact among those.
Parts with strings that are no guitars keep their tuning and are fingered anew where they must be.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import pandas as pd

from arrange.errors import ArrangeError, shown
from arrange.findings.recheck import Change, compare_findings
from arrange.findings.summary import count_kinds
from arrange.guitar.necks import STANDARD_TUNINGS, capo_words, nearest_capo
from arrange.guitar.players import Player, song_players
from arrange.revoicing.harmonies import Harmonies
from arrange.revoicing.ideas import CAPOS
from arrange.revoicing.judging import (
    Place,
    counts_by_measure,
    findings_of_each,
    given_up,
    given_up_words,
    places_of,
    sounded,
    top_steps,
)
from arrange.revoicing.key_ways import KeyedPart, Way
from arrange.revoicing.preparing import on_neck_of
from arrange.revoicing.proposals import Proposal
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.taste import Taste
from arrange.revoicing.transposing import transposed
from arrange.tables.copies import quick_song
from arrange.tables.setups import all_through
from arrange.tables.song import Song, played_parts
from arrange.text.words import an, counted, listed

MOST_SEMITONES = 11
# The range of a choir's voices, MIDI numbers (common practice, from memory).
VOICES = {
    "mezzo": (57, 77),
    "soprano": (60, 81),
    "alto": (53, 74),
    "tenor": (48, 69),
    "baritone": (45, 65),
    "bass": (40, 64),
}
_MOST_TOGETHER = 16  # ways of all guitars together that are held against the findings


def change_key(
    song: Song,
    semitones: int,
    players: Sequence[Player] | None = None,
    *,
    taste: Taste | None = None,
) -> list[Proposal]:
    """Return how to play a song in another key: capos and shapes for each guitar, best first.

    All parts are moved, chords and keys too; drums stay. Each guitar keeps its shapes with the
    frets or the capo moved, is fingered anew, or plays the open shapes of the new key at a capo.

    Parameters
    ----------
    song : Song
    semitones : int
        How far up, -11 to 11; below 0 down.
    players : sequence of Player, optional
        Those who have something to say about capos, tuning or hand, by the label of their part or
        by their name as a player; else those that the song names. Every other guitar may put a capo
        anywhere up to fret 7.
    taste : Taste, optional
        From which value on something is a finding, and what each thing costs.

    Returns
    -------
    list of Proposal
        `semitones` counts from the notes in the new key; `why` says of each guitar what to do, and
        what cannot be reached; so do the song's `notices`. `ended` are findings in the old key to
        which there is none in the new one, `brought` the other way round.

    Raises
    ------
    ArrangeError
        If the song would stay in its key or move by an octave or more, a player is unknown or
        given twice, or with none of a player's capos the part lies on the neck.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> lower = ar.change_key(song, -2, [ar.Player("Guitar 2", capos=(1, 3))])[0]
    >>> lower.song.main_key, lower.song.parts["capo"].tolist()
    ('Ab major', [0, 0, 1, 0])
    """
    _check_semitones(semitones)
    taste = taste or Taste()
    asked = _players_of(song, _own_players(song) if players is None else players)
    parts = [
        row.part
        for row in song.parts.itertuples()
        if row.family in STANDARD_TUNINGS or isinstance(row.tuning, tuple) or row.part in asked
    ]
    for part in parts:
        song = on_neck_of(song, part, asked.get(part))
    after = transposed(song, semitones)
    ways = []
    for part in parts:
        given = asked.get(part)
        player = given or _as_written(song, part)
        keyed = KeyedPart(song, after, part, semitones, player, taste)
        found = keyed.ways(keyed.capos)
        if given is not None:
            _check_usable(keyed, found)
        is_guitar = given is not None or player.capos is None
        ways.append(found if is_guitar else found[:1])
    comparison = _Comparison(song, after, semitones, taste)
    return comparison.proposals(_cheapest_together(ways))


def _check_semitones(semitones: int) -> None:
    if type(semitones) is not int or not 1 <= abs(semitones) <= MOST_SEMITONES:
        raise ArrangeError(
            f"by {shown(semitones)} semitones; write a whole number from 1 to {MOST_SEMITONES} for "
            f"a higher key, or from -1 to -{MOST_SEMITONES} for a lower one"
        )


def _own_players(song: Song) -> list[Player]:
    """The players that a song names, as far as they play a part of it."""
    known = {*song.parts["part"], *song.parts["player"].dropna()}
    return [player for player in song_players(song) if player.name in known]


def _players_of(song: Song, players: Sequence[Player]) -> dict[str, Player]:
    """Who is given for which part."""
    names = [player.name for player in players]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ArrangeError(f"two players are called {twice!r}; give each player once")
    found: dict[str, Player] = {}
    for player in players:
        for part in played_parts(song, player.name):
            if part in found:
                raise ArrangeError(
                    f"{found[part].name} and {player.name} are both given for the part {part!r}; "
                    "give one of them"
                )
            found[part] = replace(player, name=part)
    return found


def _as_written(song: Song, part: str) -> Player:
    """A guitarist who takes any capo; for another instrument somebody who leaves it as it is."""
    row = song.parts[song.parts["part"] == part].iloc[0]
    return Player(part, capos=None if row["family"] == "guitar" else (int(row["capo"]),))


def _check_usable(keyed: KeyedPart, found: Sequence[Way]) -> None:
    """Raise an ArrangeError if the part is out of reach with all of its player's capos."""
    if any(way.is_usable for way in found):
        return
    others = [capo for capo in range(CAPOS + 1) if capo not in keyed.capos]
    would = {way.capo for capo in others for way in keyed.ways([capo]) if way.is_usable}
    do = (
        f"{capo_words(nearest_capo(would, keyed.capos))} is the nearest that would do"
        if would
        else "no capo would do: take another key, or tune the strings lower"
    )
    raise ArrangeError(
        f"{keyed.part}: in {keyed.after.main_key or 'the new key'} much of the part does not lie "
        f"on the neck with {listed(map(capo_words, keyed.capos), 'or')}; {do}"
    )


def _cheapest_together(ways: Sequence[Sequence[Way]]) -> list[tuple[Way, ...]]:
    """A way for each part, the cheapest of all such first."""
    found: list[tuple[Way, ...]] = [()]
    for own in ways:
        longer = [(*before, way) for before, way in product(found, own)]
        found = sorted(longer, key=lambda each: sum(way.cost for way in each))[:_MOST_TOGETHER]
    return found


@dataclass(frozen=True, eq=False)
class _Comparison:
    """A song in two keys, and what stands against each way to play it in the new one."""

    before: Song
    after: Song
    semitones: int
    taste: Taste

    @cached_property
    def findings(self) -> pd.DataFrame:
        """In the old key."""
        return self._findings(self.before, [self.before.notes])[0]

    def _findings(self, song: Song, versions: Sequence[pd.DataFrame]) -> list[pd.DataFrame]:
        return findings_of_each(song, versions, find_stretch(song), self.taste.limits)

    def proposals(self, choices: Sequence[tuple[Way, ...]]) -> list[Proposal]:
        """Return all choices, best first."""
        versions = [self._notes(choice) for choice in choices]
        sounds = [(tuple(notes.index), notes["pitch"].to_numpy().tobytes()) for notes in versions]
        first = {sound: number for number, sound in reversed([*enumerate(sounds)])}
        different = sorted(set(first.values()))
        found = self._findings(self.after, [versions[number] for number in different])
        findings = dict(zip(different, found, strict=True))
        proposals = [
            self._proposal(choice, notes, findings[first[sound]])
            for choice, notes, sound in zip(choices, versions, sounds, strict=True)
        ]
        return sorted(proposals, key=lambda each: each.cost)

    def _notes(self, choice: tuple[Way, ...]) -> pd.DataFrame:
        """The song's notes with each part played in its way."""
        notes = self.after.notes
        names = [way.part for way in choice]
        played = pd.concat([notes[~notes["part"].isin(names)], *(way.notes for way in choice)])
        return played.sort_index()

    def _proposal(
        self, choice: tuple[Way, ...], notes: pd.DataFrame, findings: pd.DataFrame
    ) -> Proposal:
        change = compare_findings(self.findings, findings)
        gone = self._given_up(notes)
        prices = self.taste.prices
        costs = {
            "finding": prices.finding * float(findings["severity"].sum()),
            "brought": prices.brought * float(change.brought["severity"].sum()),
            "guide": prices.guide * len(gone),
        }
        for way in choice:
            for name, cost in way.costs.items():
                costs[name] = costs.get(name, 0.0) + cost
        unreached = [*self._sung(), *(each for way in choice for each in way.unreached)]
        capos: Mapping[str, int] = {way.part: way.capo for way in choice}
        song = quick_song(self.after, notes=notes)
        for part, capo in capos.items():
            song = all_through(song, part, capo=capo)
        away = (notes["pitch"] - self.after.notes["pitch"].reindex(notes.index)).abs()
        guitars = [way for way in choice if self._is_guitar(way.part)]
        idea = "; ".join(f"{way.part}: {way.words}" for way in guitars) or "as written"
        return Proposal(
            written=self.before,
            song=replace(song, notices=(*song.notices, *unreached)),
            idea=idea,
            why=self._why(idea, findings, change, unreached),
            before_after=counts_by_measure(self.findings, findings),
            ended=change.ended,
            brought=change.brought,
            hand_mm=sum(way.hand_mm for way in choice),
            notes_lost=len(self.after.notes) - len(notes),
            semitones=float(away.mean()) if len(away) else 0.0,
            top_semitones=sum(top_steps(way.notes) for way in guitars),
            given_up=gone,
            costs=costs,
            cost=sum(costs.values()),
            cut=0,
        )

    def _is_guitar(self, part: str) -> bool:
        table = self.after.parts
        return bool((table.loc[table["part"] == part, "family"] == "guitar").all())

    @cached_property
    def _sounded_before(self) -> tuple[list[Place], list[set[int]]]:
        song = self.after
        places = places_of(song, find_stretch(song), Harmonies(song))
        return places, sounded(song.notes, places)

    def _given_up(self, notes: pd.DataFrame) -> tuple[str, ...]:
        places, before = self._sounded_before
        return given_up_words(self.after, given_up(places, before, sounded(notes, places)))

    def _sung(self) -> Iterator[str]:
        """What each singer sings from and to, and what is beyond a voice of that name."""
        parts = self.after.parts
        singers = parts[parts["family"] == "voice"]
        for part, instrument in zip(singers["part"], singers["instrument"], strict=True):
            was, is_ = (_sung_range(song, part) for song in (self.before, self.after))
            if was is None or is_ is None:
                continue
            name = self.after.note_name
            yield f"{part} sings from {_range_words(self.after, is_)}, not from " + (
                _range_words(self.before, was)
            )
            words = f"{part} {instrument}".lower()
            for voice in (each for each in VOICES if each in words):
                low, high = VOICES[voice]
                if is_[0] < low:
                    yield f"{name(is_[0])} is low for {an(voice)}, who goes down to {name(low)}"
                if is_[1] > high:
                    yield f"{name(is_[1])} is high for {an(voice)}, who goes up to {name(high)}"
                break

    def _why(
        self,
        idea: str,
        findings: pd.DataFrame,
        change: Change,
        unreached: Sequence[str],
    ) -> str:
        key = self.after.main_key
        where = f"In {key}" if key else "In the new key"
        far = counted(abs(self.semitones), "semitone")
        text = (
            f"{where}, {far} {'higher' if self.semitones > 0 else 'lower'}: {idea}. "
            f"{counted(len(findings), 'finding')}, in the old key {len(self.findings)}"
        )
        if len(change.ended):
            text += f"; {len(change.ended)} ended ({count_kinds(change.ended)})"
        if len(change.brought):
            text += f"; {len(change.brought)} brought ({count_kinds(change.brought)})"
        return ". ".join([text, *unreached]) + "."


def _sung_range(song: Song, part: str) -> tuple[float, float] | None:
    pitch = song.notes.loc[song.notes["part"] == part, "pitch"].dropna()
    return None if pitch.empty else (float(pitch.min()), float(pitch.max()))


def _range_words(song: Song, ends: tuple[float, float]) -> str:
    return f"{song.note_name(ends[0])} to {song.note_name(ends[1])}"
