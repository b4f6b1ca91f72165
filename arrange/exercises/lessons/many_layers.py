"""What lesson 9 asks: which of many layers cost nothing, and which are missed."""

from __future__ import annotations

from functools import lru_cache

from arrange.condensing import Condensation, condense
from arrange.exercises.answers import find_name
from arrange.exercises.demo_songs import LAST_BELL, demo_facts
from arrange.exercises.exercise import Exercise
from arrange.exercises.lessons.questions import choice, no, question, yes
from arrange.exercises.replies import Reply
from arrange.guitar.players import Player

_WHO = "Ann has an acoustic guitar and a capo, Ben an electric one"


@lru_cache(maxsize=1)
def _condensed() -> Condensation:
    """The lesson's own arrangement: Ann on an acoustic guitar, Ben with every sound."""
    ann = Player("Ann", capos=(0, 2), sounds=("clean",), echo=False)
    return condense(demo_facts(LAST_BELL).song, [ann, Player("Ben")])


def for_nothing() -> Exercise:
    """Ask for a layer and a section in which nothing is lost without it."""
    facts, lost = demo_facts(LAST_BELL), _condensed().lost
    row = lost[lost["value"] == 0].iloc[0]
    layers, sections = facts.song.parts["part"], facts.song.sections["section"]

    def judge(text: str) -> Reply | None:
        first, _, second = text.partition(",")
        layer, section = find_name(first.strip(), layers), find_name(second.strip(), sections)
        if not layer or not section:
            return None
        here = lost[(lost["layer"] == layer) & (lost["section"] == section)]
        if here.empty:
            return no(f"{layer} is played in {section}, or silent there.")
        what, value = here["what"].iloc[0], here["value"].iloc[0]
        if value:
            return no(f"Without {layer} in {section} {value:.1f} s would be gone: {what}.")
        return yes(f"{layer} in {section} costs nothing: another layer has each of its notes.")

    return question(
        facts, "what goes for nothing",
        f"{_WHO}; nobody else plays the demo song. Name a layer and a section in which leaving the "
        "layer out loses nothing at all.", "a layer and a section, such as Pad, Verse 1",
        f"{row['layer']}, {row['section']}",
        ("Which layers only play what another plays too?",
         f"Look at the layer {row['layer']}."), judge,
    )  # fmt: skip


def greatest_loss() -> Exercise:
    """Ask for the layer whose absence costs a section most."""
    lost = _condensed().lost.sort_values("share", ascending=False).drop_duplicates("layer")
    replies = {
        row.layer: yes(f"{row.layer}: {row.share:.0%} of what all layers are worth in "
                       f"{row.section} go with it ({row.what}).")
        if place == 0
        else no(f"{row.layer} is missed most in {row.section}, where {row.share:.0%} of what all "
                "layers are worth go with it; another is missed more.")
        for place, row in enumerate(lost.itertuples())
    }  # fmt: skip
    return choice(
        demo_facts(LAST_BELL), "the greatest loss",
        f"{_WHO}. Of all layers that are left out somewhere, which one is missed most in one "
        "section?", f"a layer, such as {lost['layer'].iloc[-1]}", replies,
        ("Look at the table of what is lost, the greatest share first.",
         f"It is missed in {lost['section'].iloc[0]}."),
    )  # fmt: skip


def thinnest_section() -> Exercise:
    """Ask for the section that keeps least of the recording."""
    sums = _condensed().terms.groupby("section")[["value", "of_all"]].sum()
    kept = sums["value"] / sums["of_all"]
    order = [each for each in demo_facts(LAST_BELL).song.sections["section"] if each in kept.index]
    replies = {
        section: yes(f"{section} keeps {kept[section]:.0%} of what all layers are worth there: "
                     "here a third player would help most.")
        if section == kept.idxmin()
        else no(f"{section} keeps {kept[section]:.0%}; another section keeps less.")
        for section in order
    }  # fmt: skip
    return choice(
        demo_facts(LAST_BELL), "where most is missing",
        f"{_WHO}. Which section of the demo song keeps least of what all its layers are worth?",
        f"a section, such as {order[0]}", replies,
        ("In the picture of the layers, where are most bars hollow?",
         "Where everybody plays at once, two people cannot."),
    )  # fmt: skip


EXERCISES = (for_nothing, greatest_loss, thinnest_section)
