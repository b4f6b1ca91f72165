"""Write what the kit says about thirteen songs as text, to see what a change of the code changes.

Run it by hand before a change and after it (some minutes each)::

    python tests/benchmarks/pins.py before
    python tests/benchmarks/pins.py after
    diff -r before after

Each song gets a folder with one text file for each kind of output: the findings and their groups,
the notes and the smallest moves of the first findings, proposals, a condensation, the words on the
sheets, the log. The songs are the demo songs of datasets/ and ten public-domain scores of music21's
corpus.
"""

from __future__ import annotations

import re
import sys
import tempfile
from collections.abc import Callable, Iterator
from html import unescape
from pathlib import Path

import music21
import pandas as pd

import arrange as ar
from arrange.handouts import STYLES

DATASETS = Path(__file__).parents[2] / "datasets"
CORPUS = Path(music21.__file__).parent / "corpus"
SONGS = (
    DATASETS / "low-water.musicxml",
    DATASETS / "tarrow-weir.txt",
    DATASETS / "last-bell.musicxml",
    CORPUS / "bach" / "bwv66.6.mxl",
    CORPUS / "bach" / "bwv101.7.mxl",
    CORPUS / "bach" / "bwv248.64-6.mxl",
    CORPUS / "haydn" / "opus1no1" / "movement1.mxl",
    CORPUS / "mozart" / "k155" / "movement1.mxl",
    CORPUS / "mozart" / "k458" / "movement3.mxl",
    CORPUS / "beethoven" / "opus18no1" / "movement3.mxl",
    CORPUS / "schoenberg" / "opus19" / "movement6.mxl",
    CORPUS / "leadSheet" / "fosterBrownHair.mxl",
    CORPUS / "monteverdi" / "madrigal.3.1.mxl",
)
FINDINGS_LOOKED_AT = 25  # findings of each song, spread over its table


def outputs(song: ar.Song) -> Iterator[tuple[str, Callable[[], str]]]:
    """Return the name of each output, and the function that makes its text."""
    findings = ar.find_clashes(song)
    guitars = song.parts.loc[song.parts["family"] == "guitar", "part"].tolist()
    step = max(1, len(findings) // FINDINGS_LOOKED_AT)
    some = [row for _, row in findings.iloc[::step].iterrows()]
    yield "findings", lambda: table_text(findings)
    yield "groups", lambda: table_text(ar.group_findings(findings, song))
    yield "notes", lambda: joined(some, lambda row: ar.finding_notes(song, row))
    yield "moves", lambda: joined(some, lambda row: ar.smallest_moves(song, row))
    if guitars:
        yield "proposals", lambda: proposals(song, guitars[0])
        yield "log", lambda: log(song, guitars[0])
        yield "sheets", lambda: sheets(song)
    yield "condensed", lambda: condensed(song)


def table_text(table: pd.DataFrame) -> str:
    """Return every value of a table, with numbers to nine digits."""
    return table.round(9).to_csv(index=False, lineterminator="\n")


def joined(rows: list[pd.Series], look: Callable[[pd.Series], pd.DataFrame]) -> str:
    """Return the texts for each finding, one below the other."""
    return "\n".join(
        f"# {row['kind']} {row['parts']} {row['onset']:g}\n{table_text(look(row))}" for row in rows
    )


def proposals(song: ar.Song, part: str) -> str:
    """Return the proposals for a part in each section."""
    texts = []
    for section in song.sections["section"]:
        try:
            text = table_text(ar.proposals_table(ar.revoice(song, part, section=section)))
        except ar.ArrangeError as error:
            text = f"{error}\n"
        texts.append(f"# {section}\n{text}")
    return "\n".join(texts)


def log(song: ar.Song, part: str) -> str:
    """Return a decision recorded with its figures, as the log holds it."""
    for section in song.sections["section"]:
        try:
            idea = ar.revoice(song, part, section=section)[0]
        except ar.ArrangeError:
            continue
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "song.decisions.txt"
            decision = ar.Decision(idea.idea, idea.why, section, parts=[part])
            ar.record_decision(path, decision, song=song, arrangement=idea.song)
            return re.sub(r"\d{4}-\d\d-\d\d", "DATE", path.read_text(encoding="utf-8"))
    return "nothing to decide\n"


def sheets(song: ar.Song) -> str:
    """Return the words on every sheet, in both styles."""
    texts = []
    for style in STYLES:
        with tempfile.TemporaryDirectory() as folder:
            for path in sorted(ar.write_handout(song, folder, layout=ar.Layout(style=style))):
                if path.suffix == ".html":
                    page = path.read_text(encoding="utf-8")
                    page = re.sub(r"(?s)<(style|script).*?</\1>", "", page)
                    words = unescape(re.sub(r"\s*<[^>]*>\s*", "\n", page))
                    words = re.sub(r"\n+", "\n", words)
                    texts.append(f"# {style} {path.name}\n{words}")
    return "\n".join(texts)


def condensed(song: ar.Song) -> str:
    """Return a condensation to two players."""
    try:
        result = ar.condense(song, 2)
    except ar.ArrangeError as error:
        return f"{error}\n"
    tables = (result.choices, result.lost, result.alternatives, result.song.notes)
    return f"{result.value:.9g} {result.bound:.9g}\n" + "\n".join(map(table_text, tables))


def main(folder: Path) -> None:
    """Write every output of every song to a folder."""
    for path in SONGS:
        song = ar.read(path)
        own = folder / f"{path.parent.name}-{path.stem}"
        own.mkdir(parents=True, exist_ok=True)
        for name, make in outputs(song):
            (own / f"{name}.txt").write_text(make(), encoding="utf-8")
        print(path.name, flush=True)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(Path(sys.argv[1]))
