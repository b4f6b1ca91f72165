"""A notebook that holds the live view of a song, which is also served as a page without code."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from arrange.decisions import decisions_path, decisions_so_far
from arrange.errors import ArrangeError, shortened
from arrange.formats.files import whole_file
from arrange.formats.reading import read
from arrange.text.letters import readable
from arrange.text.markup import escape_markdown
from arrange.text.notebook_file import code_cell, notebook_of, notebook_text, words_cell

_TURN_DOWN = "Turn your headphones down before you press play, and up afterwards."


def write_page(
    song: str | os.PathLike[str],
    target: str | os.PathLike[str],
    *,
    layers: bool = False,
    players: Sequence[str] = (),
) -> Path:
    """Write a notebook that holds the live view of a song and nothing else.

    Parameters
    ----------
    song : path
        The song's file; its log of decisions is the one beside it.
    target : path
        Where to write, ``.ipynb``.
    layers : bool
        The view in which layers are shared out, not that of the parts.
    players : sequence of str
        Who shares them out, a line each as ``condense`` takes them; else as ``explore_layers``.

    Raises
    ------
    ArrangeError
        If the song or its log cannot be read, it has no layers to share out, or the page cannot
        be written.
    """
    song, target = Path(song).resolve(), Path(target)
    # What cannot be shown is reported now, not on the page.
    read_song = read(song)
    decisions_so_far(decisions_path(song))
    if layers and "guitar" not in read_song.parts["family"].array:
        raise ArrangeError(
            f"{shortened(song.name)}: no part is a guitar, so that there are no layers to share "
            "out; leave out --layers to see and hear its parts"
        )
    title = read_song.title or readable(song.stem)
    explore = "explore_layers" if layers else "explore_parts"
    asked = [repr(_path_from(song, target)), *([repr(list(players))] if players else [])]
    code = (
        f"# Run this cell: Shift and Enter.\nimport arrange as ar\nar.{explore}({', '.join(asked)})"
    )
    cells = [words_cell(f"# {escape_markdown(title)}\n\n{_TURN_DOWN}"), code_cell(code)]
    with whole_file(target) as draft:
        draft.write_text(notebook_text(notebook_of(cells)), encoding="utf-8")
    return target


def _path_from(song: Path, notebook: Path) -> str:
    """A path that stays right where the notebook and the song are moved together, if it can be."""
    folder = notebook.resolve().parent
    return song.relative_to(folder).as_posix() if song.is_relative_to(folder) else str(song)
