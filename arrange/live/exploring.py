"""The door to the live view of two parts."""

from __future__ import annotations

import os

from arrange.live.decided_song import song_and_log
from arrange.live.view import PartsView
from arrange.tables.song import Song


def explore_parts(
    song: Song | str | os.PathLike[str],
    part: str | None = None,
    *,
    section: str | None = None,
    log: str | os.PathLike[str] | None = None,
) -> PartsView:
    """Return a view to try other versions of a part, section by section, without code.

    Parameters
    ----------
    song : Song or path
        Decisions in its log are made before the view opens.
    part : str, optional
        The part to begin with; else where it was left, or the guitar with most to listen to.
    section : str, optional
        The section to begin with; else where it was left, or the one with most to listen to.
    log : path, optional
        Where decisions are recorded; else beside the file, or in the working folder if a Song is
        given.

    Raises
    ------
    ArrangeError
        If the file or the log cannot be read, or there is no such part or section.

    Examples
    --------
    >>> import arrange as ar
    >>> view = ar.explore_parts("datasets/tarrow-weir.txt")
    >>> view.choices.section, view.choices.is_as_written
    ('Tune (2)', True)
    """
    song, path = song_and_log(song, log)
    return PartsView(song, path, part, section)
