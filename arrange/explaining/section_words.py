"""What a teacher says about one section: in a line, in a paragraph, step by step."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from arrange.explaining.bar_words import bar_steps, count_words
from arrange.explaining.cues import nearly_words
from arrange.explaining.held_shapes import MOST_SHAPES
from arrange.explaining.movements import Hold, finger_text, holds_of, move_words
from arrange.explaining.passages import Passage
from arrange.explaining.playing_kinds import (
    DOUBLE,
    DRONE,
    HARMONICS,
    LINE,
    NOTES,
    OCTAVES,
    POWER,
)
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.hands import FINGER_NAMES
from arrange.guitar.harmonics import NAME
from arrange.text.words import bars_words, counted, first_up, listed, number_runs

MOST_BARS = 2  # of a line, note by note, before the tablature says it better; ours
MOST_ALIKE = 4  # kinds of bars where it is made of shapes; ours
MOST_MOVED = 8  # kinds of bars of a shape that moves; ours
MOST_MOVES = 6

_NO_SHAPES = (DOUBLE, DRONE, HARMONICS, LINE, NOTES, OCTAVES)
_ONE_OF = {OCTAVES: "the octave", POWER: "the power chord"}


@dataclass(frozen=True)
class SectionWords:
    """One section in a teacher's words.

    Parameters
    ----------
    section : str
    line, paragraph : str
    steps : tuple of str
    written_as : str
        The earlier section in which the same is played, or empty.
    what : str
        The line without the count, for where that is drawn.
    """

    section: str
    line: str
    paragraph: str
    steps: tuple[str, ...]
    written_as: str = ""
    what: str = ""


def silent_words(section: str, cues: Sequence[str], setups: Sequence[str]) -> SectionWords:
    """Return the words for a section in which the part rests: how long, and the cue."""
    said = [*cues, *setups]
    return SectionWords(section, _sentence(cues[0]), _paragraph(said), tuple(map(_sentence, said)))


def played_words(
    passage: Passage, before: Sequence[str], after: Sequence[str], *, whole: bool
) -> SectionWords:
    """Return the words for a section in which the part plays.

    Parameters
    ----------
    passage : Passage
    before, after : sequence of str
        What is said of sound and layers, and of cues and the others.
    whole : bool
        Whether the steps say every bar, and a section that returns is said in full.
    """
    stay, what = passage.stay, f"{passage.kind}, {where_words(passage)}"
    again = [f"as {stay.written_as}"] if stay.written_as else nearly_words(stay)
    if stay.written_as and not whole:
        said = [*again, *before, *after]
        return SectionWords(stay.section, _sentence(again[0]), _paragraph(said),
                            tuple(map(_sentence, said)), stay.written_as)  # fmt: skip
    count = count_words(passage)
    often, *others = count.split(";")
    counted_so = f"mostly {often}" if others else often
    line = ", ".join(filter(None, [*again, what, counted_so]))
    has_shapes = passage.kind not in _NO_SHAPES and 0 < len(passage.shapes) <= MOST_SHAPES
    holds = holds_of(passage) if has_shapes else []
    shapes = _shape_list(passage, holds)
    moved = _movable_steps(passage)
    if passage.kind == HARMONICS:
        after = [each for each in after if each != f"{NAME} throughout"]
        if passage.pressed_bars:
            bars = bars_words(passage.pressed_bars)
            moved.append(f"{bars}: no open string has these harmonics, play plain notes")
    said = [*again, what, *before, *filter(None, [shapes, *moved, count]),
            *_hard_moves(holds), *after]  # fmt: skip
    steps = [*again, what, *before, *_shape_steps(passage, holds), *moved,
             *_moves(holds, whole=whole), *_bars(passage, holds, whole=whole), *after]  # fmt: skip
    return SectionWords(stay.section, _sentence(line), _paragraph(said),
                        tuple(map(_sentence, steps)), stay.written_as,
                        _sentence(", ".join([*again, what])))  # fmt: skip


def where_words(passage: Passage) -> str:
    """Return where on the neck it lies: the first finger's frets, the strings."""
    touched = [passage.fret_text(fret) for fret in passage.touched_frets]
    if touched:
        return f"touched over {listed(touched)}, {strings_words(passage)}"
    positions = [
        int(shown_fret(attack.position, passage.neck.capo, passage.frets_from))
        for attack in passage.attacks
        if attack.position
    ]
    low, high = min(positions, default=0), max(positions, default=0)
    if not low:
        hand = "open strings alone"
    elif low == high:
        hand = f"first finger at fret {low}"
    else:
        hand = f"first finger from fret {low} to {high}"
    return f"{hand}, {strings_words(passage)}"


def strings_words(passage: Passage) -> str:
    """Return the strings that are struck: ``"strings 5 to 2"``."""
    strings = {string for attack in passage.attacks for string, _ in attack.places}
    runs = [(last, first) for first, last in reversed(number_runs(strings))]
    words = [str(low) if low == high else f"{low} to {high}" for low, high in runs]
    return f"string{'' if len(strings) == 1 else 's'} {listed(words)}"


def _shape_list(passage: Passage, holds: Sequence[Hold]) -> str:
    shapes = passage.shapes if holds else ()
    return listed(f"{label} {passage.shape_text(shape)}" for label, shape in shapes)


def _shape_steps(passage: Passage, holds: Sequence[Hold]) -> list[str]:
    """Each shape with the fingers that its picture has, where they hold it so every time."""
    steps = []
    for label, shape in passage.shapes if holds else ():
        full = [string for string, fret in enumerate(shape, 1) if fret > passage.neck.capo]
        known = passage.own_shapes.fingers.get(label, ())
        drawn = {string: known[string - 1] for string in full} if known else {}
        every = [hold.of_strings for hold in holds
                 if hold.label == label and len(hold.of_strings) == len(full)]  # fmt: skip
        is_so = drawn and every and all(own == drawn for own in every)
        fingers = f", fingers {finger_text(passage.neck.strings, drawn)}" if is_so else ""
        steps.append(f"{label} is {passage.shape_text(shape)}{fingers}")
    return steps


def _movable_steps(passage: Passage) -> list[str]:
    """Each shape that moves: its strings, and its fingers where any is known."""
    steps = []
    for shape in passage.own_shapes.movable:
        strings: dict[int, list[int]] = {}
        for string, above in shape.above[1:]:
            strings.setdefault(above, []).append(string)
        others = listed(
            f"{_frets_above(above)} on string{'' if len(own) == 1 else 's'} {listed(map(str, own))}"
            for above, own in strings.items()
        )
        fingers = dict.fromkeys(filter(None, shape.fingers))
        held = f"finger{'' if len(fingers) == 1 else 's'} " + listed(
            FINGER_NAMES[finger] for finger in fingers
        )
        held = f"; {held if shape.is_constant else f'mostly {held}'}" if fingers else ""
        kind = _ONE_OF[shape.kind]
        steps.append(f"{kind}: string {shape.string} at the fret named, {others}{held}")
    return steps


def _frets_above(frets: int) -> str:
    if not frets:
        return "the same fret"
    return f"{counted(abs(frets), 'fret')} {'higher' if frets > 0 else 'lower'}"


def _moves(holds: Sequence[Hold], *, whole: bool) -> list[str]:
    """How to get from shape to shape, each change once, with the bar in which it first comes."""
    steps: dict[tuple[str, str], str] = {}
    for before, after in pairwise(holds):
        change = before.label, after.label
        words = move_words(before, after)
        if words and change not in steps:
            steps[change] = f"{change[0]} to {change[1]}, bar {after.first.measure}: {words}"
    return [*steps.values()] if whole else [*steps.values()][:MOST_MOVES]


def _hard_moves(holds: Sequence[Hold]) -> list[str]:
    """The first move that the hand must prepare."""
    for before, after in pairwise(holds):
        words = move_words(before, after)
        if words and after.first.is_jump:
            return [f"{before.label} to {after.label}, bar {after.first.measure}: {words}"]
    return []


def _bars(passage: Passage, holds: Sequence[Hold], *, whole: bool) -> list[str]:
    """What is struck bar by bar: all, or as much as a reader can use."""
    labels = [label for label, _ in passage.shapes] if holds else []
    bars, silent = set(passage.bars), set[int]()
    if passage.stay.nearly_as and not whole:
        silent = set(passage.stay.different) - bars
        bars &= set(passage.stay.different)
    steps = bar_steps(passage, bars, labels)
    if silent:
        steps.append(f"nothing is struck in {bars_words(sorted(silent))}")
    most = MOST_ALIKE if holds else MOST_MOVED if passage.own_shapes.movable else MOST_BARS
    if whole or len(steps) <= most:
        return steps
    return [*steps[:most], "go on as in the tablature"]


def _sentence(words: str) -> str:
    return f"{first_up(words)}."


def _paragraph(said: Iterable[str]) -> str:
    return " ".join(map(_sentence, said))
