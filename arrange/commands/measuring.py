"""Read songs and say what is in them: ``study``, ``songbook``, ``convert``."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from arrange.commands.condensation_text import wrapped
from arrange.commands.shared_options import progress, whole_number
from arrange.errors import ArrangeError, shortened
from arrange.findings import group_findings, parse_waiver
from arrange.findings.summary import trait_sentences
from arrange.formats.converting import convert
from arrange.formats.files import check_folder
from arrange.report.studying import study
from arrange.songbook import changes_between, read_songbook, write_songbook
from arrange.text.words import counted


def run_study(options: argparse.Namespace) -> int:
    """Run ``study``."""
    source = Path(options.file)
    check_folder(Path(options.output))
    show_step = progress(source)
    waivers = [parse_waiver(text, f"W{n}") for n, text in enumerate(options.waive, start=1)]
    show_step("reading")
    octaves = _octaves(options.octave)
    result = study(
        source, played=not options.page_order, octaves=octaves, waivers=waivers,
        decisions=options.decisions,
    )  # fmt: skip
    show_step("measuring and looking for clashes")
    found, waived = len(result.findings), int(result.findings["waived"].notna().sum())
    show_step("drawing and writing")
    page = result.write(options.output)
    title = result.song.title or source.name
    but = f", {waived} of them waived" if waived else ""
    print(f"{title}: {counted(found, 'place')} to listen to{but}.")
    for sentence in trait_sentences(group_findings(result.findings, result.song)):
        print(wrapped(sentence))
    print(f"Report:    {page.resolve()}")
    print(f"Tables:    {page.resolve().parent / 'tables'}")
    print(f"Notebooks: {Path(sys.executable).parent / 'arrange'} lab")
    return 0


def run_convert(options: argparse.Namespace) -> int:
    """Run ``convert``."""
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


def run_songbook(options: argparse.Namespace) -> int:
    """Run ``songbook``."""
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
    print(f"{counted(songs, 'song')}, {counted(changes, 'change')} of strings and capos.")
    print(f"Page:   {page.resolve()}\nTables: {page.resolve().parent / 'tables'}")
    return 0


def _player(text: str) -> tuple[str, str]:
    part, _, name = (each.strip() for each in text.rpartition("="))
    if not part or not name:
        raise ArrangeError(f"--player {text!r}: write PART=NAME, such as 'Guitar 1=Ann'")
    return part, name
