"""What lesson 6 asks: rows of a chart, tried by the reader of charts."""

from __future__ import annotations

from arrange.errors import ChartError
from arrange.exercises.demo_songs import TARROW_WEIR, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import no, question, yes
from arrange.exercises.replies import Reply
from arrange.formats.chart import read_chart
from arrange.tables.song import Song

_TOP = (
    "key: G major\nmeter: 4/4\ntempo: 96\npart: Guitar 1; electric guitar\n"
    "part: Guitar 2; acoustic guitar\n"
)
_BAR = 4.0  # quarter notes


def _song(rows: str) -> Song | Reply:
    """Return the song that rows make, or a reply with the first fault."""
    try:
        return read_chart((_TOP + rows).encode(), "your row")
    except ChartError as error:
        first = (error.errors or (error,))[0]
        return no(f"The chart cannot be read yet: {first.problem}.")


def two_bars() -> Exercise:
    """Ask for two bars of shapes."""

    def judge(text: str) -> Reply | None:
        row = text.removeprefix("Guitar 1").strip().strip("|").strip()
        if row.count("|") != 1:
            return None
        made = _song(f"section: Verse\nchords | Am | F |\nGuitar 1 | {row} |\n")
        if isinstance(made, Reply):
            return made
        classes = [
            {int(pitch) % 12 for pitch in made.notes["pitch"][made.notes["measure"] == bar]}
            for bar in (1, 2)
        ]
        if classes != [{9, 0, 4}, {5, 9, 0}]:
            wrong = "A minor" if classes[0] != {9, 0, 4} else "F"
            return no(f"It can be read, but the shape for {wrong} has other notes.")
        if set(made.notes["duration"]) != {_BAR}:
            return no("It can be read; for a whole bar the shape stands alone between two lines.")
        return yes("two bars of four beats; a shape alone in its bar is held for all of it.")

    return question(
        demo_facts(TARROW_WEIR), "two bars",
        "Type two bars for Guitar 1: A minor, then F, each held for the whole bar.",
        "two bars with a | between them, such as x32010 | 320003", "x02210 | 133211",
        ("A shape is written low string first, x for a string left out.",
         "A minor is x02210."), judge,
    )  # fmt: skip


def pushed() -> Exercise:
    """Ask for the word that makes a chord come early."""

    def judge(text: str) -> Reply | None:
        made = _song(f"section: Verse\nchords | Am | F |\nGuitar 1 | x02210 | 133211 {text} |\n")
        if isinstance(made, Reply):
            return made
        begin = made.notes["onset"].max()
        if begin == _BAR - 0.5:
            return yes("pushed: the F begins half a beat before bar 2 and is tied over the line.")
        return no(f"{text} can be read, but then the last stroke begins at {begin:g} quarter notes "
                  f"from the start, not at {_BAR - 0.5:g}.")  # fmt: skip

    return question(
        demo_facts(TARROW_WEIR), "an eighth early",
        "Guitar 1 | x02210 | 133211 ... | Which word behind the shape lets the F come an eighth "
        "early, tied over the bar line?", "one word, such as muted", "pushed",
        ("The lesson's first verse has it in its last bar.", "It is what a bandmate would shout: "
         "the chord is p..."), judge,
    )  # fmt: skip


def second_time() -> Exercise:
    """Ask for the words by which a row is for one time round."""

    def judge(text: str) -> Reply | None:
        words = text.removeprefix("Guitar 2").strip(" ,|")
        bars = "| x32010 | x32010 |\n"
        made = _song(f"section: Verse; played twice\nGuitar 1 {bars}Guitar 2, {words} {bars}")
        if isinstance(made, Reply):
            return made
        heard = set(made.notes["measure"][made.notes["part"] == "Guitar 2"])
        if heard == {3, 4}:
            return yes("Guitar 2 rests in measures 1 and 2 and plays in 3 and 4.")
        return no(f"So Guitar 2 plays in measures {', '.join(map(str, sorted(heard)))}; it should "
                  "in 3 and 4 only.")  # fmt: skip

    return question(
        demo_facts(TARROW_WEIR), "the second time round",
        "A section is played twice. Guitar 2 rests the first time and plays the second: Guitar 2, "
        "... | x32010 | x32010 | Which words stand behind its name?",
        "one or two words, such as first time", "second time",
        ("The row says which time round it is for.", "In words, not as a number: ... time."), judge,
    )  # fmt: skip


EXERCISES = (two_bars, pushed, second_time)
