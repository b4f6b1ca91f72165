"""What the signs on a part sheet mean, those that it has."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from arrange.handouts.engraving import Prepared
from arrange.handouts.marked_notes import MOVES
from arrange.handouts.stretches import Bar, Stretch

_BOXES = "In a box: first bar, section, how many bars."
_EMPTY = "Filled: you play; empty: lay out."
_MARKS = (("↓", "strum down"), ("↑", "up"), ("×", "muted"), ("–", "let it sound"), ("·", "silence"))
_TOUCHED = "‹12› a harmonic: touch the string over the fret"
_STROKES = "⊓ strum down, V up, until another pattern comes"


def legend(
    stretches: Sequence[Stretch],
    engraved: Iterable[Prepared],
    *,
    has_rests: bool,
    has_fingers: bool,
) -> str:
    """Return what the signs on a sheet mean.

    Parameters
    ----------
    stretches : sequence of Stretch
    engraved : iterable of Prepared
    has_rests : bool
        Whether the part lays out in a section.
    has_fingers : bool
    """
    sentences = [_BOXES, *[_EMPTY] * has_rests, *_of_shapes(stretches)]
    return " ".join([*sentences, *_of_tablature(stretches, engraved, has_fingers=has_fingers)])


def _of_shapes(own: Sequence[Stretch]) -> list[str]:
    sentences = []
    drawn = {mark for stretch in own for mark in _marks(stretch)}
    marks = [f"{sign} {words}" for sign, words in _MARKS if any(sign in mark for mark in drawn)]
    if marks:
        sentences.append(f"Over the count: {', '.join(marks)}.")
    if any(_has_numbers(stretch) for stretch in own if not stretch.moves):
        sentences.append("A number there: a single string (1 is the highest).")
    moving = [stretch for stretch in own if stretch.moves and not stretch.spans]
    if moving:
        over = " or over the count" if any(map(_has_numbers, moving)) else ""
        sentences.append(
            f"A shape with {MOVES} is put at the fret that stands behind the chord{over}."
        )
    if any(bar.shapes for stretch in own if not stretch.moves for bar in _all_bars(stretch)):
        sentences.append("In small type: the shapes of the bar, a later one behind its count.")
    return sentences


def _of_tablature(
    stretches: Iterable[Stretch], engraved: Iterable[Prepared], *, has_fingers: bool
) -> list[str]:
    drawn = [*engraved]
    music = [stretch for stretch in stretches if stretch.spans]
    signs = [f"{MOVES} the fret of the shape with {MOVES}"] * any(each.moves for each in music)
    signs += ["a slanted number is the finger"] * (has_fingers and bool(music))
    signs += [_STROKES] * any(prepared.has_strokes for prepared in drawn)
    signs += [_TOUCHED] * any(prepared.part.notes["touched"].any() for prepared in drawn)
    return [f"At tablature: {'; '.join(signs)}."] if signs else []


def _all_bars(stretch: Stretch) -> list[Bar]:
    return [*stretch.bars, *(bar for row in stretch.rows for bar in row.bars)]


def _has_numbers(stretch: Stretch) -> bool:
    """Whether numbers stand over counts."""
    return any(mark[-1:].isdecimal() for mark in _marks(stretch))


def _marks(stretch: Stretch) -> list[str]:
    """All that stands over counts."""
    rows = [pattern.marks for pattern in stretch.patterns]
    rows += [bar.marks for bar in _all_bars(stretch)]
    return [mark for marks in rows for mark in marks]
