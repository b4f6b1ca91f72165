"""The words of exercises and replies: kinds of finding, intervals, lists, places."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arrange.part_lists import split_parts
from arrange.pitch import INTERVAL_NAMES, interval_name

_OCTAVE = 12


@dataclass(frozen=True)
class Word:
    """How a kind of finding is asked for and told.

    Parameters
    ----------
    clause : str
        What is asked, behind "In which measure"; ``{parts}`` stands for the parts.
    meaning : str
        What the kind says.
    noun : str
        What ends when it is mended.
    """

    clause: str
    meaning: str
    noun: str


KIND_WORDS = {
    "rub": Word("do {parts} rub", "two parts hold a minor second or a minor ninth", "rub"),
    "mud": Word(
        "does an interval of {parts} stand so low that it tends to turn muddy",
        "an interval stands lower than it tends to stay clear",
        "mud",
    ),
    "roughness": Word(
        "are {parts} together rougher than each alone",
        "two parts together are rougher than each alone",
        "roughness",
    ),
    "crowding": Word(
        "do {parts} crowd each other in one register",
        "two parts live in the same register through a section",
        "crowding",
    ),
    "masking": Word(
        "does one of {parts} hide the other", "one part hides much of another's sound", "masking"
    ),
    "crossing": Word(
        "do {parts} cross, so that the upper one goes below the other",
        "the part that should be on top goes below the other",
        "crossing",
    ),
    "doubling": Word("do {parts} play the same line", "two parts play the same line", "doubling"),
    "third": Word(
        "do {parts} disagree about the third of the chord",
        "one part has the major third, the other the minor or the suspended fourth",
        "clash of thirds",
    ),
    "outside": Word(
        "does {parts} hold a note outside the chord symbol, or a semitone above one of its notes",
        "a note is held outside the chord symbol, or a semitone above one of its notes",
        "clash with the chord",
    ),
    "drive": Word(
        "does {parts} hold an interval that its amplifier makes rough",
        "an overdriven part holds an interval that its amplifier makes rough",
        "roughness under drive",
    ),
    "near": Word(
        "do attacks of {parts} just miss each other",
        "attacks that are meant together just miss",
        "near miss",
    ),
    "busy": Word(
        "do {parts} attack more often together than the ear sorts out",
        "more attacks from two parts at once than the ear sorts out",
        "bustle",
    ),
    "fusing": Word(
        "do the lines of {parts} fuse into one",
        "two picked lines that the ear takes for one",
        "fusing",
    ),
    "voice": Word(
        "do {parts} share the register that is being sung",
        "a part stays around the note that is being sung",
        "crowd around the voice",
    ),
    "bass": Word(
        "do {parts} meet at the bottom, so that one goes under the bass or right above it",
        "a part goes under the bass, or right above it",
        "crowd at the bottom",
    ),
}


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


_BETWEEN = ("crowding", "crossing", "voice", "bass", "masking", "roughness")


def notes_words(kind: str, pitches: str) -> str:
    """Return the notes that a finding tells, or between which it lies: ``"A4 and Bb4"``."""
    names = pitches.split()
    if kind in _BETWEEN and len(names) > 1:
        return f"from {names[0]} to {names[-1]}"
    return listed(names)


def lettered(choices: Sequence[str]) -> list[str]:
    """Return choices behind their letters: ``"a) measure 22"``."""
    return [f"{chr(97 + place)}) {choice}" for place, choice in enumerate(choices)]


def first_up(sentence: str) -> str:
    """Return a sentence that begins with a capital."""
    return sentence[:1].upper() + sentence[1:]
