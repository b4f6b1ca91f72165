"""The sections of a part, each once, with all that its sheet says of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from arrange.decisions import DecisionLog
from arrange.explaining import Explanation
from arrange.explaining.cues import is_said_of
from arrange.explaining.dynamics import dynamics_words
from arrange.explaining.part_sections import Stay
from arrange.explaining.playing_kinds import HARMONICS
from arrange.explaining.returning_sections import Return, as_words
from arrange.explaining.section_setups import standing_words
from arrange.guitar.fret_counting import frets_from_of
from arrange.guitar.harmonics import NAME
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.handouts.remarks_and_decisions import part_notices
from arrange.handouts.shapes_and_rhythm import DRAWN_IN_MARKS, StrumSection, movable_of
from arrange.handouts.song_facts import new_facts
from arrange.handouts.stretches import (
    EITHER,
    NOTES,
    RATHER_NOTES,
    TAB,
    Bar,
    Stretch,
    drawn_shapes,
    engraved_spans,
    moved_bars,
    shared_words,
    song_bars,
    struck_stretch,
)
from arrange.handouts.tab_signs import drawn_techniques
from arrange.tables.song import Song
from arrange.text.words import first_up

_Words = Mapping[str, Sequence[str]]  # by section


@dataclass(frozen=True)
class StretchSource:
    """What is known of each section of a part, by its label.

    Parameters
    ----------
    player : Player
    frets_from : str
    facts, cues, notices : mapping of section to sequence of str
        Dynamics, sound, capo and layers, and what is new; cues; remarks and decisions.
    lines, uncounted : mapping of section to str
        What the hands do, with and without the count.
    bars : mapping of section to tuple of Bar
        Chord symbols.
    """

    player: Player
    frets_from: str
    facts: _Words
    cues: _Words
    notices: _Words
    lines: Mapping[str, str]
    uncounted: Mapping[str, str]
    bars: Mapping[str, tuple[Bar, ...]]

    @classmethod
    def of(
        cls,
        song: Song,
        player: Player,
        groups: Sequence[Sequence[Return]],
        cues: _Words,
        words: Explanation | None,
        log: DecisionLog | None,
    ) -> StretchSource:
        """Return what is known of a part; `cues` by section, others as in ``part_sheet``."""
        part, new, loud = player.name, new_facts(song), dynamics_words(song)
        together = [[each.stay for each in group] for group in groups]
        stays = sorted((stay for own in together for stay in own), key=lambda stay: stay.first)
        setups = standing_words(song, part, together)
        return cls(
            player,
            frets_from_of(song, part),
            {
                stay.section: [
                    *([loud[stay.section]] if loud[stay.section] else []),
                    *setups[stay.section],
                    *_changes(new, stay),
                ]
                for stay in stays
            },
            cues,
            part_notices(song, part, log).sections,
            {each.section: each.line for each in words.sections} if words else {},
            {each.section: each.what or each.line for each in words.sections} if words else {},
            song_bars(song),
        )


def part_stretches(
    source: StretchSource,
    groups: Sequence[Sequence[Return]],
    necks: Mapping[str, Neck],
    strums: Mapping[str, StrumSection],
    style: str,
) -> tuple[Stretch, ...]:
    """Return the sections of a part, those together that are printed once.

    One that has the notes of an earlier one under other chords says so, and shows its chords alone;
    so does one that rests in bars where a later one plays.

    Parameters
    ----------
    source : StretchSource
    groups : sequence of sequence of Return
        Of ``returning_sections``.
    necks : mapping of section to Neck
        None where the part has no strings.
    strums : mapping of section to StrumSection
        The sections that are made of shapes.
    style : str
        ``"shapes"`` to draw those as shapes.
    """
    movable = movable_of(strums.values())
    known: set[Any] = set()
    printed: set[str] = set()
    stretches = []
    for group in groups:
        first = group[0].stay
        is_elsewhere = group[0].printed is not None
        again = first.written_as if first.written_as in printed else ""
        is_strummed = _are_alike([strums.get(each.stay.section) for each in group])
        as_shapes = is_strummed and style == "shapes"
        drawn = DRAWN_IN_MARKS if as_shapes else drawn_techniques(has_tab=bool(necks))
        stretch = _said(source, group, drawn, has_counts=as_shapes)
        if again:
            stretch = replace(stretch, words=f"Play {again} again, under these chords.")
        elif first.plays and not is_elsewhere:
            printed |= {each.stay.section for each in group}
            own = [strums[s] for s in (each.stay.section for each in group) if s in strums]
            stretch = replace(stretch, moves=any(each.movable for each in own))
            if as_shapes:
                stretch = struck_stretch(stretch, group, strums, source.bars)
                neck, hand = necks[first.section], source.player.hand
                new, seen = drawn_shapes(own, movable, neck, hand, source.frets_from, known)
                stretch = replace(stretch, shapes=new, seen=seen)
            else:
                form = TAB if style == "shapes" else EITHER if is_strummed else RATHER_NOTES
                form = form if necks else NOTES
                stretch = replace(stretch, spans=engraved_spans(group, form))
        stretches.append(stretch)
    return tuple(stretches)


def _are_alike(strums: Sequence[StrumSection | None]) -> bool:
    """Whether all times are made of shapes, all of them or none of such as move."""
    found = [each for each in strums if each]
    return len(found) == len(strums) and len({each.movable[:1] == () for each in found}) == 1


def _said(
    source: StretchSource, group: Sequence[Return], drawn: Sequence[str], *, has_counts: bool
) -> Stretch:
    """A stretch with all that is said of it, but for techniques and counts that are drawn, and its
    chords.
    """
    lines = source.uncounted if has_counts else source.lines
    first, own = group[0].stay, [each.stay for each in group]
    if lines.get(first.section, "").startswith(first_up(HARMONICS)):
        drawn = (*drawn, NAME)
    compared = {
        s.section: [(cue, moved_bars(cue, first.first - s.first))
                    for cue in source.cues[s.section] if not is_said_of(cue, drawn)]
        for s in own
    }  # fmt: skip
    shared = set.intersection(*({moved for _, moved in each} for each in compared.values()))
    cues = []
    for each in group:
        stay = each.stay
        said = [moved if moved in shared else cue for cue, moved in compared[stay.section]]
        after = int(bool(said) and ", in at bar" in said[0])
        cues.append((stay.section, [*said[:after], *as_words(each, group[0]), *said[after:]]))
    return Stretch(
        tuple(own),
        shared_words([(s.section, source.facts[s.section]) for s in own]),
        lines.get(first.section, "") if first.plays else "",
        shared_words(cues),
        shared_words([(s.section, source.notices.get(s.section, ())) for s in own]),
        source.bars[first.section],
    )


def _changes(facts: Mapping[int, str], stay: Stay) -> list[str]:
    """Meter, key and tempo that are new in a section."""
    return [
        (f"from bar {bar}: " if bar > stay.first else "") + fact
        for bar, fact in facts.items()
        if stay.first <= bar <= stay.last
    ]
