"""What a guitarist would try: each idea makes one version of the part, or none.

Ideas on voicings are the search of ``choosing`` with fewer voicings to choose from; what no finding
touches may stay as written. Ideas on lines and rhythm change whole attacks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np
import pandas as pd

from arrange.revoicing.candidates import OPEN_FRETS, Pool
from arrange.revoicing.choosing import choose
from arrange.revoicing.movers import Keeps, Mover, played, with_capo, without_notes
from arrange.revoicing.small_changes import one_note_raised, one_string_fewer
from arrange.revoicing.version import Version
from arrange.tables.sounding import Array, sounding_notes

CAPOS = 7  # the highest fret for a capo (common practice: beyond it little neck is left)
_CAPOS_LOOKED_AT = 2  # of those, the ones whose path costs least are looked at
_OTHER_REGISTER = 3.0  # semitones from which a voicing counts as higher or lower (ours)
_LEAST_ROOM = 0.5  # quarter notes from which there is room for an attack in between
_OCTAVE = 12


def _guards(mover: Mover, number: int, pool: Pool, rows: Array, spare: Array) -> Array:
    """Voicings that keep what this part alone sounds of the chord: third, seventh, the bass.

    `spare` are pitch classes that may go all the same.
    """
    unit = mover.units[number]
    harmony = unit.harmony
    assert harmony is not None
    others, lowest, has_bass = _what_others_sound(mover, number)
    own = {int(pitch) % _OCTAVE for pitch in unit.written}
    fits = np.ones(len(rows), dtype=bool)
    for guide in harmony.guides & own - others - set(spare.tolist()):
        fits &= pool.has(guide)[rows]
    is_bottom = unit.written[0] < lowest and not has_bass
    if is_bottom and unit.written[0] % _OCTAVE == harmony.bass:
        fits &= pool.lowest[rows] % _OCTAVE == harmony.bass
    return fits


def _what_others_sound(mover: Mover, number: int) -> tuple[set[int], float, bool]:
    """Pitch classes of the other parts in a unit, their lowest pitch, whether a bass plays."""
    scene, unit = mover.scene, mover.units[number]
    sounds = (scene.onset < unit.finish) & (scene.end > unit.begin)
    sounds &= scene.part != scene.parts.index(mover.part)
    pitch = scene.pitch[sounds]
    has_bass = bool((scene.families[scene.part[sounds]] == "bass").any())
    return {int(each) % _OCTAVE for each in pitch}, float(pitch.min(initial=np.inf)), has_bass


_NONE = np.empty(0, dtype=np.int64)


def any_voicing(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """All that keep the harmony, with as many notes as written."""
    full = pool.count[rows] == len(mover.units[number].written)
    return full & _guards(mover, number, pool, rows, _NONE)


def any_or_fewer(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """All that keep the harmony, with at most as many notes as written and at least three."""
    least = min(3, len(mover.units[number].written))
    return (pool.count[rows] >= least) & _guards(mover, number, pool, rows, _NONE)


def _inversion(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """On the same strings, with what the chord is known by; of a grip with fewer notes than that,
    what it held of it.
    """
    unit = mover.units[number]
    harmony = unit.harmony
    assert harmony is not None
    must = harmony.names_it
    if len(must) > len(unit.written):
        must = must & {int(pitch) % _OCTAVE for pitch in unit.written}
    fits = pool.strings[rows] == mover.written[number][1]
    fits &= any_voicing(mover, number, pool, rows)
    for each in must:
        fits &= pool.has(each)[rows]
    return fits


def _other_strings(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    other = pool.strings[rows] != mover.written[number][1]
    return other & any_or_fewer(mover, number, pool, rows)


def _higher(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    above = pool.mean[rows] >= mover.units[number].written.mean() + _OTHER_REGISTER
    return above & any_or_fewer(mover, number, pool, rows)


def _lower(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    below = pool.mean[rows] <= mover.units[number].written.mean() - _OTHER_REGISTER
    return below & any_or_fewer(mover, number, pool, rows)


def _no_third(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    harmony = mover.units[number].harmony
    assert harmony is not None
    third = np.array(sorted(harmony.third), dtype=np.int64)
    fits = _guards(mover, number, pool, rows, third) & (len(third) > 0)
    for each in third.tolist():
        fits &= ~pool.has(each)[rows]
    return fits


def _no_root(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """Where another part sounds the root."""
    harmony = mover.units[number].harmony
    assert harmony is not None
    others, _, _ = _what_others_sound(mover, number)
    fits = _guards(mover, number, pool, rows, _NONE) & (harmony.root in others)
    return fits & ~pool.has(harmony.root)[rows]


def shell(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """Two or three notes with third and seventh, or third and root where there is none."""
    unit = mover.units[number]
    harmony = unit.harmony
    assert harmony is not None
    must = harmony.guides if len(harmony.guides) > 1 else harmony.guides | {harmony.root}
    fits = _guards(mover, number, pool, rows, _NONE)
    fits &= (pool.count[rows] <= 3) & (pool.count[rows] < len(unit.written))
    fits &= bool(harmony.third)
    for each in must:
        fits &= pool.has(each)[rows]
    return fits


def _rings_open(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """Within four frets of the nut or the capo, with a string that rings open there."""
    return _low(mover, number, pool, rows) & (pool.opened[rows] > 0)


def _low(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    near = pool.shapes[rows].max(axis=1) <= mover.neck.capo + OPEN_FRETS
    return near & any_or_fewer(mover, number, pool, rows)


def _open_shape(mover: Mover, number: int, pool: Pool, rows: Array) -> Array:
    """As ``_rings_open``, and where no string can, any shape there."""
    opened = _rings_open(mover, number, pool, rows)
    return opened if opened.any() else _low(mover, number, pool, rows)


# Idea -> which voicings, by how much lines may move, what the player does, whether the chord's
# third may go.
VOICING_IDEAS: dict[str, tuple[Keeps, tuple[int, ...], str, bool]] = {
    "clear voicings": (any_or_fewer, (0,), "takes voicings that stay clear", False),
    "another inversion": (_inversion, (0,), "plays other inversions on the same strings", False),
    "another string set": (_other_strings, (0,), "plays the chords on other strings", False),
    "up the neck": (_higher, (0, _OCTAVE), "plays the chords higher up", False),
    "down the neck": (_lower, (0, -_OCTAVE), "plays the chords lower", False),
    "without the third": (_no_third, (0,), "leaves the thirds out", True),
    "without the root": (_no_root, (0,), "leaves the roots to the others", False),
    "open shapes": (_rings_open, (0,), "plays shapes with open strings", False),
    "shells": (shell, (0,), "plays two or three notes that name the chord", False),
}


def voicing_versions(
    mover: Mover, forced: Sequence[bool], names: Sequence[str]
) -> Iterator[Version]:
    """Yield a version for each idea on voicings; `forced` units may not stay as written.

    None where there is no chord to voice: a line alone moves by octaves.
    """
    if not any(unit.free and unit.harmony for unit in mover.units):
        return
    for name, (keeps, shifts, says, gives_up) in VOICING_IDEAS.items():
        if name in names:
            must = None if name == "clear voicings" else forced
            options = mover.options(keeps, shifts, must)
            found = choose(mover.units, options, mover.taste.prices)
            notes = mover.played(mover.scene.song.notes, options, found.options)
            yield Version(name, says, notes, gives_up, cut=sum(o.cut > 0 for o in options))


def fewer_strings(mover: Mover, forced: Sequence[bool]) -> Version:
    """Leave out the lowest or the highest notes of written grips."""
    options = mover.options(None)
    for number, unit in enumerate(mover.units):
        if unit.free and unit.harmony is not None and len(unit.written) > 2 and forced[number]:
            options[number] = mover.fewer(number)
    found = choose(mover.units, options, mover.taste.prices)
    return Version("fewer strings", "leaves out the lowest or highest strings of its chords",
                   mover.played(mover.scene.song.notes, options, found.options))  # fmt: skip


def capo_versions(mover: Mover, pinned: bool) -> Iterator[Version]:
    """Open shapes with the best of the capos that the part has not; none if measures are pinned."""
    if pinned:
        return
    capos = [capo for capo in range(CAPOS + 1) if capo != mover.neck.capo]
    for capo, notes in open_shapes(mover, capos)[:_CAPOS_LOOKED_AT]:
        says = f"puts a capo at fret {capo}" if capo else "takes the capo off"
        yield Version("capo", f"{says} and plays open shapes", notes, capo=capo)


def open_shapes(mover: Mover, capos: Iterable[int]) -> list[tuple[int, pd.DataFrame]]:
    """Return capos with the song's notes in open shapes there; those whose path costs least first.

    All that the part plays is to be fingered anew: its other notes have no strings.
    """
    if not any(unit.free and unit.harmony for unit in mover.units):
        return []
    tried = []
    notes = mover.scene.song.notes
    own = notes["part"] == mover.part
    freed = notes.assign(**{name: notes[name].mask(own) for name in ("string", "fret")})
    for capo in capos:
        if capo >= mover.neck.frets - OPEN_FRETS:
            continue
        moved = with_capo(mover, capo)
        options = moved.options(_open_shape, (0,), [unit.free for unit in mover.units])
        found = choose(mover.units, options, mover.taste.prices)
        tried.append((found.cost, capo, moved.played(freed, options, found.options)))
    return [(capo, notes) for _, capo, notes in sorted(tried, key=lambda each: each[:2])]


def octave_versions(mover: Mover) -> Iterator[Version]:
    """All that is free an octave up or down, as it is."""
    for shift, way in ((_OCTAVE, "up"), (-_OCTAVE, "down")):
        pitches = [np.rint(unit.written) + shift * unit.free for unit in mover.units]
        low, high = min(p.min() for p in pitches), max(p.max() for p in pitches)
        if mover.neck.lowest <= low and high <= mover.neck.highest:
            notes = played(mover.scene.song.notes, mover.units, pitches)
            yield Version(f"an octave {way}", f"plays the same an octave {way}", notes)


def thinned(mover: Mover, other: str) -> Version:
    """Leave out the attacks that fall together with the other's."""
    own = mover.scene.song.notes["onset"].to_numpy()[mover.rows]
    same = np.isin(np.round(own, 6), np.round(_onsets(mover, other), 6))
    return Version("thin out", f"leaves out what it attacks together with {other}",
                   without_notes(mover, mover.rows[same]), True)  # fmt: skip


def in_between(mover: Mover, other: str) -> Version:
    """Move the attacks that fall together with the other's half way to what comes next."""
    notes = mover.scene.song.notes
    onset, duration = notes["onset"].to_numpy().copy(), notes["duration"].to_numpy().copy()
    theirs = np.round(_onsets(mover, other), 6)
    own = np.round(onset[mover.rows], 6)
    ours = np.unique(own)
    lines = np.append(mover.scene.song.measures["onset"].to_numpy(), mover.scene.song.duration)
    stops = np.unique(np.concatenate([theirs, ours, np.round(lines, 6)]))
    out = []
    for at in np.intersect1d(ours, theirs):
        rows = mover.rows[own == at]
        after = stops[np.searchsorted(stops, at + 1e-6)] if at < stops[-1] else at
        shift = (after - at) / 2
        if after - at < _LEAST_ROOM:
            out.append(rows)
            continue
        onset[rows] += shift
        duration[rows] = np.maximum(duration[rows] - shift, shift)
    moved = notes.assign(onset=onset, duration=duration)
    keep = np.ones(len(notes), dtype=bool)
    keep[np.concatenate(out) if out else _NONE] = False
    return Version("in between", f"plays between {other}'s attacks", moved[keep], True)


def laid_out(mover: Mover) -> Version:
    """Not play."""
    return Version("lay out", "lays out", without_notes(mover, mover.rows), True)


def doubled(mover: Mover, other: str) -> Iterator[Version]:
    """Play what the other plays, exactly, an octave away or in unison."""
    notes, rows = mover.scene.song.notes, mover.rows
    onset = notes["onset"].to_numpy()
    free = [(unit.begin, unit.finish) for unit in mover.units if unit.free]
    is_theirs = (notes["part"] == other).to_numpy(dtype=bool)
    is_there = np.zeros(len(notes), dtype=bool)
    for begin, end in free:
        is_there |= (onset >= begin - 1e-9) & (onset < end - 1e-9)
    theirs = notes[is_theirs & is_there & notes["pitch"].notna().to_numpy()]
    rest = without_notes(mover, rows)
    for shift, where in ((_OCTAVE, "an octave above"), (-_OCTAVE, "an octave below")):
        pitch = theirs["pitch"] + shift
        if pitch.empty or pitch.min() < mover.neck.lowest or pitch.max() > mover.neck.highest:
            continue
        names = [f"{mover.part} {name}" for name in theirs["source_id"]]
        copied = theirs.assign(
            part=mover.part, pitch=pitch, string=pd.NA, fret=pd.NA, source_id=names
        )
        copied.index = range(int(notes.index.max()) + 1, int(notes.index.max()) + 1 + len(copied))
        both = pd.concat([rest, copied.astype(rest.dtypes.to_dict())])
        yield Version("exact double", f"doubles {other} exactly, {where}",
                      both.sort_values("onset", kind="stable"), True)  # fmt: skip


def _onsets(mover: Mover, other: str) -> Array:
    notes = sounding_notes(mover.scene.song.notes)
    return notes.loc[notes["part"] == other, "onset"].to_numpy()


RHYTHM_IDEAS: dict[str, Callable[[Mover, str], Version]] = {
    "thin out": thinned,
    "in between": in_between,
}
SMALL_IDEAS: dict[str, Callable[[Mover, Sequence[bool]], Version]] = {
    "fewer strings": fewer_strings,
    "leave out one string": one_string_fewer,
    "raise one note": one_note_raised,
}
IDEAS = (*VOICING_IDEAS, *SMALL_IDEAS, "capo", "an octave up", "an octave down",
         "exact double", *RHYTHM_IDEAS, "lay out")  # fmt: skip
