"""Fix it on the neck: to which string and fret could one finger go, so that a clash ends?

An answer is right if the finding ends, no new one comes instead, the note belongs to its chord
symbol, the hand can hold it together with its other notes, and the top line does not leap wider
than an octave because of it. Every place on the neck is tried, not only the expected ones.
"""

from __future__ import annotations

import re
from random import Random
from typing import Any

from arrange.clashes import KINDS
from arrange.clashes.rarity import without_rarity
from arrange.errors import ArrangeError
from arrange.exercises.answers import other_names
from arrange.exercises.evidence import chord_names
from arrange.exercises.exercise import (
    Exercise,
    InWorkshop,
    NoExerciseError,
    Passage,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.finding_words import parts_words
from arrange.exercises.moved_note import MOST_TRIED, WIDEST_LEAP, MovedNote, moved_note
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.guitar.hands import Hand
from arrange.text.part_lists import split_parts
from arrange.text.words import listed, number_runs, runs_words
from arrange.theory.pitch import an_interval, parse_note

KIND = "fix it on the neck"
IN_WORKSHOP = InWorkshop(
    task="where else could one finger go, so that it ends?",
    how=(
        "In pairs, a guitar each, unplugged. Try it on the neck, then check it. Ask what happens "
        "to the line on top and to the hand."
    ),
    share=2,
)
_MOST_FINDINGS = 400  # the most severe; the notes of each are looked up
_MOST_JUDGED = 20_000  # findings that are rechecked in all, at some milliseconds each
_FAR = 12  # semitones that are tried up and down
_WRONG = 3
COMFORTABLE_MM = Hand().comfortable_mm
_LEAST_WRONG = 2
_OUT = ("x", "out", "leave out", "leave it out", "mute", "muted")


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If no finding ends when one note of a fretted part moves.
    """
    if not facts.fretted:
        raise NoExerciseError("no guitar plays in this song")
    units = facts.once("units", lambda: _units(facts))
    most = min(MOST_TRIED, 1 + _MOST_JUDGED // (1 + len(facts.findings)))
    for label, part, pitch in chance.sample(units, len(units))[:most]:
        note = moved_note(facts, label, part, pitch)
        right, wrong = _places(note)
        if right and len(wrong) >= _LEAST_WRONG:
            return _asked(note, size, chance, right, wrong)
    tried = "" if len(units) <= most else f" ({most} notes of {len(units)} were tried)"
    raise NoExerciseError(
        f"no finding of this song ends when one note of a guitar goes elsewhere on the neck{tried}"
    )


def _units(facts: SongFacts) -> list[tuple[int, str, float]]:
    """Finding, part and pitch of each note that may end its finding by moving."""
    found = []
    able = facts.of_kinds(lambda kind: kind.one_note_ends_it)
    for row in able.head(_MOST_FINDINGS).itertuples():
        for part in split_parts(row.parts):
            if part not in facts.fretted:
                continue
            notes = facts.notes(row.Index)
            pitches = sorted(set(notes["pitch"][notes["part"] == part]))
            if len(pitches) == 1 or KINDS[row.kind].moves_one_pitch:
                found += [(row.Index, part, float(pitch)) for pitch in pitches]
    return found


def _places(note: MovedNote) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    key = ("places", note.label, note.part, note.pitch)
    return note.facts.once(key, lambda: _sorted(note))


def _sorted(note: MovedNote) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """The right and the wrong places, nearest first, one for each pitch."""
    if not note.places or int(note.pitch) != note.pitch:
        return [], []
    neck = note.neck
    steps = [n for n in range(-_FAR, _FAR + 1) if n and neck.places(note.pitch + n)]
    note.outcomes(step for step in steps if _is_open(note, step))
    right: list[tuple[int, int]] = []
    wrong: list[tuple[int, int]] = []
    string, fret = note.places[0]
    for semitones in sorted(steps, key=lambda n: (abs(n), n)):
        places = sorted(
            neck.places(note.pitch + semitones),
            key=lambda place: (note.taken(place[0]) is not None, abs(place[1] - fret)
                               + 2 * abs(place[0] - string)),
        )  # fmt: skip
        fit = [place for place in places if not fault(note, *place)]
        (right if fit else wrong).append(fit[0] if fit else places[0])
    right.sort(key=lambda place: note.grip(*place).reach_mm > COMFORTABLE_MM)
    return right, wrong


def _is_open(note: MovedNote, semitones: int) -> bool:
    """Whether some string is free for the note, and no other string sounds it already."""
    pitch = note.pitch + semitones
    strings = [string for string, _ in note.neck.places(pitch)]
    return not note.is_held(pitch) and any(note.taken(each) is None for each in strings)


def _asked(
    note: MovedNote,
    size: str,
    chance: Random,
    right: list[tuple[int, int]],
    wrong: list[tuple[int, int]],
) -> Exercise:
    facts, row = note.facts, note.facts.finding(note.label)
    answer = _place(note, *right[0])
    choices: tuple[str, ...] = ()
    if size == "small":
        by_fault: dict[str, list[tuple[int, int]]] = {}
        for place in wrong:
            by_fault.setdefault(fault(note, *place), []).append(place)
        picked = [own[0] for own in by_fault.values()]
        picked += [place for place in wrong if place not in picked]
        choices = shuffled(chance, answer, [_place(note, *each) for each in picked[:_WRONG]],
                           _WRONG)  # fmt: skip
    string, fret = note.places[0]
    bars = sorted({bar for onset in note.onsets for bar in facts.measures_of(onset, onset)})
    about = f"{row['section']}, {runs_words(bars)}. "
    why = (
        without_rarity(row["why"])
        if size != "large"
        else f"There is a clash in {parts_words(row['parts'])}."
    )
    question = (
        f"{about}{why} {note.part} has {facts.name(note.pitch)} on string {string} at fret "
        f"{fret}{_capo(note, fret)}. To which string and fret could this one note go, each time, "
        f"so that the {KINDS[row['kind']].noun if size != 'large' else 'clash'} ends and nothing "
        f"new begins?{' An answer is string/fret, counted from the nut.' if choices else ''}"
    )
    return Exercise(
        KIND, size, question, "string and fret, counted from the nut, such as 2/5", choices,
        answer, _hints(note, right), row["section"], (bars[0], bars[-1]),
        (note.label, note.part, note.pitch), facts, reply,
        Passage(tuple(split_parts(row["parts"])), tuple(number_runs(bars))),
        () if size == "large" else (row["kind"],),
    )  # fmt: skip


def _capo(note: MovedNote, fret: int) -> str:
    capo = note.neck.capo
    opened = ", so this is the open string, a 0 in the tablature" if fret == capo else ""
    return f" (the capo is at {capo}{opened})" if capo else ""


def _place(note: MovedNote, string: int, fret: int) -> str:
    pitch = note.neck.tuning[string - 1] + fret
    return f"{string}/{fret} ({note.facts.name(pitch)})"


def _hints(note: MovedNote, right: list[tuple[int, int]]) -> tuple[str, ...]:
    facts = note.facts
    hints = []
    chord = facts.chord_at(note.onsets[0])
    if chord is not None:
        hints.append(f"The chord is {chord['symbol']}: {', '.join(chord_names(facts, chord))}.")
    others = [f"{facts.name(pitch)} on string {string}" for string, _, pitch in
              note.held(note.onsets[0])]  # fmt: skip
    if others:
        hints.append(f"The hand holds {listed(others)} at the same time.")
    tuning = note.neck.tuning
    string, fret = right[0]
    hints.append(f"{facts.name(tuning[string - 1] + fret)} would do. Where is it?")
    return tuple(hints)


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    label, part, pitch = exercise.case
    note = moved_note(exercise.facts, label, part, pitch)
    kind = KINDS[exercise.facts.finding(label)["kind"]].noun
    if text.lower() in _OUT:
        return _left_out(note, kind)
    place = _read_place(text)
    if place is None:
        return _named(exercise, note, text) or unread(exercise, text)
    string, fret = place
    neck = note.neck
    if not 1 <= string <= neck.strings:
        return Reply(False, f"There is no string {string}: this neck has 1, the highest, to "
                            f"{neck.strings}.")  # fmt: skip
    if not neck.capo <= fret <= neck.last_fret(string):
        under = f"below the capo at {neck.capo}" if fret < neck.capo else "past the neck"
        return Reply(False, f"Fret {fret} lies {under}; frets count from the nut.")
    wrong = fault(note, string, fret)
    if wrong:
        return Reply(False, fault_words(note, string, fret))
    return Reply(True, _right_words(note, string, fret, kind))


def _read_place(text: str) -> tuple[int, int] | None:
    nth = r"(\d{1,2})(?:st|nd|rd|th)?"
    between = r"\s*(?:/|,|;| |at|on|the|string|fret|-|:)+\s*"
    found = re.match(rf"^(string )?{nth}{between}{nth}(?!\d)", text.lower())
    if found:
        return int(found[2]), int(found[3])
    found = re.match(rf"^fret {nth}{between}{nth}(?!\d)", text.lower())
    return (int(found[2]), int(found[1])) if found else None


def _named(exercise: Exercise, note: MovedNote, text: str) -> Reply | None:
    """A note without its place."""
    try:
        pitch = parse_note(text)
    except ArrangeError:
        return None
    facts = exercise.facts
    neck = note.neck
    places = neck.places(pitch)
    if not places:
        return Reply(False, neck.why_no_place(pitch, facts.key) + ".")
    where = listed([f"{string}/{fret}" for string, fret in places], "or")
    other = other_names({text: pitch}, facts.name)
    return Reply(False, f"{facts.name(pitch)} lies at {where}: write which, as string/fret.{other}")


def fault(note: MovedNote, string: int, fret: int) -> str:
    """Return what is wrong with a place, in a word; empty if nothing is."""
    key = ("fault", note.label, note.part, note.pitch, string, fret)
    return note.facts.once(key, lambda: _fault(note, string, fret))


def _fault(note: MovedNote, string: int, fret: int) -> str:
    pitch = note.neck.tuning[string - 1] + fret
    semitones = round(pitch - note.pitch)
    if not semitones:
        return "same"
    if note.taken(string) is not None:
        return "taken"
    if note.is_held(pitch):
        return "double"
    outcome = note.outcome(semitones)
    before, after = note.leap(pitch)
    if not outcome.ends:
        return "stays"
    if outcome.brings:
        return "brings"
    if note.in_chord(pitch) is False:
        return "chord"
    if not note.grip(string, fret).playable:
        return "hand"
    return "leap" if after > max(before, WIDEST_LEAP) else ""


def fault_words(note: MovedNote, string: int, fret: int) -> str:
    """Return what is wrong with a place, in a sentence that teaches."""
    facts, row = note.facts, note.facts.finding(note.label)
    pitch = note.neck.tuning[string - 1] + fret
    name, kind = facts.name(pitch), KINDS[row["kind"]].noun
    what = fault(note, string, fret)
    if what == "same":
        return f"{string}/{fret} is {name} again, on the same or another string: the {kind} stays."
    if what == "taken":
        other = facts.name(float(note.taken(string) or 0))
        return (
            f"String {string} sounds {other} then, and a string sounds one note at a time; look "
            f"for {name} elsewhere, or for another note."
        )
    if what == "double":
        return f"{name} sounds already on another string: then this one is as good as left out."
    outcome = note.outcome(round(pitch - note.pitch))
    if what == "stays":
        return f"{name} does not end the {kind}. {_still(note, pitch)}"
    ended = f"That ends the {kind}, but"
    if what == "brings":
        others = len(outcome.brings) - 1
        more = f" And {others} more." if others else ""
        return f"{ended} now something else is found: {outcome.brings[0][1]}{more}"
    if what == "chord":
        return f"{ended} {name} is no note of {_chords(note)}."
    if what == "hand":
        return f"{ended} the hand cannot hold it: {note.grip(string, fret).why_not}."
    before, after = note.leap(pitch)
    return (
        f"{ended} now the top line leaps {an_interval(after)}; before it was "
        f"{an_interval(before) if before else 'no leap at all'}."
    )


def _still(note: MovedNote, pitch: float) -> str:
    """The intervals that the note and its neighbours make now."""
    facts = note.facts
    notes = facts.notes(note.label)
    others = sorted(set(notes["pitch"]) - {note.pitch})
    if not others:
        return f"{facts.name(pitch)} over {_chords(note)} is a finding just as well."
    near = min(others, key=lambda other: abs(other - pitch))
    now, before = an_interval(pitch - near), an_interval(note.pitch - near)
    change = f"{now} again, from the other side" if now == before else f"{now}; it was {before}"
    return f"Beside {facts.name(near)} it makes {change}."


def _chords(note: MovedNote) -> str:
    facts = note.facts
    chords = [facts.chord_at(onset) for onset in note.onsets]
    members_of = {c["symbol"]: ", ".join(chord_names(facts, c)) for c in chords if c is not None}
    return listed(f"{symbol} ({members})" for symbol, members in members_of.items()) or "the chord"


def _left_out(note: MovedNote, kind: str) -> Reply:
    outcome = note.outcome(None)
    name = note.facts.name(note.pitch)
    if not outcome.ends:
        return Reply(False, f"Even without {name} the {kind} stays: it is not this note alone.")
    return Reply(False, f"That ends the {kind}, but {name} is gone; the question is where it could "
                        "go. Look for another note of the chord.")  # fmt: skip


def _right_words(note: MovedNote, string: int, fret: int, kind: str) -> str:
    facts = note.facts
    pitch = note.neck.tuning[string - 1] + fret
    before, after = note.leap(pitch)
    line = (
        "the top line stays as it was"
        if before == after
        else f"the widest leap on top is now {an_interval(after)}, not {an_interval(before)}"
    )
    grip = note.grip(string, fret)
    return (
        f"Yes: with {facts.name(pitch)} the {kind} ends and nothing new is found; {line}; "
        f"for the hand: {grip.verdict}."
    )
