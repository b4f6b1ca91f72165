"""A score as printed, in whole columns, and how it becomes a Song as played.

Every reader ends here: it fills a ``Written`` with what stands on the page, bar by bar;
``make_song`` puts the bars into played order, merges the ties, names the sections, spreads the
tempo and gives the five tables.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from arrange.chord_symbols import settled_chord
from arrange.chords import Chord, chord_intervals, chord_number, chord_suffix, chord_symbol
from arrange.errors import ReadError, TableError, shortened
from arrange.formats.playing_order import Bar, playing_order
from arrange.formats.section_names import section_heads, section_kind, section_labels
from arrange.formats.ties import merge_ties
from arrange.limits import LEAST_TEMPO, MOST_NOTES, MOST_SECTIONS, MOST_TEMPO
from arrange.pitch import parse_pitch_class
from arrange.schemas import SONG_TABLES
from arrange.song_limits import check_limits
from arrange.tables import Remark, Song, integer_column, object_column, text_column

Array = np.ndarray[Any, Any]

TECHNIQUES = (
    "slide",
    "hammer-on",
    "pull-off",
    "bend",
    "let ring",
    "palm mute",
    "muted",
    "harmonic",
    "tap",
    "vibrato",
    "cue",
)
MOST_OCTAVES = 3  # that a part is moved by; more is a slip of the hand (ours)
DEFAULT_TEMPO = 120.0  # quarter notes a minute, as in the Standard MIDI File specification


@dataclass(frozen=True)
class Written:
    """What stands on the page. Times are in ticks, whole numbers of one grid.

    Parameters
    ----------
    ticks : int
        Ticks in a quarter note.
    parts : mapping
        Column name of the parts table -> list of values, a value a part.
    notes : mapping of str to array
        A value a note, in the order of the page: ``part`` and ``measure`` (indices from 0),
        ``offset`` and ``duration`` (ticks; offset from the start of the bar), ``pitch`` (NaN if
        unpitched), ``voice`` (index into `voices`, -1 for none), ``string``, ``fret`` (-1 for
        none), ``technique`` (a bit for each of ``TECHNIQUES``), ``grace``, ``tie_start``,
        ``tie_stop``, ``source`` (index into `sources`, or -1).
    voices, sources : list of str
    numbers : list of str
        The printed number of each bar.
    lengths : array of int
        Length of each bar in ticks.
    meters, keys : list
        Meter and key (or None) of each bar.
    tempos : list of (measure, offset, quarter notes a minute)
    chords : list of (measure, offset, Chord)
    marks : list of (measure, text, is a rehearsal mark)
    double_bars : list of int
        Bars that begin behind a double bar or a repeat sign.
    bars : list of Bar
        Signs for the order of playing.
    kinds, passes : mapping of bar to str, to int
        Kind and pass of the section that begins at a bar, where the source tells them.
    remarks : list of (bar, text)
        Words to the players of the section that begins at a bar, or of all the song at -1.
    """

    ticks: int
    parts: Mapping[str, Sequence[Any]]
    notes: Mapping[str, Array]
    voices: Sequence[str]
    sources: Sequence[str]
    numbers: Sequence[str]
    lengths: Array
    meters: Sequence[str]
    keys: Sequence[str | None]
    tempos: Sequence[tuple[int, int, float]]
    chords: Sequence[tuple[int, int, Chord]]
    marks: Sequence[tuple[int, str, bool]]
    double_bars: Sequence[int]
    bars: Sequence[Bar]
    kinds: Mapping[int, str] = field(default_factory=dict)
    passes: Mapping[int, int] = field(default_factory=dict)
    remarks: Sequence[tuple[int, str]] = ()


def make_song(written: Written, *, played: bool, notices: list[str], **about: Any) -> Song:
    """Return the Song that a printed score makes, in played or in page order.

    Parameters
    ----------
    written : Written
    played : bool
        False keeps the page order.
    notices : list of str
        What the reader had to say so far; more is added.
    **about
        title, source, fingerprint of the Song.

    Raises
    ------
    ReadError
        If the song passes the limits that hold for every format (``limits``).
    """
    bars = len(written.numbers)
    in_order = playing_order(written.bars, written.numbers, notices) if played else range(bars)
    order = np.array(in_order, dtype=np.int64)
    if bars and not len(order):
        raise ReadError(
            "no measure is ever played: the endings lead past all of them; mend their numbers, or "
            "read the page order with played=False"
        )
    passed = np.flatnonzero(np.bincount(order, minlength=bars) == 0)
    if len(passed):
        told = ", ".join(written.numbers[bar] for bar in passed[:8].tolist())
        notices.append(
            f"measure {told}{', ...' if len(passed) > 8 else ''}: never played, the repeats, "
            "endings and jumps lead past; look at them, or read the page order with played=False"
        )
    lengths = written.lengths[order]
    starts = np.concatenate([[0], np.cumsum(lengths)])
    sections, section_of_bar = _sections(written, order, starts, notices)
    labels = sections["section"]
    measures = {
        "measure": np.arange(1, len(order) + 1),
        "written": _taken(written.numbers, order),
        "section": text_column(labels, section_of_bar),
        "onset": starts[:-1] / written.ticks,
        "duration": lengths / written.ticks,
        "meter": _taken(written.meters, order),
        "key": _taken(written.keys, order),
        "tempo": _mean_tempos(written, notices)[order],
    }
    try:
        song = Song.from_columns(
            {
                "parts": _part_columns(written),
                "sections": {
                    **sections,
                    "section": text_column(labels),
                    "kind": text_column(sections["kind"]),
                },
                "measures": measures,
                "chords": _chord_columns(written, order, starts, section_of_bar, labels, notices),
                "notes": _note_columns(written, order, starts, section_of_bar, labels, notices),
            },
            notices=tuple(notices),
            remarks=_remarks(written, order, section_of_bar, labels),
            **about,
        )
        check_limits({table.name: getattr(song, table.name) for table in SONG_TABLES}, song.title)
    except TableError as error:
        raise ReadError(str(error)) from None
    return song


def move_octaves(
    parts: Mapping[str, list[Any]],
    notes: Mapping[str, Array],
    octaves: Mapping[str, int],
    name: str,
) -> None:
    """Move parts by octaves, in the columns of a ``Written`` before it is made.

    Raises
    ------
    ReadError
        As ``check_octaves``.
    """
    check_octaves(octaves, parts["part"], name)
    for label, shift in octaves.items():
        index = parts["part"].index(label)
        notes["pitch"][notes["part"] == index] += 12 * shift
        parts["transpose"][index] += 12 * shift


def check_octaves(octaves: Mapping[str, int], labels: Sequence[str], name: str) -> None:
    """Raise a ReadError if no part has one of the labels, or nothing could be heard so far away."""
    for label, shift in octaves.items():
        if label not in labels:
            raise ReadError(
                f"no part is called {label!r}, to be moved by an octave; "
                f"there are {', '.join(labels)}",
                file=name,
            )
        if shift not in range(-MOST_OCTAVES, MOST_OCTAVES + 1):
            raise ReadError(
                f"{label!r} cannot be moved by {shortened(shift, 12)} octaves; a whole number from "
                f"-{MOST_OCTAVES} to {MOST_OCTAVES}",
                file=name,
            )


def _taken(values: Sequence[str | None], order: Array) -> Any:
    """The column of the values at each place of the order."""
    return text_column([values[bar] for bar in order.tolist()])


def _part_columns(written: Written) -> dict[str, Any]:
    parts = written.parts
    numbers = [-1 if value is None else value for value in parts["program"]]
    return {
        **{
            name: text_column(parts[name])
            for name in ("part", "instrument", "family", "drive", "echo", "player")
        },
        "tuning": object_column(parts["tuning"]),
        "capo": np.array(parts["capo"], dtype=np.int64),
        "transpose": np.array(parts["transpose"], dtype=np.int64),
        "level": np.array(parts["level"], dtype=np.float64),
        "program": integer_column(numbers, np.array(numbers) < 0),
    }


def _sections(
    written: Written, order: Array, starts: Array, notices: list[str]
) -> tuple[dict[str, Any], Array]:
    """The sections as played, and the row of each played bar."""
    heads = section_heads(written.marks, written.double_bars, len(written.numbers))
    firsts = sorted(heads)
    head_of_bar = np.searchsorted(firsts, order, side="right") - 1
    is_head = np.zeros(len(written.numbers), dtype=bool)
    is_head[firsts] = True
    begins = is_head[order] | (np.diff(head_of_bar, prepend=-1) != 0)
    first = np.flatnonzero(begins)
    if len(first) > MOST_SECTIONS and len(heads) > 1:
        notices.append(
            f"{len(first):,} sections are too many to name ({MOST_SECTIONS:,} is the most); their "
            "marks are left out"
        )
        return _sections(replace(written, marks=[], double_bars=[]), order, starts, notices)
    last = np.append(first[1:], len(order)) - 1
    names = [heads[firsts[head]] for head in head_of_bar[first]]
    rounds: dict[int, int] = {}
    passes = []
    for head in head_of_bar[first].tolist():
        rounds[head] = rounds.get(head, 0) + 1
        passes.append(rounds[head] - 1 + written.passes.get(firsts[head], 1))
    columns = {
        "section": section_labels(names),
        "kind": [
            written.kinds.get(firsts[head], section_kind(name))
            for head, name in zip(head_of_bar[first].tolist(), names, strict=True)
        ],
        "pass": np.array(passes, dtype=np.int64),
        "first_measure": first + 1,
        "last_measure": last + 1,
        "onset": starts[first] / written.ticks,
        "duration": (starts[last + 1] - starts[first]) / written.ticks,
    }
    return columns, np.cumsum(begins) - 1


def _remarks(
    written: Written, order: Array, section_of_bar: Array, labels: Sequence[str]
) -> tuple[Remark, ...]:
    """The words to the players, the same text once with all the sections that it is for."""
    found: dict[tuple[str, bool], list[str]] = {}
    for bar, text in written.remarks:
        played = [labels[row] for row in section_of_bar[order == bar].tolist()]
        if played or bar < 0:
            found.setdefault((text, bar < 0), []).extend(played)
    return tuple(Remark(text, tuple(dict.fromkeys(own))) for (text, _), own in found.items())


def _mean_tempos(written: Written, notices: list[str]) -> Array:
    """The tempo of each printed bar: even within it, and right over its whole length."""
    count = len(written.numbers)
    changes = sorted(written.tempos)
    odd = [tempo for _, _, tempo in changes if not LEAST_TEMPO <= tempo <= MOST_TEMPO]
    if odd:
        notices.append(
            f"a tempo lies between {LEAST_TEMPO:g} and {MOST_TEMPO:g} quarter notes a minute; "
            f"others are taken as the nearest of these: {len(odd)}, the first {odd[0]:g}"
        )
        changes = [
            (bar, at, min(max(tempo, LEAST_TEMPO), MOST_TEMPO)) for bar, at, tempo in changes
        ]
    if not changes:
        notices.append(f"no tempo is given: {DEFAULT_TEMPO:g} quarter notes a minute are assumed")
    tempos = np.empty(count)
    tempo = changes[0][2] if changes else DEFAULT_TEMPO
    by_bar: dict[int, list[tuple[int, float]]] = {}
    for measure, offset, value in changes:
        by_bar.setdefault(measure, []).append((offset, value))
    done = 0
    for measure, inside in by_bar.items():
        tempos[done:measure] = tempo
        length = max(int(written.lengths[measure]), 1)
        at, minutes = 0, 0.0
        for offset, value in inside:
            offset = min(max(offset, at), length)
            minutes += (offset - at) / tempo
            at, tempo = offset, value
        minutes += (length - at) / tempo
        tempos[measure] = length / minutes if at else tempo
        done = measure + 1
    tempos[done:] = tempo
    return np.clip(tempos, LEAST_TEMPO, MOST_TEMPO)  # a mean may miss them by a rounding


def _chord_columns(
    written: Written,
    order: Array,
    starts: Array,
    section_of_bar: Array,
    labels: Any,
    notices: list[str],
) -> dict[str, Any]:
    by_bar: dict[int, dict[int, Chord]] = {}
    for measure, offset, chord in written.chords:
        first = by_bar.setdefault(measure, {}).setdefault(offset, chord)
        if first is not chord and chord_symbol(first) != chord_symbol(chord):
            notices.append(
                f"measure {written.numbers[measure]}: two chord symbols at one place, "
                f"{chord_symbol(first)} and {chord_symbol(chord)}; the first is kept"
            )
    rows = [
        (bar, starts[bar] + offset, chord)
        for bar, measure in enumerate(order.tolist())
        for offset, chord in sorted(by_bar.get(measure, {}).items())
    ] if by_bar else []  # fmt: skip
    bars = np.array([bar for bar, _, _ in rows], dtype=np.int64)
    onsets = np.array([onset for _, onset, _ in rows], dtype=np.int64)
    ends = np.append(onsets[1:], starts[-1]) if rows else onsets
    holds = ends > onsets
    if not holds.all():
        notices.append(
            f"{int((~holds).sum())} chord symbols at the very end of a bar are left out: "
            "the next chord or the end follows at once"
        )
        rows = [row for row, held in zip(rows, holds.tolist(), strict=True) if held]
        bars, onsets, ends = bars[holds], onsets[holds], ends[holds]
    told = [_told_chord(chord, written.keys[order[bar]]) for bar, _, chord in rows]
    symbols, roots, basses, kinds, members, degrees = zip(*told, strict=True) if told else [()] * 6
    return {
        "onset": onsets / written.ticks,
        "duration": (ends - onsets) / written.ticks,
        "measure": bars + 1,
        "section": text_column(labels, section_of_bar[bars]),
        "symbol": text_column(symbols),
        "root": integer_column(roots, np.array(roots, dtype=np.int64) < 0),
        "bass": integer_column(basses, np.array(basses, dtype=np.int64) < 0),
        "kind": text_column(kinds),
        "pitch_classes": object_column(members),
        "degree": text_column(degrees),
    }


@functools.lru_cache(maxsize=4096)
def _told_chord(
    chord: Chord, key: str | None
) -> tuple[str, int, int, str, tuple[int, ...], str | None]:
    """Symbol, root, bass (-1 for none), kind, pitch classes and number of a chord."""
    chord = settled_chord(chord)
    symbol = chord_symbol(chord)
    if not chord.root:
        return symbol, -1, -1, chord.kind, (), None
    root = parse_pitch_class(chord.root)
    members = tuple((root + above) % 12 for above in chord_intervals(chord.kind, chord.degrees))
    bass = parse_pitch_class(chord.bass) if chord.bass else root
    number = chord_number(root, chord_suffix(chord), bass, key) if key else None
    return symbol, root, bass, chord.kind, members, number


def _note_columns(
    written: Written,
    order: Array,
    starts: Array,
    section_of_bar: Array,
    labels: Any,
    notices: list[str],
) -> dict[str, Any]:
    notes = written.notes
    asked = int(np.bincount(notes["measure"], minlength=len(written.numbers))[order].sum())
    if asked > MOST_NOTES:
        raise ReadError(
            f"played out, its repeats ask for {asked:,} notes, more than {MOST_NOTES:,}; "
            "repeat less often, or read the page order with played=False"
        )
    rows, bars = _played_rows(notes["measure"], order, len(written.numbers))
    onset = starts[bars] + notes["offset"][rows]
    duration = notes["duration"][rows]
    # A note that runs past its bar is kept as written; the order is by time, part and pitch.
    pitch = notes["pitch"][rows]
    # Grace notes come before the note that they lead to, in the order of the page.
    place = np.where(notes["grace"][rows], rows - 1e9, pitch)
    sort = np.lexsort((place, notes["part"][rows], onset))
    rows, bars, onset, duration = rows[sort], bars[sort], onset[sort], duration[sort]
    part = notes["part"][rows]
    head, duration, open_ties = merge_ties(
        part,
        pitch[sort],
        notes["voice"][rows],
        onset,
        duration,
        notes["tie_start"][rows],
        notes["tie_stop"][rows],
        written.ticks,
    )
    if notes["tie_start"].any() and not notes["tie_stop"].any():
        notices.append(
            "its ties tell only where they begin: each goes on in the note of its pitch that "
            "follows at once"
        )
    keep = head == np.arange(len(head))
    grace = notes["grace"][rows]
    keep &= np.where(grace, onset <= starts[-1], onset < starts[-1])
    late = keep & (onset + duration > starts[-1])
    if late.any():
        duration = np.where(late, np.maximum(starts[-1] - onset, 0), duration)
        notices.append(f"notes that outlast the last bar end with it: {int(late.sum())}")
    technique = notes["technique"][rows]
    np.bitwise_or.at(technique, head, technique.copy())  # a sign may stand at any tied note
    technique = technique[keep]
    _tell_open_ties(written, rows[open_ties], rows[keep & ~open_ties], notices)
    rows, bars, onset, duration, part = (
        values[keep] for values in (rows, bars, onset, duration, part)
    )
    technique, technique_code = np.unique(technique, return_inverse=True)
    string, fret = notes["string"][rows], notes["fret"][rows]
    source = notes["source"][rows]
    return {
        "part": text_column(written.parts["part"], part),
        "onset": onset / written.ticks,
        "duration": duration / written.ticks,
        "measure": bars + 1,
        "section": text_column(labels, section_of_bar[bars]),
        "pitch": notes["pitch"][rows],
        "voice": text_column(written.voices, notes["voice"][rows]),
        "string": integer_column(string, string < 0),
        "fret": integer_column(fret, fret < 0),
        "technique": text_column([_technique_text(bits) for bits in technique], technique_code),
        "grace": notes["grace"][rows],
        "source_id": text_column(written.sources, source),
    }


def _tell_open_ties(
    written: Written, open_rows: Array, other_rows: Array, notices: list[str]
) -> None:
    """A tie that ends nowhere, on no time round, is told."""
    if not len(open_rows):
        return
    never = np.setdiff1d(open_rows, other_rows)
    if len(never):
        measures = written.notes["measure"][never]
        names = dict.fromkeys(
            f"{written.parts['part'][part]} measure {written.numbers[measure]}"
            for part, measure in zip(written.notes["part"][never], measures, strict=True)
        )
        told = ", ".join(list(names)[:6]) + (", ..." if len(names) > 6 else "")
        notices.append(f"a tie ends nowhere and was taken as none: {told}")


def _technique_text(bits: int) -> str | None:
    return ", ".join(name for at, name in enumerate(TECHNIQUES) if bits >> at & 1) or None


def _played_rows(measure: Array, order: Array, bars: int) -> tuple[Array, Array]:
    """The row of each played note on the page, and the played bar that it falls in."""
    counts = np.bincount(measure, minlength=bars)
    by_bar = np.argsort(measure, kind="stable")
    firsts = np.concatenate([[0], np.cumsum(counts)])[:-1]
    per_bar = counts[order]
    bars_played = np.repeat(np.arange(len(order)), per_bar)
    within = np.arange(len(bars_played)) - np.repeat(np.cumsum(per_bar) - per_bar, per_bar)
    return by_bar[np.repeat(firsts[order], per_bar) + within], bars_played
