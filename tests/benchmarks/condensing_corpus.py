"""Measure how much of well-made music is kept when two guitars play it, against simpler methods.

Called by ``condensing.py FOLDER``; that folder's README says what is measured and how.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from multiprocessing import Pool
from pathlib import Path
from typing import Any

import music21
import numpy as np
import pandas as pd

import arrange as ar
from arrange.condensing import Condensation, condense
from arrange.condensing.condensed_song import condensed_song
from arrange.condensing.plan import Plan
from arrange.condensing.plan_search import everybody
from arrange.condensing.playable_plan import Known
from arrange.condensing.problem import Problem
from arrange.condensing.reasons import choices_table
from arrange.condensing.returns import Returns
from arrange.guitar.fingering import finger_part
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.tables.song import Song
from arrange.tables.sounding import sounding_notes

CORPUS = Path(music21.__file__).parent / "corpus"
MEASURES, PHRASE = 48, 8  # at most; a phrase of eight bars is a section (common practice)
NECK = Neck()
PLAYERS = (Player("Player 1", NECK), Player("Player 2", NECK))
FIGURES = ["value", "top", "chord", "attacks", "guides"]
FAR = 0.25  # share of a part's notes out of range above which the whole part moves by octaves
LOWEST, HIGHEST = 40, 64 + NECK.frets  # range of a guitar in standard tuning

Choice = tuple[int, ...]


def pieces() -> list[Path]:
    """Return scores of four to fifteen parts, chosen by a rule and not by the result.

    The rule takes two movements of each string quartet that has a folder of its own in the corpus;
    every piece by Bach with nine parts or more, every third with five to eight, every sixtieth with
    four; and every eighth madrigal.
    """
    folders = ["beethoven/opus18no1", "haydn/opus1no1", "haydn/opus74no1", "mozart/k155",
               "mozart/k156", "mozart/k458", "mozart/k80", "schumann_robert/opus41no1"]  # fmt: skip
    found = [path for name in folders for path in sorted((CORPUS / name).glob("*.mxl"))[:2]]
    counted = [(_parts(path), path) for path in sorted((CORPUS / "bach").glob("*.mxl"))]
    found += [path for parts, path in counted if 9 <= parts <= 15]
    found += [path for parts, path in counted if 5 <= parts <= 8][::3]
    found += [path for parts, path in counted if parts == 4][::60]
    songs = sorted((CORPUS / "monteverdi").glob("*.mxl"))
    return found + [path for path in songs if not path.stem.endswith("_old")][::8]


def _parts(path: Path) -> int:
    return int(sounding_notes(ar.read(path).notes)["part"].nunique())


def for_guitars(path: Path) -> tuple[Song, float]:
    """Return the first 48 measures as guitar layers in phrases, and the share of notes moved.

    First the whole piece is moved by the fewest semitones, at most an octave up or down, that bring
    most notes into the guitar's range. Then each part with more than a quarter of its notes outside
    is moved by the octaves that bring most of them inside. Last, each note that is still outside is
    moved by octaves on its own. The share counts the notes of the last two steps.
    """
    song = ar.read(path)
    measures = song.measures[song.measures["measure"] <= MEASURES]
    label = "Bars " + ((measures["measure"] - 1) // PHRASE * PHRASE + 1).astype(str)
    measures = measures.assign(section=label.astype("str"))
    end = float((measures["onset"] + measures["duration"]).iloc[-1])
    notes = sounding_notes(song.notes)
    notes = notes[(notes["onset"] < end) & notes["pitch"].notna()].reset_index(drop=True)
    notes = notes.assign(
        duration=np.minimum(notes["duration"], end - notes["onset"]),
        section=notes["measure"].map(measures.set_index("measure")["section"]).astype("str"),
        string=pd.array([None] * len(notes), dtype="Int64"),
        fret=pd.array([None] * len(notes), dtype="Int64"),
        technique=pd.array([None] * len(notes), dtype="str"),
    )
    pitch = notes["pitch"].to_numpy()
    moves = sorted(range(-12, 13), key=lambda by: (_outside(pitch + by).sum(), abs(by), by))
    pitch = pitch + moves[0]
    before = pitch.copy()
    for part in notes["part"].unique():
        own = (notes["part"] == part).to_numpy()
        if _outside(pitch[own]).mean() > FAR:
            octaves = (0, 12, -12, 24, -24)
            pitch[own] += min(octaves, key=lambda by: (_outside(pitch[own] + by).sum(), abs(by)))
    pitch += 12 * np.ceil(np.maximum(LOWEST - pitch, 0) / 12)
    pitch -= 12 * np.ceil(np.maximum(pitch - HIGHEST, 0) / 12)
    has_notes = song.parts["part"].isin(notes["part"])
    parts = song.parts[has_notes].reset_index(drop=True)
    parts = parts.assign(family="guitar", drive="clean", level=0.0, capo=0, transpose=-12,
                         tuning=pd.Series([None] * len(parts), dtype=object))  # fmt: skip
    moved = replace(
        song, parts=parts, sections=_sections(measures), measures=measures,
        chords=song.chords.iloc[:0], notes=notes.assign(pitch=pitch),
    )  # fmt: skip
    return moved, float((pitch != before).mean())


def _outside(pitch: Any) -> Any:
    return (pitch < LOWEST) | (pitch > HIGHEST)


def _sections(measures: pd.DataFrame) -> pd.DataFrame:
    own = measures.groupby("section", sort=False)
    table = own.agg(
        first_measure=("measure", "min"), last_measure=("measure", "max"),
        onset=("onset", "min"), duration=("duration", "sum"),
    ).reset_index()  # fmt: skip
    return table.assign(kind="other", **{"pass": 1})


# ---------------------------------------------------------------- simpler ways


def one_each(problem: Problem, layers: Sequence[int]) -> list[Choice]:
    """Return choices that give each player one layer throughout, rests included."""
    return [
        tuple(own.options.index((layer,)) if (layer,) in own.options else 0 for layer in layers)
        for own in problem.options
    ]


def busiest(problem: Problem) -> list[Choice]:
    """Return the two layers with the most attacks."""
    recorded = problem.recorded
    attacks = [len(np.unique(recorded.place[(recorded.layer == layer) & recorded.is_played]))
               for layer in range(len(recorded.names))]  # fmt: skip
    return one_each(problem, np.argsort(attacks, kind="stable")[::-1][:2].tolist())


def outer(problem: Problem) -> list[Choice]:
    """Return the layers that lie highest and lowest, by the mean of their notes."""
    recorded = problem.recorded
    mean = [recorded.pitch[recorded.layer == layer].mean()
            for layer in range(len(recorded.names))]  # fmt: skip
    return one_each(problem, [int(np.argmax(mean)), int(np.argmin(mean))])


def greedy(known: Known) -> list[Choice]:
    """Return the best choice of each section alone; among equal ones, the one cheapest to reach."""
    problem, found = known.problem, []
    for section, own in enumerate(problem.options):
        while True:
            group = everybody(problem, [(0,), (0,)])
            places = [ways.place for ways in group.ways[section]]
            values = group.worth[section]
            best = np.argwhere(values >= values.max() - 1e-9)
            pairs = [(int(places[0][a]), int(places[1][b])) for a, b in best]
            chosen = min(pairs, key=lambda pair: _cost(problem, section, found, pair))
            asked = [(section, own.options[place], 0) for place in chosen if place]
            known = known.with_asked(asked)
            bad = [one for one in asked if known.fingerings.problems[one]]
            if not bad:
                break
            problem = problem.with_known(dict.fromkeys(bad, False))
        found.append(chosen)
    return found


def _cost(problem: Problem, section: int, found: Sequence[Choice], pair: Choice) -> float:
    if not section:
        return 0.0
    change = problem.changes(section - 1, 0)
    return float(sum(change[b, n] for b, n in zip(found[-1], pair, strict=True)))


def worth(problem: Problem, choices: Sequence[Choice]) -> tuple[float, bool]:
    """Return the value of a plan, and whether it obeys the rule that the lead is kept."""
    tables, total, keeps = problem.tables(2), 0.0, True
    returns = Returns(problem, 2)
    for section, chosen in enumerate(choices):
        own, lead = problem.options[section], problem.worths[section].lead
        mask = int(own.masks[chosen[0]] | own.masks[chosen[1]])
        keeps &= not lead or bool(mask & lead)
        total += float(tables[section][mask] - problem.own_cost(section, 0)[list(chosen)].sum())
        total -= _cost(problem, section, choices[:section], chosen)
        earlier = returns.earlier[section]
        if earlier >= 0:
            before, now = (
                returns.joint(each, [np.array([place]) for place in choices[each]])
                for each in (earlier, section)
            )
            total -= returns.cost(section, before, now).item()
    return total, keeps


# ---------------------------------------------------------------- figures


def figures(song: Song, result: Song) -> dict[str, float]:
    """Return how much of a song is kept in a result, as shares, and its findings a minute."""
    everything, left = sounding_notes(song.notes), sounding_notes(result.notes)
    lines = np.unique(np.append(everything["onset"], everything["onset"] + everything["duration"]))
    seconds = np.diff(np.asarray(song.seconds(lines)))
    top, all_top = (_highest(notes, lines[:-1]) for notes in (left, everything))
    sounds = np.isfinite(all_top)
    onsets = np.unique(np.rint(everything["onset"] * 64))
    kept = np.isin(onsets, np.rint(left["onset"] * 64))
    chord, guides = _harmony(everything, left, np.arange(0, song.duration, 1.0))
    problems = [
        finger_part(result, name)["problem"].isna()
        for name in result.parts["part"]
        if (result.notes["part"] == name).any()
    ]
    minutes = float(song.seconds(song.duration)) / 60
    return {
        "top": float(seconds[sounds & (top == all_top)].sum() / seconds[sounds].sum()),
        "chord": chord,
        "attacks": float(kept.mean()),
        "guides": guides,
        "playable": float(pd.concat(problems).mean()),
        "findings_before": len(ar.find_clashes(song)) / minutes,
        "findings_after": len(ar.find_clashes(result)) / minutes,
    }


def _highest(notes: pd.DataFrame, when: Any) -> Any:
    """Return the highest pitch that sounds at each time; minus infinity where none does."""
    onset, end = notes["onset"].to_numpy(), (notes["onset"] + notes["duration"]).to_numpy()
    sounds = (onset <= when[:, None] + 1e-9) & (end > when[:, None] + 1e-9)
    return np.where(sounds, notes["pitch"].to_numpy(), -np.inf).max(axis=1, initial=-np.inf)


def _harmony(everything: pd.DataFrame, left: pd.DataFrame, beats: Any) -> tuple[float, float]:
    """Return the shares of pitch classes and of thirds and sevenths that are kept, beat by beat."""
    shares, has_guides, kept_guides = [], 0, 0
    for beat in beats:
        whole, own = (_at(notes, beat) for notes in (everything, left))
        if not whole:
            continue
        own_classes = {pitch % 12 for pitch in own}
        classes = {pitch % 12 for pitch in whole}
        shares.append(len(classes & own_classes) / len(classes))
        guides = _guides(tuple(sorted(classes)), min(whole) % 12)
        has_guides += len(guides)
        kept_guides += len(guides & own_classes)
    return float(np.mean(shares)), kept_guides / has_guides if has_guides else float("nan")


def _at(notes: pd.DataFrame, when: float) -> set[int]:
    sounds = (notes["onset"] <= when + 1e-9) & (notes["onset"] + notes["duration"] > when + 1e-9)
    return set(notes.loc[sounds, "pitch"].astype(int))


@cache
def _guides(classes: tuple[int, ...], bass: int) -> frozenset[int]:
    """Return pitch classes of the third and the seventh, if it is a triad or a seventh chord."""
    chord = music21.chord.Chord([bass + 36, *(tone + 48 for tone in classes)])
    if not (chord.isTriad() or chord.isSeventh()):
        return frozenset()
    return frozenset(tone.pitchClass for tone in (chord.third, chord.seventh) if tone)


# ---------------------------------------------------------------- all pieces


def ways(found: Condensation) -> Iterator[tuple[str, Song, float, bool]]:
    """Return each method from layers to two parts: name, song, value, and whether leads stay."""
    known, plan = found.known, found.plan
    problem = known.problem
    yield "condensed", found.song, *worth(problem, plan.choices)
    for name, choices in (
        ("busiest", busiest(problem)), ("outer", outer(problem)), ("greedy", greedy(known)),
    ):  # fmt: skip
        own = Plan(choices, [(0, 0)] * len(choices), 0.0, 0.0)
        fingered = known
        for player in (0, 1):
            fingered, _ = fingered.with_part(own, player)
        result = condensed_song(problem, fingered.fingerings, own, choices_table(problem, own))
        yield name, result, *worth(problem, choices)


def measured(path: Path) -> list[dict[str, Any]]:
    """Return a row for each method on one piece."""
    warnings.simplefilter("ignore")
    song, elsewhere = for_guitars(path)
    start = time.perf_counter()
    found = condense(song, PLAYERS)
    took = time.perf_counter() - start
    whole = found.known.problem.whole
    about = {
        "piece": str(path.relative_to(CORPUS).with_suffix("")), "parts": len(song.parts),
        "sections": len(song.sections), "notes": len(song.notes), "octaved": elsewhere,
    }  # fmt: skip
    rows = []
    for way, result, value, keeps in ways(found):
        extra = {"seconds": took, "gap": found.gap} if way == "condensed" else {}
        rows.append(
            about
            | {"way": way, "value": value, "value_share": value / whole, "keeps_lead": keeps}
            | figures(song, result) | extra
        )  # fmt: skip
    return rows


def means(table: pd.DataFrame) -> pd.DataFrame:
    """Return the means by method, and on how many pieces condensing is higher or lower."""
    names = ["value_share", "top", "chord", "attacks", "guides", "playable", "findings_before",
             "findings_after"]  # fmt: skip
    rows = []
    own = table[table["way"] == "condensed"].set_index("piece")
    for way in table["way"].unique():
        other = table[table["way"] == way].set_index("piece").loc[own.index]
        for name in names:
            apart = own[name] - other[name]
            rows.append({"way": way, "figure": name, "mean": other[name].mean(),
                         "condensed_more": int((apart > 1e-6).sum()),
                         "condensed_less": int((apart < -1e-6).sum())})  # fmt: skip
    return pd.DataFrame(rows)


def corpus(folder: Path) -> None:
    """Measure all pieces, keep the tables in a folder, and print the means."""
    start = time.perf_counter()
    files = pieces()
    with Pool(2) as pool:
        results = list(pool.imap(measured, files))
    table = pd.DataFrame([row for rows in results for row in rows])
    folder.mkdir(parents=True, exist_ok=True)
    table.round(4).to_csv(folder / "pieces.csv", index=False)
    summed = means(table)
    summed.round(4).to_csv(folder / "means.csv", index=False)
    print(summed.round(3).to_string())
    own = table[table["way"] == "condensed"]
    print(f"{len(files)} pieces; {time.perf_counter() - start:.0f} s; proven on "
          f"{int((own['gap'] <= 1e-6).sum())}; {own['seconds'].median():.2f} s a piece, at most "
          f"{own['seconds'].max():.2f}")  # fmt: skip
