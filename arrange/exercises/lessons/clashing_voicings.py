"""What lesson 4 asks: a string too many, a sour note, and a string to mute."""

from __future__ import annotations

from arrange.clashes import KINDS, find_clashes
from arrange.errors import ArrangeError
from arrange.exercises.answers import other_names
from arrange.exercises.demo_songs import LOW_WATER, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.moved_note import MovedNote, moved_note
from arrange.exercises.replies import Reply
from arrange.formats.chart import read_chart
from arrange.text.words import first_up, listed
from arrange.theory.pitch import parse_note

_SHAPE = "002210"  # low string first
_CHART = (
    "tempo: 102\npart: Guitar 1; electric guitar\nsection: A\nchords | Am |\nGuitar 1 | {shape} |\n"
)


def open_a_minor() -> Exercise:
    """Ask which string to leave out of an open chord; each is tried."""
    return choice(
        demo_facts(LOW_WATER), "a string too many",
        f"Somebody plays A minor as {_SHAPE}, all six strings: E2 A2 E3 A3 C4 E4. One interval is "
        "reported. Which string should be left out, so that nothing is, and the chord keeps all "
        "its notes?", "a string, such as string 2, the highest is 1",
        {f"string {string}": _without(string) for string in range(6, 0, -1)},
        ("Which interval lies lowest? The lower an interval, the muddier.",
         "A minor is A, C and E: which of the six notes are there twice?"),
    )  # fmt: skip


def _without(string: int) -> Reply:
    place = 6 - string
    shape = f"{_SHAPE[:place]}x{_SHAPE[place + 1 :]}"
    song = read_chart(_CHART.format(shape=shape).encode(), "shape")
    found = find_clashes(song, ["mud"])
    missing = {9, 0, 4} - {int(pitch) % 12 for pitch in song.notes["pitch"]}
    if missing:
        return no(f"{shape} is no A minor any more: its {'third' if 0 in missing else 'root'} is "
                  "gone.")  # fmt: skip
    if len(found):
        return no(f"With {shape} it is still there: {found['why'].iloc[0]}")
    return yes(f"{shape}. The fourth at the bottom is gone, and A is in the bass.")


def _note(kind: str, part: str, pitch: int | None = None, place: int = 0) -> MovedNote:
    """Return the note of a part in one of the findings of a kind, the lowest if not named."""
    facts = demo_facts(LOW_WATER)
    label = facts.findings.index[facts.findings["kind"] == kind][place]
    notes = facts.notes(label)
    own = notes["pitch"][notes["part"] == part]
    return moved_note(facts, label, part, float(own.min() if pitch is None else pitch))


def sour_note() -> Exercise:
    """Ask where the sour note could go; each answer is tried on the song."""
    facts = demo_facts(LOW_WATER)
    note = _note("rub", "Guitar 1")
    row = facts.finding(note.label)
    name = facts.name(note.pitch)
    chord = facts.chord_at(note.onsets[0])["symbol"]

    def judge(text: str) -> Reply | None:
        try:
            pitch = parse_note(text)
        except ArrangeError:
            return None
        also = other_names({first_up(text): pitch}, facts.name)
        return _moved(note, pitch, chord, also)

    answer = next(p for p in range(int(note.pitch) - 1, 30, -1) if _moved(note, p, chord, "").right)
    return question(
        facts, "the sour note",
        f"{row['why']} To which note could {note.part} move its {name}, so that the rub ends and "
        "nothing new comes instead? Each answer is tried on the song.",
        "a note with its octave, such as C5", facts.name(answer),
        (f"The chord is {chord}.", f"Does {facts.name(answer)} belong to it?"), judge,
    )  # fmt: skip


def _moved(note: MovedNote, pitch: int, chord: str, also: str) -> Reply:
    name = note.facts.name(pitch)
    if pitch == note.pitch:
        return no(f"{name} is where it is now.")
    if not note.neck.places(pitch):
        return no(f"{name} is not on this guitar.")
    if not note.in_chord(pitch):
        return no(f"{name} is no note of {chord}.{also}")
    outcome = note.outcome(round(pitch - note.pitch))
    if not outcome.ends:
        return no(f"With {name} the rub stays.{also}")
    if outcome.brings:
        kind, why = outcome.brings[0]
        return no(f"That ends the rub, but now there is {KINDS[kind].noun}: {why}{also}")
    return yes(f"with {name}, a note of {chord}, the rub ends and nothing new is found.{also}")


def string_to_mute() -> Exercise:
    """Ask which string to mute where the demo song is muddiest; each is tried."""
    facts = demo_facts(LOW_WATER)
    label = int(facts.findings.index[facts.findings["kind"] == "mud"][0])
    row = facts.finding(label)
    own = facts.fingered("Guitar 2")
    here = own[(own["measure"] == row["measure"]) & own["string"].gt(0)]
    names = {
        int(string): listed(map(facts.name, sorted(set(rows["pitch"]))), "or")
        for string, rows in here.groupby("string")
    }
    low = facts.notes(label)
    mud = float(low["pitch"][low["part"] == "Guitar 2"].min())
    replies = {}
    for string in sorted(names, reverse=True):
        pitches = set(here["pitch"][here["string"] == string])
        out = moved_note(facts, label, "Guitar 2", mud).outcome(None)
        replies[f"string {string}"] = (
            yes(f"string {string} sounds {names[string]} there, and without it the mud of measure "
                f"{row['measure']} is gone; its notes are in the strum again higher up.")
            if mud in pitches and out.ends
            else no(f"String {string} sounds {names[string]} there, above the interval that is "
                    "too low.")
        )  # fmt: skip
    return choice(
        facts, "a string to mute",
        f"{row['why']} Which string should Guitar 2 mute in measure {row['measure']}?",
        "a string, such as string 2, the highest is 1", replies,
        (f"Which string sounds {facts.name(mud)}?", "The capo of Guitar 2 is at fret 3."),
    )  # fmt: skip


EXERCISES = (open_a_minor, sour_note, string_to_mute)
