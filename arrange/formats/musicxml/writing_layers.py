"""The notes of a part put into voices, bars and note values, ready to be written.

- A *tone* is a row of the notes table; tones that begin and end together in a voice are struck
  together, a *strike*.
- A *layer* holds strikes that follow each other. A voice is a layer; what overlaps in it without
  being a chord goes into further layers, since a voice cannot hold it.
- A *cell* is what one note value stands for: a strike or a piece of one, a rest, or a gap.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from arrange.formats.musicxml.writing_durations import Value, cut_into_values

# Techniques that lead from a note to the next on its string.
LEADING = ("slide", "hammer-on", "pull-off")


@dataclass(slots=True, eq=False)
class Tone:
    """A note to write.

    Parameters
    ----------
    onset, end : int
        In divisions from the start of the song.
    bar : int
        Index of the bar that it begins in; for a grace note, of the bar that it stands in.
    pitch : float
        Sounding MIDI number, NaN if unpitched.
    voice : str
        As in the table, empty for none.
    string, fret : int
        0 and -1 for none; the fret is counted from the capo.
    techniques : tuple of str
    grace : bool
    id : str
        Its id in the file.
    leads, arrives : list of (technique, number)
        Slides, hammer-ons and pull-offs that begin and end here; the number keeps those of one
        place apart.
    """

    onset: int
    end: int
    bar: int
    pitch: float
    voice: str
    string: int
    fret: int
    techniques: tuple[str, ...]
    grace: bool
    id: str
    leads: list[tuple[str, int]] = field(default_factory=list)
    arrives: list[tuple[str, int]] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class Piece:
    """The part of a strike that lies in one bar, `offset` divisions behind the bar line."""

    tones: list[Tone]
    offset: int
    length: int
    is_first: bool
    is_last: bool


@dataclass(slots=True, eq=False)
class Layer:
    """Strikes that follow each other, by bar; `staff` is 1 or 2 where the part has two."""

    voice: str
    end: int = 0
    staff: int = 0
    bars: dict[int, list[Piece]] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class Cell:
    """What one note value stands for; a rest without tones, a gap where it `is_gap`."""

    offset: int
    length: int
    value: Value | None
    tones: Sequence[Tone] = ()
    is_first: bool = True
    is_last: bool = True
    is_gap: bool = False
    is_bar: bool = False  # a rest that fills its bar
    tuplet: str = ""  # start or stop of a bracket


def join_leading(tones: Sequence[Tone]) -> None:
    """Say where each slide, hammer-on and pull-off of a part ends.

    It ends in the next note on its string; without a string, in the next one of its voice, the
    upper note of two going to the upper one. One that no note follows is left open.
    """
    by_line: dict[tuple[int, str], dict[tuple[int, bool], list[Tone]]] = {}
    for tone in tones:
        line = (tone.string, "" if tone.string else tone.voice)
        moment = (tone.onset, not tone.grace)  # grace notes stand before their note
        by_line.setdefault(line, {}).setdefault(moment, []).append(tone)
    for moments in by_line.values():
        times = sorted(moments)
        for time in times:
            together = moments[time]
            for place, tone in enumerate(together):
                techniques = [name for name in tone.techniques if name in LEADING]
                if not techniques:
                    continue
                # A number up to 16 keeps slides of one place apart.
                number = min(tone.string or len(together) - place, 16)
                tone.leads = [(name, number) for name in techniques]
                after = bisect_right(times, time)
                if after < len(times):
                    targets = moments[times[after]]
                    from_top = len(together) - 1 - place
                    targets[max(len(targets) - 1 - from_top, 0)].arrives += tone.leads


def layers_of(tones: Iterable[Tone], starts: Sequence[int]) -> list[Layer]:
    """Return the layers of a part, at least one, in the order of their voices.

    Parameters
    ----------
    tones : iterable of Tone
        Those of one part, in order of time, and from low to high where they begin together.
    starts : sequence of int
        Where each bar begins, in divisions, and where the last one ends.
    """
    strikes: dict[tuple[str, int, int, int], list[Tone]] = {}
    for place, tone in enumerate(tones):
        alone = place if tone.grace else -1
        strikes.setdefault((tone.voice, tone.onset, tone.end, alone), []).append(tone)
    by_voice: dict[str, list[Layer]] = {}
    in_order = sorted(strikes.values(), key=_moment)
    for together in in_order:
        layers = by_voice.setdefault(together[0].voice, [])
        layer = next((layer for layer in layers if layer.end <= together[0].onset), None)
        if layer is None:
            layer = Layer(together[0].voice)
            layers.append(layer)
        layer.end = together[0].end
        _put_into_bars(together, layer.bars, starts)
    return _named(by_voice) or [Layer("")]


def _moment(together: Sequence[Tone]) -> tuple[int, int, bool, float]:
    """When it is struck; of strikes that begin together the highest first, as voices are named."""
    first, highest = together[0], together[-1].pitch
    is_low = not first.grace and not math.isnan(highest)
    return first.onset, first.bar, not first.grace, -highest if is_low else 0.0


def _put_into_bars(
    together: list[Tone], bars: dict[int, list[Piece]], starts: Sequence[int]
) -> None:
    first = together[0]
    bar, at = first.bar, first.onset
    while True:
        end = min(first.end, starts[bar + 1])
        if end > at or first.grace:
            piece = Piece(together, at - starts[bar], end - at, at == first.onset, end == first.end)
            bars.setdefault(bar, []).append(piece)
        if end >= first.end:
            return
        bar, at = bar + 1, end


def _named(by_voice: Mapping[str, list[Layer]]) -> list[Layer]:
    """All layers, each with a voice of its own: the further ones get numbers not in use."""
    if list(by_voice) == [""] and len(by_voice[""]) == 1:
        return by_voice[""]  # a single unnamed voice needs no name
    numbers = [int(voice) for voice in by_voice if _is_number(voice)]
    free = max(numbers, default=0)
    for voice, layers in by_voice.items():
        for layer in layers if voice == "" else layers[1:]:
            free += 1
            layer.voice = str(free)
    layers = [layer for layers in by_voice.values() for layer in layers]
    return sorted(layers, key=lambda layer: _voice_order(layer.voice))


def put_on_two_staves(layers: Sequence[Layer], middle: float) -> bool:
    """Give each layer a staff by its mean pitch in time, the upper from `middle` on.

    Nothing is changed, and False returned, where all lie on one side.
    """
    staves = [1 if _mean_pitch(layer, middle) >= middle else 2 for layer in layers]
    if len(set(staves)) < 2:
        return False
    for layer, staff in zip(layers, staves, strict=True):
        layer.staff = staff
    return True


def _mean_pitch(layer: Layer, otherwise: float) -> float:
    pieces = [piece for own in layer.bars.values() for piece in own]
    pitched = [
        (tone.pitch, max(piece.length, 1))
        for piece in pieces
        for tone in piece.tones
        if not math.isnan(tone.pitch)
    ]
    weight = sum(length for _, length in pitched)
    return sum(pitch * length for pitch, length in pitched) / weight if pitched else otherwise


def _is_number(voice: str) -> bool:
    return voice.isascii() and voice.isdecimal() and len(voice) < 10


def _voice_order(voice: str) -> tuple[bool, int, str]:
    return (False, int(voice), "") if _is_number(voice) else (True, 0, voice)


def cells_of(
    pieces: Sequence[Piece], length: int, divisions: int, beat: int, *, with_rests: bool
) -> list[Cell]:
    """Return the cells that fill a bar of a layer, one after the other.

    Parameters
    ----------
    pieces : sequence of Piece
        In order of time.
    length : int
        Of the bar, in divisions.
    divisions, beat : int
        Of a quarter note; length of a beat in divisions.
    with_rests : bool
        Fill what is between them with rests; else leave gaps.
    """
    cells: list[Cell] = []

    def fill(start: int, end: int) -> None:
        if start < end and with_rests:
            for part, value in cut_into_values(start % beat, end - start, divisions, beat):
                cells.append(Cell(start, part, value))
                start += part
        elif start < end:
            cells.append(Cell(start, end - start, None, is_gap=True))

    at = 0
    for piece in pieces:
        fill(at, piece.offset)
        cells += _cells_of_piece(piece, divisions, beat)
        at = piece.offset + piece.length
    fill(at, length)
    _put_brackets(cells, divisions)
    return cells


def _cells_of_piece(piece: Piece, divisions: int, beat: int) -> list[Cell]:
    if not piece.length:
        return [Cell(piece.offset, 0, Value("eighth"), piece.tones)]
    values = cut_into_values(piece.offset % beat, piece.length, divisions, beat)
    if len(values) > 1 and any("cue" in tone.techniques for tone in piece.tones):
        values = ((piece.length, None),)  # a cue note cannot be tied
    cells = []
    at = piece.offset
    for place, (length, value) in enumerate(values):
        is_first = piece.is_first and place == 0
        is_last = piece.is_last and place == len(values) - 1
        cells.append(Cell(at, length, value, piece.tones, is_first, is_last))
        at += length
    return cells


def _put_brackets(cells: Sequence[Cell], divisions: int) -> None:
    """Bracket each run of cells in one tuplet that together make a plain length."""
    run: list[Cell] = []
    for cell in cells:
        if not cell.length:
            continue
        value = cell.value
        if value is None or value.actual == 1:
            run = []
            continue
        if run and run[0].value is not None and run[0].value.actual != value.actual:
            run = []
        run.append(cell)
        whole = Fraction(sum(each.length for each in run), divisions)
        if whole.denominator & (whole.denominator - 1) == 0:
            run[0].tuplet, run[-1].tuplet = "start", "stop"
            run = []
