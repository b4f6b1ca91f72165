"""A few bars for two guitars, typed to be tried: what is found in them, and how they sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from arrange.clashes import find_clashes
from arrange.formats.chart import read_typed
from arrange.report.readable_tables import show
from arrange.sound import Sound, render_sound
from arrange.tables.song import Song

_KEY, _TEMPO = "Bb major", 102  # those of the demo song
_COLUMNS = ["kind", "pitches", "value", "limit", "severity", "why"]


@dataclass(frozen=True)
class TriedBars:
    """A few typed bars. A notebook shows what is found in them, and plays them.

    Parameters
    ----------
    song : Song
    findings : DataFrame
        What is found of the kinds that were looked for.
    """

    song: Song
    findings: pd.DataFrame

    @property
    def sound(self) -> Sound:
        """How the bars sound."""
        return render_sound(self.song)

    def _repr_html_(self) -> str:
        found = show(self.findings[_COLUMNS], self.song).html if len(self.findings) else ""
        return f"{found or f'<p>{self._none}</p>'}{self.sound._repr_html_()}"

    def __repr__(self) -> str:
        return repr(show(self.findings[_COLUMNS], self.song)) if len(self.findings) else self._none

    @property
    def _none(self) -> str:
        return "Nothing is found here."


def try_bars(
    guitar_1: str,
    guitar_2: str = "",
    kinds: Sequence[str] | None = None,
    *,
    sound_1: str = "clean",
    sound_2: str = "clean",
) -> TriedBars:
    """Return what is found in a few bars for one or two guitars, at 102 to the minute in 4/4.

    Parameters
    ----------
    guitar_1, guitar_2 : str
        What each plays: notes or shapes as in a text chart, with ``|`` between the bars.
    kinds : sequence of str, optional
        As for ``find_clashes``.
    sound_1, sound_2 : str
        What a part's line in a text chart says of its sound, such as ``"overdriven"`` or
        ``"level -24 dB"``.

    Raises
    ------
    ChartError
        If anything typed cannot be understood.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.try_bars("Bb4", "A4").findings["kind"].tolist()
    ['roughness', 'rub']
    >>> ar.try_bars("Bb3", "A4", kinds=["rub"])
    Nothing is found here.
    """
    given = {"Guitar 1": (guitar_1, sound_1), "Guitar 2": (guitar_2, sound_2)}
    played = {part: each for part, each in given.items() if each[0]}
    parts = [f"part: {part}; electric guitar; {sound}" for part, (_, sound) in played.items()]
    rows = [f"{part} | {bars} |" for part, (bars, _) in played.items()]
    top = [f"key: {_KEY}", "meter: 4/4", f"tempo: {_TEMPO}"]
    chart = "\n".join([*top, *parts, "section: Tried", *rows])
    song = read_typed(chart)
    return TriedBars(song, find_clashes(song, kinds))
