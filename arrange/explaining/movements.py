"""How the left hand gets from one shape to the next: what stays, what slides, how far it moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from arrange.explaining.attacks import NEAR, Attack
from arrange.explaining.passages import Passage
from arrange.guitar.hands import FINGER_NAMES
from arrange.text.words import counted, listed

_THUMB = 5
_NO_FINGER = "-"


@dataclass(frozen=True)
class Hold:
    """A shape as it is held once.

    Parameters
    ----------
    label : str
    fingers : dict
        String and fret of each finger that is down.
    first, last : Attack
    """

    label: str
    fingers: dict[int, list[tuple[int, int]]]
    first: Attack
    last: Attack

    @property
    def of_strings(self) -> dict[int, int]:
        """The finger of each string that is held down."""
        return {string: finger for finger, own in self.fingers.items() for string, _ in own}


def holds_of(passage: Passage) -> list[Hold]:
    """Return each shape that is held, in order of time, without fingers where they change in it."""
    holds = []
    held = passage.held
    starts = [each.onset for _, each in held]
    place = 0
    for (label, _), end in zip(held, [*starts[1:], float("inf")], strict=True):
        own = []
        while place < len(passage.attacks) and passage.attacks[place].onset < end - NEAR:
            own.append(passage.attacks[place])
            place += 1
        if own:
            holds.append(Hold(label, _fingers(own), own[0], own[-1]))
    return holds


def _fingers(attacks: list[Attack]) -> dict[int, list[tuple[int, int]]]:
    """Where each finger is; none where a finger or a string changes while the shape is held."""
    of_string: dict[int, int] = {}
    places: dict[int, set[tuple[int, int]]] = {}
    for attack in attacks:
        for note in attack.notes:
            if of_string.setdefault(note.string, note.finger) != note.finger:
                return {}
            if note.finger > 0:
                places.setdefault(note.finger, set()).add((note.string, note.fret))
    if any(len({fret for _, fret in own}) > 1 for own in places.values()):
        return {}
    return {finger: sorted(own, reverse=True) for finger, own in sorted(places.items())}


def finger_text(strings: int, fingers: Mapping[int, int]) -> str:
    """Return the finger of each string, low string first, as players write it: ``"-32-1-"``."""
    return "".join(
        FINGER_NAMES[fingers[string]] if fingers.get(string) else _NO_FINGER
        for string in range(strings, 0, -1)
    )


def move_words(before: Hold, after: Hold) -> str:
    """Return how to get from one shape to another; empty where nothing need be said."""
    if before.label == after.label or not (before.label and after.label):
        return ""
    words = []
    staying = [
        (finger, place)
        for finger, places in after.fingers.items()
        for place in places
        if place in before.fingers.get(finger, ())
    ]
    if staying:
        words.append(listed(_stays(staying)))
    else:
        words += _guides(before, after)[:1]
    if before.last.position and after.first.position:
        frets = after.first.position - before.last.position
        if frets:
            words.append(
                f"the hand goes {'up' if frets > 0 else 'down'} {counted(abs(frets), 'fret')}"
            )
    if after.first.is_jump:
        words.append(f"{after.first.seconds:.1f} s for it: prepare it")
    return ", ".join(words)


def _stays(staying: list[tuple[int, tuple[int, int]]]) -> list[str]:
    """Fingers that stay, each once, a barre by its strings."""
    of_finger: dict[int, list[int]] = {}
    for finger, (string, _) in staying:
        of_finger.setdefault(finger, []).append(string)
    return [
        f"{_named(finger)} stays on string{'s' if len(strings) > 1 else ''} "
        f"{listed(map(str, strings))}"
        for finger, strings in of_finger.items()
    ]


def _guides(before: Hold, after: Hold) -> list[str]:
    """Fingers that can slide along their string."""
    words = []
    for finger, places in after.fingers.items():
        earlier = dict(before.fingers.get(finger, ()))
        for string, fret in places:
            if string in earlier and len(places) == 1 and len(earlier) == 1:
                frets = fret - earlier[string]
                words.append(
                    f"{_named(finger)} slides {'up' if frets > 0 else 'down'} string {string} by "
                    f"{counted(abs(frets), 'fret')}"
                )
    return words


def _named(finger: int) -> str:
    return "the thumb" if finger == _THUMB else f"finger {finger}"
