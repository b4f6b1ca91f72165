"""What the members of a chord are called: their numbers, their notes, which lies in the bass.

A member is named by its degree and how it differs from the major scale's: ``"b3"``, ``"5"``,
``"#11"``. The sign may be omitted: ``"3"`` is a chord's third, major or minor. A bass that is no
member of the chord is named by the degree that it would be.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache

from arrange.errors import ArrangeError
from arrange.text.words import listed
from arrange.theory.chords import Chord, chord_intervals, chord_symbol, normal_chord, note_above
from arrange.theory.pitch import parse_pitch_class, pitch_class_name

# Semitones above the root -> name of the member.
_NAMES = {
    0: "1", 1: "b2", 2: "2", 3: "b3", 4: "3", 5: "4", 6: "b5", 7: "5", 8: "#5", 9: "6", 10: "b7",
    11: "7", 13: "b9", 14: "9", 15: "#9", 16: "10", 17: "11", 18: "#11", 20: "b13", 21: "13",
    22: "#13",
}  # fmt: skip
# Beside a plain third or fifth: (member, plain member) -> name.
_BESIDE = {(3, 4): "#2", (6, 7): "#4", (8, 7): "b6"}

INVERSIONS = ("root position", "first inversion", "second inversion", "third inversion")
ORDINALS = {
    1: "root", 2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth", 7: "seventh",
    9: "ninth", 10: "tenth", 11: "eleventh", 13: "thirteenth",
}  # fmt: skip

_MEMBER = re.compile(r"([b#]*)(\d+)")


@lru_cache(maxsize=4096)
def members_of(chord: Chord) -> dict[int, str]:
    """Return a chord's members: semitones above the root, 0 to 11, -> name; root first.

    A bass that is no other member is one too.

    Raises
    ------
    ArrangeError
        If it is no chord, or one of which only the root is known.
    """
    chord = normal_chord(chord)
    if chord.kind == "none":
        raise ArrangeError("'N.C.' is no chord; write a chord such as 'C', 'F#m7' or 'D/F#'")
    if chord.kind == "other" and chord.text:
        raise ArrangeError(f"of {chord_symbol(chord)!r} only the root is known; write its members "
                           "as a chord symbol such as 'C7(b9)'")  # fmt: skip
    members = chord_intervals(chord.kind, chord.degrees)
    if chord.bass:
        members.append((parse_pitch_class(chord.bass) - parse_pitch_class(chord.root)) % 12)
    return member_names(members)


def member_names(members: Iterable[int]) -> dict[int, str]:
    """Return the names of members given in semitones; the keys are 0 to 11, in the given order."""
    members = list(members)
    is_diminished_seventh = {0, 3, 6, 9} <= set(members) and not {7, 10, 11} & set(members)
    names: dict[int, str] = {}
    for member in members:
        beside = (
            name for (own, plain), name in _BESIDE.items() if own == member and plain in members
        )
        name = next(beside, _NAMES.get(member) or _NAMES[member % 12])
        names.setdefault(member % 12, "bb7" if is_diminished_seventh and member == 9 else name)
    return names


@cache
def degree(name: str) -> int:
    """Return the number in a member's name: 9 for ``"b9"``."""
    return int(name.lstrip("b#"))


def member_note(root: str, member: int, name: str) -> str:
    """Return the note that a member is, spelled from the root: ``"Eb"`` for the b3 of C.

    A double sharp or flat gives way to the plain name, as players write it.
    """
    note = note_above(root, degree(name), member)
    return note if len(note) < 3 else pitch_class_name(parse_pitch_class(note))


def note_in_octave(note: str, pitch: int) -> str:
    """Return a note's name with the octave that a pitch gives it: ``"B#3"`` for 60."""
    natural = pitch - note.count("#") + note[1:].count("b")
    return f"{note}{natural // 12 - 1}"


def inversion(name: str, names: Iterable[str]) -> int | None:
    """Return which inversion a chord with these members is in with one in the bass, 0 for none.

    A second or fourth that stands for the third counts as it, a sixth as the seventh; with
    another member in the bass there is no number.
    """
    number, numbers = degree(name), {degree(other) for other in names}
    if number in (2, 4) and 3 not in numbers:
        number = 3
    if number == 6 and 7 not in numbers:
        number = 7
    return {1: 0, 3: 1, 5: 2, 7: 3}.get(number)


def inversion_name(name: str, names: Iterable[str]) -> str:
    """Return the words for the member in the bass: ``"first inversion"``, ``"9 in the bass"``."""
    number = inversion(name, names)
    return f"{name} in the bass" if number is None else INVERSIONS[number]


def say_members(names: Sequence[str]) -> str:
    """Return members in words: ``"root and third"``."""
    words = [ORDINALS.get(degree(name), name) for name in names]
    return listed(words)


def find_members(asked: str | Iterable[str], chord: Chord) -> list[int]:
    """Return which of the chord's members are meant, as semitones above the root.

    ``"b9"`` is that member, ``"9"`` every ninth whatever its sign; 2, 4 and 6 are 9, 11 and 13.

    Raises
    ------
    ArrangeError
        If a name is not that of a member, or the chord has no such member.
    """
    held = members_of(chord)
    found: list[int] = []
    for name in [asked] if isinstance(asked, str) else asked:
        match = _MEMBER.fullmatch(str(name))
        if not match or not 1 <= int(match[2]) <= 13:
            raise ArrangeError(
                f"no member is called {name!r}; write a degree such as '1', 'b3', '5': "
                f"{chord_symbol(chord)} has {', '.join(held.values())}"
            )
        fits = _fitting(held, match[1], int(match[2]))
        if not fits:
            raise ArrangeError(
                f"{chord_symbol(chord)} has no {name}; its members are {', '.join(held.values())}"
            )
        found += [member for member in fits if member not in found]
    return found


def _fitting(held: dict[int, str], sign: str, number: int) -> list[int]:
    """The members of that number, or else of the number an octave away; of that sign if any."""
    for same in (number, number + 7, number - 7):
        fits = [m for m, own in held.items() if degree(own) == same]
        if sign:
            fits = [m for m in fits if held[m].startswith(sign + str(same))]
        if fits:
            return fits
    return []
