"""Chord symbols: root, kind, members, bass; their names in letters and in numbers of the key.

A chord's `kind` is one of MusicXML 4.0's 33 ``kind-value`` words. Members are semitones above
the root, ninths and beyond above the octave. The same chord can be written in several ways, a
C7(b9) as a seventh with a flat nine added or as a ninth with its nine altered:
``normal_chord`` picks one, and ``chord_symbol`` spells that one. ``chord_symbols.parse_chord``
reads it back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

from arrange.theory.pitch import STEPS, key_tonic, parse_pitch_class, pitch_class_name

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
    "Neapolitan": ((1, 5, 8), "(N6)"),
    "Italian": ((0, 6, 8), "(It+6)"),
    "French": ((0, 2, 6, 8), "(Fr+6)"),
    "German": ((0, 3, 6, 8), "(Ger+6)"),
    "pedal": ((0,), "(pedal)"),
    "power": ((0, 7), "5"),
    "Tristan": ((0, 6, 10, 15), "(Tristan)"),
    "other": ((0,), "?"),
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
    return _members(kind, degrees)[0]


def _members(kind: str, degrees: Iterable[Degree]) -> tuple[list[int], list[int]]:
    """The members of a chord, and those of its kind that were taken away."""
    plain_members = KINDS[kind][0]
    members, taken = list(plain_members), []
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
        elif held:
            taken.append(held[0])
    return sorted(set(members)), taken


def _degree_of(member: int, kind: str) -> int:
    is_flat_seventh = kind == "diminished-seventh" and member == 9
    return 7 if is_flat_seventh else _DEGREE_OF[member % 12]


# The degree that a kind's member is, 9 and beyond as such.
_COMPOUND = {14: 9, 15: 9, 17: 11, 21: 13}

# Kinds that a chord with degrees may have. The functional sixths and the Tristan chord are
# names for whole chords, and "other" is put together from its degrees alone (MusicXML 4.0,
# kind-value), so that with degrees they are what their members make them.
_PLAIN_KINDS = [
    kind
    for kind in KINDS
    if kind not in ("Neapolitan", "Italian", "French", "German", "Tristan", "other", "none")
]

# Member -> what it may be altered to: fifths both ways, ninths both ways, #11 and b13.
_ALTERED = {7: (6, 8), 14: (13, 15), 17: (18,), 21: (20,)}

# Member that is no member of the kind -> the degree that it is added as, as (value, alter).
_ADDED = {
    1: (2, -1), 2: (2, 0), 3: (3, -1), 4: (3, 0), 5: (4, 0), 6: (5, -1), 7: (5, 0), 8: (5, 1),
    9: (6, 0), 10: (7, 0), 11: (7, 1), 13: (9, -1), 14: (9, 0), 15: (9, 1), 16: (10, 0),
    17: (11, 0), 18: (11, 1), 20: (13, -1), 21: (13, 0), 22: (13, 1),
}  # fmt: skip
# The same beside the plain third or fifth: (member, plain member).
_ADDED_BESIDE = {(3, 4): (2, 1), (6, 7): (4, 1), (8, 7): (6, -1)}

_NEARER = {12: 0, 19: 7}  # octaves of the root and fifth add nothing

_HELD = {kind: frozenset(KINDS[kind][0]) for kind in _PLAIN_KINDS}
_CAN_BE_LOST = frozenset(_ALTERED)
_COST_ADDED = {
    member: 1.5 if member in (9, 10, 11) else 1.25 if alter == 0 else 1.0
    for member, (_, alter) in _ADDED.items()
}

# A member that was taken away is forgotten where one of these stands in for it.
_STANDS_IN = {
    **{third: {2, 3, 4, 5} for third in (2, 3, 4, 5)},
    **{fifth: {6, 7, 8} for fifth in (6, 7, 8)},
    **{seventh: {10, 11} for seventh in (10, 11)},
    14: {13, 15},
    17: {18},
    21: {20},
}


@lru_cache(maxsize=4096)
def normal_chord(chord: Chord) -> Chord:
    """Return the same chord with the kind and degrees that our spelling uses.

    Of all ways to write its members it is the one with the fewest and most usual degrees; what
    was left out stays left out by name (``no3``). An inversion becomes a bass.
    """
    if chord.kind == "none":
        return Chord("", "none")
    kind, degrees = normal_kind(chord.kind, chord.degrees)
    text = "".join(sign for sign in chord.text or "" if sign.isalnum() or sign in "#+-()")
    is_unknown = kind == "other" and text
    return Chord(
        chord.root,
        kind,
        _bass(chord, kind, degrees),
        degrees,
        text=text if is_unknown else None,
    )


def normal_kind(kind: str, degrees: tuple[Degree, ...]) -> tuple[str, tuple[Degree, ...]]:
    """Return kind and degrees of the same members in our spelling."""
    if not degrees:
        return kind, ()
    members, taken = _members(kind, degrees)
    return _spelled_by_members(tuple(members), tuple(taken))


def chord_of_members(root: str, members: Iterable[int], left_out: Iterable[int] = ()) -> Chord:
    """Return the chord on a root with these members, in our spelling.

    Parameters
    ----------
    root : str
        As spelled, such as ``"Bb"``.
    members : iterable of int
        Semitones above the root, ninths and beyond above the octave: 2 is a second, 14 a ninth.
    left_out : iterable of int
        Members that one would expect and that are missing by name: 4 makes it a ``C7no3``.
    """
    kind, degrees = _spelled_by_members(tuple(members), tuple(left_out))
    return Chord(root, kind, degrees=degrees)


@lru_cache(maxsize=4096)
def _spelled_by_members(
    members_held: tuple[int, ...], taken: tuple[int, ...]
) -> tuple[str, tuple[Degree, ...]]:
    members: dict[int, int] = {}  # pitch class above the root -> member
    for member in sorted(each % 12 if not 0 <= each <= 22 else each for each in members_held):
        members.setdefault(member % 12, _NEARER.get(member, member))
    present = set(members.values())
    missing = {
        each
        for each in taken
        if each % 12 not in members and not present & _STANDS_IN.get(each, set())
    }
    if 0 not in present:
        missing.add(0)
    while True:
        full = present | missing
        kind = min(_PLAIN_KINDS, key=partial(_cost, full=full))
        held = _HELD[kind]
        left_out = (missing & held) | ({7} & (held - full) if not full & {6, 8} else set())
        if left_out == missing:
            break
        missing = left_out
    altered = _alterations(kind, full)
    degrees = [Degree(_number(old, kind), new - old, "alter") for old, new in altered.items()]
    for new in sorted(full - held - set(altered.values())):
        beside = (
            _ADDED_BESIDE[pair] for pair in _ADDED_BESIDE if pair[0] == new and pair[1] in full
        )
        value, alter = next(beside, _ADDED[new])
        degrees.append(Degree(value, alter, "add"))
    degrees.sort(key=lambda degree: (degree.value, degree.alter))
    degrees += [Degree(_number(old, kind), 0, "subtract") for old in sorted(missing)]
    return kind, tuple(degrees)


def _alterations(kind: str, full: set[int]) -> dict[int, int]:
    """Members of the kind that are altered -> to what."""
    found = {}
    for member in _HELD[kind] - full:
        new = [each for each in _ALTERED.get(member, ()) if each in full]
        if new:
            found[member] = new[0]
    return found


def _cost(kind: str, full: set[int]) -> float:
    """How far a kind is from the members: an alteration counts 1, as does a fifth left out.

    What is added counts 1 where altered, a little more where plain, and more again if a sixth
    or seventh. No player hears an augmented seventh in a chord with an altered ninth as more
    than a dominant with one more alteration: it stands alone; m(maj7) with a flat five is
    called dim(maj7) (common practice).
    """
    held = _HELD[kind]
    lost = held - full
    if not lost <= _CAN_BE_LOST:
        return float("inf")
    altered = _alterations(kind, full)
    lost -= set(altered)
    added = full - held - set(altered.values())
    if lost - {7} or (kind == "augmented-seventh" and added):
        return float("inf")
    if kind == "major-minor" and altered:
        return float("inf")
    return len(altered) + len(lost) + sum(_COST_ADDED[each] for each in added)


def _bass(chord: Chord, kind: str, degrees: Sequence[Degree]) -> str:
    """The bass by name, empty where it is the root."""
    bass = chord.bass
    if not bass and chord.inversion > 0:
        members = chord_intervals(kind, degrees)
        if chord.inversion < len(members):
            member = members[chord.inversion]
            bass = note_above(chord.root, _number(member, kind), member)
    if bass and parse_pitch_class(bass) == parse_pitch_class(chord.root):
        return ""
    return bass


def _number(member: int, kind: str) -> int:
    """The degree that a member is, as in the kind where it is one of it."""
    if member in KINDS[kind][0]:
        return _COMPOUND.get(member) or _degree_of(member, kind)
    return _ADDED[member][0] if member in _ADDED else 1


def note_above(root: str, degree: int, semitones: int) -> str:
    """Return the name of the note that lies so far above a root, spelled as that degree of it.

    ``note_above("E", 3, 4)`` is ``"G#"``. A name of more than two accidentals gives way to
    that of the root's own key.
    """
    letter = "CDEFGAB"[("CDEFGAB".index(root[0]) + degree - 1) % 7]
    pitch_class = (parse_pitch_class(root) + semitones) % 12
    alter = (pitch_class - STEPS[letter] + 6) % 12 - 6
    return (
        letter + _SIGNS[alter]
        if alter in _SIGNS
        else pitch_class_name(pitch_class, f"{root} major")
    )


def chord_key(chord: Chord) -> str:
    """Return the key whose tonic a chord is, to spell beside it where no key is known."""
    return f"{chord.root} {'minor' if chord.kind.startswith('minor') else 'major'}"


def moved_chord(chord: Chord, semitones: int, key: str | None = None) -> Chord:
    """Return a chord some semitones higher, spelled as a key asks where it has moved to.

    Without a key the root has its plain name, and the bass is spelled as from that root.
    """
    if not chord.root or not semitones % 12:
        return chord
    root = pitch_class_name(parse_pitch_class(chord.root) + semitones, key)
    key = key or chord_key(replace(chord, root=root))
    bass = chord.bass and pitch_class_name(parse_pitch_class(chord.bass) + semitones, key)
    return replace(chord, root=root, bass=bass)


# What players write for a kind with the first of these degrees (common practice).
_SEVENTH, _MAJOR_SEVENTH, _SIXTH, _NINTH, _THIRTEENTH = (
    Degree(7, 0, "add"),
    Degree(7, 1, "add"),
    Degree(6, 0, "add"),
    Degree(9, 0, "add"),
    Degree(13, 0, "add"),
)
# An altered dominant: no fifth, but flat and sharp nine, sharp eleven and flat thirteen.
ALTERED_DEGREES = (
    Degree(9, -1, "add"),
    Degree(9, 1, "add"),
    Degree(11, 1, "add"),
    Degree(13, -1, "add"),
    Degree(5, 0, "subtract"),
)
_HEADS: dict[str, list[tuple[tuple[Degree, ...], str]]] = {
    "dominant": [(ALTERED_DEGREES, "7alt")],
    "major-sixth": [((_NINTH,), "6/9")],
    "minor-sixth": [((_NINTH,), "m6/9")],
    "major-minor": [
        ((_NINTH, Degree(11, 0, "add"), _THIRTEENTH), "m(maj13)"),
        ((_NINTH, Degree(11, 0, "add")), "m(maj11)"),
        ((_NINTH,), "m(maj9)"),
    ],
    "suspended-fourth": [
        ((_SEVENTH, _NINTH, _THIRTEENTH), "13sus4"),
        ((_MAJOR_SEVENTH, _NINTH, _THIRTEENTH), "maj13sus4"),
        ((_SEVENTH, _NINTH), "9sus4"),
        ((_MAJOR_SEVENTH, _NINTH), "maj9sus4"),
        ((_SIXTH, _NINTH), "6/9sus4"),
        ((_SEVENTH,), "7sus4"),
        ((_MAJOR_SEVENTH,), "maj7sus4"),
        ((_SIXTH,), "6sus4"),
    ],
    "suspended-second": [
        ((_SEVENTH,), "7sus2"),
        ((_MAJOR_SEVENTH,), "maj7sus2"),
        ((_SIXTH,), "6sus2"),
    ],
}


def chord_symbol(chord: Chord) -> str:
    """Return the symbol as players write it: ``"F#m7b5"``, ``"D/F#"``, ``"N.C."``."""
    if chord.kind == "none":
        return KINDS["none"][1]
    bass = normal_chord(chord).bass
    return f"{chord.root}{chord_suffix(chord)}{'/' + bass if bass else ''}"


def chord_suffix(chord: Chord) -> str:
    """Return what stands between root and bass in the chord's symbol: ``"m7b5"``."""
    if chord.text is not None and chord.kind != "other":
        return chord.text
    chord = normal_chord(chord)
    head, rest = KINDS[chord.kind][1], list(chord.degrees)
    held = {_number(member, chord.kind) for member in KINDS[chord.kind][0]}
    for first, text in _HEADS.get(chord.kind, ()):
        if set(first) <= set(rest):
            head, rest = text, [degree for degree in rest if degree not in first]
            held |= {degree.value for degree in first}
            break
    head += chord.text or ""
    bracketed = [_altered_text(degree, held) for degree in rest if _is_altered(degree)]
    return (
        head
        + (f"({','.join(bracketed)})" if bracketed else "")
        + "".join(f"add{d.value}" for d in rest if d.type == "add" and not d.alter)
        + "".join(f"no{d.value}" for d in rest if d.type == "subtract")
    )


def _is_altered(degree: Degree) -> bool:
    return degree.alter != 0 and degree.type != "subtract"


def _altered_text(degree: Degree, held: set[int]) -> str:
    """A degree within brackets; one added beside its own like says so."""
    if degree.value == 7:
        return "maj7"
    text = _SIGNS[degree.alter] + str(degree.value)
    return "add" + text if degree.type == "add" and degree.value in held else text


def chord_number(root: int, kind_text: str, bass: int | None, key: str) -> str:
    """Return a chord as a number in the key: ``"6m"``, ``"5/7"``.

    Numbers count the major scale on the key's tonic, in minor keys too (common practice).
    ``chord_symbols.parse_number_chord`` reads them back.

    Parameters
    ----------
    root, bass : int
        Pitch classes; a bass that is the root, or None, is left out.
    kind_text : str
        What stands behind the root's letter.
    key : str
        Such as ``"D major"``.
    """
    tonic = key_tonic(key)
    over = "" if bass is None or bass == root else "/" + _NUMBERS[(bass - tonic) % 12]
    return _NUMBERS[(root - tonic) % 12] + kind_text + over
