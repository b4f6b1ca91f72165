"""What lesson 1 asks: where two guitars meet, and the rub of the demo song."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from arrange.clashes import find_clashes
from arrange.errors import ArrangeError
from arrange.exercises.answers import numbers_in, other_names
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply
from arrange.report.studying import Study
from arrange.text.words import counted
from arrange.theory.pitch import parse_note

_LOUD, _QUIET = "Guitar 1", "Guitar 2"


def guitars_together() -> pd.Series:
    """Return the share of their time on the same notes, by section, of the two guitars."""
    table = Study(demo_facts(LOW_WATER).song).section_overlap
    both = table[(table["part_a"] == _LOUD) & (table["part_b"] == _QUIET)]
    return both.set_index("section")["together"]


def same_notes() -> Exercise:
    """Ask for the section that comes second."""
    shares = guitars_together()
    first, right = shares.nlargest(2).index
    replies = {
        section: (yes if section == right else no)(
            f"in {section} they spend {share:.2f} of the time together on the same notes."
            + (" That is the most of all, and was not asked for." if section == first else "")
        )
        for section, share in shares[shares > 0].items()
    }
    return choice(
        demo_facts(LOW_WATER), "who meets where",
        f"{first} is where the two guitars of the demo song share most notes. Which section comes "
        "next?", f"a section, such as {first}", replies,
        ("Look for black in the picture of ranges.", "In that table, sort by the column together."),
    )  # fmt: skip


def _rub() -> pd.Series:
    table = demo_facts(LOW_WATER).findings
    return table[table["kind"] == "rub"].iloc[0]


def rub_on_the_page() -> Exercise:
    """Ask for the printed number of the measure with the rub."""
    facts = demo_facts(LOW_WATER)
    played = int(_rub()["measure"])
    written = facts.song.measures.set_index("measure")["written"][played]

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != 1:
            return None
        if numbers[0] == int(written):
            return yes(
                f"measure {written} of the page is measure {played} as played, since the verse is "
                "printed once and played twice."
            )
        if numbers[0] == played:
            return no(f"{played} is the measure as played; how is it numbered on the page?")
        return no(f"Measure {numbers[0]} is another one; the rub is in {_rub()['section']}.")

    return question(
        facts, "the rub on the page",
        f"The demo song has one rub. It begins in measure {played} as played, repeats and all. "
        "Which measure of the page is that?", "the number of a measure, such as 12", str(written),
        (
            "The first verse is printed once and played twice, so that the page is behind from "
            "then on: measure 25 as played is measure 19 on the page.",
            "Take as many away from the played number as for measure 25.",
        ),
        judge,
    )  # fmt: skip


def sour_note() -> Exercise:
    """Ask which note Guitar 2 could leave out; each is tried on the song."""
    facts = demo_facts(LOW_WATER)
    song, rub = facts.song, _rub()
    own = (song.notes["part"] == _QUIET) & (song.notes["section"] == rub["section"])
    played = set(song.notes["pitch"][own])

    def judge(text: str) -> Reply | None:
        try:
            pitch = parse_note(text)
        except ArrangeError:
            return None
        name, also = (
            facts.name(pitch),
            other_names({text[:1].upper() + text[1:]: pitch}, facts.name),
        )
        if pitch not in played:
            return no(f"{_QUIET} does not play {name} in {rub['section']}.{also}")
        left_out = own & (song.notes["pitch"] == pitch)
        after = find_clashes(replace(song, notes=song.notes[~left_out]), ["rub"])
        if len(after):
            return no(f"Without its {name} the two guitars still rub: {after['why'].iloc[0]}")
        notes = counted(int(left_out.sum()), "note")
        return yes(f"without {name}, {notes} fewer, nothing rubs there any more.{also}")

    low, high = rub["pitches"].split()
    return question(
        facts, "one note less",
        f"In {rub['section']} {_LOUD} and {_QUIET} rub: {low} and {high} are held together. "
        f"Which note could {_QUIET} leave out there, so that the rub ends? Each answer is tried on "
        "the song.", "a note with its octave, such as C4",
        low, (f"It is one of the two: {low} or {high}.", f"{_LOUD} has {high}."), judge,
    )  # fmt: skip


EXERCISES = (same_notes, rub_on_the_page, sour_note)
