"""The sliders, menus and buttons of a live view, and their layout."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from itertools import zip_longest
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from arrange.live.choices import (
    AS_WRITTEN,
    ECHOES,
    INVERSIONS,
    NO_ECHO,
    Choices,
    PartChoice,
    has_strings,
    string_sets,
)
from arrange.live.findings_list import ALL_PARTS
from arrange.live.results_cache import parts_beside
from arrange.revoicing.ideas import CAPOS
from arrange.tables.schemas import DRIVES
from arrange.tables.setups import song_in_section
from arrange.tables.song import Song, part_row, section_row

STYLE = Path(__file__).with_name("view.css")
_AROUND = 0.5  # share of the written tempo by which it may be slower or faster
_TEMPO_STEP = 4  # about a notch of a metronome (common practice)


@dataclass(frozen=True, eq=False)
class Looking:
    """Where one looks: the section, the part that changes, the one beside it, whose findings."""

    section: Any
    part: Any
    beside: Any
    only: Any


@dataclass(frozen=True, eq=False)
class Choosing:
    """What is chosen: for the part as the fields of ``PartChoice``, and the tempo."""

    octave: Any
    inversion: Any
    strings: Any
    capo: Any
    drive: Any
    echo: Any
    tempo: Any


@dataclass(frozen=True, eq=False)
class Listening:
    """What is heard, and the buttons that play it."""

    before: Any
    after: Any
    each: Any
    both: Any
    moment: Any
    everyone: Any


@dataclass(frozen=True, eq=False)
class Deciding:
    """The buttons that go back, go on and record, and the reason for the log."""

    reset: Any
    undo: Any
    redo: Any
    why: Any
    record: Any


@dataclass(frozen=True, eq=False)
class Controls:
    """The widgets of a view."""

    looking: Looking
    choosing: Choosing
    listening: Listening
    deciding: Deciding


PLAYED = ("before", "after", "each", "both")


def make_controls(song: Song, section: str, part: str) -> Controls:
    """Return the widgets, with nothing chosen."""
    sections = song.sections["section"].tolist()
    parts = song.parts["part"].tolist()
    return Controls(
        Looking(
            _dropdown("Section", sections, "The section that is seen", value=section),
            _dropdown("Part", parts, "The part that changes", value=part),
            _dropdown("Beside", [], "The part it is looked at together with"),
            _dropdown("Findings", [ALL_PARTS, *parts], "The part of which findings are listed"),
        ),
        Choosing(
            _slider(min=-2, max=2, description="Octave"),
            _dropdown("Inversion", INVERSIONS, "Which member of a chord lies lowest"),
            _dropdown("Strings", (AS_WRITTEN,), "Strings to play on, 1 is the highest"),
            _slider(min=0, max=CAPOS, description="Capo"),
            _dropdown("Drive", DRIVES, "How hard the amplifier is driven"),
            _dropdown("Echo", ECHOES, "Note value of the echo"),
            _slider("2 1 13em", description="Tempo", min=20, max=300, step=_TEMPO_STEP, value=100),
        ),
        Listening(
            _button("Before", "Hear it as written"),
            _button("After", "Hear it with the choices"),
            _button("Each alone", "Hear each of the two alone, then together"),
            _button("Before, then after", "Hear one after the other"),
            _dropdown("Moment", [], "The bars that are heard"),
            widgets.Checkbox(
                description="all parts", indent=False, layout=widgets.Layout(width="auto"),
                tooltip="Hear all parts, not the two alone",
            ),
        ),
        Deciding(
            _button("As written", "Choose nothing again"),
            _button("Undo", "One step back; a decision just recorded is taken back"),
            _button("Redo", "What was undone again; its decision is agreed again"),
            widgets.Text(
                description="Why", placeholder="the reason, for the log",
                layout=widgets.Layout(flex="3 1 20em", width="auto"),
            ),
            _button("Record the decision", "Write it into the log with its figures"),
        ),
    )  # fmt: skip


def widgets_of(controls: Controls) -> Iterator[tuple[str, Any]]:
    """Yield the name and the widget of each control."""
    for group in vars(controls).values():
        yield from vars(group).items()


def _slider(flex: str = "1 1 11em", **more: Any) -> Any:
    layout = widgets.Layout(flex=flex, width="auto")
    return widgets.IntSlider(continuous_update=True, layout=layout, **more)


def _dropdown(description: str, options: Any, tooltip: str, **more: Any) -> Any:
    return widgets.Dropdown(
        description=description, options=options, tooltip=tooltip,
        layout=widgets.Layout(flex="1 1 11em", width="auto"), **more,
    )  # fmt: skip


def _button(description: str, tooltip: str) -> Any:
    return widgets.Button(
        description=description, tooltip=tooltip, layout=widgets.Layout(width="auto")
    )


def layout(controls: Controls, picture: Any, player: Any, words: Any, log: Any) -> Any:
    """Return all of it as one widget: what is chosen, the picture, what is heard and recorded."""
    looking, choosing = controls.looking, controls.choosing
    listening, deciding = controls.listening, controls.deciding
    back = (deciding.reset, deciding.undo, deciding.redo)
    style = widgets.HTML(f"<style>{STYLE.read_text(encoding='utf-8')}</style>")
    style.layout.display = "none"
    played = _row([getattr(listening, name) for name in PLAYED])
    played.add_class("arrange-heard")
    view = widgets.VBox(
        [
            style,
            _row((looking.section, looking.part, looking.beside, looking.only)),
            _row((choosing.octave, choosing.inversion, choosing.strings, choosing.capo)),
            _row((choosing.drive, choosing.echo, choosing.tempo, *back)),
            picture,
            words,
            _row((played, listening.moment, listening.everyone, player)),
            _row((deciding.why, deciding.record)),
            log,
        ]
    )
    picture.tips = {each.description: each.tooltip for _, each in widgets_of(controls)
                    if each.tooltip}  # fmt: skip
    picture.add_class("arrange-pane")
    view.add_class("arrange-live")
    return view


def _row(children: Any) -> Any:
    return widgets.HBox(
        list(children), layout=widgets.Layout(flex_flow="row wrap", align_items="center")
    )


def fill_parts(looking: Looking, song: Song) -> None:
    """Offer the parts of a song, which may have fewer than before; own guitars first beside it."""
    parts = song.parts["part"].tolist()
    if list(looking.part.options) != parts:
        part = looking.part.value
        looking.part.options = parts
        looking.part.value = part if part in parts else parts[0]
    listed = [ALL_PARTS, *parts]
    if list(looking.only.options) != listed:
        only = looking.only.value
        looking.only.options = listed
        looking.only.value = only if only in listed else ALL_PARTS
    others = parts_beside(song, looking.part.value)
    if list(looking.beside.options) != others:
        looking.beside.options = others
        looking.beside.value = others[0] if others else None


def fill(controls: Controls, song: Song, choices: Choices) -> None:
    """Set the widgets to the choices of their part."""
    part, one = controls.looking.part.value, controls.choosing
    choice, own = choices.of(part), _written_sound(song, part, choices.section)
    is_strung = has_strings(song, part)
    controls.looking.section.value = choices.section
    one.octave.value = choice.octave
    one.strings.options = string_sets(song, part) or (AS_WRITTEN,)
    one.strings.value = choice.strings
    one.inversion.value = choice.inversion
    for each in (one.inversion, one.strings, one.capo):
        each.disabled = not is_strung
    one.capo.max = max(CAPOS, own["capo"])
    one.capo.value = own["capo"] if choice.capo is None else choice.capo
    one.drive.value = choice.drive or own["drive"]
    one.echo.options = tuple(dict.fromkeys((*ECHOES, own["echo"])))
    one.echo.value = choice.echo or own["echo"]
    written = round(written_tempo(song, choices.section))
    steps = int(_AROUND * written / _TEMPO_STEP)  # the written one is among the slider's values
    one.tempo.max = max(one.tempo.max, written)  # so that the ends never cross
    one.tempo.min = written - steps * _TEMPO_STEP
    one.tempo.max = written + steps * _TEMPO_STEP
    one.tempo.value = written if choices.tempo is None else round(choices.tempo)


def _written_sound(song: Song, part: str, section: str) -> dict[str, Any]:
    """What a part has in a section without a choice, as the controls show it."""
    row = part_row(song_in_section(song, section), part)
    echo = row["echo"] if isinstance(row["echo"], str) else NO_ECHO
    return {"capo": int(row["capo"]), "drive": row["drive"], "echo": echo}


def read_controls(controls: Controls, song: Song, choices: Choices) -> Choices:
    """Return the choices as the widgets show them; what is as in the song is no choice."""
    part, one = controls.looking.part.value, controls.choosing
    values = {each.name: getattr(one, each.name).value for each in fields(PartChoice)}
    # The widgets still show the section that is left when another one is chosen.
    for name, own in _written_sound(song, part, choices.section).items():
        # What is chosen for the whole song stays so in a section that has the same anyway.
        is_kept = part in song.setups["part"].array and getattr(choices.of(part), name) == own
        if values[name] == own and not is_kept:
            values[name] = None
    section = controls.looking.section.value
    tempo: float | None = float(one.tempo.value)
    if section != choices.section or tempo == round(written_tempo(song, section)):
        tempo = choices.tempo if section != choices.section else None
    return Choices(section, choices.parts, tempo).with_part(part, PartChoice(**values))


def written_tempo(song: Song, section: str) -> float:
    """Return the tempo at a section's start."""
    row = section_row(song, section)
    return float(song.measures["tempo"].iloc[int(row["first_measure"]) - 1])


def next_choices(
    controls: Controls, song: Song, choices: Choices, touched: str
) -> Iterator[Choices]:
    """Yield the choices that one control can reach: first those of the control in use, then the
    nearest ones of the others.
    """
    part = controls.looking.part.value
    written, own = _written_sound(song, part, choices.section), choices.of(part)
    choosing = {**vars(controls.choosing), "section": controls.looking.section}
    values = {name: _values_of(each) for name, each in choosing.items()}
    first = [(touched, value) for value in values.pop(touched, [])]
    named = ([(name, value) for value in each] for name, each in values.items())
    rounds = zip_longest(*named)
    for name, value in (*first, *(each for turn in rounds for each in turn if each)):
        if name == "section":
            yield replace(choices, section=value)
        elif name == "tempo":
            yield replace(choices, tempo=float(value))
        else:
            is_own = value == written.get(name)
            change: dict[str, Any] = {name: None if is_own else value}
            yield choices.with_part(part, replace(own, **change))


def _values_of(control: Any) -> list[Any]:
    """All values that a control can take, those nearest to its own first."""
    if control.disabled:
        return []
    options = getattr(control, "options", None)
    if options is not None:
        values = list(options)
    else:
        values = list(range(control.min, control.max + 1, control.step))
    here = values.index(control.value) if control.value in values else 0
    order = sorted(range(len(values)), key=lambda place: abs(place - here))
    return [values[place] for place in order if place != here]
