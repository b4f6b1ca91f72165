"""Study and arrange guitar parts for bands.

The way data flows, bottom to top::

    read        a file -> Song: five tables (tables.py, formats/)
    measure     tables -> numbers (register.py, texture.py, sonority.py)
    find        Song -> findings: what to listen to (clashes/), and what to do with them (findings/)
    play        a chord -> voicings, a part -> fingers (necks.py, hands.py, voicings.py, fingering/)
    propose     what else a part could play (revoicing/); many layers, few players (condensing/)
    decide      what and why -> a log beside the song; the log -> the arrangement (decisions/)
    plot        tables -> pictures (plots/)
    listen      Song -> sound (sound/)
    try live    a song in a notebook or on a page, by sliders (live/)
    hand out    Song -> sheets for the stand (handouts/)
    exercise    Song -> exercises that check themselves, and a workshop (exercises/)
    write       Song -> a file: chart, MIDI, MusicXML (formats/, converting.py)
    study       all of it on one song, as an object and a report (study.py, report.py)
    songbook    many songs, a row each, and what changes from song to song (songbook/)

The names that draw, print or sound are loaded when first asked for.
"""

import importlib
from typing import TYPE_CHECKING, Any

from arrange import plots
from arrange.calibration import calibrate_hand
from arrange.clashes import Limits, find_clashes
from arrange.condensing import Condensation, condense, layer_roles
from arrange.converting import convert
from arrange.decisions import (
    Decision,
    DecisionLog,
    change_status,
    decisions_path,
    read_decisions,
    rebuild,
    record_decision,
    waivers_of,
)
from arrange.errors import ArrangeError, ChartError, LogChangedError, ReadError, TableError
from arrange.findings import (
    Waiver,
    apply_move,
    finding_notes,
    group_findings,
    not_asked,
    read_waivers,
    smallest_moves,
    waive,
)
from arrange.fingering import finger_part, fingered_song
from arrange.formats.chart.writing import write_chart
from arrange.formats.midi import write_midi
from arrange.formats.musicxml.writing import write_musicxml
from arrange.hands import Hand
from arrange.necks import Neck
from arrange.part_lists import split_parts
from arrange.reading import read
from arrange.register import part_ranges, register_overlap
from arrange.revoicing import Proposal, find_capos, proposals_table, revoice, revoice_pair
from arrange.schemas import describe
from arrange.shape_names import name_shape
from arrange.songbook import changes_between, order_by_changes, read_songbook, songbook_table
from arrange.sounding import cut_notes, sounding_notes
from arrange.study import Study, study
from arrange.tables import Song
from arrange.texture import part_texture, song_energy
from arrange.voicings import find_voicings

if TYPE_CHECKING:
    from arrange.exercises import (
        check_answer,
        check_environment,
        exercise_sound,
        make_exercises,
        missing_exercises,
        workshop_papers,
    )
    from arrange.handouts import write_handout
    from arrange.live import explore_parts
    from arrange.plots import (
        plot_before_after,
        plot_clashes,
        plot_form,
        plot_hearing,
        plot_layers,
        plot_neck,
        plot_overlap,
        plot_positions,
        plot_ranges,
        plot_shape,
        plot_songbook,
        plot_sonority,
        plot_texture,
    )
    from arrange.sound import finding_sound, join_sounds, render_sound, write_sound

__all__ = [
    "ArrangeError",
    "ChartError",
    "Condensation",
    "Decision",
    "DecisionLog",
    "Hand",
    "Limits",
    "LogChangedError",
    "Neck",
    "Proposal",
    "ReadError",
    "Song",
    "Study",
    "TableError",
    "Waiver",
    "apply_move",
    "calibrate_hand",
    "change_status",
    "changes_between",
    "check_answer",
    "check_environment",
    "condense",
    "convert",
    "cut_notes",
    "decisions_path",
    "describe",
    "exercise_sound",
    "explore_parts",
    "find_capos",
    "find_clashes",
    "find_voicings",
    "finding_notes",
    "finding_sound",
    "finger_part",
    "fingered_song",
    "group_findings",
    "join_sounds",
    "layer_roles",
    "make_exercises",
    "missing_exercises",
    "name_shape",
    "not_asked",
    "order_by_changes",
    "part_ranges",
    "part_texture",
    "plot_before_after",
    "plot_clashes",
    "plot_form",
    "plot_hearing",
    "plot_layers",
    "plot_neck",
    "plot_overlap",
    "plot_positions",
    "plot_ranges",
    "plot_shape",
    "plot_songbook",
    "plot_sonority",
    "plot_texture",
    "proposals_table",
    "read",
    "read_decisions",
    "read_songbook",
    "read_waivers",
    "rebuild",
    "record_decision",
    "register_overlap",
    "render_sound",
    "revoice",
    "revoice_pair",
    "smallest_moves",
    "song_energy",
    "songbook_table",
    "sounding_notes",
    "split_parts",
    "study",
    "waive",
    "waivers_of",
    "workshop_papers",
    "write_chart",
    "write_handout",
    "write_midi",
    "write_musicxml",
    "write_sound",
]


_HOMES = {
    "check_answer": "exercises",
    "check_environment": "exercises",
    "exercise_sound": "exercises",
    "explore_parts": "live",
    "finding_sound": "sound",
    "join_sounds": "sound",
    "make_exercises": "exercises",
    "missing_exercises": "exercises",
    "render_sound": "sound",
    "workshop_papers": "exercises",
    "write_handout": "handouts",
    "write_sound": "sound",
}


def __getattr__(name: str) -> Any:
    if name.startswith("plot_"):
        return getattr(plots, name)
    if name in _HOMES:
        return getattr(importlib.import_module(f"arrange.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
