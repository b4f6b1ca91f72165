"""One pass over the tree: what it says, as two columns of small numbers.

An event is an element that matters: its code says which element, its value which text (or
which value of the one attribute that matters). Events between two containers (a note, a
harmony, ...) belong to the first of the two, so that a `string` inside a chord frame is not
taken for one of a note.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from arrange.errors import ReadError, cut_text
from arrange.song_size import MOST_TEXT

Array = np.ndarray[Any, Any]

# Elements by how they are kept. The code of an element is its place in _ORDER.
_TEXTS = (
    "step",
    "octave",
    "duration",
    "voice",
    "alter",
    "staff",
    "string",
    "fret",
    "notehead",
    "mute",
    "rehearsal",
    "words",
)
_ATTRIBUTES = {
    "note": "id",
    "tie": "type",
    "tied": "type",
    "measure": "number",
    "part": "id",
    "hammer-on": "type",
    "pull-off": "type",
    "slide": "type",
    "glissando": "type",
    "wavy-line": "type",
}
_FLAGS = (
    "chord",
    "grace",
    "cue",
    "unpitched",
    "rest",
    "bend",
    "harmonic",
    "tap",
    "backup",
    "forward",
    "direction",
    "figured-bass",
    "segno",
    "coda",
)
_KEPT = ("attributes", "harmony", "barline", "sound", "metronome")

_ORDER = (*_TEXTS, *_ATTRIBUTES, *_FLAGS, *_KEPT)
CODE = {tag: code for code, tag in enumerate(_ORDER)}
_WITH_ATTRIBUTE = len(_TEXTS)
_FLAG = _WITH_ATTRIBUTE + len(_ATTRIBUTES)
_KEEP = _FLAG + len(_FLAGS)
_ATTRIBUTE_OF = {CODE[tag]: attribute for tag, attribute in _ATTRIBUTES.items()}


def among(*tags: str) -> Array:
    """A table of codes, True for those of the tags; index it with codes."""
    table = np.zeros(len(_ORDER), dtype=bool)
    table[[CODE[tag] for tag in tags]] = True
    return table


_CONTAINERS = among(
    "part",
    "measure",
    "note",
    "backup",
    "forward",
    "direction",
    "figured-bass",
    "attributes",
    "harmony",
    "barline",
    "sound",
)
_NOWHERE = np.empty(0, dtype=np.int64)


class _Numbered(dict[str | None, int]):
    """Texts numbered as they come."""

    def __missing__(self, text: str | None) -> int:
        self[text] = number = len(self)
        return number


@dataclass(frozen=True)
class Events:
    """The events of a score, in document order.

    Parameters
    ----------
    name : str
        The file's name, for messages.
    root : element
    codes, values : array, a value an event
        ``CODE`` of the element; index into `texts` (0 is no text).
    texts : list of str
    cut : set of int
        Which of the texts are cut to ``MOST_TEXT`` characters.
    kept : list of (event, element)
        The elements that are read one by one, by code.
    """

    name: str
    root: Any
    codes: Array
    values: Array
    texts: list[str]
    cut: frozenset[int]
    kept: list[tuple[int, Any]]

    def at(self, tag: str) -> Array:
        """The events of an element."""
        if not self._counts[CODE[tag]]:
            return _NOWHERE
        return np.flatnonzero(self.codes == CODE[tag])

    @cached_property
    def _counts(self) -> list[int]:
        return np.bincount(self.codes, minlength=len(_ORDER)).tolist()

    @cached_property
    def part(self) -> Array:
        """Index of the part that each event lies in, -1 before the first."""
        return np.cumsum(self.codes == CODE["part"]) - 1

    @cached_property
    def measure(self) -> Array:
        """Index in the document of the measure that each event lies in."""
        return np.cumsum(self.codes == CODE["measure"]) - 1

    @cached_property
    def container(self) -> Array:
        """The event of the container that each event belongs to."""
        is_container = _CONTAINERS[self.codes]
        return np.maximum.accumulate(np.where(is_container, np.arange(len(self.codes)), 0))

    @cached_property
    def numbers(self) -> Array:
        """Each text as a number, NaN where it is none."""
        return np.array([number(text) for text in self.texts])

    def elements(self, tag: str) -> list[tuple[int, Any]]:
        """The kept elements of a tag, each with its event."""
        return [(event, kept) for event, kept in self.kept if self.codes[event] == CODE[tag]]

    def refuse(self, event: int, problem: str) -> ReadError:
        """An error at an event: its line, part and measure."""
        element = next(
            element for index, element in enumerate(self.root.iter(*_ORDER)) if index == int(event)
        )
        parts = [self.texts[value] for value in self.values[self.at("part")]]
        measures = self.values[self.at("measure")]
        part, measure = int(self.part[event]), int(self.measure[event])
        return ReadError(
            problem,
            file=self.name,
            line=element.sourceline,
            part=parts[part] if part >= 0 else None,
            measure=self.texts[measures[measure]] if measure >= 0 else None,
        )


def number(text: str | None) -> float:
    """A text as a number; NaN where it is none, or is not finite."""
    try:
        value = float(text or "nan")
    except ValueError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def collect_events(root: Any, name: str) -> Events:
    """Return the events of a partwise score."""
    texts = _Numbered({None: 0})
    codes: list[int] = []
    values: list[int] = []
    kept: list[tuple[int, Any]] = []
    code_of, add_code, add_value = CODE, codes.append, values.append
    for element in root.iter(*_ORDER):
        code = code_of[element.tag]
        if code < _WITH_ATTRIBUTE:
            value = texts[element.text]
        elif code < _FLAG:
            value = texts[element.get(_ATTRIBUTE_OF[code])]
        else:
            value = 0
            if code >= _KEEP:
                kept.append((len(codes), element))
        add_code(code)
        add_value(value)
    plain = [(text or "").strip() for text in texts]
    return Events(
        name,
        root,
        np.array(codes, dtype=np.int8),
        np.array(values, dtype=np.int32),
        [cut_text(text, MOST_TEXT) for text in plain],
        frozenset(index for index, text in enumerate(plain) if len(text) > MOST_TEXT),
        kept,
    )
