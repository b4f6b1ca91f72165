"""What stands on the band sheet: form, energy, chords, who plays what, and what was decided."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from arrange.decisions import DecisionLog
from arrange.explaining.dynamics import dynamics_words
from arrange.explaining.part_sections import part_stays, who_plays
from arrange.explaining.section_setups import own_played_setups, setup_words
from arrange.guitar.necks import capo_words
from arrange.handouts.progressions import (
    NOTHING,
    Progression,
    song_progressions,
)
from arrange.handouts.remarks_and_decisions import decision_words, last_decisions, open_decisions
from arrange.handouts.sheets import LOUDNESS, WARM_UP
from arrange.handouts.song_facts import new_facts, song_facts, tuning_words
from arrange.quantities.texture import echo_times, song_energy
from arrange.tables.song import Song
from arrange.text.words import first_up, joined_labels, listed

_FORM = (
    "Filled box: plays; empty: lays out. Energy: a long bar is a full section, measured on this "
    "song; softer, louder: than the section before; building: grows within the section."
)
_BARS = (
    "A chord alone in a bar fills it; else there is one sign a beat, and / means that the chord "
    "goes on."
)
_HELD = "In brackets: goes on from the section before."
_BETWEEN = "A small count before a chord: it comes there, between the beats."
_PUSHED = "→: pushed, and goes on in the next bar."
_NOTHING = f"{NOTHING}: no chord is written."
_NUMBERS = (
    "The chords in numbers: degrees of the major scale on the key's tonic, in minor keys too, so "
    "that in A minor C is b3 and G is b7 (common practice). b and # before a number lower and "
    "raise the degree, m is minor, the number after a slash is the bass. Letters stand below."
)
_LONGEST = 150  # letters of a decision
_MOST_BESIDE = 22  # letters of part names beside each other


@dataclass(frozen=True)
class BandRow:
    """A section: `energy` from 0 to 1, `plays` a value a part, `notices` what is new or asked."""

    section: str
    first: int
    last: int
    time: str
    energy: float
    dynamics: str
    plays: tuple[bool, ...]
    notices: tuple[str, ...]


@dataclass(frozen=True)
class BandSheet:
    """A band sheet; `players` holds (part, what it is and does).

    `numbers` says for the page of numbers which note is 1, and how to read it; without any key
    there is no such page.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[str, ...]
    has_upright_names: bool
    rows: tuple[BandRow, ...]
    form_legend: str
    progressions: tuple[Progression, ...]
    chords_legend: str
    numbers: tuple[str, ...]
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
    plays, energy = who_plays(song), song_energy(song)["energy"].fillna(0.0).tolist()
    dynamics, notices = dynamics_words(song), _notices(song)
    rows = tuple(
        BandRow(
            row.section,
            row.first_measure,
            row.last_measure,
            song.clock(row.onset),
            share,
            dynamics[row.section],
            tuple(plays.loc[row.section].tolist()),
            tuple(notices[row.section]),
        )
        for row, share in zip(song.sections.itertuples(), energy, strict=True)
    )
    progressions = tuple(song_progressions(song))
    return BandSheet(
        song.title or "Untitled",
        tuple(song_facts(song)),
        tuple(plays.columns),
        sum(map(len, plays.columns)) > _MOST_BESIDE,
        rows,
        _FORM,
        progressions,
        _chords_legend(progressions),
        _numbers(song),
        tuple(_players(song, roles)),
        tuple(remark.text for remark in song.remarks if not remark.sections),
        tuple(_decided(decisions)),
        (LOUDNESS, WARM_UP),
    )


def _notices(song: Song) -> dict[str, list[str]]:
    """By section: meter, key and tempo where they are new, sounds that change, and remarks."""
    found: dict[str, list[str]] = {}
    facts = new_facts(song)
    for row in song.sections.itertuples():
        found[row.section] = [
            (f"from bar {bar}: " if bar > row.first_measure else "") + fact
            for bar, fact in facts.items()
            if row.first_measure <= bar <= row.last_measure
        ]
    changing = set(song.setups["part"])
    for part in (part for part in song.parts["part"] if part in changing):
        words = setup_words(song, part, part_stays(song, part), has_layers=False)
        for section, own in words.items():
            found[section] += [f"{part}: {', '.join(own)}"] if own else []
    for remark in song.remarks:
        if remark.sections:
            where = f"{joined_labels(remark.sections)}: " if len(remark.sections) > 1 else ""
            found.setdefault(remark.sections[0], []).append(where + remark.text)
    return found


def _numbers(song: Song) -> tuple[str, ...]:
    """Which note is 1 from which bar on, and how numbers are read; nothing without any key."""
    tonics = [key.split()[0] if isinstance(key, str) else "" for key in song.measures["key"]]
    if not any(tonics):
        return ()
    new = [n for n, tonic in enumerate(tonics) if not n or tonic != tonics[n - 1]]
    words = [
        (f"1 is {tonics[n]}" if tonics[n] else "no key") + (f" from bar {n + 1}" if n else "")
        for n in new
    ]
    return f"{first_up(', '.join(words))}.", _NUMBERS


def _chords_legend(progressions: Sequence[Progression]) -> str:
    entries = {entry for each in progressions for bar in each.bars for entry in bar}
    return " ".join([
        _BARS,
        *[_NOTHING] * any(entry.symbol == NOTHING for entry in entries),
        *[_HELD] * any(entry.is_held for entry in entries),
        *[_BETWEEN] * any(entry.count for entry in entries),
        *[_PUSHED] * any(entry.is_pushed for entry in entries),
    ])  # fmt: skip


_ECHO = ["echo", "milliseconds"]


def _players(song: Song, roles: Mapping[str, str]) -> list[tuple[str, str]]:
    times = echo_times(song).drop_duplicates(["part", "echo"])
    lines = []
    for row in song.parts.itertuples():
        words = [row.player] if isinstance(row.player, str) and row.player != row.part else []
        named = str(row.instrument).partition(",")[0]  # of drums a file names the first
        is_named = isinstance(row.instrument, str) and named != row.part
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
        lines.append((row.part, first_up("; ".join(filter(None, words)))))
    return lines


def _decided(log: DecisionLog | None) -> list[str]:
    decisions = open_decisions(log)
    sentences = [
        decision_words(each, _LONGEST) + (" (proposed)" if each.status == "proposed" else "")
        for each in decisions
    ]
    return last_decisions(decisions, sentences)
