"""What stands on the band sheet: the form, the energy, who plays what, and what was decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from arrange.decisions import DecisionLog
from arrange.explaining.part_sections import who_plays
from arrange.explaining.section_setups import own_played_setups
from arrange.guitar.necks import capo_words
from arrange.handouts.remarks_and_decisions import decision_words, last_decisions, open_decisions
from arrange.handouts.sheets import LOUDNESS, WARM_UP
from arrange.handouts.song_facts import new_facts, song_facts, tuning_words
from arrange.handouts.stretches import song_bars
from arrange.quantities.texture import echo_times, song_energy
from arrange.tables.song import Remark, Song
from arrange.text.words import listed

_LEGEND = (
    "Filled box: plays; empty: lays out. Energy: a long bar is a full section, measured on this "
    "song."
)
_TIMES = " ×"  # behind chords that are played several times over
_LONGEST = 150  # letters of a decision
_MOST_BESIDE = 22  # letters of part names beside each other


@dataclass(frozen=True)
class BandRow:
    """A section: `chords` all in order, `energy` from 0 to 1, `plays` a value a part."""

    section: str
    first: int
    last: int
    time: str
    chords: str
    energy: float
    plays: tuple[bool, ...]


@dataclass(frozen=True)
class BandSheet:
    """A band sheet; `players` holds (part, what it is and does)."""

    title: str
    facts: tuple[tuple[str, str], ...]
    changes: tuple[str, ...]
    parts: tuple[str, ...]
    has_upright_names: bool
    rows: tuple[BandRow, ...]
    legend: str
    players: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...]
    decisions: tuple[str, ...]
    cautions: tuple[str, ...]


def band_sheet(song: Song, decisions: DecisionLog | None, roles: Mapping[str, str]) -> BandSheet:
    """Return what stands on the band sheet.

    Parameters
    ----------
    song : Song
    decisions : DecisionLog, optional
        Those proposed and agreed are printed.
    roles : mapping of part to str
        What each part is for, such as ``"hook and answers"``.
    """
    plays, bars = who_plays(song), song_bars(song)
    energy = song_energy(song).set_index("section")["energy"]
    rows = tuple(
        BandRow(
            row.section,
            row.first_measure,
            row.last_measure,
            song.clock(row.onset),
            _progression([chord for bar in bars[row.section] for chord in bar.chords]),
            float(energy.get(row.section, 0.0)),
            tuple(plays.loc[row.section].tolist()),
        )
        for row in song.sections.itertuples()
    )
    has_times = any(_TIMES in row.chords for row in rows)
    changes = tuple(f"from bar {bar}: {fact}" for bar, fact in new_facts(song).items())
    return BandSheet(
        song.title or "Untitled",
        tuple(song_facts(song)),
        changes,
        tuple(plays.columns),
        sum(map(len, plays.columns)) > _MOST_BESIDE,
        rows,
        _LEGEND + (f"{_TIMES}2: all chords of the row twice." if has_times else ""),
        tuple(_players(song, roles)),
        tuple(_remark(each) for each in song.remarks),
        tuple(_decided(decisions)),
        (LOUDNESS, WARM_UP),
    )


def _progression(symbols: Sequence[str]) -> str:
    """All chord symbols of a section in order; played several times over, once and how often."""
    symbols = list(symbols)
    count = len(symbols)
    once = next((n for n in range(1, count) if symbols == symbols[:n] * (count // n)), count)
    times = f"{_TIMES}{count // once}" if once < count else ""
    return " ".join(symbols[:once]) + times


_ECHO = ["echo", "milliseconds"]


def _players(song: Song, roles: Mapping[str, str]) -> list[tuple[str, str]]:
    times = echo_times(song).drop_duplicates(["part", "echo"])
    lines = []
    for row in song.parts.itertuples():
        words = [row.player] if isinstance(row.player, str) and row.player != row.part else []
        is_named = isinstance(row.instrument, str) and row.instrument != row.part
        words.append(row.instrument if is_named else row.family)
        if isinstance(row.tuning, tuple):
            words.append(tuning_words(row.tuning))
        own = own_played_setups(song, row.part)
        capos, drives = ([*dict.fromkeys(own[name])] for name in ("capo", "drive"))
        words += [capo_words(capo) for capo in capos if any(capos)]
        words.append(listed(drives) if row.family in ("guitar", "bass") else "")
        for _, echo, late in times.loc[times["part"] == row.part, _ECHO].itertuples():
            words.append(f"echo {echo}" + (f", {late:.0f} ms" if late == late else ""))
        if row.part in roles:
            words.append(f"role: {roles[row.part]}")
        lines.append((row.part, "; ".join(filter(None, words))))
    return lines


def _remark(remark: Remark) -> str:
    where = f"{', '.join(remark.sections)}: " if remark.sections else ""
    return where + remark.text


def _decided(log: DecisionLog | None) -> list[str]:
    decisions = open_decisions(log)
    sentences = [
        decision_words(each, _LONGEST) + (" (proposed)" if each.status == "proposed" else "")
        for each in decisions
    ]
    return last_decisions(decisions, sentences)
