"""Signs between the notes: tempo, section names, chord symbols, repeats and jumps."""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import replace
from typing import Any

from arrange.formats.musicxml.attributes import Attributes
from arrange.formats.musicxml.events import CODE, Events, number
from arrange.formats.musicxml.remarks import is_remark
from arrange.formats.musicxml.setups import is_setup
from arrange.formats.musicxml.timing import Timing, forward_fill
from arrange.formats.musicxml.tree import first_children, first_texts
from arrange.formats.notices import cut_names_notice
from arrange.formats.playing_order import Bar
from arrange.formats.section_names import names_section
from arrange.theory.chords import KINDS, Chord, Degree, moved_chord, note_above
from arrange.theory.pitch import key_name

# Note values of metronome marks in quarter notes (MusicXML note-type-value).
_NOTE_VALUES = {
    "breve": 8.0,
    "whole": 4.0,
    "half": 2.0,
    "quarter": 1.0,
    "eighth": 0.5,
    "16th": 0.25,
    "32nd": 0.125,
    "64th": 0.0625,
}
_MOST_DEGREES = 24  # of a chord; as often added and as often taken away as there are notes
_ACCIDENTALS: dict[float, str] = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_DOUBLE_BARS = ("light-light", "light-heavy", "heavy-light", "heavy-heavy")

# Words that ask for a jump where no `sound` element does (common practice).
_DA_CAPO = re.compile(r"\bD\. ?C\.|\bda capo\b", re.I)
_DAL_SEGNO = re.compile(r"\bD\. ?S\.|\bdal segno\b", re.I)
_TO_CODA = re.compile(r"\bto coda\b", re.I)
_FINE = re.compile(r"^\W*fine\W*$", re.I)


def read_tempos(events: Events, timing: Timing) -> list[tuple[int, int, float]]:
    """Return (bar, ticks, quarter notes a minute) of each change of tempo.

    A `sound` tempo wins over a metronome mark of the same direction or place.
    """
    tempos: dict[tuple[int, int], float] = {}
    timed = set()  # directions whose sound says how fast
    for event, element in events.elements("sound"):
        tempo = number(element.get("tempo"))
        if tempo > 0:
            tempos[_place(timing, event, element)] = tempo
            timed.add(element.getparent())
    for event, element in events.elements("metronome"):
        tempo = _metronome(element)
        place = int(timing.bar[event]), int(timing.offset[event])
        direction = next(element.iterancestors("direction"), None)
        if tempo > 0 and direction not in timed:
            tempos.setdefault(place, tempo)
    return [(bar, offset, tempo) for (bar, offset), tempo in sorted(tempos.items())]


def _metronome(element: Any) -> float:
    """Quarter notes a minute of a metronome mark; NaN for one of two note values."""
    unit, dots, found = 0.0, 0, False
    for child in element:
        if child.tag == "beat-unit":
            if found:
                return float("nan")
            unit, found = _NOTE_VALUES.get((child.text or "").strip(), 0.0), True
        elif child.tag == "beat-unit-dot":
            dots += 1
    digits = re.search(r"\d+(\.\d+)?", element.findtext("per-minute") or "")
    if not (digits and unit):
        return float("nan")
    return float(digits[0]) * unit * (2 - 0.5**dots)


def _place(timing: Timing, event: int, element: Any) -> tuple[int, int]:
    """Bar and ticks of a `sound` or `harmony`, moved by its offset where that may be heard."""
    bar, ticks = int(timing.bar[event]), int(timing.offset[event])
    parent = element.getparent()
    offset = element.find("offset")
    if offset is None and element.tag == "sound" and parent.tag == "direction":
        offset = parent.find("offset")
        if offset is not None and offset.get("sound") != "yes":
            offset = None
    if offset is not None:
        moved = number(offset.text)
        if moved == moved:
            ticks += round(moved * timing.factor[event])
    return bar, min(max(ticks, 0), int(timing.lengths[bar]))


def read_marks(events: Events, timing: Timing, notices: list[str]) -> list[tuple[int, str, bool]]:
    """Return (bar, text, is a rehearsal mark) of what names a section, each once a bar."""
    marks: dict[tuple[int, str], bool] = {}
    cut = 0
    for tag in ("rehearsal", "words"):
        for event in events.at(tag).tolist():
            value = int(events.values[event])
            text = " ".join(events.texts[value].split())
            text = text if value in events.cut else text.strip(" :.")  # which ends in dots
            if text and (tag == "rehearsal" or names_section(text)):
                marks.setdefault((int(timing.bar[event]), text), tag == "rehearsal")
                cut += value in events.cut
    if cut:
        notices.append(cut_names_notice(cut))
    return [(bar, text, rehearsal) for (bar, text), rehearsal in marks.items()]


def read_chords(
    events: Events,
    said: Attributes,
    timing: Timing,
    keys: Sequence[str | None],
    notices: list[str],
) -> list[tuple[int, int, Chord]]:
    """Return (bar, ticks, chord) of each chord symbol, in document order.

    A chord over a transposing part is written as that part's notes are, and moved with them; it
    is then spelled as the sounding key of its bar asks.
    """
    chords = []
    unread: dict[str, int] = {}
    stacked = 0
    moves = forward_fill(events, [(event, by % 12) for event, _, by in said.transposes], 0.0)
    for event, element in events.elements("harmony"):
        several = [child.tag for child in element].count("kind") > 1
        chord = _harmony(_first_of(element) if several else element)
        if isinstance(chord, Chord):
            bar, ticks = _place(timing, event, element)
            chord = moved_chord(chord, int(moves[event]), keys[bar])
            chords.append((bar, ticks, chord))
            stacked += several
        else:
            unread[chord] = unread.get(chord, 0) + 1
    for reason, count in unread.items():
        notices.append(f"{count} chord symbols were left out: {reason}")
    if stacked:
        notices.append(f"{stacked} chord symbols stack several chords: only the first is read")
    return chords


def _first_of(element: Any) -> Any:
    """A harmony with the first of its stacked chords alone."""
    first = deepcopy(element)
    heads = [child for child in first if child.tag in ("root", "numeral", "function")]
    for child in list(first)[list(first).index(heads[1]) :] if len(heads) > 1 else []:
        first.remove(child)
    return first


def _harmony(element: Any) -> Chord | str:
    """The chord of a harmony, or why there is none."""
    children = first_children(element)
    kind_element = children.get("kind")
    kind = ((kind_element.text if kind_element is not None else None) or "major").strip()
    if kind not in KINDS:
        return f"{kind!r} is no kind of MusicXML 4.0"
    if kind == "none":
        return Chord("", "none")
    root = _spelled(children.get("root"), "root")
    if root is None:
        root = _numeral_root(children.get("numeral"))
    if root is None:
        return "they name no root by letter"
    degrees: list[Degree] = []
    for degree in element.iterchildren("degree"):
        texts = first_texts(degree)
        value = number(texts.get("degree-value"))
        if not 1 <= value <= 13:
            return f"a degree of {texts.get('degree-value')!r}"
        how = (texts.get("degree-type") or "add").strip()
        if how not in ("add", "alter", "subtract"):
            return f"a degree of type {how!r}"
        shift = number(texts.get("degree-alter") or "0")
        if len(degrees) == _MOST_DEGREES:
            return f"more than {_MOST_DEGREES} degrees"
        degrees.append(Degree(int(value), round(shift) if shift == shift else 0, how))
    inversion = number(children["inversion"].text if "inversion" in children else "0")
    text = kind_element.get("text") if kind_element is not None and kind == "other" else None
    return Chord(
        root,
        kind,
        _spelled(children.get("bass"), "bass") or "",
        tuple(degrees),
        int(inversion) if inversion == inversion else 0,
        text if text and re.fullmatch(r"[\w#()+/ -]{1,16}", text) else None,
    )


def _spelled(element: Any, name: str) -> str | None:
    """A root or bass as letter and accidentals, or None."""
    if element is None:
        return None
    texts = first_texts(element)
    step = (texts.get(f"{name}-step") or "").strip().upper()
    alter = number(texts.get(f"{name}-alter") or "0")
    if len(step) != 1 or step not in "ABCDEFG" or alter not in _ACCIDENTALS:
        return None
    return step + _ACCIDENTALS[alter]


def _numeral_root(numeral: Any) -> str | None:
    """The root of a harmony written as a numeral with its own key."""
    if numeral is None or numeral.find("numeral-key") is None:
        return None
    degree = number(numeral.findtext("numeral-root"))
    fifths = number(numeral.findtext("numeral-key/numeral-fifths"))
    minor = (numeral.findtext("numeral-key/numeral-mode") or "").strip() != "major"
    alter = number(numeral.findtext("numeral-alter") or "0")
    if not (1 <= degree <= 7 and -7 <= fifths <= 7) or alter not in _ACCIDENTALS:
        return None
    scale = (0, 2, 3, 5, 7, 8, 10) if minor else (0, 2, 4, 5, 7, 9, 11)
    tonic = key_name(int(fifths), "minor" if minor else "major").split()[0]
    return note_above(tonic, int(degree), scale[int(degree) - 1] + round(alter))


def read_bars(events: Events, timing: Timing, notices: list[str]) -> tuple[list[Bar], list[int]]:
    """Return the playing-order signs of each bar, of all parts together, and the double bars."""
    bars = [Bar()] * len(timing.numbers)
    double_bars: set[int] = set()

    def put(bar: int, **signs: Any) -> None:
        bars[bar] = replace(bars[bar], **signs)

    for event, element in events.elements("barline"):
        _barline(element, int(timing.bar[event]), put, double_bars, notices, timing)
    for event, element in events.elements("sound"):
        _jumps(element, int(timing.bar[event]), put)
    _written_jumps(events, timing, bars, put)
    return bars, sorted(double_bars)


def _barline(
    element: Any, bar: int, put: Any, double_bars: set[int], notices: list[str], timing: Timing
) -> None:
    left = element.get("location") == "left"
    children = first_children(element)
    style = ((children["bar-style"].text if "bar-style" in children else "") or "").strip()
    repeat, ending = children.get("repeat"), children.get("ending")
    if style in _DOUBLE_BARS or repeat is not None:
        double_bars.add(bar if left else bar + 1)
    if element.get("location") == "middle" and repeat is not None:
        notices.append(
            f"measure {timing.numbers[bar]}: a repeat in the middle of the bar is taken at its end"
        )
    if repeat is not None:
        if repeat.get("direction") == "forward":
            put(bar, forward=True)
        else:
            times = number(repeat.get("times") or "2")
            put(
                bar,
                backward=max(int(times), 1) if times == times else 2,
                after_jump=repeat.get("after-jump") == "yes",
            )
    if ending is not None:
        numbers = tuple(int(n) for n in re.findall(r"\d{1,4}", ending.get("number") or ""))
        if ending.get("type") == "start":
            put(bar, ending_starts=numbers or (1,))
        else:
            put(bar, ending_stops=True)
    for sign in ("segno", "coda"):
        if sign in children or element.get(sign):
            target = bar if left else bar + 1
            if target < len(timing.numbers):
                put(target, **{sign: element.get(sign) or sign})


def _jumps(element: Any, bar: int, put: Any) -> None:
    """What a `sound` element says of jumps."""
    signs: dict[str, Any] = {}
    for attribute, sign in (
        ("segno", "segno"),
        ("coda", "coda"),
        ("dalsegno", "dal_segno"),
        ("tocoda", "to_coda"),
    ):
        if element.get(attribute):
            signs[sign] = element.get(attribute)
    if element.get("dacapo") == "yes":
        signs["da_capo"] = True
    if element.get("fine") not in (None, "no"):
        signs["fine"] = True
    if element.get("forward-repeat") == "yes":
        signs["forward"] = True
    times = tuple(int(n) for n in re.findall(r"\d{1,4}", element.get("time-only") or ""))
    if times and signs.keys() & {"to_coda", "fine"}:
        signs["times"] = times
    if times and signs.keys() & {"dal_segno", "da_capo"}:
        signs["jump_times"] = times
    if signs:
        put(bar, **signs)


def _written_jumps(events: Events, timing: Timing, bars: list[Bar], put: Any) -> None:
    """Jumps that are only written out in words and signs."""
    if any(b.dal_segno or b.da_capo or b.to_coda or b.fine for b in bars):
        return
    for event in events.at("words").tolist():
        text, bar = events.texts[events.values[event]], int(timing.bar[event])
        if is_setup(text) or is_remark(text):
            continue
        if _DA_CAPO.search(text):
            put(bar, da_capo=True)
        elif _DAL_SEGNO.search(text):
            put(bar, dal_segno="segno")
        elif _TO_CODA.search(text):
            put(bar, to_coda="coda")
        elif _FINE.match(text):
            put(bar, fine=True)
    for event in events.at("segno").tolist():
        if not bars[timing.bar[event]].segno and _in_direction(events, event):
            put(int(timing.bar[event]), segno="segno")
    codas = {int(timing.bar[e]) for e in events.at("coda").tolist() if _in_direction(events, e)}
    codas |= {bar for bar, signs in enumerate(bars) if signs.coda}
    if codas:
        *leaving, last = sorted(codas)  # the last one is the coda; those before lead to it
        put(last, coda=bars[last].coda or "coda")
        for bar in leaving:
            put(bar, coda="")
        if leaving and not any(b.to_coda for b in bars):
            put(leaving[0], to_coda="coda")


def _in_direction(events: Events, event: int) -> bool:
    return bool(events.codes[events.container[event]] == CODE["direction"])
