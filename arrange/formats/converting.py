"""A song from one file format into another, or into any by its suffix."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from arrange.errors import ArrangeError, shortened
from arrange.formats.files import check_target
from arrange.formats.known import WRITERS
from arrange.formats.reading import read
from arrange.tables.song import Song


def convert(
    source: str | os.PathLike[str], target: str | os.PathLike[str], *, overwrite: bool = False
) -> Song:
    """Read a song from one file and write it to another, in the format its suffix names.

    Parameters
    ----------
    source : path
        What ``read`` reads.
    target : path
        Ends in .musicxml, .mid, .txt or another suffix of a format that is written; an unknown
        one is answered with all of them. It is written whole or not at all.
    overwrite : bool
        True replaces a file that is there.

    Returns
    -------
    Song
        As read; its notices also say what the new file does not hold.

    Raises
    ------
    ArrangeError
        If the suffix names no format, the target is the source or is there already, or either
        file fails.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     song = ar.convert("datasets/tarrow-weir.txt", f"{folder}/tarrow-weir.mid")
    ...     len(ar.read(f"{folder}/tarrow-weir.mid").parts) == len(song.parts)
    True
    """
    song_writer(Path(target), overwrite=overwrite, source=source)
    song = read(source)
    left_out = write_song(song, target, overwrite=overwrite)
    return replace(song, notices=(*song.notices, *left_out))


def write_song(
    song: Song, target: str | os.PathLike[str], *, overwrite: bool = False
) -> tuple[str, ...]:
    """Write a song in the format that a file's suffix names; whole or not at all.

    Returns
    -------
    tuple of str
        What of the song the file does not hold, a sentence each.

    Raises
    ------
    ArrangeError
        As ``convert``.
    """
    target = Path(target)
    writer = song_writer(target, overwrite=overwrite)
    try:
        return writer(song, target)
    except OSError as error:
        raise ArrangeError(f"{shortened(target)}: it cannot be written: {error.strerror}") from None


def song_writer(
    target: Path, *, overwrite: bool = False, source: str | os.PathLike[str] | None = None
) -> Callable[..., tuple[str, ...]]:
    """Return what writes a song in the format that a file's suffix names.

    Raises
    ------
    ArrangeError
        If the suffix names no format, no file can be written there, or the source would be lost.
    """
    writer = WRITERS.get(target.suffix.lower())
    if writer is None:
        raise ArrangeError(f"{shortened(target)}: no format ends so; name it {', '.join(WRITERS)}")
    check_target(target, overwrite=overwrite, source=source)
    return writer
