"""What each recorded layer is there for: lead, hook, rhythm, pad, fill, or another's double.

Estimated from the notes by a few rules that can be read and corrected; each row gives its reason.
Notes an octave apart count as one note throughout, as guitarists play lines in octaves. The order
of the rules is that of the evidence: whom a layer follows; whether it is there at all; whether it
accompanies (held, in chords, on one note, or by leaps through the notes of the chords); whether it
comes back; and of the lines that are left the one on top is the lead. An echo figure is a fill:
its repeats sound in the gaps that it leaves, and the song keeps its tune without it.

That tunes go mostly by steps is a common finding, as in D. Huron, Sweet Anticipation, MIT Press
2006, chapter 5 (from memory).
That chords, against single notes, mark a rhythm guitar is measured in L. Régnier, K. Martin and
L. Bigo, Identification of rhythm guitar sections in symbolic tablatures, ISMIR 2021 (abstract).
The thresholds are ours.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from arrange.condensing.followed_lines import Followed, followed_lines
from arrange.condensing.line_figures import line_figures
from arrange.condensing.recorded_layers import RecordedLayers
from arrange.condensing.roles import ROLES
from arrange.errors import ArrangeError
from arrange.quantities.texture import DRIVE_DECIBELS, amplitude
from arrange.tables.schemas import DRIVES
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.words import listed
from arrange.theory.spelling import unknown_name

LITTLE = 0.5  # share of the bars of its sections up to which a layer is a fill
GAPS = 0.6  # share of the time of its sections from which a line on top is a lead, and no fill
ROOM = 0.75  # share of that time up to which a figure leaves room for the repeats of its echo
ANSWERS = 0.8  # share of a line's phrases that begin while the singer rests from which it answers
HELD = 1.2  # attacks a bar up to which what sounds on is a pad
SOUNDS_ON = 0.6  # share of the time it is there for which a pad sounds
CHORDS = 0.5  # share of attacks of two tones or more from which a layer plays chords
COMES_BACK = 0.6  # share of bars heard before from which a line comes back
FIGURE = 8  # different bars, a chorus, up to which what comes back is a hook, and no tune
EVEN = 0.8  # share of its steps in time of one length from which a line has an even pace
STILL = 1.0  # semitones from note to note up to which such a line is a pulse
LEAPS = 0.75  # share of moves beyond a step from which a line leaps, as tunes seldom do
IN_CHORD = 0.95  # share of notes in the chord above them from which a line goes through chords
PATTERN = 0.8  # share of bars whose rhythm was heard before from which it keeps to a pattern
ON_TOP = 0.35  # share of its time that a lead is the highest layer

_COLUMNS = [
    "layer", "role", "presence", "sounding", "polyphony", "density", "chords", "repetition",
    "on_top", "doubles", "second_voice_of", "salience", "why",
]  # fmt: skip


def layer_roles(
    song: Song,
    layers: Sequence[str] | None = None,
    roles: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    """Return the role of each layer, as far as its notes show it, with the reason.

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
        sections in which it plays; ``chords``, the share of its attacks of two notes or more,
        where notes an octave apart are one;
        ``repetition``, the share of its bars that it has played before; ``on_top``, the share of
        its sounding time in which no other layer is higher; ``doubles``, whose line it plays in
        unison or octaves, or none; ``second_voice_of``, whom it moves along with at a third or a
        sixth, in that one's role, or none; neither counts as higher than whom it follows;
        ``salience``, 0 to 1, the mean of on_top, how much its pitch moves and how loud
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
    followed = followed_lines(recorded)
    table = _figures(recorded, followed)
    decided = [_decided(row) for row in table.to_dict("records")]
    for own, leaders in enumerate(followed.seconds):
        if leaders:
            lines = listed([recorded.names[leader] for leader in leaders])
            decided[own] = (
                decided[leaders[0]][0],
                f"the second voice of {lines}: it moves along at a third or a sixth",
            )
    for own, leaders in enumerate(followed.doubles):
        if leaders:
            lines = listed([recorded.names[leader] for leader in leaders])
            decided[own] = "double", f"attack by attack what {lines} plays, in some octave"
    for number, name in enumerate(recorded.names):
        if name in given:
            role = given[name]
            decided[number] = role, f"given as {role}: {ROLES[role].meaning}"
    table.insert(1, "role", pd.array([role for role, _ in decided], dtype="str"))
    table["why"] = pd.array([why for _, why in decided], dtype="str")
    return table[_COLUMNS]


def _check(roles: Mapping[str, str], names: Sequence[str]) -> None:
    for name, role in roles.items():
        if name not in names:
            raise ArrangeError(f"roles: {unknown_name('layer', name, names)}")
        if role not in ROLES:
            raise ArrangeError(
                f"roles: {name!r} is given as {role!r}; a role is one of {', '.join(ROLES)}"
            )


def _decided(row: Mapping[str, Any]) -> tuple[str, str]:
    """Role and reason from the figures of a layer that follows no other; the first that holds."""
    for rule in (_there_for_little, _accompanying, _coming_back):
        if found := rule(row):
            return found
    top = f"the highest layer for {row['on_top']:.0%} of its time"
    if row["on_top"] < ON_TOP:
        return "rhythm", f"a line under others, {top}"
    answers = f"{row['answers']:.0%} of its phrases begin while the singer rests"
    sounds = f"it sounds for {row['sounds_on']:.0%} of its sections"
    if row["sounds_on"] < GAPS:
        return "fill", f"a line with gaps: {sounds}"
    if row["answers"] >= ANSWERS:
        return "fill", f"a line that answers: {answers}"
    return "lead", f"a line in single notes, {top}"


def _there_for_little(row: Mapping[str, Any]) -> tuple[str, str] | None:
    """A fill that is there in few bars, or nowhere."""
    if not row["presence"]:
        return "fill", "it is silent"
    if row["in_bars"] <= LITTLE:
        return "fill", f"it plays in {row['in_bars']:.0%} of the bars of its sections"
    return None


def _accompanying(row: Mapping[str, Any]) -> tuple[str, str] | None:
    """What carries others: held, in chords, on one note, or through the notes of the chords."""
    if row["attacks_a_bar"] <= HELD and row["sounds_on"] >= SOUNDS_ON:
        return "pad", f"held, with {row['attacks_a_bar']:.1f} attacks a bar"
    if row["chords"] >= CHORDS:
        return "rhythm", (
            f"chords: {row['chords']:.0%} of its attacks are of two tones or more, octaves aside"
        )
    if row["even"] >= EVEN and row["step"] <= STILL:
        return "rhythm", (
            f"a pulse: single notes at an even pace, {row['step']:.1f} semitones apart"
        )
    if not _goes_through_chords(row):
        return None
    leaps = f"{row['leaps']:.0%} of its moves are leaps"
    if row["sounds_on"] <= (ROOM if row["has_echo"] else GAPS):
        return "fill", (
            f"{'an echo figure' if row['has_echo'] else 'a figure'} through the notes of the "
            f"chords, with gaps: {leaps}, and it sounds for {row['sounds_on']:.0%} of its sections"
        )
    return "rhythm", f"picking through the notes of the chords: {leaps}"


def _goes_through_chords(row: Mapping[str, Any]) -> bool:
    """By leaps, in a pattern, over members of the chords; where none is known by its pace alone."""
    if row["leaps"] < LEAPS or row["rhythm_again"] < PATTERN:
        return False
    if np.isnan(row["in_chord"]):
        return bool(row["even"] >= EVEN or row["has_echo"])
    return bool(row["in_chord"] >= IN_CHORD)


def _coming_back(row: Mapping[str, Any]) -> tuple[str, str] | None:
    """A hook comes back bar for bar."""
    if row["repetition"] >= COMES_BACK and row["different"] <= FIGURE:
        return "hook", (
            f"single notes that come back: {row['repetition']:.0%} of its bars were heard before"
        )
    return None


def _figures(recorded: RecordedLayers, followed: Followed) -> pd.DataFrame:
    """What is measured of each layer."""
    busy, held, top = _times(recorded, followed)
    lengths = recorded.present @ recorded.seconds
    lasting = np.where(lengths > 0, lengths, 1)
    table = line_figures(recorded)
    bars = _bars_played(recorded)
    table = table.assign(
        layer=pd.array(recorded.names, dtype="str"),
        presence=lengths / max(float(recorded.seconds.sum()), 1e-9),
        sounding=busy / max(float(recorded.seconds.sum()), 1e-9),
        polyphony=held / np.where(busy > 0, busy, 1),
        density=table["attacks"] / lasting,
        on_top=top / np.where(busy > 0, busy, 1),
        attacks_a_bar=table["attacks"] / np.maximum(bars, 1),
        in_bars=bars / np.maximum(recorded.present @ _bars(recorded), 1),
        sounds_on=busy / lasting,
        has_echo=(recorded.present & pd.notna(recorded.echoes)).any(axis=1),
        doubles=_names(recorded, followed.doubles),
        second_voice_of=_names(recorded, followed.seconds),
    )
    driven = np.array([DRIVE_DECIBELS[drive] for drive in DRIVES])
    loudest = np.where(recorded.present, driven[recorded.drives], -np.inf).max(axis=1, initial=0.0)
    loud = amplitude(recorded.parts["level"].to_numpy() + loudest)
    moves = table["moves"].to_numpy() / lasting
    shares = [table["on_top"].to_numpy(), moves / max(moves.max(), 1e-9), loud / loud.max()]
    return table.assign(salience=np.where(lengths > 0, np.mean(shares, axis=0), 0.0))


def _names(
    recorded: RecordedLayers, leaders: Sequence[Sequence[int]]
) -> pd.api.extensions.ExtensionArray:
    """The first that each layer follows, or none."""
    names = [recorded.names[own[0]] if own else None for own in leaders]
    return pd.array(names, dtype="str")


def _bars_played(recorded: RecordedLayers) -> Array:
    """In how many bars each layer begins anything."""
    played = recorded.is_played
    pairs = np.unique(np.stack([recorded.layer[played], recorded.measure[played]]), axis=1)
    return np.bincount(pairs[0], minlength=len(recorded.names))


def _bars(recorded: RecordedLayers) -> Array:
    """How many bars each section has."""
    section = pd.Index(recorded.sections).get_indexer(recorded.song.measures["section"])
    return np.bincount(section[section >= 0], minlength=len(recorded.sections))


def _times(recorded: RecordedLayers, followed: Followed) -> tuple[Array, Array, Array]:
    """Seconds for which each layer sounds, those of all its notes, and those on top.

    A layer that follows another is not higher than that one, wherever it lies.
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
    leaders = followed.leaders
    for own in range(count):
        others = [other for other in range(count) if own not in leaders[other]]
        is_on_top = sounds[own] & (highest[own] == highest[others].max(axis=0))
        for leader in leaders[own]:
            is_on_top &= ~sounds[leader]
        on_top[own] = is_on_top @ seconds
    return sounds @ seconds, notes, on_top
