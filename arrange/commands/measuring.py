"""Read songs and say what is in them: ``study``, ``songbook``, ``convert``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from arrange.commands.options import add_command, add_log, path_text, progress, whole_number
from arrange.errors import ArrangeError, shortened
from arrange.findings import parse_waiver
from arrange.formats.converting import convert
from arrange.formats.files import check_folder
from arrange.report.studying import study
from arrange.songbook import changes_between, read_songbook, write_songbook
from arrange.text.words import counted


def add_study(commands: Any) -> None:
    """Add ``study``."""
    command = add_command(
        commands, "study", _study, "measure a song and write a report",
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


def add_convert(commands: Any) -> None:
    """Add ``convert``."""
    command = add_command(
        commands, "convert", _convert, "turn a song into another format",
        "Read a song and write it in the format that the second name ends in: .musicxml, .mid or "
        ".txt (a chart).",
        "datasets/low-water.txt low-water.mid",
    )  # fmt: skip
    command.add_argument("target", metavar="OUT", type=path_text, help="where to write")
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def add_songbook(commands: Any) -> None:
    """Add ``songbook``."""
    command = add_command(
        commands, "songbook", _songbook,
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


def _study(options: argparse.Namespace) -> int:
    source = Path(options.file)
    check_folder(Path(options.output))
    tell = progress(source)
    waivers = [parse_waiver(text, f"W{n}") for n, text in enumerate(options.waive, start=1)]
    tell("reading")
    octaves = _octaves(options.octave)
    result = study(
        source, played=not options.page_order, octaves=octaves, waivers=waivers,
        decisions=options.decisions,
    )  # fmt: skip
    tell("measuring and looking for clashes")
    found, waived = len(result.findings), int(result.findings["waived"].notna().sum())
    tell("drawing and writing")
    page = result.write(options.output)
    title = result.song.title or source.name
    but = f", {waived} of them waived" if waived else ""
    print(f"{title}: {counted(found, 'place')} to listen to{but}.")
    print(f"Report:    {page.resolve()}")
    print(f"Tables:    {page.resolve().parent / 'tables'}")
    print(f"Notebooks: {Path(sys.executable).parent / 'arrange'} lab")
    return 0


def _convert(options: argparse.Namespace) -> int:
    song = convert(options.file, options.target, overwrite=options.overwrite)
    for notice in song.notices:
        print(f"note: {notice}")
    print(f"{song.title or options.file} is now {options.target} too.")
    return 0


def _octaves(texts: Sequence[str]) -> dict[str, int]:
    octaves = {}
    for text in texts:
        part, _, number = text.rpartition("=")
        try:
            octaves[part] = whole_number(number if part else "")
        except argparse.ArgumentTypeError as error:
            raise ArrangeError(
                f"--octave {shortened(text, 60)!r}: write PART=N, such as 'Guitar 1=-1'; {error}"
            ) from None
    return octaves


def _songbook(options: argparse.Namespace) -> int:
    check_folder(Path(options.output))
    players = dict(_player(text) for text in options.player)
    book = read_songbook(options.file, players=players)
    for row in book.faults.itertuples():
        place = ", ".join(filter(None, [row.file, row.where]))
        print(f"not read: {place}: {row.what}; {row.to_do}", file=sys.stderr)
    if not book.songs:
        raise ArrangeError("no song could be read, so nothing was written")
    page = write_songbook(book, options.output)
    songs, changes = len(book.songs), int(changes_between(book)["changes"].sum())
    print(f"{counted(songs, 'song')}, {changes} changes of strings and capos.")
    print(f"Page:   {page.resolve()}\nTables: {page.resolve().parent / 'tables'}")
    return 0


def _player(text: str) -> tuple[str, str]:
    part, _, name = (each.strip() for each in text.rpartition("="))
    if not part or not name:
        raise ArrangeError(f"--player {text!r}: write PART=NAME, such as 'Guitar 1=Ann'")
    return part, name
