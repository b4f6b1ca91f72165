"""What is in the fret picture of a shape: its rows, fingers, barres, signs and words.

Nothing is drawn here; ``plots.shape`` and ``plots.neck`` draw it on axes, ``handouts.drawing``
on a sheet. It is what MusicXML 4.0 has in its element ``frame``: frets, strings left out, barres,
fingers, and the fret of the first row.

Shapes are given as text with the low string first (``"x32010"``), as frets with string 1 first,
one or several, or as a table with a column ``frets`` such as ``find_voicings`` returns.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.fret_counting import shown_fret
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import FINGER_NAMES, Hand
from arrange.guitar.necks import LEFT_OUT, Neck, Shape, check_shape, parse_shape
from arrange.tables.schemas import NUT
from arrange.text.words import counted
from arrange.theory.chord_members import member_note, members_of
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.pitch import parse_pitch_class, pitch_class_name

LEAST_ROWS = 4
_LEAST_MOVED = 2  # of a shape that moves, which has no nut to show

_SHOWN = ("fingers", "notes", "members", "")
_NO_FINGER = FINGER_NAMES[0]


@dataclass(frozen=True)
class FretLabels:
    """What is written at the strings and marks of a fret picture.

    Parameters
    ----------
    show : str
        ``"fingers"`` (1 to 4, T is the thumb), ``"notes"``, ``"members"`` of a chord such as
        ``b3``, or ``""`` for nothing.
    chord : str, optional
        The chord whose members are shown, such as ``"C7"``. It spells the notes too, unless a
        key is given.
    key : str, optional
        Spells the notes, such as ``"Bb major"``.

    Raises
    ------
    ArrangeError
        If `show` is none of these, or members are shown and no chord is given.

    Examples
    --------
    >>> import arrange as ar
    >>> [ar.FretLabels("members", chord="C7").word(pitch) for pitch in (48, 52, 55, 58)]
    ['1', '3', '5', 'b7']
    >>> ar.FretLabels("notes", key="Bb major").word(58)
    'Bb'
    """

    show: str = "fingers"
    chord: str | None = None
    key: str | None = None

    def __post_init__(self) -> None:
        if self.show not in _SHOWN:
            options = ", ".join(map(repr, _SHOWN))
            raise ArrangeError(f"show={self.show!r}: a fret picture shows one of {options}")
        if self.show == "members" and self.chord is None:
            raise ArrangeError("the members of which chord? A shape can be several; add chord='C7'")

    @cached_property
    def _by_chord(self) -> dict[int, str]:
        """The word for each member of the chord, by its pitch class."""
        if self.chord is None or (self.show == "notes" and self.key):
            return {}
        chord = parse_chord(self.chord)
        root = parse_pitch_class(chord.root)
        return {
            (root + above) % 12: (
                name if self.show == "members" else member_note(chord.root, above, name)
            )
            for above, name in members_of(chord).items()
        }

    def word(self, pitch: int) -> str:
        """Return the word for a pitch: its note without the octave, or which member it is.

        Empty where neither notes nor members are shown.
        """
        if self.show not in ("notes", "members"):
            return ""
        return self._by_chord.get(pitch % 12) or pitch_class_name(pitch % 12, self.key)


FINGERS, NO_LABELS = FretLabels("fingers"), FretLabels("")


@dataclass(frozen=True)
class Barre:
    """A finger across strings: its fret, its first and last string, and which finger it is."""

    fret: int
    first: int
    last: int
    finger: int


@dataclass(frozen=True)
class FretPicture:
    """What is in the fret picture of one shape.

    Parameters
    ----------
    frets : tuple of int
        From the nut, string 1 first.
    capo : int
        Fret of the capo, 0 for none.
    title : str
        Lines, the first one large.
    fingers : tuple of int
        1 to 4, 5 for the thumb, 0 for none; string 1 first.
    words : tuple of str
        What is written for each string, empty for nothing; string 1 first.
    frets_from : str
        Where the numbers beside the rows count from: ``"nut"`` or ``"capo"``.
    is_movable : bool
        Whether it may be put at any fret, so that neither nut nor numbers are drawn.
    """

    frets: Shape
    capo: int
    title: str
    fingers: tuple[int, ...]
    words: tuple[str, ...]
    frets_from: str = NUT
    is_movable: bool = False

    @cached_property
    def first(self) -> int:
        """The fret of the first row: right behind the nut or capo if the whole shape fits there."""
        held = [fret for fret in self.frets if fret > self.capo]
        if not held or max(held) <= self.capo + LEAST_ROWS:
            return self.capo + 1
        return min(held)

    @property
    def rows(self) -> int:
        """How many rows the picture has at least."""
        least = _LEAST_MOVED if self.is_movable else LEAST_ROWS
        return max(least, max(self.frets) - self.first + 1)

    @property
    def shows_end(self) -> bool:
        """Whether the line above the first row is the nut, or the capo."""
        return self.first == self.capo + 1 and not self.is_movable

    @property
    def lowest(self) -> int:
        """The fret of the lowest string that is struck."""
        return next(fret for fret in reversed(self.frets) if fret != LEFT_OUT)

    @property
    def numbers(self) -> list[tuple[int, str]]:
        """What is written beside rows, as (fret, text).

        The fret of the first row, unless it is fret 1. Where a capo lies outside the picture and
        frets count from the nut, the same fret counted from the capo, in brackets, one row below.
        """
        if self.is_movable:
            return []
        first = shown_fret(self.first, self.capo, self.frets_from)
        numbers = [(self.first, str(first))] if first > 1 else []
        if self.capo and not self.shows_end and self.frets_from == NUT:
            numbers.append((self.first + 1, f"({self.first - self.capo})"))
        return numbers

    @property
    def open_strings(self) -> list[int]:
        """The strings with a ring above them."""
        return [string for string, fret in enumerate(self.frets, 1) if fret == self.capo]

    @property
    def left_out(self) -> list[int]:
        """The strings with a cross above them."""
        return [string for string, fret in enumerate(self.frets, 1) if fret == LEFT_OUT]

    @cached_property
    def barres(self) -> list[Barre]:
        """Every finger that lies across strings."""
        found = []
        for finger in range(1, 5):
            held = [string for string, own in enumerate(self.fingers, 1) if own == finger]
            if len(held) > 1:
                found.append(Barre(self.frets[held[0] - 1], held[0], held[-1], finger))
        return found

    @property
    def dots(self) -> list[tuple[int, int]]:
        """Every string and fret that is held, except those below a barre."""
        barring = {barre.finger for barre in self.barres}
        return [
            (string, fret)
            for string, (fret, finger) in enumerate(zip(self.frets, self.fingers, strict=True), 1)
            if fret > self.capo and finger not in barring
        ]


def fret_pictures(
    shapes: Any, titles: str | Sequence[str] | None, neck: Neck, hand: Hand, labels: FretLabels
) -> list[FretPicture]:
    """Return what is in the picture of each shape.

    Without titles those of a table are its names, and other shapes have none.

    Raises
    ------
    ArrangeError
        If there is no shape, one does not lie on the neck, or the titles are not as many as the
        shapes.
    """
    all_frets, fingerings, own_titles = _given(shapes, neck)
    if titles is None:
        titles = own_titles
    titles = [titles] if isinstance(titles, str) else list(titles)
    if len(titles) != len(all_frets):
        raise ArrangeError(
            f"{counted(len(titles), 'title')} for {counted(len(all_frets), 'shape')}; give one for "
            "each, '' for none"
        )
    pictures = []
    for frets, title, fingering in zip(all_frets, titles, fingerings, strict=True):
        fingers = hold_shape(frets, neck, hand).fingers if fingering is None else fingering
        words = _words(frets, fingers, neck, labels)
        pictures.append(FretPicture(frets, neck.capo, title, fingers, words))
    return pictures


def finger_picture(
    frets: Shape, title: str, neck: Neck, fingers: tuple[int, ...], frets_from: str = NUT
) -> FretPicture:
    """Return what is in the picture of a shape whose fingers are known, string 1 first."""
    words = tuple(FINGER_NAMES[finger] for finger in fingers)
    return FretPicture(frets, neck.capo, title, fingers, words, frets_from)


def movable_picture(
    above: Mapping[int, int], title: str, fingers: Mapping[int, int], strings: int
) -> FretPicture:
    """Return what is in the picture of a shape that may be put at any fret.

    Parameters
    ----------
    above : mapping of string to int
        By how many frets each string is above the lowest.
    title : str
    fingers : mapping of string to int
        0 for none.
    strings : int
        Of the neck.
    """
    first = 1 - min(above.values())
    frets = tuple(first + above[s] if s in above else LEFT_OUT for s in range(1, strings + 1))
    own = tuple(fingers.get(string, 0) for string in range(1, strings + 1))
    words = tuple(FINGER_NAMES[finger] if finger else "" for finger in own)
    return FretPicture(frets, 0, title, own, words, is_movable=True)


def _given(shapes: Any, neck: Neck) -> tuple[list[Shape], list[tuple[int, ...] | None], list[str]]:
    """Frets, fingers where they are given, and titles, in whatever form the shapes are given."""
    if isinstance(shapes, pd.DataFrame):
        if "frets" not in shapes:
            raise ArrangeError(
                f"this table has no column 'frets'; it has {list(shapes.columns)}. Pictures of "
                "shapes take what find_voicings returns, or shapes such as 'x32010'"
            )
        found = [check_shape(frets, neck) for frets in shapes["frets"]]
        fingerings: list[tuple[int, ...] | None] = [None] * len(found)
        if "fingering" in shapes:
            fingerings = [_fingers(text) for text in shapes["fingering"]]
        titles = [_title(name) for name in shapes.get("name", [""] * len(found))]
    else:
        found = [_shape(each, neck) for each in _several(shapes)]
        fingerings, titles = [None] * len(found), [""] * len(found)
    if not found:
        raise ArrangeError("there is no shape to draw; give one or several, such as 'x32010'")
    return found, fingerings, titles


def _fingers(fingering: str) -> tuple[int, ...]:
    """The fingers, string 1 first, of text with the low string first."""
    signs = [_NO_FINGER if sign == "-" else sign for sign in reversed(fingering)]
    return tuple(FINGER_NAMES.index(sign) for sign in signs)


def _title(name: str) -> str:
    """A voicing's name in lines, without the strings, which the picture shows."""
    return re.sub(r" on strings [\d-]+", "", name).replace(", ", "\n")


def _several(shapes: Any) -> Sequence[Any]:
    is_one = isinstance(shapes, str) or (
        len(shapes) > 0 and all(isinstance(fret, (int, np.integer)) for fret in shapes)
    )
    return [shapes] if is_one else list(shapes)


def _shape(shape: str | Sequence[int], neck: Neck) -> Shape:
    return parse_shape(shape, neck) if isinstance(shape, str) else check_shape(shape, neck)


def _words(
    frets: Shape, fingers: tuple[int, ...], neck: Neck, labels: FretLabels
) -> tuple[str, ...]:
    if labels.show == "fingers":
        return tuple(FINGER_NAMES[finger] for finger in fingers)
    return tuple(
        "" if fret == LEFT_OUT else labels.word(opened + fret)
        for opened, fret in zip(neck.tuning, frets, strict=True)
    )
