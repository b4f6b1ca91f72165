"""What lesson 8 asks: the least way between chords, and which proposal to take."""

from __future__ import annotations

from functools import lru_cache

from arrange.clashes import KINDS
from arrange.exercises.answers import numbers_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply
from arrange.revoicing import Proposal, revoice
from arrange.text.words import counted, listed
from arrange.theory.voice_leading import smallest_voice_leading

_C = (0, 4, 7)
_TRIADS = {"Am": (9, 0, 4), "F": (5, 9, 0), "C#m": (1, 4, 8)}
_WAYS = {"Am": "G to A", "F": "E to F and G to A", "C#m": "C to C# and G to G#"}


def least_way() -> Exercise:
    """Ask how far the voices must move at least."""
    right = [smallest_voice_leading(_C, triad).size for triad in _TRIADS.values()]

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != len(right):
            return None
        for said, way, name in zip(numbers, right, _TRIADS, strict=True):
            if said < way:
                return no(f"{name}: {said} is too little, some note has no way there.")
            if said > way:
                return no(f"{name}: less than {said} will do; keep what both chords have.")
        ways = listed(f"{way} ({name})" for name, way in _WAYS.items())
        return yes(f"the others stay where they are, and only these move: {ways}.")

    return question(
        demo_facts(LOW_WATER), "the least way",
        "How many semitones must all voices move together, at least, from C (C E G) to Am (A C E), "
        "to F (F A C), and to C#m (C# E G#)? Work it out on paper.",
        "three numbers, such as 1, 4, 5", ", ".join(map(str, right)),
        ("Which notes do both chords have? They stay.", "From C to Am only G moves."), judge,
    )  # fmt: skip


@lru_cache(maxsize=1)
def _ideas() -> dict[str, Proposal]:
    """What Guitar 1 could play in the crowded chorus, the cheapest first."""
    found = revoice(demo_facts(LOW_WATER).song, "Guitar 1", section="Chorus 1")
    return {each.idea: each for each in found}


def _what(idea: Proposal) -> str:
    brings = listed(dict.fromkeys(idea.brought["kind"])) if len(idea.brought) else "nothing new"
    lost = f"{counted(idea.notes_lost, 'note')} fewer" if idea.notes_lost else "every note kept"
    return f"{idea.idea} ends {counted(len(idea.ended), 'finding')}, brings {brings}, {lost}"


def all_clear() -> Exercise:
    """Ask for the proposal that ends everything and brings nothing."""
    ideas = _ideas()
    most = max(len(each.ended) for each in ideas.values())
    good = [name for name, idea in ideas.items() if len(idea.ended) == most and idea.brought.empty]
    replies = {
        name: yes(f"{_what(idea)}. Whether that is too thin, your ears decide.")
        if name in good
        else no(f"{_what(idea)}.")
        for name, idea in ideas.items() if name not in good[1:]
    }  # fmt: skip
    return choice(
        demo_facts(LOW_WATER), "all clear",
        f"Guitar 1 of the demo song, Chorus 1: {most} findings shall end, and nothing new may "
        "come. Which proposal would you take?", f"a proposal, such as {next(iter(ideas))}", replies,
        ("Look at the columns ended and brought of the table of proposals.",
         "It is neither the cheapest nor an octave away."),
    )  # fmt: skip


def no_note_lost() -> Exercise:
    """Ask what the proposal that keeps every note brings instead."""
    ideas = _ideas()
    most = max(len(each.ended) for each in ideas.values())
    kept = [each for each in ideas.values() if len(each.ended) == most and not each.notes_lost]
    idea = next(each for each in kept if len(each.brought))
    kind = idea.brought["kind"].iloc[0]
    replies = {
        each: yes(f"{kind}: {KINDS[kind].meaning}. Somebody else pays for the room.")
        if each == kind
        else no(f"No {each} comes with it; look at who else has notes up there.")
        for each in (kind, "mud", "rub", "doubling")
    }  # fmt: skip
    return choice(
        demo_facts(LOW_WATER), "no note lost",
        f"Now every note of Guitar 1 shall be kept as well. In Chorus 1 the proposal called "
        f"{idea.idea} does it. Which kind of finding does it bring instead?",
        f"a kind, such as {kind}", dict(sorted(replies.items())),
        ("Read its sentence in the table of proposals.", "Who sings up there?"),
    )  # fmt: skip


EXERCISES = (least_way, all_clear, no_note_lost)
