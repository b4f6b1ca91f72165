"""Every voicing of a chord that a hand can hold on a neck, named, the best known first.

A voicing is a shape whose sounding notes are all members of the chord (or strings that are asked
to ring open). It is built from all frets within the hand's reach, so none is missing, and each is
tried by the hand (``hands.hold_shapes``), so none is in that cannot be played. The order is by
``order_mm``: what the grip costs the hand (``cost_mm``), and a little for each string left out,
for the way up the neck, and for an inversion that nobody asked for, so that the shapes that every
player knows stand on top. How it sounds among the others is not judged here.

Names are decided on the pitches that sound, low to high. **Close**: all within an octave, no
member twice. **Drop 2**, **drop 3**, **drop 2 & 4**: a close voicing comes back when the second,
the third, or the second and fourth voice from the top, now lying an octave lower, go back up; a
triad's drop 2 is called **spread**, as is what is wider. **Full**: some member sounds twice.
**Shell**: root in the bass, third and seventh (or sixth). **Power**: root and fifth. **Octaves**:
one member alone.

References
----------
R. Lowell and K. Pullig, Arranging for Large Jazz Ensemble, Berklee Press 2003, and T. Pease and
K. Pullig, Modern Jazz Voicings, Berklee Press 2001 (both from memory): drop voicings.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import pandas as pd

from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.voicing_search import VoicingQuery, search_shapes
from arrange.guitar.voicing_tables import voicing_table
from arrange.text.words import listed
from arrange.theory.chord_members import find_members, members_of
from arrange.theory.chord_symbols import parse_chord, settled_chord
from arrange.theory.chords import Chord, chord_key, chord_symbol
from arrange.theory.pitch import note_name, parse_pitch_class


@dataclass(frozen=True)
class Tones:
    """Which tones of a chord sound in a voicing, how many, and where in pitch.

    Members are named by degree: ``"b3"`` is that member, ``"3"`` the third whichever it is.

    Parameters
    ----------
    keep : str or iterable of str, optional
        The members that must sound; the others may. All but `leave_out` if not given.
    leave_out : str or iterable of str
        Members that must not sound.
    bass, top : str, optional
        The member that must lie there, by sounding pitch. With `bass` the bass of a slash chord
        does not count.
    drones : iterable of int
        Strings that must ring open, members of the chord or not.
    pitches : (float, float), optional
        Lowest and highest pitch that may sound, MIDI numbers.
    notes : int, optional
        How many strings sound; any number if not given.

    Examples
    --------
    >>> import arrange as ar
    >>> shell = ar.Tones(keep=("1", "3", "b7"), leave_out="5", bass="1", notes=3)
    >>> ar.find_voicings("C7", tones=shell)["shape"].head(3).tolist()
    ['x3x3x0', 'x323xx', 'xxx556']
    """

    keep: str | Iterable[str] | None = None
    leave_out: str | Iterable[str] = ()
    bass: str | None = None
    top: str | None = None
    drones: Iterable[int] = ()
    pitches: tuple[float, float] | None = None
    notes: int | None = None


_ALL_TONES = Tones()


def find_voicings(
    chord: str | Chord,
    neck: Neck | None = None,
    hand: Hand | None = None,
    *,
    strings: Iterable[int] | None = None,
    frets: tuple[int, int] | None = None,
    tones: Tones = _ALL_TONES,
) -> pd.DataFrame:
    """Return every voicing of a chord that the hand can hold, easy and usual ones first.

    Parameters
    ----------
    chord : str or Chord
        Such as ``"Cmaj7"``; a slash chord asks for its bass.
    neck, hand : optional
        A guitar in standard tuning and an ordinary hand if not given.
    strings : iterable of int, optional
        Those that may sound, 1 the highest; all if not given.
    frets : (int, int), optional
        Lowest and highest fret, from the nut. An open string has fret 0, or the capo's; to have
        open strings beside frets high up, ask for them as ``drones``.
    tones : Tones
        Which members sound, which lies in the bass and on top, how many notes; all members if
        not given.

    Returns
    -------
    DataFrame
        One row a voicing: `shape` (text, low string first), `frets` (tuple, string 1 first),
        `notes` and `members` (low to high), `name`, `inversion` (0 for root position, none where
        the bass is no root, third, fifth or seventh), `strings`, `fingering` (low string first),
        `position`, `span_mm`, `reach_mm`, `verdict`, `cost_mm` (the grip), `order_mm` (what
        the rows are ordered by; equal ones by position, then frets).

    Raises
    ------
    ChordError
        If `chord` is no chord.
    ArrangeError
        If what is asked for is impossible, or nothing is found; the message says what prevents
        it, and what there is without.

    Examples
    --------
    >>> import arrange as ar
    >>> found = ar.find_voicings("Cmaj7", strings=(4, 3, 2, 1))
    >>> found[["shape", "notes", "name"]].iloc[0].tolist()
    ['xx5500', 'G3 B3 C4 E4', 'close, second inversion']
    >>> ar.find_voicings("D", frets=(0, 3), tones=ar.Tones(top="3"))["shape"].iloc[0]
    'xx0232'
    """
    neck, hand = neck or Neck(), hand or Hand()
    return _found(_query(chord, neck, strings, frets, tones), neck, hand).copy()


# Live views and exercises ask for the same chords again and again.
@lru_cache(maxsize=64)
def _found(query: VoicingQuery, neck: Neck, hand: Hand) -> pd.DataFrame:
    shapes, grips = search_shapes(query, neck, hand)
    if not len(shapes):
        raise ArrangeError(_why_none(query, neck, hand))
    return voicing_table(shapes, grips, query, neck, hand)


def _query(
    chord: str | Chord,
    neck: Neck,
    strings: Iterable[int] | None = None,
    frets: tuple[int, int] | None = None,
    tones: Tones = _ALL_TONES,
) -> VoicingQuery:
    """What is asked for, checked."""
    chord = settled_chord(parse_chord(chord) if isinstance(chord, str) else chord)
    slash = None
    if tones.bass is not None:
        chord = replace(chord, bass="")
    elif chord.bass:
        slash = (parse_pitch_class(chord.bass) - parse_pitch_class(chord.root)) % 12
    members = members_of(chord)
    silent = set(find_members(tones.leave_out, chord))
    must = set(members) - silent if tones.keep is None else set(find_members(tones.keep, chord))
    low = None if tones.bass is None else set(find_members(tones.bass, chord))
    if slash is not None:
        low, must = {slash}, must | {slash}
    high = None if tones.top is None else set(find_members(tones.top, chord))
    _check_silent(chord, silent, {"keep": must, "bass": low, "top": high})
    usable = _usable_strings(strings, neck)
    ringing = _usable_strings(tones.drones, neck)
    for string in ringing:
        if string not in usable:
            raise ArrangeError(f"string {string} is a drone and not among strings={usable}; add it")
    query = VoicingQuery(
        chord,
        {member: name for member, name in members.items() if member not in silent},
        frozenset(must),
        usable,
        _fret_window(frets, neck),
        None if low is None else frozenset(low - silent),
        None if high is None else frozenset(high - silent),
        ringing,
        _pitch_window(tones.pitches),
        tones.notes,
    )
    _check_room(query)
    return query


def _check_silent(chord: Chord, silent: set[int], asked: dict[str, set[int] | None]) -> None:
    """Whether members that are left out are asked for too."""
    for field, wanted in asked.items():
        both = (wanted or set()) & silent
        if both and (field == "keep" or both == wanted):
            names = listed(members_of(chord)[member] for member in both)
            raise ArrangeError(
                f"the {names} of {chord_symbol(chord)} is left out and asked for ({field}); "
                "drop one of the two"
            )


def _usable_strings(strings: Iterable[int] | None, neck: Neck) -> tuple[int, ...]:
    if strings is None:
        return tuple(range(1, neck.strings + 1))
    found = tuple(sorted(set(strings)))
    for string in found:
        if string not in range(1, neck.strings + 1):
            raise ArrangeError(
                f"there is no string {string!r}; the neck has 1 (highest) to {neck.strings}"
            )
    return found


def _fret_window(frets: tuple[int, int] | None, neck: Neck) -> tuple[int, int]:
    if frets is None:
        return neck.capo, neck.frets
    low, high = frets
    if low > high or high < neck.capo or low > neck.frets:
        raise ArrangeError(
            f"no fret lies in frets=({low}, {high}); write lowest and highest, from the nut, "
            f"within {neck.capo} to {neck.frets}"
        )
    return max(low, neck.capo), min(high, neck.frets)


def _pitch_window(pitches: tuple[float, float] | None) -> tuple[float, float]:
    low, high = (0, 200) if pitches is None else pitches
    if low > high:
        raise ArrangeError(f"no pitch lies in pitches=({low}, {high}); write lowest, highest")
    return low, high


def _check_room(query: VoicingQuery) -> None:
    """Whether there are strings enough for the members that must sound."""
    symbol = chord_symbol(query.chord)
    must = [query.members[m] for m in query.members if m in query.must]
    room = len(query.strings) if query.notes is None else query.notes
    if query.notes is not None and not 1 <= query.notes <= len(query.strings):
        raise ArrangeError(
            f"notes={query.notes} on {len(query.strings)} strings; ask for 1 to "
            f"{len(query.strings)}"
        )
    if not must:
        raise ArrangeError(f"nothing of {symbol} is left to sound; leave out less")
    if len(must) <= room:
        return
    guides = [name for name in must if name in ("3", "b3", "b7", "7", "bb7")]
    essential = [*guides, must[-1], "1", *(name for name in must[::-1] if name != "5")]
    fewer = tuple(name for name in must if name in list(dict.fromkeys(essential))[:room])
    raise ArrangeError(
        f"{symbol} has {len(must)} members to sound ({', '.join(must)}) and there is room for "
        f"{room}; name those to keep, such as tones=Tones(keep={fewer!r})"
    )


def _why_none(query: VoicingQuery, neck: Neck, hand: Hand) -> str:
    """Say what prevents every voicing, and how many there are without it."""
    symbol = chord_symbol(query.chord)
    everything = tuple(range(1, neck.strings + 1))
    without = _limits_asked(query, neck)
    loose: dict[str, Any] = {
        "strings": everything, "frets": (neck.capo, neck.frets), "bass": None, "top": None,
        "drones": (), "pitches": (0, 200), "notes": None,
    }  # fmt: skip
    ways = []
    for limit, words in without.items():
        count = len(search_shapes(replace(query, **{limit: loose[limit]}), neck, hand)[0])
        if count:
            ways.append(f"without {words} there {_are(count)}")
    for member in query.must - (query.bass or frozenset()) - (query.top or frozenset()):
        count = len(search_shapes(replace(query, must=query.must - {member}), neck, hand)[0])
        if count and len(query.must) > 1:
            ways.append(f"where the {query.members[member]} need not sound there {_are(count)}")
    longer = round(1.25 * hand.refuse_mm)
    count = len(search_shapes(query, neck, replace(hand, refuse_mm=longer))[0])
    if count:
        ways.append(f"with a reach up to {longer} mm there {_are(count)}")
    if not hand.thumb:
        count = len(search_shapes(query, neck, replace(hand, thumb=True))[0])
        if count:
            ways.append(f"with the thumb over the neck there {_are(count)}")
    if not ways and without:
        count = len(search_shapes(replace(query, **{f: loose[f] for f in without}), neck, hand)[0])
        words = ", ".join(without.values())
        ways.append(f"without any of {words} there {_are(count)}, and none without one alone")
    asked = f" with {', '.join(without.values())}" if without else ""
    return (
        f"no voicing of {symbol}{asked}, a reach up to {hand.refuse_mm:g} mm and "
        f"{hand.fingers} fingers; {'; '.join(ways) or 'this neck and hand have none at all'}"
    )


def _limits_asked(query: VoicingQuery, neck: Neck) -> dict[str, str]:
    """What was asked beyond the chord: field -> as the caller wrote it."""
    names, key = query.members, chord_key(query.chord)
    limits = {}
    if len(query.strings) < neck.strings:
        limits["strings"] = f"strings={query.strings!r}"
    if query.frets != (neck.capo, neck.frets):
        limits["frets"] = f"frets={query.frets!r}"
    for limit, asked in (("bass", query.bass), ("top", query.top)):
        if asked is not None:
            limits[limit] = f"{limit}={'/'.join(names[m] for m in sorted(asked) if m in names)!r}"
    if query.drones:
        opened = [note_name(neck.tuning[s - 1] + neck.capo, key) for s in query.drones]
        limits["drones"] = f"drones={query.drones!r} ({', '.join(opened)})"
    if query.pitches != (0, 200):
        low, high = (note_name(pitch, key) for pitch in query.pitches)
        limits["pitches"] = f"pitches from {low} to {high}"
    if query.notes is not None:
        limits["notes"] = f"notes={query.notes}"
    return limits


def _are(count: int) -> str:
    return "is one" if count == 1 else f"are {count:,}"
