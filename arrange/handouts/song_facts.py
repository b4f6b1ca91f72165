"""Key, meter, tempo and tuning, as sheets have them."""

from __future__ import annotations

from collections.abc import Sequence

from arrange.guitar.necks import TUNINGS, parse_tuning
from arrange.tables.song import Song
from arrange.text.words import counted
from arrange.theory.meters import tempo_words
from arrange.theory.pitch import pitch_class_name


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
    facts.append(("Length", f"{song.clock(song.duration)}, {counted(len(song.measures), 'bar')}"))
    return facts


def tuning_words(tuning: Sequence[int]) -> str:
    """Return the open strings, low to high, and what the tuning is called if it has a name."""
    names = " ".join(pitch_class_name(round(pitch)) for pitch in reversed(tuning))
    known = next((name for name in TUNINGS if parse_tuning(name) == tuple(tuning)), "")
    return f"{names} (low to high{', ' + known if known else ''})"
