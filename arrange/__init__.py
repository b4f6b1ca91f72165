"""Study and arrange guitar parts for bands.

The way data flows, bottom to top::

    read        a file -> Song: six tables (formats/, tables/)
    measure     tables -> numbers (quantities/)
    find        Song -> findings: what to listen to (clashes/), and what to do with them (findings/)
    play        a chord -> voicings, a part -> fingers (guitar/)
    propose     what else a part could play (revoicing/); many layers, few players (condensing/)
    decide      what and why -> a log beside the song; the log -> the arrangement (decisions/)
    plot        tables -> pictures (plots/)
    listen      Song -> sound (sound/)
    try live    a song in a notebook or on a page, by sliders (live/)
    explain     a part in a teacher's words (explaining/)
    hand out    Song -> sheets for the stand (handouts/)
    exercise    Song -> exercises that check themselves, and a workshop (exercises/)
    write       Song -> a file: chart, MIDI, MusicXML (formats/)
    study       all of it on one song, as an object and a report (report/)
    songbook    many songs, a row each, and what changes from song to song (songbook/)

Below them: what is true without any song (theory/, hearing/), words for people (text/), what can go
wrong (errors.py), how large a song may be (song_size.py).

Each name is loaded when it is first asked for. In a notebook the pages of our types are registered
with its shell.
"""

import importlib
import sys
from typing import TYPE_CHECKING, Any

from arrange.given_songs import with_songs_checked

if TYPE_CHECKING:
    from arrange.clashes import Limits, find_clashes
    from arrange.condensing import Condensation, condense, layer_roles
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
    from arrange.errors import (
        ArrangeError,
        ChartError,
        LogChangedError,
        PlayerError,
        ReadError,
        TableError,
        require,
    )
    from arrange.exercises import (
        check_answer,
        check_environment,
        exercise_sound,
        lesson_exercise,
        make_exercises,
        missing_exercises,
        workshop_papers,
    )
    from arrange.explaining import explain_part
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
    from arrange.formats.chart.reading import read_typed
    from arrange.formats.chart.writing import write_chart
    from arrange.formats.converting import convert
    from arrange.formats.midi import write_midi
    from arrange.formats.musicxml.writing import write_musicxml
    from arrange.formats.reading import read
    from arrange.guitar.calibration import calibrate_hand
    from arrange.guitar.fingering import finger_part, fingered_song
    from arrange.guitar.fret_pictures import FretLabels
    from arrange.guitar.hands import Hand
    from arrange.guitar.necks import Neck
    from arrange.guitar.players import Player, song_players
    from arrange.guitar.shape_names import name_shape
    from arrange.guitar.voicings import Tones, find_voicings
    from arrange.handouts import Layout, write_handout
    from arrange.live import choose_file, explore_layers, explore_parts
    from arrange.plots import (
        plot_before_after,
        plot_clashes,
        plot_form,
        plot_growth,
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
    from arrange.quantities.harmony import inferred_chords, inferred_keys
    from arrange.quantities.register import part_ranges, register_overlap
    from arrange.quantities.texture import part_texture, song_energy
    from arrange.report.readable_tables import show
    from arrange.report.studying import Study, study
    from arrange.revoicing import (
        Prices,
        Proposal,
        Scope,
        Taste,
        change_key,
        find_capos,
        proposals_table,
        revoice,
        revoice_pair,
    )
    from arrange.showing.tried_bars import try_bars
    from arrange.songbook import changes_between, order_by_changes, read_songbook, songbook_table
    from arrange.sound import (
        Playback,
        finding_sound,
        join_sounds,
        render_sound,
        write_sound,
    )
    from arrange.tables.schemas import describe
    from arrange.tables.setups import part_setups
    from arrange.tables.song import Song, guitar_parts
    from arrange.tables.sounding import cut_notes, sounding_notes
    from arrange.text.part_lists import split_parts

__all__ = [
    "ArrangeError",
    "ChartError",
    "Condensation",
    "Decision",
    "DecisionLog",
    "FretLabels",
    "Hand",
    "Layout",
    "Limits",
    "LogChangedError",
    "Neck",
    "Playback",
    "Player",
    "PlayerError",
    "Prices",
    "Proposal",
    "ReadError",
    "Scope",
    "Song",
    "Study",
    "TableError",
    "Taste",
    "Tones",
    "Waiver",
    "apply_move",
    "calibrate_hand",
    "change_key",
    "change_status",
    "changes_between",
    "check_answer",
    "check_environment",
    "choose_file",
    "condense",
    "convert",
    "cut_notes",
    "decisions_path",
    "describe",
    "exercise_sound",
    "explain_part",
    "explore_layers",
    "explore_parts",
    "find_capos",
    "find_clashes",
    "find_voicings",
    "finding_notes",
    "finding_sound",
    "finger_part",
    "fingered_song",
    "group_findings",
    "guitar_parts",
    "inferred_chords",
    "inferred_keys",
    "join_sounds",
    "layer_roles",
    "lesson_exercise",
    "make_exercises",
    "missing_exercises",
    "name_shape",
    "not_asked",
    "order_by_changes",
    "part_ranges",
    "part_setups",
    "part_texture",
    "plot_before_after",
    "plot_clashes",
    "plot_form",
    "plot_growth",
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
    "read_typed",
    "read_waivers",
    "rebuild",
    "record_decision",
    "register_overlap",
    "render_sound",
    "require",
    "revoice",
    "revoice_pair",
    "show",
    "smallest_moves",
    "song_energy",
    "song_players",
    "songbook_table",
    "sounding_notes",
    "split_parts",
    "study",
    "try_bars",
    "waive",
    "waivers_of",
    "workshop_papers",
    "write_chart",
    "write_handout",
    "write_midi",
    "write_musicxml",
    "write_sound",
]

# Where each name stands, below `arrange`.
_HOMES = {
    "calibrate_hand": "guitar.calibration",
    "Limits": "clashes",
    "find_clashes": "clashes",
    "Condensation": "condensing",
    "condense": "condensing",
    "layer_roles": "condensing",
    "convert": "formats.converting",
    "Decision": "decisions",
    "DecisionLog": "decisions",
    "change_status": "decisions",
    "decisions_path": "decisions",
    "read_decisions": "decisions",
    "rebuild": "decisions",
    "record_decision": "decisions",
    "waivers_of": "decisions",
    "ArrangeError": "errors",
    "ChartError": "errors",
    "LogChangedError": "errors",
    "ReadError": "errors",
    "TableError": "errors",
    "require": "errors",
    "check_answer": "exercises",
    "check_environment": "exercises",
    "exercise_sound": "exercises",
    "lesson_exercise": "exercises",
    "make_exercises": "exercises",
    "missing_exercises": "exercises",
    "workshop_papers": "exercises",
    "explain_part": "explaining",
    "Waiver": "findings",
    "apply_move": "findings",
    "finding_notes": "findings",
    "group_findings": "findings",
    "not_asked": "findings",
    "read_waivers": "findings",
    "smallest_moves": "findings",
    "waive": "findings",
    "finger_part": "guitar.fingering",
    "fingered_song": "guitar.fingering",
    "read_typed": "formats.chart.reading",
    "write_chart": "formats.chart.writing",
    "write_midi": "formats.midi",
    "write_musicxml": "formats.musicxml.writing",
    "Layout": "handouts",
    "write_handout": "handouts",
    "FretLabels": "guitar.fret_pictures",
    "Hand": "guitar.hands",
    "choose_file": "live",
    "explore_layers": "live",
    "explore_parts": "live",
    "Neck": "guitar.necks",
    "Player": "guitar.players",
    "PlayerError": "errors",
    "split_parts": "text.part_lists",
    "plot_before_after": "plots",
    "plot_clashes": "plots",
    "plot_form": "plots",
    "plot_growth": "plots",
    "plot_hearing": "plots",
    "plot_layers": "plots",
    "plot_neck": "plots",
    "plot_overlap": "plots",
    "plot_positions": "plots",
    "plot_ranges": "plots",
    "plot_shape": "plots",
    "plot_songbook": "plots",
    "plot_sonority": "plots",
    "plot_texture": "plots",
    "read": "formats.reading",
    "part_ranges": "quantities.register",
    "register_overlap": "quantities.register",
    "inferred_chords": "quantities.harmony",
    "inferred_keys": "quantities.harmony",
    "Prices": "revoicing",
    "Proposal": "revoicing",
    "Scope": "revoicing",
    "Taste": "revoicing",
    "change_key": "revoicing",
    "find_capos": "revoicing",
    "proposals_table": "revoicing",
    "revoice": "revoicing",
    "revoice_pair": "revoicing",
    "describe": "tables.schemas",
    "part_setups": "tables.setups",
    "name_shape": "guitar.shape_names",
    "changes_between": "songbook",
    "order_by_changes": "songbook",
    "read_songbook": "songbook",
    "songbook_table": "songbook",
    "try_bars": "showing.tried_bars",
    "Playback": "sound",
    "finding_sound": "sound",
    "join_sounds": "sound",
    "render_sound": "sound",
    "write_sound": "sound",
    "cut_notes": "tables.sounding",
    "sounding_notes": "tables.sounding",
    "show": "report.readable_tables",
    "Study": "report.studying",
    "study": "report.studying",
    "Song": "tables.song",
    "guitar_parts": "tables.song",
    "part_texture": "quantities.texture",
    "song_energy": "quantities.texture",
    "song_players": "guitar.players",
    "Tones": "guitar.voicings",
    "find_voicings": "guitar.voicings",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"arrange.{_HOMES[name]}"), name)
    globals()[name] = with_songs_checked(value)
    return globals()[name]


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


if "IPython" in sys.modules:
    importlib.import_module("arrange.showing.hooks").register_pages()
