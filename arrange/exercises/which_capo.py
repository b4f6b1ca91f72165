"""Which capo: at which fret are all chords of a section open shapes?

An open shape here has its root (or the bass that the symbol asks for) at the bottom, four strings
or more without a gap and up to the second or first, one of them open, frets up to the third above
the capo, no barre, and a grip that costs the hand no more than ``MOST_MM``. In standard tuning
these are the shapes that players call open (C, A, G, E, D, Am, Em, Dm and their sevenths; common
practice), but for C7, which is a stretch.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from random import Random
from typing import Any

from arrange.errors import ArrangeError
from arrange.exercises.answers import numbers_in
from arrange.exercises.exercise import (
    Exercise,
    InWorkshop,
    NoExerciseError,
    Passage,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.guitar.necks import LEFT_OUT, TUNINGS, Neck, parse_tuning, shape_pitches
from arrange.guitar.voicings import find_voicings
from arrange.text.words import counted, first_up, listed, measures_words
from arrange.theory.chord_symbols import parse_chord, settled_chord
from arrange.theory.chords import Chord, chord_symbol, moved_chord
from arrange.theory.pitch import parse_pitch_class

KIND = "which capo"
IN_WORKSHOP = InWorkshop(
    task="at which fret are all chords open shapes?",
    how="On paper first: count down from the chords. Then play two of the shapes.",
)
MOST_CAPO = 7
MOST_MM = 32.0  # cost of a grip; it divides shapes as players do: B7 is an open shape, Gm is not
_FRETS = 3
_STRINGS = 4
_TOP_STRING = 2  # a shape reaches up to this one or the first
_OCTAVE = 12
_MOST_CHORDS = 6
_WRONG = 3


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If the song has no guitar or no chord symbols, or no capo helps in any section.
    """
    if not facts.fretted:
        raise NoExerciseError("no guitar plays in this song")
    if facts.song.chords["root"].notna().sum() == 0:
        raise NoExerciseError("this song has no chord symbols")
    cases = facts.once("capos", lambda: _cases(facts))
    if not cases:
        raise NoExerciseError("in no section is there a capo that makes every chord an open shape")
    part, section, symbols, right = chance.choice(cases)
    fret = chance.choice(right)
    answer = _fret_words(fret)
    choices: tuple[str, ...] = ()
    if size == "small":
        words = [_fret_words(each) for each in range(MOST_CAPO + 1)]
        wrong = [each for number, each in enumerate(words) if number not in right]
        choices = tuple(sorted(shuffled(chance, answer, wrong, _WRONG), key=words.index))
    first, last = facts.section_measures(section)
    neck = facts.neck(part)
    form = f"a fret, 0 (no capo) to {MOST_CAPO}, such as 5"
    more = ""
    if size == "large":
        more = " And which shapes does the hand then make?"
        form = "a fret, then the shapes in the order of the chords, such as 5: C G Am"
        shapes = [shape_symbol(each, fret) for each in symbols]
        answer = f"{answer}: {' '.join(shapes)}"
    question = (
        f"{part} ({_tuning_name(neck.tuning)}) is to play {section} "
        f"({measures_words(first, last)}) in open shapes only: {listed(symbols)}, as they sound. "
        f"At which fret goes the capo?{more}"
    )
    return Exercise(
        KIND, size, question, form, choices, answer, _hints(symbols, right), section,
        (first, last), (part, symbols, right, size == "large"), facts, reply,
        Passage((part,), ((first, last),), has_frets=False),
    )  # fmt: skip


def _fret_words(fret: int) -> str:
    return f"fret {fret}" if fret else "no capo"


def _cases(facts: SongFacts) -> list[tuple[str, str, tuple[str, ...], tuple[int, ...]]]:
    """Part, section, chords and right frets, if at least one fret is right and three are wrong."""
    found = []
    for section in facts.song.sections["section"]:
        own = facts.song.chords[facts.song.chords["section"] == section]
        symbols = tuple(dict.fromkeys(own["symbol"]))
        if not 2 <= len(symbols) <= _MOST_CHORDS or not all(map(_is_chord, symbols)):
            continue
        bars = range(facts.section_measures(section)[0], facts.section_measures(section)[1] + 1)
        for part in facts.fretted:
            tuning = facts.neck(part).tuning
            right = tuple(
                fret for fret in range(MOST_CAPO + 1)
                if all(open_shape(symbol, fret, tuning) for symbol in symbols)
            )  # fmt: skip
            if right and MOST_CAPO + 1 - len(right) >= _WRONG and facts.plays(part, bars):
                found.append((part, str(section), symbols, right))
    return found


def _is_chord(symbol: str) -> bool:
    try:
        return bool(parse_chord(symbol).root)
    except ArrangeError:
        return False


@lru_cache(maxsize=4096)
def open_shape(symbol: str, capo: int, tuning: tuple[int, ...]) -> str:
    """Return the open shape of a chord over a capo, counted from there; empty if it has none."""
    return _open_shape(shape_chord(symbol, capo), tuning)


def shape_chord(symbol: str, capo: int) -> Chord:
    """Return the chord whose shape the hand makes over a capo so that a chord sounds."""
    return moved_chord(settled_chord(parse_chord(symbol)), -capo)


def shape_symbol(symbol: str, capo: int) -> str:
    """Return the name of that shape."""
    return chord_symbol(shape_chord(symbol, capo))


@lru_cache(maxsize=1024)
def _open_shape(chord: Chord, tuning: tuple[int, ...]) -> str:
    neck = Neck(tuning)
    try:
        table = find_voicings(chord, neck, frets=(0, _FRETS))
    except ArrangeError:
        return ""
    bass = parse_pitch_class(chord.bass or chord.root)
    found = (
        row for row in table.itertuples()
        if row.cost_mm <= MOST_MM and _is_open(row.frets, row.fingering)
        and min(shape_pitches(row.frets, neck)) % _OCTAVE == bass
    )  # fmt: skip
    return next((str(row.shape) for row in found), "")


def _is_open(frets: tuple[int, ...], fingering: str) -> bool:
    """Whether a string rings open, none is left out between others, and no finger is a barre."""
    sounding = [string for string, fret in enumerate(frets, 1) if fret != LEFT_OUT]
    is_whole = sounding[-1] - sounding[0] + 1 == len(sounding) >= _STRINGS
    fingers = fingering.replace("-", "")
    return (
        is_whole and sounding[0] <= _TOP_STRING and 0 in frets and len(set(fingers)) == len(fingers)
    )


def _tuning_name(tuning: tuple[int, ...]) -> str:
    known = {parse_tuning(name): name for name in TUNINGS}
    return f"{known[tuning]} tuning" if tuning in known else "in its own tuning"


def _hints(symbols: tuple[str, ...], right: tuple[int, ...]) -> tuple[str, ...]:
    shape = shape_symbol(symbols[0], right[0])
    return (
        "A capo at a fret raises every shape by as many semitones: count down from the chord.",
        f"{symbols[0]} would be the shape of {shape}.",
    )


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    part, symbols, right, wants_shapes = exercise.case
    before = text.partition(":")[0]
    numbers = [0] if before.lower().strip() in ("none", "no capo") else numbers_in(before)
    if not numbers or (len(numbers) > 1 and not wants_shapes):
        return unread(exercise, text)
    fret = numbers[0]
    if not 0 <= fret <= MOST_CAPO:
        return Reply(
            False, f"A capo at fret {fret} leaves little neck; look from 0 to {MOST_CAPO}."
        )
    shapes = [shape_symbol(symbol, fret) for symbol in symbols]
    tuning = exercise.facts.neck(part).tuning
    closed = [shape for symbol, shape in zip(symbols, shapes, strict=True)
              if not open_shape(symbol, fret, tuning)]  # fmt: skip
    over = f"With the capo at {fret}" if fret else "Without a capo"
    if closed:
        what = (
            "none of them has an open shape; all want" if len(closed) == len(shapes)
            else f"{closed[0]} has no open shape and wants" if len(closed) == 1
            else f"{listed(closed)} have no open shape and want"
        )  # fmt: skip
        return Reply(False, f"{over} the hand makes {listed(shapes)}: {what} a barre or a stretch.")
    other = ""
    if wants_shapes:
        names = _shape_names(text)
        wrong = _wrong_shapes(names, shapes, symbols, fret)
        if wrong:
            return wrong
        other = _other_shapes(names, shapes)
    grips = [f"{shape} {open_shape(symbol, fret, tuning)}" for symbol, shape in
             zip(symbols, shapes, strict=True)]  # fmt: skip
    others = [str(each) for each in right if each != fret]
    frets = "Fret" if len(others) == 1 else "Frets"
    more = f" {frets} {listed(others)} would do as well." if others else ""
    lost = _lost(exercise.facts, part, fret)
    return Reply(
        True, f"Yes. {over} all are open: {listed(grips)} (frets from the capo).{lost}{more}{other}"
    )


def _shape_names(text: str) -> list[str]:
    """The shapes that stand behind a fret."""
    names = re.findall(r"[A-Ga-g][^\s,;:]*", text.partition(":")[2] or text)
    names = [each for each in names if each.lower() not in ("and", "fret", "capo", "at")]
    return ["/".join(note[:1].upper() + note[1:] for note in each.split("/")) for each in names]


def _other_shapes(names: list[str], shapes: list[str]) -> str:
    """A sentence on right shapes that have another name here."""
    both = zip(names, shapes, strict=True)
    other = [f"{name} is the same as {shape}" for name, shape in both
             if parse_chord(name).root != parse_chord(shape).root]  # fmt: skip
    return f" ({listed(other)}.)" if other else ""


def _wrong_shapes(
    names: list[str], shapes: list[str], symbols: tuple[str, ...], fret: int
) -> Reply | None:
    """The reply to wrong shapes behind a right fret; None if they are right."""
    right = f"{first_up(_fret_words(fret))} is right"
    if len(names) != len(shapes):
        return Reply(False, f"{right}. Which {counted(len(shapes), 'shape')}? Write the "
                            "fret, a colon and the shapes in the order of the chords.")  # fmt: skip
    for name, shape, symbol in zip(names, shapes, symbols, strict=True):
        if not _same_chord(name, shape):
            return Reply(False, f"{right}, but the shape of {name} does not sound as {symbol} "
                                "there: count down from the chord, a semitone a fret.")  # fmt: skip
    return None


def _same_chord(one: str, other: str) -> bool:
    try:
        first, second = (settled_chord(parse_chord(each)) for each in (one, other))
    except ArrangeError:
        return False
    return (
        parse_pitch_class(first.root) == parse_pitch_class(second.root)
        and first.kind == second.kind
        and (first.bass and parse_pitch_class(first.bass))
        == (second.bass and parse_pitch_class(second.bass))
    )


def _lost(facts: SongFacts, part: str, fret: int) -> str:
    """A sentence on how many notes of the part lie under a capo."""
    neck = replace(facts.neck(part), capo=fret)
    own = facts.sounding["pitch"][facts.sounding["part"] == part]
    gone = sum(count for pitch, count in own.value_counts().items() if not neck.places(pitch))
    if not gone:
        return ""
    return f" {counted(gone, 'note')} of the part as written would lie under it, so mind the lines."
