"""A leader's plan for sixty minutes, and the page that everybody takes home."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from arrange.clashes import KINDS
from arrange.exercises.exercise import Exercise
from arrange.exercises.making import IN_WORKSHOP
from arrange.handouts.sheets import LOUDNESS, WARM_UP
from arrange.tables.setups import played_setups, sections_of
from arrange.tables.song import Song
from arrange.text.words import counted, listed

MINUTES = 60
_WELCOME, _SONG, _BREAK, _DECIDE, _CLOSE = 5, 5, 5, 7, 3

_TRY = (
    "Move one finger: another note of the chord, near by.",
    "The same chord in another inversion, or on other strings.",
    "Higher up the neck, or with a capo, away from the other guitar.",
    "Fewer notes: leave the root to the bass, the third to one part only.",
    "Play between the other's attacks, or hold while the other moves.",
    "Lay out, and come back when it counts.",
)  # common practice


@dataclass(frozen=True)
class Step:
    """One step of the hour: when it begins, how long it lasts, what is done and how."""

    begin: int
    minutes: int
    what: str
    how: str


def plan_steps(exercises: Sequence[Exercise]) -> tuple[Step, ...]:
    """Return the steps of a workshop; their minutes add up to ``MINUTES``."""
    share = MINUTES - _WELCOME - _SONG - _BREAK - _DECIDE - _CLOSE
    lasts = _shared_out(share, [IN_WORKSHOP[each.kind].share for each in exercises])
    rows = [
        (_WELCOME, "Welcome", "Turn amplifiers and speakers down, tune, make pairs. A finding is a "
         "thing to listen to, not a fault: the ear decides."),
        (_SONG, "The song, once", "Play it, or what there is of it, at the level of a talking "
         "voice. Where do the guitars sit on top of each other? Nobody answers yet."),
    ]  # fmt: skip
    done, is_rested = 0, len(exercises) < 2
    for number, (each, minutes) in enumerate(zip(exercises, lasts, strict=True), 1):
        if not is_rested and done + minutes / 2 >= share / 2:
            rows.append((_BREAK, "Break", "Quiet for the ears; shake out hands and shoulders."))
            is_rested = True
        rows.append((minutes, f"Exercise {number}: {each.kind}", IN_WORKSHOP[each.kind].how))
        done += minutes
    if len(exercises) < 2:
        rows.append((_BREAK, "Break", "Quiet for the ears; shake out hands and shoulders."))
    rows.append((_DECIDE, "Decide", "Each pair proposes one change for the song, with its reason. "
                 "Vote; write what and why into the log."))  # fmt: skip
    rows.append((_CLOSE, "Close", "Hand out the page. What will each do at the next rehearsal?"))
    steps, begin = [], 0
    for minutes, what, how in rows:
        steps.append(Step(begin, minutes, what, how))
        begin += minutes
    return tuple(steps)


def _shared_out(minutes: int, shares: Sequence[int]) -> list[int]:
    """Minutes shared out in whole numbers; what is left over goes to the first ones."""
    whole = sum(shares)
    lasts = [minutes * share // whole for share in shares]
    for place in range(minutes - sum(lasts)):
        lasts[place % len(lasts)] += 1
    return lasts


def plan_blocks(exercises: Sequence[Exercise], missing: dict[str, str]) -> list[Any]:
    """Return the leader's plan as blocks of a paper."""
    steps = plan_steps(exercises)
    rows = [
        [f"{step.begin}–{step.begin + step.minutes}", str(step.minutes), step.what, step.how]
        for step in steps
    ]
    about = (
        f"For about ten people, one projector and {counted(len(exercises), 'exercise')} of size "
        f"{exercises[0].size}. The evening before: arrange ready."
    )
    blocks: list[Any] = [
        {"kind": "text", "text": about},
        {"kind": "table", "head": ["From–to", "Minutes", "What", "How"], "rows": rows,
         "widths": [0, 0, 3, 7]},
        {"kind": "text", "text": f"In all {sum(step.minutes for step in steps)} minutes."},
        {"kind": "heading", "text": "What to bring"},
        {"kind": "list", "items": [
            "this plan, the answer sheet and the hint sheet: one each, for you",
            "the exercise sheet and the one-page handout: one for each guest",
            "the solved notebook on your machine, the other one on theirs; nothing needs a network",
            "one guitar for two people, small speakers",
        ]},
        {"kind": "heading", "text": "When it stalls"},
        {"kind": "list", "items": [
            "give the first hint after two minutes, the second after four",
            "a wrong answer is the best start: check it aloud and read the reply",
            "an exercise takes too long: show its answer, and keep the break",
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
        {"kind": "heading", "text": "At home"},
        {"kind": "list", "items": [
            "arrange study my-song.musicxml -o study",
            "arrange workshop my-song.musicxml -o workshop",
        ]},
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
