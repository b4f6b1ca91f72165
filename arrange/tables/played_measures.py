"""Played measures as people write them: ``21-24``, or a single number."""

from __future__ import annotations

import re

from arrange.errors import ArrangeError, shown

_FIRST_LAST = re.compile(r"([0-9]+)(?:\s*[-–]\s*([0-9]+))?")
_MOST_DIGITS = 6  # a song has some hundred measures


def parse_measures(text: str) -> tuple[int, int]:
    """Return the first and the last measure.

    Raises
    ------
    ArrangeError
        If the text is neither two numbers in order, from 1, nor one.

    Examples
    --------
    >>> parse_measures("21-24"), parse_measures("7")
    ((21, 24), (7, 7))
    """
    match = _FIRST_LAST.fullmatch(text.strip())
    if not match:
        raise ArrangeError(
            f"measures {shown(text)}; write played measures such as 21-24, or one number"
        )
    first, last = match[1], match[2] or match[1]
    if max(len(first), len(last)) > _MOST_DIGITS:
        raise ArrangeError(f"measures {shown(text)}: no song has so many")
    if not 1 <= int(first) <= int(last):
        raise ArrangeError(f"measures {shown(text)}: the first, then the last, from 1")
    return int(first), int(last)


def format_measures(measures: tuple[int, int] | None) -> str:
    """Return measures as ``parse_measures`` reads them: ``"21-24"``, ``"7"``; empty for none."""
    if measures is None:
        return ""
    first, last = measures
    return f"{first}" if first == last else f"{first}-{last}"
