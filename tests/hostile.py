"""Twelve texts that would have an effect if they were read as markup, and a song made of them.

A script that runs sets ``window.ran``; what loads from outside asks ``outside.invalid``, a host
name that never resolves (RFC 2606, section 2).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from songs import parts_of, song

import arrange as ar
from arrange.exercises.exercise import Exercise
from arrange.exercises.notebooks import solved_notebook
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.tables.song import Song

HOSTILE = (
    "<script>window.ran = 1</script>",
    '<img src=x onerror="window.ran = 2">',
    '"><svg onload=window.ran=3>',
    "</title></text></style><script>window.ran = 4</script>",
    "![picture](http://outside.invalid/5.png)",
    "[link](javascript:window.ran=6) <http://outside.invalid/6>",
    "`</code><img src=http://outside.invalid/7.png>`",
    '<iframe src="javascript:parent.ran=8"></iframe>',
    "# *b* _c_ ~~d~~ | e | <b>bold</b> http://outside.invalid/9",
    r"$\href{javascript:window.ran=10}{x}$ \(y\) \begin{align}z\end{align}",
    "&lt;script&gt;window.ran=11&lt;/script&gt; &#60;img src=//outside.invalid/11.png&#62;",
    r"""'; window.ran = 12; // {{7*7}} #eval("1") \u{41} <mark> @cite $ --- https://outside.invalid""",
)
TITLE = " ".join(HOSTILE)


def hostile_song(**about: object) -> Song:
    """Return a song that has every text as a part, a player and a section, and all in the title.

    The first two parts rub in every section; in the last bar all parts play.
    """
    bars = [4.0 * bar for bar in range(len(HOSTILE))]
    rows = [(HOSTILE[0], "E3 B3 E4", at, 4) for at in bars]
    rows += [(HOSTILE[1], "F4 C5", at + beat, 1) for at in bars for beat in range(4)]
    rows += [(name, "G4", bars[-1], 4) for name in HOSTILE[2:]]
    parts = parts_of(*HOSTILE, family="guitar", player=HOSTILE, instrument=HOSTILE)
    return song(
        *rows, parts=parts, sections=[(text, bar) for bar, text in enumerate(HOSTILE, 1)],
        chords=[(at, 4, "minor", None) for at in bars], title=TITLE, **about,
    )  # fmt: skip


def write_hostile(folder: Path, name: str = "hostile") -> Path:
    """Write the song, and a log beside it that has each text as a decision and its reason."""
    path = folder / f"{name}.musicxml"
    made = hostile_song()
    ar.write_musicxml(made, path)
    read = ar.read(path)
    for section, text in zip(read.sections["section"], HOSTILE, strict=True):
        decision = ar.Decision(text, text, section, parts=[read.parts["part"].iloc[0]])
        ar.record_decision(ar.decisions_path(path), decision, song=read)
    return path


def with_chord_symbols(made: Song) -> Song:
    """Return the song with the texts as chord symbols too, which no file can contain."""
    symbols = [HOSTILE[n % len(HOSTILE)] for n in range(len(made.chords))]
    return replace(made, chords=made.chords.assign(symbol=symbols))


def hostile_exercises() -> list[Exercise]:
    """Return exercises with the texts as questions, choices, hints and replies."""
    return [
        Exercise("name its kind", "small", text, text, HOSTILE, text, (text,), text, (1, 1), (),
                 facts=SongFacts(hostile_song()), reply=lambda _, __: Reply(True, TITLE))
        for text in HOSTILE
    ]  # fmt: skip


def hostile_notebook() -> Any:
    """Return a workshop's notebook with the texts as titles and reasons."""
    asked = hostile_exercises()
    return solved_notebook(TITLE, f"{HOSTILE[0]}.txt", 1, asked, {HOSTILE[4]: TITLE})
