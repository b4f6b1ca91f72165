"""The words of exercises and replies: parts, notes, choices."""

from __future__ import annotations

from collections.abc import Sequence

from arrange.clashes import KINDS
from arrange.text.part_lists import split_parts
from arrange.text.words import listed


def told_parts(parts: str) -> str:
    """Return the parts of a finding as players say them: ``"Guitar 1 and Bass"``."""
    return listed(split_parts(parts))


def notes_words(kind: str, pitches: str) -> str:
    """Return the notes that a finding tells, or between which it lies: ``"A4 and Bb4"``."""
    names = pitches.split()
    if KINDS[kind].pitches_are_ends and len(names) > 1:
        return f"from {names[0]} to {names[-1]}"
    return listed(names)


def lettered(choices: Sequence[str]) -> list[str]:
    """Return choices behind their letters: ``"a) measure 22"``."""
    return [f"{chr(97 + place)}) {choice}" for place, choice in enumerate(choices)]
