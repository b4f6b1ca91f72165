"""What parts do in some measures, in a sentence: the evidence against a wrong guess."""

from __future__ import annotations

import numpy as np
import pandas as pd

from arrange.clashes import KINDS
from arrange.exercises.song_facts import SongFacts
from arrange.text.words import counted, listed
from arrange.theory.pitch import an_interval

_OCTAVE = 12
_NEAR = 1e-6


def silent_parts(facts: SongFacts, parts: list[str], first: int, last: int) -> list[str]:
    """Return those parts that do not sound in some measures."""
    return [part for part in parts if not facts.plays(part, range(first, last + 1))]


def heard(facts: SongFacts, parts: list[str], first: int, last: int, kind: str) -> str:
    """Return a sentence on what some parts do in some measures, by the evidence of a kind."""
    where = "there"
    silent = silent_parts(facts, parts, first, last)
    if silent:
        return f"{listed(silent)} {'is' if len(silent) == 1 else 'are'} silent {where}"
    begin, end = facts.time_of(first, last)
    notes = facts.within(begin, end, parts)
    evidence = KINDS[kind].evidence
    if evidence == "lowest note":
        low = notes.loc[notes["pitch"].idxmin()]
        return f"the lowest note {where} is {facts.name(low['pitch'])} of {low['part']}"
    if evidence == "chord":
        return _chord(facts, begin, "first chord there" if last > first else "chord there")
    if evidence == "attacks":
        return _attacks(notes, parts, where)
    if len(parts) == 1:
        low, high = (facts.name(notes["pitch"].agg(end)) for end in ("min", "max"))
        return f"{parts[0]} lies between {low} and {high} {where}"
    if evidence == "interval":
        return _nearest(facts, notes, parts, where)
    return _apart(notes, parts, where)


def intervals(notes: pd.DataFrame) -> list[tuple[int, float, float]]:
    """Return size, lower and upper pitch of each interval that two parts hold at once."""
    part, pitch, onset = (notes[name].to_numpy() for name in ("part", "pitch", "onset"))
    end = onset + notes["duration"].to_numpy()
    found = []
    for one in range(len(notes)):
        later = np.arange(one + 1, len(notes))
        at_once = np.minimum(end[later], end[one]) - np.maximum(onset[later], onset[one]) > _NEAR
        for other in later[at_once & (part[later] != part[one])]:
            low, high = sorted((pitch[one], pitch[other]))
            found.append((round(high - low), float(low), float(high)))
    return found


def _nearest(facts: SongFacts, notes: pd.DataFrame, parts: list[str], where: str) -> str:
    """The smallest interval that two parts hold at once."""
    sizes = intervals(notes)
    if not sizes:
        return f"{listed(parts)} never sound at one time {where}"
    size, low, high = min(sizes)
    if size == 0:
        return f"{listed(parts)} meet on one note {where}, {facts.name(low)}"
    names = f"{an_interval(size)}, {facts.name(low)} and {facts.name(high)}"
    if size == 1:
        return f"{listed(parts)} touch {names}, but not for long enough to be a finding"
    return f"{listed(parts)} come no nearer than {names} {where}"


def _apart(notes: pd.DataFrame, parts: list[str], where: str) -> str:
    """How far the middles of two parts lie apart."""
    means = {part: _mean(notes[notes["part"] == part]) for part in parts[:2]}
    low, high = sorted(means, key=lambda part: means[part])
    far = means[high] - means[low]
    if round(far) == 0:
        return f"{low} and {high} lie at the same height {where}"
    return f"{high} lies about {an_interval(far)} above {low} {where}"


def _mean(notes: pd.DataFrame) -> float:
    return float(np.average(notes["pitch"], weights=notes["duration"]))


def _attacks(notes: pd.DataFrame, parts: list[str], where: str) -> str:
    """How many attacks fall together."""
    times = [set(notes["onset"][notes["part"] == part].round(6)) for part in parts[:2]]
    counts = [
        f"{part} has {counted(len(own), 'attack')}" for part, own in zip(parts, times, strict=False)
    ]
    if len(times) < 2:
        return f"{counts[0]} {where}"
    return f"{listed(counts)} {where}, {len(times[0] & times[1])} of them together"


def _chord(facts: SongFacts, begin: float, which: str) -> str:
    chord = facts.chord_at(begin)
    if chord is None or not chord["pitch_classes"]:
        return "no chord stands there"
    members = ", ".join(chord_names(facts, chord))
    return f"the {which} is {chord['symbol']} ({members}); hold the notes against it"


def chord_names(facts: SongFacts, chord: object) -> list[str]:
    """Return the names of a chord's members, without octaves."""
    classes = chord["pitch_classes"]  # type: ignore[index]
    return [facts.name(60 + each % _OCTAVE).rstrip("0123456789-") for each in classes]
