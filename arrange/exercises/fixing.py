"""Fix it on the neck: to which string and fret could one finger go, so that a clash ends?

An answer is right if the finding ends, nothing new is told instead, the note belongs to its chord
symbol, the hand can hold it with what else it holds, and the line on top does not leap wider than
an octave because of it. Any place on the neck is tried, not only those thought of.
"""

from __future__ import annotations

import re
from random import Random
from typing import Any

from arrange.clashes import KINDS
from arrange.errors import ArrangeError
from arrange.exercises.exercise import (
    Exercise,
    NoExerciseError,
    Reply,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.ground import Ground
from arrange.exercises.listening import chord_names
from arrange.exercises.trying import MOST_TRIED, WIDEST_LEAP, Trial, trial_of
from arrange.exercises.words import told_parts
from arrange.guitar.hands import Hand
from arrange.text.part_lists import split_parts
from arrange.text.words import listed, runs_words
from arrange.theory.pitch import an_interval, parse_note

KIND = "fix it on the neck"
_MOST_FINDINGS = 400  # the most severe; the notes of each are looked up
_MOST_JUDGED = 20_000  # findings that are looked at again in all, some milliseconds each
_FAR = 12  # semitones that are tried up and down
_WRONG = 3
COMFORTABLE_MM = Hand().comfortable_mm
_LEAST_WRONG = 2
_OUT = ("x", "out", "leave out", "leave it out", "mute", "muted")


def ask(ground: Ground, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If no finding hangs on one note of a fretted part, or no other place of it helps.
    """
    if not ground.fretted:
        raise NoExerciseError("no guitar plays in this song")
    units = ground.once("units", lambda: _units(ground))
    most = min(MOST_TRIED, 1 + _MOST_JUDGED // (1 + len(ground.findings)))
    for label, part, pitch in chance.sample(units, len(units))[:most]:
        trial = trial_of(ground, label, part, pitch)
        right, wrong = _places(trial)
        if right and len(wrong) >= _LEAST_WRONG:
            return _asked(trial, size, chance, right, wrong)
    tried = "" if len(units) <= most else f" ({most} notes of {len(units)} were tried)"
    raise NoExerciseError(
        f"no finding of this song ends when one note of a guitar goes elsewhere on the neck{tried}"
    )


def _units(ground: Ground) -> list[tuple[int, str, float]]:
    """Finding, part and pitch of each note that one finding hangs on."""
    found = []
    able = ground.of_kinds(lambda kind: kind.one_note_ends_it)
    for row in able.head(_MOST_FINDINGS).itertuples():
        for part in split_parts(row.parts):
            if part not in ground.fretted:
                continue
            notes = ground.notes(row.Index)
            pitches = sorted(set(notes["pitch"][notes["part"] == part]))
            if len(pitches) == 1 or KINDS[row.kind].moves_one_pitch:
                found += [(row.Index, part, float(pitch)) for pitch in pitches]
    return found


def _places(trial: Trial) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    key = ("places", trial.label, trial.part, trial.pitch)
    return trial.ground.once(key, lambda: _sorted(trial))


def _sorted(trial: Trial) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
    """The places that are right and those that are not, nearest first; no place twice a pitch."""
    if not trial.places or int(trial.pitch) != trial.pitch:
        return [], []
    neck = trial.ground.neck(trial.part)
    steps = [n for n in range(-_FAR, _FAR + 1) if n and neck.places(trial.pitch + n)]
    trial.outcomes(step for step in steps if _is_open(trial, step))
    right: list[tuple[int, int]] = []
    wrong: list[tuple[int, int]] = []
    string, fret = trial.places[0]
    for semitones in sorted(steps, key=lambda n: (abs(n), n)):
        places = sorted(
            neck.places(trial.pitch + semitones),
            key=lambda place: (trial.taken(place[0]) is not None, abs(place[1] - fret)
                               + 2 * abs(place[0] - string)),
        )  # fmt: skip
        fit = [place for place in places if not fault(trial, *place)]
        (right if fit else wrong).append(fit[0] if fit else places[0])
    right.sort(key=lambda place: trial.grip(*place).reach_mm > COMFORTABLE_MM)
    return right, wrong


def _is_open(trial: Trial, semitones: int) -> bool:
    """Whether some string is free for a note that no other sounds; only then it is tried."""
    pitch = trial.pitch + semitones
    strings = [string for string, _ in trial.ground.neck(trial.part).places(pitch)]
    return not trial.is_held(pitch) and any(trial.taken(each) is None for each in strings)


def _asked(
    trial: Trial,
    size: str,
    chance: Random,
    right: list[tuple[int, int]],
    wrong: list[tuple[int, int]],
) -> Exercise:
    ground, row = trial.ground, trial.ground.finding(trial.label)
    answer = _place(trial, *right[0])
    choices: tuple[str, ...] = ()
    if size == "small":
        by_fault: dict[str, list[tuple[int, int]]] = {}
        for place in wrong:
            by_fault.setdefault(fault(trial, *place), []).append(place)
        picked = [own[0] for own in by_fault.values()]
        picked += [place for place in wrong if place not in picked]
        choices = shuffled(chance, answer, [_place(trial, *each) for each in picked[:_WRONG]],
                           _WRONG)  # fmt: skip
    string, fret = trial.places[0]
    bars = sorted({bar for onset in trial.onsets for bar in ground.measures_of(onset, onset)})
    about = f"{row['section']}, {runs_words(bars)}. "
    why = (
        row["why"] if size != "large" else f"Something is told there of {told_parts(row['parts'])}."
    )
    question = (
        f"{about}{why} {trial.part} has {ground.name(trial.pitch)} on string {string} at fret "
        f"{fret}{_capo(trial)}. To which string and fret could this one note go, each time, so "
        f"that it ends and nothing new begins?"
    )
    return Exercise(
        KIND, size, question, "string and fret, counted from the nut, such as 2/5", choices,
        answer, _hints(trial, right), row["section"], (bars[0], bars[-1]),
        (trial.label, trial.part, trial.pitch), ground,
    )  # fmt: skip


def _capo(trial: Trial) -> str:
    capo = trial.ground.neck(trial.part).capo
    return f" (the capo is at {capo})" if capo else ""


def _place(trial: Trial, string: int, fret: int) -> str:
    pitch = trial.ground.neck(trial.part).tuning[string - 1] + fret
    return f"{string}/{fret} ({trial.ground.name(pitch)})"


def _hints(trial: Trial, right: list[tuple[int, int]]) -> tuple[str, ...]:
    ground = trial.ground
    told = []
    chord = ground.chord_at(trial.onsets[0])
    if chord is not None:
        told.append(f"The chord is {chord['symbol']}: {', '.join(chord_names(ground, chord))}.")
    others = [f"{ground.name(pitch)} on string {string}" for string, _, pitch in
              trial.held(trial.onsets[0])]  # fmt: skip
    if others:
        told.append(f"The hand holds {listed(others)} at the same time.")
    tuning = ground.neck(trial.part).tuning
    string, fret = right[0]
    told.append(f"{ground.name(tuning[string - 1] + fret)} would do. Where is it?")
    return tuple(told)


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return what an answer gets."""
    text = read_answer(exercise, answer)
    label, part, pitch = exercise.case
    trial = trial_of(exercise.ground, label, part, pitch)
    kind = KINDS[exercise.ground.finding(label)["kind"]].noun
    if text.lower() in _OUT:
        return _left_out(trial, kind)
    place = _read_place(text)
    if place is None:
        return _named(exercise, trial, text) or unread(exercise, text)
    string, fret = place
    neck = exercise.ground.neck(part)
    if not 1 <= string <= neck.strings:
        return Reply(False, f"There is no string {string}: this neck has 1, the highest, to "
                            f"{neck.strings}.")  # fmt: skip
    if not neck.capo <= fret <= neck.last_fret(string):
        under = f"below the capo at {neck.capo}" if fret < neck.capo else "past the neck"
        return Reply(False, f"Fret {fret} lies {under}; frets count from the nut.")
    wrong = fault(trial, string, fret)
    if wrong:
        return Reply(False, told_fault(trial, string, fret))
    return Reply(True, _told_right(trial, string, fret, kind))


def _read_place(text: str) -> tuple[int, int] | None:
    found = re.match(
        r"^(?:string )?(\d{1,2})\s*(?:/|,|;| |at|fret|-|:)+\s*(\d{1,2})(?!\d)", text.lower()
    )
    return (int(found[1]), int(found[2])) if found else None


def _named(exercise: Exercise, trial: Trial, text: str) -> Reply | None:
    """A note without its place."""
    try:
        pitch = parse_note(text)
    except ArrangeError:
        return None
    ground = exercise.ground
    neck = ground.neck(trial.part)
    places = neck.places(pitch)
    if not places:
        return Reply(False, neck.why_no_place(pitch, ground.key) + ".")
    told = listed([f"{string}/{fret}" for string, fret in places], "or")
    return Reply(False, f"{ground.name(pitch)} lies at {told}: say which, as string/fret.")


def fault(trial: Trial, string: int, fret: int) -> str:
    """Return what is wrong with a place, in a word; empty if nothing is."""
    key = ("fault", trial.label, trial.part, trial.pitch, string, fret)
    return trial.ground.once(key, lambda: _fault(trial, string, fret))


def _fault(trial: Trial, string: int, fret: int) -> str:
    pitch = trial.ground.neck(trial.part).tuning[string - 1] + fret
    semitones = round(pitch - trial.pitch)
    if not semitones:
        return "same"
    if trial.taken(string) is not None:
        return "taken"
    if trial.is_held(pitch):
        return "double"
    outcome = trial.outcome(semitones)
    before, after = trial.leap(pitch)
    if not outcome.ends:
        return "stays"
    if outcome.brings:
        return "brings"
    if trial.in_chord(pitch) is False:
        return "chord"
    if not trial.grip(string, fret).playable:
        return "hand"
    return "leap" if after > max(before, WIDEST_LEAP) else ""


def told_fault(trial: Trial, string: int, fret: int) -> str:
    """Return what is wrong with a place, in a sentence that teaches."""
    ground, row = trial.ground, trial.ground.finding(trial.label)
    pitch = ground.neck(trial.part).tuning[string - 1] + fret
    name, kind = ground.name(pitch), KINDS[row["kind"]].noun
    what = fault(trial, string, fret)
    if what == "same":
        return f"{string}/{fret} is {name} again, on the same or another string: the {kind} stays."
    if what == "taken":
        other = ground.name(float(trial.taken(string) or 0))
        return (
            f"String {string} sounds {other} then, and a string sounds one note at a time; look "
            f"for {name} elsewhere, or for another note."
        )
    if what == "double":
        return f"{name} sounds already on another string: then this one is as good as left out."
    outcome = trial.outcome(round(pitch - trial.pitch))
    if what == "stays":
        return f"{name} does not end the {kind}. {_still(trial, pitch)}"
    ended = f"That ends the {kind}, but"
    if what == "brings":
        word, why = outcome.brings[0]
        more = f" And {len(outcome.brings) - 1} more." if len(outcome.brings) > 1 else ""
        other = f"another {word}" if word == row["kind"] else word
        return f"{ended} now there is {other}: {why}{more}"
    if what == "chord":
        return f"{ended} {name} is no note of {_chords(trial)}."
    if what == "hand":
        return f"{ended} the hand cannot hold it: {trial.grip(string, fret).why_not}."
    before, after = trial.leap(pitch)
    return (
        f"{ended} now the top line leaps {an_interval(after)}; before it was "
        f"{an_interval(before) if before else 'no leap at all'}."
    )


def _still(trial: Trial, pitch: float) -> str:
    """What the note and its neighbours make now."""
    ground = trial.ground
    notes = ground.notes(trial.label)
    others = sorted(set(notes["pitch"]) - {trial.pitch})
    if not others:
        return f"{ground.name(pitch)} over {_chords(trial)} is told just as well."
    near = min(others, key=lambda other: abs(other - pitch))
    now, before = an_interval(pitch - near), an_interval(trial.pitch - near)
    told = f"{now} again, from the other side" if now == before else f"{now}; it was {before}"
    return f"Beside {ground.name(near)} it makes {told}."


def _chords(trial: Trial) -> str:
    ground = trial.ground
    chords = [ground.chord_at(onset) for onset in trial.onsets]
    told = {c["symbol"]: ", ".join(chord_names(ground, c)) for c in chords if c is not None}
    return listed(f"{symbol} ({members})" for symbol, members in told.items()) or "the chord"


def _left_out(trial: Trial, kind: str) -> Reply:
    outcome = trial.outcome(None)
    name = trial.ground.name(trial.pitch)
    if not outcome.ends:
        return Reply(False, f"Even without {name} the {kind} stays: it is not this note alone.")
    return Reply(False, f"That ends the {kind}, but {name} is gone; the question is where it could "
                        "go. Look for another note of the chord.")  # fmt: skip


def _told_right(trial: Trial, string: int, fret: int, kind: str) -> str:
    ground = trial.ground
    pitch = ground.neck(trial.part).tuning[string - 1] + fret
    before, after = trial.leap(pitch)
    line = (
        "the top line stays as it was"
        if before == after
        else f"the widest leap on top is now {an_interval(after)}, not {an_interval(before)}"
    )
    grip = trial.grip(string, fret)
    return (
        f"Yes: with {ground.name(pitch)} the {kind} ends and nothing new is told; {line}; "
        f"for the hand: {grip.verdict}."
    )
