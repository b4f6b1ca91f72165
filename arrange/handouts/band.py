"""What stands on the band sheet: the form, the energy, who plays what, and what was decided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from arrange.decisions import Decision, DecisionLog
from arrange.handouts.cues import bars_words
from arrange.handouts.playing import who_plays
from arrange.handouts.sheets import (
    LOUDNESS,
    WARM_UP,
    new_facts,
    section_bars,
    song_facts,
    tuning_words,
)
from arrange.tables import Song
from arrange.texture import echo_times, song_energy

MOST_DECISIONS = 12
_MOST_CHORDS = 8  # a section in short
_LONGEST = 150  # letters of a decision
_OPEN = ("proposed", "agreed")


@dataclass(frozen=True)
class BandRow:
    """A section: `energy` from 0 to 1, `plays` a value a part."""

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
    rows: tuple[BandRow, ...]
    players: tuple[tuple[str, str], ...]
    decisions: tuple[str, ...]
    cautions: tuple[str, ...]


def band_sheet(song: Song, decisions: DecisionLog | None, roles: Mapping[str, str]) -> BandSheet:
    """Return what stands on the band sheet.

    Parameters
    ----------
    song : Song
    decisions : DecisionLog, optional
        Those proposed and agreed are told.
    roles : mapping of part to str
        What each part is for, such as ``"hook and answers"``.
    """
    plays = who_plays(song)
    energy = song_energy(song).set_index("section")["energy"]
    rows = tuple(
        BandRow(
            row.section,
            row.first_measure,
            row.last_measure,
            song.clock(row.onset),
            _short_chords(song, row.first_measure, row.last_measure),
            float(energy.get(row.section, 0.0)),
            tuple(plays.loc[row.section].tolist()),
        )
        for row in song.sections.itertuples()
    )
    changes = tuple(f"from bar {bar}: {told}" for bar, told in new_facts(song).items())
    return BandSheet(
        song.title or "Untitled",
        tuple(song_facts(song)),
        changes,
        tuple(plays.columns),
        rows,
        tuple(_players(song, roles)),
        tuple(_decided(decisions)) if decisions else (),
        (LOUDNESS, WARM_UP),
    )


def _short_chords(song: Song, first: int, last: int) -> str:
    """The chords of a section in order, each once."""
    symbols = [chord for bar in section_bars(song, first, last) for chord in bar.chords]
    known = list(dict.fromkeys(symbols))
    more = " …" if len(known) > _MOST_CHORDS else ""
    return " ".join(known[:_MOST_CHORDS]) + more


def _players(song: Song, roles: Mapping[str, str]) -> list[tuple[str, str]]:
    times = echo_times(song).drop_duplicates("part").set_index("part")
    told = []
    for row in song.parts.itertuples():
        words = [row.player] if isinstance(row.player, str) else []
        is_named = isinstance(row.instrument, str) and row.instrument != row.part
        words.append(row.instrument if is_named else row.family)
        if isinstance(row.tuning, tuple):
            words.append(tuning_words(row.tuning))
        if row.capo:
            words.append(f"capo {row.capo}")
        words.append(row.drive if row.family in ("guitar", "bass") else "")
        if isinstance(row.echo, str):
            late = times.loc[row.part, "milliseconds"]
            words.append(f"echo {row.echo}" + (f", {late:.0f} ms" if late == late else ""))
        if row.part in roles:
            words.append(f"role: {roles[row.part]}")
        told.append((row.part, "; ".join(filter(None, words))))
    return told


def _decided(log: DecisionLog) -> list[str]:
    kept = [each for each in log.decisions if each.status in _OPEN]
    told = [_short(each) for each in kept[-MOST_DECISIONS:]]
    if len(kept) > MOST_DECISIONS:
        told.insert(0, f"{len(kept) - MOST_DECISIONS} earlier ones stand in the log")
    return told


def _short(decision: Decision) -> str:
    place = [decision.section] if decision.section else []
    if decision.measures:
        first, last = decision.measures
        place.append(bars_words(range(first, last + 1)))
    place += [" and ".join(decision.parts)] if decision.parts else []
    where = f"{', '.join(place)}: " if place else ""
    words = f"{where}{decision.what} – {decision.why}"
    if len(words) > _LONGEST:
        words = words[: _LONGEST - 1].rstrip() + "…"
    return words if decision.status == "agreed" else f"{words} (proposed)"
