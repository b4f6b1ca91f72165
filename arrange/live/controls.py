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
from arrange.revoicing.ideas import CAPOS
from arrange.tables.schemas import DRIVES
from arrange.tables.setups import song_in_section
from arrange.tables.song import Song, part_row, section_row

STYLE = Path(__file__).with_name("view.css")
_AROUND = 0.5  # share of the written tempo by which it may be slower or faster
_TEMPO_STEP = 4  # about a notch of a metronome (common practice)


@dataclass(frozen=True, eq=False)
class Controls:
    """The widgets of a view. Those named as a field of ``PartChoice`` choose for the part."""

    section: Any
    part: Any
    beside: Any
    octave: Any
    inversion: Any
    strings: Any
    capo: Any
    drive: Any
    echo: Any
    tempo: Any
    moment: Any
    everyone: Any
    why: Any
    reset: Any
    undo: Any
    record: Any
    before: Any
    after: Any
    each: Any
    both: Any


CHOOSING = ("octave", "inversion", "strings", "capo", "drive", "echo", "tempo", "section")


def make_controls(song: Song, section: str, part: str) -> Controls:
    """Return the widgets, with nothing chosen."""
    sections = song.sections["section"].tolist()
    parts = song.parts["part"].tolist()
    made = {
        "section": _slider(widgets.SelectionSlider, "Section", "2 1 20em", options=sections,
                           value=section),
        "part": _dropdown("Part", parts, "The part that changes", value=part),
        "beside": _dropdown("Beside", [], "The part it is looked at together with"),
        "octave": _slider(widgets.IntSlider, "Octave", min=-2, max=2),
        "inversion": _dropdown("Inversion", INVERSIONS, "Which member of a chord lies lowest"),
        "strings": _dropdown("Strings", (AS_WRITTEN,), "Strings to play on, 1 is the highest"),
        "capo": _slider(widgets.IntSlider, "Capo", min=0, max=CAPOS),
        "drive": _dropdown("Drive", DRIVES, "How hard the amplifier is driven"),
        "echo": _dropdown("Echo", ECHOES, "Note value of the echo"),
        "tempo": _slider(widgets.IntSlider, "Tempo", "2 1 13em", min=20, max=300,
                         step=_TEMPO_STEP, value=100),
        "moment": _dropdown("Moment", [], "The bars that are heard"),
        "everyone": widgets.Checkbox(description="all parts", indent=False,
                                     tooltip="Hear all parts, not the two alone",
                                     layout=widgets.Layout(width="auto")),
        "why": widgets.Text(description="Why", placeholder="the reason, for the log",
                            layout=widgets.Layout(flex="3 1 20em", width="auto")),
        "reset": _button("As written", "Choose nothing again"),
        "undo": _button("Undo", "One step back; a decision just recorded is taken back"),
        "record": _button("Record the decision", "Write it into the log with its figures"),
        "before": _button("Before", "Hear it as written"),
        "after": _button("After", "Hear it with the choices"),
        "each": _button("Each alone", "Hear each of the two alone, then together"),
        "both": _button("Before, then after", "Hear one after the other"),
    }  # fmt: skip
    return Controls(**made)


def _slider(kind: Any, description: str, flex: str = "1 1 11em", **more: Any) -> Any:
    return kind(
        description=description, continuous_update=True,
        layout=widgets.Layout(flex=flex, width="auto"), **more,
    )  # fmt: skip


def _dropdown(description: str, options: Any, tooltip: str, **more: Any) -> Any:
    return widgets.Dropdown(
        description=description, options=options, tooltip=tooltip,
        layout=widgets.Layout(flex="1 1 11em", width="auto"), **more,
    )  # fmt: skip


def _button(description: str, tooltip: str) -> Any:
    return widgets.Button(
        description=description, tooltip=tooltip, layout=widgets.Layout(width="auto")
    )


def layout(controls: Controls, picture: Any, audio: Any, words: Any, log: Any) -> Any:
    """Return all of it as one widget: what is chosen, the picture, what is heard and recorded."""
    one = controls
    rows = [
        (one.section, one.part, one.beside),
        (one.octave, one.inversion, one.strings, one.capo),
        (one.drive, one.echo, one.tempo, one.reset, one.undo),
    ]
    hear = (one.before, one.after, one.each, one.both, one.moment, one.everyone, audio)
    style = widgets.HTML(f"<style>{STYLE.read_text(encoding='utf-8')}</style>")
    style.layout.display = "none"
    view = widgets.VBox(
        [
            style,
            *map(_row, rows),
            picture,
            words,
            _row(hear),
            _row((one.why, one.record)),
            log,
        ]
    )
    view.add_class("arrange-live")
    return view


def _row(children: Any) -> Any:
    return widgets.HBox(
        list(children), layout=widgets.Layout(flex_flow="row wrap", align_items="center")
    )


def fill(controls: Controls, song: Song, choices: Choices) -> None:
    """Set the widgets to the choices of their part."""
    part = controls.part.value
    choice, own = choices.of(part), _written_sound(song, part, choices.section)
    sets = string_sets(song, part)
    is_strung = has_strings(song, part)
    controls.section.value = choices.section
    controls.octave.value = choice.octave
    controls.strings.options = sets or (AS_WRITTEN,)
    controls.strings.value = choice.strings
    controls.inversion.value = choice.inversion
    for name in ("inversion", "strings", "capo"):
        getattr(controls, name).disabled = not is_strung
    controls.capo.max = max(CAPOS, own["capo"])
    controls.capo.value = own["capo"] if choice.capo is None else choice.capo
    controls.drive.value = choice.drive or own["drive"]
    controls.echo.options = tuple(dict.fromkeys((*ECHOES, own["echo"])))
    controls.echo.value = choice.echo or own["echo"]
    written = round(written_tempo(song, choices.section))
    steps = int(_AROUND * written / _TEMPO_STEP)  # the written one is among the slider's values
    controls.tempo.max = max(controls.tempo.max, written)  # so that the ends never cross
    controls.tempo.min = written - steps * _TEMPO_STEP
    controls.tempo.max = written + steps * _TEMPO_STEP
    controls.tempo.value = written if choices.tempo is None else round(choices.tempo)


def _written_sound(song: Song, part: str, section: str) -> dict[str, Any]:
    """What a part has in a section without a choice, as the controls show it."""
    row = part_row(song_in_section(song, section), part)
    echo = row["echo"] if isinstance(row["echo"], str) else NO_ECHO
    return {"capo": int(row["capo"]), "drive": row["drive"], "echo": echo}


def read_controls(controls: Controls, song: Song, choices: Choices) -> Choices:
    """Return the choices as the widgets show them; what is as in the song is no choice."""
    part = controls.part.value
    values = {each.name: getattr(controls, each.name).value for each in fields(PartChoice)}
    # The widgets still show the section that is left when another one is chosen.
    for name, own in _written_sound(song, part, choices.section).items():
        # What is chosen for the whole song stays so in a section that has the same anyway.
        is_kept = part in song.setups["part"].array and getattr(choices.of(part), name) == own
        if values[name] == own and not is_kept:
            values[name] = None
    section = controls.section.value
    tempo: float | None = float(controls.tempo.value)
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
    part = controls.part.value
    written, own = _written_sound(song, part, choices.section), choices.of(part)
    values = {name: _values_of(getattr(controls, name)) for name in CHOOSING}
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
