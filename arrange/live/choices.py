"""What may be chosen in a live view, for a section, its parts and the tempo.

Octave, inversion and strings are chosen for a part in one section. Capo, drive and echo belong to
the whole part, also where a section has its own, and the tempo belongs to the whole song.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from arrange.guitar.fingering import part_neck
from arrange.guitar.necks import STANDARD_TUNINGS
from arrange.tables.song import Song, part_row

AS_WRITTEN = "as written"
INVERSIONS = (AS_WRITTEN, "root lowest", "third lowest", "fifth lowest", "seventh lowest")
NO_ECHO = "none"
ECHOES = (NO_ECHO, "sixteenth", "eighth", "dotted eighth", "quarter", "dotted quarter", "half")
_OCTAVES = {-2: "two octaves down", -1: "an octave down", 1: "an octave up", 2: "two octaves up"}


@dataclass(frozen=True)
class PartChoice:
    """What is chosen for one part. A part without a choice stays as written.

    Parameters
    ----------
    octave : int
        Octaves by which it moves in the section.
    inversion : str
        One of ``INVERSIONS``.
    strings : str
        One of ``string_sets``.
    capo : int or None
        Fret of the capo.
    drive : str or None
    echo : str or None
        A note value, or ``NO_ECHO``.
    """

    octave: int = 0
    inversion: str = AS_WRITTEN
    strings: str = AS_WRITTEN
    capo: int | None = None
    drive: str | None = None
    echo: str | None = None


@dataclass(frozen=True)
class Choices:
    """All that is chosen.

    Parameters
    ----------
    section : str
    parts : tuple of (str, PartChoice)
        The parts with a choice.
    tempo : float or None
        Quarter notes a minute at the section's start; the rest of the song keeps its proportion.
    """

    section: str
    parts: tuple[tuple[str, PartChoice], ...] = ()
    tempo: float | None = None

    def of(self, part: str) -> PartChoice:
        """Return what is chosen for a part."""
        return dict(self.parts).get(part, PartChoice())

    def with_part(self, part: str, choice: PartChoice) -> Choices:
        """Return the choices with another one for a part."""
        chosen = {**dict(self.parts), part: choice}
        parts = tuple(sorted(each for each in chosen.items() if each[1] != PartChoice()))
        return replace(self, parts=parts)

    def that_fit(self, song: Song) -> Choices:
        """Return the choices without parts and strings that the song does not have."""
        there, chosen = set(song.parts["part"]), replace(self, parts=())
        for part, own in self.parts:
            if part in there:
                is_held = own.strings == AS_WRITTEN or own.strings in string_sets(song, part)
                fit = own if is_held else replace(own, strings=AS_WRITTEN)
                chosen = chosen.with_part(part, fit)
        return chosen

    @property
    def on_the_neck(self) -> Choices:
        """The choices that change which notes are played, or where: not tempo, drive and echo."""
        chosen = Choices(self.section)
        for part, own in self.parts:
            chosen = chosen.with_part(part, replace(own, drive=None, echo=None))
        return chosen

    @property
    def is_as_written(self) -> bool:
        """Whether nothing is chosen."""
        return not self.parts and self.tempo is None


def string_sets(song: Song, part: str) -> tuple[str, ...]:
    """Return the sets of neighbouring strings that a part can be limited to."""
    if not has_strings(song, part):
        return ()
    count = part_neck(song, part).strings
    sets = [
        f"{first}–{first + size - 1}"
        for size in (3, 4)
        for first in range(1, count - size + 2)
        if count > size
    ]
    return (AS_WRITTEN, *sets)


def has_strings(song: Song, part: str) -> bool:
    """Return whether a part is played on strings that are known."""
    row = part_row(song, part)
    return isinstance(row["tuning"], tuple) or row["family"] in STANDARD_TUNINGS


def choices_words(choices: Choices) -> str:
    """Return the choices in words, such as ``Guitar 1: an octave up, capo at fret 2``."""
    words = [f"{part}: {', '.join(_choice_words(choice))}" for part, choice in choices.parts]
    if choices.tempo is not None:
        words.append(f"tempo {choices.tempo:g}")
    return "; ".join(words) or AS_WRITTEN


def _choice_words(choice: PartChoice) -> Iterator[str]:
    if choice.octave:
        yield _OCTAVES.get(choice.octave, f"{choice.octave:+d} octaves")
    if choice.inversion != AS_WRITTEN:
        yield choice.inversion
    if choice.strings != AS_WRITTEN:
        yield f"on strings {choice.strings}"
    if choice.capo is not None:
        yield f"capo at fret {choice.capo}" if choice.capo else "no capo"
    if choice.drive is not None:
        yield choice.drive
    if choice.echo is not None:
        yield "no echo" if choice.echo == NO_ECHO else f"{choice.echo} echo"
