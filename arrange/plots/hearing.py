"""What does the ear hear at one moment: which partials of two parts meet, beat, or hide?

The x axis is frequency in ERBs, the ear's own scale, on which each critical band is equally wide;
the y axis is sound pressure level, where a part at level 0 has ``sonority.REFERENCE_LEVEL``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from arrange.errors import ArrangeError
from arrange.hearing import (
    Partials,
    erb,
    erb_frequency,
    erb_rate,
    joined,
    masked_threshold,
    merged,
    partials,
    quiet_power,
    rolloff,
    roughness,
)
from arrange.hearing.spectra import SAME_TONE
from arrange.plots.figures import (
    BLUE,
    FAINT,
    INK,
    ORANGE,
    SMALL_SIZE,
    TEXT_SIZE,
    Margins,
    add_legend,
    clear_frame,
    new_axes,
    points_wide,
    set_title,
    short,
    text_points,
    write_instead,
    write_note,
)
from arrange.quantities.sonority import REFERENCE_LEVEL
from arrange.tables.setups import by_section, section_at
from arrange.tables.song import Song
from arrange.tables.sounding import Array, sounding_notes
from arrange.theory.pitch import frequency, note_name
from arrange.theory.spelling import unknown_name

SHARED = "#dcdcdc"


@dataclass(frozen=True)
class _Look:
    """How a part's partials look: shape, filling and line differ in grey print too."""

    marker: str
    size: float  # points
    color: str
    line: Literal["-", "--"]
    inside: str

    @property
    def style(self) -> dict[str, Any]:
        return {"marker": self.marker, "markersize": self.size, "markeredgewidth": 1.4,
                "markeredgecolor": self.color, "markerfacecolor": self.inside,
                "color": self.color, "linestyle": self.line, "linewidth": 1.4}  # fmt: skip


LOOKS = (
    _Look("o", 5.0, BLUE, "-", BLUE),
    _Look("s", 8.0, ORANGE, "--", "none"),  # a circle at the same place shows inside it
)

_HEIGHT = 3.0  # inches
_KEY = 40.0  # points below the axes
_BRACKET, _BEAT_ROOM = 1.6, 9.0  # dB above the partials: the bracket; all that stands above
_AROUND = 3.0  # points to either side of a rate
_FLOOR = 6.0  # dB below the softest partial
_MOST_NOTES = 10  # named in the title
_NAME = 14  # characters of a part in the key


@dataclass(frozen=True)
class _Sound:
    """What a part holds: its label, its notes (MIDI numbers) and their partials, merged."""

    part: str
    pitches: list[float]
    tones: Partials


def plot_hearing(
    song: Song, onset: float, parts: Sequence[str] | None = None, ax: Axes | None = None
) -> Axes:
    """Draw the partials of two parts at one moment, and what the ear makes of them.

    Bands that hold partials of both parts are shaded, each an ERB wide; a bracket joins two
    partials that beat, with how often a second, the strongest first as far as there is room. If
    the louder part hides partials of the softer one, its threshold is a dotted line and what it
    hides is crossed.

    Parameters
    ----------
    song : Song
    onset : float
        The moment, in quarter notes from the start of the song.
    parts : sequence of str, optional
        Labels of the parts; the first two of them that sound there are drawn. Without it, all.
        A finding's are ``split_parts(finding.parts)``.
    ax : Axes, optional

    Returns
    -------
    Axes
        Along x is ``hearing.erb_rate``.

    Raises
    ------
    ArrangeError
        If the song has no part of a name in `parts`, or `onset` lies outside the song.

    Notes
    -----
    The partials are those of ``hearing.partials`` with the fall of each part's drive. A score does
    not say how an instrument or a player colours them. Beats faster than some 20 a second are
    heard as roughness (E. Zwicker and H. Fastl, Psychoacoustics; from memory).

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> ax = ar.plot_hearing(song, 16, ["Guitar 2", "Bass"])
    >>> print(ax.get_title(loc="left"))
    Measure 5 (Verse 1), beat 1: grey bands hold partials of both
    Guitar 2: G2
    Bass: G1
    """
    sounds = _sounds(song, onset, _chosen(song, parts))
    if ax is None:
        ax = new_axes(_HEIGHT, Margins(left=0.5, right=0.25, top=0.7, bottom=1.2))
    clear_frame(ax)
    where = _where(song, onset)
    if not sounds:
        ax.set_xticks([])
        ax.set_yticks([])
        who = f" of {', '.join(short(part) for part in parts)}" if parts else ""
        write_instead(ax, f"Silence: no note{who} sounds here.")
        set_title(ax, where)
        return ax
    _draw_sounds(ax, sounds)
    lead = "grey bands hold partials of both"
    if len(sounds) == 1:
        lead = f"{short(sounds[0].part, 18)} alone"
    held = [f"{short(sound.part, 18)}: {_names(song, onset, sound.pitches)}" for sound in sounds]
    write_note(ax, _roughness_note(sounds, parts), _KEY + 15)
    set_title(ax, "\n".join([f"{where}: {lead}", *held]))
    return ax


def _draw_sounds(ax: Axes, sounds: list[_Sound]) -> None:
    """Draw the partials of one part, or of two and where they meet, and the key."""
    floor = _set_scales(ax, sounds)
    for sound, look in zip(sounds, LOOKS, strict=False):
        _draw_tones(ax, sound, look, floor)
    handles: list[Any] = [Line2D([], [], **look.style) for look in LOOKS[: len(sounds)]]
    labels = [short(sound.part, _NAME) for sound in sounds]
    entries = _draw_meeting(ax, sounds) if len(sounds) == 2 else {}
    add_legend(ax, [*handles, *entries.values()], [*labels, *entries], _KEY)


def _chosen(song: Song, parts: Sequence[str] | None) -> list[str]:
    known = song.parts["part"].tolist()
    unknown = [name for name in parts or [] if name not in known]
    if unknown:
        raise ArrangeError(unknown_name("part", unknown[0], known))
    return known if parts is None else list(dict.fromkeys(parts))


def _sounds(song: Song, onset: float, chosen: list[str]) -> list[_Sound]:
    """What the first two of the parts that sound at the moment hold."""
    if not 0 <= onset < max(song.duration, 1e-9):
        raise ArrangeError(
            f"onset={onset:g} lies outside the song; it lasts {song.duration:g} quarter notes, "
            "counted from 0"
        )
    notes = sounding_notes(song.notes)
    at = onset + 1e-9
    held = notes[(notes["onset"] <= at) & (notes["onset"] + notes["sounds"] > at)]
    about, known = song.parts.set_index("part"), song.parts["part"].tolist()
    section = section_at(song, onset)
    sounds = []
    for part in [name for name in chosen if held["part"].eq(name).any()][: len(LOOKS)]:
        pitches = np.unique(held.loc[held["part"] == part, "pitch"].to_numpy(dtype=np.float64))
        row = about.loc[part]
        level = float(row["level"]) + REFERENCE_LEVEL
        drive = by_section(song, "drive")[known.index(part), section]
        tones = partials(pitches, level, rolloff(row["family"], drive))
        sounds.append(_Sound(part, pitches.tolist(), merged(tones)))
    return sounds


def _row_at(song: Song, onset: float) -> int:
    starts = song.measures["onset"].to_numpy()
    return max(int(np.searchsorted(starts, onset + 1e-9, side="right")) - 1, 0)


def _where(song: Song, onset: float) -> str:
    measure = int(song.measures["measure"].iloc[_row_at(song, onset)])
    beat = float(np.asarray(song.beat(np.array([onset]), np.array([measure])))[0])
    section = short(str(song.measures["section"].iloc[_row_at(song, onset)]), 16)
    return f"Measure {measure} ({section}), beat {round(beat, 2):g}"


def _names(song: Song, onset: float, pitches: list[float]) -> str:
    names = [song.note_name(pitch, onset) for pitch in pitches]
    more = f" and {len(names) - _MOST_NOTES} more" if len(names) > _MOST_NOTES else ""
    return " ".join(names[:_MOST_NOTES]) + more


def _set_scales(ax: Axes, sounds: list[_Sound]) -> float:
    """Set both axes to hold all partials; return the level at which the stems stand, dB."""
    rate = erb_rate(np.concatenate([sound.tones.frequency for sound in sounds]))
    level = np.concatenate([sound.tones.level for sound in sounds])
    floor = float(level.min()) - _FLOOR
    ax.set_xlim(float(rate.min()) - 0.9, float(rate.max()) + 0.9)
    ax.set_ylim(floor, float(level.max()) + _BEAT_ROOM)
    lowest, highest = erb_frequency(np.array(ax.get_xlim()))
    octaves = [pitch for pitch in range(0, 140, 12) if lowest < frequency(pitch) < highest]
    marks = [float(erb_rate(frequency(pitch))) for pitch in octaves]
    labels = [f"{note_name(pitch)}\n{frequency(pitch):.0f}" for pitch in octaves]
    ax.set_xticks(marks, labels)
    for mark in marks:
        ax.axvline(mark, color=FAINT, linewidth=0.5, zorder=0.5)
    ax.set_xlabel("note, and Hz; equal steps are equal critical bands", fontsize=TEXT_SIZE,
                  color=INK, labelpad=2)  # fmt: skip
    ax.set_ylabel("level, dB", fontsize=TEXT_SIZE, color=INK, labelpad=2)
    return floor


def _draw_tones(ax: Axes, sound: _Sound, look: _Look, floor: float) -> None:
    x, level = erb_rate(sound.tones.frequency), sound.tones.level
    ax.vlines(x, floor, level, colors=look.color, linestyles=look.line, linewidth=1.4, zorder=3,
              gid=f"stems {sound.part}")  # fmt: skip
    (line,) = ax.plot(x, level, zorder=4, gid=f"partials {sound.part}")
    line.update(look.style | {"linestyle": "none"})


def _draw_meeting(ax: Axes, sounds: list[_Sound]) -> dict[str, Any]:
    """Draw shared bands, beats and what is hidden; return their entries in the key."""
    one, other = (sound.tones for sound in sounds)
    entries: dict[str, Any] = {}
    low, high = shared_bands(one, other)
    for left, right in zip(erb_rate(low), erb_rate(high), strict=True):
        ax.axvspan(left, right, facecolor=SHARED, linewidth=0, zorder=0.2, gid="shared band")
    if len(low):
        entries["band of both"] = Patch(facecolor=SHARED)
    if _draw_beats(ax, one, other):
        entries["beats a second"] = Line2D([], [], color=INK, linewidth=1.2, marker=3,
                                           markersize=5)  # fmt: skip
    loud, soft = sounds if _power(one) >= _power(other) else sounds[::-1]
    hidden = _hidden(loud.tones, soft.tones)
    if hidden.any():
        _draw_hidden(ax, loud.tones, soft.tones, hidden)
        entries[f"hidden by {short(loud.part, _NAME)}"] = Line2D(
            [], [], color=INK, linestyle=":", linewidth=1.6, marker="x", markersize=6
        )
    return entries


def shared_bands(one: Partials, other: Partials) -> tuple[Array, Array]:
    """Return the critical bands that hold partials of both, joined where they overlap.

    Two partials share a band if they lie less than an ERB apart; it is an ERB wide around the
    middle between them.

    Parameters
    ----------
    one, other : Partials (partials,)

    Returns
    -------
    low, high : array
        Edges in Hz, ascending.
    """
    first, second = one.frequency[:, None], other.frequency
    middle = (first + second) / 2
    middle = np.sort(middle[np.abs(first - second) < erb(middle)])
    low, high = middle - erb(middle) / 2, middle + erb(middle) / 2
    begins = np.flatnonzero(np.append(True, low[1:] > np.maximum.accumulate(high)[:-1])[: len(low)])
    ends = np.append(begins[1:], len(low))[: len(begins)] - 1
    return low[begins], high[ends]


def beating_pairs(one: Partials, other: Partials) -> tuple[Array, Array, Array]:
    """Return the partials of two sounds that beat: each two nearest within an ERB.

    Parameters
    ----------
    one, other : Partials (partials,)

    Returns
    -------
    first, second : array of int
        Indices into each, strongest first (by the softer of the two).
    rate : array
        Beats a second; partials that coincide do not beat and are left out.
    """
    apart = np.abs(one.frequency[:, None] - other.frequency)
    middle = (one.frequency[:, None] + other.frequency) / 2
    beats = (apart < erb(middle)) & (apart > SAME_TONE * middle)
    beats &= apart == apart.min(axis=1, keepdims=True)
    beats &= apart == apart.min(axis=0)
    first, second = np.nonzero(beats)
    softer = np.minimum(one.amplitude[first], other.amplitude[second])
    order = np.argsort(-softer, kind="stable")
    first, second = first[order], second[order]
    return first, second, apart[first, second]


def _draw_beats(ax: Axes, one: Partials, other: Partials) -> bool:
    """Join partials that beat with a bracket and the rate above it, where there is room."""
    first, second, rates = beating_pairs(one, other)
    both = joined(one, other)
    places = erb_rate(both.frequency)
    scale = points_wide(ax) / np.diff(ax.get_xlim())[0]
    taken: list[tuple[float, float]] = []
    for a, b, rate in zip(first, second, rates, strict=True):
        x = erb_rate(np.array([one.frequency[a], other.frequency[b]]))
        text = ax.annotate(
            f"{rate:.1f}" if rate < 10 else f"{rate:.0f}", xy=(float(x.mean()), 0),
            xytext=(0, 1.5), textcoords="offset points", ha="center", va="bottom",
            fontsize=SMALL_SIZE, color=INK, zorder=6, gid="beat rate",
        )  # fmt: skip
        half = (text_points(text)[0] / 2 + _AROUND) / scale
        left = min(float(x.mean()) - half, float(x.min()))
        right = max(float(x.mean()) + half, float(x.max()))
        if any(left < end and start < right for start, end in taken):
            text.remove()
            continue
        taken.append((left, right))
        below = both.level[(places >= left) & (places <= right)]
        y = float(below.max()) + 2 * _BRACKET
        text.xy = (float(x.mean()), y)
        ax.plot(np.repeat(x, 2), [y - _BRACKET, y, y, y - _BRACKET], color=INK, linewidth=1.0,
                zorder=5, gid="beat")  # fmt: skip
    return len(rates) > 0


def _power(tones: Partials) -> float:
    return float((tones.amplitude**2).sum())


def _hidden(loud: Partials, soft: Partials) -> Array:
    """The partials of the softer part that the louder hides; inaudible ones do not count."""
    raised = masked_threshold(loud, soft.frequency)
    quiet = 10 * np.log10(quiet_power(soft.frequency))
    return (soft.level < raised) & (soft.level >= quiet)


def _draw_hidden(ax: Axes, loud: Partials, soft: Partials, hidden: Array) -> None:
    x = np.linspace(*ax.get_xlim(), 600)
    ax.plot(x, masked_threshold(loud, erb_frequency(x)), color=INK, linestyle=":", linewidth=1.6,
            zorder=2.5, gid="masked threshold")  # fmt: skip
    ax.plot(erb_rate(soft.frequency[hidden]), soft.level[hidden], linestyle="none", marker="x",
            markersize=8, markeredgewidth=1.4, color=INK, zorder=5, gid="hidden")  # fmt: skip


def _roughness_note(sounds: list[_Sound], parts: Sequence[str] | None) -> str:
    """The roughness of each and of both, or who rests."""
    alone = [float(roughness(sound.tones)) for sound in sounds]
    names = [short(sound.part, 18) for sound in sounds]
    if len(sounds) == 2:
        both = float(roughness(joined(*(sound.tones for sound in sounds))))
        return (
            f"Roughness: {names[0]} {alone[0]:.2f}, {names[1]} {alone[1]:.2f}, "
            f"together {both:.2f} (two pure tones a semitone apart: about 0.5).\n"
            "Slow beats are heard as such, those above some 20 a second as roughness."
        )
    note = f"Roughness: {alone[0]:.2f}."
    if parts is None:
        return f"{note} Every other part rests here."
    silent = [short(part, 18) for part in parts if part != sounds[0].part]
    return " ".join([note, *(f"{part} rests here." for part in silent[:3])])
