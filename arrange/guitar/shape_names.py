"""A shape on a neck: which notes it sounds, and which chord a player would call it.

The other way round is ``find_voicings``. Every sounding note is tried as the root, with and
without the bass note as a member, and the readings are ranked by what they ask of the reader:
nothing for a triad or a seventh in root position, then more and more for

==========================================  ==========================
the root not in the bass                    ``NOT_ROOT_COST``
a bass that is no member                    ``FOREIGN_BASS_COST``
no third, and no second or fourth for it    ``NO_THIRD_COST``
no fifth of any kind (players leave it out) ``NO_FIFTH_COST``
the same in a sus or sixth chord            ``BARE_FIFTH_COST``
a plain member added                        ``ADDED_COST``
one with a sign, or to a dim or aug triad   ``SIGNED_COST``
a third or fifth altered                    ``ALTERED_COST``
a kind of chord that is less usual          ``KIND_COST``
==========================================  ==========================

The figures are ours; the order that they give is common practice for the usual shapes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from arrange.guitar.necks import Neck, Shape, check_shape, format_shape, parse_shape, shape_pitches
from arrange.theory.chord_members import (
    inversion,
    inversion_name,
    member_names,
    member_note,
    members_of,
    note_in_octave,
    say_members,
)
from arrange.theory.chords import Chord, chord_of_members, chord_symbol, moved_chord
from arrange.theory.pitch import (
    interval_name,
    moved_key,
    note_name,
    parse_pitch_class,
    pitch_class_name,
)

NOT_ROOT_COST = 2.0
FOREIGN_BASS_COST = 3.0
NO_THIRD_COST = 2.5
NO_FIFTH_COST = 1.0
BARE_FIFTH_COST = 2.0
ADDED_COST = 1.0
SIGNED_COST = 2.5
ALTERED_COST = 3.0
KIND_COST = {
    "major": 0.0, "minor": 0.0, "power": 0.0, "dominant": 0.25, "minor-seventh": 0.25,
    "major-seventh": 0.25, "dominant-ninth": 0.5, "major-ninth": 0.5, "minor-ninth": 0.5,
    "suspended-fourth": 0.75, "suspended-second": 1.0, "major-sixth": 1.25, "minor-sixth": 1.25,
    "half-diminished": 1.0, "diminished": 1.0, "diminished-seventh": 1.0, "augmented": 1.0,
    "major-minor": 1.0,
    "dominant-11th": 1.0, "dominant-13th": 1.0, "major-13th": 1.0, "minor-11th": 1.0,
}  # fmt: skip
_RARE_KIND_COST = 2.0


@dataclass(frozen=True)
class ChordReading:
    """A shape as one chord.

    Parameters
    ----------
    symbol : str
        As ``chord_symbols.parse_chord`` reads it.
    chord : Chord
    members : tuple of str
        What each sounding note is to the root, low to high.
    inversion : int or None
        0 for root position; None where the bass is none of root, third, fifth and seventh.
    left_out, doubled : tuple of str
        Members of the symbol that do not sound, and those that sound more than once.
    shape_of : str
        Under a capo: the symbol of the same shape without it.
    cost : float
        What the reading asks of the reader; the lowest is the best.
    """

    symbol: str
    chord: Chord
    members: tuple[str, ...]
    inversion: int | None
    left_out: tuple[str, ...]
    doubled: tuple[str, ...]
    shape_of: str
    cost: float

    def __str__(self) -> str:
        """The reading in words."""
        words = (
            [f"sounds {self.symbol}, shape of {self.shape_of}"] if self.shape_of else [self.symbol]
        )
        if self.members:
            names = list(members_of(self.chord).values())
            words.append(inversion_name(self.members[0], names))
        if self.left_out:
            words.append(f"no {say_members(self.left_out)}")
        if self.doubled:
            words.append(f"{say_members(self.doubled)} doubled")
        return ", ".join(words)


@dataclass(frozen=True)
class NamedShape:
    """What a shape sounds and what it is called.

    Parameters
    ----------
    shape : tuple of int
        Frets from the nut, string 1 first.
    text : str
        The same as text, low string first.
    pitches : tuple of int
        MIDI numbers, low to high.
    notes : tuple of str
        Their names, spelled as the best reading asks.
    name : str
        What a player would say: the best chord symbol; for fewer than three different notes
        other than a power chord the interval, the octaves or the single note.
    readings : tuple of ChordReading
        As chords, best first; none for a single note and its octaves.
    """

    shape: Shape
    text: str
    pitches: tuple[int, ...]
    notes: tuple[str, ...]
    name: str
    readings: tuple[ChordReading, ...]

    def __str__(self) -> str:
        """The shape in words."""
        best = str(self.readings[0]) if self.readings else ""
        name = best if best and self.name == self.readings[0].symbol else self.name
        return f"{self.text}: {' '.join(self.notes)}: {name}"


def name_shape(shape: str | Shape, neck: Neck | None = None, key: str | None = None) -> NamedShape:
    """Return the notes of a shape and its chord names, best first.

    The key spells each reading's root, the reading its other notes: a barre at the fourth fret is
    Ab with C and Eb, in E major G# with B# and D#.

    Parameters
    ----------
    shape : str or tuple of int
        ``"x32010"``, low string first; or frets from the nut, string 1 first. Frets count from
        the nut, capo or not; an open string may be written as 0 in the text.
    neck : Neck, optional
        A guitar in standard tuning if not given. With a capo the readings say both what
        sounds and which chord's shape it is.
    key : str, optional
        Such as ``"E major"``; without one roots are called as in ``pitch.PLAIN_NAMES``.

    Raises
    ------
    ArrangeError
        If the shape does not lie on the neck.

    Examples
    --------
    >>> import arrange as ar
    >>> print(ar.name_shape("x32010"))
    x32010: C3 E3 G3 C4 E4: C, root position, root and third doubled
    >>> print(ar.name_shape("x65343", ar.Neck(capo=3)))
    x65343: Eb3 G3 Bb3 Eb4 G4: sounds Eb, shape of C, root position, root and third doubled
    """
    neck = neck or Neck()
    frets = parse_shape(shape, neck) if isinstance(shape, str) else check_shape(shape, neck)
    pitches = tuple(sorted(shape_pitches(frets, neck)))
    readings = chord_readings(pitches, neck.capo, key)
    notes = tuple(note_name(pitch, key) for pitch in pitches)
    if readings:
        notes = tuple(_spelled(pitch, readings[0].chord) for pitch in pitches)
    name = _name(pitches, notes, readings)
    return NamedShape(frets, format_shape(frets), pitches, notes, name, readings)


def chord_readings(
    pitches: Iterable[int], capo: int = 0, key: str | None = None
) -> tuple[ChordReading, ...]:
    """Return the chords that sounding pitches can be read as, best first.

    One reading a chord symbol; none where there are fewer than two different notes.
    """
    pitches = sorted(pitches)
    sounding = {pitch % 12 for pitch in pitches}
    if len(sounding) < 2:
        return ()
    bass = pitches[0] % 12
    chords = [(_chord_on(root, sounding, bass, key), 0.0) for root in sounding]
    above = {pitch % 12 for pitch in pitches[1:]}
    if bass not in above and len(above) >= 3:
        extra = FOREIGN_BASS_COST - NOT_ROOT_COST
        chords += [(_chord_on(root, above, bass, key), extra) for root in above]
    readings: dict[str, ChordReading] = {}
    for chord, extra in chords:
        if chord.kind == "pedal":  # no third, fifth or seventh: an interval, not a chord
            continue
        if extra and any(degree.type == "subtract" for degree in chord.degrees):
            continue  # the bass may be what is missing above
        reading = _read(chord, pitches, capo, extra, key)
        known = readings.get(reading.symbol)
        if known is None or reading.cost < known.cost:
            readings[reading.symbol] = reading
    from_bass = {r.symbol: (parse_pitch_class(r.chord.root) - bass) % 12 for r in readings.values()}
    order = sorted(readings.values(), key=lambda r: (r.cost, from_bass[r.symbol], r.symbol))
    return tuple(order)


def _chord_on(root: int, sounding: set[int], bass: int, key: str | None) -> Chord:
    """The chord that notes make on a root; a fifth that does not sound is taken to be meant."""
    above = {(pitch_class - root) % 12 for pitch_class in sounding}
    members = {_member(each, above) for each in above}
    has_third = bool(above & {2, 3, 4, 5})
    has_seventh = bool(above & {10, 11})
    if not above & {6, 7, 8}:
        members.add(7)
    left_out = () if has_third or not has_seventh else (4,)
    chord = chord_of_members(pitch_class_name(root, key), sorted(members), left_out)
    if bass == root:
        return chord
    spelled = member_names(sorted({*members, _member((bass - root) % 12, above)}))
    name = spelled[(bass - root) % 12]
    return replace(chord, bass=member_note(chord.root, (bass - root) % 12, name))


def _member(semitones: int, above: set[int]) -> int:
    """A note above the root as the member that it is beside the others, ninths from 13."""
    third = bool(above & {3, 4})
    seventh = bool(above & {10, 11})
    is_upper = {
        1: True,
        2: third or 5 in above,
        3: 4 in above,
        5: third,
        6: 7 in above,
        8: 7 in above and seventh,
        9: seventh,
    }
    return semitones + 12 if is_upper.get(semitones) else semitones


def _read(
    chord: Chord, pitches: list[int], capo: int, extra: float, key: str | None
) -> ChordReading:
    root = parse_pitch_class(chord.root)
    names = members_of(chord)
    members = tuple(names[(pitch - root) % 12] for pitch in pitches)
    counts = Counter(members)
    left_out = [name for name in names.values() if name not in counts]
    symbol = chord_symbol(chord)
    return ChordReading(
        symbol,
        chord,
        members,
        inversion(members[0], names.values()),
        (*left_out, *(str(d.value) for d in chord.degrees if d.type == "subtract")),
        tuple(name for name in names.values() if counts[name] > 1),
        chord_symbol(moved_chord(chord, -capo, moved_key(key, -capo))) if capo else "",
        _cost(chord, left_out) + (0.0 if not chord.bass else NOT_ROOT_COST + extra),
    )


def _cost(chord: Chord, left_out: list[str]) -> float:
    leans_on_fifth = chord.kind.startswith("suspended") or chord.kind.endswith("sixth")
    no_fifth = BARE_FIFTH_COST if leans_on_fifth else NO_FIFTH_COST
    cost = KIND_COST.get(chord.kind, _RARE_KIND_COST) + no_fifth * len(left_out)
    for degree in chord.degrees:
        if degree.type == "subtract" or chord.kind == "power":
            cost += NO_THIRD_COST
        elif degree.type == "alter":
            cost += ALTERED_COST
        else:
            is_plain = not degree.alter and chord.kind not in ("augmented", "diminished")
            cost += ADDED_COST if is_plain else SIGNED_COST
    return cost


def _spelled(pitch: int, chord: Chord) -> str:
    """The note as the chord spells it, with its octave."""
    root = parse_pitch_class(chord.root)
    member = (pitch - root) % 12
    note = member_note(chord.root, member, members_of(chord)[member])
    return note_in_octave(note, pitch)


def _name(
    pitches: tuple[int, ...], notes: tuple[str, ...], readings: tuple[ChordReading, ...]
) -> str:
    different = len({pitch % 12 for pitch in pitches})
    if different == 0:
        return "no string sounds"
    if different == 1:
        letter = notes[0].rstrip("-0123456789")
        return letter if len(pitches) == 1 else f"{letter} in {_octaves_or_unison(pitches)}"
    if different == 2 and not (readings and readings[0].chord.kind == "power"):
        low, high = pitches[0], next(p for p in pitches if (p - pitches[0]) % 12)
        return f"{interval_name(high - low)} {notes[0]} {notes[pitches.index(high)]}"
    return readings[0].symbol if readings else " ".join(notes)


def _octaves_or_unison(pitches: tuple[int, ...]) -> str:
    return "octaves" if pitches[-1] > pitches[0] else "unison"
