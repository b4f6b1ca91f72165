"""What each recorded layer is there for: lead, hook, rhythm, pad, fill, or another's double.

Estimated from the notes by a few rules that can be read and corrected; each row gives its reason.
That chords, against single notes, mark a rhythm guitar is measured in L. Régnier, K. Martin and
L. Bigo, Identification of rhythm guitar sections in symbolic tablatures, ISMIR 2021 (abstract).
The thresholds are ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.roles import ROLES
from arrange.errors import ArrangeError
from arrange.quantities.texture import DRIVE_DECIBELS, amplitude
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.theory.spelling import unknown_name

DOUBLES = 0.85  # share of a layer's notes that another begins too, in any octave
EVERYWHERE = 0.6  # the least such share in any of its sections
SAME_ATTACKS = 0.6  # share of that other's attacks in the same sections that it has as well
LITTLE = 0.5  # share of the bars of its sections up to which a layer is a fill
GAPS = 0.6  # share of the time of its sections from which a line on top is a lead, and no fill
HELD = 1.2  # attacks a bar up to which what sounds on is a pad
SOUNDS_ON = 0.6  # share of the time it is there for which a pad sounds
CHORDS = 0.5  # share of attacks of two notes or more from which a layer plays chords
COMES_BACK = 0.6  # share of bars heard before from which a line comes back
FIGURE = 8  # different bars up to which what comes back is a hook, and no tune
STEADY = 0.8  # share of steps in time of one length from which picking is steady
WIDE = 2.5  # semitones from note to note from which steady single notes are picking
STILL = 1.0  # up to which they are a pulse
ON_TOP = 0.35  # share of its time that a lead is the highest layer


def layer_roles(
    song: Song,
    layers: Sequence[str] | None = None,
    roles: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Return the role of each layer, as far as its notes show it.

    Parameters
    ----------
    song : Song
    layers : sequence of str, optional
        Labels of parts; else all guitars.
    roles : mapping of layer to role, optional
        What you know better.

    Returns
    -------
    DataFrame
        A row a layer, by name: ``layer``; ``role``; ``presence``, the share of the song's time in
        sections in which it plays; ``sounding``, the share of the song's time in which it sounds;
        ``polyphony``, notes at once while any sounds; ``density``, attacks a second in the
        sections in which it plays; ``chords``, the share of its attacks of two notes or more;
        ``repetition``, the share of its bars that it has played before; ``on_top``, the share of
        its sounding time in which no other layer is higher; ``doubles``, whose line it follows,
        or none; ``salience``, 0 to 1, the mean of on_top, how much its pitch moves and how loud
        it is, each against the layer that has most (ours); ``why``, one sentence.

    Raises
    ------
    ArrangeError
        If a layer or a role is unknown.

    Examples
    --------
    >>> import arrange as ar
    >>> roles = ar.layer_roles(ar.read("datasets/last-bell.musicxml")).set_index("layer")
    >>> roles.loc[["Lead", "Hook", "Fills"], "role"].tolist()
    ['lead', 'hook', 'fill']
    >>> ar.layer_roles(ar.read("datasets/last-bell.musicxml"), roles={"Fills": "lead"})["role"][5]
    'lead'
    """
    return roles_of(RecordedLayers.of(song, layers), roles)


def roles_of(recorded: RecordedLayers, roles: Mapping[str, str] | None = None) -> pd.DataFrame:
    """Return the table of ``layer_roles``."""
    given = dict(roles or {})
    _check(given, recorded.names)
    table = _figures(recorded, _doubled(recorded))
    decided = [_decided(row) for row in table.to_dict("records")]
    for number, name in enumerate(recorded.names):
        if name in given:
            role = given[name]
            decided[number] = role, f"given as {role}: {ROLES[role].meaning}"
    table.insert(1, "role", pd.array([role for role, _ in decided], dtype="str"))
    table["why"] = pd.array([why for _, why in decided], dtype="str")
    return table.drop(
        columns=["attacks_a_bar", "different", "steady", "step", "sounds_on", "in_bars"]
    )


def _check(roles: Mapping[str, str], names: Sequence[str]) -> None:
    for name, role in roles.items():
        if name not in names:
            raise ArrangeError(f"roles: {unknown_name('layer', name, names)}")
        if role not in ROLES:
            raise ArrangeError(
                f"roles: {name!r} is given as {role!r}; a role is one of {', '.join(ROLES)}"
            )


def _decided(row: Mapping[str, Any]) -> tuple[str, str]:
    """Role and reason from the figures; the first rule that holds."""
    top = f"the highest layer for {row['on_top']:.0%} of its time"
    if not row["presence"]:
        return "fill", "it is silent"
    if isinstance(row["doubles"], str):
        return "double", f"nearly every note of it is in {row['doubles']} too, in some octave"
    if row["in_bars"] <= LITTLE:
        return "fill", f"it plays in {row['in_bars']:.0%} of the bars of its sections"
    if row["attacks_a_bar"] <= HELD and row["sounds_on"] >= SOUNDS_ON:
        return "pad", f"held, with {row['attacks_a_bar']:.1f} attacks a bar"
    if row["chords"] >= CHORDS:
        return "rhythm", f"chords: {row['chords']:.0%} of its attacks are of two notes or more"
    if row["steady"] >= STEADY and not STILL < row["step"] < WIDE:
        kind = "picking" if row["step"] >= WIDE else "a pulse"
        return "rhythm", f"{kind}: single notes at an even pace, {row['step']:.1f} semitones apart"
    if row["repetition"] >= COMES_BACK and row["different"] <= FIGURE:
        return "hook", (
            f"single notes that come back: {row['different']:.0f} different bars, "
            f"{row['repetition']:.0%} of its bars were heard before"
        )
    if row["on_top"] < ON_TOP:
        return "rhythm", f"a line under others, {top}"
    if row["sounds_on"] < GAPS:
        return "fill", f"a line with gaps: it sounds for {row['sounds_on']:.0%} of its sections"
    return "lead", f"a line in single notes, {top}"


def _figures(recorded: RecordedLayers, doubled: Sequence[int]) -> pd.DataFrame:
    """What is measured of each layer."""
    count = len(recorded.names)
    busy, held, top = _times(recorded, doubled)
    lengths = recorded.present @ recorded.seconds
    bars_there = recorded.present @ _bars(recorded)
    song_seconds = max(float(recorded.seconds.sum()), 1e-9)
    rows = []
    moves = np.zeros(count)
    for layer in range(count):
        own = np.flatnonzero((recorded.layer == layer) & recorded.is_played)
        figures, moves[layer] = _line_figures(recorded, own)
        bars = len(np.unique(recorded.measure[own]))
        attacks = figures.pop("attacks")
        rows.append(
            {
                "layer": recorded.names[layer],
                "presence": lengths[layer] / song_seconds,
                "sounding": busy[layer] / song_seconds,
                "polyphony": held[layer] / busy[layer] if busy[layer] else 0.0,
                "density": attacks / lengths[layer] if attacks else 0.0,
                **figures,
                "on_top": top[layer] / busy[layer] if busy[layer] else 0.0,
                "attacks_a_bar": attacks / max(bars, 1),
                "different": bars * (1 - figures["repetition"]),
                "sounds_on": busy[layer] / lengths[layer] if attacks else 0.0,
                "in_bars": bars / max(bars_there[layer], 1),
            }
        )
    table = pd.DataFrame(rows)
    table["layer"] = table["layer"].astype("str")
    drive = recorded.parts["drive"].map(DRIVE_DECIBELS).to_numpy()
    loud = amplitude(recorded.parts["level"].to_numpy() + drive)
    moves = moves / np.where(lengths > 0, lengths, 1)
    shares = [table["on_top"].to_numpy(), moves / max(moves.max(), 1e-9), loud / loud.max()]
    salience = np.where(lengths > 0, np.mean(shares, axis=0), 0.0)
    order = ["layer", "presence", "sounding", "polyphony", "density", "chords", "repetition",
             "on_top", "attacks_a_bar", "in_bars", "different", "steady", "step",
             "sounds_on"]  # fmt: skip
    names = [None if other < 0 else recorded.names[other] for other in doubled]
    return table[order].assign(doubles=pd.array(names, dtype="str"), salience=salience)


def _bars(recorded: RecordedLayers) -> Array:
    """How many bars each section has."""
    section = pd.Index(recorded.sections).get_indexer(recorded.song.measures["section"])
    return np.bincount(section[section >= 0], minlength=len(recorded.sections))


def _line_figures(recorded: RecordedLayers, own: Array) -> tuple[dict[str, float], float]:
    """Figures of one layer's notes, and how often its highest note changes."""
    place, pitch = recorded.place[own], recorded.pitch[own]
    if not len(own):
        none = {"attacks": 0.0, "chords": 0.0, "repetition": 0.0, "steady": 0.0, "step": 0.0}
        return none, 0.0
    starts, first, counts = np.unique(place, return_index=True, return_counts=True)
    highest = np.maximum.reduceat(np.nan_to_num(pitch, nan=-1.0), first)
    steps = np.diff(starts)
    _, lengths = np.unique(steps, return_counts=True)
    leaps = np.abs(np.diff(highest))
    figures = {
        "attacks": float(len(starts)),
        "chords": float((counts > 1).mean()),
        "repetition": _repetition(recorded, own),
        "steady": float(lengths.max() / len(steps)) if len(steps) else 0.0,
        "step": float(leaps.mean()) if len(leaps) else 0.0,
    }
    return figures, float((leaps > 0).sum())


def _repetition(recorded: RecordedLayers, own: Array) -> float:
    """Share of a layer's bars that it has played before."""
    lines = recorded.song.measures["onset"].to_numpy()
    bars, first = np.unique(recorded.measure[own], return_index=True)
    offset = np.rint((recorded.onset[own] - lines[recorded.measure[own] - 1]) * 64)
    heard: set[bytes] = set()
    again = 0
    for piece, tones in zip(
        np.split(offset, first[1:]), np.split(recorded.pitch[own], first[1:]), strict=True
    ):
        content = piece.tobytes() + tones.tobytes()
        again += content in heard
        heard.add(content)
    return again / len(bars)


def _times(recorded: RecordedLayers, doubled: Sequence[int]) -> tuple[Array, Array, Array]:
    """Seconds for which each layer sounds, those of all its notes, and those on top.

    Its doubles do not count as higher than a layer.
    """
    cut = recorded.sliced()
    count, times = len(recorded.names), max(len(cut.seconds), 1)
    layer = recorded.layer[cut.note]
    notes = np.bincount(layer, cut.seconds[cut.at], minlength=count)
    highest = np.full((count, times), -np.inf)
    pitch = np.nan_to_num(recorded.pitch[cut.note], nan=-1.0)
    np.maximum.at(highest, (layer, cut.at), pitch)
    sounds = np.isfinite(highest)
    seconds = cut.seconds if len(cut.seconds) else np.zeros(times)
    on_top = np.zeros(count)
    for own in range(count):
        others = [other for other in range(count) if doubled[other] != own]
        on_top[own] = (sounds[own] & (highest[own] == highest[others].max(axis=0))) @ seconds
    return sounds @ seconds, notes, on_top


def _doubled(recorded: RecordedLayers) -> list[int]:
    """Whose line each layer follows; -1 for nobody's."""
    pitched = recorded.is_played & ~np.isnan(recorded.pitch)
    layer, place = recorded.layer[pitched], recorded.place[pitched]
    tone = np.rint(recorded.pitch[pitched]).astype(np.int64) % 12
    notes = _has(place * 12 + tone, layer, len(recorded.names))
    both, size = notes @ notes.T, notes.sum(axis=1)
    share = both / np.where(size > 0, size, 1)[:, None]
    # How many of another's attacks, in the sections in which a layer plays, it has as well.
    attacks = _has(place, layer, len(recorded.names))
    first = np.unique(place, return_index=True)[1]
    there = recorded.present[:, recorded.section[pitched][first]]
    asked = there @ attacks.T
    matched = (attacks @ attacks.T) / np.where(asked > 0, asked, 1)
    follows = (share >= DOUBLES) & (matched >= SAME_ATTACKS)
    section = recorded.section[pitched]
    for number in range(len(recorded.sections)):
        here = section == number
        there_too = _has(place[here] * 12 + tone[here], layer[here], len(recorded.names))
        follows &= there_too @ there_too.T >= EVERYWHERE * there_too.sum(axis=1)[:, None]
    # Of two that double each other the one with more notes is the line, then the louder, then
    # the first by name.
    level = recorded.parts["level"].to_numpy()
    rank = np.lexsort((np.arange(len(size)), -level, -size)).argsort()
    found = []
    for own in range(len(size)):
        others = np.flatnonzero(follows[own] & (rank < rank[own])).tolist()
        found.append(min(others, key=lambda other: rank[other], default=-1))
    return found


def _has(key: Array, layer: Array, layers: int) -> Array:
    """1 where a layer has a key: layers x keys."""
    keys, which = np.unique(key, return_inverse=True)
    has = np.zeros((layers, len(keys)))
    has[layer, which] = 1
    return has
