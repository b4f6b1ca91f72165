"""Every way to play what one moment asks for: strings, frets, fingers, and what holding it costs.

``hands.hold_shapes`` finds which shapes can be held; here each is taken with every choice of
fingers that keeps their order, needs no more than a stretch (or the least reach there is), and
leaves barres of the first finger to the first. A single note may be taken by any finger, by the
fourth also one fret out of position. Where only open strings sound, the hand may stand anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np

from arrange.guitar.fingering.moments import Places
from arrange.guitar.hands import (
    SPREAD,
    THUMB,
    Grips,
    Hand,
    hold_shapes,
    reach_cost,
)
from arrange.guitar.necks import LEFT_OUT, Array, Neck
from arrange.guitar.picking import in_one_stroke, strings_passed

# What holding costs beside the grip itself, in mm. Ours, chosen on the tablature that the tests
# compare with.
UNLIKE_COST = 6.0  # a fret that a finger lies off one finger a fret
FOURTH_FINGER_COST = 1.5  # the weakest finger
LINE_HEIGHT_COST = 0.18  # a single note, times its fret from the capo squared
HEIGHT_COST = 0.3  # a mm that notes struck together lie from the open string, in the mean of those
# that are fretted
OPEN_COST = 0.3  # a mm that the hand is from the first fret, for each open string of a chord
LINE_OPEN_COST = 0.8  # a mm that it is beyond the third position, for an open string alone
OPEN_POSITION = 3  # up to which a line uses open strings, counted from the capo (common practice)
DRIVEN_OPEN_COST = 50.0  # an open string under drive, where it rings on into what follows
SKIPPED_COST = 30.0  # a string between those struck together, which a pick has to pass
UNPICKED_COST = 300.0  # strings struck together that a pick cannot sound in one stroke
STRUCK_TOGETHER = 3  # notes from which a chord is strummed: the strings between must be silenced

_ABSENT = 0  # string of a note that is left out
_UNUSED = -1
_ROUNDING = 1e-6
_FINGERS = 5  # with the thumb


@dataclass(frozen=True)
class Task:
    """What a moment asks for; equal tasks have equal ways.

    Parameters
    ----------
    struck, held : tuple of places
        For each note that begins, and each that is held from before, where it may lie.
    lost, let_go : int
        How many of the one and of the other are left out.
    driven : bool
        The part sounds overdriven or more.
    picked : bool
        It is played with a pick, not with the fingers.
    """

    struck: tuple[Places, ...]
    held: tuple[Places, ...] = ()
    lost: int = 0
    let_go: int = 0
    driven: bool = False
    picked: bool = True


@dataclass(frozen=True)
class Ways:
    """The ways to play a task; a row each.

    Parameters
    ----------
    string, fret, finger : array of int, ways x notes
        Notes as in the task, struck ones first; string 0 where a note is left out.
    position : array of int
        Fret of the first finger.
    finger_fret, finger_strings : array of int, ways x 5
        Fret that each finger is on, -1 where it is not used; and code of its strings, as in
        ``string_gaps``.
    pick_low, pick_high : array of int
        Lowest and highest string number struck.
    pick_set, open_set : array of int
        The strings struck, and those of them that are open, as bits.
    one_stroke : array of bool
        Whether the picking hand sounds what is struck in one stroke; fingers always do.
    open_mm : array of float
        What each open string costs there.
    shape : array of int
        The same for one shape struck, wherever on the neck and on which strings it lies.
    span_mm, reach_mm, cost_mm : array of float
    """

    string: Array
    fret: Array
    finger: Array
    position: Array
    finger_fret: Array
    finger_strings: Array
    pick_low: Array
    pick_high: Array
    pick_set: Array
    open_set: Array
    one_stroke: Array
    open_mm: Array
    shape: Array
    span_mm: Array
    reach_mm: Array
    cost_mm: Array

    def __len__(self) -> int:
        return len(self.position)

    def take(self, rows: Array) -> Ways:
        """Return some of the ways."""
        return Ways(**{name: column[rows] for name, column in vars(self).items()})


def find_ways(tasks: Sequence[Task], neck: Neck, hand: Hand) -> list[Ways]:
    """Return the ways to play each task; none where it cannot be played."""
    strings, frets, owner, struck = [], [], [], []
    most = max((len(task.struck) + len(task.held) for task in tasks), default=1)
    for number, task in enumerate(tasks):
        for assigned in assignments(task, neck, hand.refuse_mm, hand.fingers, thumb=hand.thumb):
            short = most - len(assigned)
            strings.append([place[0] for place in assigned] + [_ABSENT] * short)
            frets.append([place[1] for place in assigned] + [0] * short)
            owner.append(number)
            struck.append(len(task.struck))
    string = np.array(strings, dtype=np.int8).reshape(-1, most)
    fret = np.array(frets, dtype=np.int8).reshape(-1, most)
    shapes = np.full((len(string), neck.strings + 1), LEFT_OUT, dtype=np.int16)
    np.put_along_axis(shapes, string.astype(np.int64) - 1, fret.astype(np.int16), axis=1)
    shapes = shapes[:, : neck.strings]  # what is left out was put behind the last string
    different, which = _distinct(shapes, neck)
    grips = hold_shapes(different, neck, hand)
    shape, fingers, position, reach, extra = _finger_choices(different, grips, neck, hand)
    return _by_task(
        tasks,
        (string, fret, np.array(owner, dtype=np.int64), np.array(struck, dtype=np.int64)),
        (which, different, grips),
        (shape, fingers, position, reach, extra),
        (neck, hand),
    )


def assignments(
    task: Task, neck: Neck, most_mm: float, most_frets: int, *, thumb: bool
) -> Iterator[Places]:
    """Yield every way to place a task's notes on distinct strings that a hand might hold.

    Frets lie no farther apart than `most_mm`, and on no more than `most_frets`, since each takes
    a finger; the thumb's string counts for neither.
    """
    strokes = [*task.struck, *task.held]
    first_held = len(task.struck)
    order = sorted(range(len(strokes)), key=lambda number: len(strokes[number]))
    mm = neck.mm.tolist()
    placed = [(_ABSENT, 0)] * len(strokes)
    thumbs = neck.strings if thumb else 0

    def place(at: int, strings: int, frets: int, lost: int, gone: int) -> Iterator[Places]:
        """The rest of the notes; strings and frets taken as bits."""
        if at == len(order):
            if lost == 0 == gone:
                yield tuple(placed)
            return
        number = order[at]
        for string, fret in strokes[number]:
            if strings >> string & 1:
                continue
            taken = frets
            if fret > neck.capo and string != thumbs:
                taken |= 1 << fret
                span = mm[taken.bit_length() - 1] - mm[(taken & -taken).bit_length() - 1]
                if span > most_mm or taken.bit_count() > most_frets:
                    continue
            placed[number] = (string, fret)
            yield from place(at + 1, strings | 1 << string, taken, lost, gone)
        placed[number] = (_ABSENT, 0)
        if number < first_held and lost:
            yield from place(at + 1, strings, frets, lost - 1, gone)
        elif number >= first_held and gone:
            yield from place(at + 1, strings, frets, lost, gone - 1)

    yield from place(0, 0, 0, task.lost, task.let_go)


def _distinct(shapes: Array, neck: Neck) -> tuple[Array, Array]:
    """The distinct shapes, and which of them each row is."""
    codes = (shapes.astype(np.int64) + 1) @ (neck.frets + 2) ** np.arange(neck.strings)
    _, first, which = np.unique(codes, return_index=True, return_inverse=True)
    return shapes[first], which


def _finger_choices(
    shapes: Array, grips: Grips, neck: Neck, hand: Hand
) -> tuple[Array, Array, Array, Array, Array]:
    """Every way to take every shape: its row, fingers by string, position, reach, extra cost."""
    found = [_open_choices(shapes, grips, neck), _stretches(shapes, grips, neck, hand)]
    thumb = (grips.fingers == THUMB).any(axis=1)
    rows = np.flatnonzero(grips.playable & thumb)
    at = np.maximum(grips.position[rows], neck.capo + 1)
    found.append((rows, grips.fingers[rows], at, grips.reach_mm[rows], np.zeros(len(rows))))
    for number in range(1, hand.fingers + 1):
        rows = np.flatnonzero(grips.playable & ~thumb & (grips.needed == number))
        if len(rows):
            found += _choices(rows, shapes[rows], grips.take(rows), number, neck, hand)
    row, fingers, position, reach, extra = (np.concatenate(c) for c in zip(*found, strict=True))
    order = np.argsort(row, kind="stable")
    return row[order], fingers[order], position[order], reach[order], extra[order]


_Choice = tuple[Array, Array, Array, Array, Array]


def _open_choices(shapes: Array, grips: Grips, neck: Neck) -> _Choice:
    """Open strings alone, the hand anywhere."""
    thumb = (grips.fingers == THUMB).any(axis=1)
    rows = np.flatnonzero(grips.playable & ~thumb & (grips.needed == 0))
    positions = np.arange(neck.capo + 1, neck.frets + 1)
    count = len(rows) * len(positions)
    fingers = np.zeros((count, shapes.shape[1]), dtype=np.int8)
    at = np.tile(positions, len(rows))
    return np.repeat(rows, len(positions)), fingers, at, np.zeros(count), np.zeros(count)


def _stretches(shapes: Array, grips: Grips, neck: Neck, hand: Hand) -> _Choice:
    """A single fretted note taken by a fourth finger that reaches one fret farther."""
    held = shapes > neck.capo
    fret = np.where(held, shapes, 0).max(axis=1, initial=0)
    position = np.maximum(fret - len(SPREAD), 0)
    reach = neck.mm[fret] - neck.mm[position]
    may = grips.playable & (held.sum(axis=1) == 1) & (position > neck.capo)
    rows = np.flatnonzero(may & (reach <= hand.refuse_mm) & (hand.fingers == len(SPREAD)))
    reach = reach[rows]
    extra = reach_cost(reach, hand)
    return rows, held[rows] * np.int8(len(SPREAD)), position[rows], reach, extra


def _choices(
    rows: Array, shapes: Array, grips: Grips, number: int, neck: Neck, hand: Hand
) -> list[_Choice]:
    """Shapes that take so many fingers, with each choice of fingers."""
    present = np.stack([(grips.fingers == f).any(axis=1) for f in range(THUMB)], axis=1)
    present[:, 0] = False
    rank = np.cumsum(present, axis=1)  # of each finger among those that are down, from 1
    ranked = np.where(
        grips.fingers > 0, np.take_along_axis(rank, grips.fingers.astype(np.int64), 1), 0
    )
    fret, low, high = finger_places(shapes, ranked, number)
    is_first = np.argmax(present, axis=1) == 1
    ways = {
        (one, other): np.hypot(
            neck.mm[fret[:, other]] - neck.mm[fret[:, one]],
            strings_apart(low[:, one], high[:, one], low[:, other], high[:, other])
            * (neck.spacing_mm[fret[:, one]] + neck.spacing_mm[fret[:, other]]) / 2,
        )
        for one, other in combinations(range(number), 2)
    }  # fmt: skip
    limit = np.maximum(grips.reach_mm, hand.stretch_mm) + _ROUNDING
    barre = low != high
    found, unlikes = [], []
    for choice in combinations(range(hand.fingers), number):
        reach = np.zeros(len(rows))
        for (one, other), way in ways.items():
            reach = np.maximum(reach, way / SPREAD[choice[other] - choice[one]])
        unlike = np.abs(fret - fret[:, [0]] - np.array(choice) + choice[0]).sum(axis=1)
        position = fret[:, 0].astype(np.int64) - choice[0]
        same_barres = (~barre[:, 0] | (is_first == (choice[0] == 0))) & (position > neck.capo)
        good = same_barres & (reach <= limit)
        fingers = np.array((-1, *choice), dtype=np.int8)[ranked] + np.int8(1)
        found.append((good, fingers, position))
        unlikes.append(np.where(good, unlike, 1000))
    least = np.min(unlikes, axis=0)
    return [
        (rows[good], fingers[good], position[good], grips.reach_mm[good],
         UNLIKE_COST * (unlike - least)[good])
        for (good, fingers, position), unlike in zip(found, unlikes, strict=True)
    ]  # fmt: skip


def finger_places(shapes: Array, fingers: Array, count: int) -> tuple[Array, Array, Array]:
    """Fret, lowest and highest string number of fingers 1 to count; fret -1 where not used."""
    strings = np.arange(1, shapes.shape[1] + 1)
    places = np.full((3, len(shapes), count), _UNUSED, dtype=np.int8)
    for finger in range(1, count + 1):
        on = fingers == finger
        used = on.any(axis=1)
        places[0, :, finger - 1] = np.where(on, shapes, _UNUSED).max(axis=1)
        places[1, :, finger - 1] = np.where(on, strings, len(strings)).min(axis=1) * used
        places[2, :, finger - 1] = np.where(on, strings, 0).max(axis=1)
    return places[0], places[1], places[2]


def string_gaps(strings: int) -> Array:
    """How many strings lie from one stretch of strings to another, by their codes.

    The code of a stretch is its lowest string number times strings + 1, plus its highest.
    """
    low, high = np.divmod(np.arange((strings + 1) ** 2, dtype=np.int16), np.int16(strings + 1))
    return strings_apart(low[:, None], high[:, None], low, high)


def strings_apart(low: Array, high: Array, other_low: Array, other_high: Array) -> Array:
    """How many strings lie from one stretch of strings to another; 0 where they meet."""
    return np.maximum(np.maximum(other_low - high, low - other_high), 0)


def _by_task(
    tasks: Sequence[Task],
    assigned: tuple[Array, Array, Array, Array],
    shaped: tuple[Array, Array, Grips],
    choices: _Choice,
    guitarist: tuple[Neck, Hand],
) -> list[Ways]:
    """The ways as columns, task by task."""
    neck, hand = guitarist
    string, fret, owner, struck = assigned
    which, shapes, grips = shaped
    shape, fingers, position, reach, extra = choices
    start = np.searchsorted(shape, np.arange(len(shapes) + 1))
    count = (start[1:] - start[:-1])[which]
    row = np.repeat(np.arange(len(which)), count)
    way = np.repeat(start[which] - np.cumsum(count) + count, count) + np.arange(len(row))
    shape, owner, struck = shape[way], owner[row], struck[row]
    string, fret, fingers = string[row], fret[row], fingers[way]
    by_string = np.concatenate([np.zeros((len(way), 1), dtype=np.int8), fingers], axis=1)
    finger_fret, finger_low, finger_high = finger_places(shapes[shape], fingers, _FINGERS)
    sounding = (string != _ABSENT) & (np.arange(string.shape[1]) < struck[:, None])
    base = grips.cost_mm[shape] - np.where(struck < STRUCK_TOGETHER, grips.muting_mm[shape], 0.0)
    driven = np.array([task.driven for task in tasks], dtype=bool)[owner]
    place, open_mm = _place_cost(fret, sounding, position[way], driven, neck)
    picked = np.array([task.picked for task in tasks], dtype=bool)[owner]
    free = hand.fingers - grips.needed[shape]
    picking, stroke_cost = _picking(string, fret > neck.capo, sounding, free, picked)
    fourth = FOURTH_FINGER_COST * (finger_fret[:, 3] >= 0)
    columns = {
        "string": string,
        "fret": fret,
        "finger": np.take_along_axis(by_string, string.astype(np.int64), axis=1),
        "position": position[way].astype(np.int8),
        "finger_fret": finger_fret,
        "finger_strings": finger_low * np.int16(neck.strings + 1) + finger_high,
        **picking,
        "open_set": _as_bits(string, sounding & (fret == neck.capo)),
        "open_mm": open_mm,
        "shape": _shape_codes(string, fret, sounding, neck),
        "span_mm": grips.span_mm[shape],
        "reach_mm": reach[way],
        "cost_mm": base + extra[way] + fourth + place + stroke_cost,
    }
    bounds = np.searchsorted(owner, np.arange(len(tasks) + 1)).tolist()
    found = []
    for number, (begin, end) in enumerate(pairwise(bounds)):
        own = {name: column[begin:end] for name, column in columns.items()}
        for name in ("string", "fret", "finger"):
            own[name] = own[name][:, : len(tasks[number].struck) + len(tasks[number].held)]
        found.append(Ways(**own))
    return found


def _picking(
    string: Array, held: Array, sounding: Array, free: Array, picked: Array
) -> tuple[dict[str, Array], Array]:
    """The columns of the picking hand, and what one stroke costs it."""
    struck = _as_bits(string, sounding)
    ringing = _as_bits(string, (string != _ABSENT) & ~sounding)
    one_stroke = ~picked | in_one_stroke(struck, ringing, _as_bits(string, held), free)
    columns = {
        "pick_low": np.where(sounding, string, 100).min(axis=1, initial=100).astype(np.int8),
        "pick_high": np.where(sounding, string, 0).max(axis=1, initial=0).astype(np.int8),
        "pick_set": struck,
        "one_stroke": one_stroke,
    }
    skipped = np.bitwise_count(strings_passed(struck)) * picked
    return columns, SKIPPED_COST * skipped + UNPICKED_COST * ~one_stroke


def _as_bits(string: Array, which: Array) -> Array:
    """The strings of some of the notes as bits."""
    bits: Array = (which.astype(np.int32) << string).sum(axis=1).astype(np.int32)
    return bits


def _shape_codes(string: Array, fret: Array, struck: Array, neck: Neck) -> Array:
    """A number for what is struck, the same wherever on the neck and on which strings it lies."""
    lowest = np.where(struck, fret, 100).min(axis=1, initial=100)
    first = np.where(struck, string, 100).min(axis=1, initial=100)
    at = np.where(struck, string - first[:, None], 0).astype(np.int64)
    up = np.where(struck, fret - lowest[:, None] + 1, 0).astype(np.int64)
    code = (up * (neck.frets + 2) ** at).sum(axis=1)
    has_open = (struck & (fret == neck.capo)).any(axis=1)
    return np.where(has_open, -code, code)


def _place_cost(
    fret: Array, struck: Array, position: Array, driven: Array, neck: Neck
) -> tuple[Array, Array]:
    """What it costs to play so far up the neck, and how much of it each open string."""
    frets = np.where(struck, np.maximum(fret, neck.capo) - neck.capo, 0).astype(np.float64)
    mm = np.where(frets > 0, neck.mm[np.maximum(fret, neck.capo)] - neck.mm[neck.capo], 0.0)
    mean = mm.sum(axis=1) / np.maximum((frets > 0).sum(axis=1), 1)
    count = struck.sum(axis=1)
    line = LINE_HEIGHT_COST * frets.max(axis=1, initial=0) ** 2
    height = np.where(count > 1, HEIGHT_COST * mean, line)
    away = neck.mm[position] - neck.mm[neck.capo + 1]
    home = min(neck.capo + OPEN_POSITION, neck.frets)
    beyond = np.maximum(neck.mm[position] - neck.mm[home], 0.0)
    open_mm = np.where(count > 1, OPEN_COST * away, LINE_OPEN_COST * beyond)
    open_mm += DRIVEN_OPEN_COST * driven
    return height + open_mm * (struck & (fret == neck.capo)).sum(axis=1), open_mm
