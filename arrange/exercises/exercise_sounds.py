"""What is heard of an exercise, and of the song before the first one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from arrange.errors import ArrangeError, shown
from arrange.exercises.exercise import Exercise
from arrange.exercises.guess_by_ear import KIND as BY_EAR
from arrange.exercises.guess_by_ear import Take, takes_of
from arrange.sound import RATE, Playback, Sound, join_sounds, render_sound
from arrange.sound.playback import PLAIN
from arrange.tables.song import Song
from arrange.text.words import listed, measures_words

_MOST_SECONDS = 90.0  # of a passage whose parts are played alone first
_PAIR = 2  # parts that are rather heard together to the end of a passage
_SONG_SECONDS = 240.0  # of the song, so that there is time to talk about it
_MOST_NAMED = 4  # parts
_NEAR = 1e-6


def exercise_sound(exercise: Exercise, playback: Playback = PLAIN) -> Sound:
    """Return what an exercise plays: two takes by ear, or the bars that it asks about.

    Of a single stretch each part is heard alone, then all together, a long one in part; several
    stretches are heard one after the other.

    Parameters
    ----------
    exercise : Exercise
    playback : Playback, optional
        As in ``render_sound``. With ``loop`` all of it is repeated.

    Raises
    ------
    ArrangeError
        If it is no exercise, or one about no passage, or as ``render_sound``.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> (by_ear,) = ar.make_exercises(song, size="large", kinds=["guess by ear"])
    >>> round(ar.exercise_sound(by_ear).seconds)
    3
    """
    if not isinstance(exercise, Exercise):
        raise ArrangeError(f"{shown(exercise)}: give an exercise, such as make_exercises(song)[0]")
    once = replace(playback, loop=False)
    sounds = [_take_sound(exercise, take, once) for take in _takes(exercise)]
    return replace(join_sounds(*sounds), is_loop=playback.loop)


def is_whole_song(exercise: Exercise) -> bool:
    """Return whether an exercise is about all bars of its song."""
    passage = exercise.passage
    return passage is not None and passage.stretches == ((1, len(exercise.facts.song.measures)),)


def sound_words(exercise: Exercise) -> str:
    """Return what ``exercise_sound`` plays, in a few words; empty where the question says it."""
    if exercise.kind == BY_EAR:
        return ""
    takes = _takes(exercise)
    parts, (first, last) = takes[-1].parts or (), takes[-1].measures
    if len({take.measures for take in takes}) > 1:
        return f"{listed(measures_words(*take.measures) for take in takes)}, in this order"
    who = listed(parts) if len(parts) <= _MOST_NAMED else f"{len(parts)} parts"
    how = f"{who} alone, then together" if len(takes) > 1 else who
    return f"{how}, {measures_words(first, last)}"


def _takes(exercise: Exercise) -> list[Take]:
    if exercise.kind == BY_EAR:
        return takes_of(exercise)
    passage, song = exercise.passage, exercise.facts.song
    if passage is None:
        raise ArrangeError(
            f"nothing is played for {exercise.kind!r}: its question is about no passage"
        )
    if len(passage.stretches) > 1 or len(passage.parts) == 1 or is_whole_song(exercise):
        return [Take(song, passage.parts, bars) for bars in passage.stretches]
    first, last = passage.stretches[0]
    room = _MOST_SECONDS / (len(passage.parts) + 1)
    if len(passage.parts) == _PAIR and _seconds(song, first, last) > room:
        return [Take(song, passage.parts, (first, last))]
    while last > first and _seconds(song, first, last) > room:
        last -= 1
    alone = [part for part in passage.parts if exercise.facts.plays(part, range(first, last + 1))]
    heard = [(part,) for part in alone if len(alone) > 1]
    return [Take(song, parts, (first, last)) for parts in (*heard, passage.parts)]


def _take_sound(exercise: Exercise, take: Take, playback: Playback) -> Sound:
    song, parts, (first, last) = take
    is_silent = parts is not None and not any(
        exercise.facts.plays(part, range(first, last + 1)) for part in parts
    )
    if is_silent:
        return Sound(np.zeros((round(_seconds(song, first, last) * RATE), 2), dtype=np.float32))
    return render_sound(song, parts=parts, measures=take.measures, playback=playback)


def _seconds(song: Song, first: int, last: int) -> float:
    bars = song.measures
    end = bars["onset"].iloc[last - 1] + bars["duration"].iloc[last - 1]
    return float(song.seconds(end) - song.seconds(bars["onset"].iloc[first - 1]))


def song_once(song: Song) -> tuple[int, int]:
    """Return the measures that are heard before the first exercise.

    All of them, or of a long song the first sections that last four minutes at most.
    """
    count = len(song.measures)
    sections = song.sections["last_measure"].tolist()
    for ends in ([count], sections[::-1], range(count - 1, 1, -1)):
        for last in ends:
            if _seconds(song, 1, last) <= _SONG_SECONDS + _NEAR:
                return 1, int(last)
    return 1, 1


def song_once_words(song: Song) -> str:
    """Return what of the song is heard then."""
    _, last = song_once(song)
    clock = song.clock(song.duration)
    if last == len(song.measures):
        return f"the whole song, {clock}"
    row = song.measures.iloc[last - 1]
    begun = song.clock(row["onset"] + row["duration"])
    return f"the song from its beginning to measure {last}, {row['section']}; {begun} of {clock}"
