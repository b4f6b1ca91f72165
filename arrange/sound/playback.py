"""How a song is played back: tempo, place of the parts, clicks, loop, instruments."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from arrange.errors import ArrangeError

SLOWEST, FASTEST = 10, 400  # quarter notes a minute
MOST_COUNT_IN = 16  # bars


@dataclass(frozen=True)
class Playback:
    """How a song is played back.

    Parameters
    ----------
    tempo : float, optional
        Quarter notes a minute at the first measure that is heard, from 10 to 400. Later changes
        of the tempo keep their proportion. The pitch does not change. Default: as written.
    pan : mapping of part to float, optional
        From -1, left, to 1, right. Default: guitars stand apart, everything else in the middle.
    count_in : int
        Bars of clicks before the music, at most ``MOST_COUNT_IN``.
    click : bool
        Clicks on the beats.
    loop : bool
        The sound can be repeated without a seam: what rings beyond its end is heard at its start.
        A count-in is then heard each time round.
    font : path, optional
        A SoundFont (``.sf2``) of your own, which plays the parts by their General MIDI programs.
        It needs ``pip install 'arrange[sampled]'``. Drive and echo are added as always.

    Raises
    ------
    ArrangeError
        If the tempo, a pan or the count-in is out of its range.

    Examples
    --------
    >>> import arrange as ar
    >>> slow = ar.Playback(tempo=60, count_in=1)
    >>> slow.tempo, slow.count_in, slow.loop
    (60, 1, False)
    """

    tempo: float | None = None
    pan: Mapping[str, float] | None = None
    count_in: int = 0
    click: bool = False
    loop: bool = False
    font: str | os.PathLike[str] | None = None

    def __post_init__(self) -> None:
        if self.tempo is not None and not SLOWEST <= self.tempo <= FASTEST:
            raise ArrangeError(
                f"tempo {self.tempo}: quarter notes a minute, from {SLOWEST} to {FASTEST}"
            )
        if self.count_in not in range(MOST_COUNT_IN + 1):
            raise ArrangeError(
                f"count_in={self.count_in!r}: whole bars of clicks before the music, from 0 to "
                f"{MOST_COUNT_IN}"
            )
        for part, side in (self.pan or {}).items():
            if not -1 <= side <= 1:
                raise ArrangeError(f"pan of {part}: {side}; from -1, left, to 1, right")


PLAIN = Playback()
