"""How far a re-voicing may go: where, not where, by which ideas, up to which fret."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from arrange.errors import ArrangeError
from arrange.tables.song import Song

TOP_FRET = 15  # the highest fret of new voicings (ours: an acoustic body begins at 12 to 14)


@dataclass(frozen=True)
class Scope:
    """What a re-voicing may change within its section or measures.

    Parameters
    ----------
    chord : str, optional
        A chord symbol: only where that chord holds.
    pinned : collection of int, or mapping of part to collection of int
        Measures that stay as written: those of every part asked for, or those of each part.
    ideas : sequence of str, optional
        The ideas to try, of ``revoicing.IDEAS``; all if not given.
    top_fret : int
        The highest fret that new voicings may use.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> scope = ar.Scope(pinned=[37, 38], ideas=["fewer strings"])
    >>> idea = ar.revoice(song, "Guitar 2", "Verse 3", scope=scope)[0]
    >>> bar = "part == 'Guitar 2' and measure == 37"
    >>> old, new = (each.notes.query(bar)["pitch"].tolist() for each in (song, idea.song))
    >>> old == new
    True
    """

    chord: str | None = None
    pinned: Collection[int] | Mapping[str, Collection[int]] = ()
    ideas: Sequence[str] | None = None
    top_fret: int = TOP_FRET

    def pins_of(self, song: Song, part: str) -> tuple[int, ...]:
        """Return the measures in which a part stays as written.

        Raises
        ------
        ArrangeError
            If there is no such measure.
        """
        pinned = self.pinned
        pins = tuple(sorted(set(pinned.get(part, ()) if isinstance(pinned, Mapping) else pinned)))
        for measure in pins:
            if not 1 <= measure <= len(song.measures):
                raise ArrangeError(
                    f"{part} is pinned in measure {measure}; there are 1 to {len(song.measures)}"
                )
        return pins

    def check_pinned_parts(self, parts: Sequence[str]) -> None:
        """Raise an ArrangeError if a part is pinned that is not among those asked for."""
        for name in self.pinned if isinstance(self.pinned, Mapping) else ():
            if name not in parts:
                known = ", ".join(map(repr, parts))
                raise ArrangeError(f"{name!r} is pinned and is not asked for; parts here: {known}")
