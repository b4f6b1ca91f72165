"""What is struck in each bar, in words from which a reader can play it: place and count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator

from arrange.explaining.attacks import Attack
from arrange.explaining.passages import Passage
from arrange.guitar.harmonics import NAME
from arrange.text.words import bars_words, first_up


def bar_steps(passage: Passage, bars: Collection[int], labels: Collection[str]) -> list[str]:
    """Return what is struck in some bars, a sentence for bars that are alike.

    Parameters
    ----------
    passage : Passage
    bars : of int
        Played measures.
    labels : of str
        The shapes that are known by their labels; others are said fret by fret.
    """
    alike: dict[str, list[int]] = {}
    for bar, attacks in passage.bars.items():
        if bar in bars:
            words = "; ".join(_events(passage, bar, attacks, labels))
            alike.setdefault(words, []).append(bar)
    return [f"{first_up(bars_words(own))}: {words}" for words, own in alike.items()]


def _events(
    passage: Passage, bar: int, attacks: list[Attack], labels: Collection[str]
) -> Iterator[str]:
    """Each thing that is struck, with all counts at which it is struck in a row."""
    before, counts = "", [""]
    for attack, count in zip(attacks, passage.counts[bar], strict=True):
        label = passage.label_of(attack)
        text = label if label in labels else passage.attack_text(attack)
        said = passage.throughout | {NAME} if passage.touched(attack) else passage.throughout
        techniques = ", ".join(sorted(attack.techniques - said))
        words = text + (f" ({techniques})" if techniques else "")
        if words != before:
            if before:
                yield f"{before} on {' '.join(counts)}"
            before, counts = words, []
        counts.append(count)
    yield f"{before} on {' '.join(counts)}"


def count_words(passage: Passage) -> str:
    """Return where in the bar it is struck, if most bars are alike; else empty."""
    often, times = Counter(passage.counts.values()).most_common(1)[0]
    if 2 * times <= len(passage.counts):
        return ""
    others = [bar for bar, counts in passage.counts.items() if counts != often]
    but = f"; otherwise in {bars_words(others)}" if others else ""
    return f"struck on {' '.join(often)}{but}"
