"""How a typed answer is read: quotation marks, signs, names, notes and numbers."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from arrange.errors import ArrangeError
from arrange.text.words import listed
from arrange.theory.pitch import parse_note

_LONGEST = 200  # letters of an answer
_QUOTES = "\"'`´‘’‚“”„«»‹›"
_SIGNS = str.maketrans({"♯": "#", "♭": "b", "⁄": "/", "∕": "/", "–": "-", "—": "-", "−": "-"})
_SPOKEN = re.compile(r"\b([A-Ga-g])[ -]?(flat|sharp)\b(?: (?=-?\d))?", re.IGNORECASE)
_NOTE = re.compile(r"(?<![\w#])[A-Ga-g](?:#{1,3}|b{1,3})?-?\d(?!\d)")


def answer_text(answer: Any) -> str:
    """Return an answer as one line of text, without quotation marks around it; "" for none."""
    if answer is None:
        return ""
    parts = answer if isinstance(answer, tuple | list) else [answer]
    text = " ".join(" ".join(str(part) for part in parts).split())[:_LONGEST]
    if len(text) > 1 and text[0] in _QUOTES and text[-1] in _QUOTES:
        text = text[1:-1].strip()
    return text


def plain_signs(text: str) -> str:
    """Return an answer with the signs of a keyboard: ``"E flat 4"`` is ``"Eb4"``."""
    text = unicodedata.normalize("NFKC", text).translate(_SIGNS)
    return _SPOKEN.sub(lambda m: m[1].upper() + {"f": "b", "s": "#"}[m[2][0].lower()], text)


def find_name(text: str, names: Iterable[str]) -> str | None:
    """Return the name that a text means, whatever its capitals, blanks and quotation marks."""
    known = list(names)
    for form in (str, str.casefold, _squeezed):
        found = {form(name): name for name in reversed(known)}
        if form(text) and form(text) in found:
            return found[form(text)]
    return None


def _squeezed(text: str) -> str:
    return "".join(sign for sign in plain_signs(text).casefold() if sign not in f"{_QUOTES} -_.!")


def numbers_in(text: str) -> list[int]:
    """Return the whole numbers that stand alone in a text, not those of note names."""
    apart = re.sub(r"\b(?:m|bar|measure|fret|capo|string)(?=\d)", "", text.lower())
    return [int(each) for each in re.findall(r"(?<![\w#.-])\d{1,6}(?![\w.])", apart)]


def number_set(text: str) -> set[int]:
    """Return the whole numbers of a list with runs: ``"3, 5 to 7"`` is 3, 5, 6 and 7."""
    runs = re.findall(r"(\d{1,4})(?:\s*(?:-|to|until)\s*(\d{1,4}))?", text.lower())
    return {n for first, last in runs for n in range(int(first), int(last or first) + 1)}


def amount_in(text: str) -> float | None:
    """Return a number written in any usual way: ``"0.25"``, ``".25"``, ``"0,25"``, ``"1/4"``,
    ``"25 %"``; None if it is none.
    """
    found = re.fullmatch(
        r"(-?\d{0,9}(?:[.,]\d{1,9})?)(?:/(\d{1,6}))?\s*(%|[a-z.]*)", text.lower().strip()
    )
    if not found or not re.search(r"\d", found[1]) or found[2] == "0":
        return None
    value = Fraction(found[1].replace(",", ".").replace("-.", "-0.")) / int(found[2] or 1)
    return float(value / 100 if found[3] == "%" else value)


def notes_in(text: str) -> dict[str, int]:
    """Return the note names with an octave that stand in a text, each with its pitch."""
    names = {}
    for name in _NOTE.findall(text):
        try:
            names[name[0].upper() + name[1:]] = parse_note(name)
        except ArrangeError:
            continue
    return names


def other_names(names: dict[str, int], spelled: Callable[[float], str]) -> str:
    """Return a sentence on notes that a song spells in another way; "" if there are none."""
    strange = [
        f"{name} is {spelled(pitch)}" for name, pitch in names.items() if spelled(pitch) != name
    ]
    return f" (By its name in this song {listed(strange)}.)" if strange else ""
