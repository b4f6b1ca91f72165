"""Note names, pitch numbers, frequencies and intervals.

Conventions: a pitch is a sounding MIDI number, middle C (C4) is 60; a quarter tone is half a
number. A4 is 440 Hz (ISO 16:1975). Names use ``#`` and ``b``; the octave changes at C.
"""

from __future__ import annotations

import re
from typing import Any, TypeVar

import numpy as np

from arrange.errors import ArrangeError
from arrange.text.words import an

Pitch = TypeVar("Pitch", float, np.ndarray[Any, Any])

A4_PITCH = 69
A4_HERTZ = 440.0  # ISO 16:1975

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}

# How a band spells a note when no key says otherwise (common practice).
PLAIN_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
SHARP_NAMES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")

INTERVAL_NAMES = (
    "unison",
    "minor second",
    "major second",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
    "octave",
    "minor ninth",
    "major ninth",
    "minor tenth",
    "major tenth",
)

# Notes in fifths from C, and how many fifths a mode's tonic lies above its signature's major.
CIRCLE = ["Fb", "Cb", "Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D",
          "A", "E", "B", "F#", "C#", "G#", "D#", "A#", "E#", "B#"]  # fmt: skip
C_IN_CIRCLE = CIRCLE.index("C")
MODES = {
    "major": 0,
    "minor": 3,
    "ionian": 0,
    "aeolian": 3,
    "dorian": 2,
    "phrygian": 4,
    "lydian": -1,
    "mixolydian": 1,
    "locrian": 5,
}

_NOTE = re.compile(r"^([A-Ga-g])(#{1,3}|b{1,3}|♯|♭|)(-?\d+)$")
_CLASS = re.compile(r"^([A-Ga-g])(#{1,3}|b{1,3}|♯|♭|)$")


def frequency(pitch: Pitch) -> Pitch:
    """Return the frequency in Hz of a MIDI pitch number, or of an array, in equal temperament."""
    return A4_HERTZ * 2.0 ** ((pitch - A4_PITCH) / 12)


def parse_pitch_class(name: str) -> int:
    """Return the pitch class (C is 0) of a name without an octave, such as ``"Bb"``.

    Raises
    ------
    ArrangeError
        If `name` is no note name.
    """
    found = _CLASS.match(name.strip())
    if not found:
        raise ArrangeError(f"no note is called {name!r}; write a letter A to G, then # or b")
    return (STEPS[found[1].upper()] + _alteration(found[2])) % 12


def parse_note(name: str) -> int:
    """Return the MIDI pitch number of a note name such as ``"C4"`` (60) or ``"Bb2"`` (46).

    Raises
    ------
    ArrangeError
        If `name` is no note name with an octave.
    """
    found = _NOTE.match(name.strip())
    if not found:
        raise ArrangeError(
            f"no note is called {name!r}; write a letter A to G, then # or b, then the octave: Bb2"
        )
    return 12 * (int(found[3]) + 1) + STEPS[found[1].upper()] + _alteration(found[2])


def _alteration(signs: str) -> int:
    signs = signs.replace("♯", "#").replace("♭", "b")
    return signs.count("#") - signs.count("b")


def note_name(pitch: float, key: str | None = None) -> str:
    """Return the name of a MIDI pitch number, such as ``"Eb3"`` for 51.

    Parameters
    ----------
    pitch : float
        MIDI number. Off the semitone grid the nearest note is named, with ``+`` or ``-``
        behind it (a quarter tone above C4 is ``"C4+"``).
    key : str, optional
        A key such as ``"Bb major"``, which decides between sharps and flats.
    """
    nearest = int(pitch + 0.5 - 1e-9)
    off = pitch - nearest
    mark = "+" if off > 0.1 else "-" if off < -0.1 else ""
    name = pitch_class_name(nearest % 12, key)
    octave = (nearest - STEPS[name[0]] - _alteration(name[1:])) // 12 - 1
    return f"{name}{octave}{mark}"


def pitch_class_name(pitch_class: int, key: str | None = None) -> str:
    """Return the name of a pitch class as the key spells it; without a key one of ``PLAIN_NAMES``.

    The key's own notes are spelled as its signature asks, the other five as near to them in the
    circle of fifths as a band spells them (common practice): in C major Ab Eb Bb F# C#, in
    A minor, with its raised leading note, Bb F# C# G# D#.
    """
    if key is None:
        return PLAIN_NAMES[pitch_class % 12]
    flatward = 2 if MODES.get(key.partition(" ")[2], 0) >= MODES["minor"] else 4
    first = C_IN_CIRCLE + key_fifths(key) - flatward
    first = min(max(first, 0), len(CIRCLE) - 12)
    return CIRCLE[first + (7 * pitch_class + C_IN_CIRCLE - first) % 12]


def key_name(fifths: int, mode: str = "major") -> str:
    """Return a key's name from the sharps (+) or flats (-) of its signature, -7 to 7.

    `mode` is one of MusicXML's; ``"none"`` or a word that is no mode is read as major.
    """
    mode = mode if mode in MODES else "major"
    return f"{CIRCLE[C_IN_CIRCLE + fifths + MODES[mode]]} {mode}"


def is_key(name: str) -> bool:
    """Whether a name is that of a key: tonic and mode."""
    tonic, _, mode = name.partition(" ")
    return tonic in CIRCLE and mode in MODES


def key_fifths(key: str) -> int:
    """Return the signature of a key name as sharps (+) or flats (-); 0 if it names no key."""
    if not is_key(key):
        return 0
    tonic, _, mode = key.partition(" ")
    return CIRCLE.index(tonic) - C_IN_CIRCLE - MODES[mode]


def key_scale(key: str | None) -> frozenset[int]:
    """Return the pitch classes of a key's signature; none where there is no key."""
    if key is None:
        return frozenset()
    return frozenset(7 * (key_fifths(key) + fifths) % 12 for fifths in range(-1, 6))


def moved_key(key: str | None, semitones: int) -> str | None:
    """Return a key some semitones higher, in the signature with the fewest signs.

    Of six sharps and six flats it is the one whose tonic a band spells so (``PLAIN_NAMES``,
    common practice): F# major, but Eb minor.
    """
    if key is None or not semitones % 12:
        return key
    mode = key.partition(" ")[2]
    fifths = (key_fifths(key) + 7 * semitones + 5) % 12 - 5
    names = [key_name(each, mode) for each in ((fifths, -fifths) if fifths == 6 else (fifths,))]
    return next((name for name in names if name.split()[0] in PLAIN_NAMES), names[0])


def moved_name(name: str, fifths: int) -> str:
    """Return a note's name so many fifths up the circle: C# two fifths on is D#, not Eb.

    A name that would need two signs gives way to the plain one.
    """
    place = "FCGDAEB".index(name[0]) + 7 * _alteration(name[1:]) + fifths
    sharps, letter = divmod(place, 7)
    if abs(sharps) > 1:
        return PLAIN_NAMES[(parse_pitch_class(name) + 7 * fifths) % 12]
    return "FCGDAEB"[letter] + ("", "#", "b")[sharps]


def key_tonic(key: str) -> int:
    """Return the pitch class of a key's tonic: 2 for ``"D minor"``."""
    return parse_pitch_class(key.split()[0])


def interval_name(semitones: float) -> str:
    """Return the plain name of an interval; beyond a tenth, how many octaves lie on top."""
    size = abs(round(semitones))
    if size < len(INTERVAL_NAMES):
        return INTERVAL_NAMES[size]
    octaves, rest = divmod(size, 12)
    if rest == 0:
        return f"{octaves} octaves"
    plural = "s" if octaves > 1 else ""
    return f"{INTERVAL_NAMES[rest]} and {octaves} octave{plural}"


def an_interval(semitones: float) -> str:
    """Return an interval with its article: ``"an octave"``, ``"2 octaves and a fourth"``."""
    size = abs(round(semitones))
    if size < len(INTERVAL_NAMES):
        return an(INTERVAL_NAMES[size])
    octaves, rest = divmod(size, 12)
    whole = "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} and {an(interval_name(rest))}" if rest else whole
