"""Write sheets, words, sound and papers: ``handout``, ``explain``, ``listen``, ``workshop``."""

from __future__ import annotations

import argparse
import importlib
import os
from pathlib import Path

from arrange.commands.condensation_text import wrapped
from arrange.commands.shared_options import asked_measures, progress
from arrange.decisions import DecisionLog, decisions_path, read_decisions
from arrange.explaining import explain_part
from arrange.formats.reading import read
from arrange.tables.song import Song, played_parts


def run_handout(options: argparse.Namespace) -> int:
    """Run ``handout``."""
    show_step = progress(Path(options.file))
    song = read(options.file)
    log = options.decisions or decisions_path(options.file)
    decisions = read_decisions(log) if options.decisions or os.path.lexists(log) else None
    if decisions is not None:
        _note_sharing_out(song, decisions, options)
    # The printing modules are slow to load, and the other commands do not need them.
    handouts = importlib.import_module("arrange.handouts")
    layout = handouts.Layout(options.paper, options.style, options.frets, options.words)
    paths = handouts.write_handout(
        song, Path(options.output), player=options.player, layout=layout, decisions=decisions,
        progress=show_step,
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0


def _note_sharing_out(song: Song, log: DecisionLog, options: argparse.Namespace) -> None:
    """Say how sheets of what was shared out are made, where the song still has all layers."""
    labels = set(song.parts["part"])
    dates = [
        each.date
        for each in log.decisions
        if each.status == "agreed" and labels.intersection(each.removed)
    ]
    if dates:
        note = (
            "note: these are sheets of the layers as recorded; how they were shared out on "
            f"{dates[-1]} stands in the log. For sheets of that: arrange rebuild {options.file} -o "
            "arranged.musicxml, then arrange handout arranged.musicxml --decisions "
            f"{options.decisions or decisions_path(options.file)} -o {options.output}"
        )
        print(wrapped(note))


def run_explain(options: argparse.Namespace) -> int:
    """Run ``explain``."""
    song = read(options.file)
    texts = [
        explain_part(song, part, options.section, frets=options.frets).text(options.length)
        for part in played_parts(song, options.player)
    ]
    for line in "\n\n".join(texts).split("\n"):
        print(wrapped(line))
    return 0


def run_listen(options: argparse.Namespace) -> int:
    """Run ``listen``."""
    # The sound modules are slow to load, and the other commands do not need them.
    sounds = importlib.import_module("arrange.sound")
    playback = sounds.Playback(
        tempo=options.tempo, count_in=options.count_in, click=options.click, loop=options.loop,
        font=options.font,
    )  # fmt: skip
    measures = asked_measures(options.measures)
    sound = sounds.render_sound(
        read(options.file), options.output, parts=options.part, section=options.section,
        measures=measures, playback=playback,
    )  # fmt: skip
    print(f"{options.output}: {sound.seconds:.1f} s. Turn the volume down before you play it.")
    return 0


def run_workshop(options: argparse.Namespace) -> int:
    """Run ``workshop``."""
    # These modules are slow to load, and the other commands do not need them.
    paths = importlib.import_module("arrange.exercises").workshop_papers(
        options.file, options.output, seed=options.seed, size=options.size,
        overwrite=options.overwrite, progress=progress(Path(options.file)),
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0
