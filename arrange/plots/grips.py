"""What a picture tells of a shape: its frets, fingers, barres, and a word for each string.

Shapes come as text with the low string first (``"x32010"``), as frets with string 1 first, one
or several, or as a table with a column ``frets`` such as ``find_voicings`` gives.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import FINGER_NAMES, Hand
from arrange.guitar.necks import LEFT_OUT, Neck, Shape, check_shape, format_shape, parse_shape
from arrange.theory.chord_members import member_note, members_of
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.pitch import parse_pitch_class, pitch_class_name

SHOWN = ("fingers", "notes", "members", "")

_NO_FINGER = FINGER_NAMES[0]


@dataclass(frozen=True)
class Barre:
    """A finger across strings: its fret, its first and last string, and which finger it is."""

    fret: int
    first: int
    last: int
    finger: int


@dataclass(frozen=True)
class ShownShape:
    """A shape as a picture tells it.

    Parameters
    ----------
    frets : tuple of int
        From the nut, string 1 first, as everywhere.
    title : str
    fingers : tuple of int
        1 to 4, 5 for the thumb, 0 for none; string 1 first.
    words : tuple of str
        What is written for each string, empty for nothing; string 1 first.
    """

    frets: Shape
    title: str
    fingers: tuple[int, ...]
    words: tuple[str, ...]

    @property
    def barres(self) -> list[Barre]:
        """Every finger that lies across strings."""
        found = []
        for finger in range(1, 5):
            held = [s for s, own in enumerate(self.fingers, 1) if own == finger]
            if len(held) > 1:
                found.append(Barre(self.frets[held[0] - 1], held[0], held[-1], finger))
        return found


def shown_shapes(
    shapes: Any,
    titles: str | Sequence[str] | None,
    neck: Neck,
    hand: Hand,
    show: str,
    chord: str | None,
    key: str | None,
) -> list[ShownShape]:
    """Return each shape with its title, its fingers and the words for its strings.

    Raises
    ------
    ArrangeError
        If a shape does not lie on the neck, the titles are not as many as the shapes, `show`
        is none of ``SHOWN``, or the members of no chord are asked for.
    """
    check_show(show)
    all_frets, fingerings, own_titles = _told(shapes, neck)
    if titles is None:
        titles = own_titles
    titles = [titles] if isinstance(titles, str) else list(titles)
    if len(titles) != len(all_frets):
        raise ArrangeError(
            f"{len(titles)} titles for {len(all_frets)} shapes; give one for each, '' for none"
        )
    return [
        _shown(frets, title, fingering, neck, hand, show, chord, key)
        for frets, title, fingering in zip(all_frets, titles, fingerings, strict=True)
    ]


def check_show(show: str) -> None:
    """Raise ``ArrangeError`` unless `show` is one of ``SHOWN``."""
    if show not in SHOWN:
        options = ", ".join(map(repr, SHOWN))
        raise ArrangeError(f"show={show!r}: marks show one of {options}")


def chord_words(chord: str | None, show: str, key: str | None) -> dict[int, str]:
    """Return the word for each member of a chord by its pitch class: a note or what it is."""
    if chord is None or show not in ("notes", "members") or (show == "notes" and key):
        return {}
    parsed = parse_chord(chord)
    members = members_of(parsed)
    root = parse_pitch_class(parsed.root)
    if show == "members":
        return {(root + above) % 12: name for above, name in members.items()}
    return {
        (root + above) % 12: member_note(parsed.root, above, name)
        for above, name in members.items()
    }


def word_for(pitch: int, show: str, words: Mapping[int, str], key: str | None) -> str:
    """Return the word for a pitch: its note without the octave, or which member it is."""
    if show not in ("notes", "members"):
        return ""
    return words.get(pitch % 12) or pitch_class_name(pitch % 12, key)


def _told(shapes: Any, neck: Neck) -> tuple[list[Shape], list[str | None], list[str]]:
    """Frets, fingerings where they are told, and titles, of whatever way shapes were given."""
    if isinstance(shapes, pd.DataFrame):
        if "frets" not in shapes:
            raise ArrangeError(
                f"this table has no column 'frets'; it has {list(shapes.columns)}. Pictures of "
                "shapes take what find_voicings gives, or shapes such as 'x32010'"
            )
        found = [check_shape(frets, neck) for frets in shapes["frets"]]
        fingerings = list(shapes["fingering"]) if "fingering" in shapes else [None] * len(found)
        titles = [_short_name(name) for name in shapes.get("name", [""] * len(found))]
    else:
        found = [_shape(each, neck) for each in _several(shapes)]
        fingerings, titles = [None] * len(found), [""] * len(found)
    if not found:
        raise ArrangeError("there is no shape to draw; give one or several, such as 'x32010'")
    return found, fingerings, titles


def _short_name(name: str) -> str:
    """A voicing's name in lines, without the strings, which the picture shows."""
    return re.sub(r" on strings [\d-]+", "", name).replace(", ", "\n")


def _several(shapes: Any) -> Sequence[Any]:
    is_one = isinstance(shapes, str) or (
        len(shapes) > 0 and all(isinstance(fret, (int, np.integer)) for fret in shapes)
    )
    return [shapes] if is_one else list(shapes)


def _shape(shape: str | Sequence[int], neck: Neck) -> Shape:
    return parse_shape(shape, neck) if isinstance(shape, str) else check_shape(shape, neck)


def _shown(
    frets: Shape,
    title: str,
    fingering: str | None,
    neck: Neck,
    hand: Hand,
    show: str,
    chord: str | None,
    key: str | None,
) -> ShownShape:
    if fingering is None:
        fingers = hold_shape(frets, neck, hand).fingers
    else:
        signs = [_NO_FINGER if sign == "-" else sign for sign in reversed(fingering)]
        fingers = tuple(FINGER_NAMES.index(sign) for sign in signs)
    if show == "fingers":
        return ShownShape(frets, title, fingers, tuple(FINGER_NAMES[f] for f in fingers))
    if show == "members" and chord is None:
        raise ArrangeError(
            f"the members of which chord? {format_shape(frets)} can be several; say chord='C7'"
        )
    names = chord_words(chord, show, key)
    words = tuple(
        "" if fret == LEFT_OUT else word_for(opened + fret, show, names, key)
        for opened, fret in zip(neck.tuning, frets, strict=True)
    )
    return ShownShape(frets, title, fingers, words)
