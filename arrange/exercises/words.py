"""The words of exercises and replies: intervals, lists, places."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from arrange.clashes import KINDS
from arrange.part_lists import split_parts
from arrange.pitch import INTERVAL_NAMES, interval_name

_OCTAVE = 12


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return words as a list: ``"C, D and E"``."""
    *others, end = [*words] or [""]
    return f"{', '.join(others)} {last} {end}" if others else end


def told_parts(parts: str) -> str:
    """Return the parts of a finding as players say them: ``"Guitar 1 and Bass"``."""
    return listed(split_parts(parts))


def counted(count: int, word: str) -> str:
    """Return a number and what it counts: ``"1 note"``, ``"2 notes"``."""
    return f"{count} {word}{'' if count == 1 else 's'}"


def an(words: str) -> str:
    """Return words behind their article: ``"an octave"``, ``"a unison"``."""
    return f"{'an' if words[0].lower() in 'aeio' else 'a'} {words}"


def an_interval(semitones: float) -> str:
    """Return an interval with its article: ``"an octave"``, ``"2 octaves and a fourth"``."""
    size = abs(round(semitones))
    if size < len(INTERVAL_NAMES):
        return an(INTERVAL_NAMES[size])
    octaves, rest = divmod(size, _OCTAVE)
    whole = "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} and {an(interval_name(rest))}" if rest else whole


def measures_words(first: int, last: int) -> str:
    """Return a stretch as words: ``"measures 5 to 12"``."""
    return f"measure {first}" if first == last else f"measures {first} to {last}"


def runs_words(measures: Iterable[int]) -> str:
    """Return measures as words, runs joined: ``"measures 3, 5 to 8"``."""
    numbers = sorted(set(measures))
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return f"measure{'' if len(numbers) == 1 else 's'} {listed(told)}"


def notes_words(kind: str, pitches: str) -> str:
    """Return the notes that a finding tells, or between which it lies: ``"A4 and Bb4"``."""
    names = pitches.split()
    if KINDS[kind].pitches_are_ends and len(names) > 1:
        return f"from {names[0]} to {names[-1]}"
    return listed(names)


def lettered(choices: Sequence[str]) -> list[str]:
    """Return choices behind their letters: ``"a) measure 22"``."""
    return [f"{chr(97 + place)}) {choice}" for place, choice in enumerate(choices)]


def first_up(sentence: str) -> str:
    """Return a sentence that begins with a capital."""
    return sentence[:1].upper() + sentence[1:]
