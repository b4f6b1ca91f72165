"""Small changes to a shape: one string left out, or one note raised to the next chord tone."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from arrange.revoicing.candidates import Options, make_options
from arrange.revoicing.choosing import choose
from arrange.revoicing.movers import Mover
from arrange.revoicing.units import SILENT, Unit
from arrange.revoicing.version import Version
from arrange.tables.sounding import Array
from arrange.text.words import first_few

_OCTAVE = 12
_SHOWN = 3  # changes that a sentence names


def one_string_fewer(mover: Mover, forced: Sequence[bool]) -> Version:
    """Leave out one string of each shape that a finding touches, the one that costs least."""
    notes, said = _changed(mover, forced, _without_one, _left_out_words)
    return Version("leave out one string", f"leaves out {said}", notes)


def one_note_raised(mover: Mover, forced: Sequence[bool]) -> Version:
    """Raise one note of each shape that a finding touches to the next member above it that the
    shape does not have, the one that costs least.
    """
    notes, said = _changed(mover, forced, _one_raised, _raised_words)
    return Version("raise one note", f"raises {said}", notes)


def _changed(
    mover: Mover,
    forced: Sequence[bool],
    change: Callable[[Mover, int], Options],
    words: Callable[[Mover, int, Array], str],
) -> tuple[pd.DataFrame, str]:
    """The song's notes with the cheapest changes of the shapes that may not stay, and what they
    are.
    """
    options = mover.options(None)
    for number, unit in enumerate(mover.units):
        if unit.free and unit.harmony is not None and len(unit.written) > 2 and forced[number]:
            others = change(mover, number)
            if len(others.cost):
                options[number] = others
    found = choose(mover.units, options, mover.taste.prices)
    said = dict.fromkeys(
        words(mover, number, own.pitches[row])
        for number, (own, row) in enumerate(zip(options, found.options, strict=True))
        if (own.pitches[row] != np.rint(mover.units[number].written)).any()
    )
    notes = mover.played(mover.scene.song.notes, options, found.options)
    return notes, first_few(said, _SHOWN)


def _without_one(mover: Mover, number: int) -> Options:
    unit = mover.units[number]
    size = len(unit.written)
    pitches = np.where(np.eye(size, dtype=bool), SILENT, np.rint(unit.written)).astype(np.int64)
    return mover.of_written(number, pitches)


def _left_out_words(mover: Mover, number: int, pitches: Array) -> str:
    unit = mover.units[number]
    rank = int(np.argmax(pitches == SILENT))
    string = mover.strings[number][rank]
    note = mover.scene.name(float(unit.written[rank]), unit.begin)
    which = f"string {string} ({note})" if string else note
    return f"{which} of {_symbol(unit)}"


def _one_raised(mover: Mover, number: int) -> Options:
    """Only to what a hand can hold: a voicing of the pool."""
    unit, known = mover.units[number], mover.every_voicing(number)
    written = np.rint(unit.written).astype(np.int64)
    raised = np.array([_raised(unit, rank) for rank in range(len(written))])
    if known is None:
        return mover.of_written(number, raised[:0])
    pool, rows, _ = known
    full = rows[pool.count[rows] == len(written)]
    order = full[np.argsort(-pool.cost_mm[full], kind="stable")]  # the cheapest comes last and wins
    sounds = pool.pitches[order, : len(written)].tolist()
    row_of = {tuple(each): row for each, row in zip(sounds, order.tolist(), strict=True)}
    found = [row_of.get(tuple(sorted(each)), -1) for each in raised.tolist()]
    can = (np.array(found) >= 0) & (raised != written).any(axis=1)
    which = np.array(found)[can]
    cost = mover.costs(number, raised[can], pool.cost_mm[which])
    return make_options(unit, raised[can], pool.place_mm[which], cost, pool.shapes[which])


def _raised(unit: Unit, rank: int) -> list[int]:
    """The written pitches, one at the next member above it that is not among them; as they are if
    there is none within an octave.
    """
    assert unit.harmony is not None
    pitches = np.rint(unit.written).astype(int).tolist()
    above = range(pitches[rank] + 1, pitches[rank] + _OCTAVE + 1)
    new = (at for at in above if at % _OCTAVE in unit.harmony.members and at not in pitches)
    pitches[rank] = next(new, pitches[rank])
    return pitches


def _raised_words(mover: Mover, number: int, pitches: Array) -> str:
    unit = mover.units[number]
    rank = int(np.argmax(pitches != np.rint(unit.written)))
    pair = (unit.written[rank], pitches[rank])
    old, new = (mover.scene.name(float(at), unit.begin) for at in pair)
    return f"{old} of {_symbol(unit)} to {new}"


def _symbol(unit: Unit) -> str:
    assert unit.harmony is not None
    return unit.harmony.symbol
