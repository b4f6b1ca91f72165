"""Stretches of a part put together in documents for the engraver, which takes them a document at a
time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import pandas as pd

from arrange.formats.musicxml.writing import format_tree
from arrange.handouts.bar_lines import BarLines, chord_contents
from arrange.handouts.excerpts import PartStaves, part_excerpt
from arrange.handouts.tab_signs import TabSign
from arrange.tables.song import Song

_MOST_AT_ONCE = (
    96  # bars, with those between: the time that the engraver takes grows with their square
)
_REPEAT = "as the bar before"


class Bars(NamedTuple):
    """First and last played measure, those between them that repeat the bar before, and whether
    notation stands over their tablature.
    """

    first: int
    last: int
    repeated: frozenset[int]
    has_notes: bool

    def places(self) -> list[int]:
        """Return which of the bars, from 0, repeat the bar before."""
        return [bar - self.first for bar in sorted(self.repeated)]

    def alone(self, bar: int) -> Bars:
        """Return one of the bars, as it is played."""
        return Bars(bar, bar, frozenset(), self.has_notes)


class DrawnPart(NamedTuple):
    """A part to engrave: what all its stretches have in common.

    Parameters
    ----------
    song, name, lines, staves
    notes : DataFrame
        Of ``marked_notes``.
    held : list
        What each bar of the song holds, to be compared.
    signs : list of (meter, key)
        Of each bar of the song.
    """

    song: Song
    name: str
    notes: pd.DataFrame
    staves: PartStaves
    lines: BarLines
    held: list[Any]
    signs: list[tuple[Any, Any]]


class Content(NamedTuple):
    """What a stretch looks like on the page, but for its bar numbers.

    `signs` are meter and, in notation, key of each bar, `begins` is True where those of its first
    bar are new.
    """

    has_notes: bool
    signs: tuple[tuple[Any, Any], ...]
    begins: bool
    is_end: bool
    notes: tuple[Any, ...]
    chords: tuple[tuple[float, float, str], ...]


def contents_of(part: DrawnPart, stretches: Sequence[Bars]) -> list[Content]:
    """Return what each stretch looks like."""
    song = part.song
    starts = song.measures["onset"].tolist()
    ends = [*starts[1:], song.duration]
    before, found = None, []
    for stretch in stretches:
        first, last, repeated, has_notes = stretch
        own = tuple(
            (meter, key if has_notes else None) for meter, key in part.signs[first - 1 : last]
        )
        held = tuple(_REPEAT if bar in repeated else part.held[bar - 1]
                     for bar in range(first, last + 1))  # fmt: skip
        chords = chord_contents(song, starts[first - 1], ends[last - 1])
        begins = own[0] != before
        found.append(Content(has_notes, own, begins, last == len(starts), held, chords))
        before = own[-1]
    return found


def documents(contents: Sequence[Content]) -> Iterator[list[int]]:
    """Yield the places of those that are engraved together: all with notation or all without, in
    one key, and a meter is new in the document where it is new in its stretch.
    """
    own: list[int] = []
    bars = 0
    for place, content in enumerate(contents):
        if own and (
            not _goes_on(contents[own[-1]], content) or bars + len(content.signs) > _MOST_AT_ONCE
        ):
            yield own
            own, bars = [], 0
        own.append(place)
        bars += len(content.signs) + content.begins
    if own:
        yield own


def _goes_on(before: Content, content: Content) -> bool:
    (meter, key), (new_meter, new_key) = before.signs[-1], content.signs[0]
    is_new = meter != new_meter
    return (before.has_notes, key, is_new) == (content.has_notes, new_key, content.begins)


class Document(NamedTuple):
    """Stretches as MusicXML; `starts` is where each begins, a bar from 0.

    Other bars stand between them: the engraver warns at the end of a line of a meter that follows,
    and writes meter and key where a document begins.
    """

    starts: list[int]
    text: str
    numbers: list[int]
    symbols: list[tuple[int, str]]
    signs: list[TabSign]


def document(part: DrawnPart, stretches: Sequence[Bars], begins: Sequence[bool]) -> Document:
    """Return stretches as one document.

    Parameters
    ----------
    part : DrawnPart
    stretches : sequence of Bars
    begins : sequence of bool
        Whether meter or key are new there.
    """
    all_bars: list[Bars] = []
    starts, repeated, length = [], set(), 0
    for bars, is_new in zip(stretches, begins, strict=True):
        if is_new == bool(all_bars):
            lead = all_bars[-1].alone(all_bars[-1].last) if is_new else bars.alone(bars.first)
            all_bars.append(lead)
            length += 1
        starts.append(length)
        repeated |= {length + place for place in bars.places()}
        all_bars.append(bars)
        length += bars.last - bars.first + 1
    ends = [(bars.first, bars.last) for bars in all_bars]
    has_notes = stretches[0].has_notes
    excerpt = part_excerpt(part.song, part.name, ends, part.staves, repeated, has_notes=has_notes)
    text = format_tree(excerpt.root).decode()
    return Document(starts, text, excerpt.numbers, excerpt.symbols, excerpt.signs)
