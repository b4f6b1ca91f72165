"""Where on the neck do shapes lie, where do hands play, and where do two hands overlap?

The neck lies with the nut on the left and string 1 on top, as in tablature; distances along it
are true (``fretboard``). The size of marks and the height of bars show time on the neck, the shape
and lightness of marks show whose it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from arrange.errors import ArrangeError
from arrange.guitar.fingering import lowest_neck
from arrange.guitar.fret_pictures import NO_LABELS, FretLabels, FretPicture, fret_pictures
from arrange.guitar.hands import Hand
from arrange.guitar.necks import LEFT_OUT, Array, Neck
from arrange.plots.figures import (
    BLUE,
    GREY,
    INK,
    ORANGE,
    PALE_BLUE,
    PAPER,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    new_axes,
    set_title,
    short,
    write_note,
)
from arrange.plots.fretboard import Fretboard, draw_fretboard, played_capos
from arrange.plots.time_on_neck import HAND_FRETS, hand_shares, place_shares, shared_share
from arrange.tables.song import Song
from arrange.theory.pitch import note_name

MOST_SHAPES, MOST_PARTS = 6, 2

# Marker, its face and edge, and the colour of a word inside. CIE lightness of the faces: 46, 100,
# 6, 71, 92, 36, with another outline for each.
_STYLES = (
    ("o", BLUE, INK, PAPER),
    ("s", PAPER, INK, INK),
    ("D", INK, INK, PAPER),
    ("h", ORANGE, INK, INK),
    ("p", PALE_BLUE, INK, INK),
    ("8", GREY, INK, PAPER),
)
_PART_STYLES = (("o", BLUE, INK, PAPER, ""), ("s", ORANGE, INK, INK, "////"))
_MARK = 14.0  # points
_LEAST_MARK, _LEAST_NAMED_MARK, _LARGEST_MARK = 3.5, 11.0, 17.0

_STRING_HIGH = 0.27  # inches
_ASIDE = 0.26  # of a string, from it to the marks of each of two parts
_LANE = 2.0  # strings high
_LEAST_FRETS = 12


def plot_neck(
    shown: Any,
    neck: Neck | None = None,
    *,
    song: Song | None = None,
    titles: str | Sequence[str] | None = None,
    labels: FretLabels = NO_LABELS,
    hand: Hand | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw shapes on a neck, or where the hand of one or two parts plays on it.

    Shapes have a mark at each place, a line through those of one shape, a ring at open strings
    and, for a shape alone, a cross at strings left out and a bar for a finger across strings.

    A fingered part has a mark at each place that it plays, its area by the time that it sounds
    there, and a row of bars above the neck: the share of its time that each fret lies under the
    hand, one finger a fret from the first. With two parts black is what both have in common.

    Parameters
    ----------
    shown : shapes or tables
        Up to six shapes: text with the low string first, frets with string 1 first, or what
        ``find_voicings`` returns. Or what ``finger_part`` returns, for one part or for two in a
        list or in one table; rows of a section if only that is asked for.
    neck : Neck, optional
        Else, for parts, the neck of each in `song`; else a guitar.
    song : Song, optional
        The song that fingered parts are from, for their necks and capos and the key.
    titles : str or sequence of str, optional
        A name for each shape.
    labels : FretLabels
        What is written in the marks; nothing if not given. For a part ``"fingers"`` are those that
        play the place for the longest time.
    hand : Hand, optional
        Whose fingers, for shapes.
    ax : Axes, optional

    Returns
    -------
    Axes

    Raises
    ------
    ArrangeError
        If there is nothing to draw or too much, or a place is not on the neck.

    Examples
    --------
    >>> import arrange as ar
    >>> ar.plot_neck("x32010", titles="C").get_title(loc="left")
    'C'
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ax = ar.plot_neck(ar.finger_part(song, "Guitar 2"), song=song)
    >>> ax.get_title(loc="left")
    'Mostly Guitar 2 at frets 4–7'
    """
    tables = _tables(shown)
    if tables is not None:
        return _plot_parts(tables, neck, song, labels, ax)
    neck = neck or Neck()
    pictures = fret_pictures(shown, titles, neck, hand or Hand(), labels)
    return _plot_shapes(pictures, neck, labels.chord, ax)


def _tables(shown: Any) -> dict[str, pd.DataFrame] | None:
    """Fingered tables by part, or None for shapes."""
    several = [shown] if isinstance(shown, pd.DataFrame) else shown
    is_tables = not isinstance(several, str) and any(
        isinstance(each, pd.DataFrame) for each in several
    )
    if not is_tables or (isinstance(shown, pd.DataFrame) and "frets" in shown):
        return None
    tables: dict[str, pd.DataFrame] = {}
    for each in several:
        missing = [n for n in ("part", "onset", "duration", "string", "fret") if n not in each]
        if missing:
            raise ArrangeError(
                f"this table lacks {missing}; plot_neck takes what finger_part or find_voicings "
                "returns, or shapes such as 'x32010'"
            )
        for part, own in each.groupby("part", sort=False):
            tables[str(part)] = own
    played = {part: own.dropna(subset=["string", "fret"]) for part, own in tables.items()}
    tables = {part: own for part, own in played.items() if len(own)}
    if not 1 <= len(tables) <= MOST_PARTS:
        raise ArrangeError(
            f"{len(tables)} parts with a string and a fret; the neck shows one or two of them: "
            "choose by table['part'], and finger them with finger_part"
        )
    return tables


# Shapes --------------------------------------------------------------------------------------


def _plot_shapes(
    pictures: Sequence[FretPicture], neck: Neck, chord: str | None, ax: Axes | None
) -> Axes:
    if len(pictures) > MOST_SHAPES:
        raise ArrangeError(
            f"{len(pictures)} shapes on one neck; it holds {MOST_SHAPES}, and plot_shape draws a "
            "row of small pictures"
        )
    last = max(max(picture.frets) for picture in pictures)
    board = Fretboard(neck, min(neck.frets, max(_LEAST_FRETS, last + 1)))
    capos = {"": neck.capo} if neck.capo else {}
    ax = _axes(ax, board, 0, len(capos), len(pictures) > 1)
    draw_fretboard(ax, board, capos, neck.strings + 1.05)
    taken: dict[tuple[int, int], int] = {}
    for picture, style in zip(pictures, _STYLES, strict=False):
        _draw_shape(ax, board, picture, style, taken, len(pictures) == 1)
    handles = [
        Line2D([], [], marker=marker, markerfacecolor=face, markeredgecolor=edge, color=INK,
               linewidth=1.2, markersize=9)
        for (marker, face, edge, _), _ in zip(_STYLES, pictures, strict=False)
    ]  # fmt: skip
    if len(pictures) > 1:
        names = [_name(each, number, len(pictures)) for number, each in enumerate(pictures, 1)]
        add_legend(ax, handles, names, 6)
        ax.get_legend().set(gid="key")  # type: ignore[union-attr]
    set_title(ax, _shapes_title(pictures, chord), 14 if capos else 4)
    return ax


def _name(picture: FretPicture, number: int, count: int) -> str:
    """The name of a shape in the key; only its end if there is no room for all."""
    parts = (picture.title or f"shape {number}").split("\n")
    return short(", ".join(parts) if count <= 3 else parts[-1], 28 if count <= 3 else 18)


def _shapes_title(pictures: Sequence[FretPicture], chord: str | None) -> str:
    if len(pictures) == 1 and pictures[0].title:
        return pictures[0].title.replace("\n", ", ")
    what = f"{len(pictures)} shapes" if len(pictures) > 1 else "a shape"
    return f"{chord}: {what} on the neck" if chord else f"{what} on the neck"


def _draw_shape(
    ax: Axes,
    board: Fretboard,
    picture: FretPicture,
    style: tuple[str, str, str, str],
    taken: dict[tuple[int, int], int],
    is_alone: bool,
) -> None:
    marker, face, edge, inside = style
    places = [(s, f) for s, f in enumerate(picture.frets, 1) if f != LEFT_OUT]
    xs = []
    for string, fret in places:
        beside = taken.get((string, fret), 0)
        taken[string, fret] = beside + 1
        xs.append(board.x(fret) + 9.0 * beside)
    if not is_alone:
        ax.plot(xs, [string for string, _ in places], color=INK, linewidth=1.2, zorder=2,
                gid="line")  # fmt: skip
    for barre in picture.barres if is_alone else ():
        x = board.x(barre.fret)
        ax.plot([x, x], [barre.first, barre.last], color=face, linewidth=8, zorder=2.5,
                solid_capstyle="round", gid="barre")  # fmt: skip
    for (string, _), x in zip(places, xs, strict=True):
        is_open = string in picture.open_strings
        ax.plot([x], [string], marker, markersize=_MARK * (0.9 if marker == "D" else 1.0),
                markerfacecolor=PAPER if is_open else face, markeredgecolor=edge,
                markeredgewidth=2.0 if is_open else 1.0, zorder=3,
                gid="open" if is_open else "mark")  # fmt: skip
        word = picture.words[string - 1]
        if word:
            _write_in(ax, x, string, word, INK if is_open else inside)
    for string in picture.left_out if is_alone else ():
        ax.plot([board.x(0)], [string], "x", color=INK, markersize=8, markeredgewidth=1.8,
                zorder=3, gid="left out")  # fmt: skip


def _write_in(ax: Axes, x: float, string: float, word: str, color: str) -> None:
    ax.text(x, string, word, ha="center", va="center_baseline", fontsize=SMALL_SIZE + 0.5,
            fontweight="bold", color=color, zorder=4, parse_math=False, gid="word")  # fmt: skip


def _axes(ax: Axes | None, board: Fretboard, lanes: int, capo_rows: int, has_key: bool) -> Axes:
    """Axes with room for the neck, lanes above it, and rows of fret numbers below it."""
    above = 0.5 + _LANE * lanes + (0.8 if capo_rows and lanes else 0.0)
    below = board.neck.strings + 1.4 + 0.75 * capo_rows
    if ax is None:
        height = _STRING_HIGH * (below + above - 1.0)
        ax = new_axes(height, Margins(1.1, 0.2, 0.5 if lanes else 0.55, 0.45 if has_key else 0.15))
    ax.set(xlim=(board.left, board.right), ylim=(below, 1.0 - above), xticks=[], yticks=[])
    for side in ax.spines.values():
        side.set_visible(False)
    return ax


# Parts ---------------------------------------------------------------------------------------


def _plot_parts(
    tables: Mapping[str, pd.DataFrame],
    neck: Neck | None,
    song: Song | None,
    labels: FretLabels,
    ax: Axes | None,
) -> Axes:
    necks = {
        part: neck or (lowest_neck(song, part, own) if song else Neck())
        for part, own in tables.items()
    }
    widest = max(necks.values(), key=lambda each: (each.strings, each.frets))
    _check_places(tables, necks)
    board = Fretboard(widest, widest.frets)
    known = None if neck else song
    capos = {
        ", ".join(filter(None, ("" if len(tables) == 1 else short(part, 14), where))): capo
        for part, own in tables.items()
        for capo, where in played_capos(known, necks[part], own).items()
    }
    with_lanes = [part for part, own in tables.items() if "position" in own]
    hands = {part: hand_shares(tables[part], necks[part]) for part in with_lanes}
    ax = _axes(ax, board, len(hands), len(set(capos.values())), True)
    draw_fretboard(ax, board, capos, widest.strings + 1.05)
    if song is not None and labels.key is None and song.measures["key"].notna().any():
        labels = replace(labels, key=str(song.measures["key"].mode().iloc[0]))
    for number, (part, own) in enumerate(tables.items()):
        aside = 0.0 if len(tables) == 1 else (-_ASIDE, _ASIDE)[number]
        marks = _Marks(place_shares(own), necks[part], _PART_STYLES[number], aside)
        _draw_places(ax, board, marks, labels)
    bottom = 0.5 - (0.9 if capos else 0.1)
    _draw_hands(ax, board, hands, bottom)
    _explain_parts(ax, list(tables), len(hands) == MOST_PARTS)
    _write_parts_note(ax, hands, widest, necks)
    set_title(ax, _parts_title(tables, hands), 2)
    return ax


def _check_places(tables: Mapping[str, pd.DataFrame], necks: Mapping[str, Neck]) -> None:
    for part, own in tables.items():
        neck = necks[part]
        bad = own[(own["string"] > neck.strings) | (own["fret"] > neck.frets)
                  | (own["fret"] < neck.capo)]  # fmt: skip
        if len(bad):
            string, fret = int(bad["string"].iloc[0]), int(bad["fret"].iloc[0])
            raise ArrangeError(
                f"{part!r} has fret {fret} on string {string}; the neck has {neck.strings} strings "
                f"and frets {neck.capo} to {neck.frets}. Give its neck=Neck(...), or song=song"
            )


@dataclass(frozen=True)
class _Marks:
    """The places of a part, its neck, how its marks look and how far they lie beside the string."""

    places: pd.DataFrame
    neck: Neck
    style: tuple[str, str, str, str, str]
    aside: float  # strings


def _draw_places(ax: Axes, board: Fretboard, marks: _Marks, labels: FretLabels) -> None:
    """A mark at each place, its area by the part's time there; hollow where the string is open."""
    marker, face, edge, inside, _ = marks.style
    neck, places = marks.neck, marks.places
    least = _LEAST_NAMED_MARK if labels.show else _LEAST_MARK
    largest = _LARGEST_MARK * (1.0 if marks.aside == 0 else 0.6)
    size = np.clip(largest * np.sqrt(places["share"] / places["share"].max()), least, None)
    for row, points in zip(places.itertuples(), size, strict=True):
        string, fret = int(row.string), int(row.fret)
        is_open = fret == neck.capo
        x, y = board.x(fret), string + marks.aside
        ax.plot([x], [y], marker, markersize=points, markerfacecolor=PAPER if is_open else face,
                markeredgecolor=edge, markeredgewidth=1.6 if is_open else 0.6, zorder=3,
                gid=f"place {row.part}")  # fmt: skip
        if labels.show == "fingers":
            word = "" if pd.isna(row.finger) or row.finger == 0 else f"{int(row.finger)}"
        else:
            word = labels.word(neck.tuning[string - 1] + fret)
        if word:
            _write_in(ax, x, y, word, INK if is_open else inside)


def _draw_hands(ax: Axes, board: Fretboard, hands: Mapping[str, Any], bottom: float) -> None:
    """Bars above the neck: how much of its time each fret lies under a part's hand."""
    if not hands:
        return
    most = max(float(shares.max()) for shares in hands.values()) or 1.0
    both = _both(*hands.values()) if len(hands) == MOST_PARTS else None
    for lane, (part, shares) in enumerate(hands.items()):
        base = bottom - _LANE * (len(hands) - 1 - lane)
        _, face, edge, _, hatch = _PART_STYLES[lane]
        ax.plot([0, board.right], [base, base], color=GREY, linewidth=0.6, zorder=1)
        high = 0.8 * _LANE / most
        _draw_bars(ax, board, high * shares, base, f"hand {part}",
                   facecolor=face, edgecolor=edge, hatch=hatch, zorder=2)  # fmt: skip
        if both is not None:
            _draw_bars(ax, board, high * both, base, f"shared {part}",
                       facecolor=INK, edgecolor=edge, zorder=3)  # fmt: skip
        ax.text(board.left - 4, base - 0.35 * _LANE, short(part, 15), ha="right", va="center",
                fontsize=TEXT_SIZE, fontweight="bold", color=INK, parse_math=False, clip_on=False,
                gid="part name")  # fmt: skip
        top = base - 0.8 * _LANE
        ax.plot([0, board.right], [top, top], color=GREY, linewidth=0.4, linestyle=(0, (2, 3)),
                zorder=0.6)  # fmt: skip
        ax.text(-3, top, f"{100 * most:.0f}%", ha="right", va="center", fontsize=SMALL_SIZE,
                color=GREY, gid="scale")  # fmt: skip


def _both(one: Array, other: Array) -> Array:
    frets = min(len(one), len(other))
    both = np.zeros(max(len(one), len(other)))
    both[:frets] = np.minimum(one[:frets], other[:frets])
    return both


def _draw_bars(
    ax: Axes, board: Fretboard, heights: Array, base: float, gid: str, **style: Any
) -> None:
    for fret in (fret for fret in range(1, len(heights)) if heights[fret] > 0):
        left, wide = board.neck.mm[fret - 1], board.neck.mm[fret] - board.neck.mm[fret - 1]
        ax.add_patch(Rectangle((left + 0.08 * wide, base), 0.84 * wide, -heights[fret], gid=gid,
                               linewidth=0.6, **style))  # fmt: skip


def _explain_parts(ax: Axes, parts: Sequence[str], has_shared: bool) -> None:
    handles: list[Any] = [
        Line2D([], [], marker=style[0], markerfacecolor=style[1], markeredgecolor=style[2],
               linestyle="none", markersize=9)
        for style, _ in zip(_PART_STYLES, parts, strict=False)
    ]  # fmt: skip
    labels = [short(part, 20) for part in parts]
    handles.append(Line2D([], [], marker="o", markerfacecolor=PAPER, markeredgecolor=INK,
                          markeredgewidth=1.6, linestyle="none", markersize=8))  # fmt: skip
    labels.append("open string")
    if has_shared:
        handles.append(Patch(facecolor=INK))
        labels.append("both hands there")
    add_legend(ax, handles, labels, 6)


def _write_parts_note(
    ax: Axes, hands: Mapping[str, Any], drawn: Neck, necks: Mapping[str, Neck]
) -> None:
    text = "The larger a mark, the longer it sounds."
    if hands:
        text += f" Bars: share of its time that a fret lies under the hand ({HAND_FRETS} frets)."
    other = [part for part, neck in necks.items() if neck.tuning != drawn.tuning]
    for part in other:
        opened = " ".join(note_name(pitch) for pitch in reversed(necks[part].tuning))
        text += f" {short(part)} is tuned {opened}."
    write_note(ax, text, 20)


def _parts_title(tables: Mapping[str, pd.DataFrame], hands: Mapping[str, Any]) -> str:
    homes = [
        f"{short(part, 14)} at frets {_home(shares)}"
        for part, shares in hands.items()
        if shares.max() > 0
    ]
    if homes:
        shared = f"; {100 * shared_share(*hands.values()):.0f}% in common" if homes[1:] else ""
        return f"Mostly {' and '.join(homes)}{shared}"
    return f"Where {' and '.join(short(part, 16) for part in tables)} plays"


def _home(shares: Any) -> str:
    """The stretch of frets, as wide as a hand, with the most time under it."""
    width = np.convolve(shares[1:], np.ones(HAND_FRETS), "valid")
    first = int(np.argmax(width)) + 1
    return f"{first}–{first + HAND_FRETS - 1}"
