"""The moment of a section that is played: before, after, each part alone, or both."""

from __future__ import annotations

import io
import wave

import numpy as np
import pandas as pd

from arrange.live.choices import Choices
from arrange.live.results_cache import ResultsCache
from arrange.sound import RATE, Sound, join_sounds, render_sound
from arrange.sound.heard_bars import heard_bars
from arrange.tables.song import Song, section_row
from arrange.text.words import bars_words

Bars = tuple[int, int]
MOMENT_BARS = 2


def moments(
    song: Song, section: str, findings: pd.DataFrame
) -> tuple[list[tuple[str, Bars]], Bars]:
    """Return moments of a section as names and bars, and the one with most to listen to."""
    row = section_row(song, section)
    first, last = int(row["first_measure"]), int(row["last_measure"])
    bars = [
        (begin, min(begin + MOMENT_BARS - 1, last)) for begin in range(first, last + 1, MOMENT_BARS)
    ]
    strongest = int(findings["measure"].iloc[0]) if len(findings) else first
    chosen = next(each for each in bars if each[0] <= strongest <= each[1])
    named = [(bars_words(range(a, b + 1)), (a, b)) for a, b in bars]
    return [*named, ("the whole section", (first, last))], chosen


def moment_sound(
    results: ResultsCache,
    choices: Choices,
    bars: Bars,
    pair: tuple[str, ...],
    everyone: bool,
    what: str,
) -> bytes:
    """Return the moment as the bytes of a WAV file.

    Parameters
    ----------
    results : ResultsCache
    choices : Choices
    bars : (int, int)
        First and last measure, as played.
    pair : tuple of str
        The part that changes and the one beside it.
    everyone : bool
        Hear all parts, not the pair alone.
    what : str
        ``before``, ``after``, ``each`` (of the pair alone, then together) or ``both``.
    """
    together = tuple(results.base.parts["part"]) if everyone else pair

    def heard(chosen: Choices, parts: tuple[str, ...]) -> Sound:
        return render_sound(results.song(chosen), parts=list(parts), measures=bars)

    as_written = Choices(choices.section)
    if what == "before":
        sound = heard(as_written, together)
    elif what == "after":
        sound = heard(choices, together)
    elif what == "each":
        sounding = heard_bars(results.base, None, bars, None)
        playing = [part for part in pair if len(sounding.notes(results.song(choices), part))]
        alone = [heard(choices, (part,)) for part in playing]
        sound = join_sounds(*alone, heard(choices, together))
    else:
        sound = join_sounds(heard(as_written, together), heard(choices, together))
    return wav_bytes(sound)


def wav_bytes(sound: Sound) -> bytes:
    """Return the samples as a WAV file of 16 bits."""
    file = io.BytesIO()
    with wave.open(file, "wb") as wav:
        wav.setnchannels(sound.samples.shape[1])
        wav.setsampwidth(2)
        wav.setframerate(RATE)
        wav.writeframes(np.rint(sound.samples * 32767).astype("<i2").tobytes())
    return file.getvalue()
