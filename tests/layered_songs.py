"""Songs of many recorded layers, made up: as many layers and sections as asked for.

``layered_song`` goes round fourteen kinds of guitar part over a progression, each in about two
thirds of the sections. ``overdubbed_song`` is of forty layers or any number, no two alike but for
the takes that were played twice, note for note: pulses, chords, lines, picking and pads, each kind
in several registers and rhythms.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from arrange.tables.schema_check import check_table
from arrange.tables.schemas import CHORDS, NOTES, PARTS
from arrange.tables.song import Song

BARS = 8  # a section
# Root, kind, members: a made-up progression in G.
CHORDS_OF = [
    (7, "major", (7, 11, 2)), (4, "minor", (4, 7, 11)), (0, "major-seventh", (0, 4, 7, 11)),
    (2, "dominant", (2, 6, 9, 0)),
]  # fmt: skip


def above(pitch_class: int, lowest: int) -> int:
    """The pitch of a class at or above a pitch."""
    return lowest + (pitch_class - lowest) % 12


def stacked(members: tuple[int, ...], lowest: int, count: int) -> list[int]:
    """A close chord from a lowest pitch up."""
    pitches = [above(members[0], lowest)]
    while len(pitches) < count:
        pitches.append(above(members[len(pitches) % len(members)], pitches[-1] + 1))
    return pitches


Rows = list[tuple[float, float, int]]  # onset in the bar, duration, pitch


def strummed(members: tuple[int, ...], lowest: int, count: int, onsets: list[float]) -> Rows:
    """A chord at some places of the bar."""
    until = [*onsets[1:], 4.0]
    return [
        (at, end - at, pitch)
        for at, end in zip(onsets, until, strict=True)
        for pitch in stacked(members, lowest, count)
    ]


def picked(members: tuple[int, ...], lowest: int, step: float, order: list[int]) -> Rows:
    """A chord's notes one after the other."""
    pitches = stacked(members, lowest, max(order) + 1)
    count = int(4 / step)
    return [(k * step, step, pitches[order[k % len(order)]]) for k in range(count)]


def tune(random: np.random.Generator, members: tuple[int, ...], lowest: int) -> Rows:
    """A line that moves over the chord."""
    starts = sorted(random.choice(8, random.integers(3, 7), replace=False) / 2)
    ends = [*starts[1:], 4.0]
    scale = [0, 2, 4, 6, 7, 9, 11]
    pool = [above(random.choice(members if k % 2 else scale), lowest) for k in range(len(starts))]
    return [(at, end - at, pitch) for at, end, pitch in zip(starts, ends, pool, strict=True)]


def bar_of(kind: int, random: np.random.Generator, members: tuple[int, ...], bar: int) -> Rows:
    """One bar of a kind of part."""
    if kind == 0:
        return strummed(members, 43, 4, [0, 1, 1.5, 2.5, 3])
    if kind == 1:
        return strummed(members, 52, 3, [0, 1, 1.5, 2.5, 3])
    if kind in (2, 3):
        same = np.random.default_rng(bar + 100)  # the second an octave above the first
        return [(at, lasts, p + 12 * (kind - 2)) for at, lasts, p in tune(same, members, 64)]
    if kind == 4:
        figure = [(0, 0.5, 71), (0.5, 0.5, 74), (1, 1, 76), (2, 0.5, 74), (2.5, 1.5, 71)]
        return [(at, lasts, pitch - (bar % 2) * 2) for at, lasts, pitch in figure]
    if kind == 5:
        return [(at, lasts, pitch - 12) for at, lasts, pitch in bar_of(4, random, members, bar)]
    if kind == 6:
        return strummed(members, 55, 3, [0])
    if kind == 7:
        return [(0, 4, 55)]
    if kind == 8:
        return picked(members, 45, 0.5, [0, 2, 1, 3, 2, 1, 3, 2])
    if kind == 9:
        return [(at, 0.5, above(members[1], 62)) for at in (0.5, 1.5, 2.5, 3.5)]
    if kind == 10:
        return strummed(members[:1] + members[2:3], 40, 2, [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5])
    if kind == 11:
        return tune(random, members, 67) if bar % 8 == 7 else []
    if kind == 12:
        return strummed(members, 62, 3, [1, 3])
    return picked(members, 40, 1.0, [0, 1, 0, 2])


NAMES = ("Strum", "High strum", "Lead", "Lead octave", "Hook", "Hook low", "Held", "Drone",
         "Picking", "Echo", "Fifths", "Fills", "Triads", "Low line")  # fmt: skip


def layered_song(layers: int, sections: int, seed: int = 1) -> Song:
    """A song of that many layers and sections."""
    random = np.random.default_rng(seed)
    names = [NAMES[k % 14] + (f" {k // 14 + 1}" if k >= 14 else "") for k in range(layers)]
    plays = random.random((layers, sections)) < 0.7
    plays[0], plays[2 % layers] = True, True

    def bars(layer: int, members: tuple[int, ...], bar: int) -> Rows:
        found = bar_of(layer % 14, random, members, bar)
        return [(at, lasts, pitch + (layer >= 14)) for at, lasts, pitch in found]

    return _song(names, plays, bars)


# The ways of strumming a bar.
RHYTHMS = [
    [0, 1, 2, 3], [0, 1.5, 3], [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5], [0, 2], [0.5, 1.5, 2.5, 3.5],
    [0, 1, 1.5, 2.5, 3], [1, 3], [0, 0.75, 1.5, 2.5, 3.25], [0],
]  # fmt: skip
ORDERS = [[0, 2, 1, 3, 2, 1, 3, 2], [0, 1, 2, 1], [2, 1, 0, 1, 3]]  # of picking
KINDS = ("Pulse", "Chords", "Line", "Picking", "Pad")
TWICE = 0.2  # share of the layers that are second takes, note for note


def overdubbed_bar(layer: int, members: tuple[int, ...], bar: int) -> Rows:
    """One bar of a layer of its own."""
    kind, take = layer % 5, layer // 5
    if kind == 0:
        power = members[:1] + members[2:3]
        return strummed(power, 40 + take % 3 * 2, 2, RHYTHMS[(take * 2 + 2) % 9])
    if kind == 1:
        return strummed(members, 43 + take * 3 % 17, 3 + take % 2, RHYTHMS[(take * 4 + 5) % 9])
    if kind == 2:
        return _line(np.random.default_rng([layer, bar % 4]), members, 57 + take * 5 % 20, take)
    if kind == 3:
        step = (0.5, 1.0, 0.25)[take % 3]
        return picked(members, 45 + take * 4 % 20, step, ORDERS[take % 3])
    return strummed(members, 50 + take * 3 % 18, 2 + take % 2, RHYTHMS[8 if take % 2 else 3])


def _line(random: np.random.Generator, members: tuple[int, ...], lowest: int, take: int) -> Rows:
    """A line over a chord, the same each time the chord comes back."""
    starts = sorted(random.choice(8, 3 + take % 5, replace=False) / 2)
    pool = sorted(above(one, lowest) for one in {*members, (members[0] + 2) % 12})
    ends = [*starts[1:], 4.0]
    return [(at, end - at, int(random.choice(pool))) for at, end in zip(starts, ends, strict=True)]


def overdubbed_song(
    layers: int = 40, sections: int = 20, share: float = 0.7, seed: int = 1
) -> Song:
    """A song of so many layers, each in about a share of the sections; one section has all."""
    random = np.random.default_rng(seed)
    first = layers - int(layers * TWICE)
    takes = [*range(first), *random.choice(first, layers - first, replace=False).tolist()]
    names = [f"{KINDS[take % 5]} {take // 5 + 1}" for take in takes]
    names = [name + (" again" if at >= first else "") for at, name in enumerate(names)]
    plays = random.random((layers, sections)) < share
    plays[:, sections // 2] = True
    plays = plays[takes]
    return _song(names, plays, lambda layer, members, bar: overdubbed_bar(
        takes[layer], members, bar))  # fmt: skip


def _song(
    names: list[str], plays: NDArray[np.bool_], bars: Callable[[int, tuple[int, ...], int], Rows]
) -> Song:
    """A song of layers that play in some sections (layers x sections), bar by bar."""
    labels = [f"Part {k + 1}" for k in range(plays.shape[1])]
    rows = [
        (names[layer], 4 * bar + at, lasts, bar + 1, labels[section], pitch)
        for layer, section in zip(*np.nonzero(plays), strict=True)
        for bar in range(section * BARS, section * BARS + BARS)
        for at, lasts, pitch in bars(layer, CHORDS_OF[bar % 4][2], bar)
    ]
    part, onset, duration, measure, section_of, pitch = zip(*rows, strict=True)
    columns = {
        "part": part, "onset": onset, "duration": duration, "measure": measure,
        "section": section_of, "pitch": np.array(pitch, dtype=np.float64), "voice": None,
        "string": None, "fret": None, "technique": None, "grace": False,
        "source_id": [f"n{number}" for number in range(len(rows))],
    }  # fmt: skip
    notes = check_table(pd.DataFrame(columns), NOTES)
    return Song(_parts(names), *_form(labels, BARS * len(labels)), notes)


def _parts(names: list[str]) -> pd.DataFrame:
    columns = {
        "part": names, "instrument": names, "family": "guitar", "tuning": None, "capo": 0,
        "transpose": -12, "drive": [("clean", "overdriven")["Lead" in n] for n in names],
        "echo": None, "level": 0.0, "program": None, "player": None,
    }  # fmt: skip
    return check_table(pd.DataFrame(columns), PARTS)


def _form(labels: list[str], bars: int) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Sections, measures and chords."""
    firsts = np.arange(len(labels)) * BARS
    sections = pd.DataFrame(
        {"section": labels, "kind": "other", "pass": 1, "first_measure": firsts + 1,
         "last_measure": firsts + BARS, "onset": 4.0 * firsts, "duration": 4.0 * BARS}
    )  # fmt: skip
    number = np.arange(bars)
    label = np.repeat(labels, BARS)
    measures = pd.DataFrame(
        {"measure": number + 1, "written": [str(k + 1) for k in number], "section": label,
         "onset": 4.0 * number, "duration": 4.0, "meter": "4/4", "key": "G major", "tempo": 100.0}
    )  # fmt: skip
    chords = [CHORDS_OF[k % 4] for k in number]
    table = pd.DataFrame(
        {"onset": 4.0 * number, "duration": 4.0, "measure": number + 1, "section": label,
         "symbol": [kind for _, kind, _ in chords], "root": [root for root, _, _ in chords],
         "bass": [root for root, _, _ in chords], "kind": [kind for _, kind, _ in chords],
         "pitch_classes": [members for _, _, members in chords], "degree": None}
    )  # fmt: skip
    return sections, measures, check_table(table, CHORDS)
