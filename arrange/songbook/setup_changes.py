"""From song to song: who retunes which strings, who moves a capo, who changes the sound.

A neck is the instrument that a player has in hand: one of a family, with so many strings. Its
tuning and capo stay until a song asks for others, also while its player rests or plays another
neck. Each player is assumed to bring one of each; a player with a second guitar, already tuned,
changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any, NamedTuple

import pandas as pd

from arrange.guitar.necks import STANDARD_TUNINGS, capo_words
from arrange.songbook.book import Songbook
from arrange.tables.setups import played_setups
from arrange.tables.song import Song
from arrange.text.words import listed
from arrange.theory.pitch import note_name

NeckKey = tuple[str, str, int]  # player, family, strings

_SETUPS = {
    "song": "str", "player": "str", "part": "str", "family": "str", "tuning": "object",
    "capo": "int64", "drive": "str", "onset": "float64", "end": "float64", "inside": "object",
}  # fmt: skip
_CHANGES = {
    "before": "str", "song": "str", "player": "str", "since": "str", "strings_retuned": "int64",
    "semitones": "int64", "capo_moves": "int64", "changes": "int64", "drive_changes": "int64",
    "what": "str",
}  # fmt: skip


class Setup(NamedTuple):
    """What a neck is set to, for which song."""

    song: str
    tuning: tuple[int, ...]
    capo: int
    drive: str


def player_setups(book: Songbook) -> pd.DataFrame:
    """Return what each player of a guitar, a bass or another fretted neck has in each song.

    A part that is silent has no row. A guitar or bass whose file holds no tuning is taken to have
    the usual one.

    Returns
    -------
    DataFrame
        A row for each song and such part, in set order: ``song``; ``player``, or the part's label
        where none is known; ``part``; ``family``; ``tuning``, open strings as MIDI numbers, highest
        first; ``capo``, fret, and ``drive`` in the first section that it plays in; ``onset`` of
        its first and ``end`` of its last note, in quarter notes; ``inside``, a tuple of (section,
        capo, drive) for each section that it plays in with another capo or drive than just before.
    """
    rows = [row for name, song in book.songs.items() for row in _setup_rows(name, song)]
    return pd.DataFrame(rows, columns=list(_SETUPS)).astype(_SETUPS)


def _setup_rows(name: str, song: Song) -> list[tuple[Any, ...]]:
    parts, onsets = song.notes["part"], song.notes["onset"]
    begins = onsets.groupby(parts).min()
    ends = (onsets + song.notes["duration"]).groupby(parts).max()
    setups = played_setups(song)
    rows = []
    for part in song.parts.itertuples():
        tuning = part.tuning if part.tuning is not None else STANDARD_TUNINGS.get(part.family)
        if tuning is None or part.part not in ends.index:
            continue
        player = part.part if pd.isna(part.player) else part.player
        own = setups.loc[setups["part"] == part.part, ["section", "capo", "drive"]]
        held = list(own.itertuples(index=False, name=None))
        inside = tuple(now for before, now in pairwise(held) if now[1:] != before[1:])
        rows.append((name, player, part.part, part.family, tuple(tuning), *held[0][1:],
                     begins[part.part], ends[part.part], inside))  # fmt: skip
    return rows


def necks_by_song(book: Songbook) -> dict[str, dict[NeckKey, tuple[Setup, Setup]]]:
    """Return for each song each neck's setup at its first note, and the one at its last.

    They differ only where one player has several parts in a song, or a part changes inside it.
    """
    return {
        name: {
            key: (
                _setup(min(rows, key=lambda row: float(row.onset))),
                _last_setup(max(rows, key=lambda row: float(row.end))),
            )
            for key, rows in own.items()
        }
        for name, own in _rows_by_neck(book).items()
    }


def _rows_by_neck(book: Songbook) -> dict[str, dict[NeckKey, list[Any]]]:
    """For each song the rows of ``player_setups`` of each neck."""
    necks: dict[str, dict[NeckKey, list[Any]]] = {name: {} for name in book.studies}
    for row in player_setups(book).itertuples():
        key = (row.player, row.family, len(row.tuning))
        necks[row.song].setdefault(key, []).append(row)
    return necks


def _setup(row: Any) -> Setup:
    return Setup(row.song, row.tuning, row.capo, row.drive)


def _last_setup(row: Any) -> Setup:
    _, capo, drive = ("", row.capo, row.drive) if not row.inside else row.inside[-1]
    return Setup(row.song, row.tuning, capo, drive)


def changes_between(book: Songbook) -> pd.DataFrame:
    """Return what each player must change from song to song, in set order.

    Sums over the rows are the totals of the set. A player who has not played yet comes with the
    right tuning and capo, so that nothing is counted there; what a player changes within a song is
    not counted either, since it is the same in every order, but it is named.

    Returns
    -------
    DataFrame
        A row for each song and each neck that has been played before it: ``before``, the song
        before; ``song``, the one to come; ``player``; ``since``, the song that the player last
        played on this neck; ``strings_retuned``; ``semitones``, by how many, all strings together;
        ``capo_moves``, 1 where a capo is put on, taken off or moved; ``changes``, strings and capo
        together; ``drive_changes``, 1 where the sound is another, which a foot does and ``changes``
        leaves out; ``what``, in words, with what is changed in the song itself behind it.

    Examples
    --------
    >>> import arrange as ar
    >>> book = ar.read_songbook("datasets/harbour-set")
    >>> ar.changes_between(book)["what"].head(2).tolist()
    ['string 6 up 2, D2 to E2; edge to clean', 'capo from 2 to 3']
    """
    rows, before = [], ""
    now: dict[NeckKey, Setup] = {}
    asked = _rows_by_neck(book)
    for name, necks in necks_by_song(book).items():
        for key, (first, last) in necks.items():
            if key in now:
                *figures, what = _change(now[key], first)
                inside = "; ".join(words for row in asked[name][key] for words in _inside(row))
                words = f"in the song: {inside}" if inside else ""
                what = f"{what}; and {words}" if what and words else what or words or "nothing"
                rows.append((before, name, key[0], *figures, what))
            now[key] = last
        before = name
    return pd.DataFrame(rows, columns=list(_CHANGES)).astype(_CHANGES)


def retuned(one: Setup, other: Setup) -> list[tuple[int, int, int]]:
    """Return the strings that must be retuned: string, open pitch before, open pitch after."""
    pairs = enumerate(zip(one.tuning, other.tuning, strict=True), start=1)
    return [(string, old, new) for string, (old, new) in pairs if old != new]


def _change(one: Setup, other: Setup) -> tuple[Any, ...]:
    strings = retuned(one, other)
    words = [
        f"string {string} {'up' if new > old else 'down'} {abs(new - old)}, "
        f"{note_name(old)} to {note_name(new)}"
        for string, old, new in reversed(strings)
    ]
    if one.capo != other.capo:
        words.append(_capo_text(one.capo, other.capo))
    if one.drive != other.drive:
        words.append(f"{one.drive} to {other.drive}")
    moves = int(one.capo != other.capo)
    return (
        one.song, len(strings), sum(abs(new - old) for _, old, new in strings), moves,
        len(strings) + moves, int(one.drive != other.drive), "; ".join(words),
    )  # fmt: skip


def _inside(row: Any) -> Iterator[str]:
    """What a part changes inside its song, such as ``capo 2 before Bridge``."""
    now = row.capo, row.drive
    for section, capo, drive in row.inside:
        words = [capo_words(capo)] if capo != now[0] else []
        words += [drive] if drive != now[1] else []
        yield f"{listed(words)} before {section}"
        now = capo, drive


def _capo_text(old: int, new: int) -> str:
    if not new:
        return f"capo off from {old}"
    return f"capo from {old} to {new}" if old else f"capo on at {new}"
