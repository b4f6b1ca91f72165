"""What lesson 2 asks: repeats, the clock, and a lost capo."""

from __future__ import annotations

from arrange.exercises.answers import number_set, numbers_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply
from arrange.text.words import listed, number_runs

_PART = "Guitar 2"


def played_twice() -> Exercise:
    """Ask which printed measures are played more than once."""
    facts = demo_facts(LOW_WATER)
    times = facts.song.measures["written"].astype(str).value_counts()
    right = {int(number) for number in times.index[times > 1]}
    runs = listed(f"{a} to {b}" for a, b in number_runs(right))

    def judge(text: str) -> Reply | None:
        said = number_set(text)
        if not said:
            return None
        if said == right:
            return yes(f"measures {runs} of the page are played twice.")
        for number in sorted(said - right):
            if str(number) in times.index:
                return no(f"Measure {number} of the page is played once: it has one row only.")
            return no(f"The page has no measure {number}.")
        missing = min(right - said)
        return no(f"All of these are played twice, but measure {missing} is too.")

    return question(
        facts, "printed once, played twice",
        "Which measures of the page of the demo song are played more than once?",
        "numbers or a run of them, such as 20 to 23", runs,
        ("The verse is printed once and has a first and a second ending.",
         "In the table of measures a printed number (written) that comes twice is played twice."),
        judge,
    )  # fmt: skip


def longest_section() -> Exercise:
    """Ask for the section that lasts longest on the clock."""
    song = demo_facts(LOW_WATER).song
    begin = song.sections["onset"]
    lasts = song.seconds(begin + song.sections["duration"]) - song.seconds(begin)
    seconds = dict(zip(song.sections["section"], lasts, strict=True))
    right = max(seconds, key=lambda each: seconds[each])
    quarters = song.sections.set_index("section")["duration"]
    replies = {
        section: yes(f"{section} lasts {length:.1f} seconds, since it is slower, though it has "
                     f"{quarters[section]:g} quarter notes.")
        if section == right
        else no(f"{section} lasts {length:.1f} seconds; another lasts longer.")
        for section, length in seconds.items()
    }  # fmt: skip
    return choice(
        demo_facts(LOW_WATER), "longest on the clock",
        "Which section of the demo song lasts longest on the clock?", "a section, such as Verse 1",
        replies,
        ("Quarter notes do not answer this: the tempo changes once.",
         "Compare when each section starts with when the next one does."),
    )  # fmt: skip


def lost_capo() -> Exercise:
    """Ask where a finger must press what was an open string over the capo."""
    facts = demo_facts(LOW_WATER)
    song = facts.song
    capo = int(song.parts.set_index("part")["capo"][_PART])
    frets = song.notes["fret"][song.notes["part"] == _PART]
    opened = int((frets == capo).sum())

    def judge(text: str) -> Reply | None:
        numbers = numbers_in(text)
        if len(numbers) != 1:
            return None
        if numbers[0] == capo:
            return yes(f"fret {capo}. {opened} of its {len(frets)} notes were open strings over "
                       "the capo, and now each of them asks for a finger or a barre.")  # fmt: skip
        if numbers[0] == 0:
            return no("An open string at fret 0 would sound lower than before: the capo is gone.")
        return no(f"At fret {numbers[0]} another note would sound than the one before.")

    return question(
        facts, "the lost capo",
        f"{_PART} of the demo song plays with a capo. It is lost on the way to the concert, and "
        "the same notes shall sound. At which fret must a finger press now where an open "
        "string rang?",
        "a fret, such as 5", str(capo),
        ("Frets are counted from the nut, capo or not.", "Where does the table of parts say the "
         "capo is?"),
        judge,
    )  # fmt: skip


EXERCISES = (played_twice, longest_section, lost_capo)
