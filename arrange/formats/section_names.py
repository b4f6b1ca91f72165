"""How sections are named: the words for them, where they begin, and their labels as played."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from arrange.song_size import MOST_TEXT

# Words that name a section, as bands use them (common practice); the first found decides.
SECTION_KINDS = (
    ("pre-chorus", r"pre-?\s?chorus|build(-?up)?|lift"),
    ("chorus", r"chorus|refrain"),
    ("verse", r"verse|strophe"),
    ("bridge", r"bridge|middle (8|eight)"),
    ("intro", r"intro(duction)?"),
    ("outro", r"outro|ending|coda"),
    ("tag", r"tag"),
    ("turnaround", r"turn-?\s?around"),
    ("instrumental", r"instrumental"),
    ("solo", r"(\w+ )?solo"),
    ("interlude", r"interlude|breakdown|break"),
    ("vamp", r"vamp"),
    ("hook", r"hook|riff"),
)
_NAMES_SECTION = re.compile(
    rf"^\W*(last |first |final |half |double |quiet )?({'|'.join(p for _, p in SECTION_KINDS)})"
    r"(\s*(\d+|[A-Z]))?\W*$",
    re.I,
)
_WORDS = [(kind, re.compile(rf"\b({words})\b", re.I)) for kind, words in SECTION_KINDS]


def section_kind(text: str) -> str:
    """Return the kind of section that a text names, or ``"other"``."""
    return next((kind for kind, words in _WORDS if words.search(text)), "other")


def names_section(text: str) -> bool:
    """Return whether a text is the name of a section and nothing else: "Chorus 2", "Tag"."""
    return bool(_NAMES_SECTION.match(text))


def section_heads(
    marks: Sequence[tuple[int, str, bool]], double_bars: Sequence[int], bars: int
) -> dict[int, str]:
    """Return printed bar -> name of the section that begins there; bar 0 always begins one.

    Parameters
    ----------
    marks : list of (bar, text, is a rehearsal mark)
    double_bars : list of int
        Bars that begin behind a double bar; they count only where nothing is named.
    bars : int
        How many there are.
    """
    heads: dict[int, str] = {}
    for measure, text, _ in sorted(marks, key=lambda mark: (mark[0], not mark[2])):
        if measure not in heads:
            heads[measure] = text
        elif section_kind(heads[measure]) == "other" and section_kind(text) != "other":
            heads[measure] = f"{heads[measure]} {text}" if len(heads[measure]) < 4 else text
    if heads:
        return heads if 0 in heads else {0: "Start", **heads}
    begins = sorted({0, *double_bars} - {bars})
    if len(begins) == 1:
        return {0: "Song"}
    return {measure: f"Section {number}" for number, measure in enumerate(begins, 1)}


def section_labels(names: Sequence[str]) -> list[str]:
    """Return unique labels, in played order: Verse twice is Verse 1, Verse 2; A is A, A (2)."""
    count = Counter(names)
    labels: dict[str, None] = {}
    times: Counter[str] = Counter()
    for name in names:
        times[name] += 1
        plain = section_kind(name) != "other" and not name[-1].isdigit()
        label = name
        if count[name] > 1 and (plain or times[name] > 1):
            label = _numbered(name, times[name], plain)
        while label in labels or (label != name and label in count):
            times[name] += 1
            label = _numbered(name, times[name], plain)
        labels[label] = None
    return list(labels)


def _numbered(name: str, time: int, plain: bool) -> str:
    name = name[: MOST_TEXT - 8]
    return f"{name} {time}" if plain else f"{name} ({time})"
