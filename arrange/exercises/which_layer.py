"""Which layer can go: which part's notes are played most by others at the same time?

A note is heard elsewhere where another part begins the same note, in any octave, at the same
moment. The layer with the least share of notes that nobody else plays can go with the least loss;
if the song has more than two guitars, the reply also says what condensing to two players does with
the layer.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np

from arrange.condensing import ROLES
from arrange.exercises.answers import find_name, numbers_in
from arrange.exercises.exercise import (
    Exercise,
    InWorkshop,
    NoExerciseError,
    Passage,
    read_answer,
    shuffled,
    unread,
)
from arrange.exercises.replies import Reply
from arrange.exercises.song_facts import SongFacts
from arrange.text.words import counted, listed, measures_words, runs_words
from arrange.theory.spelling import nearest_spelling

KIND = "which layer can go"
IN_WORKSHOP = InWorkshop(
    task="of which part do others play most?",
    how="Groups of three or four; each defends one layer for a minute. Then check all of them.",
)
_STAY = ("voice", "bass", "drums")  # families that nobody would let go
_LEAST_PARTS = 3
_FEWEST_NOTES = 4
_CLEAR = 0.2  # share by which a wrong choice must be worse
_EQUAL = 0.02
_WRONG = 3


@dataclass(frozen=True)
class Layer:
    """A layer in a section: its notes, and those that nobody else plays."""

    part: str
    notes: int
    alone: int
    measures: tuple[int, ...]  # in which it is alone
    with_whom: str  # part that plays most of its notes too; empty for none

    @property
    def share(self) -> float:
        """Share of its notes that nobody else plays."""
        return self.alone / self.notes


def ask(facts: SongFacts, size: str, chance: Random) -> Exercise:
    """Return an exercise of this kind.

    Raises
    ------
    NoExerciseError
        If fewer than three parts play at one time, or none of them differs enough from the others.
    """
    cases = facts.once("layers", lambda: _cases(facts))
    if not cases:
        raise NoExerciseError(
            "in no section do three parts play of which one is clearly more doubled than another"
        )
    section, layers = chance.choice([each for each in cases if len(each[1]) > 2] or cases)
    least = min(layer.share for layer in layers)
    right = tuple(layer.part for layer in layers if layer.share <= least + _EQUAL)
    wrong = [layer.part for layer in layers if layer.share >= least + _CLEAR]
    answer = chance.choice(right)
    choices = shuffled(chance, answer, wrong, _WRONG) if size == "small" else ()
    first, last = facts.section_measures(section)
    asked = [layer.part for layer in layers if not choices or layer.part in choices]
    names = listed(choices or asked)
    form = f"the name of a layer, such as {layers[-1].part}"
    more = ""
    if size == "large":
        own = next(layer for layer in layers if layer.part == answer)
        more = " And how many of its notes would be heard in no other part?"
        form = f"a layer and a number of notes, such as {layers[-1].part}: 12"
        answer = f"{answer}: {own.alone}"
    question = (
        f"{section} ({measures_words(first, last)}): {names} play. One of them has to go. With "
        f"which is least lost: of which are the most notes played by another part too, at the same "
        f"moment and in any octave?{more}"
    )
    return Exercise(
        KIND, size, question, form, choices, answer, _hints(layers, right, chance), section,
        (first, last), (section, right, size == "large"), facts, reply,
        Passage(tuple(asked), ((first, last),)),
    )  # fmt: skip


def _cases(facts: SongFacts) -> list[tuple[str, tuple[Layer, ...]]]:
    """Sections in which one layer is clearly easier to leave out than another."""
    found = []
    for section in facts.song.sections["section"]:
        layers = section_layers(facts, str(section))
        shares = [layer.share for layer in layers]
        if len(layers) > 1 and max(shares) - min(shares) >= _CLEAR and min(shares) < 1:
            found.append((str(section), layers))
    return found


def section_layers(facts: SongFacts, section: str) -> tuple[Layer, ...]:
    """Return the notes of each layer of a section; empty where fewer than three parts play."""
    return facts.once(("layers", section), lambda: _section_layers(facts, section))


def _section_layers(facts: SongFacts, section: str) -> tuple[Layer, ...]:
    notes = facts.sounding[facts.sounding["section"] == section]
    order = [part for part in facts.song.parts["part"] if part in set(notes["part"])]
    if len(order) < _LEAST_PARTS:
        return ()
    families = dict(zip(facts.song.parts["part"], facts.song.parts["family"], strict=True))
    code = notes["onset"].round(6).astype(str) + "/" + (notes["pitch"].round() % 12).astype(str)
    by_part = {part: set(code[notes["part"] == part]) for part in order}
    layers = []
    for part in order:
        own = notes["part"] == part
        if families[part] in _STAY or own.sum() < _FEWEST_NOTES:
            continue
        others = set().union(*(codes for other, codes in by_part.items() if other != part))
        alone = own & ~code.isin(others)
        shared = {other: len(by_part[part] & codes) for other, codes in by_part.items()
                  if other != part}  # fmt: skip
        most = max(shared, key=lambda other: shared[other])
        bars = tuple(np.unique(notes["measure"][alone]).tolist())
        layers.append(Layer(part, int(own.sum()), int(alone.sum()), bars,
                            most if shared[most] else ""))  # fmt: skip
    return tuple(layers)


def _hints(layers: tuple[Layer, ...], right: tuple[str, ...], chance: Random) -> tuple[str, ...]:
    other = chance.choice([layer for layer in layers if layer.part not in right])
    own = next(layer for layer in layers if layer.part in right)
    second = (
        f"The layer that can go has most in common with {own.with_whom}." if own.with_whom
        else "Nobody doubles anybody there: look for the one that is nearest to another."
    )  # fmt: skip
    return (f"{other.part} has {counted(other.alone, 'note')} for itself.", second)


def reply(exercise: Exercise, answer: Any) -> Reply:
    """Return the reply to an answer."""
    text = read_answer(exercise, answer)
    section, right, wants_count = exercise.case
    layers = {layer.part: layer for layer in section_layers(exercise.facts, section)}
    name, _, count = text.rpartition(":") if wants_count and ":" in text else (text, "", "")
    if wants_count and not count:
        behind = re.fullmatch(r"(.*?)[,;\s]+(\d+)(?: notes?)?", text)
        if behind and text not in layers:
            name, count = behind[1], behind[2]
    part = find_name(name.strip(), exercise.facts.song.parts["part"])
    if part is None:
        return _unknown(exercise, name.strip(), list(layers))
    if part not in layers:
        return _no_layer(exercise, part, section)
    layer = layers[part]
    if part not in right:
        return Reply(False, _why_not(exercise.facts, layer, layers[right[0]]))
    if wants_count:
        counts = numbers_in(count)
        if len(counts) != 1:
            return Reply(False, f"{part} is right. How many of its notes does nobody else play? "
                                f"Write {exercise.form}.")  # fmt: skip
        if counts[0] != layer.alone:
            return Reply(False, _wrong_count(layer, counts[0]))
    return Reply(True, _why(exercise.facts, layer, section, right))


def _unknown(exercise: Exercise, name: str, parts: list[str]) -> Reply:
    near = nearest_spelling(name, tuple(parts)) if name else None
    if near:
        return Reply(False, f"There is no layer {name!r}; did you mean {near!r}?")
    return unread(exercise, name)


def _no_layer(exercise: Exercise, part: str, section: str) -> Reply:
    bars = range(exercise.measures[0], exercise.measures[1] + 1)
    if not exercise.facts.plays(part, bars):
        return Reply(False, f"{part} does not play in {section}: nothing would go with it.")
    families = dict(zip(*(exercise.facts.song.parts[c] for c in ("part", "family")), strict=True))
    if families[part] in _STAY:
        return Reply(False, f"{part} is the {families[part]} of the song: it stays.")
    return Reply(False, f"{part} has only a few notes in {section}; it was not asked for.")


def _why_not(facts: SongFacts, layer: Layer, best: Layer) -> str:
    """A sentence on what would be lost with a layer."""
    role = _roles(facts).get(layer.part)
    known = f"; it is the {role} of the song" if role and ROLES[role].is_featured else ""
    return (
        f"Without {layer.part} you would lose {_some_of(layer)}, which no other part plays "
        f"({runs_words(layer.measures)}){known}. Of another layer a smaller share would be lost: "
        f"{_some_of(best)}."
    )


def _some_of(layer: Layer) -> str:
    """How many of its notes a layer has alone: ``"2 of its 12 notes"``."""
    many = {0: "none", layer.notes: "all"}.get(layer.alone, str(layer.alone))
    return f"{many} of its {counted(layer.notes, 'note')}"


def _roles(facts: SongFacts) -> dict[str, str]:
    found = facts.condensed
    if found is None:
        return {}
    return dict(zip(found.roles["layer"], found.roles["role"], strict=True))


def _wrong_count(layer: Layer, count: int) -> str:
    if count > layer.notes:
        return f"{layer.part} is right, but it has {counted(layer.notes, 'note')} there in all."
    more = "More" if layer.alone > count else "Fewer"
    if layer.with_whom:
        return (
            f"{layer.part} is right, but not {count}. {more}: compare it note by note with "
            f"{layer.with_whom}, any octave."
        )
    return f"{layer.part} is right, but not {count}. {more}: nobody plays any of its notes."


def _why(facts: SongFacts, layer: Layer, section: str, right: tuple[str, ...]) -> str:
    shared = layer.notes - layer.alone
    whom = f", most of them {layer.with_whom}" if layer.with_whom else ""
    many = "all" if not layer.alone else str(shared)
    notes = counted(layer.notes, "note")
    sentences = [f"Yes, {layer.part}: others play {many} of its {notes}{whom}."]
    if layer.alone:
        sentences.append(f"What goes is in {runs_words(layer.measures)}.")
    others = [part for part in right if part != layer.part]
    if others:
        sentences.append(f"{listed(others)} would do as well; only one of you may go.")
    found = facts.condensed
    if found is not None:
        own = found.lost[(found.lost["section"] == section) & (found.lost["layer"] == layer.part)]
        if len(own):
            sentences.append(f"Condensed to two players it goes too: {own['why'].iloc[0]}.")
        else:
            sentences.append("Condensed to two players somebody still takes it.")
    return " ".join(sentences)
