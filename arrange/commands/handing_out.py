"""What people take home: ``handout``, ``listen``, ``workshop``."""

from __future__ import annotations

import argparse
import importlib
import os
from pathlib import Path
from typing import Any

from arrange.commands.options import (
    add_command,
    add_log,
    add_stretch,
    asked_measures,
    decimal_number,
    path_text,
    progress,
    whole_number,
)
from arrange.decisions import decisions_path, read_decisions
from arrange.formats.reading import read


def add_handout(commands: Any) -> None:
    """Add ``handout``."""
    command = add_command(
        commands, "handout", _handout, "write a part sheet for each player, and one for the band",
        "Read a song and write sheets for the music stand, as PDF and HTML: one for each player, "
        "one for the band.",
        "datasets/low-water.musicxml -o sheets --style shapes",
    )  # fmt: skip
    _add_folder(command)
    command.add_argument(
        "--player", action="append",
        help="a part or player (default: every guitar); may be given several times",
    )  # fmt: skip
    command.add_argument("--paper", default="A4", help="A4 or letter (default: A4)")
    command.add_argument(
        "--style", default="notation", help="notation or shapes (default: notation)"
    )
    add_log(command)


def add_listen(commands: Any) -> None:
    """Add ``listen``."""
    command = add_command(
        commands, "listen", _listen, "make a song, or a stretch of it, sound",
        "Read a song and write it as sound. Turn the volume down before you play it.",
        "datasets/low-water.musicxml --section 'Chorus 1' --count-in 1 -o chorus.ogg",
    )  # fmt: skip
    command.add_argument(
        "-o", "--output", metavar="FILE", required=True, type=path_text,
        help="a .wav, .flac or .ogg",
    )  # fmt: skip
    add_stretch(command)
    command.add_argument(
        "--part", action="append", help="only this part; may be given several times"
    )
    command.add_argument(
        "--tempo", type=decimal_number, help="quarter notes a minute at the start, 10 to 400"
    )
    command.add_argument(
        "--count-in", type=whole_number, default=0, metavar="BARS",
        help="bars of clicks before, at most 16",
    )  # fmt: skip
    command.add_argument("--click", action="store_true", help="clicks on the beats")
    command.add_argument("--loop", action="store_true", help="can be repeated without a seam")
    command.add_argument("--font", metavar="SF2", help="play from a SoundFont of your own")


def add_workshop(commands: Any) -> None:
    """Add ``workshop``."""
    command = add_command(
        commands, "workshop", _workshop, "make exercises from a song, and the papers of a workshop",
        "Read a song and write exercises made from it: notebooks, sheets with questions, hints and "
        "answers, a leader's plan for sixty minutes and a page to take home.",
        "datasets/low-water.musicxml -o workshop --seed 2",
    )  # fmt: skip
    _add_folder(command)
    command.add_argument(
        "--seed", type=whole_number, default=1, help="another one, other exercises"
    )
    command.add_argument(
        "--size", default="small", help="small, middle or large (default: small, with choices)"
    )
    command.add_argument(
        "--overwrite", action="store_true", help="replace notebooks that are there and differ"
    )


def _add_folder(command: Any) -> None:
    command.add_argument(
        "-o", "--output", metavar="FOLDER", required=True, type=path_text, help="where to write"
    )


def _handout(options: argparse.Namespace) -> int:
    tell = progress(Path(options.file))
    song = read(options.file)
    log = options.decisions or decisions_path(options.file)
    decisions = read_decisions(log) if options.decisions or os.path.isfile(log) else None
    # What prints is slow to load; the other commands go without.
    handouts = importlib.import_module("arrange.handouts")
    layout = handouts.Layout(options.paper, options.style)
    paths = handouts.write_handout(
        song, Path(options.output), player=options.player, layout=layout, decisions=decisions,
        tell=tell,
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0


def _listen(options: argparse.Namespace) -> int:
    # What makes sound is slow to load; the other commands go without.
    render_sound = importlib.import_module("arrange.sound").render_sound
    measures = asked_measures(options.measures)
    sound = render_sound(
        read(options.file), options.output, parts=options.part, section=options.section,
        measures=measures, tempo=options.tempo, count_in=options.count_in,
        with_click=options.click, loop=options.loop, font=options.font,
    )  # fmt: skip
    print(f"{options.output}: {sound.seconds:.1f} s. Turn the volume down before you play it.")
    return 0


def _workshop(options: argparse.Namespace) -> int:
    # What prints and sounds is slow to load; the other commands go without.
    paths = importlib.import_module("arrange.exercises").workshop_papers(
        options.file, options.output, seed=options.seed, size=options.size,
        overwrite=options.overwrite, tell=progress(Path(options.file)),
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0
