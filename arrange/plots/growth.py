"""Does the song grow as its recording does? A column a section for the recording, a line for those
who play.

The columns are light and the line dark, so that the two differ in grey print; a section that
falls behind has a hollow mark and its name in bold.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from arrange.errors import TableError
from arrange.plots.figures import (
    FAINT,
    INK,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    set_title,
    short,
    write_instead,
    write_note,
)

_COLUMN = "#c3ced6"
_HIGH = 1.9  # inches
_NEEDED = ("section", "recorded", "played", "behind")
_LONGEST_NAME = 15  # characters
_NAMES = 78.0  # points below the axes that upright names take


def plot_growth(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw how full each section is in the recording and with the players.

    A column for the recording, against its fullest section; a line for the players, against
    theirs. Where the players fall behind, that is, where a section returns no less full in the
    recording but less full with the players, the point is hollow and the section's name bold.

    Parameters
    ----------
    table : DataFrame
        As ``Condensation.growth``.
    ax : Axes, optional

    Returns
    -------
    Axes
        Along x a section is 1 wide, the first around 0; along y 0 to 1.

    Raises
    ------
    TableError
        If the table lacks a column.

    Examples
    --------
    >>> import arrange as ar
    >>> two = ar.condense(ar.read("datasets/last-bell.musicxml"))
    >>> ax = ar.plot_growth(two.growth)
    >>> ax.get_title(loc="left")
    'How full each section is: recording and players'
    """
    missing = [name for name in _NEEDED if name not in table]
    if missing:
        raise TableError(f"a table of growth lacks {missing}; it has {list(table.columns)}")
    if ax is None:
        ax = new_axes(_HIGH, Margins(left=0.55, right=0.3, top=0.4, bottom=1.85))
    clear_frame(ax)
    set_title(ax, "How full each section is: recording and players")
    count = len(table)
    ax.set_xlim(-0.5, max(count, 1) - 0.5)
    ax.set_ylim(0, 1.1)
    ax.set_yticks([0, 0.5, 1], ["0", "half", "fullest"], fontsize=SMALL_SIZE)
    if not count:
        write_instead(ax, "No sections here.")
        return ax
    x, played = np.arange(count), table["played"].to_numpy()
    behind = table["behind"].to_numpy(dtype=bool)
    for level in (0.5, 1.0):
        ax.axhline(level, color=FAINT, linewidth=0.6, zorder=0.5)
    ax.bar(x, table["recorded"], width=0.8, color=_COLUMN, zorder=1, gid="recording")
    ax.plot(x, played, color=INK, linewidth=1.6, zorder=2, gid="players")
    for chosen, face, gid in ((~behind, INK, "keeps up"), (behind, "white", "falls behind")):
        ax.plot(x[chosen], played[chosen], linestyle="none", marker="o", markersize=6,
                markerfacecolor=face, markeredgecolor=INK, markeredgewidth=1.6, zorder=3,
                gid=gid)  # fmt: skip
    names = [short(name, _LONGEST_NAME) for name in table["section"]]
    ax.set_xticks(x, names, rotation=90, fontsize=TEXT_SIZE)
    for label, is_behind in zip(ax.get_xticklabels(), behind.tolist(), strict=True):
        label.set_parse_math(False)
        label.set_fontweight("bold" if is_behind else "normal")
    _explain(ax, has_behind=bool(behind.any()))
    return ax


def _explain(ax: Axes, *, has_behind: bool) -> None:
    mark = {"color": INK, "marker": "o", "markersize": 6, "markeredgewidth": 1.6}
    handles = [Patch(facecolor=_COLUMN), Line2D([], [], **mark)]  # type: ignore[arg-type]
    labels = ["recording", "players"]
    if has_behind:
        handles.append(Line2D([], [], **mark, markerfacecolor="white"))  # type: ignore[arg-type]
        labels.append("players, where they fall behind")
    add_legend(ax, handles, labels, _NAMES)
    write_note(
        ax, "Energy of all layers and of all players, each against its own fullest section.",
        _NAMES + 16,
    )  # fmt: skip
