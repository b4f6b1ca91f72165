"""What cannot be played: which notes are left out, why, and what would make them playable.

Where all notes of a moment cannot be played together, the fewest are left out: not the top note
and not the lowest if that can be, rather a note that sounds in another octave too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, islice

import numpy as np

from arrange.guitar.fingering.moments import Moment, Stroke
from arrange.guitar.fingering.ways import Task, Ways, assignments, find_ways
from arrange.guitar.grips import hold_shape
from arrange.guitar.hands import Hand, hold_shapes
from arrange.guitar.necks import LEFT_OUT, Array, Neck
from arrange.text.words import listed
from arrange.theory.pitch import note_name

_OCTAVE = 12
_MOST_TRIED = 2_000  # shapes among which the easiest is looked for
_OCTAVES = {_OCTAVE: "up", -_OCTAVE: "down"}


def leave_out(
    moments: Sequence[Moment], neck: Neck, hand: Hand, key: str | None
) -> tuple[dict[int, str], dict[Task, Ways]]:
    """Take from each moment the notes that cannot be played together with the others.

    The key spells them.

    Returns
    -------
    problems : dict of row to str
        Why each of those notes cannot be played.
    ways : dict of Task to Ways
        The ways to play what is struck at each moment.
    """
    for moment in moments:
        moment.struck.sort(key=lambda stroke: stroke.places)
    tasks = [
        Task(tuple(stroke.places for stroke in m.struck), driven=m.driven, picked=m.picked)
        for m in moments
    ]
    known = list(dict.fromkeys(tasks))
    ways = dict(zip(known, find_ways(known, neck, hand), strict=True))
    stuck: dict[_Key, list[Stroke]] = {}
    asked = [
        (task, tuple(stroke.pitch for stroke in m.struck))
        for task, m in zip(tasks, moments, strict=True)
    ]
    for moment, own in zip(moments, asked, strict=True):
        if not len(ways[own[0]]):
            stuck.setdefault(own, moment.struck)
    kept = _kept(stuck, neck, hand)
    whys = _whys(stuck, kept, neck, hand, key)
    problems: dict[int, str] = {}
    for moment, own in zip(moments, asked, strict=True):
        if own in stuck:
            for place, why in whys[own].items():
                problems.update(dict.fromkeys(moment.struck[place].rows, why))
            moment.struck = [moment.struck[place] for place in kept[own]]
    return problems, ways


_Key = tuple[Task, tuple[float, ...]]  # what is struck together, and its pitches


def _kept(stuck: dict[_Key, list[Stroke]], neck: Neck, hand: Hand) -> dict[_Key, list[int]]:
    """Places of the notes that are played, as many as can be."""
    kept: dict[_Key, list[int]] = {}
    lost = 1
    while len(kept) < len(stuck):
        left = [key for key in stuck if key not in kept and len(key[1]) - neck.strings <= lost]
        tasks = [replace(key[0], lost=lost) for key in left]
        for key, ways in zip(left, find_ways(tasks, neck, hand), strict=True):
            if len(ways):
                kept[key] = _best_kept(ways, np.array(key[1]))
        lost += 1
    return kept


def _best_kept(ways: Ways, pitches: Array) -> list[int]:
    out = ways.string == 0
    same = (pitches[:, None] - pitches) % _OCTAVE == 0
    doubled = (~out @ same).astype(bool)  # sounds in some octave all the same
    rank = np.lexsort(
        (
            ways.cost_mm,
            (out & ~doubled).sum(axis=1),
            out[:, pitches.argmin()],
            out[:, pitches.argmax()],
        )
    )
    return np.flatnonzero(~out[rank[0]]).tolist()


def _whys(
    stuck: dict[_Key, list[Stroke]],
    kept: dict[_Key, list[int]],
    neck: Neck,
    hand: Hand,
    key: str | None,
) -> dict[_Key, dict[int, str]]:
    """Why each note that is left out cannot be played, by place."""
    asked = [
        (own, place) for own, strokes in stuck.items() for place in range(len(strokes))
        if place not in kept[own]
    ]  # fmt: skip
    octaves = [stuck[own][place].pitch + way for own, place in asked for way in _OCTAVES]
    tasks = [
        Task((tuple(neck.places(octaves[number])), *(stuck[own][p].places for p in kept[own])))
        for number, (own, _) in enumerate(one for one in asked for _ in _OCTAVES)
    ]
    helps = [len(ways) > 0 for ways in find_ways(tasks, neck, hand)]
    whys: dict[_Key, dict[int, str]] = {own: {} for own in stuck}
    for number, (own, place) in enumerate(asked):
        strokes = stuck[own]
        with_them = [strokes[other] for other in kept[own]]
        why = _why_left_out(strokes[place], with_them, strokes, neck, hand, key)
        cure = "no octave of it can be played with the others"
        for which, word in reversed(tuple(enumerate(_OCTAVES.values(), 2 * number))):
            if helps[which]:
                cure = f"an octave {word}, {note_name(octaves[which], key)}, it can be played"
        whys[own][place] = f"{why}; {note_name(strokes[place].pitch, key)} is left out; {cure}"
    return whys


def _why_left_out(
    stroke: Stroke,
    kept: list[Stroke],
    strokes: list[Stroke],
    neck: Neck,
    hand: Hand,
    key: str | None,
) -> str:
    """Why a note cannot be played with those that are."""
    if len(strokes) > neck.strings:
        return f"{len(strokes)} notes begin together and the neck has {neck.strings} strings"
    for count in range(1, len(kept) + 1):
        for others in combinations(kept, count):
            strings = {string for one in (stroke, *others) for string, _ in one.places}
            if len(strings) <= count:
                return _same_strings(stroke, others, strings, key)
    return _too_hard(stroke, kept, neck, hand)


def _same_strings(
    stroke: Stroke, others: Sequence[Stroke], strings: set[int], key: str | None
) -> str:
    pitches = sorted(one.pitch for one in (stroke, *others))
    names = [note_name(pitch, key) for pitch in pitches]
    both = "both" if len(names) == 2 else "all"
    where = f"string {min(strings)}"
    which = "it sounds one of them at a time"
    if len(strings) > 1:
        where = "strings " + listed(map(str, sorted(strings)))
        which = f"they sound {len(strings)} of them at a time"
    named = listed(names)
    if any(one.fixed for one in (stroke, *others)):
        return f"the source puts {named} on {where}; {which}"
    return f"{named} {both} lie on {where} only; {which}"


def _too_hard(stroke: Stroke, kept: list[Stroke], neck: Neck, hand: Hand) -> str:
    """Why even the easiest shape cannot be held."""
    task = Task(tuple(one.places for one in (stroke, *kept)))
    every = assignments(task, neck, np.inf, neck.strings, thumb=False)
    some = list(islice(every, _MOST_TRIED))
    shapes = np.full((len(some), neck.strings), LEFT_OUT)
    for shape, assigned in zip(shapes, some, strict=True):
        for string, fret in assigned:
            shape[string - 1] = fret
    grips = hold_shapes(shapes, neck, hand)
    easiest = np.lexsort((grips.span_mm, grips.needed > hand.fingers))[0]
    why_not = hold_shape(tuple(shapes[easiest].tolist()), neck, hand).why_not
    return "the easiest shape, " + why_not.split(";")[0]
