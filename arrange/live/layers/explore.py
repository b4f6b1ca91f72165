"""Open the view of layers on a song."""

from __future__ import annotations

import os
from collections.abc import Sequence

from arrange.condensing import Weights, condense
from arrange.guitar.players import Player
from arrange.live.decided_song import song_and_log
from arrange.live.layers.layers_view import LayersView
from arrange.live.layers.results import LayersResults
from arrange.tables.song import Song


def explore_layers(
    song: Song | str | os.PathLike[str],
    players: int | Sequence[str | Player] | None = None,
    *,
    layers: Sequence[str] | None = None,
    roles: dict[str, str] | None = None,
    weights: Weights | None = None,
    log: str | os.PathLike[str] | None = None,
) -> LayersView:
    """Return a view in which layers are shared out among players by hand, without code.

    It opens with what was shared out last, or with the best that there is. What is shared out is
    kept beside the song (``.layers.txt``); decisions go into its log.

    Parameters
    ----------
    song : Song or path
        Decisions in its log are made before the view opens, but those that share out layers.
    players, layers, roles, weights
        As for ``condense``.
    log : path, optional
        Where decisions are recorded; else beside the file, or in the working folder if a Song is
        given.

    Raises
    ------
    ArrangeError
        If the file or the log cannot be read, or there is nothing to share out.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     view = ar.explore_layers(song, ["Ann"], log=f"{folder}/tarrow-weir.decisions.txt")
    >>> view.shares.taken[0] == view.results.optimum[0]
    True
    """
    song, path = song_and_log(song, log)

    def asked(song: Song) -> LayersResults:
        return LayersResults(condense(song, players, layers=layers, roles=roles, weights=weights))

    return LayersView(song, path, asked)
