"""Find again the findings of a passage with changed notes, and compare them.

Findings are looked for with ``find_clashes``'s own finders, in the sections that the changed
stretch touches and two bars around; in long sections, in sixteen bars around. All versions are put
one after the other into one song, with silence between. The whole song, with the version in its
place, decides which part should be on top.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, Limits, find_in
from arrange.clashes.scene import Scene
from arrange.tables.copies import Copies, in_copies
from arrange.tables.song import Song
from arrange.tables.sounding import Array

_AROUND = 2  # bars around the sections that a change touches
_LONG = 48  # bars; longer sections are not taken whole
_AROUND_LONG = 16  # bars around the change itself in that case
_SLACK = 1e-6  # quarter notes
_OF_THE_SONG = tuple(name for name, kind in KINDS.items() if kind.is_of_the_song)


@dataclass(frozen=True)
class Change:
    """What a change does to findings.

    Parameters
    ----------
    ended : findings table
        Those before to which nothing of their kind and parts is left at their time.
    eased : findings table
        Those before that are left, less severe.
    brought : findings table
        Those after to which there was nothing of their kind and parts at their time.
    """

    ended: pd.DataFrame
    eased: pd.DataFrame
    brought: pd.DataFrame


def recheck(
    song: Song,
    versions: Sequence[pd.DataFrame],
    span: tuple[float, float],
    limits: Limits,
    kinds: Collection[str] | None = None,
    parts: Collection[str] | None = None,
) -> list[pd.DataFrame]:
    """Return the findings in and around a stretch, for each version of its notes.

    Parameters
    ----------
    song : Song
    versions : sequence of notes tables
        Notes of the whole song, or at least of ``passage_around`` the stretch. The findings name
        their notes by the labels of these tables. The other versions are changes of the first.
    span : (float, float)
        The stretch, quarter notes.
    limits : Limits
    kinds : collection of str, optional
        Default: all. Those on which the whole song decides are left out.
    parts : collection of str, optional
        Only findings whose parts are all among these are wanted: with few of many parts that is
        much quicker. Default: all parts.

    Returns
    -------
    list of findings tables
        With the sections, measures and beats of the song; the most severe first.
    """
    if not versions:
        return []
    wanted = [
        name
        for name, kind in KINDS.items()
        if (kinds is None or name in kinds) and not kind.is_of_the_song
    ]
    copies = in_copies(song, versions, *passage_around(song, *span))
    scene = Scene(copies.song, asked=parts)
    if "crossing" in wanted:
        signs = _who_is_on_top(song, scene, copies)
        scene = replace(scene, whole_on_top=signs[0])
    found = copies.split(find_in(scene, wanted, limits))
    if "crossing" in wanted:
        _ask_again_who_crosses(found, copies, signs, limits)
    return [_placed(song, each) for each in found]


def departures_in(
    song: Song, span: tuple[float, float], parts: Collection[str], limits: Limits
) -> pd.DataFrame:
    """Return the findings of some parts on which the whole song decides, where they touch a
    stretch.
    """
    found = find_in(Scene(song, asked=parts), _OF_THE_SONG, limits)
    onset = found["onset"].to_numpy()
    inside = (onset < span[1] - _SLACK) & (onset + found["duration"] > span[0] + _SLACK)
    return found[inside]


def passage_around(song: Song, begin: float, end: float) -> tuple[float, float]:
    """Return begin and end of the bars in which a changed stretch is heard, quarter notes."""
    starts = song.sections["onset"].to_numpy()
    ends = starts + song.sections["duration"].to_numpy()
    touched = (starts < end - _SLACK) & (ends > begin + _SLACK)
    lines = np.append(song.measures["onset"].to_numpy(), song.duration)
    around, first, last = _AROUND, begin, end
    if touched.any():
        first, last = starts[touched].min(), ends[touched].max()
    if np.count_nonzero((lines >= first) & (lines < last)) > _LONG:
        around, first, last = _AROUND_LONG, max(begin, first), min(end, last)
    low = int(np.searchsorted(lines, first + _SLACK, side="right")) - 1 - around
    high = int(np.searchsorted(lines, last - _SLACK)) + around
    return float(lines[max(low, 0)]), float(lines[min(high, len(lines) - 1)])


def notes_around(song: Song, begin: float, end: float) -> pd.DataFrame:
    """Return the notes of the passage around a stretch, under their own labels."""
    first, last = passage_around(song, begin, end)
    onset = song.notes["onset"].to_numpy()
    return song.notes[(onset < last) & (onset + song.notes["duration"].to_numpy() >= first)]


def compare_findings(before: pd.DataFrame, after: pd.DataFrame) -> Change:
    """Return what ended, eased and came between two findings tables of one stretch.

    A finding that stands in both with the same onset, kind, parts and pitches is the same. Of the
    others, one before and one after belong together if they are of one kind and of the same parts
    and share time.
    """
    known, new = _keys(before), _keys(after)
    severity = dict(zip(new, after["severity"].tolist(), strict=True))
    open_before = [place for place, key in enumerate(known) if key not in severity]
    there = set(known)
    open_after = [place for place, key in enumerate(new) if key not in there]
    left = before.iloc[open_before], after.iloc[open_after]
    meets = _meets(*left)
    milder = np.where(meets, left[1]["severity"].to_numpy(), np.inf).min(axis=1, initial=np.inf)
    least = np.array([severity.get(key, np.inf) for key in known])
    least[open_before] = milder
    is_eased = least < before["severity"].to_numpy() - _SLACK
    return Change(
        left[0][~meets.any(axis=1)].reset_index(drop=True),
        before[is_eased].reset_index(drop=True),
        left[1][~meets.any(axis=0)].reset_index(drop=True),
    )


def has_ended(finding: Any, before: pd.DataFrame, after: pd.DataFrame) -> bool:
    """Return whether nothing of a finding's kind and parts is left at its time, but for what
    stood beside it before.
    """
    names = ("kind", "parts", "pitches", "onset", "duration")
    own = pd.DataFrame({name: [getattr(finding, name)] for name in names})
    left = after[_meets(own, after)[0]]
    return not set(_keys(left)) - (set(_keys(before)) - set(_keys(own)))


def _keys(findings: pd.DataFrame) -> list[tuple[float, str, str, str]]:
    """The values by which a finding is recognised as the same."""
    columns = (findings[name].tolist() for name in ("kind", "parts", "pitches"))
    return list(zip(findings["onset"].round(6).tolist(), *columns, strict=True))


def _meets(one: pd.DataFrame, other: pd.DataFrame) -> Array:
    """Rows of one table x rows of the other: whether they are of one kind and parts at one time."""
    names = ("kind", "parts", "onset", "duration")
    kind, parts, begin, length = (one[name].to_numpy()[:, None] for name in names)
    its_kind, its_parts, start, size = (other[name].to_numpy()[None, :] for name in names)
    same = np.asarray((kind == its_kind) & (parts == its_parts), dtype=bool)
    same &= (begin < start + size + _SLACK) & (begin + length > start - _SLACK)
    return same


def _who_is_on_top(song: Song, scene: Scene, copies: Copies) -> Array:
    """Versions x parts x parts: 1 where a part is meant to be on top of another, else -1 or 0."""
    copy = copies.number(scene.slices[0][:-1])
    own = [scene.seconds_on_top(np.flatnonzero(copy == n)) for n in range(len(copies.starts))]
    whole = Scene(song).on_top
    return np.array([np.sign(np.round(whole - own[0] + each, 6)) for each in own])


def _ask_again_who_crosses(
    found: list[pd.DataFrame], copies: Copies, signs: Array, limits: Limits
) -> None:
    """Insert new crossings where another part should be on top than in the first version."""
    patterns, which = np.unique(signs, axis=0, return_inverse=True)
    which = which.ravel()
    for number in set(which.tolist()) - {int(which[0])}:
        scene = Scene(copies.song, patterns[number])
        crossings = copies.split(find_in(scene, ("crossing",), limits))
        for place in np.flatnonzero(which == number).tolist():
            others = found[place][found[place]["kind"] != "crossing"]
            both = pd.concat([others, crossings[place]])
            found[place] = both.sort_values("severity", ascending=False, kind="stable")


def _placed(song: Song, findings: pd.DataFrame) -> pd.DataFrame:
    """The findings with the sections, measures and beats of the song."""
    onset = findings["onset"].to_numpy()
    row = Scene(song).measure_of(onset)
    return findings.assign(
        section=song.measures["section"].array.take(row),
        measure=row + 1,
        beat=song.beat(onset, row + 1),
    ).reset_index(drop=True)
