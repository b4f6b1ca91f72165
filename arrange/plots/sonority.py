"""Where along the song do two parts grow rough together, and where does one hide the other?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from arrange.clashes import Limits
from arrange.plots.figures import (
    BLUE,
    FAINT,
    GREY,
    INK,
    KEY_BELOW,
    ORANGE,
    SMALL_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    set_title,
    short,
    write_instead,
    write_note,
)
from arrange.plots.lane_bars import draw_bars, name_lane, name_margin
from arrange.plots.song_axis import draw_song_axis
from arrange.quantities.sonority import masked_energy, pair_roughness
from arrange.tables.song import Song
from arrange.text.part_lists import join_parts

MOST_PAIRS = 6

_LANE = 0.72  # inches
# y of a lane, 0 at its top: the line that bars stand on and hang from, and the room to each side.
ZERO, UP, DOWN = 0.5, 0.42, 0.38
# Ends of the scales; the first that holds all values is taken.
_ROUGH_ENDS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.5, 1.0)
_HIDDEN_ENDS = (0.1, 0.2, 0.3, 0.5, 1.0)


@dataclass(frozen=True)
class _Pair:
    """Two parts, and for each measure in which both sound ``measure, seconds, added, hidden``;
    ``loud`` and ``soft``, who hides the most of whom.
    """

    parts: tuple[str, str]
    rows: pd.DataFrame
    loud: str
    soft: str


def plot_sonority(song: Song, ax: Axes | None = None) -> Axes:
    """Draw how rough each pair of parts grows and what one hides of the other, by measure.

    A lane for each pair: bars upward are the added roughness (how much rougher the two are than
    the rougher one alone; none where they are smoother), pale ones downward the share of one
    part's partial energy that the other hides, whichever hides more. The line between them is
    there where both sound.

    Parameters
    ----------
    song : Song
    ax : Axes, optional

    Returns
    -------
    Axes
        Along y a lane is 1 high, the first pair between 0 and 1.

    Notes
    -----
    At most six pairs are drawn: those with the greatest sum, over the seconds of the song, of
    added roughness and hidden share, each against its limit in ``clashes.Limits``.

    See Also
    --------
    arrange.quantities.sonority : the numbers.

    Examples
    --------
    >>> import arrange as ar
    >>> ax = ar.plot_sonority(ar.read("datasets/low-water.musicxml"))
    >>> ax.get_title(loc="left")
    'Up: rougher together. Down: one hides the other'
    """
    pairs = _pairs(song)
    shown = pairs[:MOST_PAIRS]
    if ax is None:
        names = [part for pair in shown for part in pair.parts]
        ax = new_axes(
            _LANE * max(len(shown), 1), Margins(left=name_margin(names), right=0.55, bottom=1.0)
        )
    clear_frame(ax)
    above = draw_song_axis(ax, song)
    ax.set_ylim(max(len(shown), 1), 0)
    ax.set_yticks([])
    if not shown:
        write_instead(ax, "No two parts sound at once.")
        set_title(ax, "Roughness and masking along the song", above)
        return ax
    rough = _end(_ROUGH_ENDS, max(float(pair.rows["added"].max()) for pair in shown))
    hidden = _end(_HIDDEN_ENDS, max(float(pair.rows["hidden"].max()) for pair in shown))
    for place, pair in enumerate(shown):
        _draw_pair(ax, pair, place, rough, hidden)
        name_lane(ax, place + ZERO, *pair.parts)
    _mark_scales(ax, len(shown), rough, hidden)
    _explain(ax, shown, len(pairs))
    set_title(ax, "Up: rougher together. Down: one hides the other", above)
    return ax


def _pairs(song: Song) -> list[_Pair]:
    """Every pair of parts that sound at once, those with the most to hear first."""
    rough, masked = pair_roughness(song, by="measure"), masked_energy(song, by="measure")
    pairs = []
    by_masker = dict(iter(masked.groupby(["masker", "target"])))
    for (one, other), own in rough.groupby(["part_a", "part_b"], sort=False):
        shares = [
            by_masker[pair].set_index("measure")["share"] for pair in ((one, other), (other, one))
        ]
        loud, soft = (one, other) if shares[0].max() >= shares[1].max() else (other, one)
        measure = own["measure"].to_numpy()
        hidden = np.fmax(
            shares[0].reindex(measure).to_numpy(), shares[1].reindex(measure).to_numpy()
        )
        rows = pd.DataFrame(
            {
                "measure": measure,
                "seconds": own["seconds"].to_numpy(),
                "added": np.maximum(own["added"].to_numpy(), 0.0),
                "hidden": np.nan_to_num(hidden),
            }
        )
        pairs.append(_Pair((str(one), str(other)), rows, str(loud), str(soft)))
    limits = Limits()
    most = [
        float((rows["seconds"] * (rows["added"] / limits.roughness
                                  + rows["hidden"] / limits.masking)).sum())
        for rows in (pair.rows for pair in pairs)
    ]  # fmt: skip
    return [pairs[place] for place in np.argsort(-np.array(most), kind="stable")]


def _end(ends: tuple[float, ...], most: float) -> float:
    return next((end for end in ends if end >= most), ends[-1])


def _draw_pair(ax: Axes, pair: _Pair, place: int, rough: float, hidden: float) -> None:
    zero = place + ZERO
    left = pair.rows["measure"].to_numpy() - 0.5
    right, level = left + 1.0, np.full(len(left), zero)
    name = join_parts(pair.parts)
    added = np.minimum(pair.rows["added"].to_numpy() / rough, 1.0)
    share = pair.rows["hidden"].to_numpy() / hidden
    draw_bars(ax, left, right, level, level - UP * added, f"added {name}", facecolor=BLUE,
              edgecolor=BLUE, linewidth=0.2, zorder=2)  # fmt: skip
    draw_bars(ax, left, right, level, level + DOWN * share, f"hidden {name}", facecolor=ORANGE,
              edgecolor=ORANGE, linewidth=0.2, zorder=2)  # fmt: skip
    draw_bars(ax, left, right, level - 0.012, level + 0.012, f"together {name}", facecolor=INK,
              linewidth=0, zorder=3)  # fmt: skip
    if place:
        ax.axhline(place, color=GREY, linewidth=0.5, zorder=0.6)
    for line in (zero - UP, zero + DOWN):
        ax.axhline(line, color=FAINT, linewidth=0.5, zorder=0.5)


def _mark_scales(ax: Axes, lanes: int, rough: float, hidden: float) -> None:
    """Number the ends of both scales at the right of each lane."""
    for place in range(lanes):
        for y, text in (
            (place + ZERO - UP, f"{rough:g}"),
            (place + ZERO, "0"),
            (place + ZERO + DOWN, f"{hidden:.0%}"),
        ):
            ax.annotate(text, xy=(1, y), xycoords=("axes fraction", "data"), xytext=(4, 0),
                        textcoords="offset points", va="center", fontsize=SMALL_SIZE, color=INK,
                        annotation_clip=False, gid="scale")  # fmt: skip


def _explain(ax: Axes, shown: list[_Pair], count: int) -> None:
    handles = [Patch(facecolor=BLUE), Patch(facecolor=ORANGE), Patch(facecolor=INK)]
    labels = ["added roughness (no unit)", "share of one part's sound hidden", "both sound"]
    add_legend(ax, handles, labels, KEY_BELOW)
    worst = max(shown, key=lambda pair: float(pair.rows["hidden"].max()))
    most = float(worst.rows["hidden"].max())
    notes = []
    if most >= 0.005:
        measure = int(worst.rows.loc[worst.rows["hidden"].idxmax(), "measure"])
        notes.append(f"Most hidden: {most:.0%} of {short(worst.soft, 18)}, "
                     f"by {short(worst.loud, 18)} in measure {measure}.")  # fmt: skip
    if count > len(shown):
        notes.append(f"Shown: {len(shown)} of {count} pairs, those with the most.")
    if notes:
        write_note(ax, "\n".join(notes), KEY_BELOW + 17)
