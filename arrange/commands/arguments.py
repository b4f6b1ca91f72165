"""The arguments of each command.

They load nothing that reads, measures or draws, so that help is shown at once.
"""

from __future__ import annotations

import argparse
from typing import Any

from arrange.commands.shared_options import (
    CommandParser,
    add_command,
    add_log,
    add_stretch,
    add_target,
    decimal_number,
    path_text,
    whole_number,
)
from arrange.formats.suffixes import WRITTEN_SUFFIXES
from arrange.text.part_lists import split_fields, unquoted
from arrange.text.words import listed


def command_parser() -> argparse.ArgumentParser:
    """Return the parser of all commands.

    Its result names the command (`command`) and the module of ``arrange.commands`` that runs it
    (`stage`).
    """
    parser = CommandParser(
        prog="arrange", description="Study guitar parts: see where two get in each other's way."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND", dest="command")
    for add in (
        _add_study, _add_songbook, _add_convert, _add_mend, _add_revoice, _add_change_key,
        _add_condense, _add_rebuild, _add_handout, _add_explain, _add_listen, _add_workshop,
        _add_lab, _add_page, _add_ready,
    ):  # fmt: skip
        add(commands)
    return parser


def _add_study(commands: Any) -> None:
    command = add_command(
        commands, "study", "measuring", "measure a song and write a report",
        "Read a song, measure where its parts lie, find where they clash, and write one HTML "
        "report with the tables as CSV and Parquet beside it.",
        "datasets/low-water.musicxml -o study",
    )  # fmt: skip
    command.add_argument(
        "-o", "--output", metavar="FOLDER", default="study", type=path_text,
        help="where to write (default: study)",
    )  # fmt: skip
    command.add_argument(
        "--page-order", action="store_true",
        help="keep the order of the page instead of playing out repeats and jumps",
    )  # fmt: skip
    command.add_argument(
        "--octave", metavar="PART=N", action="append", default=[],
        help="move a part by N octaves, such as 'Guitar 1=-1'; may be given several times",
    )  # fmt: skip
    command.add_argument(
        "--waive", metavar="WHAT", action="append", default=[],
        help="findings that are meant to be so, such as 'kind=doubling; section=Chorus 1; "
        "reason=the hook is meant'; by kind, parts (A + B), section, measures (21-24) or several "
        "of them; may be given several times",
    )  # fmt: skip
    add_log(command)


def _add_songbook(commands: Any) -> None:
    command = add_command(
        commands, "songbook", "measuring",
        "measure a whole set of songs, and what changes between them",
        "Read all songs of a folder, in the order of their names, or files in the "
        "order given; write one HTML page with the tables as CSV and Parquet beside it: a row a "
        "song, what each player changes from song to song, and an order with fewer changes.",
        "datasets/harbour-set -o songbook", song=False,
    )  # fmt: skip
    command.add_argument("file", metavar="IN", nargs="+", help="a folder of songs, or songs")
    command.add_argument(
        "-o", "--output", metavar="FOLDER", default="songbook", type=path_text,
        help="where to write (default: songbook)",
    )  # fmt: skip
    command.add_argument(
        "--player", metavar="PART=NAME", action="append", default=[],
        help="who plays a part where the file does not say, such as 'Guitar 1=Ann'; may be given "
        "several times",
    )  # fmt: skip


def _add_convert(commands: Any) -> None:
    command = add_command(
        commands, "convert", "measuring", "turn a song into another format",
        "Read a song and write it in the format of the suffix that the second name ends in: "
        f"{listed(WRITTEN_SUFFIXES, 'or')}.",
        "datasets/low-water.txt low-water.mid",
    )  # fmt: skip
    command.add_argument("target", metavar="OUT", type=path_text, help="where to write")
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def _add_mend(commands: Any) -> None:
    command = add_command(
        commands, "mend", "changing", "list what ends a finding, and do it",
        "Read a song and list its findings; with --finding, what each part alone could do to end "
        "that one, the smallest change first; with -o, make that change and write the song.",
        "datasets/low-water.musicxml --finding 1 -o mended.musicxml",
    )  # fmt: skip
    command.add_argument(
        "--finding", metavar="N", type=whole_number, help="which one, by its number in the list"
    )
    command.add_argument(
        "--take", metavar="N", type=whole_number, default=1,
        help="which change to make (default: 1, the smallest)",
    )  # fmt: skip
    add_target(command, needed=False)


def _add_revoice(commands: Any) -> None:
    command = add_command(
        commands, "revoice", "arranging", "propose what else a part could play where it clashes",
        "Read a song and propose what else a part could play in a stretch so that findings end, "
        "the best first; with -o, write each proposal as a file too.",
        "datasets/low-water.musicxml --part 'Guitar 1' --section 'Chorus 1'",
    )  # fmt: skip
    command.add_argument("--part", required=True, help="such as 'Guitar 2'")
    add_stretch(command)
    command.add_argument("--chord", help="every place of a chord symbol, such as Cm7")
    command.add_argument(
        "--most", type=whole_number, default=5, help="how many proposals (default: 5)"
    )
    command.add_argument(
        "-o", "--output", metavar="FOLDER", type=path_text, help="where to write them"
    )


def _add_change_key(commands: Any) -> None:
    command = add_command(
        commands, "change-key", "changing", "move a song to another key, with capos and shapes",
        "Read a song and propose how to play it in another key: for each guitar the capo and the "
        "shapes, the best first, with the findings of each; with -o, write one as a song.",
        "datasets/low-water.musicxml --by -2 --player 'Guitar 2: acoustic; capo 1 or 3' "
        "-o lower.musicxml",
    )  # fmt: skip
    command.add_argument(
        "--by", metavar="N", type=whole_number, required=True,
        help="semitones, below 0 for a lower key: -11 to 11",
    )  # fmt: skip
    command.add_argument(
        "--player", action="append", default=[],
        help="what the player of a part has, by the part's label or the player's name: 'Guitar 2: "
        "acoustic; capo none or 2 or 5'; may be given several times",
    )  # fmt: skip
    command.add_argument(
        "--most", type=whole_number, default=4, help="how many to print (default: 4)"
    )
    command.add_argument(
        "--take", metavar="N", type=whole_number, default=1,
        help="which one to write (default: 1, the best)",
    )  # fmt: skip
    add_target(command, needed=False)


def _add_condense(commands: Any) -> None:
    command = add_command(
        commands, "condense", "arranging", "turn many recorded layers into parts for a few players",
        "Read a song with its recorded layers, find section by section who takes which of them, "
        "and write the arrangement, a table of the choices with their reasons beside it.",
        "datasets/last-bell.musicxml --players 'Ann, Ben' -o two.musicxml",
    )  # fmt: skip
    command.add_argument(
        "--players", type=_players,
        help="how many, or their names: 2, or 'Ann, Ben' (default: the players that the song "
        "names, or 2)",
    )  # fmt: skip
    command.add_argument(
        "--player", action="append", default=[],
        help="one player and what they have, in place of --players: 'Ann: electric; drop D tuning; "
        "capo none or 4; clean, overdriven; echo'; may be given several times",
    )  # fmt: skip
    command.add_argument(
        "--layer", action="append",
        help="a part to share out (default: every guitar); may be given several times",
    )  # fmt: skip
    command.add_argument(
        "--role", metavar="LAYER=ROLE", action="append", default=[],
        help="what a layer is there for: lead, hook, rhythm, fill, pad or double; may be given "
        "several times",
    )  # fmt: skip
    for name, what in (
        ("pin", "what a player must take"),
        ("forbid", "what must not be taken"),
    ):
        command.add_argument(
            f"--{name}", metavar="WHAT", action="append", default=[],
            help=f"{what}: 'Player 1; Chorus 1; Hook', layers joined by ' + ', none for laying "
            "out, any for every player or section, a name that holds ; or ' + ' in double quotes; "
            "may be given several times",
        )  # fmt: skip
    add_target(command)


def _add_rebuild(commands: Any) -> None:
    command = add_command(
        commands, "rebuild", "arranging", "make the arrangement from a song and its decisions",
        "Read a song and its log of decisions, make all agreed changes, and write the "
        "arrangement. Decisions whose passage has changed since are reported and not applied.",
        "datasets/low-water.musicxml --decisions datasets/low-water-agreed.decisions.txt "
        "-o arranged.mid",
    )  # fmt: skip
    add_log(command)
    add_target(command)


def _add_handout(commands: Any) -> None:
    command = add_command(
        commands, "handout", "handing_out",
        "write a part sheet for each player, and one for the band",
        "Read a song and write sheets for the music stand, as PDF and HTML: one for each player, "
        "one for the band.",
        "datasets/low-water.musicxml -o sheets --style shapes",
    )  # fmt: skip
    _add_folder(command)
    command.add_argument(
        "--player", action="append",
        help="a part or player (default: every guitar); may be given several times",
    )  # fmt: skip
    _add_choice(command, "paper", ("A4", "letter"), "A4", "A4 or letter (default: A4)")
    styles = ("notation", "shapes")
    _add_choice(command, "style", styles, "notation", "notation or shapes (default: notation)")
    command.add_argument(
        "--words", action="store_true", help="add pages that say how to play it, step by step"
    )
    _add_frets(command)
    add_log(command)


def _add_frets(command: Any) -> None:
    more = "count frets from nut or capo (default: as each part says)"
    _add_choice(command, "frets", ("nut", "capo"), None, more)


def _add_choice(
    command: Any, name: str, words: tuple[str, ...], default: str | None, more: str
) -> None:
    """Add an option that takes one of a few words; the error of another word lists them."""
    command.add_argument(
        f"--{name}", choices=words, default=default, metavar=name.upper(), help=more
    )


def _add_explain(commands: Any) -> None:
    command = add_command(
        commands, "explain", "handing_out", "say how a part is played, in words",
        "Read a song and print how a player's part goes, section by section: what it is, where the "
        "hand goes, what is struck when, when to rest.",
        "datasets/tarrow-weir.txt --player Tam --section 'Tune (2)' --length steps",
    )  # fmt: skip
    command.add_argument("--player", required=True, help="a part or player")
    command.add_argument("--section", help="this section alone, such as 'Chorus 1'")
    lengths = ("line", "paragraph", "steps")
    more = "line, paragraph or steps (default: paragraph)"
    _add_choice(command, "length", lengths, "paragraph", more)
    _add_frets(command)


def _add_listen(commands: Any) -> None:
    command = add_command(
        commands, "listen", "handing_out", "make a song, or a stretch of it, sound",
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


def _add_workshop(commands: Any) -> None:
    command = add_command(
        commands, "workshop", "handing_out",
        "make exercises from a song, and the papers of a workshop",
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


def _add_lab(commands: Any) -> None:
    command = add_command(
        commands, "lab", "opening", "open the lessons, or a song's live view, in JupyterLab",
        "Open JupyterLab on the lessons; or, with a song, on a notebook beside it that holds its "
        "live view; or on a notebook, such as that of a workshop.",
        "datasets/low-water.musicxml", song=False,
    )  # fmt: skip
    command.add_argument(
        "file", metavar="IN", nargs="?", help="a song or a notebook; the lessons if not given"
    )
    _add_layers(command)
    command.add_argument("--no-browser", action="store_true", help="only print the address")


def _add_layers(command: Any) -> None:
    command.add_argument(
        "--layers", action="store_true",
        help="share out its layers among the players it names, or two",
    )  # fmt: skip
    command.add_argument(
        "--player", action="append", default=[],
        help="with --layers: one player and what they have, 'Ann: acoustic; capo none or 2'; may "
        "be given several times",
    )  # fmt: skip


def _add_page(commands: Any) -> None:
    command = add_command(
        commands, "page", "opening",
        "serve a song's live view as a page without code, or write a page to send",
        "Serve the live view of a song on this machine as a page without code, until stopped with "
        "Ctrl-C; decisions are recorded beside the song. Or write one file that shows and plays "
        "the song, with what was decided, in any browser. Turn the volume down before you play.",
        "datasets/low-water.musicxml --no-browser",
    )  # fmt: skip
    _add_layers(command)
    command.add_argument(
        "-o", "--output", metavar="FILE", type=path_text,
        help="write a page to send, such as low-water.html, and serve nothing",
    )  # fmt: skip
    command.add_argument(
        "--share", action="store_true",
        help="serve it to others in the local network, who can change and record too",
    )  # fmt: skip
    command.add_argument("--port", type=whole_number, help="the port (default: a free one)")
    command.add_argument("--dark", action="store_true", help="light on dark")
    command.add_argument("--no-browser", action="store_true", help="only print the address")


def _add_ready(commands: Any) -> None:
    command = add_command(
        commands, "ready", "opening", "check this machine the evening before a workshop",
        "Check what a workshop needs: Python and packages, notebooks, sound, a printed "
        "page, the song, free disk. Ends with 0 if all that it needs is there, else with 1.",
        "datasets/low-water.musicxml", song=False,
    )  # fmt: skip
    command.add_argument("file", nargs="?", metavar="IN", help="the song (default: the demo song)")


def _add_folder(command: Any) -> None:
    command.add_argument(
        "-o", "--output", metavar="FOLDER", required=True, type=path_text, help="where to write"
    )


def _players(text: str) -> int | list[str]:
    """The number of players, or their names."""
    names = [unquoted(name) for name in split_fields(text, ",")]
    if len(names) == 1 and not any(map(str.isalpha, names[0])):
        return whole_number(names[0])
    return names
