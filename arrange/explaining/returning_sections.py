"""Which sections of a part are printed once, since the same returns?

A section returns where it has as many bars as an earlier one, and as many with the same notes and
chords as with others; those are named, to be printed below it. Bars of rest do not count. An
earlier one that rests where a later one plays is not printed: it says as which bars of that it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from arrange.explaining.part_sections import (
    Stay,
    bar_contents,
    chords_by_bar,
    is_mostly_same,
    is_thinner,
    own_notes,
)
from arrange.tables.song import Song
from arrange.text.words import bars_words


@dataclass(frozen=True)
class Return:
    """A section that is played as an earlier one.

    Parameters
    ----------
    stay : Stay
    contents : tuple
        What each of its bars holds, to be compared.
    different : tuple of int
        Its bars that are not the same, played measures.
    printed : Stay, optional
        The section that is printed whole, where this is an earlier one that rests more.
    """

    stay: Stay
    contents: tuple[Any, ...]
    different: tuple[int, ...] = ()
    printed: Stay | None = None


def returning_sections(song: Song, part: str, stays: Sequence[Stay]) -> list[list[Return]]:
    """Return the sections of a part by what is printed once, the one that is printed whole first;
    in the order in which those come.

    Parameters
    ----------
    song : Song
    part : str
    stays : sequence of Stay
        The part's own, as ``part_stays`` gives them. One in which it rests stands alone.
    """
    bars = _bars(song, part)
    found: list[list[Return]] = []
    for stay in stays:
        own = tuple(bars[stay.first - 1 : stay.last])
        nearest, different, is_near = None, tuple[int, ...](), False
        for group in found if stay.plays else ():
            first = group[0].stay
            theirs = bars[first.first - 1 : first.last]
            if not first.plays or len(theirs) != len(own):
                continue
            is_same = [here == there for here, there in zip(own, theirs, strict=True)]
            other = tuple(stay.first + n for n, same in enumerate(is_same) if not same)
            if nearest is None or len(other) < len(different):
                nearest, different = group, other
                is_near = is_mostly_same(is_same, [bool(notes) for (_, notes), *_ in own])
        if nearest is None or not is_near:
            found.append([Return(stay, own)])
        else:
            _join(nearest, Return(stay, own))
    groups = [group for held in found for group in _thinner_apart(held)]
    return sorted(groups, key=lambda group: group[0].stay.first)


def as_words(each: Return, first: Return) -> list[str]:
    """Return as which bars of the section that is printed the bars of another are, and which rest
    between; nothing where all are alike.
    """
    if not each.different:
        return []
    stay, base = each.stay, each.printed or first.stay
    same = sorted({*range(stay.first, stay.last + 1)} - {*each.different})
    there = bars_words(bar - stay.first + base.first for bar in same)
    where = f" of {base.section}" if each.printed else ""
    rests = [bar for bar in each.different if same[0] < bar < same[-1]] if each.printed else []
    return [f"{bars_words(same)} as {there}{where}",
            *[f"{bars_words(rests)} rest"] * bool(rests)]  # fmt: skip


def _join(group: list[Return], new: Return) -> None:
    """Put a section to those that are printed with it: first, where all of them only rest more."""
    played = [[bool(notes) for (_, notes), *_ in each.contents] for each in (*group, new)]
    is_fullest = sum(played[-1]) > sum(played[0]) and all(
        is_thinner(each.contents, new.contents, plays)
        for each, plays in zip(group, played, strict=False)
    )
    group.insert(0 if is_fullest else len(group), new)


def _thinner_apart(group: list[Return]) -> list[list[Return]]:
    """The group with the bars that differ; what comes before its first and rests more, alone."""
    base, together, apart = group[0], group[:1], []
    for each in group[1:]:
        own = replace(each, different=_different(each, base))
        if each.stay.first < base.stay.first:
            apart.append([replace(own, printed=base.stay)])
        else:
            together.append(own)
    return [*apart, together]


def _different(each: Return, base: Return) -> tuple[int, ...]:
    pairs = zip(each.contents, base.contents, strict=True)
    return tuple(each.stay.first + n for n, (here, there) in enumerate(pairs) if here != there)


def _bars(song: Song, part: str) -> list[Any]:
    """What each bar holds, to be compared: notes, chords and key."""
    notes = bar_contents(song, own_notes(song, part))
    keys, lines = song.measures["key"].fillna("").tolist(), song.measures["onset"].tolist()
    onsets, symbols = song.chords["onset"].tolist(), song.chords["symbol"].tolist()
    chords = [
        [(round(max(onsets[row] - line, 0.0), 6), symbols[row]) for row in rows]
        for line, rows in zip(lines, chords_by_bar(song), strict=True)
    ]  # where each holds from, in quarter notes
    return list(zip(notes, chords, keys, strict=True))
