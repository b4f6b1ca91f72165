"""What lesson 10 asks: a reason, a torn log, and the length of a loop."""

from __future__ import annotations

from arrange.decisions.log_text import parse_decisions
from arrange.exercises.answers import amount_in
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply

_REASONS = {
    "sounds better": no("Better than what, and to whom? Next year nobody will know."),
    "after a loud chorus one guitar alone sounds like a new room": yes(
        "it says what was heard and where, so that a newcomer can try it and agree or not."
    ),
    "Guitar 2 does not play there": no("That is what was decided, not why."),
    "Corrie said so": no("Who wanted it is a beginning; what did Corrie hear?"),
}
_MINE = "decision: dann\nstatus: agreed\nwhat: Bass starts\nwhy: a root to sing on\nend: dann\n"
_YOURS = "decision: dben\nstatus: agred\nwhat: no drums\nwhy: the words come first\nend: dben\n"
_TEMPO = 60  # quarter notes a minute
_NEAR = 0.1


def a_reason() -> Exercise:
    """Ask for the reason that will be understood next year."""
    return choice(
        demo_facts(LOW_WATER), "a reason",
        "Guitar 2 shall lay out in the Turnaround. Which reason would a newcomer understand next "
        "year?", "one of the reasons", _REASONS,
        ("A reason says what can be heard.", "It is the longest one."),
    )  # fmt: skip


def two_copies() -> Exercise:
    """Ask how to mend a log that was torn in two; each way is tried by the reader of logs."""
    marks = ("<<<<<<< mine", "=======", ">>>>>>> yours")
    ways = {
        "leave it as it is": f"{marks[0]}\n{_MINE}{marks[1]}\n{_YOURS}{marks[2]}\n",
        "keep what is mine": _MINE,
        "take out the three lines of marks": _MINE + _YOURS,
        "take out the three lines of marks and write agreed":
            (_MINE + _YOURS).replace("agred", "agreed"),
    }  # fmt: skip
    return choice(
        demo_facts(LOW_WATER), "two copies",
        "Two of you wrote into the log at once. It now has three lines of marks (<<<<<<<, =======, "
        ">>>>>>>), between them the decision of each, and one of them says status: agred. What "
        "makes it readable, so that nobody's decision is lost?", "one of the ways",
        {way: _tried(text) for way, text in ways.items()},
        ("Both had something to say.", "A misspelt status cannot be read either."),
    )  # fmt: skip


def _tried(text: str) -> Reply:
    decisions, notices, faults = parse_decisions(text)
    if faults:
        line, fault = faults[0]
        return no(f"Then line {line} cannot be read: {fault}.")
    kept = {each.id for each in decisions}
    if notices or kept != {"dann", "dben"}:
        return no("Then it can be read, but one of the two decisions is lost.")
    return yes("both decisions are there, and the log can be read again.")


def how_long() -> Exercise:
    """Ask how long a loop of a section in 6/8 lasts."""
    facts = demo_facts(LOW_WATER)
    row = facts.song.sections.set_index("section").loc["Bridge"]
    bars = int(row["last_measure"] - row["first_measure"] + 1)
    right = float(row["duration"]) * 60 / _TEMPO

    def judge(text: str) -> Reply | None:
        said = amount_in(text)
        if said is None:
            return None
        if abs(said - right) < _NEAR:
            return yes(f"six eighths are three quarter notes, {row['duration']:g} in {bars} bars.")
        if said == 6 * bars:
            return no("That counts the eighths; the tempo is in quarter notes.")
        if said == 2 * bars:
            return no("Those are the two beats that you count; each is a quarter and a half long.")
        return no(f"Not {said:g}: how many quarter notes are in a bar of 6/8?")

    return question(
        facts, "how long",
        f"The Bridge of the demo song has {bars} bars of 6/8. How many seconds does a loop of it "
        f"last at {_TEMPO} quarter notes a minute? On paper first.",
        "a number of seconds, such as 45",
        f"{right:g}",
        ("At 60 a minute a quarter note lasts one second.", "A bar of 6/8 lasts three of them."),
        judge,
    )  # fmt: skip


EXERCISES = (a_reason, two_copies, how_long)
