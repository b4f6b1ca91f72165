"""Fret numbers as a player reads them: counted from the nut or from the capo, an open string as 0.

The tables count from the nut. What is printed or said counts as the part's ``frets_from`` says;
the one home of that rule is here.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from arrange.errors import ArrangeError
from arrange.guitar.necks import LEFT_OUT, Shape, format_shape
from arrange.tables.schemas import CAPO, FRETS_FROM, NUT
from arrange.tables.song import Song, part_row


def shown_fret(fret: Any, capo: Any, frets_from: str = NUT) -> Any:
    """Return the number that is printed for a fret; 0 is the string open at the nut or the capo.

    Parameters
    ----------
    fret, capo : int, or whole columns of them
        From the nut.
    frets_from : str
        ``"nut"`` or ``"capo"``.

    Examples
    --------
    >>> [shown_fret(fret, 3) for fret in (3, 5)], [shown_fret(fret, 3, "capo") for fret in (3, 5)]
    ([0, 5], [0, 2])
    """
    return (fret - capo * (frets_from == CAPO)) * (fret != capo)


def shown_shape(shape: Shape, capo: int, frets_from: str = NUT) -> str:
    """Return a shape as text, low string first, as ``format_shape`` does, with the printed numbers.

    Examples
    --------
    >>> shown_shape((3, 3, 3, 5, 5, -1), 3), shown_shape((3, 3, 3, 5, 5, -1), 3, "capo")
    ('x55000', 'x22000')
    """
    return format_shape(
        [fret if fret == LEFT_OUT else shown_fret(fret, capo, frets_from) for fret in shape]
    )


def counting_words(capo: int, frets_from: str = NUT) -> str:
    """Return how frets are counted, in a sentence; empty without a capo, where both are the same.

    Examples
    --------
    >>> counting_words(2)
    'frets are counted from the nut: 0 is the open string at the capo, 4 is two frets above it'
    """
    if not capo:
        return ""
    return (
        f"frets are counted from the {frets_from}: 0 is the open string at the capo, "
        f"{shown_fret(capo + 2, capo, frets_from)} is two frets above it"
    )


def frets_from_of(song: Song, part: str, frets_from: str | None = None) -> str:
    """Return how frets of a part are counted: as asked for, or else as the part says.

    Raises
    ------
    ArrangeError
        If there is no such part, or another way of counting is asked for.
    """
    if frets_from is None:
        return str(part_row(song, part)["frets_from"])
    check_frets_from(frets_from)
    return frets_from


def with_frets_from(song: Song, frets_from: str | None) -> Song:
    """Return the song in which every part counts frets as asked for; None for as each part says.

    Raises
    ------
    ArrangeError
        If another way of counting is asked for.
    """
    if frets_from is None:
        return song
    check_frets_from(frets_from)
    return replace(song, parts=song.parts.assign(frets_from=frets_from))


def check_frets_from(frets_from: str) -> None:
    """Refuse another way of counting than from the nut or from the capo."""
    if frets_from not in FRETS_FROM:
        raise ArrangeError(f"frets={frets_from!r}; it is one of {', '.join(map(repr, FRETS_FROM))}")
