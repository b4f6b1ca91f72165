"""Make new parts: ``revoice``, ``condense``, ``rebuild``."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from arrange.commands.asked_players import asked_players
from arrange.commands.condensation_text import condensation_text, wrapped
from arrange.commands.shared_options import asked_measures
from arrange.condensing import condense
from arrange.decisions import decisions_path, read_decisions, rebuild
from arrange.errors import ArrangeError
from arrange.formats.converting import song_writer, write_song
from arrange.formats.files import check_folder, check_target, whole_files
from arrange.formats.reading import read
from arrange.revoicing import Scope, proposals_table, revoice
from arrange.text.part_lists import join_parts, split_fields, split_parts, unquoted
from arrange.text.words import counted


def run_revoice(options: argparse.Namespace) -> int:
    """Run ``revoice``."""
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
        figures = (
            f"{number}. {each.idea}: ends {ended}, brings {brought}; severity {before:.2f} to "
            f"{after:.2f}; cost {each.cost:.0f} mm"
        )
        print(wrapped(figures))
        print(wrapped(each.why, "   "))
    if folder:
        print(f"Written: {folder}")
    return 0


def run_condense(options: argparse.Namespace) -> int:
    """Run ``condense``."""
    target = Path(options.output)
    song_writer(target, overwrite=options.overwrite, source=options.file)
    table = target.with_suffix(".choices.csv")
    check_target(table, overwrite=options.overwrite)
    rules = {
        name: [_choice(text, name) for text in getattr(options, name)] for name in ("pin", "forbid")
    }
    result = condense(
        read(options.file),
        _players(options),
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
    print(wrapped(f"{result.share:.0%} of what all layers are worth; {how}."))
    print(f"Song: {target}\nChoices with reasons: {table}")
    return 0


def _players(options: argparse.Namespace) -> Any:
    """The number of players, or the players, as ``condense`` takes them."""
    if options.player and options.players is not None:
        raise ArrangeError("--player and --players: give one of them, --player for each player")
    if options.player:
        return asked_players(options.player)
    return options.players


def _choice(text: str, name: str) -> tuple[Any, Any, tuple[str, ...]]:
    """A player, a section and layers, as ``condense`` takes them."""
    fields = split_fields(text, ";")
    if len(fields) != 3:
        raise ArrangeError(
            f"--{name} {text!r}: write player; section; layers, such as 'Player 1; Chorus 1; Hook'"
        )
    player, section = (None if each == "any" else unquoted(each) for each in fields[:2])
    layers = () if fields[2] == "none" else tuple(split_parts(fields[2]))
    return player, section, layers


def _role(text: str) -> tuple[str, str]:
    layer, equals, role = text.rpartition("=")
    if not equals:
        raise ArrangeError(f"--role {text!r}: write LAYER=ROLE, such as 'Guitar 3=lead'")
    return layer.strip(), role.strip()


def run_rebuild(options: argparse.Namespace) -> int:
    """Run ``rebuild``."""
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
