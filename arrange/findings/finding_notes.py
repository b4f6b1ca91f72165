"""The notes that make a finding: those to play to hear it, and those that a move would change.

Each finder names them in the column ``notes``; here they are looked up in the song.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import KINDS, find_clashes
from arrange.clashes.scene import Scene
from arrange.errors import ArrangeError
from arrange.tables.song import Song
from arrange.text.part_lists import split_parts


def finding_notes(song: Song, finding: Any) -> pd.DataFrame:
    """Return the notes that make a finding.

    Parameters
    ----------
    song : Song
        The song that it was found in.
    finding : a row of the findings table, or the label of one in ``find_clashes(song)``
        A Series or a named tuple.

    Returns
    -------
    DataFrame
        Rows of the notes table under their own labels, for as long as they sound in the time of the
        finding (as written for the kinds about attacks), with ``beat``, the place in the bar from
        1, and ``name``, the note's name as the key spells it (empty if unpitched); by onset, part
        and pitch. For an echo that misses another part, they are the attacks that it repeats.

    Raises
    ------
    ArrangeError
        If no finding has that label, or it is of parts or notes that the song does not have.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> rub = ar.find_clashes(song, ["rub"]).iloc[0]
    >>> ar.finding_notes(song, rub)[["part", "name", "measure", "beat"]].head(2)
             part name  measure  beat
    299  Guitar 1  Bb4       22   1.0
    304  Guitar 2   A4       22   1.0
    """
    finding = finding_row(song, finding)
    notes = song.notes.loc[list(finding.notes)]
    onset = notes["onset"].to_numpy()
    if not KINDS[finding.kind].is_of_attacks:
        end = onset + notes["sounds"].to_numpy()
        onset = np.maximum(onset, finding.onset)
        end = np.minimum(end, finding.onset + finding.duration)
        notes = notes.assign(onset=onset, duration=end - onset, sounds=end - onset)[end > onset]
        onset = onset[end > onset]
    scene = Scene(song)
    bar = scene.measure_of(onset)
    pitch = notes["pitch"].to_numpy()
    names = [
        scene.name(each, at) if np.isfinite(each) else ""
        for each, at in zip(pitch.tolist(), onset.tolist(), strict=True)
    ]
    notes = notes.assign(
        measure=bar + 1,
        section=song.measures["section"].array.take(bar),
        beat=song.beat(onset, bar + 1),
        name=pd.array(names, dtype="str"),
    )
    order = np.lexsort((pitch, pd.Index(scene.parts).get_indexer(notes["part"]), onset))
    return notes.iloc[order]


def finding_row(song: Song, finding: Any) -> Any:
    """Return a row of the findings table, looked up if its label is given.

    Raises
    ------
    ArrangeError
        If no finding has that label, or the song has no such part or note.
    """
    if not hasattr(finding, "kind"):
        findings = find_clashes(song)
        if finding not in findings.index:
            raise ArrangeError(
                f"no finding has the label {finding!r}; there are {len(findings)}, from 0: give "
                "a row of find_clashes(song), or its label"
            )
        finding = findings.loc[finding]
    parts = finding_parts(song, finding)
    rows = list(finding.notes)
    known = all(row in song.notes.index for row in rows)
    if not known or not set(song.notes["part"].loc[rows]) <= set(parts):
        raise ArrangeError(
            f"the finding {finding.kind} of {finding.parts} in measure {finding.measure} was found "
            "in another song: its notes are not there; look for it with find_clashes(song)"
        )
    return finding


def finding_parts(song: Song, finding: Any) -> list[str]:
    """Return the labels of a finding's parts.

    Raises
    ------
    ArrangeError
        If the song has no such part.
    """
    parts = split_parts(str(finding.parts))
    unknown = [part for part in parts if part not in set(song.parts["part"])]
    if unknown:
        raise ArrangeError(
            f"the finding is of a part {unknown[0]!r}, which the song does not have; its parts are "
            f"{', '.join(song.parts['part'])}"
        )
    return parts
