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
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.chord_members import find_members, members_of
from arrange.chord_symbols import parse_chord, settled_chord
from arrange.chords import Chord, chord_symbol
from arrange.errors import ArrangeError
from arrange.hands import THUMB_MM, Grips, Hand, hold_shapes
from arrange.necks import LEFT_OUT, Array, Neck
from arrange.pitch import note_name, parse_pitch_class
from arrange.voicing_tables import voicing_table


@dataclass(frozen=True)
class Wanted:
    """What is asked of a voicing; members as semitones above the root.

    Parameters
    ----------
    chord : Chord
    members : dict of int to str
        All that may sound.
    must : frozenset of int
        Those that must.
    strings : tuple of int
        Numbers of those that may sound.
    frets : tuple of int
        Lowest and highest, from the nut; an open string counts as the nut's or the capo's.
    bass, top : frozenset of int or None
        What may lie there.
    drones : tuple of int
        Strings that must sound open, whatever they sound.
    pitches : tuple of float
        Lowest and highest, MIDI numbers.
    notes : int or None
        How many strings sound.
    """

    chord: Chord
    members: dict[int, str] = field(hash=False)
    must: frozenset[int]
    strings: tuple[int, ...]
    frets: tuple[int, int]
    bass: frozenset[int] | None
    top: frozenset[int] | None
    drones: tuple[int, ...]
    pitches: tuple[float, float]
    notes: int | None


def find_voicings(
    chord: str | Chord,
    neck: Neck | None = None,
    hand: Hand | None = None,
    *,
    strings: Iterable[int] | None = None,
    frets: tuple[int, int] | None = None,
    keep: str | Iterable[str] | None = None,
    leave_out: str | Iterable[str] = (),
    bass: str | None = None,
    top: str | None = None,
    drones: Iterable[int] = (),
    pitches: tuple[float, float] | None = None,
    notes: int | None = None,
) -> pd.DataFrame:
    """Return every voicing of a chord that the hand can hold, easy and usual ones first.

    Members are named by degree: ``"b3"`` is that member, ``"3"`` the third whichever it is.

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
        open strings beside frets high up, ask for them as `drones`.
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
        If what is asked cannot be, or nothing is found; the message tells what stands against it
        and what there would be without.
    """
    neck, hand = neck or Neck(), hand or Hand()
    wanted = _wanted(
        chord, neck, strings, frets, keep, leave_out, bass, top, drones, pitches, notes
    )
    return _found(wanted, neck, hand).copy()


# Live views and exercises ask for the same chords again and again.
@lru_cache(maxsize=64)
def _found(wanted: Wanted, neck: Neck, hand: Hand) -> pd.DataFrame:
    shapes, grips = _search(wanted, neck, hand)
    if not len(shapes):
        raise ArrangeError(_why_none(wanted, neck, hand))
    asked_bass = wanted.bass is not None
    return voicing_table(
        shapes, grips, wanted.chord, wanted.members, wanted.drones, asked_bass, neck, hand
    )


def _wanted(
    chord: str | Chord,
    neck: Neck,
    strings: Iterable[int] | None,
    frets: tuple[int, int] | None,
    keep: str | Iterable[str] | None,
    leave_out: str | Iterable[str],
    bass: str | None,
    top: str | None,
    drones: Iterable[int],
    pitches: tuple[float, float] | None,
    notes: int | None,
) -> Wanted:
    """What is asked, checked."""
    chord = settled_chord(parse_chord(chord) if isinstance(chord, str) else chord)
    slash = None
    if bass is not None:
        chord = replace(chord, bass="")
    elif chord.bass:
        slash = (parse_pitch_class(chord.bass) - parse_pitch_class(chord.root)) % 12
    symbol, members = chord_symbol(chord), members_of(chord)
    silent = set(find_members(leave_out, chord))
    kept = members if keep is None else find_members(keep, chord)
    must = set(kept) - silent if keep is None else set(kept)
    low = None if bass is None else set(find_members(bass, chord))
    if slash is not None:
        low, must = {slash}, must | {slash}
    high = None if top is None else set(find_members(top, chord))
    for told, asked in (("keep", must), ("bass", low), ("top", high)):
        both = (asked or set()) & silent
        if both and (told == "keep" or both == asked):
            names = " and ".join(members[member] for member in both)
            raise ArrangeError(
                f"the {names} of {symbol} is left out and asked for ({told}); drop one of the two"
            )
    usable = _usable_strings(strings, neck)
    ringing = _usable_strings(drones, neck)
    for string in ringing:
        if string not in usable:
            raise ArrangeError(f"string {string} is a drone and not among strings={usable}; add it")
    wanted = Wanted(
        chord,
        {member: name for member, name in members.items() if member not in silent},
        frozenset(must),
        usable,
        _fret_window(frets, neck),
        None if low is None else frozenset(low - silent),
        None if high is None else frozenset(high - silent),
        ringing,
        _pitch_window(pitches),
        notes,
    )
    _check_room(wanted, symbol)
    return wanted


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


def _check_room(wanted: Wanted, symbol: str) -> None:
    """Whether there are strings enough for the members that must sound."""
    must = [wanted.members[m] for m in wanted.members if m in wanted.must]
    room = len(wanted.strings) if wanted.notes is None else wanted.notes
    if wanted.notes is not None and not 1 <= wanted.notes <= len(wanted.strings):
        raise ArrangeError(
            f"notes={wanted.notes} on {len(wanted.strings)} strings; ask for 1 to "
            f"{len(wanted.strings)}"
        )
    if not must:
        raise ArrangeError(f"nothing of {symbol} is left to sound; leave out less")
    if len(must) <= room:
        return
    guides = [name for name in must if name in ("3", "b3", "b7", "7", "bb7")]
    telling = [*guides, must[-1], "1", *(name for name in must[::-1] if name != "5")]
    fewer = tuple(name for name in must if name in list(dict.fromkeys(telling))[:room])
    raise ArrangeError(
        f"{symbol} has {len(must)} members to sound ({', '.join(must)}) and there is room for "
        f"{room}; name those to keep, such as keep={fewer!r}"
    )


def _search(wanted: Wanted, neck: Neck, hand: Hand) -> tuple[Array, Grips]:
    """The shapes, shapes x strings, and how they are held."""
    shapes = _candidates(wanted, neck, hand)
    grips = hold_shapes(shapes, neck, hand)
    rows = np.flatnonzero(grips.playable)
    return shapes[rows], grips.take(rows)


def _candidates(wanted: Wanted, neck: Neck, hand: Hand) -> Array:
    """Shapes that sound as wanted, with no more frets to hold than there are fingers.

    String by string, for every fret that may be the lowest one held, all at once. The frets are
    picked up at the end, from the last string back.
    """
    root = parse_pitch_class(wanted.chord.root)
    lows = np.arange(neck.capo, neck.frets + 1)  # at the capo: nothing is held
    nothing = np.zeros(len(lows), dtype=np.int16)
    begun = _Begun(nothing, nothing.astype(np.int64), nothing, np.arange(len(lows)))
    ways = [_ways_on(string, wanted, neck, hand, root) for string in range(neck.strings)]
    steps = []
    for string, way in enumerate(ways):
        later = [other.holds_low for other in ways[string + 1 :]]
        can_hold_low = np.any([lows == neck.capo, *later], axis=0)
        begun, before, fret = _with_string(begun, way, string, can_hold_low, wanted, hand)
        steps.append((before, fret))
    shapes = np.empty((neck.strings, len(begun.low)), dtype=np.int8)
    row = np.arange(len(begun.low))
    for string in range(neck.strings - 1, -1, -1):
        before, fret = steps[string]
        shapes[string], row = fret[row], before[row]
    shapes = np.ascontiguousarray(shapes[:, _outer_voices_fit(shapes, wanted, neck, root)].T)
    return np.unique(shapes, axis=0) if hand.thumb else shapes


class _Begun(NamedTuple):
    """Shapes begun, a value a shape: members that sound and frets that are held as bits (from
    the lowest one held), how many strings sound, which fret is the lowest one held, as an index.
    """

    members: Array
    held: Array
    sounding: Array
    low: Array


class _Ways(NamedTuple):
    """What one string may do, for each lowest fret held one after another: the fret, its member
    and the fret held as bits, and where each lowest fret's begin; which lowest frets it may hold.
    """

    fret: Array
    member: Array
    held: Array
    starts: Array
    holds_low: Array


def _ways_on(string: int, wanted: Wanted, neck: Neck, hand: Hand, root: int) -> _Ways:
    lows, frets = np.arange(neck.capo, neck.frets + 1)[:, None], np.arange(-1, neck.frets + 1)
    sounds = _may_sound(wanted, neck, root, string, frets)
    reach = neck.mm[np.maximum(frets, 0)] - neck.mm[lows]
    fretted = sounds & (frets > neck.capo) & (lows > neck.capo)
    holds = fretted & (frets >= lows) & (reach <= hand.refuse_mm)
    free = np.where(
        frets == LEFT_OUT, string + 1 not in wanted.drones, sounds & (frets == neck.capo)
    )
    free = np.broadcast_to(free, holds.shape)
    if hand.thumb and string == neck.strings - 1:
        free = free | (fretted & (np.abs(reach) <= THUMB_MM))
    low, is_held, place = np.nonzero(np.stack([free, holds], axis=1))
    fret = frets[place]
    member = np.where(fret == LEFT_OUT, 0, 1 << (neck.tuning[string] + fret - root) % 12)
    held = np.where(is_held, 1 << np.maximum(fret - low - neck.capo, 0), 0)
    starts = np.searchsorted(low, np.arange(len(lows) + 1))
    holds_low = holds[np.arange(len(lows)), lows[:, 0] + 1]
    return _Ways(fret.astype(np.int8), member.astype(np.int16), held, starts, holds_low)


def _may_sound(wanted: Wanted, neck: Neck, root: int, string: int, frets: Array) -> Array:
    """Which frets of a string may sound; never -1, for a string left out."""
    pitch = neck.tuning[string] + frets
    low, high = wanted.pitches
    fits = (frets >= 0) & (low <= pitch) & (pitch <= high)
    if string + 1 in wanted.drones:
        return fits & (frets == neck.capo)
    if string + 1 not in wanted.strings:
        return fits & False
    last = min(wanted.frets[1], neck.last_fret(string + 1))
    is_member = np.array([m in wanted.members for m in range(12)])[(pitch - root) % 12]
    return fits & (wanted.frets[0] <= frets) & (frets <= last) & is_member


def _with_string(
    begun: _Begun, ways: _Ways, string: int, can_hold_low: Array, wanted: Wanted, hand: Hand
) -> tuple[_Begun, Array, Array]:
    """The shapes with each fret that the next string may have, as far as they may still fit.

    Returned too: which shape each comes from, and the string's fret.
    """
    count = np.diff(ways.starts)[begun.low]
    row = np.repeat(np.arange(len(count)), count)
    skipped = ways.starts[begun.low] - np.cumsum(count) + count
    way = np.arange(len(row)) + skipped[row]
    members, held = begun.members[row] | ways.member[way], begun.held[row] | ways.held[way]

    left = sum(1 for s in wanted.strings if s > string + 1)
    must = np.int16(sum(1 << member for member in wanted.must))
    fits = (np.bitwise_count(must & ~members) <= left) & (np.bitwise_count(held) <= hand.fingers)
    fits &= (held & 1 == 1) | can_hold_low[begun.low][row]
    sounding = begun.sounding[row] + (ways.member[way] > 0)
    if wanted.notes is not None:
        fits &= (sounding <= wanted.notes) & (sounding + left >= wanted.notes)
    fit = np.flatnonzero(fits)
    row = row[fit]
    after = _Begun(members[fit], held[fit], sounding[fit], begun.low[row])
    return after, row, ways.fret[way[fit]]


def _outer_voices_fit(shapes: Array, wanted: Wanted, neck: Neck, root: int) -> Array:
    """Whether bass and top are what they must be."""
    opened = np.array(neck.tuning, np.int16)[:, None]
    pitch = shapes + opened
    fits = np.ones(shapes.shape[1], dtype=bool)
    for allowed, outer in (
        (wanted.bass, np.where(shapes == LEFT_OUT, 999, pitch).min(axis=0)),
        (wanted.top, np.where(shapes == LEFT_OUT, -999, pitch).max(axis=0)),
    ):
        if allowed is not None:
            fits &= np.isin((outer - root) % 12, list(allowed))
    return fits


def _why_none(wanted: Wanted, neck: Neck, hand: Hand) -> str:
    """Say what stands against every voicing, and how many there are without it."""
    symbol = chord_symbol(wanted.chord)
    everything = tuple(range(1, neck.strings + 1))
    without = _told_limits(wanted, neck)
    loose: dict[str, Any] = {
        "strings": everything, "frets": (neck.capo, neck.frets), "bass": None, "top": None,
        "drones": (), "pitches": (0, 200), "notes": None,
    }  # fmt: skip
    ways = []
    for limit, told in without.items():
        count = len(_search(replace(wanted, **{limit: loose[limit]}), neck, hand)[0])
        if count:
            ways.append(f"without {told} there {_are(count)}")
    for member in wanted.must - (wanted.bass or frozenset()) - (wanted.top or frozenset()):
        count = len(_search(replace(wanted, must=wanted.must - {member}), neck, hand)[0])
        if count and len(wanted.must) > 1:
            ways.append(f"where the {wanted.members[member]} need not sound there {_are(count)}")
    longer = round(1.25 * hand.refuse_mm)
    count = len(_search(wanted, neck, replace(hand, refuse_mm=longer))[0])
    if count:
        ways.append(f"with a reach up to {longer} mm there {_are(count)}")
    if not hand.thumb:
        count = len(_search(wanted, neck, replace(hand, thumb=True))[0])
        if count:
            ways.append(f"with the thumb over the neck there {_are(count)}")
    if not ways and without:
        count = len(_search(replace(wanted, **{f: loose[f] for f in without}), neck, hand)[0])
        told = ", ".join(without.values())
        ways.append(f"without any of {told} there {_are(count)}, and none without one alone")
    asked = f" with {', '.join(without.values())}" if without else ""
    return (
        f"no voicing of {symbol}{asked}, a reach up to {hand.refuse_mm:g} mm and "
        f"{hand.fingers} fingers; {'; '.join(ways) or 'this neck and hand have none at all'}"
    )


def _told_limits(wanted: Wanted, neck: Neck) -> dict[str, str]:
    """What was asked beyond the chord: field -> as the caller wrote it."""
    names = wanted.members
    told = {}
    if len(wanted.strings) < neck.strings:
        told["strings"] = f"strings={wanted.strings!r}"
    if wanted.frets != (neck.capo, neck.frets):
        told["frets"] = f"frets={wanted.frets!r}"
    for limit, asked in (("bass", wanted.bass), ("top", wanted.top)):
        if asked is not None:
            told[limit] = f"{limit}={'/'.join(names[m] for m in sorted(asked) if m in names)!r}"
    if wanted.drones:
        opened = [note_name(neck.tuning[s - 1] + neck.capo) for s in wanted.drones]
        told["drones"] = f"drones={wanted.drones!r} ({', '.join(opened)})"
    if wanted.pitches != (0, 200):
        low, high = (note_name(pitch) for pitch in wanted.pitches)
        told["pitches"] = f"pitches from {low} to {high}"
    if wanted.notes is not None:
        told["notes"] = f"notes={wanted.notes}"
    return told


def _are(count: int) -> str:
    return "is one" if count == 1 else f"are {count:,}"
