"""What lesson 3 asks: an overlap by hand, room between two guitars, and how to make it."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from arrange.exercises.answers import amount_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.lessons.start_here import guitars_together
from arrange.exercises.replies import Reply
from arrange.quantities.register import register_overlap
from arrange.report.studying import Study

_FULL = "Chorus 1"
_IDEAS = {
    "Guitar 1 an octave up": (12, 0),
    "Guitar 2 an octave up": (0, 12),
    "both an octave up": (12, 12),
    "Guitar 1 an octave up, Guitar 2 an octave down": (12, -12),
}
_NEAR = 0.005


def overlap_by_hand() -> Exercise:
    """Ask for the histogram overlap of two little parts."""
    notes = pd.DataFrame({
        "part": list("AAAACC"), "onset": [0.0, 2, 4, 6, 0, 4], "duration": [2.0, 2, 2, 2, 4, 4],
        "pitch": [52.0, 55, 59, 64, 64, 67], "grace": False, "technique": "",
    })  # fmt: skip
    row = register_overlap(notes).iloc[0]
    right, share = float(row["histogram"]), float(row["share"])

    def judge(text: str) -> Reply | None:
        said = amount_in(text)
        if said is None:
            return None
        if abs(said - right) < _NEAR:
            return yes(f"{right:g}. Only E4 is in both: A is there a quarter of its time, C half, "
                       f"and the smaller counts. (The shared stretch is {share:g}.)")  # fmt: skip
        if abs(said - 0.5) < _NEAR:
            return no("Half of its time is what C spends on E4; A spends less there. The smaller "
                      "of the two counts.")  # fmt: skip
        if abs(said - share) < _NEAR:
            return no("That is the shared stretch; the overlap counts the time on each note.")
        return no(f"Not {said:g}. On each note take the smaller of their two portions of time, and "
                  "add these up.")  # fmt: skip

    return question(
        demo_facts(LOW_WATER), "an overlap by hand",
        "A plays E3, G3, B3 and E4 for two quarters each. C plays E4 for four quarters, then G4 "
        "for four. How large is their histogram overlap, from 0 to 1? Work it out on paper.",
        "a number such as 0.4 or 2/5", f"{right:g}",
        ("Which notes do both play?", "A spends a quarter of its time on E4. And C?"), judge,
    )  # fmt: skip


def widest_gap() -> Exercise:
    """Ask for the section with most room between the two guitars."""
    facts = demo_facts(LOW_WATER)
    wide = Study(facts.song).section_ranges.pivot_table(index="section", columns="part")
    room = (wide["lowest"]["Guitar 1"] - wide["highest"]["Guitar 2"]).dropna()
    order = [each for each in facts.song.sections["section"] if each in room.index]
    replies = {
        section: yes(f"in {section}, {room[section]:g} semitones lie between them; nowhere else is "
                     "there more.")
        if section == room.idxmax()
        else no(f"In {section}, {room[section]:g} semitones lie between them; another has more."
                if room[section] > 0
                else f"In {section} Guitar 2 reaches up to Guitar 1's lowest note and beyond.")
        for section in order
    }  # fmt: skip
    return choice(
        facts, "the widest gap",
        "In which section of the demo song is there most room between the highest note of Guitar 2 "
        "and the lowest of Guitar 1?", "a section, such as Verse 1", replies,
        ("Look in the picture of ranges for two bands that do not touch.",
         "Play both guitars there: which section has one high up?"),
    )  # fmt: skip


def mend_the_chorus() -> Exercise:
    """Ask which move makes room in the full chorus; each was tried on the song."""
    facts = demo_facts(LOW_WATER)
    before = guitars_together()[_FULL]
    after = {idea: _together(*steps) for idea, steps in _IDEAS.items()}
    best = min(after, key=lambda idea: after[idea])
    replies = {
        idea: yes(f"then they spend {share:.2f} of their time on the same notes instead of "
                  f"{before:.2f}. Play it before you trust it.")
        if idea == best
        else no("Both move by the same way, so that they meet as often as before."
                if abs(share - before) < _NEAR
                else f"Then it is still {share:.2f} of their time; it was {before:.2f}.")
        for idea, share in after.items()
    }  # fmt: skip
    return choice(
        facts, "room in the chorus",
        f"In {_FULL} the two guitars of the demo song spend {before:.2f} of their time on the same "
        "notes. Which move brings this below 0.1?", f"an idea, such as {next(iter(_IDEAS))}",
        replies,
        ("Each of their chords is about two octaves wide.",
         "One octave between two parts of two octaves is not enough."),
    )  # fmt: skip


def _together(first: int, second: int) -> float:
    song = demo_facts(LOW_WATER).song
    here = song.notes["section"] == _FULL
    step = first * (here & (song.notes["part"] == "Guitar 1"))
    step += second * (here & (song.notes["part"] == "Guitar 2"))
    moved = replace(song, notes=song.notes.assign(pitch=song.notes["pitch"] + step)[here])
    table = register_overlap(moved.notes, by="section")
    both = (table["part_a"] == "Guitar 1") & (table["part_b"] == "Guitar 2")
    return float(table["together"][both].iloc[0])


EXERCISES = (overlap_by_hand, widest_gap, mend_the_chorus)
