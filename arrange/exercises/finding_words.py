"""A finding's parts and notes in words."""

from __future__ import annotations

from arrange.clashes import KINDS
from arrange.text.part_lists import split_parts
from arrange.text.words import listed


def parts_words(parts: str) -> str:
    """Return the parts of a finding as players say them: ``"Guitar 1 and Bass"``."""
    return listed(split_parts(parts))


def notes_words(kind: str, pitches: str) -> str:
    """Return the notes of a finding, or the two between which it lies: ``"A4 and Bb4"``."""
    names = pitches.split()
    if KINDS[kind].pitches_are_ends and len(names) > 1:
        return f"from {names[0]} to {names[-1]}"
    return listed(names)
