"""A part in a teacher's words: what it is, where the hand goes, what is struck when, when to rest.

Every statement is read from ``finger_part``'s table and the song's own. Frets are counted as the
part says, as on the sheets: from the nut or from the capo, an open string as 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import pandas as pd

from arrange.errors import ArrangeError
from arrange.explaining.attacks import part_attacks, struck_notes
from arrange.explaining.cues import section_cues
from arrange.explaining.held_shapes import SectionShapes, part_shapes
from arrange.explaining.other_guitars import other_guitars
from arrange.explaining.part_sections import Stay, part_stays
from arrange.explaining.passages import Passage
from arrange.explaining.section_setups import drive_words, own_played_setups, setup_words
from arrange.explaining.section_words import SectionWords, played_words, silent_words
from arrange.guitar.fingering import finger_part, part_neck
from arrange.guitar.fret_counting import counting_words, frets_from_of
from arrange.guitar.necks import Neck, capo_words, tuning_name
from arrange.guitar.players import Player
from arrange.tables.song import Song, section_row
from arrange.text.markup import escape_html
from arrange.text.words import first_up

LENGTHS = ("line", "paragraph", "steps")


@dataclass(frozen=True)
class Explanation:
    """A part in words.

    Parameters
    ----------
    part : str
    start : str
        Tuning, capo and sound, and how frets are counted.
    sections : tuple of SectionWords
        Each with its ``section``, ``line``, ``paragraph`` and ``steps``.
    """

    part: str
    start: str
    sections: tuple[SectionWords, ...]

    def text(self, length: str = "paragraph") -> str:
        """Return the words, a line each; `length` is line, paragraph or steps.

        Raises
        ------
        ArrangeError
            If it is another length.
        """
        return "\n".join([f"{self.part}. {self.start}", *self._lines(length)])

    def _lines(self, length: str) -> Iterator[str]:
        if length not in LENGTHS:
            raise ArrangeError(f"length={length!r}; it is one of {', '.join(map(repr, LENGTHS))}")
        for words in self.sections:
            if length == "steps":
                yield f"{words.section}:"
                yield from (f"  {number}. {step}" for number, step in enumerate(words.steps, 1))
            else:
                yield f"{words.section}: {words.line if length == 'line' else words.paragraph}"

    def _repr_html_(self) -> str:
        paragraphs = "".join(f"<p>{escape_html(line)}</p>" for line in self.text().split("\n"))
        ignored = "mathjax_ignore tex2jax_ignore"  # a notebook looks for formulas
        return f'<div class="{ignored}">{paragraphs}</div>'


class KnownPart(NamedTuple):
    """What a sheet and its words have in common: the part's sections, the cues of each, and its
    shapes by section.
    """

    stays: Sequence[Stay]
    cues: Sequence[tuple[str, ...]]
    shapes: Mapping[str, SectionShapes]


def explain_part(
    song: Song,
    part: str,
    section: str | None = None,
    player: Player | None = None,
    *,
    frets: str | None = None,
) -> Explanation:
    """Return how to play a part, section by section, in a teacher's words.

    Parameters
    ----------
    song : Song
    part : str
        Label of a part with strings.
    section : str, optional
        One section alone; then its steps have every bar.
    player : Player, optional
        Whose hand plays it, and on which neck; else the part's own neck.
    frets : str, optional
        How frets are counted: from the ``"nut"`` or from the ``"capo"``; else as the part says.

    Raises
    ------
    ArrangeError
        If there is no such part or section, the part has no strings, or frets are counted from
        elsewhere.

    Examples
    --------
    >>> import arrange as ar
    >>> words = ar.explain_part(ar.read("datasets/tarrow-weir.txt"), "Guitar 2", "Tune (2)")
    >>> words.sections[0].section, words.sections[0].line.startswith("Picked chords")
    ('Tune (2)', True)
    """
    if section is not None:
        section_row(song, section)
    frets_from_of(song, part, frets)
    own_neck, hand = (player.neck, player.hand) if player else (None, None)
    picks = player.picks if player and player.picks != "pick" else None  # a pick where it is usual
    fingered = finger_part(song, part, neck=own_neck, hand=hand, picks=picks)
    return explain_fingered(song, part, fingered, section, own_neck, frets)


def explain_fingered(
    song: Song,
    part: str,
    fingered: pd.DataFrame,
    section: str | None = None,
    own_neck: Neck | None = None,
    frets: str | None = None,
    known: KnownPart | None = None,
) -> Explanation:
    """Return the same of a part with its strings and fingers, as ``finger_part`` gives them.

    Parameters
    ----------
    song : Song
    part : str
    fingered : DataFrame
    section : str, optional
    own_neck : Neck, optional
        Where it is not the part's own.
    frets : str, optional
    known : KnownPart, optional
        Else it is worked out.
    """
    frets_from = frets_from_of(song, part, frets)
    neck = own_neck or part_neck(song, part)
    stays = known.stays if known else part_stays(song, part)
    cues = known.cues if known else section_cues(song, part, stays)
    setups, others = setup_words(song, part, stays), other_guitars(song, part, stays, cues)
    struck = struck_notes(fingered)
    played = own_played_setups(song, part)
    capos = {stay.section: neck.capo for stay in stays}
    if not own_neck:
        capos |= played["capo"].to_dict()
    necks = {name: replace(neck, capo=int(capo)) for name, capo in capos.items()}
    shapes = known.shapes if known else part_shapes(song, fingered, necks)
    notes_in = dict(list(struck.groupby("section")))
    if own_neck:
        played = played.assign(capo=neck.capo)
    start = _start(played.loc[[section]] if section in played.index else played, neck, frets_from)
    if not any(stay.plays for stay in stays):
        return Explanation(part, f"{start} It does not play in this song.", ())
    words = []
    for stay, own_cues in zip(stays, cues, strict=True):
        name = stay.section
        if section not in (None, name):
            continue
        if name not in notes_in:
            said = own_cues or ("nothing that lies on this neck",)
            words.append(silent_words(name, [*said, *others[name]], setups[name]))
            continue
        attacks = tuple(part_attacks(notes_in[name]))
        passage = Passage(song, stay, attacks, shapes[name], necks[name], frets_from)
        said = (*own_cues, *others[name])
        words.append(played_words(passage, setups[name], said, whole=section is not None))
    return Explanation(part, start, tuple(words))


def _start(setups: pd.DataFrame, neck: Neck, frets_from: str) -> str:
    """Tuning, capo and sound at first, and how frets are counted."""
    first = setups.iloc[0]
    echo = f", echo {first['echo']}" if isinstance(first["echo"], str) else ""
    counting = counting_words(int(setups["capo"].max()), frets_from)
    later = " at first" if len({*setups["capo"]}) > 1 else ""
    capo = "; ".join(filter(None, [capo_words(int(first["capo"])) + later, counting]))
    return (
        f"{first_up(tuning_name(neck.tuning))} tuning. {first_up(capo)}. "
        f"{first_up(drive_words(first['drive']))}{echo}. Shapes are written low string first; "
        "string 1 is the highest."
    )
