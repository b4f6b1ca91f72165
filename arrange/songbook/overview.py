"""A table with a row for each song, and the findings of all songs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from arrange.clashes import GROUPS, KINDS
from arrange.findings import group_findings
from arrange.findings.ranking import ranked
from arrange.guitar.necks import tuning_name
from arrange.report.studying import Study
from arrange.songbook.book import Songbook
from arrange.songbook.setup_changes import player_setups
from arrange.tables.schemas import FINDINGS
from arrange.tables.song import Song
from arrange.text.letters import readable
from arrange.text.progress import steps

_COLUMNS = {
    "song": "str", "file": "str", "seconds": "float64", "duration": "str", "keys": "str",
    "meters": "str", "tempos": "str", "parts": "int64", "guitars": "int64", "tunings": "str",
    "capos": "str", "sections": "int64", "findings": "int64", "findings_a_minute": "float64",
    **{f"{group}_a_minute": "float64" for group in GROUPS}, "strongest": "str",
    "severity": "float64",
}  # fmt: skip
_MOST_TEMPOS = 3  # listed one by one; of more, the slowest and the fastest


def songbook_table(book: Songbook) -> pd.DataFrame:
    """Return a row for each song, in set order.

    Waived findings are not counted.

    Returns
    -------
    DataFrame
        ``song``; ``file``; ``seconds``, and ``duration`` as minutes:seconds; ``keys``, ``meters``
        and ``tempos`` (quarter notes a minute) in the order in which they come, "120 assumed" where
        the reader found none; ``parts`` and ``guitars``, how many; ``tunings`` and ``capos``
        (frets) of the guitar players; ``sections``, how many; ``findings``, how many, and
        ``findings_a_minute``, in all and in the groups of kinds (``arrange.clashes.GROUPS``):
        ``harmony``, ``place``, ``rhythm``; ``strongest``, the kind of the most severe, and its
        ``severity``, 0 to 1.

    Examples
    --------
    >>> import arrange as ar
    >>> table = ar.songbook_table(ar.read_songbook("datasets/harbour-set"))
    >>> print(table[["song", "meters", "tempos"]].to_string(index=False))
                    song meters tempos
        Rope and Lantern    4/4    112
        Salt on the Step    4/4     76
    Gulls over the Roofs    3/4    138
              Slack Tide    6/8     87
    """
    setups = player_setups(book)
    guitars = setups[setups["family"] == "guitar"]
    rows = [
        {"song": name, **_about(study.song), **_in_hand(guitars[guitars["song"] == name]),
         **_found(study)}
        for name, study in steps(book.studies.items(), "Listening through songs", "song")
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(_COLUMNS)).astype(_COLUMNS)


def _about(song: Song) -> dict[str, Any]:
    seconds = song.seconds(song.duration)
    measures = song.measures
    return {
        "file": readable(song.source),
        "seconds": seconds,
        "duration": song.clock(song.duration),
        "keys": _listed(measures["key"].dropna()),
        "meters": _listed(measures["meter"]),
        "tempos": _tempos(song),
        "parts": len(song.parts),
        "guitars": int((song.parts["family"] == "guitar").sum()),
        "sections": len(song.sections),
    }


def _listed(values: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(values))


def _tempos(song: Song) -> str:
    tempos = song.measures["tempo"].round(1).unique().tolist()
    if len(tempos) > _MOST_TEMPOS:
        return f"{min(tempos):g} to {max(tempos):g}"
    is_assumed = any(notice.startswith("no tempo") for notice in song.notices)
    return ", ".join(f"{tempo:g}" for tempo in tempos) + (" assumed" if is_assumed else "")


def _in_hand(guitars: pd.DataFrame) -> dict[str, str]:
    """Tuning and capo of each guitar player, the same ones of one player only once."""
    tunings = [
        f"{row.player} {tuning_name(row.tuning)}" for row in guitars.itertuples()
    ]  # fmt: skip
    capos = [
        f"{row.player} {capo}"
        for row in guitars.itertuples()
        for capo in (row.capo, *(capo for _, capo, _ in row.inside))
    ]
    return {"tunings": "; ".join(dict.fromkeys(tunings)), "capos": "; ".join(dict.fromkeys(capos))}


def _found(study: Study) -> dict[str, Any]:
    asked = study.findings[study.findings["waived"].isna()]
    minutes = study.song.seconds(study.song.duration) / 60
    groups = [KINDS[kind].group for kind in asked["kind"]]
    a_minute = {f"{group}_a_minute": _rate(groups.count(group), minutes) for group in GROUPS}
    strongest = asked.iloc[int(asked["severity"].argmax())] if len(asked) else None
    return {
        "findings": len(asked),
        "findings_a_minute": _rate(len(asked), minutes),
        **a_minute,
        "strongest": "" if strongest is None else strongest["kind"],
        "severity": np.nan if strongest is None else strongest["severity"],
    }


def _rate(count: int, minutes: float) -> float:
    return count / minutes if minutes > 0 else np.nan


def book_findings(book: Songbook, *, grouped: bool = True) -> pd.DataFrame:
    """Return the findings of all songs, in the order in which to listen to them.

    Parameters
    ----------
    book : Songbook
    grouped : bool
        True puts those of one song together that belong together, as ``group_findings`` does:
        the same clash in each chorus is one row, with ``times`` and ``sections``.

    Returns
    -------
    DataFrame
        ``song``, then the columns of a findings table, and those of ``group_findings`` if grouped.
        Waived findings are there, with the id of the decision.
    """
    frames = []
    for name, study in book.studies.items():
        own = group_findings(study.findings, study.song) if grouped else study.findings
        frames.append(own.assign(song=pd.array([name] * len(own), dtype="str")))
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    if not filled:
        return pd.DataFrame(columns=["song", *FINDINGS.names])
    table = ranked(pd.concat(filled))
    if grouped:
        table = table.sort_values("trait", kind="stable")
    return table[["song", *(name for name in table.columns if name != "song")]].reset_index(
        drop=True
    )
