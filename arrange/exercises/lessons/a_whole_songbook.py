"""What lesson 12 asks: strings to retune, an order by hand, and a shape in open G."""

from __future__ import annotations

from functools import lru_cache

from arrange.errors import ArrangeError
from arrange.exercises.answers import numbers_in
from arrange.exercises.demo_songs import LOW_WATER, TARROW_WEIR, demo_facts, demo_path
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import no, question, yes
from arrange.exercises.replies import Reply
from arrange.guitar.necks import Neck, parse_tuning
from arrange.guitar.shape_names import name_shape
from arrange.songbook import Songbook, changes_between, order_by_changes, read_songbook

_FIRST, _LAST = "Slack Tide", "Salt on the Step"
_MOST = 10
_E_MINOR = {4, 7, 11}
_LEAST = 3  # strings of a shape


def by_hand() -> Exercise:
    """Ask how many strings to retune for open G, and by how much."""
    ways = [
        abs(one - other)
        for one, other in zip(parse_tuning("standard"), parse_tuning("open G"), strict=True)
    ]
    strings, semitones = sum(way > 0 for way in ways), sum(ways)

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != 2:
            return None
        if numbers[0] != strings:
            return no(f"Not {numbers[0]} strings; write both tunings below each other.")
        if numbers[1] != semitones:
            return no("The number of strings is right; how far does each of them go?")
        return yes(f"{strings} strings, and {semitones} semitones together: the sixth, the fifth "
                   "and the first go down by two each.")  # fmt: skip

    return question(
        demo_facts(LOW_WATER), "retuning by hand",
        "From standard (E A D G B E) to open G (D G D G B D): how many strings must be retuned, "
        "and by how many semitones, all strings together?", "two numbers, such as 1 and 2",
        f"{strings} and {semitones}",
        ("Compare string by string, from the lowest.", "Each of them goes down a whole tone."),
        judge,
    )  # fmt: skip


@lru_cache(maxsize=1)
def _book() -> Songbook:
    files = [demo_path(name) for name in ("harbour-set", TARROW_WEIR, LOW_WATER)]
    return read_songbook(files, players={"Guitar 1": "Corrie", "Guitar 2": "Tam", "Bass": "Isla"})


def without_the_search() -> Exercise:
    """Ask for an order of the set with few changes; each answer is counted."""
    book = _book()
    names = list(book.songs)
    best = order_by_changes(book, first=_FIRST, last=_LAST).songs
    listing = ", ".join(f"{number} {name}" for number, name in enumerate(names, 1))

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != len(names):
            return None
        if sorted(numbers) != list(range(1, len(names) + 1)):
            return no(f"Each number from 1 to {len(names)} once, please.")
        order = [names[number - 1] for number in numbers]
        if (order[0], order[-1]) != (_FIRST, _LAST):
            return no(f"That begins with {order[0]} and ends with {order[-1]}.")
        made = int(changes_between(book.in_order(order))["changes"].sum())
        if made > _MOST:
            return no(f"{made} changes. Which neighbours ask for the most?")
        return yes(f"{made} changes: songs in the same tuning stand together.")

    return question(
        demo_facts(LOW_WATER), "an order by hand",
        f"Put the set in order, so that it begins with {_FIRST}, ends with {_LAST} and asks for no "
        f"more than {_MOST} changes. The songs: {listing}.",
        f"the {len(names)} numbers in your order, such as 1 2 3 4 5 6",
        " ".join(str(names.index(name) + 1) for name in best),
        ("Which songs share a tuning and a capo? The table of the set has both.",
         f"After {_FIRST}, in modal D, comes the other song near to it: {list(best)[1]}."), judge,
    )  # fmt: skip


def mend_the_third() -> Exercise:
    """Ask for a shape of E minor in open G."""
    neck = Neck(parse_tuning("open G"))

    def judge(text: str) -> Reply | None:
        try:
            named = name_shape(text, neck)
        except ArrangeError:
            return None
        classes = {pitch % 12 for pitch in named.pitches}
        if 8 in classes:
            return no(f"{named.text} holds G#: that is still E major.")
        if not classes <= _E_MINOR:
            return no(
                f"{named.text} is {' '.join(named.notes)}; only E, G and B belong to E minor."
            )
        if classes != _E_MINOR or len(named.pitches) < _LEAST:
            return no(f"{named.text} lacks one of E, G and B.")
        return yes(f"{named.text} is {' '.join(named.notes)}, E minor: the third is G now.")

    return question(
        demo_facts(LOW_WATER), "mend the third",
        "In open G (D G D G B D) Corrie lays a finger across the ninth fret, 999999: E major, "
        "while Tam plays E minor. Which shape is E minor? At least three strings.",
        "six signs, low string first, x for a string left out, such as xx5000", "xx2002",
        ("Near the open strings: G and B are open.", "E is two frets above D."), judge,
    )  # fmt: skip


EXERCISES = (by_hand, without_the_search, mend_the_third)
