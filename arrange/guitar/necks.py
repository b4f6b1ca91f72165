"""Where a pitch lies: tunings, capo, frets in millimetres, places and shapes on a neck.

Conventions: strings are numbered from 1, the highest sounding; frets are counted from the nut,
capo or not, so that pitch = open string + fret. Under a capo at fret c the open string has fret
c. A shape is a fret for each string, string 1 first, ``LEFT_OUT`` for a string that is not
played; as text it is written low string first, as players do: ``"x32010"``.

References
----------
N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments, Springer 1998, chapter 9
(from memory): each fret leaves 2^(-1/12) of the string.
MusicXML 4.0, types ``string-number`` and ``staff-tuning``: string 1 is the highest.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from arrange.errors import ArrangeError
from arrange.song_size import MOST_FRETS, MOST_STRINGS
from arrange.theory.pitch import note_name, parse_note
from arrange.theory.spelling import nearest_spelling

Array = np.ndarray[Any, Any]
Shape = tuple[int, ...]  # a fret for each string, string 1 first

LEFT_OUT = -1

# Open strings, low string first, as players name them (common practice).
TUNINGS = {
    "standard": "E2 A2 D3 G3 B3 E4",
    "drop D": "D2 A2 D3 G3 B3 E4",
    "double drop D": "D2 A2 D3 G3 B3 D4",
    "drop C": "C2 G2 C3 F3 A3 D4",
    "half step down": "Eb2 Ab2 Db3 Gb3 Bb3 Eb4",
    "whole step down": "D2 G2 C3 F3 A3 D4",
    "open D": "D2 A2 D3 F#3 A3 D4",
    "open E": "E2 B2 E3 G#3 B3 E4",
    "open G": "D2 G2 D3 G3 B3 D4",
    "open A": "E2 A2 E3 A3 C#4 E4",
    "open C": "C2 G2 C3 G3 C4 E4",
    "all fourths": "E2 A2 D3 G3 C4 F4",
    "modal D": "D2 A2 D3 G3 A3 D4",
    "baritone": "B1 E2 A2 D3 F#3 B3",
    "seven-string": "B1 E2 A2 D3 G3 B3 E4",
    "banjo": "G4 D3 G3 B3 D4",
    "bass": "E1 A1 D2 G2",
    "five-string bass": "B0 E1 A1 D2 G2",
}
_NOTES = {name.lower(): notes for name, notes in TUNINGS.items()}

# What a family of instruments has where nothing else is given (common practice).
STANDARD_TUNINGS = {
    "guitar": (64, 59, 55, 50, 45, 40),  # E4 B3 G3 D3 A2 E2
    "bass": (43, 38, 33, 28),  # G2 D2 A1 E1
}
STANDARD_FRETS = {"guitar": 22, "bass": 20}  # a neck may have more

# Usual scale lengths (common practice); what is printed of a neck is often rounded, so measure.
SCALES_MM = {
    "short electric": 628.65,  # 24.75 in
    "long electric": 647.7,  # 25.5 in
    "classical": 650.0,
    "baritone": 685.8,  # 27 in
    "bass": 863.6,  # 34 in
}

_OCTAVE = 12


def fret_mm(fret: Any, scale_mm: float) -> Any:
    """Return how far a fret lies from the nut, in mm (a number or an array)."""
    distance = scale_mm * (1 - 2.0 ** (-np.asarray(fret) / 12))
    return float(distance) if np.ndim(fret) == 0 else distance


def parse_tuning(text: str) -> tuple[int, ...]:
    """Return open strings, highest first, from a usual name or notes with the low string first.

    Raises
    ------
    ArrangeError
        If `text` is no known name and not made of notes such as ``"D2 A2 D3 G3 A3 D4"``.
    """
    names = tuning_notes(text)
    if not names:
        raise ArrangeError("a tuning without strings; write its notes, low string first")
    try:
        return tuple(parse_note(name) for name in reversed(names))
    except ArrangeError:
        near = nearest_spelling(text.strip(), tuple(TUNINGS))
        meant = f", did you mean {near!r}?" if near else ";"
        raise ArrangeError(
            f"no tuning is called {text!r}{meant} write its notes, low string first, "
            f"'E2 A2 D3 G3 B3 E4', or one of {', '.join(TUNINGS)}"
        ) from None


def tuning_notes(text: str) -> list[str]:
    """Return the notes of a tuning of a usual name, low string first, or else the words given."""
    return _NOTES.get(text.strip().lower(), text).split()


def capo_words(capo: int) -> str:
    """Return a capo as players say it: ``"capo 2"``, ``"no capo"``."""
    return f"capo {capo}" if capo else "no capo"


def nearest_capo(capos: Iterable[int], own: Collection[int]) -> int:
    """Return the one of some capos that is the fewest frets from one of a player's; the lower."""
    return min(capos, key=lambda capo: (min(abs(capo - each) for each in own), capo))


def tuning_name(tuning: Sequence[int]) -> str:
    """Return what players call open strings, highest first: ``"drop D"``; or else their notes."""
    for name, notes in TUNINGS.items():
        if parse_tuning(notes) == tuple(tuning):
            return name
    return " ".join(note_name(pitch) for pitch in reversed(tuple(tuning)))


@dataclass(frozen=True)
class Neck:
    """A fretted neck.

    Parameters
    ----------
    tuning : tuple of int, or str
        Open strings without a capo, MIDI numbers, highest first; or what ``parse_tuning`` reads.
    frets : int
        How many it has.
    capo : int
        Fret of the capo, 0 for none.
    scale_mm : float
        Length of the string from nut to bridge, mm.
    nut_spacing_mm, bridge_spacing_mm : float
        From string to string there; about 7 and 10.5 mm on a guitar (from memory).

    Raises
    ------
    ArrangeError
        If it could not be strung, or the capo lies beyond it.

    Examples
    --------
    >>> import arrange as ar
    >>> neck = ar.Neck("drop D", capo=2)
    >>> neck.strings, neck.lowest, neck.highest
    (6, 40, 86)
    >>> ar.Neck().places(64)  # each string and fret of E4
    [(1, 0), (2, 5), (3, 9), (4, 14), (5, 19)]
    """

    tuning: tuple[int, ...] = (64, 59, 55, 50, 45, 40)
    frets: int = 22
    capo: int = 0
    scale_mm: float = SCALES_MM["long electric"]
    nut_spacing_mm: float = 7.0
    bridge_spacing_mm: float = 10.5

    def __post_init__(self) -> None:
        tuning: Any = self.tuning
        if isinstance(tuning, str):
            tuning = parse_tuning(tuning)
        object.__setattr__(self, "tuning", tuple(tuning))
        _check_tuning(self.tuning)
        if not 1 <= self.frets <= MOST_FRETS:
            raise ArrangeError(f"a neck of {self.frets} frets; it has 1 to {MOST_FRETS}")
        if not 0 <= self.capo < self.frets:
            raise ArrangeError(
                f"a capo at fret {self.capo} of a neck with {self.frets}; "
                f"it lies at 1 to {self.frets - 1}, or 0 for none"
            )
        for name in ("scale_mm", "nut_spacing_mm", "bridge_spacing_mm"):
            if not 0 < getattr(self, name) < 10_000:
                raise ArrangeError(f"{name} is {getattr(self, name)}; it is a length in mm")

    @property
    def strings(self) -> int:
        """How many strings there are."""
        return len(self.tuning)

    @cached_property
    def mm(self) -> Array:
        """Distance of each fret from the nut, mm; fret 0 is the nut."""
        distances: Array = fret_mm(np.arange(self.frets + 1), self.scale_mm)
        return distances

    @cached_property
    def spacing_mm(self) -> Array:
        """Distance from string to string at each fret, mm."""
        widening = self.bridge_spacing_mm - self.nut_spacing_mm
        spacing: Array = self.nut_spacing_mm + widening * self.mm / self.scale_mm
        return spacing

    @property
    def short_string(self) -> int:
        """Number of a short drone string, which only sounds open, as on a banjo; 0 for none."""
        return len(self.tuning) if _has_drone(self.tuning) else 0

    def last_fret(self, string: int) -> int:
        """Return the highest fret at which a string sounds."""
        return self.capo if string == self.short_string else self.frets

    @property
    def lowest(self) -> int:
        """The lowest pitch there is, MIDI number."""
        return min(self.tuning) + self.capo

    @property
    def highest(self) -> int:
        """The highest pitch there is, MIDI number."""
        return max(o + self.last_fret(string) for string, o in enumerate(self.tuning, 1))

    @property
    def lost(self) -> tuple[int, ...]:
        """The pitches that the capo takes away, MIDI numbers."""
        long_strings = [o for o in self.tuning if not self.short_string or o != self.tuning[-1]]
        without = {o + fret for o in long_strings for fret in range(self.frets + 1)}
        left = {o + fret for o in long_strings for fret in range(self.capo, self.frets + 1)}
        return tuple(sorted(without - left))

    def places(self, pitch: float | str) -> list[tuple[int, int]]:
        """Return every (string, fret) at which a pitch lies, or a note such as E4; string 1 first.

        Raises
        ------
        ArrangeError
            If a note cannot be read.
        """
        pitch = parse_note(pitch) if isinstance(pitch, str) else pitch
        found = ((string, pitch - opened) for string, opened in enumerate(self.tuning, 1))
        return [
            (string, int(fret))
            for string, fret in found
            if self.capo <= fret <= self.last_fret(string) and fret == int(fret)
        ]

    def why_no_place(self, pitch: float | str, key: str | None = None) -> str:
        """Say why a pitch lies nowhere on the neck, and what would; empty if it lies somewhere.

        A key spells the pitch.
        """
        pitch = parse_note(pitch) if isinstance(pitch, str) else pitch
        if self.places(pitch):
            return ""
        name = note_name(pitch, key)
        if pitch != int(pitch):
            return f"{name} lies between two frets; bend to it, or write the fret's own note"
        capo = f" with the capo at {self.capo}" if self.capo else ""
        if pitch < self.lowest:
            octaves = -(-(self.lowest - pitch) // _OCTAVE)
            up = note_name(pitch + _OCTAVE * octaves, key)
            return (
                f"{name} lies below the lowest open string, {note_name(self.lowest)}{capo}; "
                f"{_octaves(octaves)} up, {up}, can be played"
            )
        if pitch > self.highest:
            octaves = -(-(pitch - self.highest) // _OCTAVE)
            down = note_name(pitch - _OCTAVE * octaves, key)
            return (
                f"{name} lies above fret {self.frets} of string 1, {note_name(self.highest)}; "
                f"{_octaves(octaves)} down, {down}, can be played"
            )
        return f"{name} lies on none of the strings{capo}"


def _octaves(count: float) -> str:
    return "an octave" if count == 1 else f"{int(count)} octaves"


def _has_drone(tuning: Sequence[int]) -> bool:
    """Whether the fifth of five strings is a short one, tuned above the first (common practice)."""
    return len(tuning) == 5 and tuning[4] - tuning[3] >= _OCTAVE and tuning[4] > tuning[0]


def _check_tuning(tuning: Sequence[int]) -> None:
    if not 1 <= len(tuning) <= MOST_STRINGS:
        raise ArrangeError(
            f"a tuning of {len(tuning)} strings; a neck has 1 to {MOST_STRINGS}, "
            "given as MIDI numbers, highest string first"
        )
    for number, pitch in enumerate(tuning, 1):
        if pitch != int(pitch) or not 0 <= pitch <= 127:
            raise ArrangeError(
                f"string {number} is tuned to {pitch}; write a MIDI number, 0 to 127"
            )
    for number, (upper, lower) in enumerate(pairwise(tuning), 1):
        is_drone = number == len(tuning) - 1 and _has_drone(tuning)
        if abs(upper - lower) >= _OCTAVE and not is_drone:
            raise ArrangeError(
                f"strings {number} and {number + 1} are tuned to {note_name(upper)} and "
                f"{note_name(lower)}, {abs(upper - lower)} semitones apart; neighbours lie less "
                "than an octave apart: mend the octave number"
            )


def parse_shape(text: str, neck: Neck) -> Shape:
    """Return the frets of a shape, string 1 first, from text with the low string first.

    ``"x32010"``, or with a separator once a fret has two digits: ``"x-10-12-12-12-x"``. Frets
    count from the nut; under a capo an open string may be written as ``0`` too.

    Raises
    ------
    ArrangeError
        If there is not one sign for each string, or a fret is not on the neck.
    """
    signs = re.split(r"[-\s]+", text.strip()) if re.search(r"[-\s]", text.strip()) else list(text)
    if len(signs) != neck.strings:
        raise ArrangeError(
            f"the shape {text!r} has {len(signs)} strings and the neck has {neck.strings}; write a "
            "fret or x for each, low string first, with '-' between once a fret has two digits"
        )
    frets = []
    for string, sign in zip(range(neck.strings, 0, -1), signs, strict=True):
        if sign.lower() == "x":
            frets.append(LEFT_OUT)
        elif not sign.isdecimal():
            raise ArrangeError(f"the shape {text!r} has {sign!r} on string {string}; "
                               "write a fret, or x for a string left out")  # fmt: skip
        else:
            frets.append(int(sign) or neck.capo)
    return check_shape(frets[::-1], neck)


def check_shape(frets: Sequence[int], neck: Neck) -> Shape:
    """Return the shape as a tuple if each fret lies on the neck, capo or above.

    Raises
    ------
    ArrangeError
        If a fret lies under the capo or past the neck, or a string is missing.
    """
    if len(frets) != neck.strings:
        raise ArrangeError(f"a shape of {len(frets)} strings; the neck has {neck.strings}")
    for string, fret in enumerate(frets, 1):
        if fret != LEFT_OUT and not neck.capo <= fret <= neck.frets:
            raise ArrangeError(
                f"fret {fret} on string {string}; with a capo at {neck.capo} the neck has frets "
                f"{neck.capo} to {neck.frets} (from the nut)"
            )
        if fret > neck.last_fret(string):
            raise ArrangeError(
                f"fret {fret} on string {string}, a short drone string: it sounds open or not"
            )
    return tuple(int(fret) for fret in frets)


def format_shape(shape: Sequence[int], less: int = 0) -> str:
    """Return a shape as text, low string first; `less` frets are taken off, for a capo."""
    signs = ["x" if fret == LEFT_OUT else str(fret - less) for fret in reversed(shape)]
    return ("-" if any(len(sign) > 1 for sign in signs) else "").join(signs)


def shape_pitches(shape: Sequence[int], neck: Neck) -> list[int]:
    """Return what a shape sounds, MIDI numbers, in the order of its strings from 1."""
    return [
        opened + fret for opened, fret in zip(neck.tuning, shape, strict=True) if fret != LEFT_OUT
    ]
