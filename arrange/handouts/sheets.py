"""What stands on a part sheet, before it is laid out: all of it worked out from the Song."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd

from arrange.decisions import DecisionLog
from arrange.errors import ArrangeError
from arrange.explaining import Explanation, KnownPart, explain_fingered
from arrange.explaining.cues import section_cues
from arrange.explaining.held_shapes import part_shapes
from arrange.explaining.movable_shapes import MovableShape
from arrange.explaining.part_sections import own_notes, part_stays
from arrange.explaining.returning_sections import Return, returning_sections
from arrange.explaining.section_setups import (
    drive_words,
    own_played_setups,
    own_setups,
)
from arrange.guitar.fingering import finger_part, part_neck
from arrange.guitar.fret_counting import counting_words, frets_from_of
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.handouts.engraving import (
    STAFF_MM,
    Prepared,
    blank_systems,
    drawn_part,
    engrave_prepared,
    prepare,
)
from arrange.handouts.legend import legend
from arrange.handouts.line_heights import LineHeights
from arrange.handouts.part_stretches import StretchSource, part_stretches
from arrange.handouts.remarks_and_decisions import part_notices
from arrange.handouts.shapes_and_rhythm import StrumSection, movable_of, strum_sections
from arrange.handouts.song_facts import song_facts, tuning_words
from arrange.handouts.stretches import (
    EITHER,
    NOTES,
    RATHER_NOTES,
    TAB,
    Stretch,
    drawn_shapes,
)
from arrange.handouts.systems import System
from arrange.quantities.texture import echo_times
from arrange.tables.columns import object_column
from arrange.tables.schemas import NOTES as NOTE_COLUMNS
from arrange.tables.schemas import NUT
from arrange.tables.song import Song, part_row
from arrange.text.words import bars_words, joined_labels
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import chord_symbol, moved_chord
from arrange.theory.pitch import moved_key

STYLES = ("notation", "shapes")
_FORMS = {NOTES: (NOTES, EITHER, RATHER_NOTES), TAB: (TAB, EITHER, RATHER_NOTES)}
_WEB_MM = 180.0  # width for which the web page's systems are engraved
_MOST_PROBLEMS = 4  # problems named one by one

WARM_UP = (
    "Warm up for five to ten minutes, rest five in every half hour. Pain, numbness or tingling: "
    "stop, rest, and ask somebody qualified in medicine if it returns."
)
CARE = (
    "Warm up, rest five minutes in every half hour, turn down rather than up, protect your ears; "
    "with pain, numbness or ringing stop, and ask somebody qualified. More on the band sheet."
)
LOUDNESS = (
    "Loud rehearsals harm hearing for good: at 94 dB(A) one hour is a whole day's share, at "
    "100 dB(A) a quarter of an hour (NIOSH 98-126). Turn down rather than up, protect your ears, "
    "take quiet breaks."
)


@dataclass(frozen=True)
class PartSheet:
    """A part sheet.

    Parameters
    ----------
    title, part, player : str
    facts : tuple of (str, str)
    notices : tuple of str
        Remarks and decisions for all the song.
    form : tuple of (section, first bar, bars, plays)
        The song from beginning to end.
    stretches : tuple of Stretch
    shapes : tuple of str
        Fret pictures, SVG, of shapes that move in music.
    engraved : dict of str to Prepared
        The spans that may have a form, in their order, to be engraved in any size.
    legend : str
    cautions : tuple of str
    lessons : tuple of (str, tuple of str)
        Each section and how to play it, step by step, where that was asked for.
    """

    title: str
    part: str
    player: str
    facts: tuple[tuple[str, str], ...]
    notices: tuple[str, ...]
    form: tuple[tuple[str, int, int, bool], ...]
    stretches: tuple[Stretch, ...]
    shapes: tuple[str, ...]
    engraved: dict[str, Prepared]
    legend: str
    cautions: tuple[str, ...]
    lessons: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def systems(
        self,
        width_mm: float,
        staff_mm: float = STAFF_MM,
        in_tab: Sequence[str] = (TAB,),
        *,
        are_blank: bool = False,
    ) -> list[list[list[System]]]:
        """Return the systems of each span of each stretch: all lines of music for a width.

        Parameters
        ----------
        width_mm, staff_mm : float
        in_tab : sequence of str
            The forms that are engraved as tablature alone.
        are_blank : bool
            Whether they are not engraved, but as high as they will be.
        """

        def engraved(own: Prepared) -> list[list[System]]:
            if are_blank:
                return blank_systems(own, width_mm, staff_mm, self._heights)
            return engrave_prepared(own, width_mm, staff_mm)

        forms = {form: TAB if form in in_tab else NOTES for form in _FORMS[TAB] + _FORMS[NOTES]}
        spans = [span for stretch in self.stretches for span in stretch.spans]
        systems = {}
        for form, prepared in self.engraved.items():
            held = [span for span in spans if span.form in _FORMS[form]]
            measured = zip(held, prepared.stretches, strict=True)
            own = [each for span, each in measured if forms[span.form] == form]
            systems[form] = iter(engraved(prepared._replace(stretches=own)))
        return [[next(systems[forms[span.form]]) for span in stretch.spans]
                for stretch in self.stretches]  # fmt: skip

    @cached_property
    def web_systems(self) -> list[list[list[System]]]:
        """The systems of the web page."""
        return self.systems(_WEB_MM)

    @cached_property
    def _heights(self) -> LineHeights:
        part = next(iter(self.engraved.values())).part
        known = [
            line
            for stretch, own in zip(self.stretches, self.web_systems, strict=True)
            for span, lines in zip(stretch.spans, own, strict=True) if span.form != TAB
            for line in lines
        ]  # fmt: skip
        song = part.song
        return LineHeights.of(part.notes, len(song.measures), known, STAFF_MM,
                              has_symbols=len(song.chords) > 0)  # fmt: skip


def part_sheet(
    song: Song,
    player: Player,
    style: str,
    log: DecisionLog | None = None,
    *,
    has_lessons: bool = False,
) -> PartSheet:
    """Return what stands on the sheet of one part.

    Parameters
    ----------
    song : Song
    player : Player
        Named as the part. The hand counts where strings are to be found; a neck replaces the
        part's own tuning and capo.
    style : str
        One of ``STYLES``.
    log : DecisionLog, optional
        Decisions; those for this part are printed.
    has_lessons : bool
        Whether a teacher's words stand behind the music.
    """
    part = player.name
    song, fingered = fingered_part(song, player)
    stays = part_stays(song, part)
    neck, capos = _neck(song, part), own_setups(song, part)["capo"]
    necks = {name: replace(neck, capo=capo) for name, capo in capos.items()} if neck else {}
    groups = returning_sections(song, part, stays)
    frets_from = frets_from_of(song, part)
    notes = _own_notes(song, part, fingered)
    known = KnownPart(stays, section_cues(song, part, stays), part_shapes(song, notes, necks))
    strums = strum_sections(song, notes, stays, known.shapes, necks, frets_from)
    words = (
        explain_fingered(song, part, fingered, own_neck=player.neck, known=known)
        if fingered is not None else None
    )  # fmt: skip
    cues_of = {stay.section: own for stay, own in zip(stays, known.cues, strict=True)}
    source = StretchSource.of(song, player, groups, cues_of, words, log)
    stretches = part_stretches(source, groups, necks, strums, style)
    notices = part_notices(song, part, log).song
    if not any(stay.plays for stay in stays):
        stretches = tuple(stretch for stretch in stretches if stretch.notices)
        notices = f"{part} does not play in this song.", *notices
    row = part_row(song, part)
    movable = {section: own.movable for section, own in strums.items() if own.movable}
    engraved = _prepared(song, part, stretches, fingered, movable)
    return PartSheet(
        song.title or "Untitled",
        part,
        row["player"] if isinstance(row["player"], str) and row["player"] != part else "",
        tuple(_facts(song, part, neck)),
        notices,
        tuple((stay.section, stay.first, stay.last - stay.first + 1, stay.plays) for stay in stays),
        stretches,
        _pictures(stretches, strums, player.hand, neck),
        engraved,
        legend(
            stretches,
            engraved.values(),
            has_rests=not all(stay.plays for stay in stays),
            has_fingers=fingered is not None,
        ),
        tuple(_cautions(fingered, player.hand)),
        _lessons(words, groups) if words and has_lessons else (),
    )


def _own_notes(song: Song, part: str, fingered: pd.DataFrame | None) -> pd.DataFrame:
    """The part's notes, with fingers where there are any."""
    notes = own_notes(song, part)
    if fingered is None:
        return notes
    places = song.notes.index[song.notes["part"] == part]
    return notes.assign(finger=fingered["finger"].set_axis(places).reindex(notes.index))


def _pictures(
    stretches: Sequence[Stretch],
    strums: Mapping[str, StrumSection],
    hand: Hand,
    neck: Neck | None,
) -> tuple[str, ...]:
    """The shapes that move in music, each once."""
    placed = [stretch for stretch in stretches if stretch.moves and stretch.spans]
    own = [strums[s] for stretch in placed for s in stretch.sections if s in strums]
    own = [each for each in own if each.movable]
    movable = movable_of(strums.values())
    return drawn_shapes(own, movable, neck, hand, NUT, set())[0] if neck else ()


def _prepared(
    song: Song,
    part: str,
    stretches: Sequence[Stretch],
    fingered: pd.DataFrame | None,
    movable: Mapping[str, Sequence[MovableShape]],
) -> dict[str, Prepared]:
    """The spans of all stretches, measured, by form."""
    spans = [span for stretch in stretches for span in stretch.spans]
    fingers = None if fingered is None else fingered["finger"].astype(float).tolist()
    held = {form: [(s.first, s.last) for s in spans if s.form in forms]
            for form, forms in _FORMS.items()}  # fmt: skip
    if not spans:
        return {}
    drawn = drawn_part(song, part, fingers, movable)
    return {form: prepare(drawn, own, has_notes=form == NOTES)
            for form, own in held.items() if own}  # fmt: skip


def _lessons(
    words: Explanation, groups: Sequence[Sequence[Return]]
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The steps of each section that is printed."""
    steps = {each.section: each.steps for each in words.sections}
    return tuple(
        (joined_labels([each.stay.section for each in group]), steps[group[0].stay.section])
        for group in groups if group[0].stay.plays
    )  # fmt: skip


def fingered_part(song: Song, player: Player) -> tuple[Song, pd.DataFrame | None]:
    """Return the song with strings, frets, tuning and capo of the player's part, and the fingering
    if there is one.
    """
    part = player.name
    own = song.parts["part"] == part
    family, tuning = song.parts.loc[own, ["family", "tuning"]].iloc[0]
    if family not in ("guitar", "bass") and not (isinstance(tuning, tuple) or player.neck):
        return song, None
    try:
        neck = player.neck or part_neck(song, part)
        picks = None if player.picks == "pick" else player.picks  # a pick where it is usual
        fingered = finger_part(song, part, neck=player.neck, hand=player.hand, picks=picks)
    except ArrangeError:  # no strings that it can be played on: notation alone
        return song, None
    tunings = [neck.tuning if is_own else other for is_own, other in
               zip(own, song.parts["tuning"], strict=True)]  # fmt: skip
    parts = song.parts.assign(
        tuning=object_column(tunings), capo=song.parts["capo"].mask(own, neck.capo)
    )
    setups = song.setups
    if player.neck:  # for the whole song
        capo = setups["capo"].mask(setups["part"] == part, neck.capo)
        setups = setups.assign(capo=capo)
    others = song.notes[song.notes["part"] != part]
    notes = pd.concat([others, fingered[NOTE_COLUMNS.names]], ignore_index=True)
    return replace(song, parts=parts, notes=notes, setups=setups), fingered


def _neck(song: Song, part: str) -> Neck | None:
    row = part_row(song, part)
    return part_neck(song, part) if isinstance(row["tuning"], tuple) else None


def _facts(song: Song, part: str, neck: Neck | None) -> list[tuple[str, str]]:
    row = part_row(song, part)
    facts = song_facts(song)
    setups = own_played_setups(song, part)
    drives, capos = ([*dict.fromkeys(setups[name])] for name in ("drive", "capo"))
    if neck:
        facts.append(("Tuning", tuning_words(neck.tuning)))
        facts.append(("Capo", _capo_words(capos, frets_from_of(song, part))))
        for capo in filter(None, capos):
            where = f" at {capo}" if len(capos) > 1 else ""
            own = setups.index[setups["capo"] == capo]
            facts.append((f"Shapes{where}", _shape_chords(song, capo, own)))
    if row["family"] in ("guitar", "bass") or drives != ["clean"]:
        later = "" if len(drives) == 1 else " at first; changes stand beside the sections"
        facts.append(("Sound", drive_words(drives[0]) + later))
    facts.append(("Echo", _echo_words(song, part)))
    return [(name, fact) for name, fact in facts if fact]


def _capo_words(capos: Sequence[int], frets_from: str) -> str:
    if not any(capos):
        return "none"
    later = "" if len(capos) == 1 else " at first; changes stand beside the sections"
    counting = counting_words(next(filter(None, capos)), frets_from)
    return f"{capos[0] or 'none'}{later}; {counting}"


def _shape_chords(song: Song, capo: int, sections: Iterable[str]) -> str:
    """Which shape at the capo sounds each chord of the sections in which it is there."""
    pairs = []
    first = song.chords[song.chords["section"].isin(sections)].drop_duplicates("symbol")
    for symbol, onset in zip(first["symbol"].tolist(), first["onset"].tolist(), strict=True):
        if symbol == "N.C.":
            continue
        try:
            chord = parse_chord(symbol)
        except ArrangeError:  # a symbol of the source that means no chord to us
            continue
        key = moved_key(song.key_at(onset), -capo)
        pairs.append(f"{symbol} = {chord_symbol(moved_chord(chord, -capo, key))}")
    return ", ".join(pairs) and f"chord = shape at the capo: {', '.join(pairs)}"


def _echo_words(song: Song, part: str) -> str:
    """Each echo, how long it takes, and the bars in which it is on, of those that are played in."""
    rows, echoes = echo_times(song), own_played_setups(song, part)["echo"]
    played = song.measures[song.measures["section"].isin(echoes.index)]
    own = played["section"].map(echoes)
    found: dict[str, str] = {}
    for row in rows[rows["part"] == part].itertuples():
        is_on = (own == row.echo) & (played["tempo"] == row.tempo)
        if is_on.any():
            late = f", {row.milliseconds:.0f} ms" if row.milliseconds == row.milliseconds else ""
            where = "" if is_on.all() else f" in {bars_words(played.loc[is_on, 'measure'])}"
            found[row.echo] = f"{found.get(row.echo, row.echo)}{late}{where}"
    return "; ".join(found.values())


def _cautions(fingered: pd.DataFrame | None, hand: Hand) -> list[str]:
    sentences: list[str] = []
    if fingered is not None and len(fingered):
        far = fingered[fingered["reach_mm"] > hand.comfortable_mm]
        if len(far):
            sentences.append(
                f"Long stretch, up to {far['reach_mm'].max():.0f} mm between first and fourth "
                f"finger: {bars_words(far['measure'])}. Warm the hand up first, play it seldom, "
                "and ask for another voicing rather than force it."
            )
        jumps = fingered[fingered["jump"]]
        if len(jumps):
            sentences.append(f"Far or fast moves to prepare: {bars_words(jumps['measure'])}.")
        problems = fingered.dropna(subset=["problem"])["problem"].drop_duplicates().tolist()
        sentences += [
            f"Not playable as written, {problem}." for problem in problems[:_MOST_PROBLEMS]
        ]
        if len(problems) > _MOST_PROBLEMS:
            sentences.append(f"... and {len(problems) - _MOST_PROBLEMS} more such places.")
    return [*sentences, CARE]
