"""Words for people: lists, numbers with what they count, articles, runs of measures."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from itertools import groupby

_NUMBERED = re.compile(r"(.+?) (\(?\d+\)?)")


def listed(words: Iterable[str], last: str = "and") -> str:
    """Return words as a list: ``"C, D and E"``."""
    *others, end = [*words] or [""]
    return f"{', '.join(others)} {last} {end}" if others else end


def first_few(words: Iterable[object], most: int) -> str:
    """Return the first words, and dots for the others: ``"C, D, ..."``."""
    texts = [str(word) for word in words]
    return ", ".join([*texts[:most], *(["..."] if len(texts) > most else [])])


def counted(count: float | str, word: str) -> str:
    """Return a number and what it counts: ``"1 note"``, ``"2 notes"``."""
    return f"{count} {word}{'' if str(count) == '1' else 's'}"


def an(words: str) -> str:
    """Return words behind their article: ``"an octave"``, ``"a unison"``."""
    return f"{'an' if words[0].lower() in 'aeio' else 'a'} {words}"


def number_runs(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Return whole numbers as runs, first and last of each: 3, 5, 6, 7 as (3, 3), (5, 7)."""
    runs: list[tuple[int, int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][1] + 1:
            runs[-1] = runs[-1][0], number
        else:
            runs.append((number, number))
    return runs


def measures_words(first: int, last: int) -> str:
    """Return a stretch as words: ``"measures 5 to 12"``."""
    return f"measure {first}" if first == last else f"measures {first} to {last}"


def runs_words(measures: Iterable[int]) -> str:
    """Return measures as words, runs joined: ``"measures 3, 5 to 8"``."""
    runs = number_runs(measures)
    is_one = len(runs) == 1 and runs[0][0] == runs[0][1]
    words = [str(first) if first == last else f"{first} to {last}" for first, last in runs]
    return f"measure{'' if is_one else 's'} {listed(words)}"


def bars_words(bars: Iterable[int]) -> str:
    """Return played bars in short, as a sheet has them: ``"bars 3, 5–8"``."""
    runs = number_runs(bars)
    is_one = len(runs) == 1 and runs[0][0] == runs[0][1]
    words = [str(first) if first == last else f"{first}–{last}" for first, last in runs]
    return f"bar{'' if is_one else 's'} {', '.join(words)}"


def first_up(sentence: str) -> str:
    """Return a sentence that begins with a capital."""
    return sentence[:1].upper() + sentence[1:]


def joined_labels(labels: Sequence[str]) -> str:
    """Return labels in short: ``"Verse 1, 2, 3, Tag"``."""
    parted = [_NUMBERED.fullmatch(label) for label in labels]
    words = []
    for _, run in groupby(range(len(labels)), key=lambda n: (parted[n] or [n, n])[1]):
        first, *others = run
        words += [labels[first], *(parted[n][2] for n in others)]  # type: ignore[index]
    return ", ".join(words)
