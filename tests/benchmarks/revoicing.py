"""Measure how well and how fast parts are re-voiced.

Run it by hand: ``python tests/benchmarks/revoicing.py FOLDER`` (some minutes); it writes
``speed.csv``, ``passages.csv`` and ``demo.csv`` there and prints summaries.

Speed: passages of 2 to 32 chords, processor seconds, median of 5: the search alone (find and weigh
all voicings of each chord up to fret 15, and find the best path), with new and with cached pools,
and the whole of ``revoice`` with one idea and with all.

Quality: 50 passages of eight chords are drawn from music21's Bach chorales with a fixed seed;
``chordify`` and ``chordSymbolFigureFromChord`` name their harmony. Two guitars strum it: one plays
the easiest shape of each chord, the other a voicing drawn from the tenth that clash most with it.
Measured are the share of findings that the best proposal ends, the harmony (no foreign note, no
third or seventh lost unless stated), the hand, and the distance from the written part. The path is
compared with the best voicing chord by chord, both from the same candidates.
"""

from __future__ import annotations

import statistics
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import music21
import numpy as np
import pandas as pd

import arrange as ar
from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.revoicing import Scope, Taste, revoice, revoice_pair
from arrange.revoicing.candidates import _pool, voicing_pool
from arrange.revoicing.choosing import choose
from arrange.revoicing.clash_costs import pair_costs
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.ideas import any_or_fewer
from arrange.revoicing.preparing import make_mover
from arrange.revoicing.proposals import Judge, Proposal
from arrange.revoicing.stretches import find_stretch
from arrange.revoicing.version import Version
from arrange.tables.schemas import CHORDS, MEASURES, NOTES, PARTS, SECTIONS
from arrange.tables.song import Song
from arrange.theory.chord_symbols import parse_chord
from arrange.theory.chords import chord_intervals
from arrange.theory.pitch import parse_pitch_class

LOW_WATER = Path(__file__).parents[2] / "datasets" / "low-water.musicxml"
PASSAGES, CHORDS_EACH, SEED = 50, 8, 1685
KINDS = ("", "m", "7", "maj7", "m7", "m7b5", "dim")
NECK, HAND, TASTE = Neck(), Hand(), Taste()
G1, G2 = "Guitar 1", "Guitar 2"
CIRCLE = ("Am7", "Dm7", "G7", "Cmaj7", "Fmaj7", "Bm7b5", "E7", "Am")  # a chain of fifths


def harmony_of(symbol: str) -> Harmony:
    """Return a chord symbol in the form that voicings ask for."""
    chord = parse_chord(symbol)
    root = parse_pitch_class(chord.root)
    members = tuple((root + size) % 12 for size in chord_intervals(chord.kind, chord.degrees))
    return Harmony(symbol, root, root, members)


def strummed(symbols: list[str], voicings: dict[str, list[list[int]]]) -> Song:
    """Return a song with a bar for each chord; each guitar strums its voicing on every beat."""
    bars = np.arange(1, len(symbols) + 1)
    start = 4.0 * (bars - 1)
    harmonies = [harmony_of(symbol) for symbol in symbols]
    measures = pd.DataFrame(
        {"measure": bars, "written": bars.astype(str), "section": "Song", "onset": start,
         "duration": 4.0, "meter": "4/4", "key": None, "tempo": 90.0})  # fmt: skip
    chords = pd.DataFrame(
        {"onset": start, "duration": 4.0, "measure": bars, "section": "Song", "symbol": symbols,
         "root": [h.root for h in harmonies], "bass": [h.root for h in harmonies],
         "kind": [parse_chord(symbol).kind for symbol in symbols],
         "pitch_classes": [h.members for h in harmonies], "degree": None})  # fmt: skip
    sections = pd.DataFrame(
        {"section": ["Song"], "kind": "other", "pass": 1, "first_measure": 1,
         "last_measure": len(symbols), "onset": 0.0, "duration": 4.0 * len(symbols)})  # fmt: skip
    parts = pd.DataFrame(
        {"part": list(voicings), "instrument": list(voicings), "family": "guitar", "tuning": None,
         "capo": 0, "transpose": 0, "drive": "clean", "echo": None, "level": 0.0,
         "program": None, "player": None})  # fmt: skip
    rows = [(part, 4.0 * bar + beat, 1.0, bar + 1, "Song", float(pitch))
            for part, shapes in voicings.items() for bar, shape in enumerate(shapes)
            for beat in range(4) for pitch in shape]  # fmt: skip
    notes = pd.DataFrame(rows, columns=["part", "onset", "duration", "measure", "section", "pitch"])
    notes = notes.assign(voice=None, string=None, fret=None, technique=None, grace=False)
    notes["source_id"] = [f"n{n}" for n in range(len(notes))]
    return Song(parts[PARTS.names], sections[SECTIONS.names], measures[MEASURES.names],
                chords[CHORDS.names], notes[NOTES.names])  # fmt: skip


def progressions(count: int) -> list[tuple[str, list[str]]]:
    """Return rows of eight chords from chorales, the same in every run."""
    draw = np.random.default_rng(SEED)
    paths = sorted(music21.corpus.getComposer("bach"))
    found: list[tuple[str, list[str]]] = []
    while len(found) < count:
        path = paths[int(draw.integers(len(paths)))]
        symbols = chorale_symbols(path)
        if len(symbols) >= CHORDS_EACH:
            begin = int(draw.integers(len(symbols) - CHORDS_EACH + 1))
            found.append((path.stem, symbols[begin : begin + CHORDS_EACH]))
    return found


def chorale_symbols(path: Path) -> list[str]:
    """Return a chorale's chords with plain names, in order, each change once."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path).chordify()
    symbols: list[str] = []
    for chord in score.recurse().getElementsByClass("Chord"):
        if chord.beat % 1:
            continue
        figure = music21.harmony.chordSymbolFigureFromChord(chord).partition("/")[0]
        symbol = figure.replace("-", "b").replace("ø7", "m7b5")
        root = symbol[:2] if symbol[1:2] in ("b", "#") else symbol[:1]
        if symbol[len(root) :] in KINDS and symbol not in symbols[-1:] and figure[0].isupper():
            symbols.append(symbol)
    return symbols


def clashing(symbols: list[str], draw: np.random.Generator) -> dict[str, list[list[int]]]:
    """Return the easiest shape of each chord, and one of the tenth that clash most with it."""
    table = pair_costs(TASTE)
    one, other = [], []
    for symbol in symbols:
        harmony = harmony_of(symbol)
        pool = voicing_pool(harmony, NECK, HAND, 12)
        whole = np.all([pool.has(member) for member in harmony.members], axis=0)
        full = np.flatnonzero(whole & (pool.count >= 4))
        root = full[pool.lowest[full] % 12 == harmony.root]
        easy = root[np.argmin(pool.cost_mm[root])]
        own = pool.pitches[easy, : pool.count[easy]]
        cost = sum(table["other"][pool.pitches[full], pitch].sum(axis=1) for pitch in own)
        for low in range(6):
            for high in range(low + 1, 6):
                cost = cost + table["own"][pool.pitches[full, low], pool.pitches[full, high]]
        worst = full[np.argsort(-cost, kind="stable")[: max(len(full) // 10, 1)]]
        row = int(draw.choice(worst))
        one.append(own.tolist())
        other.append(pool.pitches[row, : pool.count[row]].tolist())
    return {G1: one, G2: other}


def harmony_kept(before: Song, after: Song, named_losses: tuple[str, ...]) -> bool:
    """Return whether no foreign note came in, and no third or seventh was lost unsaid."""
    lost = 0
    for row, bar in zip(before.chords.itertuples(), before.chords["measure"], strict=True):
        sides = []
        for song in (before, after):
            notes = song.notes[song.notes["measure"] == bar]
            sides.append({int(pitch) % 12 for pitch in notes["pitch"]})
        if not sides[1] <= sides[0] | set(row.pitch_classes):
            return False
        if row.pitch_classes:
            harmony = Harmony(row.symbol, row.root, row.bass, row.pitch_classes)
            lost += len(harmony.guides & sides[0] - sides[1])
    return lost == len(named_losses)


def playable(song: Song, parts: tuple[str, ...]) -> bool:
    """Return whether every note of some parts can be played."""
    return all(ar.finger_part(song, part)["problem"].isna().all() for part in parts)


def figures(proposal: Proposal | None, before: int, severity: float) -> dict[str, float]:
    """Return the figures of a proposal; empty if there is none."""
    if proposal is None:
        return {"ended": 0.0, "left": 1.0, "severity_left": 1.0}
    after = proposal.before_after
    return {
        "ended": len(proposal.ended) / before,
        "left": float(after["after"].sum()) / before,
        "severity_left": float(after["severity_after"].sum()) / severity,
        "hand_mm": proposal.hand_mm,
        "top_semitones": proposal.top_semitones,
        "semitones": proposal.semitones,
        "notes_lost": proposal.notes_lost,
        "cost_mm": proposal.cost,
    }


def tried(task: Callable[[], list[Proposal]]) -> Proposal | None:
    """Return the best proposal, or None where nothing helps."""
    try:
        return task()[0]
    except ArrangeError:
        return None


def path_and_greedy(song: Song) -> dict[str, Proposal | None]:
    """Return the best path through all candidates, and the best candidate of each chord alone."""
    stretch, harmonies = find_stretch(song), Harmonies(song)
    mover = make_mover(harmonies, G2, stretch, Scope(), None, TASTE)
    judge = Judge(harmonies, stretch, (mover,), TASTE)
    options = mover.options(any_or_fewer)
    notes = mover.scene.song.notes
    rows = {
        "path": choose(mover.units, options, TASTE.prices).options,
        "chord by chord": np.array([int(np.argmin(each.cost)) for each in options]),
    }
    return {
        name: tried(
            lambda chosen=chosen: judge.proposals(
                [
                    Version(
                        "voicings",
                        "plays other voicings",
                        mover.played(notes, options, chosen),
                    )
                ]
            )
        )
        for name, chosen in rows.items()
    }


def measure_passages(folder: Path) -> None:
    """Measure fifty passages, with a row for each passage and method."""
    rows, draw = [], np.random.default_rng(SEED)
    for number, (piece, symbols) in enumerate(progressions(PASSAGES)):
        song = strummed(symbols, clashing(symbols, draw))
        found = ar.find_clashes(song)
        count, severity = len(found), float(found["severity"].sum())
        ways = {
            "best proposal": (tried(lambda song=song: revoice(song, G2)), (G2,)),
            "best for both": (tried(lambda song=song: revoice_pair(song, (G1, G2))), (G1, G2)),
            **{name: (each, (G2,)) for name, each in path_and_greedy(song).items()},
        }
        for way, (proposal, parts) in ways.items():
            kept = proposal is None or harmony_kept(song, proposal.song, proposal.given_up)
            can = proposal is None or playable(proposal.song, parts)
            rows.append(
                {"passage": number, "piece": piece, "chords": " ".join(symbols), "way": way,
                 "idea": proposal.idea if proposal else "nothing helps", "findings": count,
                 "harmony_kept": kept, "playable": can, **figures(proposal, count, severity)}
            )  # fmt: skip
    table = pd.DataFrame(rows)
    table.to_csv(folder / "passages.csv", index=False)
    numbers = table.select_dtypes(["number", "bool"]).columns.drop("passage")
    print(table.groupby("way")[numbers].mean().round(3).T.to_string())
    print(table[table["way"] == "best proposal"]["idea"].value_counts().to_string())
    wide = table.pivot_table(index="passage", columns="way", values="cost_mm")
    both = wide[["path", "chord by chord"]].dropna()
    print(f"path no dearer than chord by chord in {(both.diff(axis=1).iloc[:, 1] >= -1e-6).sum()} "
          f"of {len(both)} passages")  # fmt: skip


def measure_demo(folder: Path) -> None:
    """Measure every section and guitar of the demo song that has a finding to end."""
    song = ar.read(LOW_WATER)
    rows = []
    for section in song.sections["section"]:
        for part in (G1, G2):
            try:
                best = revoice(song, part, section=section)[0]
            except ArrangeError as error:
                rows.append({"section": section, "part": part, "idea": str(error)[:70]})
                continue
            changes = best.before_after
            before, severity = int(changes["before"].sum()), float(changes["severity_before"].sum())
            rows.append({"section": section, "part": part, "idea": best.idea, "findings": before,
                         "playable": playable(best.song, (part,)),
                         "harmony_kept": harmony_kept(song, best.song, best.given_up),
                         "given_up": len(best.given_up),
                         **figures(best, before, severity)})  # fmt: skip
    table = pd.DataFrame(rows)
    table.to_csv(folder / "demo.csv", index=False)
    print(table.dropna(subset=["findings"]).round(2).to_string())


def clocked(task: Callable[[], object], prepare: Callable[[], object] = lambda: None) -> float:
    """Return median processor seconds of 5 runs."""
    took = []
    for _ in range(5):
        prepare()
        start = time.process_time()
        task()
        took.append(time.process_time() - start)
    return statistics.median(took)


def measure_speed(folder: Path) -> None:
    """Measure how the time grows with the number of chords."""
    rows = []
    for count in (2, 4, 8, 16, 32):
        symbols = [CIRCLE[n % len(CIRCLE)] for n in range(count)]
        song = strummed(symbols, clashing(symbols, np.random.default_rng(SEED)))

        def search(song: Song = song) -> None:
            stretch, harmonies = find_stretch(song), Harmonies(song)
            mover = make_mover(harmonies, G2, stretch, Scope(), None, TASTE)
            choose(mover.units, mover.options(any_or_fewer), TASTE.prices)

        def one_idea(song: Song = song) -> None:
            revoice(song, G2, scope=Scope(ideas=["clear voicings"]))

        def all_ideas(song: Song = song) -> None:
            revoice(song, G2)

        fresh = _pool.cache_clear
        rows.append(
            {
                "chords": count,
                "notes": len(song.notes),
                "search_new": clocked(search, fresh),
                "search_known": clocked(search),
                "one_idea_new": clocked(one_idea, fresh),
                "one_idea_known": clocked(one_idea),
                "all_ideas_known": clocked(all_ideas),
            }
        )
    table = pd.DataFrame(rows)
    table.to_csv(folder / "speed.csv", index=False)
    print(table.round(3).to_string())


def main() -> None:
    """Measure all and write the tables."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    measure_speed(folder)
    measure_demo(folder)
    measure_passages(folder)


if __name__ == "__main__":
    main()
