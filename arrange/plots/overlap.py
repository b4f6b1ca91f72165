"""How far does each pair of parts share a register, section by section?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap

from arrange.errors import ArrangeError
from arrange.plots.figures import (
    INK,
    PAGE_WIDTH,
    PAPER,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    new_axes,
    points_wide,
    set_title,
    short,
    short_parts,
    text_points,
    write_instead,
    write_note,
)
from arrange.quantities.register import register_overlap
from arrange.tables.song import Song
from arrange.tables.sounding import Array, cut_notes
from arrange.text.part_lists import join_parts

MOST_PAIRS, MOST_SECTIONS = 30, 24

_NEEDED = ("part_a", "part_b", "section", "together")
_ROW, _WIDEST_COLUMN = 0.235, 0.9  # inches
# From pale to near black in even steps of lightness, so that it looks the same in grey.
_SCALE = LinearSegmentedColormap.from_list("overlap", ["#eef4f8", "#7fb0d0", "#1f5f8b", "#06121c"])
_WHITE_ABOVE = 0.55  # numbers on darker cells are white


@dataclass(frozen=True)
class _Matrix:
    """Overlap of pairs (rows) by section (columns), and how many there are in all."""

    pairs: list[str]
    sections: list[str]
    overlap: Array
    all_pairs: int
    all_sections: int


def plot_overlap(song_or_overlap: Song | pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw a matrix of how far each pair of parts shares a register in each section.

    Each cell holds the overlap of the time that two parts spend on each semitone while both
    sound, from 0 (apart) to 100 (the same); it is empty where they never sound together. The
    guitars' pairs come first, then those that overlap most.

    Parameters
    ----------
    song_or_overlap : Song or DataFrame
        A song, or a table from ``register_overlap(notes, by="section")``, whose pairs are then
        sorted by overlap alone.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If a table lacks columns of ``register_overlap`` by section.

    Notes
    -----
    At most 30 pairs and 24 sections are drawn, those with the highest mean overlap; a note below
    the picture says so.

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_overlap(ar.read("datasets/low-water.musicxml"))
    >>> ax.get_title(loc="left")
    'Dark cells: two parts in one register'
    """
    matrix = _matrix(song_or_overlap)
    if ax is None:
        ax = _new_matrix_axes(matrix)
    for spine in ax.spines.values():
        spine.set_visible(False)
    ax.tick_params(length=0, pad=3, labelsize=TEXT_SIZE, colors=INK)
    if not matrix.pairs:
        ax.set_xticks([])
        ax.set_yticks([])
        write_instead(ax, "No two parts sound in one section.")
        set_title(ax, "How far the parts share a register")
        return ax
    _draw_cells(ax, matrix)
    _name_rows_and_columns(ax, matrix)
    _write_notes(ax, matrix)
    return ax


def _matrix(source: Song | pd.DataFrame) -> _Matrix:
    overlap, guitars = _overlap_table(source)
    pair = list(map(join_parts, zip(overlap["part_a"], overlap["part_b"], strict=True)))
    table = overlap.assign(pair=pd.Series(pair, index=overlap.index, dtype="str"))
    sections = list(dict.fromkeys(table["section"]))
    count = len(source.sections) if isinstance(source, Song) else len(sections)
    if isinstance(source, Song):
        sections = [name for name in source.sections["section"] if name in set(sections)]
    mean = table.groupby("pair", sort=False)["together"].mean().fillna(-1)
    both_guitars = table["part_a"].isin(guitars) & table["part_b"].isin(guitars)
    first = set(table.loc[both_guitars, "pair"])
    pairs = sorted(mean.index, key=lambda name: (name not in first, -mean[name]))
    cells = table.pivot_table(index="pair", columns="section", values="together", dropna=False)
    shown = cells.reindex(index=pairs[:MOST_PAIRS], columns=sections)
    kept = sections
    if len(sections) > MOST_SECTIONS:
        most = shown.mean().fillna(-1).sort_values(ascending=False, kind="stable")
        best = set(most.index[:MOST_SECTIONS])
        kept = [name for name in sections if name in best]
    return _Matrix(
        pairs[:MOST_PAIRS], kept, shown[kept].to_numpy(dtype=np.float64), len(pairs), count
    )


def _overlap_table(source: Song | pd.DataFrame) -> tuple[pd.DataFrame, set[str]]:
    """The overlap of every pair by section, and the labels of the guitars."""
    if isinstance(source, Song):
        cut = cut_notes(source.notes, source.sections, by="section")
        guitars = source.parts.loc[source.parts["family"] == "guitar", "part"]
        return register_overlap(cut, by="section"), set(guitars)
    missing = [name for name in _NEEDED if name not in source]
    if missing:
        raise ArrangeError(
            f"this table lacks {missing}; plot_overlap takes a Song or "
            'register_overlap(notes, by="section")'
        )
    return source, set()


def _new_matrix_axes(matrix: _Matrix) -> Axes:
    """Axes with room on the left for the longest pair, and on top for the longest section."""
    letters = max((len(short_parts(pair)) for pair in matrix.pairs), default=0)
    left = min(0.3 + 0.062 * letters, 2.6)
    longest = max((len(short(name)) for name in matrix.sections), default=0)
    height = max(_ROW * len(matrix.pairs), 0.3)
    right = max(0.15, PAGE_WIDTH - left - _WIDEST_COLUMN * max(len(matrix.sections), 3))
    return new_axes(
        height, Margins(left=left, right=right, top=0.45 + 0.065 * longest, bottom=0.45)
    )


def _draw_cells(ax: Axes, matrix: _Matrix) -> None:
    rows, columns = matrix.overlap.shape
    ax.pcolormesh(
        np.arange(columns + 1) - 0.5, np.arange(rows + 1) - 0.5,
        np.ma.masked_invalid(matrix.overlap),
        cmap=_SCALE, vmin=0, vmax=1, edgecolors=PAPER, linewidth=1,
    )  # fmt: skip
    ax.set_xlim(-0.5, columns - 0.5)
    ax.set_ylim(rows - 0.5, -0.5)
    for row, column in np.argwhere(np.isfinite(matrix.overlap)):
        value = matrix.overlap[row, column]
        ax.text(
            column, row, f"{100 * value:.0f}", ha="center", va="center", fontsize=SMALL_SIZE,
            color=PAPER if value > _WHITE_ABOVE else INK, gid="overlap",
        )  # fmt: skip


def _name_rows_and_columns(ax: Axes, matrix: _Matrix) -> None:
    ax.set_yticks(
        range(len(matrix.pairs)), [short_parts(pair) for pair in matrix.pairs], parse_math=False
    )
    names = [short(name) for name in matrix.sections]
    ax.xaxis.tick_top()
    ax.tick_params(length=0)
    ax.set_xticks(range(len(names)), names, parse_math=False)
    wide = [text_points(label)[0] for label in ax.get_xticklabels()]
    upright = max(wide) + 4 > points_wide(ax) / len(names)
    if upright:
        for label in ax.get_xticklabels():
            label.set(rotation=90, ha="center", va="bottom")
    above = max(wide) if upright else TEXT_SIZE
    title = "Dark cells: two parts in one register"
    set_title(ax, title, above + 4)


def _write_notes(ax: Axes, matrix: _Matrix) -> None:
    """Say what the numbers are, and what is not shown."""
    text = "Time spent on the same notes while both sound: 0 none, 100 all."
    if np.isnan(matrix.overlap).any():
        text += " Empty: never together."
    shown = []
    if matrix.all_pairs > len(matrix.pairs):
        shown.append(f"{len(matrix.pairs)} of {matrix.all_pairs} pairs")
    if matrix.all_sections > len(matrix.sections):
        shown.append(f"{len(matrix.sections)} of {matrix.all_sections} sections")
    if shown:
        text += f"\nShown: {' and '.join(shown)}, those that overlap most."
    write_note(ax, text, 6)
