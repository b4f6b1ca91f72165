"""A Song as a text chart, to be read by a bandmate and read back.

The bars stand in played order, section by section; a section that is as an earlier one says so.
What a chart cannot hold is left out: ids of notes, and strings and frets that contradict their
pitch. A chord symbol lasts to the next, so that a pause between two is not kept; what begins
on a bar line belongs to the bar behind it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd

from arrange.errors import ArrangeError, ReadError, shown
from arrange.formats.chart.cells import chord_cells, exact, layer_cells, part_layers
from arrange.formats.chart.header import (
    CHORDS,
    NOTE_VALUES,
    SETTINGS,
    Meter,
    Part,
    default_transpose,
    default_tuning,
    read_meter,
    read_part,
)
from arrange.formats.chart.lines import Faults, Piece, bare_line
from arrange.formats.chart.reading import read_chart
from arrange.formats.chart.sounds import format_sound
from arrange.formats.files import whole_file
from arrange.formats.instruments import instrument_family
from arrange.formats.notices import homeless_notices, outlasting_notices
from arrange.formats.section_names import section_kind
from arrange.tables.schemas import NUT, RINGING
from arrange.tables.song import Song
from arrange.text.letters import check_text
from arrange.text.words import counted
from arrange.theory.pitch import note_name

_WIDEST = 100  # characters of a line, if its bars allow it
_MOST_BARS = 4  # in a line


@dataclass(frozen=True)
class _Section:
    label: str
    heading: str
    first: int  # its first bar, from 0
    state: tuple[tuple[str, ...], ...]  # key, meter, tempo, length of each bar
    rows: tuple[tuple[str, tuple[str, ...]], ...]  # label, cells
    setups: dict[str, tuple[Part, str | None]]  # label: the part as it is there, its layers


def write_chart(song: Song, path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Write a song as a text chart; the old file stays until the new one is whole.

    Parameters
    ----------
    song : Song
    path : path
        A text file, UTF-8.

    Returns
    -------
    tuple of str
        What of the song the chart does not hold, a sentence each.

    Raises
    ------
    ArrangeError
        If a label holds a sign that a chart needs for itself (``,``, ``;`` or ``|``), a note has
        no length, or the chart could not be read again.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/harbour-set/1-rope-and-lantern.txt")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     left_out = ar.write_chart(song, f"{folder}/song.txt")
    ...     again = ar.read(f"{folder}/song.txt")
    >>> left_out
    ()
    >>> again.notes["pitch"].equals(song.notes["pitch"])
    True
    """
    text = format_chart(song)
    try:
        again = read_chart(text.encode())
    except ReadError as error:
        first = str(error).splitlines()[0]
        raise ArrangeError(f"this song cannot be written as a chart; its {first}") from None
    with whole_file(Path(path)) as draft:
        draft.write_text(text, encoding="utf-8", newline="\n")
    return _left_out(song, again)


def _left_out(song: Song, again: Song) -> tuple[str, ...]:
    """What the chart of a song, read again, does not hold."""
    notes = song.notes
    between = notes["pitch"] * 2 % 1 > 0
    counts = {
        "grace notes on the last bar line are left out": len(notes) - len(again.notes),
        "strings and frets that do not give the pitch, or lie under the capo, are left out":
            int(notes["string"].notna().sum() - again.notes["string"].notna().sum()),
        "pitches are rounded to quarter tones": int(between.sum()),
    }  # fmt: skip
    holds = [each.chords["duration"].sum() for each in (song, again)]
    return (
        *(f"{what}: {count:,}" for what, count in counts.items() if count > 0),
        *(["silence between chord symbols is not kept"] if holds[1] > holds[0] + 1e-6 else []),
        *homeless_notices(song),
        *outlasting_notices(song),
    )


def format_chart(song: Song) -> str:
    """Return a song as the text of a chart."""
    parts = [_chart_part(row) for row in song.parts.to_dict("records")]
    sections = _sections(song, parts)
    title = _one_line(check_text("the song's title", song.title))
    lines = [f"title: {title}"] if title else []
    lines += _remarks(song, None)
    state: tuple[str, ...] = ("none", "4/4", "", "full")
    first = sections[0].state[0] if sections else state
    lines += _changes(state, first)
    lines += ["", *(_part_line(part) for part in parts)]
    lines += [f"player: {_one_line(player)}" for player in song.players]
    state = first
    done: dict[tuple[Any, ...], _Section] = {}
    number = 0
    written = _printed_numbers(song)
    for section in sections:
        own = written[section.first : section.first + len(section.state)]
        heading, number = _numbered(section.heading, own, number)
        content = (section.state, section.rows)
        lines.append("")
        if content in done and section.rows:
            model = done[content]
            lines.append(f"{_insert(heading, f'as {model.label}')}")
            lines += _sound_lines(parts, section, model)
            lines += _remarks(song, section.label)
            lines += _changes(state, section.state[0])
        else:
            lines += [heading, *_sound_lines(parts, section), *_remarks(song, section.label)]
            lines += _body(section, state)
            done.setdefault(content, section)
        state = section.state[-1]
    return "\n".join(lines) + "\n"


def _sound_lines(
    parts: Sequence[Part], section: _Section, model: _Section | None = None
) -> list[str]:
    """The lines of the parts that are otherwise there than they are in all, or in the model."""
    before = {} if model is None else model.setups
    return [
        format_sound(part, *section.setups.get(part.label, (part, None)))
        for part in parts
        if section.setups.get(part.label) != before.get(part.label)
    ]


def _one_line(text: str) -> str:
    """A text on one line, without what would begin a comment."""
    return re.sub(r"(^|\s)#(?=\s|$)", r"\1No.", " ".join(text.split()))


def _remarks(song: Song, section: str | None) -> list[str]:
    """The lines of the words to the players of a section, or of all the song."""
    return [f"remark: {_one_line(each.text)}" for each in song.remarks
            if section in (each.sections or (None,))]  # fmt: skip


def _insert(heading: str, option: str) -> str:
    name, *options = heading.split("; ")
    return "; ".join([name, option, *options])


def _printed_numbers(song: Song) -> list[str]:
    """The printed number of each bar; the played one, where a chart cannot hold the printed."""
    written = song.measures["written"].tolist()
    if all(re.fullmatch(r"[^\s,;#-]+", number) for number in written):
        return written
    return [str(number) for number in range(1, len(written) + 1)]


def _numbered(heading: str, written: Sequence[str], number: int) -> tuple[str, int]:
    """The heading with the printed numbers, where they do not just go on."""
    counted = [str(number + 1 + index) for index in range(len(written))]
    if list(written) != counted:
        heading += f"; numbered {_number_ranges(written)}"
    last = written[-1]
    return heading, int(last[:9]) if last.isdecimal() else 0


def _number_ranges(written: Sequence[str]) -> str:
    texts: list[str] = []
    start = 0
    for index in range(1, len(written) + 1):
        before = written[index - 1]
        runs_on = (
            index < len(written)
            and re.fullmatch(r"0|[1-9][0-9]{0,4}", before)
            and written[index] == str(int(before) + 1)
        )
        if not runs_on:
            texts.append(before if index - start == 1 else f"{written[start]}-{before}")
            start = index
    return ", ".join(texts)


def _changes(before: tuple[str, ...], after: tuple[str, ...]) -> list[str]:
    """Setting lines from one bar's key, meter, tempo and length to another's."""
    lines = [
        f"{name}: {new}"
        for name, old, new in zip(("key", "meter", "tempo"), before, after, strict=False)
        if old != new
    ]
    if before[3] != after[3] or (before[1] != after[1] and after[3] != "full"):
        lines.append(f"length: {after[3]}")
    return lines


def _body(section: _Section, state: tuple[str, ...]) -> list[str]:
    lines: list[str] = []
    bars = len(section.state)
    start = 0
    while start < bars:
        changes = _changes(state, section.state[start])
        end = start + 1
        while (
            end < bars
            and end - start < _MOST_BARS
            and section.state[end] == section.state[start]
            and _width(section, start, end + 1) <= _WIDEST
        ):
            end += 1
        if changes:
            lines += ([""] if start else []) + changes
        elif start:
            lines.append("")
        lines += _rows(section, start, end)
        state = section.state[end - 1]
        start = end
    return lines


def _width(section: _Section, start: int, end: int) -> int:
    label = max(len(label) for label, _ in section.rows)
    return label + sum(3 + max(len(cells[bar]) for _, cells in section.rows)
                       for bar in range(start, end))  # fmt: skip


def _rows(section: _Section, start: int, end: int) -> list[str]:
    label_width = max(len(label) for label, _ in section.rows)
    widths = [max(len(cells[bar]) for _, cells in section.rows) for bar in range(start, end)]
    return [
        f"{label:<{label_width}} | "
        + " | ".join(
            f"{cell:<{width}}" for cell, width in zip(cells[start:end], widths, strict=True)
        )
        + " |"
        for label, cells in section.rows
    ]


def _chart_part(row: dict[str, Any]) -> Part:
    _check_label("part", row["part"], ",;|")

    tuning = row["tuning"] if isinstance(row["tuning"], tuple) else ()
    instrument = _option_text(row["instrument"]) or row["part"]
    read = read_part(Piece(f"Part; {instrument}", 1, 1), Faults("", []))
    if read is None or read.instrument != instrument:  # it would be read as another setting
        instrument = row["part"]
    return Part(
        label=row["part"],
        instrument=instrument,
        family=row["family"],
        tuning=tuple(reversed(tuning)),
        capo=int(row["capo"]),
        frets_from=row["frets_from"],
        ring=row["ring"],
        transpose=int(row["transpose"]),
        drive=row["drive"],
        echo=_option_text(row["echo"]),
        level=float(row["level"]),
        program=None if pd.isna(row["program"]) else int(row["program"]),
        player=_option_text(row["player"]),
    )


def _option_text(value: object) -> str | None:
    """A text as it may stand between semicolons; none for a missing value."""
    return _one_line(value.replace(";", ",")) if isinstance(value, str) else None


def _check_label(what: str, label: str, signs: str) -> None:
    """A label must come back from a chart as it is."""
    for sign in signs:
        if sign in label:
            raise ArrangeError(
                f"{what} {shown(label)}: a chart needs the sign {sign!r} for itself; rename the "
                f"{what}"
            )
    line = f"{what}: {label}"
    first = label.partition(":")[0].strip().lower() if ":" in label else ""
    is_plain = line.isprintable() and label == label.strip()
    is_plain &= all(bare_line(text, 1).text == text for text in (line, label))  # no comment
    if not label or not is_plain or label == CHORDS or (what == "part" and first in SETTINGS):
        raise ArrangeError(
            f"{what} {shown(label)}: a chart would read this label as words of its own; rename the "
            f"{what}"
        )


def _part_line(part: Part) -> str:
    options = [part.label]
    if part.instrument != part.label:
        options.append(part.instrument)
    guess = instrument_family(f"{part.label} {part.instrument}", program=part.program)
    if guess != part.family:
        options.append(f"family {part.family}")
    if part.tuning != default_tuning(part.family):
        names = " ".join(note_name(pitch) for pitch in part.tuning)
        options.append(f"tuning {names}" if part.tuning else "no tuning")
    if part.capo:
        options.append(f"capo {part.capo}")
    if part.frets_from != NUT:
        options.append(f"frets from the {part.frets_from}")
    if part.ring != RINGING:
        options.append(part.ring)
    if part.transpose != default_transpose(part.family):
        options.append(f"transpose {part.transpose}")
    if part.drive != "clean":
        options.append(part.drive)
    if part.echo is not None:
        options.append(f"echo {part.echo}")
    if part.level:
        options.append(f"level {_number(part.level)} dB")
    if part.program is not None:
        options.append(f"program {part.program}")
    if part.player is not None:
        options.append(f"player {part.player}")
    return f"part: {'; '.join(options)}"


def _sections(song: Song, parts: Sequence[Part]) -> list[_Section]:
    starts = [exact(onset) for onset in song.measures["onset"]]
    ends = [*starts[1:], exact(song.duration)]
    state = [_state(row, end - start) for row, start, end in
             zip(song.measures.itertuples(), starts, ends, strict=True)]  # fmt: skip
    meters = [_meter(text) for _, text, _, _ in state]
    layers = [
        (label, layer_cells(events, starts, ends, meters))
        for label, events in part_layers(song, parts)
    ]
    chords = chord_cells(song, starts, ends, meters)
    setups = _setups(song, parts)
    sections = []
    for row in song.sections.to_dict("records"):
        bars = range(row["first_measure"] - 1, row["last_measure"])
        rows = []
        if any(chords[bar] not in ("", "~", ".") for bar in bars):
            rows.append((CHORDS, tuple(chords[bar] for bar in bars)))
        for index, (label, cells) in enumerate(layers):
            # A silent row stays if a further row of its voice sounds, so that each keeps its place.
            same = [own for other, own in layers[index:] if other == label]
            if any(own[bar] != "." for own in same for bar in bars):
                rows.append((label, _repeats([cells[bar] for bar in bars])))
        if not rows:
            rows.append((CHORDS, tuple(chords[bar] or "." for bar in bars)))
        states = tuple(state[bar] for bar in bars)
        sections.append(_Section(row["section"], _heading(row), bars.start, states, tuple(rows),
                                 setups.get(row["section"], {})))  # fmt: skip
    return sections


def _setups(song: Song, parts: Sequence[Part]) -> dict[str, dict[str, tuple[Part, str | None]]]:
    """What the parts have section by section, where that is not what their lines say."""
    own = {part.label: part for part in parts}
    setups: dict[str, dict[str, tuple[Part, str | None]]] = {}
    for row in song.setups.to_dict("records"):
        part = own[row["part"]]
        here = replace(part, drive=row["drive"], echo=_option_text(row["echo"]), capo=row["capo"])
        setup = here, _option_text(row["layers"])
        if setup != (part, None):
            setups.setdefault(row["section"], {})[part.label] = setup
    return setups


def _heading(row: dict[str, Any]) -> str:
    label = row["section"]
    _check_label("section", label, ";|")
    heading = f"section: {label}"
    if row["pass"] != 1:
        heading += f"; pass {row['pass']}"
    if row["kind"] != section_kind(label):
        heading += f"; kind {' '.join(row['kind'].replace(';', ',').split())}"
    return heading


def _repeats(cells: list[str]) -> tuple[str, ...]:
    """'%' for a bar that is as the one before; not for silence, nor where a note is held over."""
    return tuple(
        "%" if index and cell == cells[index - 1] and len(cell) > 3 and "~" not in cell else cell
        for index, cell in enumerate(cells)
    )


def _state(row: Any, length: Fraction) -> tuple[str, ...]:
    key = row.key if isinstance(row.key, str) else "none"
    tempo = float(row.tempo)
    number = _number(tempo)
    meter = _meter(row.meter)
    same = meter.length == length
    size = "full" if same else _length(length)
    return key, row.meter, number, size


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) else repr(value)


def _length(length: Fraction) -> str:
    """A length in the longest note values that fit, such as "3 eighths"."""
    for name in ("quarter", "eighth", "sixteenth"):
        number = length / NOTE_VALUES[name]
        if number.denominator == 1:
            return counted(str(number), name)
    return f"{length} quarters"


def _meter(text: str) -> Meter:
    meter = read_meter(Piece(text, 1, 1), Faults("", []))
    return meter or Meter(text, Fraction(4), Fraction(1))
