"""Make a hostile file from its kind, its number and a seed: always the same bytes.

References
----------
The parts of a file of each kind are in ``text``, ``elements``, ``archives`` and ``midi``.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from random import Random

from mutants import archives, elements, midi, seeds, text

MOST_CHANGES = 3
BOMBS = 400  # one file in this many is a bomb
MOST_SCORE = 100_000  # bytes; larger scores take too long to parse

Change = Callable[[bytes, Random], bytes]

_token = partial(text.in_text, text.change_token)
_lines = partial(text.in_text, text.change_lines)
_bars = partial(text.in_text, text.change_bars)
_fields = partial(text.in_text, text.change_fields)

SUFFIXES = {
    "musicxml": ".musicxml", "mxl": ".mxl", "midi": ".mid", "chart": ".txt", "decisions": ".txt",
}  # fmt: skip
SEEDS: dict[str, Callable[[], tuple[bytes, ...]]] = {
    "musicxml": seeds.musicxml,
    "mxl": seeds.archives,
    "midi": seeds.midi,
    "chart": seeds.charts,
    "decisions": seeds.decisions,
}
# The weight of each change among those of its kind.
CHANGES: dict[str, list[tuple[Change, int]]] = {
    "musicxml": [
        (text.change_bytes, 2), (_token, 4), (elements.change_elements, 10),
        (elements.change_head, 1),
    ],
    "midi": [(text.change_bytes, 3), (midi.change_chunks, 3), (midi.change_events, 8)],
    "chart": [(text.change_bytes, 2), (_token, 3), (_lines, 3), (_bars, 4), (_fields, 2)],
    "decisions": [(text.change_bytes, 2), (_token, 4), (_lines, 3), (_bars, 4), (_fields, 3)],
}  # fmt: skip


def mutant(kind: str, number: int, seed: int) -> bytes:
    """Return a file of a kind with one to three changes."""
    rng = Random(f"{kind} {number} {seed}")
    if kind == "mxl":
        return _archive(rng)
    data = rng.choice(SEEDS[kind]())
    return _changed(kind, data, rng)


def _changed(kind: str, data: bytes, rng: Random) -> bytes:
    """Return the changed content; if it can no longer be taken apart, return it as it is."""
    changes, weights = zip(*CHANGES[kind], strict=True)
    for _ in range(rng.choice((1, 1, 1, 2, MOST_CHANGES))):
        change = rng.choices(changes, weights)[0]
        if change is elements.change_elements and len(data) > MOST_SCORE and rng.random() < 0.8:
            change = _token
        try:
            data = change(data, rng)
        except (ValueError, IndexError, SyntaxError):
            break
    return data


def _archive(rng: Random) -> bytes:
    way = rng.random()
    if way < 1 / BOMBS:
        return archives.bomb(rng.randrange(3))
    if way < 0.4:
        score = rng.choice(seeds.musicxml())
        return archives.compressed(_changed("musicxml", score, rng))
    if way < 0.6:
        return archives.change_members(rng.choice(seeds.musicxml()[:50]), rng)
    data = rng.choice(seeds.archives())
    if way < 0.8:
        return archives.change_headers(data, rng)
    return text.change_bytes(data, rng)
