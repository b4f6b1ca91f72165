"""Make other parts of them: ``revoice``, ``condense``, ``rebuild``."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from arrange.commands.condensation_text import condensation_text, wrapped
from arrange.commands.options import (
    add_command,
    add_log,
    add_stretch,
    add_target,
    asked_measures,
    path_text,
    whole_number,
)
from arrange.condensing import condense
from arrange.decisions import decisions_path, read_decisions, rebuild
from arrange.errors import ArrangeError
from arrange.formats.converting import song_writer, write_song
from arrange.formats.files import check_folder, check_target, whole_files
from arrange.formats.reading import read
from arrange.revoicing import Scope, proposals_table, revoice
from arrange.text.part_lists import join_parts, split_fields, split_parts, unquoted
from arrange.text.words import counted


def add_revoice(commands: Any) -> None:
    """Add ``revoice``."""
    command = add_command(
        commands, "revoice", _revoice, "propose what else a part could play where it clashes",
        "Read a song and tell what else a part could play in a stretch so that findings end, the "
        "best first; with -o, each proposal as a file too.",
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


def add_condense(commands: Any) -> None:
    """Add ``condense``."""
    command = add_command(
        commands, "condense", _condense, "turn many recorded layers into parts for a few players",
        "Read a song with its recorded layers, find section by section who takes which of them, "
        "and write the arrangement, a table of the choices with their reasons beside it.",
        "datasets/last-bell.musicxml --players 'Ann, Ben' -o two.musicxml",
    )  # fmt: skip
    command.add_argument(
        "--players", default=2, type=_players,
        help="how many, or their names: 2, or 'Ann, Ben' (default: 2)",
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


def add_rebuild(commands: Any) -> None:
    """Add ``rebuild``."""
    command = add_command(
        commands, "rebuild", _rebuild, "make the arrangement from a song and its decisions",
        "Read a song and its log of decisions, make all agreed changes, and write the "
        "arrangement. Decisions whose passage has changed since are reported and not applied.",
        "datasets/low-water.musicxml --decisions datasets/low-water-agreed.decisions.txt "
        "-o arranged.mid",
    )  # fmt: skip
    add_log(command)
    add_target(command)


def _revoice(options: argparse.Namespace) -> int:
    if options.most < 1:
        raise ArrangeError(f"--most {options.most}: ask for at least one proposal")
    folder = Path(options.output) if options.output else None
    if folder:
        check_folder(folder)
    measures = asked_measures(options.measures)
    song = read(options.file)
    proposals = revoice(
        song, options.part, options.section, measures, scope=Scope(chord=options.chord)
    )[: options.most]
    if folder:
        with whole_files(folder) as draft:
            for number, each in enumerate(proposals, start=1):
                name = f"{number}-{each.idea.replace(' ', '-')}.musicxml"
                write_song(each.song, draft / name)
            proposals_table(proposals).to_csv(draft / "proposals.csv", index=False)
    for number, each in enumerate(proposals, start=1):
        ended, brought = len(each.ended), len(each.brought)
        before, after = each.before_after[["severity_before", "severity_after"]].sum()
        print(
            f"{number}. {each.idea}: ends {ended}, brings {brought}; severity {before:.2f} to "
            f"{after:.2f}; cost {each.cost:.0f} mm"
        )
        print(wrapped(each.why, "   "))
    if folder:
        print(f"Written: {folder}")
    return 0


def _condense(options: argparse.Namespace) -> int:
    target = Path(options.output)
    song_writer(target, overwrite=options.overwrite, source=options.file)
    table = target.with_suffix(".choices.csv")
    check_target(table, overwrite=options.overwrite)
    rules = {
        name: [_choice(text, name) for text in getattr(options, name)] for name in ("pin", "forbid")
    }
    result = condense(
        read(options.file),
        options.players,
        layers=options.layer,
        roles=dict(_role(text) for text in options.role),
        pins=rules["pin"],
        forbid=rules["forbid"],
    )
    choices = result.choices.assign(layers=list(map(join_parts, result.choices["layers"])))
    with whole_files(target.parent) as draft:
        left_out = write_song(result.song, draft / target.name)
        choices.drop(columns=["tuning"]).to_csv(draft / table.name, index=False)
    for line in condensation_text(result):
        print(line)
    for notice in (*result.song.notices, *left_out):
        print(wrapped(f"note: {notice}"))
    how = "proven: nothing is worth more" if result.is_proven else f"at most {result.gap:.1%} short"
    print(f"{result.share:.0%} of what all layers are worth; {how}.")
    print(f"Song: {target}\nChoices with reasons: {table}")
    return 0


def _players(text: str) -> int | list[str]:
    """How many players, or their names."""
    names = [unquoted(name) for name in split_fields(text, ",")]
    if len(names) == 1 and not any(map(str.isalpha, names[0])):
        return whole_number(names[0])
    return names


def _choice(text: str, name: str) -> tuple[Any, Any, tuple[str, ...]]:
    """A player, a section and layers, as ``condense`` takes them."""
    fields = split_fields(text, ";")
    if len(fields) != 3:
        raise ArrangeError(
            f"--{name} {text!r}: write player; section; layers, such as 'Player 1; Chorus 1; Hook'"
        )
    player, section = (None if each == "any" else unquoted(each) for each in fields[:2])
    return player, section, tuple(split_parts(fields[2]))


def _role(text: str) -> tuple[str, str]:
    layer, equals, role = text.rpartition("=")
    if not equals:
        raise ArrangeError(f"--role {text!r}: write LAYER=ROLE, such as 'Guitar 3=lead'")
    return layer.strip(), role.strip()


def _rebuild(options: argparse.Namespace) -> int:
    song_writer(Path(options.output), overwrite=options.overwrite, source=options.file)
    song = read(options.file)
    log = read_decisions(options.decisions or decisions_path(options.file))
    built = rebuild(song, log)
    left_out = write_song(built.song, options.output, overwrite=options.overwrite)
    for notice in (*log.notices, *left_out):
        print(f"note: {notice}")
    for decision, why in built.stale:
        print(f"not made: {decision}; {why}")
    made = len(built.applied)
    print(f"{counted(made, 'decision')} made: {options.output}")
    return 0
