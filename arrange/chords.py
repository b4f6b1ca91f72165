"""Chord symbols: root, kind, members, bass; their names in letters and in numbers of the key.

A chord's `kind` is one of MusicXML 4.0's 33 ``kind-value`` words. Members are pitch classes
(C is 0), root first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arrange.pitch import key_tonic

# kind: (semitones above the root, what players write behind the root's letter).
# MusicXML 4.0, simple type kind-value; ninths and beyond as 14, 17, 21. The functional sixths
# (Neapolitan to German) stand on the key's tonic as their root, so that Italian on C is
# Ab C F#; the Tristan chord is F B D# G#, an augmented fourth, sixth and ninth.
KINDS: dict[str, tuple[tuple[int, ...], str]] = {
    "major": ((0, 4, 7), ""),
    "minor": ((0, 3, 7), "m"),
    "augmented": ((0, 4, 8), "+"),
    "diminished": ((0, 3, 6), "dim"),
    "dominant": ((0, 4, 7, 10), "7"),
    "major-seventh": ((0, 4, 7, 11), "maj7"),
    "minor-seventh": ((0, 3, 7, 10), "m7"),
    "diminished-seventh": ((0, 3, 6, 9), "dim7"),
    "augmented-seventh": ((0, 4, 8, 10), "+7"),
    "half-diminished": ((0, 3, 6, 10), "m7b5"),
    "major-minor": ((0, 3, 7, 11), "m(maj7)"),
    "major-sixth": ((0, 4, 7, 9), "6"),
    "minor-sixth": ((0, 3, 7, 9), "m6"),
    "dominant-ninth": ((0, 4, 7, 10, 14), "9"),
    "major-ninth": ((0, 4, 7, 11, 14), "maj9"),
    "minor-ninth": ((0, 3, 7, 10, 14), "m9"),
    "dominant-11th": ((0, 4, 7, 10, 14, 17), "11"),
    "major-11th": ((0, 4, 7, 11, 14, 17), "maj11"),
    "minor-11th": ((0, 3, 7, 10, 14, 17), "m11"),
    "dominant-13th": ((0, 4, 7, 10, 14, 17, 21), "13"),
    "major-13th": ((0, 4, 7, 11, 14, 17, 21), "maj13"),
    "minor-13th": ((0, 3, 7, 10, 14, 17, 21), "m13"),
    "suspended-second": ((0, 2, 7), "sus2"),
    "suspended-fourth": ((0, 5, 7), "sus4"),
    "Neapolitan": ((1, 5, 8), " N6"),
    "Italian": ((0, 6, 8), " It+6"),
    "French": ((0, 2, 6, 8), " Fr+6"),
    "German": ((0, 3, 6, 8), " Ger+6"),
    "pedal": ((0,), " pedal"),
    "power": ((0, 7), "5"),
    "Tristan": ((0, 6, 10, 15), " Tristan"),
    "other": ((0,), ""),
    "none": ((), "N.C."),
}

# Semitones of the degrees of a dominant chord, which added degrees are altered from
# (MusicXML 4.0, element degree-alter).
DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 8: 12, 9: 14, 10: 16, 11: 17, 12: 19, 13: 21}

# The degree that a member is, by its semitones, 9 and beyond as 2, 4 and 6.
_DEGREE_OF = (1, 2, 2, 3, 3, 4, 5, 5, 5, 6, 7, 7)

_NUMBERS = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


@dataclass(frozen=True)
class Degree:
    """A chord degree added, altered or subtracted: ``Degree(9, -1, "add")`` is a flat nine."""

    value: int
    alter: int
    type: str


@dataclass(frozen=True)
class Chord:
    """A chord symbol.

    Parameters
    ----------
    root : str
        Root as spelled, such as ``"Bb"``; empty for no chord.
    kind : str
        A key of ``KINDS``.
    bass : str
        Bass as spelled where the symbol names one, else empty.
    degrees : tuple of Degree
    inversion : int
        Which member lies in the bass, 1 for the third; used where `bass` is empty.
    text : str
        The kind as the source writes it, where it says; else our own spelling is used.
    """

    root: str
    kind: str = "major"
    bass: str = ""
    degrees: tuple[Degree, ...] = ()
    inversion: int = 0
    text: str | None = None


def chord_intervals(kind: str, degrees: Sequence[Degree] = ()) -> list[int]:
    """Return the semitones of a chord's members above its root, root first.

    A degree to alter that the kind does not hold is added.
    """
    plain_members = KINDS[kind][0]
    members = list(plain_members)
    for degree in degrees:
        number = (degree.value - 1) % 7 + 1
        plain = DEGREES.get(degree.value, DEGREES[number])
        held = [m for m in plain_members if _degree_of(m, kind) == number and m in members]
        if degree.type != "add" and held:
            members.remove(held[0])
        if degree.type == "alter" and held:
            members.append(held[0] + degree.alter)
        elif degree.type != "subtract":
            members.append(plain + degree.alter)
    return sorted(set(members))


def _degree_of(member: int, kind: str) -> int:
    is_flat_seventh = kind == "diminished-seventh" and member == 9
    return 7 if is_flat_seventh else _DEGREE_OF[member % 12]


def chord_symbol(chord: Chord) -> str:
    """Return the symbol as players write it: ``"F#m7b5"``, ``"D/F#"``, ``"N.C."``."""
    if chord.kind == "none":
        return KINDS["none"][1]
    if chord.text is not None:
        suffix = chord.text
    else:
        suffix = KINDS[chord.kind][1] + "".join(_degree_text(d) for d in chord.degrees)
    return f"{chord.root}{suffix}{'/' + chord.bass if chord.bass else ''}"


def _degree_text(degree: Degree) -> str:
    sign = _SIGNS.get(degree.alter, "")
    if degree.type == "subtract":
        return f"no{degree.value}"
    if degree.type == "add" and not sign:
        return f"add{degree.value}"
    return f"({sign}{degree.value})"


def chord_number(root: int, kind_text: str, bass: int | None, key: str) -> str:
    """Return a chord as a number in the key: ``"6m"``, ``"5/7"``.

    Numbers count the major scale on the key's tonic, in minor keys too (common practice).

    Parameters
    ----------
    root, bass : int
        Pitch classes; a bass that is the root, or None, is not told.
    kind_text : str
        What stands behind the root's letter.
    key : str
        Such as ``"D major"``.
    """
    tonic = key_tonic(key)
    over = "" if bass is None or bass == root else "/" + _NUMBERS[(bass - tonic) % 12]
    return _NUMBERS[(root - tonic) % 12] + kind_text + over
