"""Change a song: ``mend``, ``change-key``."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from arrange.clashes import find_clashes
from arrange.commands.asked_players import asked_players
from arrange.commands.condensation_text import wrapped
from arrange.errors import ArrangeError
from arrange.findings import apply_move, smallest_moves
from arrange.formats.converting import song_writer, write_song
from arrange.formats.reading import read
from arrange.revoicing import change_key
from arrange.tables.song import Song
from arrange.text.words import counted


def run_mend(options: argparse.Namespace) -> int:
    """Run ``mend``."""
    _check_target(options)
    if options.output and options.finding is None:
        raise ArrangeError("-o needs --finding N; leave both out for the list of findings")
    song = read(options.file)
    findings = find_clashes(song)
    if options.finding is None:
        for number, row in enumerate(findings.itertuples(), start=1):
            print(wrapped(f"{number}. measure {row.measure}, {row.kind}: {row.why}"))
        print(f"{counted(len(findings), 'finding')}; --finding N says what ends one.")
        return 0
    finding = _numbered(findings.itertuples(), options.finding, "--finding", "finding")
    moves = smallest_moves(song, finding)
    if not moves["changed"].map(len).all():
        raise ArrangeError(f"--finding {options.finding}: {moves['move'].iloc[0]}")
    move = _numbered(moves.itertuples(), options.take, "--take", "change")
    print(wrapped(f"Measure {finding.measure}, {finding.kind}: {finding.why}"))
    for number, each in enumerate(moves.itertuples(), start=1):
        brings = f"; brings {counted(each.also, 'finding')}" if each.also else ""
        outside = "; outside the chord" if each.in_chord is False else ""
        print(wrapped(f"{number}. {each.part}: {each.move}{outside}{brings}", "  "))
    if options.output:
        changed = apply_move(song, move)
        _write(changed, options)
        left = counted(len(find_clashes(changed)), "finding")
        print(wrapped(f"{move.part}: {move.move}. {left}, {len(findings)} before."))
        print(f"Written: {options.output}")
    return 0


def run_change_key(options: argparse.Namespace) -> int:
    """Run ``change-key``."""
    _check_target(options)
    if options.most < 1:
        raise ArrangeError(f"--most {options.most}: ask for at least one")
    players = asked_players(options.player)
    proposals = change_key(read(options.file), options.by, players or None)
    chosen = _numbered(proposals, options.take, "--take", "way")
    for number, each in enumerate(proposals[: options.most], start=1):
        counts = each.before_after[["before", "after"]].sum().astype(int)
        before, after = each.before_after[["severity_before", "severity_after"]].sum()
        figures = (
            f"{number}. findings {counts['before']} to {counts['after']}, severity {before:.2f} to "
            f"{after:.2f}; cost {each.cost:.0f} mm"
        )
        print(wrapped(figures))
        print(wrapped(each.why, "   "))
    if options.output:
        _write(chosen.song, options)
        print(f"Written: {options.output} (number {options.take})")
    return 0


def _check_target(options: argparse.Namespace) -> None:
    """Refuse what cannot be written before any work is done."""
    if options.output:
        song_writer(Path(options.output), overwrite=options.overwrite, source=options.file)


def _numbered(rows: Any, number: int, option: str, what: str) -> Any:
    """The row of a number, from 1."""
    listed: Sequence[Any] = [*rows]
    if not 1 <= number <= len(listed):
        there = f"there are {len(listed)}, from 1" if listed else "there is none"
        raise ArrangeError(f"{option} {number}: there is no such {what}; {there}")
    return listed[number - 1]


def _write(song: Song, options: argparse.Namespace) -> None:
    for notice in write_song(song, options.output, overwrite=options.overwrite):
        print(wrapped(f"note: {notice}"))
