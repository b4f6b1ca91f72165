"""What stands on a part sheet, before it is laid out: all of it worked out from the Song."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from arrange.decisions import DecisionLog
from arrange.errors import ArrangeError
from arrange.explaining.cues import section_cues
from arrange.explaining.part_sections import own_notes, part_stays, who_plays
from arrange.explaining.section_setups import (
    drive_words,
    own_played_setups,
    own_setups,
    setup_words,
)
from arrange.guitar.fingering import finger_part, part_neck
from arrange.guitar.hands import Hand
from arrange.guitar.necks import TUNINGS, Neck, capo_words, parse_tuning
from arrange.guitar.players import Player
from arrange.handouts.drawing import draw_form, draw_shape
from arrange.handouts.engraving import engrave
from arrange.handouts.remarks_and_decisions import part_notices
from arrange.handouts.shapes_and_rhythm import StrumSection, strum_sections
from arrange.handouts.systems import System
from arrange.quantities.texture import echo_times
from arrange.tables.schemas import NOTES
from arrange.tables.song import Song, object_column, part_row
from arrange.text.words import bars_words
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import chord_symbol, moved_chord
from arrange.theory.meters import tempo_words
from arrange.theory.pitch import moved_key, pitch_class_name

STYLES = ("notation", "shapes")
_MOST_OTHERS = 7  # rows of other parts in the form at a glance
_NEAR = 1e-9  # quarter notes
_MOST_PROBLEMS = 4  # problems named one by one

WARM_UP = (
    "Warm up for five to ten minutes, rest five in every half hour. Pain, numbness or tingling: "
    "stop, rest, and ask somebody qualified in medicine if it returns."
)
LOUDNESS = (
    "Loud rehearsals harm hearing for good: at 94 dB(A) one hour is a whole day's share, at "
    "100 dB(A) a quarter of an hour (NIOSH 98-126). Turn down rather than up, protect your ears, "
    "take quiet breaks."
)


@dataclass(frozen=True)
class Bar:
    """A bar on the page: its played number, its chord symbols, and how it is struck.

    `chords` are those of the chords table and nothing else; `shapes` the labels of fret pictures,
    where the chords do not say which is held.
    """

    number: int
    chords: tuple[str, ...]
    shapes: tuple[str, ...] = ()
    counts: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stretch:
    """A section on a part sheet.

    Parameters
    ----------
    section : str
    first, last : int
        Played measures.
    time : str
        Where it begins, minutes and seconds.
    facts : tuple of str
        Meter, key and tempo where they are new; the sound and the capo likewise, and the layers.
    plays : bool
    written_as : str
        The section in which the same is written out; empty if it is written here, or rests.
    cues : tuple of str
    notices : tuple of str
        Remarks and decisions.
    bars : tuple of Bar
        Every bar with its chord symbols alone.
    struck : tuple of Bar
        The same with counts, where the section is made of shapes.
    shapes : tuple of str
        Fret pictures, SVG.
    systems : tuple of System
        Where the section is played and not made of shapes, also one that is written as another.
    """

    section: str
    first: int
    last: int
    time: str
    facts: tuple[str, ...]
    plays: bool
    written_as: str
    cues: tuple[str, ...]
    notices: tuple[str, ...] = ()
    bars: tuple[Bar, ...] = ()
    struck: tuple[Bar, ...] = ()
    shapes: tuple[str, ...] = ()
    systems: tuple[System, ...] = ()

    def written_out(self) -> Stretch:
        """Return the same with its notes in it, whatever it repeats."""
        return replace(self, written_as="")


@dataclass(frozen=True)
class PartSheet:
    """A part sheet; `form` is the form at a glance as SVG, `form_height` against its width."""

    title: str
    part: str
    player: str
    facts: tuple[tuple[str, str], ...]
    notices: tuple[str, ...]
    form: str
    form_height: float
    stretches: tuple[Stretch, ...]
    legend: str
    cautions: tuple[str, ...]


def part_sheet(
    song: Song, player: Player, style: str, width_mm: float, log: DecisionLog | None = None
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
    width_mm : float
        Of the page inside its margins.
    log : DecisionLog, optional
        Decisions; those for this part are printed.
    """
    part, hand = player.name, player.hand
    song, fingered = fingered_part(song, player)
    stays = part_stays(song, part)
    cues = section_cues(song, part, stays)
    neck, capos = _neck(song, part), own_setups(song, part)["capo"]
    necks = {name: replace(neck, capo=capo) for name, capo in capos.items()} if neck else {}
    notes = own_notes(song, part)
    strums: dict[str, StrumSection] = {}
    if style == "shapes":
        strums = strum_sections(song, notes, stays, necks)
    engraved = [s for s in stays if s.plays and s.section not in strums]
    systems = engrave(song, part, [(s.first, s.last) for s in engraved], width_mm)
    lines = {s.section: tuple(own) for s, own in zip(engraved, systems, strict=True)}
    facts, setups = new_facts(song), setup_words(song, part, stays)
    notices, bars = part_notices(song, part, log), song_bars(song)
    stretches = []
    for stay, own_cues in zip(stays, cues, strict=True):
        own = strums.get(stay.section)
        changes = [
            (f"from bar {bar}: " if bar > stay.first else "") + fact
            for bar, fact in facts.items()
            if stay.first <= bar <= stay.last
        ]
        changes += setups[stay.section]
        stretches.append(Stretch(
            stay.section, stay.first, stay.last, song.clock(stay.onset), tuple(changes), stay.plays,
            stay.written_as, own_cues, notices.sections.get(stay.section, ()), bars[stay.section],
            _struck(bars[stay.section], own) if own else (),
            _pictures(own, necks[stay.section], hand) if own else (), lines.get(stay.section, ()),
        ))  # fmt: skip
    row = part_row(song, part)
    form, high = _form(song, part)
    return PartSheet(
        song.title or "Untitled",
        part,
        row["player"] if isinstance(row["player"], str) and row["player"] != part else "",
        tuple(_facts(song, part, neck, has_tab=bool(engraved))),
        notices.song,
        form,
        high,
        tuple(stretches),
        _legend(strums.values()),
        tuple(_cautions(fingered, hand)),
    )


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
    notes = pd.concat([others, fingered[NOTES.names]], ignore_index=True)
    return replace(song, parts=parts, notes=notes, setups=setups), fingered


def _neck(song: Song, part: str) -> Neck | None:
    row = part_row(song, part)
    return part_neck(song, part) if isinstance(row["tuning"], tuple) else None


def _struck(bars: Sequence[Bar], strums: StrumSection) -> tuple[Bar, ...]:
    """The bars with their counts, and with the labels of shapes that the chords do not name."""
    return tuple(
        replace(bar, shapes=own.labels if own.labels != bar.chords else (), counts=own.counts,
                marks=own.marks)
        for bar, own in zip(bars, strums.bars, strict=True)
    )  # fmt: skip


def _pictures(strums: StrumSection, neck: Neck, hand: Hand) -> tuple[str, ...]:
    return tuple(draw_shape(frets, label, neck, hand) for label, frets in strums.shapes)


def song_bars(song: Song) -> dict[str, tuple[Bar, ...]]:
    """Return each section's bars with their chord symbols, all that the chords table has there.

    One that goes on over a bar line is not repeated, one that holds from before the section is.
    """
    onsets = song.chords["onset"].to_numpy()
    ends = onsets + song.chords["duration"].to_numpy()
    symbols, lines = song.chords["symbol"].tolist(), song.measures["onset"].to_numpy()
    found = {}
    for row in song.sections.itertuples():
        end = row.onset + row.duration
        held = np.flatnonzero((ends > row.onset + _NEAR) & (onsets < end - _NEAR))
        places = np.searchsorted(lines, np.maximum(onsets[held], row.onset) + _NEAR, side="right")
        own: list[list[str]] = [[] for _ in range(row.first_measure, row.last_measure + 1)]
        for number, chord in zip(places.tolist(), held.tolist(), strict=True):
            own[number - row.first_measure].append(symbols[chord])
        found[row.section] = tuple(
            Bar(number, tuple(chords)) for number, chords in enumerate(own, row.first_measure)
        )
    return found


def new_facts(song: Song) -> dict[int, str]:
    """Return meter, key and tempo by the bar in which they are new, the first bar left out."""
    measures = song.measures
    keys = [key if isinstance(key, str) else "none" for key in measures["key"]]
    tempos = [tempo_words(tempo, meter) for tempo, meter in
              zip(measures["tempo"], measures["meter"], strict=True)]  # fmt: skip
    columns = {"meter ": measures["meter"].tolist(), "key ": keys, "": tempos}
    found: dict[int, str] = {}
    for bar in range(1, len(measures)):
        new = [name + own[bar] for name, own in columns.items()
                if own[bar] and own[bar] != own[bar - 1]]  # fmt: skip
        if new:
            found[bar + 1] = ", ".join(new)
    return found


def song_facts(song: Song) -> list[tuple[str, str]]:
    """Return key, meter, tempo and length of a song, as it begins."""
    facts = []
    if isinstance(song.measures["key"].iloc[0], str):
        facts.append(("Key", song.measures["key"].iloc[0]))
    meter, tempo = song.measures["meter"].iloc[0], song.measures["tempo"].iloc[0]
    facts.append(("Meter", meter))
    facts.append(("Tempo", tempo_words(tempo, meter)))
    facts.append(("Length", f"{song.clock(song.duration)}, {len(song.measures)} bars"))
    return facts


def _facts(song: Song, part: str, neck: Neck | None, *, has_tab: bool) -> list[tuple[str, str]]:
    row = part_row(song, part)
    facts = song_facts(song)
    setups = own_played_setups(song, part)
    drives, capos = ([*dict.fromkeys(setups[name])] for name in ("drive", "capo"))
    if neck:
        facts.append(("Tuning", tuning_words(neck.tuning)))
        facts.append(("Capo", _capo_words(capos, has_tab=has_tab)))
        for capo in filter(None, capos):
            where = f" at {capo}" if len(capos) > 1 else ""
            own = setups.index[setups["capo"] == capo]
            facts.append((f"Shapes{where}", _shape_chords(song, capo, own)))
    if row["family"] in ("guitar", "bass") or drives != ["clean"]:
        later = "" if len(drives) == 1 else " at first; changes stand beside the sections"
        facts.append(("Sound", drive_words(drives[0]) + later))
    facts.append(("Echo", _echo_words(song, part)))
    return [(name, fact) for name, fact in facts if fact]


def tuning_words(tuning: Sequence[int]) -> str:
    """Return the open strings, low to high, and what the tuning is called if it has a name."""
    names = " ".join(pitch_class_name(round(pitch)) for pitch in reversed(tuning))
    known = next((name for name in TUNINGS if parse_tuning(name) == tuple(tuning)), "")
    return f"{names} (low to high{', ' + known if known else ''})"


def _capo_words(capos: Sequence[int], *, has_tab: bool) -> str:
    if not any(capos):
        return "none"
    first, capo = capo_words(capos[0]), next(filter(None, capos))
    later = "" if len(capos) == 1 else " at first; changes stand beside the sections"
    where = "in tablature and pictures" if has_tab else "in the pictures"
    return (
        f"{first}{later}; frets are counted from the nut {where}: 0 is the open string at the "
        f"capo, {capo + 2} is two frets above capo {capo}"
    )


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
    rows = echo_times(song)
    rows = rows[rows["part"] == part]
    return "; ".join(
        f"{echo}{''.join(_echo_time(row) for row in own.itertuples())}"
        for echo, own in rows.groupby("echo", sort=False)
    )


def _echo_time(row: Any) -> str:
    if row.milliseconds != row.milliseconds:  # no note value
        return f" from bar {row.measure}" if row.measure > 1 else ""
    return f", {row.milliseconds:.0f} ms" + (f" from bar {row.measure}" if row.measure > 1 else "")


def _form(song: Song, part: str) -> tuple[str, float]:
    plays = who_plays(song)
    lengths = (song.sections["last_measure"] - song.sections["first_measure"] + 1).tolist()
    others = [name for name in plays.columns if name != part][:_MOST_OTHERS]
    rows = [(name, plays[name].tolist()) for name in (part, *others)]
    return draw_form(list(zip(song.sections["section"], lengths, strict=True)), rows)


def _legend(strums: Iterable[StrumSection]) -> str:
    bars = [bar for section in strums for bar in section.bars]
    if not bars:
        return ""
    has_labels = any(bar.labels for bar in bars)
    return (
        "Under the chords: the count, and above it ▼ strum, × muted, – let it sound, · silence, "
        "a number for a single string (1 is the highest)."
    ) + (" In small type: the shapes of the bar, in order." if has_labels else "")


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
    return [*sentences, WARM_UP, LOUDNESS]
