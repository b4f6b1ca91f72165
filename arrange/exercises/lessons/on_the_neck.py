"""What lesson 7 asks: capos, an inversion out of the way, and a reach in mm."""

from __future__ import annotations

from arrange.errors import ArrangeError
from arrange.exercises.answers import numbers_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import no, question, yes
from arrange.exercises.replies import Reply
from arrange.guitar.necks import Neck
from arrange.guitar.shape_names import name_shape
from arrange.guitar.voicings import find_voicings

_NECK = Neck()
_FORM = "a fret, such as 12"
_SHORT = 70  # mm
_LOWEST = 7  # fret from which on the other guitar is out of the way


def _one_number(text: str) -> int | None:
    numbers = numbers_in(text)
    return numbers[0] if len(numbers) == 1 else None


def capo_for_g() -> Exercise:
    """Ask where the capo goes so that the shape of E sounds G."""

    def judge(text: str) -> Reply | None:
        fret = _one_number(text)
        if fret is None:
            return None
        if not 0 <= fret <= 11:
            return no(f"A capo at fret {fret} leaves little neck.")
        shape = "-".join(str(each + fret) for each in (0, 2, 2, 1, 0, 0))
        name = name_shape(shape, Neck(capo=fret)).name
        if name == "G":
            return yes(f"fret {fret}. Counted from the nut the shape is {shape}; to the hand it is "
                       "E.")  # fmt: skip
        return no(f"With the capo at {fret} it sounds {name}: each fret is a semitone more.")

    return question(
        demo_facts(LOW_WATER), "a capo",
        "You play the shape of E, 022100 without a capo, and it shall sound G. At which fret goes "
        "the capo?", _FORM, "3",
        ("A capo at fret 1 makes F of it.", "F, F#, G: count."), judge,
    )  # fmt: skip


def out_of_the_way() -> Exercise:
    """Ask for C major in first inversion, high up on three strings."""

    def judge(text: str) -> Reply | None:
        try:
            named = name_shape(text, _NECK)
        except ArrangeError as error:
            return no(f"{error}.") if "x" in text.lower() else None
        strings = [string for string, fret in enumerate(named.shape, 1) if fret >= 0]
        if strings != [2, 3, 4]:
            return no(
                f"That sounds on strings {', '.join(map(str, strings))}; leave out 6, 5 and 1."
            )
        if named.name.split("/")[0] != "C":
            return no(f"{' '.join(named.notes)} is {named.name}, not C.")
        lowest = named.readings[0].members[0]
        if lowest != "3":
            return no(f"C it is, but its lowest note is the {lowest}; first inversion has the 3 at "
                      "the bottom.")  # fmt: skip
        if min(fret for fret in named.shape if fret >= 0) < _LOWEST:
            return no("First inversion of C, but too low: look twelve frets further up.")
        if named.text not in set(find_voicings("C", _NECK)["shape"]):
            return no("The notes are right; the hand cannot hold it.")
        return yes(f"{named.text} is {' '.join(named.notes)}, the third at the bottom, and far "
                   "from the other hand.")  # fmt: skip

    return question(
        demo_facts(LOW_WATER), "out of the way",
        "The other guitar holds C major at frets 1 to 3. Play C major on strings 4, 3 and 2 in "
        f"first inversion, with nothing open and nothing below fret {_LOWEST}. How is the shape "
        "written?",
        "six frets, low string first, with - between them, such as x-x-10-12-13-x",
        "x-x-14-12-13-x",
        ("In first inversion the third is at the bottom: E on string 4.",
         "E on string 4 is at fret 2, and again at fret 14."), judge,
    )  # fmt: skip


def four_frets() -> Exercise:
    """Ask from which fret on four fingers reach less than some millimetres."""
    mm = _NECK.mm
    right = next(fret for fret in range(1, 19) if mm[fret + 3] - mm[fret] < _SHORT)

    def judge(text: str) -> Reply | None:
        fret = _one_number(text)
        if fret is None:
            return None
        if not 1 <= fret <= 19:
            return no(f"From fret {fret} the neck has no three frets more.")
        there = mm[fret + 3] - mm[fret]
        if there >= _SHORT:
            return no(f"From fret {fret} it is still {there:.0f} mm: go further up.")
        if fret > right:
            return no(f"True, but from fret {fret - 1} it is {mm[fret + 2] - mm[fret - 1]:.0f} mm "
                      "already.")  # fmt: skip
        return yes(f"from fret {fret} it is {there:.0f} mm, one fret lower "
                   f"{mm[fret + 2] - mm[fret - 1]:.0f}.")  # fmt: skip

    return question(
        demo_facts(LOW_WATER), "four frets",
        f"The first finger is at a fret, the fourth three frets higher. From which fret on is this "
        f"reach shorter than {_SHORT} mm on the lesson's neck?", _FORM, str(right),
        (f"From fret 1 it is {mm[4] - mm[1]:.0f} mm, from fret 12 {mm[15] - mm[12]:.0f}.",
         f"From fret 5 it is {mm[8] - mm[5]:.0f} mm."), judge,
    )  # fmt: skip


def one_capo_too_many() -> Exercise:
    """Ask for the lowest capo that takes the lowest note of a part away."""
    facts = demo_facts(LOW_WATER)
    notes = facts.sounding
    lowest = float(notes["pitch"][notes["part"] == "Guitar 1"].min())
    name = facts.name(lowest)
    right = next(fret for fret in range(1, 12) if not Neck(capo=fret).places(lowest))

    def judge(text: str) -> Reply | None:
        fret = _one_number(text)
        if fret is None:
            return None
        if not 0 <= fret <= 11:
            return no(f"A capo at fret {fret} leaves little neck.")
        if fret < right:
            return no(f"With a capo at {fret} {name} can still be played.")
        if fret > right:
            return no(f"{name} is gone, but with a capo at {fret - 1} it is gone too.")
        return yes(f"a capo at {fret} takes {name} away, the lowest note of Guitar 1.")

    return question(
        facts, "one capo too many",
        "Guitar 1 of the demo song wants a capo too. Which is the lowest fret at which a capo "
        f"takes its lowest note, {name}, away?", _FORM, str(right),
        (f"On which string and fret lies {name}?", "The open sixth string is E2."), judge,
    )  # fmt: skip


EXERCISES = (capo_for_g, out_of_the_way, four_frets, one_capo_too_many)
