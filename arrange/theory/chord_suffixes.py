"""What players write behind a chord's root, read into a kind and degrees.

The suffix is read from the left: a quality (``m``, ``maj``, ``°``), how far the thirds are piled
(``7``, ``13``, ``6/9``), then whatever is added, altered, suspended or left out, in brackets or
bare. ``chord_symbols`` lists where spellings differ and what was decided.
"""

from __future__ import annotations

import re

from arrange.theory.chords import ALTERED_DEGREES, KINDS, Degree, normal_kind

ACCIDENTALS = {"b": -1, "♭": -1, "𝄫": -2, "#": 1, "♯": 1, "𝄪": 2}
FLATS_SHARPS = "[b♭𝄫]+|[#♯𝄪]+"  # a pattern
_SIGNS = {**ACCIDENTALS, "+": 1, "-": -1, "–": -1, "−": -1}

_MAJOR = r"[Mm]ajor|MAJ|[Mm]aj|MA(?![A-Z])|[Mm]a(?!dd|[lu])|M(?![Ii])|[Δ△∆]|j(?=\d)"
_QUALITY = re.compile(
    rf"(?P<half>[øØ∅]|half-?dim(?:inished)?|hdim)"
    rf"|(?P<dim>diminished|[Dd]im|DIM|[°º˚]|o(?!mit))"
    rf"|(?P<aug>augmented|[Aa]ug|AUG|\+(?!(?:5|11|13)(?!\d)))"
    rf"|(?P<dominant>dom(?=7|9|1[13]))"
    rf"|(?P<major>{_MAJOR})"
    rf"|(?P<minor>[Mm]inor|MIN|[Mm]in|MI|[Mm]i|m|[-–−](?!5(?!\d)))"
)
_EXTENSION = re.compile(r"6/9|6/?add9|69|6\(9\)|13|11|9|7|6|5(?!\d)")
_ADDED_SEVENTH = re.compile(rf"/?(?P<sign>{_MAJOR}|[#♯])(?P<top>7|9|11|13)?")

# quality: extension as written -> kind, and the degrees that the kind lacks. The kinds are
# MusicXML 4.0's; which spelling means which is common practice.
_Family = dict[str, tuple[str, tuple[Degree, ...]]]
_NINE = (Degree(9, 0, "add"),)
_FLAT_FIVE = (Degree(5, -1, "alter"),)


def _extended(word: str, sixth: str) -> _Family:
    """Sevenths and beyond, and sixths, of the dominant, major or minor family."""
    tops = {"9": "ninth", "11": "11th", "13": "13th"}
    seventh = "dominant" if word == "dominant" else f"{word}-seventh"
    return {
        "7": (seventh, ()),
        **{top: (f"{word}-{end}", ()) for top, end in tops.items()},
        "6": (sixth, ()),
        "69": (sixth, _NINE),
    }


_FAMILIES: dict[str, _Family] = {
    "": {"": ("major", ()), "5": ("power", ()), **_extended("dominant", "major-sixth")},
    "dominant": _extended("dominant", "major-sixth"),
    "major": {"": ("major", ()), **_extended("major", "major-sixth")},
    "minor": {"": ("minor", ()), **_extended("minor", "minor-sixth")},
    "dim": {
        "": ("diminished", ()),
        "7": ("diminished-seventh", ()),
        "9": ("diminished-seventh", _NINE),
    },
    "half": {
        "": ("half-diminished", ()),
        "7": ("half-diminished", ()),
        "9": ("minor-ninth", _FLAT_FIVE),
        "11": ("minor-11th", _FLAT_FIVE),
    },
    "aug": {
        "": ("augmented", ()),
        "7": ("augmented-seventh", ()),
        "9": ("dominant-ninth", (Degree(5, 1, "alter"),)),
    },
}

# What may follow, in the order in which it is tried; in brackets, or bare.
_ITEM = re.compile(
    r"(?P<suspended>sus(?:2/?4|4/?2|2sus4|4sus2|[24](?!\d)|(?!\d)))"
    r"|(?P<omitted>(?:no|omit)\.? ?(?P<left_out>1[013]|[1-79])(?:rd|th|st)?)"
    rf"|(?P<added>add(?P<add_sign>{FLATS_SHARPS}|[+−-]|)(?P<add>1[0-3]|[2-79]))"
    rf"|(?P<altered>(?P<sign>{FLATS_SHARPS}|[+–−-])(?P<degree>1[0-3]|[2-79]))"
)
_BRACKETED_ADD = re.compile(rf"add\((?P<add_sign>{FLATS_SHARPS}|)(?P<add>1[0-3]|[2-79])\)")
_BARE_ALTERED = ("2", "4", "5", "6", "9", "11", "13")
_BRACKETED = re.compile(rf"(?:(?:{_MAJOR})7|(?P<plain>1[13]|[24679]))(?!\d)")
_ALT = re.compile(r"alt|\(alt\)")
_PARTED = re.compile(r"[,;/] ?|")
_SLASHED = re.compile(r"/(?:(?P<plain>9|11|13)(?!\d)|(?=[b♭#♯]))")
# Names for whole chords, in brackets or alone.
_NAMED = {text: kind for kind, (_, text) in KINDS.items() if text.startswith("(")}
_NAMED_ALONE = {"ped": "pedal", **{text.strip("()"): kind for text, kind in _NAMED.items()}}


class Unread(Exception):
    """Raised at the offset from which the text could not be read."""

    def __init__(self, offset: int) -> None:
        super().__init__(offset)
        self.offset = offset


def parse_suffix(text: str, start: int, end: int) -> tuple[str, tuple[Degree, ...]]:
    """Return the kind and degrees that stand in a stretch of the text.

    Raises
    ------
    Unread
        With the offset in `text` where it stopped making sense.
    """
    alone = _NAMED_ALONE.get(text[start:end])
    if alone:
        return alone, ()
    for name, kind in _NAMED.items():
        if text.startswith(name, start, end):
            reading = _Reading(text, kind, [], start)
            reading.read_items(start + len(name), end)
            return reading.kind, tuple(reading.degrees)
    found = _QUALITY.match(text, start, end)
    quality = (found and found.lastgroup) or ""
    at = found.end() if found else start
    is_triangle = quality == "major" and text[at - 1] in "Δ△∆"
    family = _FAMILIES[quality]
    extension = _EXTENSION.match(text, at, end)
    written = re.sub(r"\D", "", extension[0]) if extension else ""
    if is_triangle and not written:
        written = "7"
    if written not in family:
        raise Unread(at)
    kind, degrees = family[written]
    reading = _Reading(text, kind, [*degrees], start)
    at = extension.end() if extension else at
    if quality in ("minor", "dim", "aug") and not written:
        at = reading.read_seventh(at, end)
    at = reading.read_items(at, end)
    return reading.kind, tuple(reading.degrees)


def _shift(signs: str, at: int) -> int:
    """The semitones that accidentals mean, two at most."""
    shift = sum(_SIGNS[sign] for sign in signs)
    if abs(shift) > 2:
        raise Unread(at + 2)
    return shift


class _Reading:
    """A symbol that is partly read: its kind, the degrees so far, where the kind began."""

    def __init__(self, text: str, kind: str, degrees: list[Degree], start: int) -> None:
        self.text, self.kind, self.degrees, self.start = text, kind, degrees, start
        self.is_extended = any(member > 8 for member in KINDS[kind][0])

    def read_seventh(self, at: int, end: int) -> int:
        """Read the major seventh of ``m(maj7)``, ``-Δ``, ``°M7``, ``+maj9``."""
        is_bracketed = self.text.startswith("(", at, end)
        found = _ADDED_SEVENTH.match(self.text, at + is_bracketed, end)
        if not found or not (found["top"] or found["sign"] in "Δ△∆"):
            return at
        if found["sign"] in "#♯" and found["top"] != "7":
            return at
        stop = found.end() + is_bracketed
        if stop > end or (is_bracketed and self.text[found.end()] != ")"):
            return at
        top = int(found["top"] or 7)
        added = [Degree(value, 0, "add") for value in (9, 11, 13) if value <= top]
        self.degrees += [Degree(7, 1, "add"), *added]
        self.is_extended = True
        return stop

    def read_items(self, at: int, end: int) -> int:
        """Read all that may follow, in brackets or bare."""
        while at < end:
            alt = _ALT.match(self.text, at, end)
            if alt and self.kind in ("major", "dominant") and not self.degrees:
                self.kind, at = "dominant", alt.end()
                self.degrees += ALTERED_DEGREES
            elif self.text[at] == "(":
                at = self._read_brackets(at + 1, end)
            else:
                at = self._read_slash(at, end) or self._read_item(at, end, is_bare=True)
        return at

    def _read_slash(self, at: int, end: int) -> int:
        """Read a degree behind a slash, ``C7/9``, where something stands before it."""
        found = _SLASHED.match(self.text, at, end)
        if not self.text.startswith("/", at, end):
            return 0
        if not found or not self.is_extended:
            bass = re.compile(rf"/(?:[A-G](?:{FLATS_SHARPS})?)?").match(self.text, at, end)
            raise Unread(bass.end() if bass else at)
        if found["plain"]:
            self.degrees.append(Degree(int(found["plain"]), 0, "add"))
            return found.end()
        return self._read_item(found.end(), end, is_bare=True)

    def _read_brackets(self, at: int, end: int) -> int:
        while True:
            found = _BRACKETED.match(self.text, at, end)
            if found:
                value = Degree(int(found["plain"] or 7), int(not found["plain"]), "add")
                self.degrees.append(value)
                at = found.end()
            else:
                at = self._read_item(at, end, is_bare=False)
            if self.text.startswith(")", at, end):
                return at + 1
            parted = _PARTED.match(self.text, at, end)
            at = parted.end() if parted else at

    def _read_item(self, at: int, end: int, *, is_bare: bool) -> int:
        found = _BRACKETED_ADD.match(self.text, at, end) or _ITEM.match(self.text, at, end)
        if not found:
            raise Unread(at)
        said = {name: value for name, value in found.groupdict().items() if value is not None}
        if "suspended" in said:
            if self.kind not in _SUSPENDED_FROM:
                raise Unread(at)
            self.degrees.append(Degree(3, 0, "subtract"))
            fourth = "4" in said["suspended"] or "2" not in said["suspended"]
            for value, is_said in ((2, "2" in said["suspended"]), (4, fourth)):
                self.degrees += [Degree(value, 0, "add")] * is_said
        elif "omitted" in said:  # from the chord as read so far: Cm7b5no5
            self.kind, settled = normal_kind(self.kind, tuple(self.degrees))
            self.degrees = list(settled)
            self.degrees.append(Degree(int(said["left_out"]), 0, "subtract"))
        elif "add" in said:
            self._add(int(said["add"]), _shift(said["add_sign"], at))
        else:
            is_first = is_bare and at == self.start
            if is_bare and said["degree"] not in _BARE_ALTERED:
                raise Unread(at)
            if is_first and said["sign"] in "+-–−" and said["degree"] != "5":
                raise Unread(at)
            self._alter(int(said["degree"]), _shift(said["sign"], at))
        return found.end()

    def _add(self, value: int, alter: int) -> None:
        if value == 7 and alter < 0:  # players count sevenths from the major one: b7 is plain
            alter += 1
        self.degrees.append(Degree(value, alter, "add"))

    def _alter(self, value: int, alter: int) -> None:
        """Alter a degree that the kind holds, once; add one that it does not hold."""
        members = {5: (6, 7, 8), 9: (14,), 11: (17,), 13: (21,)}.get(value, ())
        held = [member for member in KINDS[self.kind][0] if member in members]
        is_done = any(degree.value == value and degree.type == "alter" for degree in self.degrees)
        if not held or is_done:
            self._add(value, alter)
        elif value != 5:
            self.degrees.append(Degree(value, alter, "alter"))
        elif held[0] != 7 + alter:  # Cdim(b5) repeats what the kind says
            self.degrees.append(Degree(5, 7 + alter - held[0], "alter"))


# Kinds whose third a "sus" may replace; Cmsus4 and Cdimsus4 contradict themselves.
_SUSPENDED_FROM = {
    kind
    for kind, (members, _) in KINDS.items()
    if 7 in members and (4 in members or 10 in members) and kind != "major-minor"
}
