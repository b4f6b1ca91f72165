"""The demo songs, which lie beside the package in a copy of the project."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from arrange.errors import ArrangeError
from arrange.exercises.song_facts import SongFacts
from arrange.formats.reading import read

LOW_WATER = "low-water.musicxml"
LAST_BELL = "last-bell.musicxml"
TARROW_WEIR = "tarrow-weir.txt"
_NEAR = (Path(__file__).parents[2] / "datasets", Path("../datasets"), Path("datasets"))


def demo_path(name: str) -> Path:
    """Return the path of a demo song or of a folder of them.

    Raises
    ------
    ArrangeError
        If it is not there.
    """
    for folder in _NEAR:
        if (folder / name).exists():
            return folder / name
    raise ArrangeError(
        f"the demo song {name} is not there; open the lessons in a copy of the whole project, in "
        "which the folders notebooks and datasets lie side by side"
    )


@lru_cache(maxsize=8)
def demo_facts(name: str) -> SongFacts:
    """Return a demo song with what is known about it, read once."""
    return SongFacts(read(demo_path(name)))
