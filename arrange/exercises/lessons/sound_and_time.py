"""What lesson 5 asks: an interval under drive, an echo in milliseconds, and who strikes when."""

from __future__ import annotations

from arrange.clashes import find_clashes
from arrange.exercises.answers import amount_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply
from arrange.formats.chart import read_typed
from arrange.quantities.texture import part_texture

_PAIRS = ("E2 and G2", "E2 and G#2", "E2 and B2", "E3 and F3")
_CHART = "key: E major\ntempo: 102\npart: Guitar 1; overdriven\nsection: A\nGuitar 1 | {notes} |\n"
_ECHOES = {0.25: "a sixteenth", 0.75: "a dotted eighth", 1.0: "a quarter"}
_NEAR = 2.0  # milliseconds


def under_drive() -> Exercise:
    """Ask which two notes an overdriven guitar can hold; each pair is tried."""
    return choice(
        demo_facts(LOW_WATER), "two notes under drive",
        "Guitar 1 switches to overdrive and holds two notes for a bar. With which two is nothing "
        "reported?", f"two notes, such as {_PAIRS[0]}",
        {pair: _driven(pair) for pair in _PAIRS},
        ("Players hold roots, fifths and octaves under drive.", "Which pair is a fifth?"),
    )  # fmt: skip


def _driven(pair: str) -> Reply:
    notes = pair.replace(" and ", ",")
    found = find_clashes(read_typed(_CHART.format(notes=notes)), ["drive"])
    if len(found):
        return no(f"With {pair}: {found['why'].iloc[0]}")
    return yes(f"{pair} is a fifth: what the amplifier adds falls in with their own partials.")


def echo_of_an_eighth() -> Exercise:
    """Ask for the milliseconds of an echo set to an eighth, at the tempo of the demo song."""
    facts = demo_facts(LOW_WATER)
    tempo = float(facts.song.measures["tempo"].iloc[0])
    quarter = 60_000 / tempo
    right = round(quarter / 2)

    def judge(text: str) -> Reply | None:
        said = amount_in(text)
        if said is None:
            return None
        if abs(said - right) < _NEAR:
            return yes(f"about {right} milliseconds: 60000 / {tempo:g} is {quarter:.0f} for a "
                       "quarter note, and an eighth is half of it.")  # fmt: skip
        for quarters, name in _ECHOES.items():
            if abs(said - quarter * quarters) < _NEAR:
                return no(f"That is {name}.")
        if abs(said - right / 1000) < _NEAR / 1000:
            return no("Those are seconds; a second has 1000 milliseconds.")
        return no(f"Not {said:g}. A minute has 60000 milliseconds, and {tempo:g} quarter notes.")

    return question(
        facts, "an echo in time",
        f"The demo song has {tempo:g} quarter notes a minute. Guitar 2 sets its echo to an eighth "
        "note. After how many milliseconds does the first repeat come?",
        "a number, such as 150", str(right),
        ("How long is a quarter note? 60000 milliseconds, divided by the tempo.",
         "An eighth is half of a quarter note."), judge,
    )  # fmt: skip


def most_strokes() -> Exercise:
    """Ask for the section in which the two guitars strike most often."""
    facts = demo_facts(LOW_WATER)
    table = part_texture(facts.song)
    guitars = table[table["part"].isin(["Guitar 1", "Guitar 2"])]
    strokes = guitars.groupby("section", sort=False)["density"].sum()
    replies = {
        section: yes(f"in {section} they strike {count:.1f} times a second between them.")
        if section == strokes.idxmax()
        else no(f"In {section} they strike {count:.1f} times a second; elsewhere more often.")
        for section, count in strokes.items()
    }
    return choice(
        facts, "most strokes",
        "In which section of the demo song do the two guitars together strike most often in a "
        "second?", "a section, such as Verse 1", replies,
        ("Look at the two guitars in the picture of the form.",
         "In the table, add up the two numbers in each row."),
    )  # fmt: skip


EXERCISES = (under_drive, echo_of_an_eighth, most_strokes)
