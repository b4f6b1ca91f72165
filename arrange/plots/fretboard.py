"""A neck to draw on: strings, frets at their true distances, capo, fret numbers.

The x axis is in mm from the nut, which lies on the left; frets are as far apart as on the neck. The
y axis has the strings, 1 on top as in tablature. A mark lies in the middle between its fret and the
one before, where a finger does; the mark of an open string lies left of the nut, or on the capo.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from arrange.guitar.necks import Neck
from arrange.plots.figures import FAINT, GREY, INK, PAPER, SMALL_SIZE, TEXT_SIZE, points_wide
from arrange.tables.setups import part_setups, sections_of
from arrange.tables.song import Song
from arrange.text.words import listed
from arrange.theory.pitch import note_name

# Frets at which guitars have inlays (common practice).
INLAYS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)
_OCTAVE = 12

_WOOD, _UNDER_CAPO = "#f3f1ec", "#dedede"
_OPEN_MM = 26.0  # left of the nut, for open strings and strings left out
_LEAST_POINTS = 10.0  # between fret numbers


@dataclass(frozen=True)
class Fretboard:
    """The part of a neck that is drawn, from the nut to a fret."""

    neck: Neck
    last: int

    @property
    def left(self) -> float:
        return -_OPEN_MM

    @property
    def right(self) -> float:
        return float(self.neck.mm[self.last])

    def x(self, fret: int) -> float:
        """Where a mark at a fret lies, mm from the nut."""
        if fret == 0:
            return -0.5 * _OPEN_MM
        return float(self.neck.mm[fret - 1] + self.neck.mm[fret]) / 2


def played_capos(song: Song | None, neck: Neck, fingered: pd.DataFrame) -> dict[int, str]:
    """Return the capos that a fingered part is played behind, with their sections if it has others.

    That of `neck` where no song says more.
    """
    if song is None or song.setups.empty or "section" not in fingered:
        return {neck.capo: ""} if neck.capo else {}
    setups = part_setups(song)
    there = setups["section"].isin(fingered["section"]) & setups["part"].isin(fingered["part"])
    held = sections_of(setups[there], "capo")
    return {
        capo: listed(sections) if len(held) > 1 else "" for capo, sections in held.items() if capo
    }


def draw_fretboard(ax: Axes, board: Fretboard, capos: Mapping[str, int], numbers_at: float) -> None:
    """Draw the neck, its capo or several with the label of each, and the numbers of the frets.

    Parameters
    ----------
    ax : Axes
        Its y holds the strings, 1 at y = 1; the lowest edge of the neck lies half a string below.
    board : Fretboard
    capos : mapping of str to int
        Fret of each capo, none of them 0, by whose it is, or by an empty label.
    numbers_at : float
        y of the first row of fret numbers.
    """
    neck, strings = board.neck, board.neck.strings
    top, bottom = 0.5, strings + 0.5
    ax.add_patch(Rectangle((0, top), board.right, bottom - top, facecolor=_WOOD, linewidth=0,
                           zorder=0.4, gid="neck"))  # fmt: skip
    if len(set(capos.values())) == 1 and "" in capos:
        under = float(neck.mm[capos[""] - 1])
        ax.add_patch(Rectangle((0, top), under, bottom - top, facecolor=_UNDER_CAPO, hatch="xxx",
                               edgecolor=PAPER, linewidth=0, zorder=0.5,
                               gid="under the capo"))  # fmt: skip
    _draw_inlays(ax, board)
    for fret in range(1, board.last + 1):
        ax.plot([neck.mm[fret]] * 2, [top, bottom], color=GREY, linewidth=0.9, zorder=0.7,
                gid="fret")  # fmt: skip
    ax.plot([0, 0], [top, bottom], color=INK, linewidth=3.5, zorder=0.8, gid="nut",
            solid_capstyle="butt")  # fmt: skip
    for string, pitch in enumerate(neck.tuning, 1):
        weight = 0.6 + 0.9 * (string - 1) / max(strings - 1, 1)
        ax.plot([0, board.right], [string, string], color=INK, linewidth=weight, zorder=0.9,
                gid="string")  # fmt: skip
        ax.text(board.left - 4, string, f"{string}  {note_name(pitch)}", ha="right", va="center",
                fontsize=TEXT_SIZE, color=INK, gid="open string", clip_on=False)  # fmt: skip
    for label, capo in capos.items():
        _draw_capo(ax, board, label, capo)
    _number_frets(ax, board, capos, numbers_at)


def _draw_inlays(ax: Axes, board: Fretboard) -> None:
    middle = (board.neck.strings + 1) / 2
    for fret in (fret for fret in INLAYS if fret <= board.last):
        ys = (middle - 1, middle + 1) if fret % _OCTAVE == 0 else (middle,)
        ax.plot([board.x(fret)] * len(ys), ys, "o", color=FAINT, markersize=5, zorder=0.6,
                linestyle="none", gid="inlay")  # fmt: skip


def _draw_capo(ax: Axes, board: Fretboard, label: str, capo: int) -> None:
    x = board.x(capo)
    ax.plot([x, x], [0.45, board.neck.strings + 0.55], color=GREY, linewidth=6.5, zorder=1.5,
            clip_on=False, solid_capstyle="round", gid="capo")  # fmt: skip
    whose = f", {label}" if label else ""
    ax.annotate(
        f"capo {capo}{whose}", xy=(x, 0.45), xytext=(0, 4), textcoords="offset points",
        ha="center", va="bottom", fontsize=SMALL_SIZE, color=INK, annotation_clip=False,
        parse_math=False, gid="capo",
    )  # fmt: skip


def _number_frets(ax: Axes, board: Fretboard, capos: Mapping[str, int], at: float) -> None:
    """Write the frets counted from the nut, and below them counted from each capo."""
    begin, end = ax.get_xlim()
    scale = points_wide(ax) / abs(end - begin)
    rows = [("from the nut", 0, INK)]
    rows += [(f"from capo {capo}", capo, GREY) for capo in dict.fromkeys(capos.values())]
    for number, (label, zero, color) in enumerate(rows):
        y = at + 0.75 * number
        ax.text(board.left - 4, y, f"fret, {label}", ha="right", va="center", color=color,
                fontsize=SMALL_SIZE, gid="fret label", clip_on=False)  # fmt: skip
        for fret in _numbered(board, zero, scale):
            ax.text(board.x(fret), y, str(fret - zero), ha="center", va="center", color=color,
                    fontsize=TEXT_SIZE if zero == 0 else SMALL_SIZE, clip_on=False,
                    gid=label)  # fmt: skip


def _numbered(board: Fretboard, zero: int, scale: float) -> Sequence[int]:
    """Every fret if all numbers have room, else the frets with inlays and the first."""
    frets = range(zero, board.last + 1)
    places = np.array([board.x(fret) for fret in frets])
    if len(places) < 2 or np.diff(places).min() * scale >= _LEAST_POINTS:
        return frets
    return [fret for fret in frets if fret - zero in (0, 1) or fret in INLAYS]
