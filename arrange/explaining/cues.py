"""Counts and cues: what a player reads about each section, in plain words.

All of it is worked out from the notes: how long to lay out and where to come in, what is heard
just before, whom the part doubles, who else plays, what goes on from before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from arrange.explaining.part_sections import Stay, own_and_others
from arrange.tables.song import Song
from arrange.text.words import bars_words, counted, listed

_SAME = 0.9  # share of attacks by which a part doubles another
_FEWEST = 3  # attacks of which one can say so
_LONG_REST = 2  # bars of rest after which an entry is heard as one
_BEFORE = 2  # bars before an entry in which another one is a cue
_MOST_NAMES = 3  # of parts that come in at once
_RINGS = 0.25  # quarter notes beyond a section's end
_THROUGHOUT = 0.9  # share of the notes of a section
_NEAR = 1e-6
HELD_ON = "held on from before"
_Attacks = set[tuple[float, float]]  # onset, pitch
_OCTAVES = {0: "in unison", -12: "an octave lower", 12: "an octave higher",
            -24: "two octaves lower", 24: "two octaves higher"}  # fmt: skip


def section_cues(song: Song, part: str, stays: Sequence[Stay]) -> list[tuple[str, ...]]:
    """Return the sentences that a player reads at each section, but for ``nearly_words``.

    Parameters
    ----------
    song : Song
    part : str
    stays : sequence of Stay
        The part's own, as ``part_stays`` gives them.
    """
    own, others = own_and_others(song, part)
    own_in, attacks = dict(list(own.groupby("section"))), _attacks(pd.concat([own, others]))
    cues = []
    for place, stay in enumerate(stays):
        if not stay.plays:
            cues.append(tuple(_while_out(song, own, others, stays, place)))
            continue
        inside = own_in[stay.section]
        cues.append((
            *_entry(song, own, inside, stay),
            *_company(part, attacks[stay.section]), *techniques(inside),
            *_ringing(inside, stays, place),
        ))  # fmt: skip
    return cues


def nearly_words(stay: Stay) -> list[str]:
    """Return which earlier section it is, but for which bars; nothing where it is none."""
    if not stay.nearly_as:
        return []
    return [f"as {stay.nearly_as} but for {bars_words(stay.different)}"]


def _while_out(
    song: Song, own: pd.DataFrame, others: pd.DataFrame, stays: Sequence[Stay], place: int
) -> list[str]:
    """How long to lay out, where to come in, and what is heard before."""
    run = [place]
    while run[-1] + 1 < len(stays) and not stays[run[-1] + 1].plays:
        run.append(run[-1] + 1)
    back = run[-1] + 1
    bars = sum(stays[n].last - stays[n].first + 1 for n in run)
    held = min(_bars_held(song, own, stays[place]), bars)
    count = f"lay out {counted(bars - held, 'bar')}"
    if held:
        count = f"{HELD_ON}, then {count}" if held < bars else HELD_ON
    elif place and not stays[place - 1].plays:
        count = f"still out, {counted(bars, 'more bar')}"
    if back == len(stays):
        return [f"{count}, to the end"]
    onset = own.loc[own["section"] == stays[back].section, "onset"].min()
    bar = int(np.searchsorted(song.measures["onset"], onset + _NEAR, side="right"))
    sentences = [f"{count}; in at {stays[back].section}, bar {bar}"]
    return sentences + (_heard_before(song, others, onset, bar) if len(run) == 1 else [])


def _bars_held(song: Song, own: pd.DataFrame, stay: Stay) -> int:
    """In how many bars, from the section's first on, notes from before it sound."""
    before = own[own["onset"] < stay.onset - _NEAR]
    end = (before["onset"] + before["duration"]).max()
    if not end > stay.onset + _NEAR:
        return 0
    last = int(np.searchsorted(song.measures["onset"], end - _NEAR, side="left"))
    return last - stay.first + 1


def _entry(song: Song, own: pd.DataFrame, inside: pd.DataFrame, stay: Stay) -> list[str]:
    """Where the part comes in and goes out within a section."""
    sentences, starts = [], song.measures["onset"].to_numpy()
    first = int(np.searchsorted(starts, inside["onset"].min() + _NEAR, side="right"))
    if first > stay.first:
        held = min(_bars_held(song, own, stay), first - stay.first)
        rest = first - stay.first - held
        waits = [HELD_ON] * bool(held) + [f"{counted(rest, 'bar')} rest"] * bool(rest)
        sentences.append(f"{', then '.join(waits)}, in at bar {first}")
    end = (inside["onset"] + inside["duration"]).max()
    after = int(np.searchsorted(starts, end - _NEAR, side="right")) + 1
    if after <= stay.last:
        sentences.append(f"out from bar {after}")
    return sentences


def _heard_before(song: Song, others: pd.DataFrame, onset: float, bar: int) -> list[str]:
    """What a player who comes in at an onset can listen for."""
    starts = song.measures["onset"].to_numpy()
    coming: dict[str, list[str]] = {}  # names by how and where they come in
    part, onsets, ends = others["part"], others["onset"], others["onset"] + others["duration"]
    is_near = onsets.between(starts[max(bar - 1 - _BEFORE, 0)], onset + _NEAR)
    entries = onsets[is_near].groupby(part).min()
    entered = part.map(entries.to_dict()).astype(float)  # a song may have no other part
    earlier = ends[onsets < entered - _NEAR].groupby(part).max()
    for name in part.unique():
        if name not in entries.index:
            continue
        enters, before = entries[name], earlier.get(name, 0.0)
        own_bar = int(np.searchsorted(starts, enters + _NEAR, side="right"))
        if before > starts[max(own_bar - 1 - _LONG_REST, 0)] + _NEAR:
            continue
        together = abs(enters - onset) < _NEAR
        how = "together with {}" if together else f"listen: {{}} in at bar {own_bar}"
        coming.setdefault(how, []).append(name)
    sentences = [
        how.format(listed(names) if len(names) <= _MOST_NAMES else counted(len(names), "other"))
        for how, names in coming.items()
    ]
    if bar > 1:
        chords = song.chords[song.chords["onset"] < onset - _NEAR]
        if len(chords) and chords["symbol"].iloc[-1] != "N.C.":
            sentences.append(f"last chord before you: {chords['symbol'].iloc[-1]}")
    return sentences[:2]


def _company(part: str, attacks: Mapping[str, _Attacks]) -> list[str]:
    """Who else plays in a section, where that is nobody or one, and whom the part doubles."""
    names = [name for name in attacks if name != part]
    sentences = ["alone"] if not names else []
    for name in names:
        apart = _octaves_apart(attacks[part], attacks[name])
        if apart is not None:
            sentences.append(f"doubles {name} {_OCTAVES[apart]}")
    if len(names) == 1 and not sentences:
        sentences.append(f"with {names[0]} only")
    return sentences


def _octaves_apart(ours: _Attacks, others: _Attacks) -> int | None:
    """By how many semitones a part doubles another; none where it does not."""
    least = _SAME * max(len(ours), len(others))
    if min(len(ours), len(others)) < max(_FEWEST, least):
        return None
    for apart in _OCTAVES:
        moved = {(onset, pitch - apart) for onset, pitch in ours}
        if len(moved & others) >= least:
            return apart
    return None


def _attacks(notes: pd.DataFrame) -> dict[str, dict[str, _Attacks]]:
    """Onset and pitch of the notes of each part in each section, grace notes left out."""
    is_timed = notes["pitch"].notna().to_numpy() & ~notes["grace"].to_numpy(dtype=bool)
    found: dict[str, dict[str, _Attacks]] = {}
    for section, part, onset, pitch, timed in zip(
        notes["section"].tolist(), notes["part"].tolist(), notes["onset"].round(6).tolist(),
        notes["pitch"].tolist(), is_timed.tolist(), strict=True,
    ):  # fmt: skip
        own = found.setdefault(section, {}).setdefault(part, set())
        if timed:
            own.add((onset, pitch))
    return found


def techniques(inside: pd.DataFrame) -> list[str]:
    """Return each technique and where, a sentence each."""
    names_of = [held.split(", ") if isinstance(held, str) else [] for held in inside["technique"]]
    names = sorted({name for held in names_of for name in held if name and name != "cue"})
    sentences = []
    for name in names:
        has = np.array([name in held for held in names_of])
        where = bars_words(inside["measure"][has])
        sentences.append(f"{name} throughout" if has.mean() >= _THROUGHOUT else f"{name}: {where}")
    return sentences


def is_said_of(cue: str, names: Sequence[str]) -> bool:
    """Return whether a cue says where one of these techniques is."""
    return cue.removesuffix(" throughout").split(":")[0] in names


def _ringing(inside: pd.DataFrame, stays: Sequence[Stay], place: int) -> list[str]:
    """What is held beyond the section's end."""
    end = (inside["onset"] + inside["duration"]).max()
    if place + 1 == len(stays) or end < stays[place].end + _RINGS:
        return []
    return [f"hold the last notes on into {stays[place + 1].section}"]
