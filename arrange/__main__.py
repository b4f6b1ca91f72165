"""The command: ``arrange`` and what it does with a song, a word for each."""

from __future__ import annotations

import argparse
import importlib
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from arrange.condensing import condense
from arrange.converting import convert, write_song
from arrange.decisions import decisions_path, read_decisions, rebuild
from arrange.errors import ArrangeError, ChartError
from arrange.findings import parse_waiver
from arrange.formats.files import whole_file
from arrange.reading import read
from arrange.revoicing import proposals_table, revoice
from arrange.study import study

_NOTEBOOKS = Path(__file__).parent.parent / "notebooks"  # there in a clone of the repository
_SLOW = 1_000_000  # bytes: from here on a reader may wonder whether anything happens


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code: 0, 1 if `ready` finds something amiss, or 2 for
    bad input.
    """
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
    for add in (
        _add_study, _add_convert, _add_revoice, _add_condense, _add_rebuild, _add_handout,
        _add_listen, _add_workshop, _add_ready,
    ):  # fmt: skip
        add(commands)
    return parser


def _add_command(commands: Any, name: str, run: Any, told: str, more: str) -> Any:
    """Add a command that reads a song; `told` in a few words, `more` in a sentence or two."""
    command = commands.add_parser(name, help=told, description=more)
    command.add_argument("file", metavar="IN", help="a song: .musicxml, .xml, .mxl, .mid or .txt")
    command.set_defaults(run=run)
    return command


def _add_target(command: Any) -> None:
    command.add_argument(
        "-o", "--output", metavar="OUT", required=True, help="a .musicxml, .mid or .txt"
    )
    command.add_argument("--overwrite", action="store_true", help="replace files that are there")


def _add_stretch(command: Any) -> None:
    command.add_argument("--section", help="such as 'Chorus 1'")
    command.add_argument("--measures", metavar="FIRST-LAST", help="played measures, such as 21-24")


def _add_log(command: Any) -> None:
    command.add_argument(
        "--decisions", metavar="LOG", help="the log (default: beside IN, .decisions.txt)"
    )


def _add_study(commands: Any) -> None:
    command = _add_command(
        commands, "study", _study, "measure a song and write a report",
        "Read a song, measure where its parts lie, find where they clash, and write one HTML "
        "report with the tables as CSV and Parquet beside it.",
    )  # fmt: skip
    command.add_argument(
        "-o", "--output", metavar="FOLDER", default="study", help="where to write (default: study)"
    )
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
    _add_log(command)


def _add_convert(commands: Any) -> None:
    command = _add_command(
        commands, "convert", _convert, "turn a song into another format",
        "Read a song and write it in the format that the second name ends in: .musicxml, .mid or "
        ".txt (a chart).",
    )  # fmt: skip
    command.add_argument("target", metavar="OUT", help="where to write")
    command.add_argument("--overwrite", action="store_true", help="replace a file that is there")


def _add_revoice(commands: Any) -> None:
    command = _add_command(
        commands, "revoice", _revoice, "propose what else a part could play where it clashes",
        "Read a song and tell what else a part could play in a stretch so that findings end, the "
        "best first; with -o, each proposal as a file too.",
    )  # fmt: skip
    command.add_argument("--part", required=True, help="such as 'Guitar 2'")
    _add_stretch(command)
    command.add_argument("--chord", help="every place of a chord symbol, such as Cm7")
    command.add_argument("--most", type=int, default=5, help="how many proposals (default: 5)")
    command.add_argument("-o", "--output", metavar="FOLDER", help="where to write them")


def _add_condense(commands: Any) -> None:
    command = _add_command(
        commands, "condense", _condense, "turn many recorded layers into parts for a few players",
        "Read a song with its recorded layers, find section by section who takes which of them, "
        "and write the arrangement, a table of the choices with their reasons beside it.",
    )  # fmt: skip
    command.add_argument(
        "--players", default="2", help="how many, or their names: 2, or 'Ann, Ben' (default: 2)"
    )
    command.add_argument(
        "--layer", action="append",
        help="a part to share out (default: every guitar); may be given several times",
    )  # fmt: skip
    command.add_argument(
        "--role", metavar="LAYER=ROLE", action="append", default=[],
        help="what a layer is there for: lead, hook, rhythm, fill, pad or double; may be given "
        "several times",
    )  # fmt: skip
    for name, told in (
        ("pin", "what a player must take"),
        ("forbid", "what must not be taken"),
    ):
        command.add_argument(
            f"--{name}", metavar="WHAT", action="append", default=[],
            help=f"{told}: 'Player 1; Chorus 1; Hook', layers joined by +, none for laying out, "
            "any for every player or section; may be given several times",
        )  # fmt: skip
    _add_target(command)


def _add_rebuild(commands: Any) -> None:
    command = _add_command(
        commands, "rebuild", _rebuild, "make the arrangement from a song and its decisions",
        "Read a song and its log of decisions, make all agreed changes, and write the "
        "arrangement. Decisions whose passage has changed since are told, not made.",
    )  # fmt: skip
    _add_log(command)
    _add_target(command)


def _add_handout(commands: Any) -> None:
    command = _add_command(
        commands, "handout", _handout, "write a part sheet for each player, and one for the band",
        "Read a song and write sheets for the music stand, as PDF and HTML: one for each player, "
        "one for the band.",
    )  # fmt: skip
    command.add_argument("-o", "--output", metavar="FOLDER", required=True, help="where to write")
    command.add_argument(
        "--player", action="append",
        help="a part or player (default: every guitar); may be given several times",
    )  # fmt: skip
    command.add_argument("--paper", default="A4", help="A4 or letter (default: A4)")
    command.add_argument(
        "--style", default="notation", help="notation or shapes (default: notation)"
    )
    _add_log(command)


def _add_listen(commands: Any) -> None:
    command = _add_command(
        commands, "listen", _listen, "make a song, or a stretch of it, sound",
        "Read a song and write it as sound. Turn the volume down before you play it.",
    )  # fmt: skip
    command.add_argument("-o", "--output", metavar="FILE", required=True, help="a .wav or .ogg")
    _add_stretch(command)
    command.add_argument(
        "--part", action="append", help="only this part; may be given several times"
    )
    command.add_argument("--tempo", type=float, help="quarter notes a minute at the start")
    command.add_argument("--count-in", type=int, default=0, metavar="BARS", help="clicks before")
    command.add_argument("--click", action="store_true", help="clicks on the beats")
    command.add_argument("--loop", action="store_true", help="can be repeated without a seam")
    command.add_argument("--font", metavar="SF2", help="play from a SoundFont of your own")


def _add_workshop(commands: Any) -> None:
    command = _add_command(
        commands, "workshop", _workshop, "make exercises from a song, and the papers of a workshop",
        "Read a song and write exercises made from it: notebooks, sheets with questions, hints and "
        "answers, a leader's plan for sixty minutes and a page to take home.",
    )  # fmt: skip
    command.add_argument("-o", "--output", metavar="FOLDER", required=True, help="where to write")
    command.add_argument("--seed", type=int, default=1, help="another one, other exercises")
    command.add_argument(
        "--size", default="small", help="small, middle or large (default: small, with choices)"
    )
    command.add_argument(
        "--overwrite", action="store_true", help="replace notebooks that are there and differ"
    )


def _add_ready(commands: Any) -> None:
    command = commands.add_parser(
        "ready", help="check this machine the evening before a workshop",
        description="Check what a workshop needs: Python and packages, notebooks, sound, a printed "
        "page, the song, free disk. Ends with 0 if all is there, else with 1.",
    )  # fmt: skip
    command.add_argument("file", nargs="?", metavar="IN", help="the song (default: the demo song)")
    command.set_defaults(run=_ready)


def _study(options: argparse.Namespace) -> int:
    source = Path(options.file)
    tell = _progress(source)
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


def _condense(options: argparse.Namespace) -> int:
    song = read(options.file)
    players = [name.strip() for name in options.players.split(",")]
    rules = {
        name: [_choice(text, name) for text in getattr(options, name)] for name in ("pin", "forbid")
    }
    table = Path(options.output).with_suffix(".choices.csv")
    if table.exists() and not options.overwrite:
        raise ArrangeError(f"{table} is there already; choose another name, or --overwrite")
    result = condense(
        song,
        int(players[0]) if len(players) == 1 and players[0].isdecimal() else players,
        layers=options.layer,
        roles=dict(_role(text) for text in options.role),
        pins=rules["pin"],
        forbid=rules["forbid"],
    )
    write_song(result.song, options.output, overwrite=options.overwrite)
    told = result.choices.assign(layers=[" + ".join(each) for each in result.choices["layers"]])
    with whole_file(table) as draft:
        told.drop(columns=["tuning"]).to_csv(draft, index=False)
    for section, rows in told.groupby("section", sort=False):
        print(section)
        for row in rows.itertuples():
            print(f"  {row.player} {row.action} {row.layers}".rstrip() + f": {row.reason}")
    for notice in result.song.notices:
        print(f"note: {notice}")
    how = "proven: nothing is worth more" if result.is_proven else f"at most {result.gap:.1%} short"
    print(f"{result.share:.0%} of what all layers are worth; {how}.")
    print(f"Song: {options.output}\nChoices with reasons: {table}")
    return 0


def _choice(text: str, name: str) -> tuple[Any, Any, tuple[str, ...]]:
    """A player, a section and layers, as ``condense`` takes them."""
    told = [each.strip() for each in text.split(";")]
    if len(told) != 3:
        raise ArrangeError(
            f"--{name} {text!r}: write player; section; layers, such as 'Player 1; Chorus 1; Hook'"
        )
    player, section = (None if each == "any" else each for each in told[:2])
    return player, section, tuple(filter(None, (each.strip() for each in told[2].split("+"))))


def _role(text: str) -> tuple[str, str]:
    layer, equals, role = text.rpartition("=")
    if not equals:
        raise ArrangeError(f"--role {text!r}: write LAYER=ROLE, such as 'Guitar 3=lead'")
    return layer.strip(), role.strip()


def _revoice(options: argparse.Namespace) -> int:
    song = read(options.file)
    proposals = revoice(
        song, options.part, section=options.section, measures=_measures(options.measures),
        chord=options.chord,
    )[: max(options.most, 1)]  # fmt: skip
    for number, each in enumerate(proposals, start=1):
        ended, brought = len(each.ended), len(each.brought)
        before, after = each.before_after[["severity_before", "severity_after"]].sum()
        print(
            f"{number}. {each.idea}: ends {ended}, brings {brought}; severity {before:.2f} to "
            f"{after:.2f}; cost {each.cost:.0f} mm"
        )
        print(f"   {each.why}")
    if options.output:
        folder = Path(options.output)
        paths = [folder / f"{n}-{each.idea.replace(' ', '-')}.musicxml"
                 for n, each in enumerate(proposals, start=1)]  # fmt: skip
        for path, each in zip(paths, proposals, strict=True):
            write_song(each.song, path, overwrite=True)
        with whole_file(folder / "proposals.csv") as draft:
            proposals_table(proposals).to_csv(draft, index=False)
        print(f"Written: {folder}")
    return 0


def _measures(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    first, _, last = text.partition("-")
    if not (first.isdecimal() and (last or first).isdecimal()):
        raise ArrangeError(f"--measures {text!r}: write FIRST-LAST, such as 21-24")
    return int(first), int(last or first)


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


def _handout(options: argparse.Namespace) -> int:
    log = Path(options.decisions) if options.decisions else decisions_path(options.file)
    decisions = read_decisions(log) if options.decisions or log.is_file() else None
    # What prints is slow to load; the other commands go without.
    paths = importlib.import_module("arrange.handouts").write_handout(
        read(options.file), Path(options.output), player=options.player, paper=options.paper,
        style=options.style, decisions=decisions,
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0


def _listen(options: argparse.Namespace) -> int:
    # What makes sound is slow to load; the other commands go without.
    sound = importlib.import_module("arrange.sound").render_sound(
        read(options.file), options.output, parts=options.part, section=options.section,
        measures=_measures(options.measures), tempo=options.tempo, count_in=options.count_in,
        with_click=options.click, loop=options.loop, font=options.font,
    )  # fmt: skip
    print(f"{options.output}: {sound.seconds:.1f} s. Turn the volume down before you play it.")
    return 0


def _workshop(options: argparse.Namespace) -> int:
    # What prints and sounds is slow to load; the other commands go without.
    paths = importlib.import_module("arrange.exercises").workshop_papers(
        options.file, options.output, seed=options.seed, size=options.size,
        overwrite=options.overwrite,
    )  # fmt: skip
    for path in paths:
        print(path)
    return 0


def _ready(options: argparse.Namespace) -> int:
    table = importlib.import_module("arrange.exercises").check_environment(options.file)
    for row in table.itertuples():
        mark = "ok " if row.ok else "NOT"
        print(f"{mark} {row.what}: {row.found} (wanted: {row.wanted})")
        if row.to_do:
            print(f"      to do: {row.to_do}")
    missing = int((~table["ok"]).sum())
    print("Ready." if not missing else f"Not ready: {missing} to be mended.")
    return 1 if missing else 0


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
