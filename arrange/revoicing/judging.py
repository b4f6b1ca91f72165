"""What becomes of the findings, the hand and the harmony if a version is played.

Findings are looked for anew with ``find_clashes`` itself, in the sections that the stretch
touches and two bars around: all versions one behind the other in one song, silence between, since
to look at one long song is much quicker than at many short ones. Only which part crosses which is
asked of the whole song, as who should be on top is told by all of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import combinations

import numpy as np
import pandas as pd

from arrange.clashes import Limits, find_clashes
from arrange.clashes.scene import Scene
from arrange.copies import by_copy, in_copies, quick_song, relabelled
from arrange.revoicing.stretches import Harmonies, Harmony, Stretch
from arrange.sounding import Array
from arrange.tables import Song

_AROUND = 2  # bars around the sections that a stretch touches
_SLOW = 1e4  # how much slower the whole song stands behind the copies
_OCTAVE = 12

KINDS = (
    "rub", "mud", "roughness", "crowding", "masking", "doubling", "third", "outside", "drive",
    "voice", "bass", "near", "busy", "fusing",
)  # fmt: skip


def findings_of_each(
    song: Song, versions: Sequence[pd.DataFrame], stretch: Stretch, limits: Limits
) -> list[pd.DataFrame]:
    """Return the findings that touch a stretch, for each version of the song's notes.

    Parameters
    ----------
    song : Song
    versions : sequence of notes tables
    stretch : Stretch
    limits : Limits

    Returns
    -------
    list of findings tables
        With the sections, measures and beats of the song.
    """
    begin, end = _region(song, stretch)
    joined, starts = in_copies(song, versions, begin, end)
    found = by_copy(find_clashes(joined, KINDS, limits), starts, begin)
    guards = _one_family(song)
    if guards:
        crossings = _crossings(song, versions, (joined, starts, begin), guards, limits)
        found = [
            pd.concat([own, each], ignore_index=True) if len(each) else own
            for own, each in zip(found, crossings, strict=True)
        ]
    return [_placed(song, each[_touching(each, stretch)]) for each in found]


def _crossings(
    song: Song,
    versions: Sequence[pd.DataFrame],
    copies: tuple[Song, Array, float],
    parts: Sequence[str],
    limits: Limits,
) -> list[pd.DataFrame]:
    """The crossings of each version. Who should be on top is told by the whole song: it stands
    behind the copies, so slow that it outweighs them. Where a version turns that round, the
    whole song is asked.
    """
    joined, starts, begin = copies
    end = joined.duration
    tables = {}
    for name in ("sections", "measures", "chords", "notes"):
        table = getattr(song, name)
        if name == "notes":
            table = table[table["part"].isin(parts)]
        table = table.assign(onset=table["onset"] + end)
        if name == "measures":
            table = table.assign(tempo=table["tempo"] / _SLOW)
        tables[name] = pd.concat([getattr(joined, name), table], ignore_index=True)
    tables["notes"] = tables["notes"][tables["notes"]["part"].isin(parts)]
    both = quick_song(joined, **relabelled(tables))
    found = by_copy(find_clashes(both, ("crossing",), limits), np.append(starts, end), begin)[:-1]
    for number in _turned(song, joined, starts, parts):
        own = versions[number][versions[number]["part"].isin(parts)]
        found[number] = find_clashes(quick_song(song, notes=own), ("crossing",), limits)
    return found


def _turned(song: Song, joined: Song, starts: Array, parts: Sequence[str]) -> list[int]:
    """Which copies, put in the place of the first, make another part the upper one."""
    whole, passage = Scene(song), Scene(joined)
    copy = np.searchsorted(starts, passage.slices[0][:-1] + 1e-6, side="right") - 1
    turned = np.zeros(len(starts), dtype=bool)
    for one, other in combinations([whole.parts.index(part) for part in parts], 2):
        if whole.families[one] != whole.families[other]:
            continue
        total = _on_top(whole, one, other).sum()
        own = np.bincount(copy, _on_top(passage, one, other), minlength=len(starts))
        turned |= np.sign(np.round(total - own[0] + own, 6)) != np.sign(np.round(total, 6))
    return np.flatnonzero(turned).tolist()


def _on_top(scene: Scene, one: int, other: int) -> Array:
    """Seconds of each slice in which a part's top line is higher, less where it is lower."""
    both = np.isfinite(scene.top[one]) & np.isfinite(scene.top[other])
    above = np.where(both, scene.top[one], 0.0) - np.where(both, scene.top[other], 0.0)
    return np.asarray(np.sign(above) * scene.slice_seconds)


def _one_family(song: Song) -> list[str]:
    """Parts that have another of their family beside them."""
    same = song.parts["family"].duplicated(keep=False)
    return song.parts.loc[same, "part"].tolist()


def _region(song: Song, stretch: Stretch) -> tuple[float, float]:
    """Begin and end of the sections that a stretch touches, and two bars around."""
    starts, ends = song.sections["onset"].to_numpy(), song.sections["onset"].to_numpy()
    ends = starts + song.sections["duration"].to_numpy()
    spans = np.array(stretch.spans)
    touched = (starts < spans[:, 1].max() - 1e-9) & (ends > spans[:, 0].min() + 1e-9)
    lines = song.measures["onset"].to_numpy()
    first = int(np.searchsorted(lines, starts[touched].min() + 1e-9, side="right")) - 1 - _AROUND
    last = int(np.searchsorted(lines, ends[touched].max() - 1e-9)) + _AROUND
    return float(lines[max(first, 0)]), float(
        np.append(lines, song.duration)[min(last, len(lines))]
    )


def _touching(findings: pd.DataFrame, stretch: Stretch) -> Array:
    """Whether each finding shares time with the stretch."""
    onset = findings["onset"].to_numpy()[:, None]
    end = onset + findings["duration"].to_numpy()[:, None]
    begins, ends = np.array(stretch.spans).T
    return np.asarray(((onset < ends - 1e-6) & (end > begins + 1e-6)).any(axis=1))


def _placed(song: Song, findings: pd.DataFrame) -> pd.DataFrame:
    row = Scene(song).measure_of(findings["onset"].to_numpy())
    return findings.assign(
        section=song.measures["section"].array.take(row),
        measure=row + 1,
        beat=song.beat(findings["onset"].to_numpy(), row + 1),
    ).reset_index(drop=True)


def not_among(findings: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Return the findings to which no other of the same kind and parts stands at that time."""
    known: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for own, begin, end in _spans(others):
        known.setdefault(own, []).append((begin, end))
    alone = [
        not any(begin < last + 1e-6 and end > first - 1e-6 for first, last in known.get(own, ()))
        for own, begin, end in _spans(findings)
    ]
    return findings[np.array(alone, dtype=bool)].reset_index(drop=True)


def _spans(findings: pd.DataFrame) -> Iterator[tuple[tuple[str, str], float, float]]:
    """Kind and parts, begin and end of each finding."""
    kinds, parts, onset, duration = (
        findings[name].tolist() for name in ("kind", "parts", "onset", "duration")
    )
    for kind, who, begin, length in zip(kinds, parts, onset, duration, strict=True):
        yield (kind, who), begin, begin + length


def compare(before: pd.DataFrame, after: pd.DataFrame) -> pd.DataFrame:
    """Return number and severity of findings before and after, a row a measure and kind.

    Columns: ``measure``, ``kind``; ``before``, ``after``, their number; ``severity_before``,
    ``severity_after``, the sum of their severities.
    """
    table: dict[tuple[int, str], list[float]] = {}
    for side, findings in enumerate((before, after)):
        told = (findings[name].tolist() for name in ("measure", "kind", "severity"))
        for measure, kind, severity in zip(*told, strict=True):
            row = table.setdefault((measure, kind), [0, 0, 0.0, 0.0])
            row[side] += 1
            row[2 + side] += severity
    rows = [(*place, *table[place]) for place in sorted(table)]
    names = ["measure", "kind", "before", "after", "severity_before", "severity_after"]
    return pd.DataFrame(rows, columns=names).astype(
        {"measure": "int64", "kind": "str", "before": "int64", "after": "int64",
         "severity_before": "float64", "severity_after": "float64"}
    )  # fmt: skip


Place = tuple[Harmony, float, float]  # a harmony, and from when to when it holds


def places_of(song: Song, stretch: Stretch, harmonies: Harmonies) -> list[Place]:
    """Return the harmonies of a stretch, bar by bar where none is told."""
    edges = {edge for span in stretch.spans for edge in span}
    for table in (song.chords, song.measures):
        edges |= set(table["onset"].tolist()) | set((table["onset"] + table["duration"]).tolist())
    lines = np.array(sorted(edges))
    inside = np.flatnonzero(stretch.holds(lines[:-1]))
    told = [(harmonies.at(float(lines[at])), float(lines[at]), float(lines[at + 1]))
            for at in inside]  # fmt: skip
    found: list[Place] = []
    for harmony, begin, end in told:
        if harmony is None:
            continue
        if found and found[-1][0] is harmony and abs(found[-1][2] - begin) < 1e-9:
            found[-1] = (harmony, found[-1][1], end)
        else:
            found.append((harmony, begin, end))
    return found


def sounded(notes: pd.DataFrame, places: Sequence[Place]) -> list[set[int]]:
    """Return the pitch classes that sound in each place."""
    pitched = notes[notes["pitch"].notna() & (notes["duration"] > 0)]
    onset = pitched["onset"].to_numpy()
    end = onset + pitched["duration"].to_numpy()
    bit = 1 << (np.rint(pitched["pitch"].to_numpy()).astype(np.int64) % _OCTAVE)
    found = []
    for _, begin, finish in places:
        there = (onset < finish - 1e-6) & (end > begin + 1e-6)
        bits = int(np.bitwise_or.reduce(bit[there])) if there.any() else 0
        found.append({number for number in range(_OCTAVE) if bits >> number & 1})
    return found


def given_up(
    places: Sequence[Place], before: Sequence[set[int]], after: Sequence[set[int]]
) -> list[tuple[Harmony, int, float]]:
    """Return the thirds and sevenths that sounded in some part and no longer do in any.

    Each with its harmony and onset.
    """
    return [
        (harmony, guide, begin)
        for (harmony, begin, _), had, has in zip(places, before, after, strict=True)
        for guide in sorted(harmony.guides & had - has)
    ]


def foreign(
    places: Sequence[Place], before: Sequence[set[int]], after: Sequence[set[int]]
) -> list[tuple[Harmony, int, float]]:
    """Return the pitch classes outside the chord that did not sound there before."""
    return [
        (harmony, other, begin)
        for (harmony, begin, _), had, has in zip(places, before, after, strict=True)
        for other in sorted(has - had - set(harmony.members))
    ]


def count_kinds(findings: pd.DataFrame) -> str:
    """Return the kinds of findings in words, the most frequent first: ``"2 rub, crowding"``."""
    counts = findings["kind"].value_counts(sort=True)
    return listed(f"{n} {kind}" if n > 1 else kind for kind, n in counts.items())


def listed(words: Iterable[str]) -> str:
    """Return words with commas between."""
    return ", ".join(words)
