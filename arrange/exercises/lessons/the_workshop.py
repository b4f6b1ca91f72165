"""What lesson 11 asks: exercises made from songs, and about making them."""

from __future__ import annotations

from dataclasses import replace

from arrange.exercises.answers import numbers_in
from arrange.exercises.demo_songs import LOW_WATER, TARROW_WEIR, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import no, question, yes
from arrange.exercises.making import make_exercises
from arrange.exercises.replies import Reply

_SEED = 13
_ENDS = "That ends"


def _on_the_neck(seed: int) -> Exercise:
    (made,) = make_exercises(demo_facts(LOW_WATER), seed, kinds=["fix it on the neck"])
    return replace(made, choices=())


def another_hour() -> Exercise:
    """Ask for a seed that gives another exercise."""
    first = _on_the_neck(_SEED)

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != 1:
            return None
        other = _on_the_neck(numbers[0])
        if other.question == first.question:
            return no(f"Seed {numbers[0]} asks about the same note again. Try another number.")
        return yes(f"seed {numbers[0]} asks: {other.question}")

    answer = next(seed for seed in range(1, 50) if _on_the_neck(seed).question != first.question)
    return question(
        first.facts, "another hour",
        "You lead a workshop on the demo song a second time. With which seed is the exercise on "
        f"the neck about another note than with seed {_SEED}?", "a number, such as 100",
        str(answer),
        ("Any number may be tried.", "Most of them will do."), judge,
    )  # fmt: skip


def wrong_and_good() -> Exercise:
    """Ask for a wrong answer that teaches."""
    first = _on_the_neck(_SEED)

    def judge(text: str) -> Reply | None:
        got = first.check(text)
        if got.right:
            return no("That one is right; here a wrong one is wanted.")
        if got.text.startswith(_ENDS):
            return yes(f"wrong, and worth a talk: {got}")
        return no(f"Wrong, but it does not end the clash either. {got}")

    places = (f"{string}/{fret}" for string in (1, 2, 3) for fret in range(13))
    answer = next(each for each in places if first.check(each).text.startswith(_ENDS))
    return question(
        first.facts, "a wrong answer that teaches",
        f"{first.question} This time give a wrong answer whose reply begins with: {_ENDS}.",
        "string and fret, such as 1/12", answer,
        ("It must end the clash, and have another fault.",
         "Try places near by whose notes do not belong to the chord."), judge,
    )  # fmt: skip


def from_a_chart() -> Exercise:
    """Ask for the capo of a song that was typed."""
    facts = demo_facts(TARROW_WEIR)
    (capo,) = make_exercises(facts, seed=2, size="middle", kinds=["which capo"])
    return replace(capo, kind="from a chart")


EXERCISES = (another_hour, wrong_and_good, from_a_chart)
