"""Chord symbols as players write them, read into chords.

Question: which chord does ``C-7b5``, ``CΔ``, ``F#m7/B`` or, in a key, ``5/7`` mean? ``parse_chord``
and ``parse_number_chord`` accept every usual spelling; ``chords.chord_symbol`` writes one. Text
that means no chord raises a ``ChordError`` that says from where it could not be read and what was
probably meant.

Where spellings differ (common practice, decided as follows):

- Case counts: ``M7`` is major, ``m7`` minor. ``Cmaj`` and ``CM`` are triads, ``CΔ`` has a seventh.
- An accidental behind the letter belongs to the root: ``Eb5`` is E flat's power chord, E's flat
  five is ``E(b5)``. Behind a number it is an alteration: ``1b5``.
- ``C-`` and ``C+`` are minor and augmented, ``C-7`` is Cm7 and ``C+9`` C9(#5); behind a seventh
  they alter: ``C7-9`` is C7(b9), and so is ``C-5`` C(b5). ``C+11`` could be either: not read.
- ``C11`` and ``C13`` hold what MusicXML's kinds hold, the 11 included; ``sus`` alone is sus4.
- ``C7alt`` has no fifth, but b9, #9, #11 and b13.
- ``C2`` and ``C4`` are not read: some hands mean sus, others add.
- A number's first digit is the degree: ``57`` is the dominant seventh on 5, ``16/9`` a 6/9 chord
  on 1, ``16/3`` a 6 chord on 1 over 3. Numbers count the major scale on the key's tonic, in
  minor keys too: in A minor F is ``b6``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache, lru_cache, partial
from itertools import product

from arrange.errors import ArrangeError, ChordError
from arrange.theory.chord_suffixes import ACCIDENTALS, FLATS_SHARPS, Unread, parse_suffix
from arrange.theory.chords import KINDS, Chord, chord_suffix, normal_chord, note_above
from arrange.theory.pitch import CIRCLE, MODES
from arrange.theory.spelling import nearest_spelling

_NO_CHORD = re.compile(r"n\.?c\.?|no ?chord", re.I)
_ROOT = re.compile(rf"([A-G])({FLATS_SHARPS}|)")
_BASS = re.compile(rf"/([A-G])({FLATS_SHARPS}|)$")
_NUMBER_ROOT = re.compile(rf"({FLATS_SHARPS}|)([1-7])")
_NUMBER_BASS = re.compile(rf"/({FLATS_SHARPS}|)([1-7])$")
_NAMES = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
_LONGEST = 64  # signs; no chord that anyone means is longer


@lru_cache(maxsize=4096)
def parse_chord(text: str) -> Chord:
    """Return the chord that a symbol means: ``"C-7b5"``, ``"F#m7/B"``, ``"N.C."``.

    Spellings of the same chord give equal chords, and ``parse_chord(chord_symbol(chord))`` is
    ``chords.normal_chord(chord)``.

    Raises
    ------
    ChordError
        If it is no chord; with the offset where it stopped making sense, and a suggestion.

    Examples
    --------
    >>> parse_chord("C-7b5").kind
    'half-diminished'
    >>> parse_chord("Hm7")
    Traceback (most recent call last):
    arrange.errors.ChordError: no chord 'Hm7'; did you mean 'Bm7'?
    """
    try:
        return _chord(text)
    except Unread as stop:
        raise ChordError(
            text,
            stop.offset,
            "write a root A to G, then its kind: C, Cm, C7, Cmaj7, Csus4, C/E",
            suggest=partial(_suggested, text, _ROOT),
        ) from None


@lru_cache(maxsize=4096)
def parse_number_chord(text: str, key: str) -> Chord:
    """Return the chord that a number means in a key: ``"6m"``, ``"57"``, ``"5/7"``, ``"b7"``.

    Roots are spelled as degrees of the key's major scale: 3m in E is G#m, b7 in F is Eb.

    Parameters
    ----------
    text : str
        A degree 1 to 7, with accidentals before it; then the kind as behind a letter; then, after
        a slash, the bass as a degree. ``"N.C."`` is no chord here too.
    key : str
        Such as ``"D major"``. In minor keys too numbers count the major scale on the tonic.

    Raises
    ------
    ChordError
        If it is no chord; with the offset where it stopped making sense, and a suggestion.
    ArrangeError
        If `key` is no key.
    """
    tonic, _, mode = key.partition(" ")
    if tonic not in CIRCLE or mode not in MODES:
        raise ArrangeError(f"no key {key!r}; write a tonic and a mode: 'D major', 'F# minor'")
    try:
        return _number_chord(text, tonic)
    except Unread as stop:
        raise ChordError(
            text,
            stop.offset,
            "write a degree 1 to 7 of the key, then its kind: 1, 6m, 57, 4maj7, b7, 5/7",
            what="chord number",
            suggest=partial(_suggested, text, _NUMBER_ROOT),
        ) from None


def number_parts(number: str) -> tuple[str, str, str]:
    """Return degree, kind and bass of a chord number: ``("b7", "maj7", "/5")`` of ``"b7maj7/5"``.

    Degree and kind are empty where it is no number.
    """
    root = _NUMBER_ROOT.match(number)
    if not root:
        return "", "", number
    over = _NUMBER_BASS.search(number, root.end())
    end = over.start() if over else len(number)
    return root[0], number[root.end() : end], number[end:]


def settled_chord(chord: Chord) -> Chord:
    """Return a chord in its normal form; one of kind "other" as what its text says, if readable."""
    if chord.kind == "other" and chord.text and not chord.degrees:
        try:
            kind, degrees = parse_suffix(chord.text, 0, len(chord.text))
        except Unread:
            return normal_chord(chord)
        chord = replace(chord, kind=kind, degrees=degrees, text=None)
    return normal_chord(chord)


def _chord(text: str) -> Chord:
    start, end = _bounds(text)
    if _NO_CHORD.fullmatch(text, start, end):
        return Chord("", "none")
    root = _ROOT.match(text, start, end)
    if not root:
        raise Unread(start)
    over = _BASS.search(text, root.end(), end)
    bass = _note(over) if over else ""
    return _finished(text, _note(root), root.end(), over.start() if over else end, bass)


def _number_chord(text: str, tonic: str) -> Chord:
    start, end = _bounds(text)
    if _NO_CHORD.fullmatch(text, start, end):
        return Chord("", "none")
    root = _NUMBER_ROOT.match(text, start, end)
    if not root:
        raise Unread(start)
    over = _NUMBER_BASS.search(text, root.end(), end)
    bass = _degree_note(over, tonic) if over else ""
    stop = over.start() if over else end
    return _finished(text, _degree_note(root, tonic), root.end(), stop, bass)


def _bounds(text: str) -> tuple[int, int]:
    """Where the symbol begins and ends within white space."""
    start = len(text) - len(text.lstrip())
    end = len(text.rstrip())
    if end - start > _LONGEST:
        raise Unread(start + _LONGEST)
    return start, end


def _note(found: re.Match[str]) -> str:
    alter = sum(ACCIDENTALS[sign] for sign in found[2])
    if abs(alter) > 2:
        raise Unread(found.start(2) + 2)
    return found[1] + _NAMES[alter]


def _degree_note(found: re.Match[str], tonic: str) -> str:
    alter = sum(ACCIDENTALS[sign] for sign in found[1])
    if abs(alter) > 2:
        raise Unread(found.start(1) + 2)
    degree = int(found[2])
    return note_above(tonic, degree, _MAJOR_SCALE[degree - 1] + alter)


def _finished(text: str, root: str, start: int, end: int, bass: str) -> Chord:
    if text.startswith("?", start, end):  # as chord_suffix writes the kind "other"
        said = re.compile(r"[\w#()+-]*").match(text, start + 1, end)
        if not said or said.end() < end:
            raise Unread(said.end() if said else start)
        return settled_chord(Chord(root, "other", bass, text=said[0] or None))
    kind, degrees = parse_suffix(text, start, end)
    return normal_chord(Chord(root, kind, bass, degrees))


def _suggested(text: str, root_pattern: re.Pattern[str]) -> str | None:
    """The nearest spelling that can be read, or None if none is near."""
    text = text.strip()
    if not text or len(text) > _LONGEST:
        return None
    is_letter = root_pattern is _ROOT
    text = _as_letter(text) if is_letter else _SIGN_BEHIND.sub(r"\2\1", text)
    root = root_pattern.match(text)
    if not root:
        return None
    for body, bass in _parted(text[root.end() :], is_letter):
        suffix = body if _is_suffix(body) else _nearest_suffix(body)
        if suffix is not None:
            found = root[0] + suffix + bass
            try:
                _chord(found) if is_letter else _number_chord(found, "C")
            except Unread:
                continue
            return found
    return None


# A degree with its accidental on the wrong side: 7b for b7.
_SIGN_BEHIND = re.compile(rf"^([1-7])({FLATS_SHARPS})(?!\d)")


def _as_letter(text: str) -> str:
    """The text with a capital as its first letter; H is what the B is called in German."""
    first = text[0].upper()
    return ("B" if first == "H" else first) + text[1:]


def _parted(rest: str, is_letter: bool) -> Iterator[tuple[str, str]]:
    """Ways to part what follows the root into suffix and bass."""
    body, slash, bass = rest.rpartition("/")
    if slash and bass:
        bass = _as_letter(bass) if is_letter else bass
        found = (_ROOT if is_letter else _NUMBER_ROOT).match(bass)
        if found:
            yield body, "/" + found[0]
    if slash and not bass:
        yield body, ""
    yield rest, ""
    if slash:
        yield body, ""


def _is_suffix(text: str) -> bool:
    try:
        parse_suffix(text, 0, len(text))
    except Unread:
        return False
    return True


def _nearest_suffix(text: str) -> str | None:
    """The nearest known kind in our own spelling."""
    near = _UNDECIDED.get(text) or nearest_spelling(text, _known_suffixes())
    if near is None:
        return None
    kind, degrees = parse_suffix(near, 0, len(near))
    return chord_suffix(Chord("C", kind, degrees=degrees))


# What could mean either is not read; the likelier of its readings is proposed.
_UNDECIDED = {"2": "add2", "4": "sus4", "msus4": "m7sus4", "+11": "7(#11)", "+13": "13(#5)"}


@cache
def _known_suffixes() -> tuple[str, ...]:
    """Spellings that players use, the most usual first."""
    usual = ["7", "m", "maj7", "m7", "sus4", "sus2", "add9", "5", "6", "m7b5", "dim", "9", "6/9"]
    canonical = [text for kind, (_, text) in KINDS.items() if kind not in ("other", "none")]
    heads = ["", "m", "maj", "min", "dim", "aug", "+", "-", "M", "ø", "°", "Δ", "mi", "ma"]
    tops = ["", "7", "6", "9", "11", "13", "5", "6/9", "69"]
    tailed = ["", "7", "9", "13", "m", "m7", "m9", "maj7", "maj9", "M7", "min7", "-7", "6", "5"]
    tails = ["sus4", "sus2", "sus", "b5", "(b5)", "#5", "(#5)", "b9", "(b9)", "#9", "(#9)", "#11"]
    tails += ["(#11)", "b13", "alt", "add2", "add4", "add9", "add11", "add13", "no3", "no5"]
    more = ["m(maj9)", "mM7", "mmaj7", "7(b9,#5)", "7(b9,#9)"]
    spelled = [head + top for top, head in product(tops, heads)]
    spelled += [head + tail for tail, head in product(tails, tailed)]
    texts = dict.fromkeys([*usual, *canonical, *more, *spelled])
    return tuple(text for text in texts if _is_suffix(text))
