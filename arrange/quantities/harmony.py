"""Harmony where no symbols are written: keys by stretch, and chords, inferred from the notes.

What is inferred is never mixed up with what is written: it stands in tables of its own, each row
with a ``confidence``, and no reader, writer or sheet asks for it.

Keys. Bar by bar, each of 24 keys is as likely as its profile makes the time that the pitch classes
sound; the best path pays for each change. The profiles are B. Aarden's (Dynamic Melodic Expectancy,
dissertation, Ohio State University 2003), the numbers as music21 has them; the weights are ours.

Chords. The beats of a bar are its pieces. In each, every chord of ``_KINDS`` on every root gains by
the share of the sounding time that is its own and loses by the share that is not, gains by its root
or another member as the lowest note, and loses where its root or third is lacking or a member is
foreign to the key; the best path pays for each change, more inside a bar than at its line, so that
chords change by bar and half bar unless the notes insist. These weights are ours; how often they
are right is measured in tests/benchmarks/harmony.py.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.tables.columns import integer_column, object_column, text_column
from arrange.tables.song import Song
from arrange.tables.sounding import Array, is_played, slices
from arrange.theory.chords import KINDS, Chord, chord_symbol
from arrange.theory.meters import beat_quarters
from arrange.theory.pitch import key_name, pitch_class_name

# How often each degree above the tonic occurs, in hundredths; major and minor.
_PROFILES = np.array([
    [17.7661, 0.145624, 14.9265, 0.160186, 19.8049, 11.3587, 0.291248, 22.062, 0.145624, 8.15494,
     0.232998, 4.95122],
    [18.2648, 0.737619, 14.0499, 16.8599, 0.702494, 14.4362, 0.702494, 18.6161, 4.56621, 1.93186,
     7.37619, 1.75623],
])  # fmt: skip
_LEAST_LIKELY = 0.004  # of a pitch class, so that no single note rules a key out
_A_BAR = 2.0  # by which a bar's evidence counts
_KEY_CHANGE = 16.0  # so that a key holds for several bars
_ENDS_ON_TONIC = 12.0  # what a last bass note on a key's tonic is worth
_SCALES = ((0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 9, 10, 11))  # all forms of the minor

# What each kind of chord has to make up for, since it has more members or is rarer.
_KINDS = {
    "major": 0.0, "minor": 0.0, "dominant": 0.1, "minor-seventh": 0.15, "major-seventh": 0.2,
    "diminished": 0.1, "half-diminished": 0.15, "diminished-seventh": 0.2,
}  # fmt: skip
_ROOT_LOWEST, _MEMBER_LOWEST = 0.35, 0.1
_LACKS, _PRESENT = 0.25, 0.125  # from that share of a piece's notes on, a member is not lacking
_FOREIGN = 0.12  # for each member
_CHANGES = (0.25, 0.35, 0.6)  # at a bar line, at half the bar, at another beat
_LONGEST = 1.5  # quarter notes: a beat counts as no more
_SHARPNESS = 4.0  # by which a lead in gains makes a chord certain


class _Pieces(NamedTuple):
    """The beats of a song: their lines, the row of their bar, and where in it they begin."""

    lines: Array
    bar: Array
    place: Array  # 0 the bar line, 1 half the bar, 2 elsewhere


def inferred_keys(song: Song) -> pd.DataFrame:
    """Return the keys that the notes suggest, stretch by stretch.

    Returns
    -------
    DataFrame
        A row a stretch of bars: ``first_measure``, ``last_measure``, ``onset``, ``duration``,
        ``key`` (such as ``"D minor"``), and ``confidence``, 0 to 1: how likely the key is against
        all others by the notes of its stretch. No rows where nothing sounds with a pitch.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> ar.inferred_keys(song)["key"].tolist()
    ['D major', 'C major', 'D major']
    """
    pieces = _pieces(song)
    time, _ = _sounding_time(song, pieces.lines)
    path, gain = _key_path(song, pieces, time)
    bars = song.measures
    if not time.any():
        path = path[:0]
    first = np.flatnonzero(np.diff(path, prepend=-1))
    last = np.append(first[1:], len(path)) - 1
    sums = np.add.reduceat(gain, first, axis=0) if len(first) else np.empty((0, 24))
    onset, ends = bars["onset"].to_numpy(), (bars["onset"] + bars["duration"]).to_numpy()
    return pd.DataFrame({
        "first_measure": first + 1,
        "last_measure": last + 1,
        "onset": onset[first],
        "duration": ends[last] - onset[first],
        "key": text_column([_key(state) for state in path[first].tolist()]),
        "confidence": _certain(sums)[np.arange(len(first)), path[first]],
    })  # fmt: skip


def inferred_key(song: Song) -> str | None:
    """Return the key that the notes suggest for the whole song, a last bass note on its tonic
    counting too; None where nothing sounds with a pitch.
    """
    pieces = _pieces(song)
    time, lowest = _sounding_time(song, pieces.lines)
    if not time.any():
        return None
    gain = _key_path(song, pieces, time)[1].sum(axis=0)
    final = lowest[np.flatnonzero(time.any(axis=1))[-1]].argmax()
    gain[[final, final + 12]] += _ENDS_ON_TONIC
    return _key(int(gain.argmax()))


def inferred_chords(song: Song) -> pd.DataFrame:
    """Return the chords that the notes suggest, whatever symbols are written.

    Returns
    -------
    DataFrame
        A chords table, and ``confidence``, 0 to 1: how likely the chord's root is against all
        others by the notes of its time. Silence has no chord. ``degree`` is none.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/harbour-set/1-rope-and-lantern.txt")
    >>> ar.inferred_chords(song)["symbol"].head(6).tolist()
    ['D', 'G', 'D', 'A', 'D', 'Bm']
    """
    pieces = _pieces(song)
    time, lowest = _sounding_time(song, pieces.lines)
    keys, _ = _key_path(song, pieces, time)
    gain = _chord_gains(time, lowest, keys[pieces.bar])
    sounds: Array = np.asarray(time.any(axis=1))
    gain *= (sounds * np.minimum(np.diff(pieces.lines), _LONGEST))[:, None]
    path = _best_path(gain, np.array(_CHANGES)[pieces.place], sounds)
    path = np.where(sounds, path, -1)
    first = np.flatnonzero(np.diff(path, prepend=-2))
    last = np.append(first[1:], len(path))
    heard = path[first] >= 0
    sums = np.add.reduceat(gain, first, axis=0) if len(first) else gain
    first, last, sums = first[heard], last[heard], sums[heard]
    return _chord_table(song, pieces, path[first], (first, last), sums)


def _chord_table(
    song: Song, pieces: _Pieces, state: Array, span: tuple[Array, Array], sums: Array
) -> pd.DataFrame:
    names, first, onset = list(_KINDS), span[0], pieces.lines[span[0]]
    kinds, roots = [names[each] for each in (state // 12).tolist()], state % 12
    bar = pieces.bar[first]
    keys = map(song.key_at, onset.tolist())
    named = list(zip(roots.tolist(), kinds, keys, strict=True))
    symbol_of = {
        (root, kind, key): chord_symbol(Chord(pitch_class_name(root, key), kind))
        for root, kind, key in set(named)
    }
    sums = sums - sums.max(axis=1, keepdims=True)  # so that none is too large for exp
    by_root = np.exp(_SHARPNESS * sums).reshape(len(sums), len(names), 12).max(axis=1)
    members = [
        tuple((root + size) % 12 for size in KINDS[kind][0])
        for root, kind in zip(roots.tolist(), kinds, strict=True)
    ]
    return pd.DataFrame({
        "onset": onset,
        "duration": pieces.lines[span[1]] - onset,
        "measure": bar + 1,
        "section": song.measures["section"].array.take(bar),
        "symbol": text_column([symbol_of[each] for each in named]),
        "root": integer_column(roots),
        "bass": integer_column(roots),
        "kind": text_column(kinds),
        "pitch_classes": object_column(members),
        "degree": text_column([None] * len(roots)),
        "confidence": by_root[np.arange(len(roots)), roots] / by_root.sum(axis=1),
    })  # fmt: skip


def _pieces(song: Song) -> _Pieces:
    bars = song.measures
    onset, lasts = bars["onset"].to_numpy(), bars["duration"].to_numpy()
    beats = {meter: max(beat_quarters(meter), 1.0) for meter in set(bars["meter"])}
    beat = np.array([beats[meter] for meter in bars["meter"].tolist()])
    count = np.maximum(np.floor(lasts / beat + 1e-6).astype(np.int64), 1)
    bar = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(bar)) - np.repeat(np.cumsum(count) - count, count)
    is_half = (2 * within == count[bar]) & (within > 0)
    lines = np.append(onset[bar] + within * beat[bar], song.duration)
    return _Pieces(lines, bar, np.where(within == 0, 0, np.where(is_half, 1, 2)))


def _sounding_time(song: Song, lines: Array) -> tuple[Array, Array]:
    """Pieces x pitch classes: quarter notes that each sounds, once a part, and that each is the
    lowest.
    """
    notes, is_drums = song.notes, (song.parts["family"] == "drums").to_numpy()
    part = pd.Index(song.parts["part"]).get_indexer(notes["part"])
    onset, pitch = notes["onset"].to_numpy(), np.rint(notes["pitch"].to_numpy())
    end = np.minimum(onset + notes["duration"].to_numpy(), lines[-1])
    heard = is_played(notes) & ~np.isnan(pitch) & ~is_drums[part] & (end > onset)
    pitch, part = pitch[heard], part[heard]
    cuts, note, at = slices(onset[heard], end[heard], lines)
    piece = np.clip(np.searchsorted(lines, cuts[:-1] + 1e-9, side="right") - 1, 0, len(lines) - 2)
    lasts, shape = np.diff(cuts), (len(lines) - 1, 12)
    pitch_class = np.mod(pitch, 12).astype(np.int64)
    each = (part[note] * len(cuts) + at) * 12 + pitch_class[note]
    once = np.unique(each, return_index=True)[1]
    cell = piece[at[once]] * 12 + pitch_class[note[once]]
    time = np.bincount(cell, lasts[at[once]], minlength=shape[0] * 12).reshape(shape)
    low = np.full(len(lasts), np.inf)
    np.minimum.at(low, at, pitch[note])
    some = np.flatnonzero(np.isfinite(low))
    cell = piece[some] * 12 + np.mod(low[some], 12).astype(np.int64)
    return time, np.bincount(cell, lasts[some], minlength=shape[0] * 12).reshape(shape)


def _key_path(song: Song, pieces: _Pieces, time: Array) -> tuple[Array, Array]:
    """The key of each bar, 0 to 11 major and 12 to 23 minor, and what each key gains there."""
    lasts = song.measures["duration"].to_numpy()
    by_bar = np.zeros((len(lasts), 12))
    np.add.at(by_bar, pieces.bar, time)
    likely = np.maximum(_PROFILES / _PROFILES.sum(axis=1)[:, None], _LEAST_LIKELY)
    logs = np.log([np.roll(likely[mode], tonic) for mode in (0, 1) for tonic in range(12)])
    gain = _A_BAR * by_bar / np.maximum(lasts, 1e-9)[:, None] @ logs.T
    return _best_path(gain, np.full(len(lasts), _KEY_CHANGE), np.asarray(by_bar.any(axis=1))), gain


def _chord_gains(time: Array, lowest: Array, key: Array) -> Array:
    """Pieces x chords, kind by kind: what each chord gains in a quarter note of each piece."""
    weight = np.sqrt(time)  # what is doubled or held long counts less than in full
    share = weight / np.maximum(weight.sum(axis=1), 1e-9)[:, None]
    low = lowest / np.maximum(lowest.sum(axis=1), 1e-9)[:, None]
    lacks = 1 - np.minimum(share / _PRESENT, 1)
    foreign = _FOREIGN * ~_scales()[key]
    gains = []
    for kind, costs in _KINDS.items():
        sizes = KINDS[kind][0]
        member = np.array([[(pc - root) % 12 in sizes for pc in range(12)] for root in range(12)])
        root = np.eye(12, dtype=bool)
        gain = 2 * share @ member.T - share.sum(axis=1)[:, None]
        gain += _ROOT_LOWEST * low + _MEMBER_LOWEST * low @ (member & ~root).T
        gain -= _LACKS * (lacks + np.roll(lacks, -sizes[1], axis=1))
        gains.append(gain - foreign @ member.T - costs)
    return np.concatenate(gains, axis=1)


def _scales() -> Array:
    """Keys x pitch classes: whether a key has them."""
    return np.array([[(pc - tonic) % 12 in scale for pc in range(12)]
                     for scale in _SCALES for tonic in range(12)])  # fmt: skip


def _best_path(gain: Array, change: Array, sounds: Array) -> Array:
    """The state of each step, of greatest gain in all; `change` is what a change costs there.

    After a step of silence nothing that was before it counts.
    """
    steps, states = gain.shape
    came, best = np.empty((steps, states), dtype=np.int64), np.zeros(states)
    same = np.arange(states)
    for step in range(steps):
        leader = int(best.argmax())
        if step and sounds[step] and not sounds[step - 1]:
            came[step], best = leader, gain[step].copy()
            continue
        jump = best[leader] - change[step]
        stays = best >= jump
        came[step] = np.where(stays, same, leader)
        best = np.where(stays, best, jump) + gain[step]
    path = np.empty(steps, dtype=np.int64)
    state = int(best.argmax()) if steps else 0
    for step in range(steps - 1, -1, -1):
        path[step] = state
        state = int(came[step, state])
    return path


def _certain(sums: Array) -> Array:
    """How likely each state is, from the logarithms of its likelihood."""
    likely = np.exp(sums - sums.max(axis=1, initial=-np.inf)[:, None])
    return np.asarray(likely / likely.sum(axis=1)[:, None])


def _key(state: int) -> Any:
    """The name of a key; of two that sound the same, the one with fewer signs."""
    tonic, mode = state % 12, "minor" if state >= 12 else "major"
    fifths = (7 * (tonic + 3 * (mode == "minor")) + 5) % 12 - 5
    return key_name(fifths, mode)
