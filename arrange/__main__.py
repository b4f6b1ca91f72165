"""The command: ``arrange study``, ``convert``, ``rebuild`` and ``listen``."""

from __future__ import annotations

import argparse
import importlib
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from arrange.converting import convert, write_song
from arrange.decisions import decisions_path, read_decisions, rebuild
from arrange.errors import ArrangeError, ChartError
from arrange.findings import parse_waiver
from arrange.reading import read
from arrange.study import study

_NOTEBOOKS = Path(__file__).parent.parent / "notebooks"  # there in a clone of the repository
_SLOW = 1_000_000  # bytes: from here on a reader may wonder whether anything happens


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code: 0, or 2 for bad input."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except ChartError as error:
        print(f"arrange: {options.file} has faults:\n{error}", file=sys.stderr)
        return 2
    except ArrangeError as error:
        print(f"arrange: {' '.join(str(error).split())}", file=sys.stderr)
        return 2


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="arrange", description="Study guitar parts: see where two get in each other's way."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    command = commands.add_parser(
        "study",
        help="measure a song and write a report",
        description="Read a song, measure where its parts lie, find where they clash, and write "
        "one HTML report with the tables as CSV and Parquet beside it.",
    )
    command.add_argument("file", metavar="FILE", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.add_argument(
        "-o", "--output", metavar="FOLDER", default="study", help="where to write (default: study)"
    )
    command.add_argument(
        "--page-order",
        action="store_true",
        help="keep the order of the page instead of playing out repeats and jumps",
    )
    command.add_argument(
        "--octave",
        metavar="PART=N",
        action="append",
        default=[],
        help="move a part by N octaves, such as 'Guitar 1=-1'; may be given several times",
    )
    command.add_argument(
        "--waive",
        metavar="WHAT",
        action="append",
        default=[],
        help="findings that are meant to be so, such as 'kind=doubling; section=Chorus 1; "
        "reason=the hook is meant'; by kind, parts (A + B), section, measures (21-24) or several "
        "of them; may be given several times",
    )
    command.set_defaults(run=_study)

    command = commands.add_parser(
        "convert",
        help="turn a song into another format",
        description="Read a song and write it in the format that the second name ends in: "
        ".musicxml, .mid or .txt (a chart).",
    )
    command.add_argument("file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.add_argument("target", metavar="OUT", help="where to write")
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    command.set_defaults(run=_convert)

    command = commands.add_parser(
        "rebuild",
        help="make the arrangement from a song and its decisions",
        description="Read a song and its log of decisions, make all agreed changes, and write the "
        "arrangement. Decisions whose passage has changed since are told, not made.",
    )
    command.add_argument("file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.add_argument(
        "--decisions", metavar="LOG", help="the log (default: beside IN, .decisions.txt)"
    )
    command.add_argument(
        "-o", "--output", metavar="OUT", required=True, help="a .musicxml, .mid or .txt"
    )
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")
    command.set_defaults(run=_rebuild)

    command = commands.add_parser(
        "listen",
        help="make a song, or a stretch of it, sound",
        description="Read a song and write it as sound. Turn the volume down before you play it.",
    )
    command.add_argument("file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.add_argument("-o", "--output", metavar="FILE", required=True, help="a .wav or .ogg")
    command.add_argument("--section", help="such as 'Chorus 1'")
    command.add_argument("--measures", metavar="FIRST-LAST", help="played measures, such as 21-24")
    command.add_argument(
        "--part", action="append", help="only this part; may be given several times"
    )
    command.add_argument("--tempo", type=float, help="quarter notes a minute at the start")
    command.add_argument("--count-in", type=int, default=0, metavar="BARS", help="clicks before")
    command.add_argument("--click", action="store_true", help="clicks on the beats")
    command.add_argument("--loop", action="store_true", help="can be repeated without a seam")
    command.add_argument("--font", metavar="SF2", help="play from a SoundFont of your own")
    command.set_defaults(run=_listen)
    return parser


def _study(options: argparse.Namespace) -> int:
    source = Path(options.file)
    tell = _progress(source)
    waivers = [parse_waiver(text, f"W{n}") for n, text in enumerate(options.waive, start=1)]
    tell("reading")
    octaves = _octaves(options.octave)
    result = study(source, played=not options.page_order, octaves=octaves, waivers=waivers)
    tell("measuring and looking for clashes")
    found, waived = len(result.findings), int(result.findings["waived"].notna().sum())
    tell("drawing and writing")
    page = result.write(options.output)
    title = result.song.title or source.name
    but = f", {waived} of them waived" if waived else ""
    print(f"{title}: {found} place{'s' if found != 1 else ''} to listen to{but}.")
    print(f"Report:    {page.resolve()}")
    print(f"Tables:    {page.resolve().parent / 'tables'}")
    if _NOTEBOOKS.is_dir():
        print(f"Notebooks: {Path(sys.executable).parent / 'jupyter'} lab {_NOTEBOOKS}")
    return 0


def _convert(options: argparse.Namespace) -> int:
    song = convert(options.file, options.target, overwrite=options.overwrite)
    for notice in song.notices:
        print(f"note: {notice}")
    print(f"{song.title or options.file} is now {options.target} too.")
    return 0


def _rebuild(options: argparse.Namespace) -> int:
    song = read(options.file)
    log = read_decisions(options.decisions or decisions_path(options.file))
    built = rebuild(song, log)
    write_song(built.song, options.output, overwrite=options.overwrite)
    for notice in log.notices:
        print(f"note: {notice}")
    for decision, why in built.stale:
        print(f"not made: {decision}; {why}")
    made = len(built.applied)
    print(f"{made} decision{'s' if made != 1 else ''} made: {options.output}")
    return 0


def _listen(options: argparse.Namespace) -> int:
    measures = None
    if options.measures:
        first, _, last = options.measures.partition("-")
        if not (first.isdecimal() and (last or first).isdecimal()):
            raise ArrangeError(f"--measures {options.measures!r}: write FIRST-LAST, such as 21-24")
        measures = (int(first), int(last or first))
    # What makes sound is slow to load; the other commands go without.
    sound = importlib.import_module("arrange.sound").render_sound(
        read(options.file), options.output, parts=options.part, section=options.section,
        measures=measures, tempo=options.tempo, count_in=options.count_in,
        with_click=options.click, loop=options.loop, font=options.font,
    )  # fmt: skip
    print(f"{options.output}: {sound.seconds:.1f} s. Turn the volume down before you play it.")
    return 0


def _octaves(texts: Sequence[str]) -> dict[str, int]:
    octaves = {}
    for text in texts:
        part, _, number = text.rpartition("=")
        if not part or not number.removeprefix("-").removeprefix("+").isdecimal():
            raise ArrangeError(f"--octave {text!r}: write PART=N, such as 'Guitar 1=-1'")
        octaves[part] = int(number)
    return octaves


def _progress(source: Path) -> Callable[[str], None]:
    """A teller of steps on stderr, silent for files that take no time."""
    start = time.monotonic()
    is_slow = source.is_file() and source.stat().st_size > _SLOW // (
        10 if source.suffix == ".mxl" else 1
    )

    def tell(step: str) -> None:
        if is_slow or time.monotonic() - start > 1:
            print(f"arrange: {step} ({time.monotonic() - start:.1f} s)", file=sys.stderr)

    return tell


if __name__ == "__main__":
    sys.exit(main())
