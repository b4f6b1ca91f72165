"""Notes that disagree with the chord symbol: ``third`` and ``outside``."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene, reaching
from arrange.quantities.harmony import inferred_chords
from arrange.tables.sounding import Array
from arrange.text.words import listed
from arrange.theory.pitch import MODES, key_tonic

MINOR_THIRD, MAJOR_THIRD, FOURTH = 3, 4, 5  # semitones above the root
_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
_MINOR_SCALES = (0, 2, 3, 5, 7, 8, 9, 10, 11)  # natural, harmonic and melodic together
_AWAY = 0.25  # of a part's time in a bar that is outside the key (ours)
_BARS_AWAY = 3  # on end (ours)
COLOUR_WEIGHT = 0.25  # for a tone of the key that is no member: a ninth, a sixth (ours)

# What the two parts hold over the root, and its name.
_CONFLICTS = (
    (MAJOR_THIRD, MINOR_THIRD, "the major third", "the minor third"),
    (MAJOR_THIRD, FOURTH, "the major third", "the suspended fourth"),
    (MINOR_THIRD, FOURTH, "the minor third", "the suspended fourth"),
)


def find_thirds(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where two parts disagree on the third of the chord.

    One holds the major and the other the minor third over the chord symbol's root, or one holds a
    third and the other the fourth of a suspended chord. It is excused where the symbol itself asks
    for both, as a dominant with a sharp nine does. The value is the seconds held, repeats within a
    section at most a bar apart added up.
    """
    holds = _held_above_root(scene)
    if holds is None:
        return []
    above, members = holds
    found = []
    for conflict in _CONFLICTS:
        one, other, *_ = conflict
        allowed = members[one] & members[other]
        if other == FOURTH:
            allowed |= ~members[FOURTH] | members[one]  # a fourth is none without a suspension
        holds, others = (above[one] > 0) & ~allowed, above[other] > 0
        for first in range(len(holds)):
            second, at = np.nonzero(others & holds[first])
            apart = second != first  # a part does not disagree with itself
            second, at = second[apart], at[apart]
            seconds = scene.slice_seconds[at]
            for run in reaching(scene.slice_runs(at, second), seconds, limits.third):
                pair, start = (first, int(second[run[0]])), at[run[0]]
                pitches = float(above[one, first, start]), float(above[other, pair[1], start])
                value = float(seconds[run].sum())
                found.append(_disagreement(scene, limits, pair, pitches, at[run], conflict, value))
    return found


def _held_degrees(scene: Scene, pair: tuple[int, int], at: Array, degrees: Sequence[int]) -> Array:
    """Rows of the notes that two parts hold above the chord's root, each part on its own degree."""
    note, where = scene.sounding_in(at, *pair)
    above = np.mod(scene.pitch[note] - _slice_root(scene)[where], 12)
    meant = np.where(scene.part[note] == pair[0], *degrees)
    return scene.row[note[above == meant]]


def _disagreement(
    scene: Scene,
    limits: Limits,
    pair: tuple[int, int],
    pitches: tuple[float, float],
    at: Array,
    conflict: tuple[int, int, str, str],
    value: float,
) -> Clash:
    """The finding from the slices in which a pair of parts disagrees."""
    *degrees, its_third, other_third = conflict
    lines = scene.slices[0]
    onset = float(lines[at[0]])
    parts = [scene.parts[part] for part in pair]
    names = [scene.name(note, onset) for note in pitches]
    symbol = scene.symbols[int(scene.slice_chord[at[0]])]
    return Clash(
        "third", onset, float(lines[at[-1] + 1]), parts, pitches, value, limits.third, "s",
        f"{parts[0]}'s {names[0]} is {its_third} over {symbol} and {parts[1]}'s {names[1]} "
        f"{other_third}, for {value:.1f} s: agree on one, or leave it to one player.",
        _held_degrees(scene, pair, at, degrees),
    )  # fmt: skip


def _held_above_root(scene: Scene) -> tuple[Array, dict[int, Array]] | None:
    """The pitch that each part holds at each degree above the chord's root, by slice; 0 for none.

    Returns an array semitones above the root x parts x slices, and for each of the three
    semitones whether the chord symbol of the slice asks for it.
    """
    lines, note, at = scene.slices
    chords = scene.chords
    if chords.empty or not len(note):
        return None
    row, root = scene.slice_chord, _slice_root(scene)
    above_root = np.where(root[at] >= 0, np.mod(scene.pitch[note] - root[at], 12), -1)
    above = np.zeros((FOURTH + 1, len(scene.parts), len(lines) - 1))
    asked = [
        {(pitch_class - base) % 12 for pitch_class in members} if base >= 0 else set()
        for members, base in zip(
            chords["pitch_classes"], chords["root"].fillna(-1).astype(int), strict=True
        )
    ]
    members = {}
    for size in (MINOR_THIRD, MAJOR_THIRD, FOURTH):
        rows = np.flatnonzero(above_root == size)
        above[size, scene.part[note[rows]], at[rows]] = scene.pitch[note[rows]]
        asks = np.array([size in each for each in asked])
        members[size] = asks[row] & (row >= 0)
    return above, members


def _slice_root(scene: Scene) -> Array:
    """Root of the chord symbol in each slice, -1 for none."""
    roots = np.append(scene.chords["root"].fillna(-1).to_numpy(dtype=np.int64), -1)
    return np.asarray(roots[scene.slice_chord])  # -1, no symbol, picks the last


def find_outside(scene: Scene, limits: Limits) -> list[Clash]:
    """Return notes that are held outside the chord symbol, and parts that leave the key.

    The value is the seconds held, weighed: in full for a note a semitone above a member of the
    chord (an avoid note) or outside the key, a quarter for other notes of the key, which colour a
    chord more than they fight it. Repeats within a section, at most a bar apart, add up. Where a
    song has no chord symbols at all, the harmony is inferred, the weight is less the less sure it
    is, and the sentence says so. Nothing is reported where a symbol names no members.

    A part that is outside the key for three bars and more, while the others are not, is one finding
    of its own; its value is the seconds of those notes.
    """
    if not len(scene.part):
        return []
    if scene.song.chords.empty:
        scene = scene.under(inferred_chords(scene.song))
    if scene.chords.empty:
        return []
    away = _find_away(scene, limits, _in_key(scene.keys))
    keys = _in_key(scene.written_keys if scene.harmony is None else scene.keys)
    covered = np.concatenate([np.empty(0, dtype=np.int64), *(each.notes for each in away)])
    single = _find_outside_chord(scene, limits, keys)
    return away + [each for each in single if not np.isin(each.notes, covered).all()]


def _find_outside_chord(scene: Scene, limits: Limits, keys: Array) -> list[Clash]:
    lines, note, at = scene.slices
    members, row = _chord_members(scene), scene.slice_chord
    names_members: Array = np.any(members, axis=1)
    asks = (row >= 0) & names_members[row]
    pitch_class = _pitch_classes(scene)[note]
    outside = np.flatnonzero(asks[at] & ~members[row[at], pitch_class])
    note, at, pitch_class = note[outside], at[outside], pitch_class[outside]
    if not len(note):
        return []
    avoid = members[row[at], (pitch_class - 1) % 12]
    in_key = keys[scene.measure_of(lines[at]), pitch_class]
    seconds = scene.slice_seconds[at]
    weighed = seconds * np.where(avoid | ~in_key, 1.0, COLOUR_WEIGHT)
    if scene.harmony is not None:
        weighed *= scene.harmony["confidence"].to_numpy()[row[at]]
    runs_of = scene.slice_runs(at, scene.part[note], scene.pitch[note], row[at])
    found = []
    for run in reaching(runs_of, weighed, limits.outside):
        first, value = run[0], float(weighed[run].sum())
        onset = float(lines[at[first]])
        part, pitch = scene.parts[scene.part[note[first]]], float(scene.pitch[note[first]])
        why = (
            "a semitone above one of its notes" if avoid[first]
            else "of the key, but not of the chord" if in_key[first]
            else "outside the key"
        )  # fmt: skip
        symbol = scene.symbols[int(row[at[first]])]
        over, or_else = (
            (symbol, ", or whether the symbol wants another name") if scene.harmony is None
            else (f"what sounds like {symbol}", "; no symbol stands there: the harmony is inferred")
        )  # fmt: skip
        found.append(
            Clash(
                "outside", onset, float(lines[at[run].max() + 1]), [part], [pitch], value,
                limits.outside, "weighted s",
                f"{part} holds {scene.name(pitch, onset)} over {over}, {why}, for "
                f"{seconds[run].sum():.1f} s: listen whether it colours the chord or fights it"
                f"{or_else}.",
                scene.row[note[run]],
            )
        )  # fmt: skip
    return found


def _find_away(scene: Scene, limits: Limits, keys: Array) -> list[Clash]:
    """Parts that leave the key for some bars on end: in each, a quarter of their time and more is
    outside the key, the written chord and what the other parts sound there; two pitches at least.
    """
    lines, note, at = scene.slices
    bar, part, pitch_class = (
        scene.measure_of(lines[at]),
        scene.part[note],
        _pitch_classes(scene)[note],
    )
    seconds = scene.slice_seconds[at]
    shape = len(scene.parts), len(keys)
    heard = np.zeros((*shape, 12), dtype=bool)
    heard[part, bar, pitch_class] = True
    parts_with = heard.sum(axis=0)[bar, pitch_class]
    others = heard.any(axis=2).sum(axis=0)[bar] > 1
    foreign = ~keys[bar, pitch_class] & (parts_with == 1) & others
    if scene.harmony is None:
        row = scene.slice_chord[at]
        foreign &= (row < 0) | ~_chord_members(scene)[row, pitch_class]
    foreign &= scene.is_asked[part]
    cell = part * shape[1] + bar
    own, whole = (
        np.bincount(cell, weights, minlength=shape[0] * shape[1]).reshape(shape)
        for weights in (seconds * foreign, seconds)
    )
    is_away = (own > 0) & (own >= _AWAY * whole)
    found = []
    for which, first, last in _long_runs(is_away & scene.is_asked[:, None]):
        rows = np.flatnonzero(foreign & (part == which) & (bar >= first) & (bar <= last))
        value = float(seconds[rows].sum())
        several = len(set(pitch_class[rows].tolist())) > 1  # one alone is a colour
        if several and value >= limits.outside_key_seconds:
            found.append(_away(scene, limits, (which, first, last), rows, value))
    return found


def _long_runs(is_away: Array) -> list[tuple[int, int, int]]:
    """Part, first and last bar of each run of bars that is long enough."""
    padded = np.pad(is_away.astype(np.int64), ((0, 0), (1, 1)))
    part, first = np.nonzero(np.diff(padded, axis=1) == 1)
    _, end = np.nonzero(np.diff(padded, axis=1) == -1)
    long = end - first >= _BARS_AWAY
    return list(
        zip(part[long].tolist(), first[long].tolist(), (end[long] - 1).tolist(), strict=True)
    )


def _away(
    scene: Scene, limits: Limits, where: tuple[int, int, int], rows: Array, value: float
) -> Clash:
    """The finding of a part that leaves the key, from its (note, slice) pairs outside it."""
    lines, note, at = scene.slices
    part, onset = scene.parts[where[0]], float(lines[at[rows[0]]])
    pitches = np.unique(scene.pitch[note[rows]]).tolist()
    classes = list(
        dict.fromkeys(scene.name(pitch, onset).rstrip("-0123456789") for pitch in pitches)
    )
    key = scene.keys[where[1]]
    inferred = " (the key is inferred from the notes)" * (scene.written_keys[where[1]] is None)
    return Clash(
        "outside", onset, float(lines[at[rows].max() + 1]), [part], pitches, value,
        limits.outside_key_seconds, "s",
        f"{part} plays notes outside {key}{inferred} in {where[2] - where[1] + 1} bars on end, "
        f"{listed(classes)}, which no other part has there: listen whether it is meant, or a slip "
        "of position, capo or clef.",
        scene.row[note[rows]],
    )  # fmt: skip


def _pitch_classes(scene: Scene) -> Array:
    return np.asarray(np.mod(np.rint(scene.pitch).astype(np.int64), 12))


def _chord_members(scene: Scene) -> Array:
    """Chords x pitch classes: what each symbol holds, its bass too."""
    chords = scene.chords
    members = np.zeros((len(chords), 12), dtype=bool)
    for row, (classes, bass) in enumerate(
        zip(chords["pitch_classes"], chords["bass"].fillna(-1).astype(int), strict=True)
    ):
        if len(classes) > 1:  # a root alone names no chord
            members[row, list(classes)] = True
            members[row, bass if bass >= 0 else classes[0]] = True
    return members


def _in_key(keys: Sequence[str | None]) -> Array:
    """Measures x pitch classes: what the key holds; all of them where there is none."""
    scales = np.ones((len(keys), 12), dtype=bool)
    for key in {key for key in keys if key is not None}:
        tonic, mode = key_tonic(key), key.partition(" ")[2]
        scale = _MINOR_SCALES if mode in ("minor", "aeolian") else _MAJOR_SCALE
        shift = 0 if mode in ("minor", "aeolian") else _mode_shift(mode)
        held = np.zeros(12, dtype=bool)
        held[[(tonic + shift + step) % 12 for step in scale]] = True
        scales[[each == key for each in keys]] = held
    return scales


def _mode_shift(mode: str) -> int:
    """Semitones from a mode's tonic up to that of the major scale with its notes."""
    return -7 * MODES.get(mode, 0) % 12
