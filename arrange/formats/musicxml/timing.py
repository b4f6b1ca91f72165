"""When each event happens: ticks on one grid, a cursor for each bar, bars in step.

MusicXML moves a cursor through each part's measure: notes and `forward` push it on, `backup`
takes it back, a chord's further notes leave it.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from arrange.errors import shown
from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import CODE, Array, Events, among, number
from arrange.song_size import MOST_BAR
from arrange.text.words import first_few

MOST_GRID = 10**8

_MOVES = among("note", "backup", "forward")
_STAYS = among("chord", "grace")
_SOUNDS = among("step", "unpitched")


@dataclass(frozen=True)
class Timing:
    """Where everything lies.

    Parameters
    ----------
    ticks : int
        Ticks in a quarter note.
    factor : array, a value an event
        Ticks of one division there.
    offset : array, a value an event
        Ticks from the start of the bar, where the event's container begins.
    duration : array, a value an event
        Ticks of the event's own `duration`, at the container's event; else 0.
    bar : array, a value an event
        Index of the printed bar, the same for all parts.
    numbers : list of str
        Printed number of each bar.
    lengths : array
        Ticks of each bar.
    meters : list of str
        Meter of each bar.
    """

    ticks: int
    factor: Array
    offset: Array
    duration: Array
    bar: Array
    numbers: list[str]
    lengths: Array
    meters: list[str]


def read_timing(events: Events, said: Attributes, notices: list[str]) -> Timing:
    """Return the timing of all events.

    Raises
    ------
    ReadError
        If a duration is no number, is negative or absurd, or there are no measures.
    """
    durations = events.at("duration")
    values = events.numbers[events.values[durations]]
    ticks = _grid(events, said, durations, values)
    factor = forward_fill(
        events, [(event, float(ticks / value)) for event, value in said.divisions], float(ticks)
    )
    if not said.divisions and len(durations):
        notices.append("no divisions are given: durations are read as quarter notes")
    amount = values * factor[durations]
    bad = ~(amount >= 0) | (amount > MOST_BAR * ticks)
    if bad.any():
        event = durations[np.argmax(bad)]
        text = events.texts[events.values[event]]
        raise events.refuse(
            event,
            f"a <duration> of {shown(text)}; it must be a number, not negative, of at most "
            f"{MOST_BAR:g} quarter notes",
        )
    duration = np.zeros(len(events.codes), dtype=np.int64)
    duration[events.container[durations]] = np.rint(amount).astype(np.int64)

    advance = np.where(_moves(events), duration, 0)
    advance[events.codes == CODE["backup"]] *= -1
    offset, measure_lengths = _cursor(events, advance, ticks, notices)
    bar_of_measure, numbers = _bars(events, notices)
    meters, nominal = _meters(events, said, bar_of_measure, len(numbers), ticks, notices)
    metered = np.array([meter != "free" for meter in meters])
    lengths, disputed = _voted_lengths(events, bar_of_measure, measure_lengths, nominal)
    if disputed:
        notices.append(
            f"parts give different lengths to measure {_numbers(numbers, disputed)}: the length "
            "that most of them give is taken"
        )
    rounded = _rounded(lengths, nominal, ticks) & metered
    if rounded.any():
        notices.append(
            f"measure {_numbers(numbers, np.flatnonzero(rounded))}: durations rounded on export "
            "miss the meter by less than a 64th note; the bar is taken as full"
        )
        lengths[rounded] = nominal[rounded]
    bar = bar_of_measure[np.maximum(events.measure, 0)]
    return Timing(ticks, factor, offset, duration, bar, numbers, lengths, meters)


def _grid(events: Events, said: Attributes, durations: Array, values: Array) -> int:
    """Ticks in a quarter note in which every division, duration and bar is a whole number."""
    ticks = said.grid
    broken = set(events.values[durations[values % 1 != 0]].tolist())
    for text in (events.texts[value] for value in broken):
        if number(text) == number(text):
            ticks = math.lcm(ticks, said.grid * Fraction(text).limit_denominator(10**4).denominator)
    for _, _, length in said.meters:
        ticks = math.lcm(ticks, length.denominator)
    if ticks > MOST_GRID:
        stated = [said_of[0] for said_of in said.divisions] + [meter[0] for meter in said.meters]
        raise events.refuse(
            max(stated, default=int(durations[0]) if len(durations) else 0),
            f"its divisions and meters have no common grid below {MOST_GRID:,} to a quarter note; "
            "export the song again",
        )
    return ticks


def forward_fill(events: Events, stated: Sequence[tuple[int, float]], otherwise: float) -> Array:
    """A stated value from its event on, within its part; before that, `otherwise`."""
    if not stated:
        return np.full(len(events.codes), otherwise)
    values = np.full(len(stated) + 1, otherwise)
    values[1:] = [value for _, value in stated]
    index = np.zeros(len(events.codes), dtype=np.int64)
    index[[event for event, _ in stated]] = np.arange(1, len(stated) + 1)
    index = np.maximum.accumulate(index)
    part_of = np.array([-2, *(events.part[event] for event, _ in stated)])
    return values[np.where(part_of[index] == events.part, index, 0)]


def _moves(events: Events) -> Array:
    """Which containers move the cursor: backup, forward, and notes but a chord's further ones."""
    moves = _MOVES[events.codes]
    moves[events.container[_STAYS[events.codes]]] = False
    return moves


def _cursor(events: Events, advance: Array, ticks: int, notices: list[str]) -> tuple[Array, Array]:
    """Each event's offset in its measure, and each measure's length, in ticks."""
    heads = events.at("measure")
    if not len(heads):
        part = events.at("part")
        raise events.refuse(part[0] if len(part) else 0, "there are no measures in it")
    after = np.cumsum(advance)
    before = after - advance
    base = before[heads][np.maximum(events.measure, 0)]
    offset = (before - base)[events.container]
    ends = after - base
    early = sorted(set(events.measure[ends < 0].tolist()))
    for measure in early:
        first, after_last = np.searchsorted(events.measure, [measure, measure + 1]).tolist()
        inside = slice(first, after_last)
        low = np.minimum.accumulate(np.minimum(ends[inside], 0))
        ends[inside] -= low
        offset[inside] -= np.concatenate([[0], low[:-1]])
        offset[inside] = offset[events.container[inside]]
    if len(early):
        where = events.refuse(heads[early[0]], "a backup goes back beyond the start of the measure")
        more = f"; so in {len(early) - 1} more measures" if len(early) > 1 else ""
        notices.append(f"{where}; read as going back to its start{more}")
    lengths = np.maximum.reduceat(np.where(events.measure >= 0, ends, 0), heads)
    long = np.flatnonzero(lengths > MOST_BAR * ticks)
    if len(long):
        raise events.refuse(
            heads[long[0]],
            f"its notes and rests last {lengths[long[0]] / ticks:,.0f} quarter notes; a bar has "
            f"{MOST_BAR:g} at most",
        )
    return offset, np.maximum(lengths, 0)


def _bars(events: Events, notices: list[str]) -> tuple[Array, list[str]]:
    """The printed bar of each measure element, and the bars' numbers.

    Parts that agree in their measure numbers stand in step. Where they do not, the part with
    most measures leads and the others are put beside its equal numbers.
    """
    heads = events.at("measure")
    part = events.part[heads]
    names = [events.texts[value] for value in events.values[heads]]
    columns: list[list[str]] = [[] for _ in range(int(events.part[-1]) + 1)]
    for index, name in zip(part.tolist(), names, strict=True):
        columns[index].append(name)
    leader = max(columns, key=len)
    placed: list[int] = []
    wrong = []
    place = {name: index for index, name in enumerate(leader)}
    for index, column in enumerate(columns):
        if column == leader[: len(column)] or len(place) < len(leader):
            placed += range(len(column))
            continue
        wrong.append(index)
        at = -1
        for name in column:
            at = place[name] if place.get(name, -1) > at else at + 1
            placed.append(at)
    numbers = leader + [""] * (max(placed) + 1 - len(leader))
    short = sum(len(column) < len(leader) for column in columns)
    if wrong:
        notices.append(
            f"measure numbers differ between parts ({len(wrong)} of {len(columns)} parts): "
            "measures of one number were put beside each other"
        )
    elif short:
        notices.append(f"{short} of {len(columns)} parts have fewer measures than the others")
    return np.array(placed, dtype=np.int64), numbers


def _meters(
    events: Events,
    said: Attributes,
    bar_of_measure: Array,
    bars: int,
    ticks: int,
    notices: list[str],
) -> tuple[list[str], Array]:
    """Meter of each bar and its nominal length in ticks; the first part that has one leads."""
    leader: int | None = None
    stated: dict[int, tuple[str, int]] = {}
    others: dict[int, str] = {}
    for event, text, length in said.meters:
        part, bar = int(events.part[event]), int(bar_of_measure[max(events.measure[event], 0)])
        leader = part if leader is None else leader
        if part == leader:
            stated[bar] = text, int(length * ticks)
        else:
            others.setdefault(bar, text)
    meters, nominal = [], np.empty(bars, dtype=np.int64)
    meter, size = "4/4", 4 * ticks
    for bar in range(bars):
        meter, own_size = stated.get(bar, (meter, size))
        size = own_size or size  # a free meter has no length of its own
        meters.append(meter)
        nominal[bar] = size
    odd = [bar for bar, text in others.items() if meters[bar] != text]
    for bar in odd[:8]:
        notices.append(
            f"bar {bar + 1}: {others[bar]} in one part and {meters[bar]} in another; "
            f"{meters[bar]} is kept"
        )
    if len(odd) > 8:
        notices.append(f"so do the meters in {len(odd) - 8} more bars")
    if leader is None:
        notices.append("no meter is given: 4/4 is assumed where bars are empty")
    return meters, nominal


def _voted_lengths(
    events: Events, bar_of_measure: Array, measure_lengths: Array, nominal: Array
) -> tuple[Array, list[int]]:
    """The length that most sounding parts give each bar, and the bars whose parts differ.

    The nominal length of a bar breaks ties.
    """
    bars = len(nominal)
    sounding = np.zeros(len(measure_lengths), dtype=bool)
    sounding[events.measure[_SOUNDS[events.codes]]] = True
    heard: list[list[int]] = [[] for _ in range(bars)]  # lengths, by the parts that sound in a bar
    silent: list[list[int]] = [[] for _ in range(bars)]
    for bar, length, sounds in zip(
        bar_of_measure.tolist(), measure_lengths.tolist(), sounding.tolist(), strict=True
    ):
        if length:
            (heard if sounds else silent)[bar].append(length)
    lengths = nominal.copy()
    disputed = []
    for bar in range(bars):
        votes = heard[bar] or silent[bar]
        if len(set(votes)) > 1:
            disputed.append(bar)
            count = Counter(votes)
            best = [length for length in count if count[length] == max(count.values())]
            lengths[bar] = nominal[bar] if nominal[bar] in best else max(best)
        elif votes:
            lengths[bar] = votes[0]
    return lengths, disputed


def _rounded(lengths: Array, nominal: Array, ticks: int) -> Array:
    """Which bars miss their meter by less than a 64th note: an export rounded their notes."""
    off: Array = np.abs(lengths - nominal)
    return (off > 0) & (off * 16 < ticks)


def _numbers(numbers: list[str], bars: Iterable[int]) -> str:
    return first_few((numbers[bar] for bar in bars), 8)
