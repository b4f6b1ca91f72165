"""The shares kept in a text file beside the song, so that they come back after a restart.

The log of decisions holds what was decided with a reason; this file holds what is being tried. A
line is ``what, section, player, layers``, as a spreadsheet reads it: ``has`` what a player plays
there, ``keeps`` if that is to stay, ``not`` a layer that is forbidden.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from pathlib import Path

from arrange.condensing.plan_by_hand import Taken, why_no_option
from arrange.condensing.problem import Problem
from arrange.formats.files import whole_file
from arrange.live.layers.shares import Shares
from arrange.text.letters import readable
from arrange.text.part_lists import join_parts, split_parts

_HEAD = ["what", "section", "player", "layers"]
_MOST_BYTES = 1_000_000


def shares_path(song: str | os.PathLike[str]) -> Path:
    """Return where the shares of a song's file lie: beside it, ending in ``.layers.txt``."""
    return Path(song).with_suffix(".layers.txt")


class SharesFile:
    """The file of one view; another view of the same song may write it too.

    Parameters
    ----------
    path : Path
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: str | None = None  # what is in the file, as far as this view knows
        self._seen = ""  # what this view was asked to keep last

    def read(self, problem: Problem, otherwise: Taken) -> tuple[Shares, str]:
        """Return what ``read_shares`` does."""
        self._known = self._text()
        return read_shares(self.path, problem, otherwise)

    def keep(self, problem: Problem, shares: Shares) -> str:
        """Write the shares if they are others than before, completely or not at all.

        What another view has written is not written over, but said in words; the next time it is.

        Raises
        ------
        ArrangeError
            If the file cannot be written.
        """
        text, there = format_shares(problem, shares), self._text()
        if text == self._seen:
            return ""
        if there not in (None, self._known, text):
            self._known, self._seen = there, text
            return (
                f"Another view of this song has kept other shares in {readable(self.path.name)}. "
                "Those here are not kept there until you change something once more; run the cell "
                "again to see the others."
            )
        if text != there:
            with whole_file(self.path) as draft:
                draft.write_text(text, encoding="utf-8", newline="")
        self._known = self._seen = text
        return ""

    def _text(self) -> str | None:
        """What is in the file; None where nothing can be read."""
        try:
            with self.path.open(encoding="utf-8", errors="replace", newline="") as file:
                return file.read(_MOST_BYTES)
        except OSError:
            return None


def format_shares(problem: Problem, shares: Shares) -> str:
    """Return the shares as text."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(_HEAD)
    names, sections = problem.recorded.names, problem.recorded.sections
    for section, chosen in enumerate(shares.taken):
        for player, option in enumerate(chosen):
            where = sections[section], problem.lineup.name(player)
            rows.writerow(["has", *where, join_parts(names[layer] for layer in option)])
            if (section, player) in shares.kept:
                rows.writerow(["keeps", *where, ""])
    for section, player, layer in sorted(shares.forbidden):
        rows.writerow(["not", sections[section], problem.lineup.name(player), names[layer]])
    return text.getvalue()


def read_shares(path: Path, problem: Problem, otherwise: Taken) -> tuple[Shares, str]:
    """Return the shares of a file, and in words what of it does not fit the song any more.

    Sections that the file does not have are shared out as in `otherwise`. A file that is not there
    or cannot be read changes nothing.
    """
    try:
        if not path.exists():
            return Shares(otherwise), ""
        if path.stat().st_size > _MOST_BYTES:
            raise ValueError("too large")
        return parse_shares(path.read_text(encoding="utf-8"), problem, otherwise)
    except (OSError, ValueError, csv.Error) as error:
        why = error.strerror if isinstance(error, OSError) else "it is no table of shares"
        return Shares(otherwise), f"{readable(str(path))} cannot be used: {why}"


def parse_shares(text: str, problem: Problem, otherwise: Taken) -> tuple[Shares, str]:
    """Return the shares of a text, and in words what of it does not fit.

    Raises
    ------
    ValueError
        If it is no table of shares.
    """
    rows = list(csv.reader(io.StringIO(text)))
    if not rows or rows[0] != _HEAD or any(len(row) != len(_HEAD) for row in rows):
        raise ValueError("no table of shares")
    sections: Sequence[str] = problem.recorded.sections
    names: Sequence[str] = problem.recorded.names
    players = [player.name for player in problem.lineup.players]
    shares, strange = Shares(otherwise), 0
    has: dict[int, dict[int, tuple[int, ...]]] = {}
    for what, section, player, layers in rows[1:]:
        own = split_parts(layers) if layers else []
        if section not in sections or player not in players or not set(own) <= set(names):
            strange += 1
            continue
        place, who = sections.index(section), players.index(player)
        option = tuple(sorted(names.index(name) for name in own))
        if what == "has":
            has.setdefault(place, {})[who] = option
        elif what == "keeps":
            shares = shares.with_kept(place, who)
        elif what == "not" and option:
            shares = shares.with_forbidden(place, who, option[0])
        else:
            strange += 1
    for place, by_player in has.items():
        chosen = tuple(by_player.get(who, ()) for who in range(len(players)))
        every = [layer for option in chosen for layer in option]
        if len(set(every)) < len(every) or any(why_no_option(problem, place, o) for o in chosen):
            strange += 1
        else:
            shares = shares.with_section(place, chosen)
    words = f"{strange} lines of the shares kept earlier do not fit the song or the players"
    return shares, words if strange else ""
