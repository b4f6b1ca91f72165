"""What stands in a bar: items, the words behind them, and when they begin.

Without counts the items share the bar evenly; with counts each begins on its own and goes on to
the next.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from arrange.errors import shown
from arrange.formats.chart.header import Meter
from arrange.formats.chart.lines import Faults, Piece
from arrange.text.words import counted

_COUNT = re.compile(r"([0-9]{1,6})([e&a]?)(?:\+([0-9]{1,7})/([1-9][0-9]{0,6}))?:")
_PLACE = {"": Fraction(0), "e": Fraction(1, 4), "&": Fraction(1, 2), "a": Fraction(3, 4)}

# Words that say how an item sounds: the word in the chart, the technique in the table.
TECHNIQUE_WORDS = {
    "slide": "slide",
    "hammer-on": "hammer-on",
    "pull-off": "pull-off",
    "bend": "bend",
    "let-ring": "let ring",
    "palm-mute": "palm mute",
    "muted": "muted",
    "harmonic": "harmonic",
    "tap": "tap",
    "vibrato": "vibrato",
    "cue": "cue",
}
# Words that say how an item is played over its time.
PLAYED_WORDS = (
    "held",
    "quarters",
    "eighths",
    "sixteenths",
    "off-beats",
    "picked-up",
    "picked-down",
    "pushed",
    "grace",
)
WORDS = frozenset([*TECHNIQUE_WORDS, *PLAYED_WORDS])
MOST_SIGNS = 10_000  # in a bar
Span = tuple[Fraction, Fraction]


@dataclass(slots=True)
class Item:
    """An item: its number among the words of the bar, its text, its count and its words."""

    number: int
    text: str
    count: str
    words: list[str] = field(default_factory=list)


def split_items(cell: Piece, faults: Faults) -> list[Item]:
    """Return the items of a bar, each with its count and the words behind it."""
    if len(cell.text) > MOST_SIGNS:
        faults.add(cell, f"a bar of {len(cell.text)} signs; {MOST_SIGNS} are more than enough")
        return []
    items: list[Item] = []
    count = ""
    number = -1
    for number, word in enumerate(cell.text.split()):
        if word[-1] == ":" and _COUNT.fullmatch(word):
            if count:
                faults.add(cell.word(number - 1), f"nothing stands behind the count {count}")
            count = word
        elif word not in WORDS:
            items.append(Item(number, word, count))
            count = ""
        elif items and not count:
            items[-1].words.append(word)
        else:
            faults.add(cell.word(number), f"{word!r} says how something is played; write it behind "
                       "a shape or a note")  # fmt: skip
    if count:
        faults.add(cell.word(number), f"nothing stands behind the count {count}")
    return items


def is_shared(share: Fraction, beat: Fraction) -> bool:
    """Whether items of that length share a bar: whole beats each, or some to a beat."""
    return not share % beat or not beat % share


@dataclass(frozen=True)
class Frame:
    """A bar's length and its beats, in quarter notes, and the times that were found in them."""

    length: Fraction
    beat: Fraction
    known: dict[tuple[str, ...], list[Span]] = field(default_factory=dict, compare=False)

    @classmethod
    def of(cls, meter: Meter, length: Fraction) -> Frame:
        """The frame of a bar of a meter; it may be shorter or longer than the meter says."""
        return cls(length, meter.beat)

    @property
    def counts(self) -> str:
        """How many counts the bar has."""
        beats = self.length / self.beat
        number = str(beats.numerator) if beats.denominator == 1 else f"{float(beats):.3g}"
        return counted(number, "count")

    def spans(self, cell: Piece, items: list[Item], faults: Faults) -> list[Span] | None:
        """Return onset and duration of each item, or None if they do not fit into the bar."""
        counts = tuple([item.count for item in items])
        spans = self.known.get(counts)
        if spans is None:
            before = faults.count
            spans = self._counted(cell, items, faults) if any(counts) else (
                self._shared(cell, items, faults)
            )  # fmt: skip
            if faults.count > before:
                return None
            self.known[counts] = spans
        return spans

    def _shared(self, cell: Piece, items: list[Item], faults: Faults) -> list[Span]:
        share = self.length / max(len(items), 1)
        if len(items) > 1 and not is_shared(share, self.beat):
            faults.add(cell, f"{len(items)} items do not share a bar of {self.counts} evenly; "
                       "write '~' where one goes on and '.' for silence, or a count before each: "
                       "'1: G 4: C'")  # fmt: skip
        return [(share * index, share) for index in range(len(items))]

    def _counted(self, cell: Piece, items: list[Item], faults: Faults) -> list[Span]:
        onsets: list[Fraction] = []
        for item in items:
            if not item.count and onsets:
                faults.add(cell.word(item.number), f"{shown(item.text)} has no count, and others "
                           "in this bar have; give each of them one, or none")  # fmt: skip
                continue
            onset = self.onset(cell, item, faults) if item.count else Fraction(0)
            if onset is not None and onsets and onset <= onsets[-1]:
                faults.add(cell.word(item.number - 1), f"count {item.count[:-1]} does not come "
                           "behind the one before it; counts go up")  # fmt: skip
            elif onset is not None:
                onsets.append(onset)
        ends = [*onsets, self.length][1:]
        return [(onset, end - onset) for onset, end in zip(onsets, ends, strict=True)]

    def onset(self, cell: Piece, item: Item, faults: Faults) -> Fraction | None:
        """Where in the bar an item's count lies."""
        found = _COUNT.fullmatch(item.count)
        if found is None:
            return Fraction(0)
        beats = int(found[1]) - 1 + _PLACE[found[2]] + Fraction(int(found[3] or 0),
                                                               int(found[4] or 1))  # fmt: skip
        if 0 <= beats * self.beat < self.length:
            return beats * self.beat
        faults.add(cell.word(item.number - 1), f"count {item.count[:-1]} lies outside the bar, "
                   f"which has {self.counts}")  # fmt: skip
        return None
