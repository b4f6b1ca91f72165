"""Sections: what their headings say, and how rows and settings fill them.

A section is a number of bars and a layer for each voice of each part. Rows that stand directly
below each other sound together; a blank line or a setting begins the next bars.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from arrange.errors import shown
from arrange.formats.chart.lines import Faults, Piece
from arrange.formats.chart.rows import (
    DOUBLE_BAR,
    MOST_PASSES,
    ORDINALS,
    PLAIN_BAR,
    Cell,
    Owner,
    Row,
)
from arrange.formats.chart.sounds import Sound
from arrange.formats.playing_order import Bar
from arrange.song_size import MOST_MEASURES, MOST_TEXT
from arrange.text.words import counted

_MOST_LAYERS = 1_000  # rows that sound together
_TIMES = {"once": 1, "twice": 2}


class Setting(NamedTuple):
    """A key, meter, tempo or length that holds from a bar of a section on."""

    bar: int
    name: str
    value: Piece


class Place(NamedTuple):
    """Whose layer it is; where several rows of a voice sound together, the how-manieth."""

    owner: Owner
    number: int


@dataclass
class Section:
    """A section as it stands in the chart. `layers` holds a cell for each bar that a row fills."""

    where: Piece
    label: str
    kind: str | None = None
    first_pass: int | None = None
    times: int | None = None  # once, or as often as the one that it is as
    numbered: list[str] = field(default_factory=list)
    settings: list[Setting] = field(default_factory=list)
    after: list[Setting] = field(default_factory=list)  # behind its last bar, for what follows
    bars: list[Bar] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    sounds: dict[str, Sound] = field(default_factory=dict)  # by the label of the part
    layers: dict[Place, dict[int, Cell]] = field(default_factory=dict)

    def copy(self, **changes: Any) -> Section:
        """The same content, changed in some fields; its lists are its own."""
        layers = {place: dict(cells) for place, cells in self.layers.items()}
        own = {"settings": list(self.settings), "bars": list(self.bars), "layers": layers}
        return replace(self, **{**own, **changes})


def read_heading(
    value: Piece, done: dict[str, Section], faults: Faults
) -> tuple[Section, Section | None]:
    """Return the section that a heading opens, and the one that it is as."""
    label, *options = value.split(";")
    section = Section(value, label.text)
    model: Section | None = None
    if not label.text:
        faults.add(value, "a section needs a name: 'section: Verse 1'")
        section.label = "Section"
    for option in options:
        first, _, rest = option.text.partition(" ")
        if first == "as" and rest:
            model = done.get(rest)
            if model is None:
                what = f"no section called {shown(rest)} stands before this one"
                faults.add(option, what, rest, done)
        elif first == "played":
            section.times = _read_times(option, rest, faults)
        elif first == "pass" and re.fullmatch(r"[1-9][0-9]{0,4}", rest):
            section.first_pass = int(rest)
        elif first == "kind" and rest:
            section.kind = rest
        elif first == "numbered" and rest:
            section.numbered = _numbers(option, rest, faults)
        else:
            faults.add(option, f"{shown(option.text)} is no option of a section: write 'played "
                       "twice', 'as Verse 1', 'numbered 5-12', 'pass 2' or 'kind verse'"
                       )  # fmt: skip
    return section, model


def _read_times(option: Piece, text: str, faults: Faults) -> int:
    found = re.fullmatch(r"(once|twice)|([0-9]{1,3}) times", text)
    times = (_TIMES[found[1]] if found[1] else int(found[2])) if found else 0
    if not 1 <= times <= MOST_PASSES:
        faults.add(option, f"played {shown(text)}: write 'played twice' or 'played 3 times', "
                   f"{MOST_PASSES} at most")  # fmt: skip
    return times if 1 <= times <= MOST_PASSES else 1


def _numbers(option: Piece, text: str, faults: Faults) -> list[str]:
    numbers: list[str] = []
    for word in text.replace(",", " ").split():
        found = re.fullmatch(r"([0-9]{1,6})-([0-9]{1,6})", word)
        if not found and len(word) <= MOST_TEXT:
            numbers.append(word)
        elif found and 0 <= int(found[2]) - int(found[1]) <= MOST_MEASURES - len(numbers):
            numbers += [str(number) for number in range(int(found[1]), int(found[2]) + 1)]
        else:
            faults.add(option, f"no bars are numbered {shown(word)}: write the first, then the "
                       "last, '5-12'")  # fmt: skip
            return []
    return numbers


def add_block(section: Section, rows: list[Row], faults: Faults) -> None:
    """Add rows that stand below each other to a section: the same bars in each."""
    first = rows[0]
    done = len(section.bars)
    for row in rows[1:]:
        count = len(first.cells)
        if len(row.cells) != count:
            where = row.cells[count].text if len(row.cells) > count else row.where
            own, above = (counted(len(each.cells), "bar") for each in (row, first))
            faults.add(
                where, f"{row.owner.part} has {own} here, and {first.owner.part} above has {above}"
            )
    section.bars += _joined_bars(rows, faults)
    count = len(section.bars) - done
    numbers: dict[Owner, int] = {}
    for row in rows:
        number = numbers[row.owner] = numbers.get(row.owner, -1) + 1
        layer = section.layers.setdefault(Place(row.owner, number), {})
        layer.update(zip(range(done, done + count), row.cells, strict=False))
    if len(section.layers) > _MOST_LAYERS:
        faults.add(first.where, f"more than {_MOST_LAYERS} rows sound together in one section")
        section.layers.clear()


def _joined_bars(rows: list[Row], faults: Faults) -> list[Bar]:
    """The signs at the bar lines, which any of the rows may carry."""
    bars = list(rows[0].bars)
    for row in rows[1:]:
        for index, (known, own) in enumerate(zip(bars, row.bars, strict=False)):
            if own is PLAIN_BAR or own == known:
                continue
            if known in (PLAIN_BAR, DOUBLE_BAR):
                bars[index] = own
            elif own not in (PLAIN_BAR, DOUBLE_BAR):
                faults.add(row.cells[index].text, "the repeat signs of this bar are not those of "
                           "the rows above; write them in one row, such as that of the chords"
                           )  # fmt: skip
    return bars


def finish_section(
    section: Section, model: Section | None, faults: Faults, *, is_whole: bool
) -> Section:
    """Return the section filled from the one that it is as, its endings and repeats closed.

    `is_whole` is False where a fault was found in it, so that it may lack something.
    """
    bars = len(section.bars)
    if bars:
        section.after = [each for each in section.settings if each.bar == bars]
        section.settings = section.settings[: len(section.settings) - len(section.after)]
    if model is not None:
        if bars not in (0, len(model.bars)):
            has, its = counted(bars, "bar"), counted(len(model.bars), "bar")
            faults.add(
                section.where,
                f"{section.label} has {has}, and {model.label}, which it is as, has {its}",
            )
        own = section.layers
        replaced = {place.owner.part for place in own}
        section = model.copy(
            where=section.where, label=section.label, kind=section.kind,
            first_pass=section.first_pass, numbered=section.numbered,
            times=section.times or model.times,
            settings=[*model.settings, *section.settings], after=section.after,
            remarks=section.remarks, sounds={**model.sounds, **section.sounds},
        )  # fmt: skip
        kept = {p: cells for p, cells in section.layers.items() if p.owner.part not in replaced}
        section.layers = {**kept, **own}
        return section
    if not section.bars and is_whole:
        faults.add(section.where, f"{section.label} has no bars: write rows below it, such as "
                   "'chords | G | C |', or 'as' and the name of a section above")  # fmt: skip
    if all(bar in (PLAIN_BAR, DOUBLE_BAR) for bar in section.bars):
        section.bars = [PLAIN_BAR] * len(section.bars)
    else:
        _close_repeats(section, faults)
    _check_passes(section, faults)
    return section


def _check_passes(section: Section, faults: Faults) -> None:
    times = [time for bar in section.bars for time in (bar.backward, *bar.ending_starts)]
    rounds = max(section.times or 1, *times, 1)
    for place in section.layers:
        part, _, passes = place.owner
        if passes and passes[0] > rounds:
            played = "once" if rounds == 1 else "twice" if rounds == 2 else f"{rounds} times"
            faults.add(section.where, f"{part} has a row for the {ORDINALS[passes[0] - 1]} time, "
                       f"but {section.label} is played {played}; write 'played {passes[0]} times' "
                       "behind its name")  # fmt: skip


def _close_repeats(section: Section, faults: Faults) -> None:
    """Mark where endings stop; report repeats that do not close and endings of nothing."""
    before = faults.count
    bars = section.bars
    last_back = max((index for index, bar in enumerate(bars) if bar.backward), default=-1)
    opened: int | None = None
    inside = False
    ending: tuple[int, ...] = ()
    taken: set[int] = set()  # times that an ending of this repeat has
    for index, bar in enumerate(bars):
        name, where = f"bar {index + 1} of {section.label}", _bar_place(section, index)
        if bar.forward:
            if opened is not None:
                _report_unclosed(section, opened, faults)
            opened, taken = index, set()
        if bar.ending_starts:
            inside, ending = True, bar.ending_starts
            if opened is None and not taken and index > last_back:
                faults.add(where, f"{name} begins an ending, but nothing is repeated; "
                           "write ':|' where it goes back")  # fmt: skip
            if taken & set(bar.ending_starts):
                faults.add(where, f"{name} begins an ending for a time round that has one already; "
                           "number them 1., 2., 3.")  # fmt: skip
            if not all(1 <= time <= MOST_PASSES for time in bar.ending_starts):
                faults.add(where, f"an ending is for the times 1 to {MOST_PASSES}")
            taken.update(bar.ending_starts)
        is_last = index + 1 == len(bars)
        stops = inside and (bar.ending_stops or is_last or bool(bars[index + 1].ending_starts))
        if stops != bar.ending_stops:
            bars[index] = replace(bar, ending_stops=stops)
        follows = not is_last and bool(bars[index + 1].ending_starts)
        if bar.backward and stops and not follows and len(taken) > len(ending) == 1:
            bars[index] = replace(bars[index], backward=1)  # the endings say how often it is played
        inside = inside and not stops
        if faults.too_many:
            break
        if bar.backward:
            opened = None
            if not is_last and not follows:
                taken = set()
    if opened is not None:
        _report_unclosed(section, opened, faults)
    if faults.count > before:  # read on without them
        section.bars = [PLAIN_BAR] * len(bars)


def _report_unclosed(section: Section, bar: int, faults: Faults) -> None:
    faults.add(_bar_place(section, bar), f"bar {bar + 1} of {section.label} opens a repeat that "
               "nothing closes; write ':|' where it ends")  # fmt: skip


def _bar_place(section: Section, bar: int) -> Piece:
    return next((c[bar].text for c in section.layers.values() if bar in c), section.where)
