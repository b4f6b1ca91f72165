"""Proposals: versions that help, can be played, and keep the harmony, the best first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes.lines import are_meant_doubles
from arrange.errors import ArrangeError
from arrange.findings.recheck import compare_findings
from arrange.findings.summary import count_kinds
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.judging import (
    Place,
    counts_by_measure,
    departures_of_each,
    findings_of_each,
    foreign,
    given_up,
    given_up_words,
    places_of,
    sounded,
    top_steps,
)
from arrange.revoicing.movers import Mover, fingered, fingered_each
from arrange.revoicing.stretches import Stretch
from arrange.revoicing.taste import Taste
from arrange.revoicing.version import Version
from arrange.tables.copies import quick_song
from arrange.tables.setups import all_through, by_section
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.words import counted, first_few
from arrange.theory.pitch import pitch_class_name

_ALIKE = 0.9  # share of notes that two proposals have alike from which they are one idea (ours)


@dataclass(frozen=True, eq=False)
class Proposal:
    """Something else to play, what it brings and what it costs.

    Parameters
    ----------
    written : Song
        The song as written.
    song : Song
        The song with it, strings and frets of the changed notes filled in.
    idea : str
        In a few words.
    why : str
        One plain sentence.
    before_after : DataFrame
        A row a measure and kind: number (``before``, ``after``) and summed severity
        (``severity_before``, ``severity_after``) of the findings that touch the stretch.
    ended, brought : DataFrame
        Findings tables: those before to which none of their kind and parts is left at that time,
        and those after to which there was none.
    hand_mm : float
        How far the hand goes along the neck over the stretch, mm.
    notes_lost : int
        Notes fewer than written.
    semitones : float
        How far the changed parts' notes lie from where they were written; the mean of those kept.
    top_semitones : float
        How far their lines on top move, all steps together.
    given_up : tuple of str
        Thirds and sevenths that no part sounds any longer, with the measure.
    costs : mapping of str to float
        The terms of the cost, mm, by the names of ``Prices``.
    cost : float
        Their sum, by which proposals are ranked, mm.
    cut : int
        At how many chords the search left out candidates as too costly; 0 where it was exact.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> scope = ar.Scope(ideas=["an octave up"])
    >>> best = ar.revoice(song, "Guitar 1", "Chorus 1", scope=scope)[0]
    >>> best.idea, best.semitones, best.ended["kind"].tolist(), best.brought["kind"].tolist()
    ('an octave up', 12.0, ['crowding', 'crossing'], ['voice'])
    """

    written: Song
    song: Song
    idea: str
    why: str
    before_after: pd.DataFrame
    ended: pd.DataFrame
    brought: pd.DataFrame
    hand_mm: float
    notes_lost: int
    semitones: float
    top_semitones: float
    given_up: tuple[str, ...]
    costs: Mapping[str, float]
    cost: float
    cut: int

    def __repr__(self) -> str:
        return f"<Proposal {self.idea!r}>\n  {self.why}"


def proposals_table(proposals: Sequence[Proposal]) -> pd.DataFrame:
    """Return proposals as a table, a row each: what each brings and costs.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> scope = ar.Scope(ideas=["an octave up", "lay out"])
    >>> ideas = ar.revoice(song, "Guitar 1", "Chorus 1", scope=scope)
    >>> print(ar.proposals_table(ideas)[["idea", "ended", "notes_lost"]].to_string(index=False))
            idea  ended  notes_lost
    an octave up      2           0
         lay out      2         154
    """
    return pd.DataFrame(
        {
            "idea": [each.idea for each in proposals],
            "ended": [len(each.ended) for each in proposals],
            "brought": [len(each.brought) for each in proposals],
            "severity_before": [each.before_after["severity_before"].sum() for each in proposals],
            "severity_after": [each.before_after["severity_after"].sum() for each in proposals],
            "hand_mm": [each.hand_mm for each in proposals],
            "notes_lost": [each.notes_lost for each in proposals],
            "semitones": [each.semitones for each in proposals],
            "top_semitones": [each.top_semitones for each in proposals],
            "given_up": [", ".join(each.given_up) for each in proposals],
            "cost_mm": [each.cost for each in proposals],
            "why": [each.why for each in proposals],
        }
    )


@dataclass(frozen=True, eq=False)
class Judge:
    """What makes proposals of versions that help in a stretch.

    Parameters
    ----------
    harmonies : Harmonies
        Those of the song as written.
    stretch : Stretch
    movers : tuple of Mover
        The parts that change.
    taste : Taste
    """

    harmonies: Harmonies
    stretch: Stretch
    movers: tuple[Mover, ...]
    taste: Taste

    @property
    def song(self) -> Song:
        """The song as written."""
        return self.harmonies.song

    @cached_property
    def before(self) -> pd.DataFrame:
        """The findings that touch the stretch as written."""
        return self._findings([self.song.notes])[0]

    def _findings(self, versions: Sequence[pd.DataFrame]) -> list[pd.DataFrame]:
        about = self.song, versions, self.stretch, self.taste.limits
        both = zip(findings_of_each(*about), departures_of_each(*about), strict=True)
        return [pd.concat(each, ignore_index=True) for each in both]

    def proposals(self, versions: Sequence[Version]) -> list[Proposal]:
        """Return the versions that help, best first, each idea once; near copies come last.

        Raises
        ------
        ArrangeError
            If nothing is left; the message says what was tried and why each was refused.
        """
        versions = [each for each in versions if self._changes(each.notes)]
        after = self._findings([each.notes for each in versions]) if versions else []
        found: list[Proposal] = []
        against: dict[str, str] = {}
        helping: list[tuple[Version, _Judged]] = []
        for version, findings in zip(versions, after, strict=True):
            judged = self._judged(version, findings)
            if isinstance(judged, str):
                against.setdefault(version.idea, judged)
            else:
                helping.append((version, judged))
        hands = self._hands([version for version, _ in helping])
        for (version, judged), played in zip(helping, hands, strict=True):
            if isinstance(played, str):
                against.setdefault(version.idea, played)
            else:
                found.append(self._proposal(version, played, judged))
        if not found:
            reasons = "; ".join(f"{idea}: {why}" for idea, why in against.items())
            reasons = reasons or "no idea changes anything"
            raise ArrangeError(f"nothing that was tried helps in {self.stretch.name}: {reasons}")
        return self._distinct_first(found)

    def _changes(self, notes: pd.DataFrame) -> bool:
        """Whether a version differs from what is written."""
        old = self.song.notes
        if len(notes) != len(old):
            return True
        return any(
            not np.array_equal(notes[name].to_numpy(), old[name].to_numpy(), equal_nan=True)
            for name in ("onset", "pitch")
        )

    def _note(self, pitch_class: int, onset: float) -> str:
        return pitch_class_name(pitch_class, self.song.key_at(onset))

    def _judged(self, version: Version, after: pd.DataFrame) -> _Judged | str:
        """What a version does to findings and harmony; or why it is refused."""
        before = self.before
        change = compare_findings(before, after)
        ended = change.ended
        if are_meant_doubles(ended).all():
            was, is_ = float(before["severity"].sum()), float(after["severity"].sum())
            return f"it ends no finding (severity {was:.2f} before, {is_:.2f} after)"
        places, sounded_before = self._sounded_before
        sounds = sounded(version.notes, places)
        plain = version.notes.drop(self._passing, errors="ignore") if len(self._passing) else None
        chords = sounds if plain is None else sounded(plain, places)
        for harmony, other, begin in foreign(places, sounded_before, chords):
            return f"it would bring {self._note(other, begin)} into {harmony.symbol}"
        gone = given_up(places, sounded_before, sounds)
        if gone and not version.gives_up:
            harmony, guide, begin = gone[0]
            return f"no part would sound the {self._note(guide, begin)} of {harmony.symbol}"
        return _Judged(before, after, ended, change.brought, gone)

    @cached_property
    def _passing(self) -> Array:
        """Labels of notes that lean on a note of their chord; they may be any step from it."""
        leaning = [unit.rows[unit.leans >= 0] for mover in self.movers for unit in mover.units]
        return np.concatenate(leaning)

    @cached_property
    def _sounded_before(self) -> tuple[list[Place], list[set[int]]]:
        places = places_of(self.song, self.stretch, self.harmonies)
        return places, sounded(self.song.notes, places)

    def _hands(self, versions: Sequence[Version]) -> list[Played | str]:
        """For each version its notes with the changed ones fingered; or why they cannot be."""
        tables = [version.notes.reset_index(drop=True) for version in versions]
        found: list[Played | str] = [Played(notes, self.song, 0.0) for notes in tables]
        plain = [n for n, version in enumerate(versions) if version.capo is None]
        for mover in self.movers:
            fingers = fingered_each(mover, [tables[n] for n in plain])
            each = dict(zip(plain, fingers, strict=True))
            for number, version in enumerate(versions):
                before = found[number]
                if isinstance(before, str):
                    continue
                own = each[number] if version.capo is None else self._whole(before, mover, version)
                found[number] = self._with_fingers(before, mover, own, version.capo)
        return found

    def _whole(self, played: Played, mover: Mover, version: Version) -> pd.DataFrame:
        """The whole part, fingered with a new capo."""
        rows = np.flatnonzero((played.notes["part"] == mover.part).to_numpy(dtype=bool))
        song = quick_song(self.song, notes=played.notes)
        return fingered(song, mover.part, rows, mover.hand, version.capo)

    def _with_fingers(
        self, played: Played, mover: Mover, fingers: pd.DataFrame, capo: int | None
    ) -> Played | str:
        """The notes with strings and frets filled in; or the first problem."""
        notes, song = played.notes, played.song
        inside = self.stretch.holds(notes["onset"].to_numpy())[fingers.index]
        wanted = inside | (capo is not None)
        problems = fingers["problem"][wanted].dropna()
        if len(problems):
            measure = int(notes["measure"].iloc[problems.index[0]])
            return f"measure {measure}: {str(problems.iloc[0]).split(': ', 1)[-1]}"
        onset, move = (fingers[name].to_numpy()[inside] for name in ("onset", "move_mm"))
        _, first = np.unique(onset, return_index=True)
        filled: dict[str, Any] = {}
        for name in ("string", "fret"):
            filled[name] = notes[name].array.copy()
            filled[name][fingers.index.to_numpy()[wanted]] = fingers[name].array[wanted]
        if capo is not None:
            song = all_through(song, mover.part, capo=capo)
        way = played.hand_mm + float(np.nansum(move[first]))
        return Played(notes.assign(**filled), song, way)

    def _proposal(self, version: Version, played: Played, judged: _Judged) -> Proposal:
        gone, brought = judged.gone, judged.brought
        prices = self.taste.prices
        lost, share, semitones, top, shifted = self._changes_of(version.notes)
        bars = len({*self._bars.tolist()})
        costs = {
            "finding": prices.finding * float(judged.after["severity"].sum()),
            "brought": prices.brought * float(brought["severity"].sum()),
            "guide": prices.guide * len(gone),
            "hand": prices.hand * played.hand_mm,
            "top": prices.top * top,
            "written": prices.written * bars * semitones,
            "lost": prices.lost * bars * share,
            "capo": prices.capo * (version.capo is not None),
            "shifted": prices.shifted * bars * shifted,
        }
        names = given_up_words(self.song, gone)
        return Proposal(
            written=self.song,
            song=quick_song(played.song, notes=played.notes),
            idea=version.idea,
            why=self._why(version, judged, names, lost),
            before_after=counts_by_measure(judged.before, judged.after),
            ended=judged.ended,
            brought=brought,
            hand_mm=played.hand_mm,
            notes_lost=lost,
            semitones=semitones,
            top_semitones=top,
            given_up=names,
            costs=costs,
            cost=sum(costs.values()),
            cut=version.cut,
        )

    def _why(self, version: Version, judged: _Judged, gone: Sequence[str], lost: int) -> str:
        before, ended, brought = judged.before, judged.ended, judged.brought
        who = version.says if len(self.movers) > 1 else f"{self.movers[0].part} {version.says}"
        text = (
            f"In {self.stretch.name} {who}: that ends {len(ended)} of "
            f"{counted(len(before), 'finding')} ({count_kinds(ended)})"
        )
        if len(brought):
            text += f" and brings {len(brought)} ({count_kinds(brought)})"
        if lost:
            text += f", with {counted(lost, 'note')} fewer"
        rootless = without_root(self.song, version.notes, self.movers)
        if rootless:
            text += f", with no root in {first_few(rootless, 4)}"
        if gone:
            text += f", and gives up {', '.join(gone[:3])}{', ...' if len(gone) > 3 else ''}"
        inferred = {
            unit.harmony.symbol
            for mover in self.movers
            for unit in mover.units
            if unit.free and unit.harmony is not None and unit.harmony.inferred
        }
        if inferred:
            text += f"; no chord symbols stand there, {', '.join(sorted(inferred))} inferred"
        return text + "."

    @property
    def _bars(self) -> Array:
        """The measures of the free notes."""
        rows = np.concatenate([mover.rows for mover in self.movers])
        return self.song.notes["measure"].to_numpy()[rows]

    def _changes_of(self, notes: pd.DataFrame) -> tuple[int, float, float, float, float]:
        """Notes fewer, the share not kept, mean semitones of those kept, how far the top lines
        go, and the share moved in time.
        """
        old = self.song.notes
        rows = old.index[np.concatenate([mover.rows for mover in self.movers])]
        kept = rows.intersection(notes.index)
        away = (notes.loc[kept, "pitch"] - old.loc[kept, "pitch"]).abs()
        top = 0.0
        inside = self.stretch.holds(notes["onset"].to_numpy()) & notes["pitch"].notna().to_numpy()
        for mover in self.movers:
            own = inside & (notes["part"] == mover.part).to_numpy(dtype=bool)
            top += top_steps(notes[own])
        semitones = float(away.mean()) if len(kept) else 0.0
        share = (len(rows) - len(kept)) / max(len(rows), 1)
        late = (notes.loc[kept, "onset"] - old.loc[kept, "onset"]).abs() > 1e-9
        shifted = float(late.sum()) / max(len(rows), 1)
        return max(len(old) - len(notes), 0), share, semitones, top, shifted

    def _distinct_first(self, found: Sequence[Proposal]) -> list[Proposal]:
        """Best first; of each idea one, and of those that are nearly the same one."""
        first: list[Proposal] = []
        behind: list[Proposal] = []
        sounds = {id(each): self._sounds(each) for each in found}
        for each in sorted(found, key=lambda proposal: proposal.cost):
            own = sounds[id(each)]
            like = [_alike(own, sounds[id(other)]) for other in first]
            if any(other.idea == each.idea for other in (*first, *behind)) or 1.0 in like:
                continue
            (behind if any(share >= _ALIKE for share in like) else first).append(each)
        return [*first, *behind]

    def _sounds(self, proposal: Proposal) -> set[tuple[object, ...]]:
        """The changed parts' notes in the stretch, with their capos."""
        notes = proposal.song.notes
        inside = self.stretch.holds(notes["onset"].to_numpy())
        names = [mover.part for mover in self.movers]
        inside &= notes["part"].isin(names).to_numpy(dtype=bool)
        columns = (notes[name].to_numpy()[inside].tolist() for name in ("part", "onset", "pitch"))
        capos = tuple(by_section(proposal.song, "capo").ravel().tolist())
        return {(*row, capos) for row in zip(*columns, strict=True)}


def without_root(song: Song, notes: pd.DataFrame, movers: Sequence[Mover]) -> list[str]:
    """Return the chords of which parts that change have left the root out, in their order."""
    pitch = notes["pitch"].reindex(song.notes.index).to_numpy()
    found = []
    for unit in (unit for mover in movers for unit in mover.units if unit.free and unit.harmony):
        assert unit.harmony is not None
        had, has = (own[np.isfinite(own)] % 12 for own in (unit.written, pitch[unit.rows]))
        root = unit.harmony.root
        if len(has) and root in had and root not in has:
            found.append(unit.harmony.symbol)
    return list(dict.fromkeys(found))


def _alike(one: set[tuple[object, ...]], other: set[tuple[object, ...]]) -> float:
    """Share of notes that two proposals have in common."""
    union = one | other
    return len(one & other) / len(union) if union else 1.0


@dataclass(frozen=True, eq=False)
class _Judged:
    """What a version does: findings before, after, ended and brought; guides that are gone."""

    before: pd.DataFrame
    after: pd.DataFrame
    ended: pd.DataFrame
    brought: pd.DataFrame
    gone: list[tuple[Harmony, int, float]]


@dataclass(frozen=True)
class Played:
    """Notes in which the changed parts are fingered, the song with their capos, and how far their
    hands go, mm.
    """

    notes: pd.DataFrame
    song: Song
    hand_mm: float
