"""What an instrument is: its family and its unique label, from names, sounds and programs."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

from arrange.song_size import MOST_TEXT

# The first pattern that fits a name decides; words in English, with common abbreviations and
# a few German, French and Italian score names (common practice).
_NAMES = (
    ("drums", r"\b(drum\w*|percussion|snare|cymbals?|toms?|cajon|tambourine|timpani|kit)\b"),
    ("other", r"\b(bass|tenor|alto|soprano|baritone) (sax\w*|clarinet|flute|trombone|recorder"
              r"|horn|trumpet|oboe|viol|drum|tuba)|bassoon|basset|basso cont"),
    ("bass", r"\b(bass guitar|(electric|e|upright|double|fretless|acoustic|synth)[ -]?bass"
             r"|contrabass\w*|kontrabass|b\. ?gtr)\b"),
    ("guitar", r"\b(guitars?|gtrs?|gitarre|guitare|chitarra|guitarra|e-git\w*"
               r"|ukulele|banjo|mandolin\w*|bouzouki|dobro|lap steel)\b"),
    ("voice", r"\b(voices?|vocals?|vox|voc|singer|soprano|alto|tenore?|baritone|mezzo\w*|choir"
              r"|canto|cantus|altus|bassus|sopran|stimme|chant)\b"),
    ("keys", r"\b(piano\w*|keys|keyboards?|organ|orgel|synth\w*|harpsichord|cembalo|celesta"
             r"|accordion|rhodes|clavi\w*|e-?piano|pad)\b"),
    ("other", r"\b(violins?|violas?|violoncell[oi]s?|celli?o?s?|viol[aei]?|trumpets?|oboes?|flutes?"
              r"|clarinets?|horns?|trombones?|tubas?|sax\w*|recorders?|harps?|strings?|brass)\b"),
)  # fmt: skip
_CHOIR = re.compile(r"\b(soprano|alto|tenore?|sopran|cantus|altus)\b", re.I)

# MusicXML standard sounds begin with these words (sounds.xml of MusicXML 4.0).
_SOUNDS = (
    ("pluck.bass", "bass"),
    ("strings.contrabass", "bass"),
    ("pluck.guitar", "guitar"),
    ("pluck.ukulele", "guitar"),
    ("pluck.banjo", "guitar"),
    ("pluck.mandolin", "guitar"),
    ("voice", "voice"),
    ("keyboard", "keys"),
    ("synth", "keys"),
    ("drum", "drums"),
    ("metal.cymbal", "drums"),
)

# General MIDI Level 1 sound set, programs counted from 1: first, last, family.
_PROGRAMS = (
    (1, 8, "keys"),
    (17, 24, "keys"),
    (25, 32, "guitar"),
    (33, 40, "bass"),
    (53, 55, "voice"),
    (81, 104, "keys"),
    (115, 119, "drums"),
)
_DRIVEN = {30: "overdriven", 31: "distorted"}  # General MIDI names of programs 30 and 31


def instrument_family(
    name: str,
    *,
    sound: str = "",
    program: int | None = None,
    unpitched: bool = False,
    sung: bool = False,
    beside: Sequence[str] = (),
) -> str:
    """Return the family that an instrument belongs to.

    Parameters
    ----------
    name : str
        Part or instrument name.
    sound : str
        MusicXML ``instrument-sound``.
    program : int, optional
        General MIDI program, 1-128; asked last, since many files leave it at the piano.
    unpitched : bool
        It plays on the percussion channel, or has unpitched notes only.
    sung : bool
        The part carries words to sing.
    beside : sequence of str
        Names of the other parts: "Bass" beside an alto is a singer.
    """
    if unpitched:
        return "drums"
    if sung:
        return "voice"
    for start, family in _SOUNDS:
        if sound.startswith(start):
            return family
    family = _family_named(name)
    if family:
        return family
    if re.search(r"\bbass(o|e)?\b", name, re.I):
        return "voice" if any(_CHOIR.search(other) for other in beside) else "bass"
    for first, last, family in _PROGRAMS:
        if program is not None and first <= program <= last:
            return family
    return "other"


@lru_cache(maxsize=256)
def _family_named(name: str) -> str:
    """The family that a name belongs to, or ``""``."""
    return next((family for family, words in _NAMES if re.search(words, name, re.I)), "")


@lru_cache(maxsize=256)
def instrument_drive(name: str, program: int | None) -> str:
    """Return how driven an instrument sounds: clean, edge, overdriven or distorted."""
    if re.search(r"\b(dist(ort\w*|\.)?|fuzz)\b", name, re.I):
        return "distorted"
    if re.search(r"\b(overdrive\w*|drive|crunch)\b", name, re.I):
        return "overdriven"
    return _DRIVEN.get(program or 0, "clean")


def unique_labels(names: Sequence[str]) -> list[str]:
    """Return the names made unique by numbering the repeated ones: Guitar 1, Guitar 2."""
    count = Counter(names)
    labels: dict[str, None] = {}
    numbers: Counter[str] = Counter()
    for name in names:
        numbers[name] += 1
        label = _numbered(name, numbers[name]) if count[name] > 1 else name
        while label in labels or (label != name and label in count):
            numbers[name] += 1
            label = _numbered(name, numbers[name])
        labels[label] = None
    return list(labels)


def _numbered(name: str, number: int) -> str:
    return f"{name[: MOST_TEXT - 8]} {number}"
