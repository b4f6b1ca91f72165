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
            nearest.append(Return(stay, own, different))
    groups = [group for held in found for group in _by_fullest(held)]
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


def _by_fullest(group: list[Return]) -> list[list[Return]]:
    """The group behind the section that plays in most bars; earlier ones that rest more alone."""
    played = [[bool(notes) for (_, notes), *_ in each.contents] for each in group]
    fullest = max(
        (n for n in range(len(group))
         if all(is_thinner(own.contents, group[n].contents, plays)
                for own, plays in zip(group[:n], played, strict=False))),
        key=lambda n: (sum(played[n]), -n),
    )  # fmt: skip
    base, *others = (
        replace(each, different=_different(each, group[fullest])) for each in group[fullest:]
    )
    thinner = (
        Return(each.stay, each.contents, _different(each, base), base.stay)
        for each in group[:fullest]
    )
    return [*([each] for each in thinner), [base, *others]]


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
