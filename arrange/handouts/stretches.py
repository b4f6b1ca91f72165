"""What a part sheet has of each section, before it is laid out; what returns stands there once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from arrange.explaining.held_shapes import chord_and_number
from arrange.explaining.movable_shapes import MovableShape
from arrange.explaining.part_sections import Stay, chords_by_bar
from arrange.explaining.returning_sections import Return
from arrange.guitar.fret_pictures import FretPicture, finger_picture, movable_picture
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.handouts.drawing import draw_shape
from arrange.handouts.shapes_and_rhythm import StrumBar, StrumSection, movable_title
from arrange.tables.song import Song
from arrange.text.words import bars_words, joined_labels, number_runs

NOTES, TAB = "notes", "tab"  # how bars are engraved
EITHER, RATHER_NOTES = "either", "rather notes"

_NEAR = 1e-6  # quarter notes
_MOST_PATTERNS = 4  # of a section, beside each other on the page; where there are more, bar by bar
_LONG_RUN = 3  # bars that go on as before, from which they are counted and not drawn


@dataclass(frozen=True)
class Bar:
    """A bar on the page.

    Parameters
    ----------
    number : int
        Played measure.
    chords : tuple of str
        Those of the chords table that begin in it, and nothing else.
    shapes : tuple of str
        Labels of fret pictures, where the chords do not say which is held.
    since : tuple of str
        The count of each, empty for the first.
    numbers : tuple of str
        Of the shape of each chord, as in its label, where each chord has one.
    counts, marks : tuple of str
        How it is struck, where no pattern says so.
    pattern : str
        The letter of its pattern, where there is more than one.
    length : int
        Bars that it stands for: those that follow go on as it does.
    """

    number: int
    chords: tuple[str, ...]
    shapes: tuple[str, ...] = ()
    since: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    counts: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()
    pattern: str = ""
    length: int = 1


@dataclass(frozen=True)
class Pattern:
    """What the picking hand does in a bar, and the letter by which bars say so."""

    letter: str
    counts: tuple[str, ...]
    marks: tuple[str, ...]


@dataclass(frozen=True)
class Span:
    """Bars that are engraved.

    Parameters
    ----------
    label : str
        Whose they are, empty for the section itself.
    first, last : int
        Played measures.
    form : str
        ``NOTES`` for notation with tablature, ``TAB`` for tablature with counts; ``EITHER`` for
        notation that is left out where room is short, ``RATHER_NOTES`` where even then it is.
    """

    label: str
    first: int
    last: int
    form: str


@dataclass(frozen=True)
class Row:
    """Bars of a later time that are not the same as the first time."""

    label: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Stretch:
    """A section on a part sheet, with those that return as it.

    Parameters
    ----------
    times : tuple of Stay
        Each time that it is played, or the one that rests.
    facts : tuple of str
        Dynamics, sound, capo and layers; meter, key and tempo where they are new.
    words : str
        What the hands do, in a line.
    cues : tuple of str
    notices : tuple of str
        Remarks and decisions.
    bars : tuple of Bar
        Chord symbols, and how each is struck where the section is made of shapes.
    patterns : tuple of Pattern
    shapes : tuple of str
        Fret pictures, SVG, that no earlier stretch has.
    seen : tuple of str
        Labels of shapes that an earlier one has.
    spans : tuple of Span
        Where it is played and not made of shapes.
    rows : tuple of Row
        The bars in which a later time differs, where it is made of shapes.
    moves : bool
        Whether its shapes move, so that numbers are frets, or a line of frets stands with its
        music.
    """

    times: tuple[Stay, ...]
    facts: tuple[str, ...] = ()
    words: str = ""
    cues: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    bars: tuple[Bar, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    shapes: tuple[str, ...] = ()
    seen: tuple[str, ...] = ()
    spans: tuple[Span, ...] = ()
    rows: tuple[Row, ...] = ()
    moves: bool = False

    @property
    def plays(self) -> bool:
        """Whether the part plays in it."""
        return self.times[0].plays

    @property
    def sections(self) -> tuple[str, ...]:
        """Its sections as they are called."""
        return tuple(stay.section for stay in self.times)

    @property
    def title(self) -> str:
        """The sections in short: ``"Verse 1, 2, 3"``."""
        return joined_labels(self.sections)

    @property
    def where(self) -> str:
        """The bars of each time."""
        count = self.times[0].last - self.times[0].first + 1
        runs = [str(s.first) if count == 1 else f"{s.first}–{s.last}" for s in self.times]
        return f"bar{'' if count == len(runs) == 1 else 's'} {', '.join(runs)}"


def shared_words(times: Sequence[tuple[str, Sequence[str]]]) -> tuple[str, ...]:
    """Return what is said of several times: once what all share, by name what one has alone."""
    common = [w for w in times[0][1] if all(w in words for _, words in times)]
    by_words: dict[tuple[str, ...], list[str]] = {}
    for name, words in times:
        own = tuple(word for word in words if word not in common)
        if own:
            by_words.setdefault(own, []).append(name)
    apart = [f"{joined_labels(names)}: {', '.join(own)}" for own, names in by_words.items()]
    return (*common, *apart)


def moved_bars(words: str, bars: int) -> str:
    """Return a sentence with the bars that it names so many later: to compare two times."""
    return re.sub(
        r"\bbars? \d[\d–, ]*",
        lambda found: re.sub(r"\d+", lambda number: str(int(number[0]) + bars), found[0]),
        words,
    )


def song_bars(song: Song) -> dict[str, tuple[Bar, ...]]:
    """Return each section's bars with their chord symbols, all that the chords table has there.

    One that goes on over a bar line is not repeated, one that holds from before the section is.
    """
    onsets, symbols = song.chords["onset"].tolist(), song.chords["symbol"].tolist()
    lines, by_bar = song.measures["onset"].tolist(), chords_by_bar(song)
    return {
        row.section: tuple(
            Bar(number, tuple(
                symbols[chord] for chord in by_bar[number - 1]
                if number == row.first_measure or onsets[chord] > lines[number - 1] - _NEAR
            ))
            for number in range(row.first_measure, row.last_measure + 1)
        )
        for row in song.sections.itertuples()
    }  # fmt: skip


def engraved_spans(returns: Sequence[Return], form: str) -> tuple[Span, ...]:
    """Return what is engraved of sections that are printed once: the first, then what differs."""
    first = returns[0].stay
    others = [Span(label, *bars, form) for label, bars in different_bars(returns)]
    return (Span("", first.first, first.last, form), *others)


def different_bars(returns: Sequence[Return]) -> list[tuple[str, tuple[int, int]]]:
    """Return the runs of bars in which later times differ from the first, and whose they are; what
    several times have alike once, with the bars of the first of them.
    """
    alike: dict[Any, list[tuple[Stay, int, int]]] = {}
    for each in returns[1:]:
        at = each.stay.first
        for begin, end in number_runs(each.different):
            what = tuple(each.contents[bar - at] for bar in range(begin, end + 1))
            alike.setdefault((begin - at, repr(what)), []).append((each.stay, begin, end))
    found = []
    for own in alike.values():
        names = joined_labels([stay.section for stay, _, _ in own])
        bars = [bar for _, begin, end in own for bar in range(begin, end + 1)]
        found.append((f"{names}, {bars_words(bars)}", own[0][1:]))
    return found


def struck_stretch(
    stretch: Stretch,
    returns: Sequence[Return],
    strums: Mapping[str, StrumSection],
    bars: Mapping[str, tuple[Bar, ...]],
) -> Stretch:
    """Return a stretch with its bars as they are struck, and the bars that differ.

    Parameters
    ----------
    stretch : Stretch
    returns : sequence of Return
    strums : mapping of section to StrumSection
    bars : mapping of section to its bars
    """
    first = returns[0].stay.section
    own = _struck(bars[first], strums[first])
    patterns = _patterns(own)
    rows = []
    everywhere = {
        bar.number: bar
        for each in returns for bar in _struck(bars[each.stay.section], strums[each.stay.section])
    }  # fmt: skip
    for label, (begin, end) in different_bars(returns):
        rows.append(Row(label, tuple(everywhere[bar] for bar in range(begin, end + 1))))
    if patterns:
        own = _by_pattern(own, patterns)
    return replace(stretch, bars=own, patterns=patterns, rows=tuple(rows))


def drawn_shapes(
    strums: Iterable[StrumSection],
    movable: Sequence[MovableShape],
    neck: Neck,
    hand: Hand,
    frets_from: str,
    known: set[Any],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return pictures of the shapes that are new, and the labels of those drawn before.

    A shape has the fingers of the part; where it is never held whole, those of the `hand`.
    `movable` are all that move in the part. `known` has those drawn before, and grows.
    """
    shapes: dict[Any, tuple[str, FretPicture]] = {}
    for own in strums:
        for moving in own.movable:
            title = movable_title(moving, movable)
            shapes[moving.above, title] = title, _moving_picture(moving, title, neck)
        for label, frets in own.shapes:
            fingers = own.fingers.get(label) or hold_shape(frets, neck, hand).fingers
            picture = finger_picture(frets, label, neck, fingers, frets_from)
            shapes[label, frets, neck.capo] = label, picture
    seen = tuple(label for key, (label, _) in shapes.items() if key in known)
    new = tuple(draw_shape(picture) for key, (_, picture) in shapes.items() if key not in known)
    known.update(shapes)
    return new, seen


def _moving_picture(shape: MovableShape, title: str, neck: Neck) -> FretPicture:
    strings = [string for string, _ in shape.above]
    fingers = dict(zip(strings, shape.fingers, strict=True))
    return movable_picture(dict(shape.above), title, fingers, neck.strings)


def _struck(bars: Sequence[Bar], strums: StrumSection) -> tuple[Bar, ...]:
    """The bars with their counts, and with the shapes that the chords do not name."""
    return tuple(
        replace(_with_shapes(bar, own), counts=own.counts, marks=own.marks)
        for bar, own in zip(bars, strums.bars, strict=True)
    )


def _with_shapes(bar: Bar, own: StrumBar) -> Bar:
    """The bar with numbers behind its chords where those suffice, else with a row of labels."""
    parted = [chord_and_number(label) for label in own.labels]
    if tuple(chord for chord, _ in parted) == bar.chords:
        return replace(bar, numbers=tuple(number for _, number in parted))
    return replace(bar, shapes=own.labels, since=own.since)


def _patterns(bars: Sequence[Bar]) -> tuple[Pattern, ...]:
    """The different ways in which bars are struck; none where there are too many to be of use."""
    found = list(dict.fromkeys((bar.counts, bar.marks) for bar in bars))
    if len(found) > min(_MOST_PATTERNS, max(len(bars) // 2, 1)):
        return ()
    letters = "abcd" if len(found) > 1 else " "
    return tuple(Pattern(letter.strip(), *own) for letter, own in zip(letters, found, strict=False))


def _by_pattern(bars: Sequence[Bar], patterns: Sequence[Pattern]) -> tuple[Bar, ...]:
    """Bars that name their pattern; several that go on as the one before are counted with it."""
    letters = {(each.counts, each.marks): each.letter for each in patterns}
    runs: list[list[Bar]] = []
    for bar in bars:
        bar = replace(bar, counts=(), marks=(), pattern=letters[bar.counts, bar.marks])
        same = runs and bar.shapes in ((), runs[-1][0].shapes) and len(bar.shapes) < 2
        goes_on = same and not bar.chords and bar.pattern == runs[-1][0].pattern
        if goes_on:
            runs[-1].append(bar)
        else:
            runs.append([bar])
    short = [[replace(run[0], length=len(run))] if len(run) >= _LONG_RUN else run for run in runs]
    return tuple(bar for run in short for bar in run)
