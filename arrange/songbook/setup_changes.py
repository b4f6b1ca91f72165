"""From song to song: who retunes which strings, who moves a capo, who changes the sound.

A neck is the instrument that a player has in hand: one of a family, with so many strings. Its
tuning and capo stay until a song asks for others, also while its player rests or plays another
neck. Each player is assumed to bring one of each; a player with a second guitar, already tuned,
changes nothing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import pandas as pd

from arrange.guitar.necks import STANDARD_TUNINGS
from arrange.songbook.book import Songbook
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

NeckKey = tuple[str, str, int]  # player, family, strings

_SETUPS = {
    "song": "str", "player": "str", "part": "str", "family": "str", "tuning": "object",
    "capo": "int64", "drive": "str", "onset": "float64", "end": "float64",
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
        first; ``capo``, fret; ``drive``; ``onset`` of its first and ``end`` of its last note, in
        quarter notes.
    """
    rows = [row for name, song in book.songs.items() for row in _setup_rows(name, song)]
    return pd.DataFrame(rows, columns=list(_SETUPS)).astype(_SETUPS)


def _setup_rows(name: str, song: Song) -> list[tuple[Any, ...]]:
    parts, onsets = song.notes["part"], song.notes["onset"]
    begins = onsets.groupby(parts).min()
    ends = (onsets + song.notes["duration"]).groupby(parts).max()
    rows = []
    for part in song.parts.itertuples():
        tuning = part.tuning if part.tuning is not None else STANDARD_TUNINGS.get(part.family)
        if tuning is None or part.part not in ends.index:
            continue
        player = part.part if pd.isna(part.player) else part.player
        rows.append((name, player, part.part, part.family, tuple(tuning), int(part.capo),
                     part.drive, begins[part.part], ends[part.part]))  # fmt: skip
    return rows


def necks_by_song(book: Songbook) -> dict[str, dict[NeckKey, tuple[Setup, Setup]]]:
    """Return for each song each neck's setup at its first note, and the one at its last.

    They differ only where one player has several parts in a song.
    """
    necks: dict[str, dict[NeckKey, list[Any]]] = {name: {} for name in book.studies}
    for row in player_setups(book).itertuples():
        key = (row.player, row.family, len(row.tuning))
        necks[row.song].setdefault(key, []).append(row)
    return {
        name: {
            key: (
                _setup(min(rows, key=lambda row: float(row.onset))),
                _setup(max(rows, key=lambda row: float(row.end))),
            )
            for key, rows in own.items()
        }
        for name, own in necks.items()
    }


def _setup(row: Any) -> Setup:
    return Setup(row.song, row.tuning, row.capo, row.drive)


def changes_between(book: Songbook) -> pd.DataFrame:
    """Return what each player must change from song to song, in set order.

    Sums over the rows are the totals of the set. A player's first song counts nothing, since they
    come with the right tuning and capo; changes of a player of several parts within a song are not
    counted either, since they are the same in every order.

    Returns
    -------
    DataFrame
        A row for each song and each neck that has been played before it: ``before``, the song
        before; ``song``, the one to come; ``player``; ``since``, the song that the player last
        played on this neck; ``strings_retuned``; ``semitones``, by how many, all strings together;
        ``capo_moves``, 1 where a capo is put on, taken off or moved; ``changes``, strings and capo
        together; ``drive_changes``, 1 where the sound is another, which a foot does and ``changes``
        leaves out; ``what``, in words.

    Examples
    --------
    >>> import arrange as ar
    >>> book = ar.read_songbook("datasets/harbour-set")
    >>> ar.changes_between(book)["what"].head(2).tolist()
    ['string 6 up 2, D2 to E2; edge to clean', 'capo from 2 to 3']
    """
    rows, before = [], ""
    now: dict[NeckKey, Setup] = {}
    for name, necks in necks_by_song(book).items():
        for key, (first, last) in necks.items():
            if key in now:
                rows.append((before, name, key[0], *_change(now[key], first)))
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
        len(strings) + moves, int(one.drive != other.drive), "; ".join(words) or "nothing",
    )  # fmt: skip


def _capo_text(old: int, new: int) -> str:
    if not new:
        return f"capo off from {old}"
    return f"capo from {old} to {new}" if old else f"capo on at {new}"
