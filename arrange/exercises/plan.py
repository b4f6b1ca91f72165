"""A leader's plan for sixty minutes, and the page that everybody takes home."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from arrange.clashes import KINDS
from arrange.exercises.exercise import Exercise
from arrange.exercises.exercise_sheets import SONG_SOUND, right_words, sound_name, word_rows
from arrange.exercises.exercise_sounds import song_once_words
from arrange.exercises.making import IN_WORKSHOP
from arrange.handouts.sheets import LOUDNESS, WARM_UP
from arrange.tables.setups import played_setups, sections_of
from arrange.tables.song import Song
from arrange.text.words import counted, first_up, listed

MINUTES, GUESTS = 60, 10
START_PAGE = "read-me-first.pdf"
_WELCOME, _SONG, _BREAK, _DECIDE, _CLOSE = 5, 5, 5, 7, 3

_TRY = (
    "Move one finger: another note of the chord, near by.",
    "The same chord in another inversion, or on other strings.",
    "Higher up the neck, or with a capo, away from the other guitar.",
    "Fewer notes: leave the root to the bass, the third to one part only.",
    "Play between the other's attacks, or hold while the other moves.",
    "Lay out, and come back when it counts.",
)  # common practice


# README.md has the same two.
GET_STARTED = (
    "python3 -m venv .venv && .venv/bin/pip install --quiet -e . && .venv/bin/arrange study "
    "datasets/low-water.musicxml -o study"
)
OWN_SONG = ".venv/bin/arrange study my-song.musicxml -o my-song-study"

Line = tuple[str, str]  # a word, "" for none, and what it says


@dataclass(frozen=True)
class Step:
    """One step of the hour: when it begins, how long it lasts, what is done, and how, line by line:
    to do, to say, to play, and the answer.
    """

    begin: int
    minutes: int
    what: str
    how: tuple[Line, ...]


def plan_steps(exercises: Sequence[Exercise]) -> tuple[Step, ...]:
    """Return the steps of a workshop; their minutes add up to ``MINUTES``."""
    share = MINUTES - _WELCOME - _SONG - _BREAK - _DECIDE - _CLOSE
    lasts = _shared_out(share, [IN_WORKSHOP[each.kind].share for each in exercises])
    rows = _opening(exercises)
    done, is_rested = 0, len(exercises) < 2
    for number, (each, minutes) in enumerate(zip(exercises, lasts, strict=True), 1):
        if not is_rested and done + minutes / 2 >= share / 2:
            rows.append(_RESTED)
            is_rested = True
        rows.append((minutes, f"Exercise {number}: {each.kind}", _exercise_lines(number, each)))
        done += minutes
    if len(exercises) < 2:
        rows.append(_RESTED)
    rows += _CLOSING
    steps, begin = [], 0
    for minutes, what, how in rows:
        steps.append(Step(begin, minutes, what, tuple(how)))
        begin += minutes
    return tuple(steps)


_Row = tuple[int, str, Sequence[Line]]

_RESTED: _Row = (
    _BREAK, "Break", [("", "Quiet for the ears; shake out hands and shoulders.")],
)  # fmt: skip
_CLOSING: tuple[_Row, ...] = (
    (_DECIDE, "Decide", [
        ("", "Hand out the page to take home. Each pair proposes one change for the song, with its "
             "reason. Vote; write what and why on the page."),
        ("Say:", "“What would you change first, and what do we gain?”"),
    ]),
    (_CLOSE, "Close", [
        ("", "Show that the page says where to get the kit."),
        ("Say:", "“What will each of you do at the next rehearsal?”"),
    ]),
)  # fmt: skip


def _opening(exercises: Sequence[Exercise]) -> list[_Row]:
    song = exercises[0].facts.song
    words = ["Then read the box of words on the sheet aloud."] if word_rows(exercises) else []
    return [
        (_WELCOME, "Welcome", [
            ("", "Turn amplifiers and speakers down, tune, make pairs."),
            ("Say:", "“We listen for places where parts of this song get in each other’s way, and "
                     "try what else to play. A finding is a thing to listen to, not a fault: the "
                     "ear decides. A wrong answer is welcome, it teaches most.”"),
        ]),
        (_SONG, "The song, once", [
            ("Sound:", f"{SONG_SOUND}: {song_once_words(song)}, at the level of a talking voice."),
            ("Say:", "“Where do the guitars sit on top of each other? Nobody answers yet.”"),
            ("", " ".join(["Hand out the exercise sheets.", *words])),
        ]),
    ]  # fmt: skip


def _exercise_lines(number: int, exercise: Exercise) -> list[Line]:
    about = IN_WORKSHOP[exercise.kind]
    sound = sound_name(number, exercise)
    return [
        ("", about.how),
        ("Say:", f"“{first_up(about.task)}”"),
        *([("Sound:", sound)] if sound else []),
        ("Answer:", right_words(exercise)),
    ]


def _shared_out(minutes: int, shares: Sequence[int]) -> list[int]:
    """Minutes shared out in whole numbers; what is left over goes to the first ones."""
    whole = sum(shares)
    lasts = [minutes * share // whole for share in shares]
    for place in range(minutes - sum(lasts)):
        lasts[place % len(lasts)] += 1
    return lasts


def to_bring() -> tuple[str, ...]:
    """Return what the leader of a workshop brings, with numbers."""
    pairs = -(-GUESTS // 2)
    return (
        "a computer with this folder on it, and its charger; nothing needs a network",
        f"a loudspeaker and its cable, loud enough for a talking voice; try it with {SONG_SOUND}",
        "this folder once more on a stick, whole, for guests who want it; the kit’s own folder too",
        "a projector with its cable, if the notebook is to be shown; the evening before: "
        "arrange ready",
        f"printed, on A4 or on Letter: the exercise sheet, {GUESTS} times; the page to take home, "
        f"{GUESTS} times; this plan, the hint sheet and the answer sheet, once each",
        f"{GUESTS} pencils, and something to write on that all can see",
        f"{pairs} guitars, one for two people, with straps or chairs to play on; unplugged is best",
        f"{pairs} capos, a tuner, picks, spare strings",
        f"hearing protection for all {GUESTS + 1}, a clock, water",
    )


def plan_blocks(exercises: Sequence[Exercise], missing: dict[str, str]) -> list[Any]:
    """Return the leader's plan as blocks of a paper."""
    steps = plan_steps(exercises)
    rows = [
        [f"{step.begin}–{step.begin + step.minutes}", str(step.minutes), step.what,
         [list(line) for line in step.how]]
        for step in steps
    ]  # fmt: skip
    about = (
        f"For about {GUESTS} people and {counted(len(exercises), 'exercise')} of size "
        f"{exercises[0].size}. Read {START_PAGE} first: it says what each file is."
    )
    blocks: list[Any] = [
        {"kind": "text", "text": about},
        {"kind": "table", "head": ["From–to", "Minutes", "What", "What to do, say and play"],
         "rows": rows, "widths": [0, 0, 3, 8]},
        {"kind": "text", "text": f"In all {sum(step.minutes for step in steps)} minutes."},
        {"kind": "heading", "text": "What to bring"},
        {"kind": "list", "items": list(to_bring())},
        {"kind": "heading", "text": "When it stalls"},
        {"kind": "list", "items": [
            "give the first hint after two minutes, the second after four",
            "a wrong answer is the best start: read its reply aloud from the answer sheet",
            "an exercise takes too long: say its answer, and keep the break",
        ]},
        {"kind": "heading", "text": "Take care"},
        {"kind": "list", "items": [LOUDNESS, WARM_UP]},
    ]  # fmt: skip
    if missing:
        blocks[1:1] = [{"kind": "list", "items": missing_words(missing)}]
    return blocks


def missing_words(missing: dict[str, str]) -> list[str]:
    """Return a sentence for each kind of exercise that a song does not give."""
    return [f"No exercise “{kind}”: {why}." for kind, why in missing.items()]


def handout_blocks(song: Song, exercises: Sequence[Exercise]) -> list[Any]:
    """Return the page to take home as blocks of a paper."""
    parts, setups = song.parts, played_setups(song)
    names = [
        f"{row.part}{_more(row, setups[setups['part'] == row.part])}"
        for row in parts[parts["family"] != "drums"].itertuples()
    ]
    kinds = list(dict.fromkeys(each.kind for each in exercises))
    about = (
        f"The song: {listed(names)}; {counted(len(song.measures), 'measure')}, "
        f"{counted(len(song.sections), 'section')}."
    )
    return [
        {"kind": "text", "text": about},
        {"kind": "heading", "text": "What we did"},
        {"kind": "pairs", "rows": [[kind, IN_WORKSHOP[kind].task] for kind in kinds]},
        {"kind": "heading", "text": "What there is to listen to"},
        {"kind": "pairs", "rows": [[kind, word.meaning] for kind, word in KINDS.items()]},
        {"kind": "heading", "text": "What to try, the small things first"},
        {"kind": "list", "items": list(_TRY)},
        {"kind": "heading", "text": "What we decided, and why"},
        {"kind": "blank", "text": "What:"},
        {"kind": "blank", "text": "Why:"},
        {"kind": "heading", "text": "The kit, at home"},
        {"kind": "text", "text": "Copy the folder of the kit from whoever led this workshop. On a "
         "machine with Python 3.11, in that folder, this puts it in place (once, with a network) "
         "and studies a demo song; the second line studies your own. (On Windows write py for "
         "python3 and .venv\\Scripts\\ for .venv/bin/.)"},
        {"kind": "code", "text": GET_STARTED},
        {"kind": "code", "text": OWN_SONG},
        {"kind": "heading", "text": "Take care"},
        {"kind": "list", "items": [LOUDNESS, WARM_UP]},
    ]  # fmt: skip


def _more(row: Any, setups: pd.DataFrame) -> str:
    """Who plays a part, with what capo and how driven, in the sections of `setups`."""
    capos = sections_of(setups, "capo") or {row.capo: []}
    words = [f"capo {capo}{_where(capos, capo)}" for capo in capos if capo]
    drives = sections_of(setups, "drive") or {row.drive: []}
    if row.family == "guitar":
        words += [f"{drive}{_where(drives, drive)}" for drive in drives if drive != "clean"]
    if not pd.isna(row.player) and row.player:
        words.insert(0, str(row.player))
    return f" ({', '.join(words)})" if words else ""


def _where(held: dict[Any, list[str]], value: Any) -> str:
    """In which sections something holds, if not in all."""
    return f" in {listed(held[value])}" if len(held) > 1 else ""
