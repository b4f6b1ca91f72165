"""Many songs, read one after the other: a file that cannot be read is reported."""

from __future__ import annotations

import itertools
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from arrange.decisions import DecisionLog, decisions_path, decisions_so_far, is_song_path
from arrange.errors import ArrangeError, ChartError, ReadError, shortened
from arrange.formats.reading import read
from arrange.formats.suffixes import READ_SUFFIXES
from arrange.report.studying import Study
from arrange.tables.song import Song
from arrange.text.letters import check_text, readable
from arrange.text.progress import steps
from arrange.text.words import counted

_FAULTS = ("file", "where", "what", "to_do")
# The words with which a reader's message goes from the mistake to the remedy.
_TURN = re.compile(r"; (?!.*; )|: (?=did you mean)")


def _no_faults() -> pd.DataFrame:
    return _faults_table([])


@dataclass(frozen=True)
class Songbook:
    """Songs in the order of the set, and what could not be read.

    Parameters
    ----------
    studies : mapping of str to Study
        Each song by its name, in set order, with what is found in it.
    faults : DataFrame
        ``file``; ``where`` in it; ``what`` was wrong; ``to_do``, what to do about it.
    """

    studies: Mapping[str, Study]
    faults: pd.DataFrame = field(default_factory=_no_faults)

    @property
    def songs(self) -> dict[str, Song]:
        """Each song by its name, in set order."""
        return {name: study.song for name, study in self.studies.items()}

    def in_order(self, names: Sequence[str]) -> Songbook:
        """Return the book with its songs in another order, or with some of them only.

        Raises
        ------
        ArrangeError
            If a name is not in the book, or stands twice.
        """
        for name in names:
            check_name(self, name)
        if len(set(names)) < len(names):
            twice = next(name for name in names if list(names).count(name) > 1)
            raise ArrangeError(f"{twice!r} stands twice; name each song once")
        return replace(self, studies={name: self.studies[name] for name in names})

    def __repr__(self) -> str:
        songs, faults = len(self.studies), len(self.faults)
        more = f", {counted(faults, 'fault')}" if faults else ""
        return f"<Songbook: {counted(songs, 'song')}{more}>"


def check_name(book: Songbook, name: str) -> None:
    """Raise an ArrangeError if a book has no song of that name."""
    if name not in book.studies:
        raise ArrangeError(f"no song is called {name!r}; there are {', '.join(book.studies)}")


def read_songbook(
    paths: str | os.PathLike[str] | Iterable[str | os.PathLike[str]],
    *,
    players: Mapping[str, str] | None = None,
) -> Songbook:
    """Return the songs in a folder, or in files and folders in the order given.

    The songs of a folder stand in the order of their file names, numbers by their value: 2 before
    10. A song is called by its title, else by its file. The log of decisions beside a song counts,
    as in ``study``.

    Parameters
    ----------
    paths : path, or several
        Of a folder all files with a suffix that is read (``formats.suffixes``) are
        read; folders in it are not.
    players : mapping of part label to str, optional
        Who plays a part where its file does not say: ``{"Guitar 1": "Corrie"}``. A player is known
        from song to song by this name, or else by the label of the part.

    Raises
    ------
    ReadError
        If a folder does not exist, cannot be opened or holds no songs. What is wrong with a single
        file stands in ``faults``.
    ArrangeError
        If a player's name cannot be written.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.read_songbook("datasets/harbour-set")
    <Songbook: 4 songs>
    """
    for player in (players or {}).values():
        check_text("player", player)
    studies: dict[str, Study] = {}
    faults: list[tuple[str, str, str, str]] = []
    for path in steps(_song_files(paths), "Reading songs", "song"):
        try:
            song = _with_players(read(path), players or {})
        except ArrangeError as error:
            faults += _faults_of(shortened(path.name), error)
            continue
        studies[_unused_name(song, path, studies)] = Study(song, log=_log(path, faults))
    return Songbook(studies, _faults_table(faults))


def _song_files(paths: str | os.PathLike[str] | Iterable[str | os.PathLike[str]]) -> list[Path]:
    if isinstance(paths, (str, os.PathLike)):
        if not os.path.exists(paths):
            raise ReadError(
                "there is no such folder; look for a typing error in the path", file=str(paths)
            )
        paths = [paths]
    files: list[Path] = []
    for path in map(Path, paths):
        files += _files_in(path) if os.path.isdir(path) else [path]
    return files


def _files_in(folder: Path) -> list[Path]:
    try:
        found = [path for path in folder.iterdir() if is_song_path(path) and not path.is_dir()]
    except OSError as error:
        raise ReadError(
            f"the folder cannot be opened: {error.strerror}", file=str(folder)
        ) from None
    if not found:
        raise ReadError(
            f"no song is in this folder; put files there that end in {', '.join(READ_SUFFIXES)}",
            file=str(folder),
        )
    return sorted(found, key=lambda path: (_by_value(path.name), path.name))


def _by_value(name: str) -> list[tuple[str, int]]:
    """A name as text and numbers in turn, so that 2 comes before 10."""
    return [
        (text.casefold(), int(number or 0))
        for text, number in re.findall(r"([^0-9]*)([0-9]*)", name)
    ]


def _with_players(song: Song, players: Mapping[str, str]) -> Song:
    parts = song.parts
    named = [
        players.get(part) if pd.isna(player) else player
        for part, player in zip(parts["part"], parts["player"], strict=True)
    ]
    return replace(song, parts=parts.assign(player=pd.array(named, dtype="str")))


def _unused_name(song: Song, path: Path, taken: Mapping[str, Study]) -> str:
    title = song.title or readable(path.stem)
    longer = f"{title} ({readable(path.name)})"
    more = (f"{longer} {number}" for number in itertools.count(2))
    return next(name for name in itertools.chain([title, longer], more) if name not in taken)


def _log(path: Path, faults: list[tuple[str, str, str, str]]) -> DecisionLog:
    log = decisions_path(path)
    try:
        return decisions_so_far(log)
    except ArrangeError as error:
        faults += _faults_of(log.name, error)
        return DecisionLog()


def _faults_of(file: str, error: ArrangeError) -> list[tuple[str, str, str, str]]:
    """A row for each fault of a file: a chart may have several."""
    several = error.errors if isinstance(error, ChartError) else ()
    rows = [row for each in several for row in _faults_of(file, each)]
    if several:
        last = str(error).splitlines()[-1]
        return [*rows, (file, "", last, "mend those above first")] if last[:3] == "..." else rows
    where, problem = "", str(error)
    if isinstance(error, ReadError):
        names = ("line", "column", "part", "measure")
        places = [(name, getattr(error, name)) for name in names]
        where = ", ".join(f"{name} {place}" for name, place in places if place is not None)
        problem = error.problem
    what, *to_do = _TURN.split(" ".join(problem.split()), maxsplit=1)
    return [(file, where, what, to_do[0] if to_do else "mend this place in the file")]


def _faults_table(rows: list[tuple[str, str, str, str]]) -> pd.DataFrame:
    shown = [tuple(map(readable, row)) for row in rows]
    return pd.DataFrame(shown, columns=list(_FAULTS)).astype("str")
