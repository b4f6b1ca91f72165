"""What the engraver gets: chosen bars of one part as MusicXML, for a page that people play from.

One stretch follows the other, and a bar may stand there as the sign of the bar before. What rings
on into a stretch is a note there, named so that a tie can be drawn to it. Guitars and basses are
written an octave above their sound (common practice). A part with strings has a second staff, the
tablature: frets counted as the part says, from the nut or from the capo, an open string as 0.
Names, tempo and words are left out, for they stand on the page; short notes are joined by beams,
beat by beat.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from arrange.formats.musicxml.writing import score_tree
from arrange.formats.musicxml.writing_elements import add
from arrange.formats.musicxml.writing_layers import LEADING
from arrange.guitar.necks import Array
from arrange.handouts.marked_notes import marked_notes
from arrange.handouts.tab_signs import TabSign, signs_of
from arrange.tables.columns import object_column
from arrange.tables.schemas import NOTES
from arrange.tables.song import Song, part_row
from arrange.theory.meters import added_beats, beat_quarters

SCORE, TAB = "score", "tab"
MUTED = "muted-"  # begins the id of each muted note in the tablature
TOUCHED = "touched-"  # of each natural harmonic there
HELD = "held"  # in the id of a note that is held from before its stretch

_NEAR = 1e-6  # quarter notes
_OCTAVE = -12
# Not for the engraver: it would crowd the staff with them.
_IN_WORDS = ("let ring", "palm mute", "cue")
_NAMES_ONLY = "Song"  # a section that the writer does not name
_AFTER_BEAMS = ("notations", "lyric", "play", "listen")
# Beams of a note value.
_BEAMS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}


class Excerpt(NamedTuple):
    """Bars of a part, ready to be engraved.

    Parameters
    ----------
    root : Element
        ``score-partwise``.
    numbers : list of int
        The played measure of each bar.
    symbols : list of (bar, str)
        Chord symbols in order, bars from 0.
    signs : list of TabSign
        Of all notes; the id of a number in the tablature ends in its place in this list.
    """

    root: Any
    numbers: list[int]
    symbols: list[tuple[int, str]]
    signs: list[TabSign]


class PartStaves(NamedTuple):
    """A part's notes by bar, for each of its staves: the same in all excerpts.

    Parameters
    ----------
    parts : DataFrame
        A row a staff: ``SCORE``, and ``TAB`` where the part has a tuning.
    marked : DataFrame
        Of ``marked_notes``, in the order of measures.
    notes : a notes table
        The marked notes once for each staff, one staff after the other.
    is_placed : array of bool
        Of each marked note, whether it stands in the tablature.
    ids : list of str
        How its id begins there, by which a cross or a harmonic is known.
    """

    parts: pd.DataFrame
    marked: pd.DataFrame
    notes: pd.DataFrame
    is_placed: Array
    ids: list[str]

    @classmethod
    def of(cls, song: Song, part: str, marked: pd.DataFrame) -> PartStaves:
        """Return the staves of a part; `marked` is of ``marked_notes``."""
        row = part_row(song, part)
        has_tab = isinstance(row["tuning"], tuple)
        is_octave = row["family"] in ("guitar", "bass") and not row["transpose"]
        parts = song.parts[song.parts["part"] == part].assign(
            part=SCORE, capo=0, drive="clean", echo=None, level=0.0, player=None, tuning=None,
            transpose=_OCTAVE if is_octave else row["transpose"],
        )  # fmt: skip
        marked = marked.sort_values("measure", kind="stable")
        techniques = [_without(names, _IN_WORDS) for names in marked["technique"]]
        voices = _voices_downward(song.notes[song.notes["part"] == part])
        # With its strings: what leads on stays on them.
        notes = marked[list(NOTES.names)].assign(
            part=SCORE, section=_NAMES_ONLY, technique=pd.array(techniques, dtype="str"),
            voice=pd.array(marked["voice"].map(voices) if voices else marked["voice"], dtype="str"),
        )  # fmt: skip
        ids = [
            MUTED if "muted" in (names or "") else TOUCHED if touched else "fret-"
            for names, touched in zip(techniques, marked["touched"], strict=True)
        ]
        is_placed = marked["shown"].notna().to_numpy() & has_tab
        if has_tab:
            fretted = notes.assign(
                part=TAB, technique=pd.array([None] * len(notes), dtype="str"), fret=marked["shown"]
            )
            parts = pd.concat([parts, parts.assign(part=TAB)], ignore_index=True)
            parts["tuning"] = object_column([None, row["tuning"]])
            notes = pd.concat([notes, fretted], ignore_index=True)
        return cls(parts, marked, notes, is_placed, ids)


def part_excerpt(
    song: Song,
    part: str,
    stretches: Sequence[tuple[int, int]],
    staves: PartStaves | None = None,
    repeated: Collection[int] = (),
    *,
    has_notes: bool = True,
) -> Excerpt:
    """Return these stretches of a part, each from its first to its last played measure.

    Notes with a string and a fret stand in the tablature, others in the notation alone.

    Parameters
    ----------
    song : Song
    part : str
    stretches : sequence of (first, last)
    staves : PartStaves, optional
        Else without fingers.
    repeated : collection of int
        Which of the excerpt's bars, from 0, are the sign of the bar before, without chord symbols.
    has_notes : bool
        False for the tablature alone; the part then needs a tuning.
    """
    staves = staves or PartStaves.of(song, part, marked_notes(song, part))
    excerpt, numbers, signs = _excerpt_song(song, part, stretches, staves, has_notes=has_notes)
    root = score_tree(excerpt, [])
    for name in root.iter("part-name"):
        name.text = ""
    meters = excerpt.measures["meter"].tolist()
    for staff in root.iter("part"):
        first = next(staff.iter("attributes"))
        is_tab = first.findtext("clef/sign") == "TAB"
        if is_tab:
            _name_continued(staff)
        divisions = int(first.findtext("divisions"))
        for bar, measure in enumerate(staff.iter("measure")):
            measure.set("number", str(numbers[bar]))
            for element in measure.findall("direction"):
                measure.remove(element)
            if numbers[bar] < len(song.measures):  # the song does not end here
                for element in measure.findall("barline"):
                    measure.remove(element)
            if is_tab:
                _leave_rhythm(measure, has_notes=has_notes)
            else:
                _add_beams(measure, meters[bar], divisions)
                _leave_strings(measure)
            if bar in repeated:
                length = round(divisions * excerpt.measures["duration"].iloc[bar])
                _repeat(measure, length)
    chords = excerpt.chords[~(excerpt.chords["measure"] - 1).isin(list(repeated))]
    symbols = list(zip((chords["measure"] - 1).tolist(), chords["symbol"].tolist(), strict=True))
    return Excerpt(root, numbers, symbols, signs)


def _leave_strings(measure: Any) -> None:
    """Leave strings and frets to the tablature, and draw a slur for each hammer-on and pull-off."""
    for notations in measure.iter("notations"):
        for technical in notations.findall("technical"):
            for element in list(technical):
                if element.tag in ("string", "fret"):
                    technical.remove(element)
                elif element.tag in ("hammer-on", "pull-off"):
                    slur = notations.makeelement("slur", dict(element.attrib))
                    notations.insert(notations.index(technical), slur)


def _repeat(measure: Any, length: int) -> None:
    """Put the sign of the bar before in place of what stands in a bar."""
    for element in list(measure):
        if element.tag in ("note", "backup", "forward", "harmony"):
            measure.remove(element)
    at = _place_before(measure, "barline")
    barlines = [measure[place] for place in range(at, len(measure))]
    _add_repeat(measure, "start")
    note = add(measure, "note")
    add(note, "rest", attributes={"measure": "yes"})
    add(note, "duration", length)
    _add_repeat(measure, "stop")  # here, or it goes on into the next part
    measure.extend(barlines)


def _add_repeat(measure: Any, kind: str) -> None:
    add(add(add(measure, "attributes"), "measure-style"), "measure-repeat", 1, {"type": kind})


def _name_continued(staff: Any) -> None:
    """Give what a tie continues the id of the note that it continues, and a number."""
    begun: dict[str | None, str] = {}
    for number, note in enumerate(staff.iter("note")):
        string = note.findtext("notations/technical/string")
        if note.get("id"):
            begun[string] = note.get("id")
        elif string in begun:
            note.set("id", f"{begun[string]}-{number}")


def _leave_rhythm(measure: Any, *, has_notes: bool) -> None:
    """Leave stems, tuplets and rests to the notation above or to the counts below; without
    notation an empty bar keeps its rest.
    """
    is_empty = all(note.find("rest") is not None for note in measure.findall("note"))
    for note in measure.findall("note"):
        if note.find("rest") is not None:
            if has_notes or not is_empty:
                note.set("print-object", "no")
        else:
            stem = note.makeelement("stem")
            stem.text = "none"
            note.insert(_place_before(note, "notehead", *_AFTER_BEAMS), stem)
        for notations in note.findall("notations"):
            for tuplet in notations.findall("tuplet"):
                notations.remove(tuplet)


def _excerpt_song(
    song: Song,
    part: str,
    stretches: Sequence[tuple[int, int]],
    staves: PartStaves,
    *,
    has_notes: bool,
) -> tuple[Song, list[int], list[TabSign]]:
    """A song of the stretches one after the other, the played measure of each of its bars, and
    the signs of its tablature.
    """
    first, last = np.array(stretches).T
    rows = _rows_of_each(first - 1, last)
    bars = song.measures.iloc[rows]
    numbers = bars["measure"].tolist()
    length = bars["duration"].to_numpy()
    lines = np.cumsum(length) - length
    bars = bars.assign(measure=range(1, len(bars) + 1), section=_NAMES_ONLY, onset=lines)
    if part_row(song, part)["family"] == "drums":
        bars["key"] = None
    begins = np.cumsum(last - first + 1) - (last - first + 1)  # each stretch's first bar here
    at = lines[begins]
    starts = song.measures["onset"].to_numpy()
    start, end = (
        starts[first - 1],
        starts[last - 1] + song.measures["duration"].to_numpy()[last - 1],
    )

    own = staves.marked
    measure = own["measure"].to_numpy(dtype=np.int64)
    lowest, highest = np.searchsorted(measure, first), np.searchsorted(measure, last, side="right")
    held, held_in = _held_from_before(own, start)
    rows = np.concatenate([held, _rows_of_each(lowest, highest)])
    stretch = np.concatenate([held_in, np.repeat(range(len(at)), highest - lowest)])
    is_held = np.arange(len(rows)) < len(held)
    notes = own.iloc[rows]
    onset = np.maximum(notes["onset"].to_numpy(), start[stretch])
    ends = np.minimum((notes["onset"] + notes["duration"]).to_numpy(), end[stretch])
    notes = notes.assign(onset=onset + (at - start)[stretch], duration=ends - onset)
    notes["measure"] = np.maximum(
        measure[rows] + (begins + 1 - first)[stretch], begins[stretch] + 1
    )
    if len(held):
        for name, none in (("finger", 0), ("count", ""), ("stroke", ""), ("place", "")):
            notes[name] = notes[name].mask(is_held, none)
    signs = signs_of(notes, stretch, has_counts=not has_notes)
    leads_out = notes["leads_to"].to_numpy() > last[stretch]
    both = _on_staves(staves, rows, notes, is_held, leads_out, has_notes=has_notes)
    chords = [chords_within(song, *ends) for ends in zip(start, end, strict=True)]
    stretch = np.repeat(range(len(at)), [len(rows) for rows, _, _ in chords])
    onset = np.concatenate([onset for _, onset, _ in chords]) + (at - start)[stretch]
    symbols = song.chords.iloc[np.concatenate([rows for rows, _, _ in chords])].assign(
        onset=onset, duration=np.concatenate([duration for _, _, duration in chords]),
        measure=np.searchsorted(lines, onset + 1e-9, side="right"), section=_NAMES_ONLY,
    )  # fmt: skip
    sections = song.sections.iloc[:1].assign(
        section=_NAMES_ONLY, first_measure=1, last_measure=len(bars), onset=0.0,
        duration=length.sum(),
    )  # fmt: skip
    parts = staves.parts if has_notes else staves.parts[staves.parts["part"] == TAB]
    tables = {"parts": parts, "sections": sections, "measures": bars, "chords": symbols}
    excerpt = Song.from_columns({
        **{name: table.reset_index(drop=True) for name, table in tables.items()}, "notes": both,
    })  # fmt: skip
    return excerpt, numbers, signs


def _held_from_before(own: pd.DataFrame, starts: Array) -> tuple[Array, Array]:
    """The rows of the notes that ring on over each start, and the place of that start."""
    onset = own["onset"].to_numpy()
    ends = onset + own["duration"].to_numpy()
    rows, places = np.nonzero((onset[:, None] < starts - _NEAR) & (ends[:, None] > starts + _NEAR))
    return rows, places


def _rows_of_each(starts: Array, ends: Array) -> Array:
    """The rows from each start to before its end, one range after the other."""
    return np.concatenate([np.arange(*ends) for ends in zip(starts, ends, strict=True)])


def chords_within(song: Song, start: float, end: float) -> tuple[Array, Array, Array]:
    """Return the rows of the chords that hold between two onsets.

    Returns
    -------
    rows : integers
    onset, duration : floats
        Cut to the two onsets.
    """
    onset = song.chords["onset"].to_numpy()
    ends = np.minimum(onset + song.chords["duration"].to_numpy(), end)
    rows = np.flatnonzero((ends > start + 1e-9) & (onset < end - 1e-9))
    onset = np.maximum(onset[rows], start)
    return rows, onset, ends[rows] - onset


def _on_staves(
    staves: PartStaves,
    rows: Array,
    notes: pd.DataFrame,
    is_held: Array,
    leads_out: Array,
    *,
    has_notes: bool,
) -> pd.DataFrame:
    """The notes table of an excerpt: the rows of the part's notes, once for each staff.

    `notes` has their times; what leads out of the excerpt does not lead on.
    """
    is_placed = staves.is_placed[rows]
    fretted = np.flatnonzero(is_placed)  # among all notes, as the signs are
    plain = np.arange(len(rows) * has_notes)
    both = np.concatenate([plain, fretted])
    table = staves.notes.iloc[np.concatenate([rows[plain], len(staves.marked) + rows[fretted]])]
    sources = notes["source_id"].tolist()
    ids = [f"{HELD}-{n}" if is_held[n] else sources[n] for n in plain.tolist()]
    ids += [
        f"{staves.ids[row]}{n}{f'-{HELD}' if held else ''}"
        for n, row, held in zip(
            fretted.tolist(), rows[fretted].tolist(), is_held[fretted].tolist(), strict=True
        )
    ]
    names = ("onset", "duration", "measure")
    own = {name: notes[name].to_numpy()[both] for name in names} | {"source_id": ids}
    if leads_out[plain].any():
        out = leads_out[both].tolist()
        own["technique"] = pd.array(
            [_without(names, LEADING) if is_out else names
             for names, is_out in zip(table["technique"].tolist(), out, strict=True)], dtype="str",
        )  # fmt: skip
    return table.assign(**own)


def _voices_downward(notes: pd.DataFrame) -> dict[str, str]:
    """Numbers for a part's voices, the highest first, or none where it has a single one.

    The engraver points the stems of the first voice up, of the second down, whatever their pitch.
    """
    if notes["voice"].nunique() < 2:
        return {}
    is_shared = notes.groupby("measure")["voice"].transform("nunique") > 1
    means = notes["pitch"].groupby(notes["voice"]).mean()
    means.update(notes["pitch"][is_shared].groupby(notes["voice"]).mean())
    in_order = means.sort_values(ascending=False, kind="stable").index
    return {voice: str(number) for number, voice in enumerate(in_order, 1)}


def _without(technique: Any, names: Collection[str]) -> str | None:
    if not isinstance(technique, str):
        return None
    return ", ".join(name for name in technique.split(", ") if name not in names) or None


def _add_beams(measure: Any, meter: str, divisions: int) -> None:
    """Join the short notes of each voice within a beat."""
    beat = round(beat_quarters(meter) * divisions)
    beat = max(beat, divisions)  # beams of single eighths would join nothing
    ends = np.cumsum(added_beats(meter)) * divisions
    groups: dict[tuple[str, int], list[list[Any]]] = {}
    at = 0
    for element in measure:
        length = int(element.findtext("duration") or 0)
        if element.tag == "backup":
            at -= length
        elif element.tag == "forward":
            at += length
        elif element.tag == "note" and element.find("chord") is None:
            place = int(np.searchsorted(ends, at, side="right")) if len(ends) else at // beat
            runs = groups.setdefault((element.findtext("voice") or "", place), [[]])
            if _is_joined(element):
                runs[-1].append(element)
            elif length:
                runs.append([])
            at += length
    for runs in groups.values():
        for run in runs:
            if len(run) > 1:
                _join(run)


def _is_joined(note: Any) -> bool:
    is_short = note.findtext("type") in _BEAMS
    return is_short and all(note.find(tag) is None for tag in ("rest", "grace"))


def _join(run: Sequence[Any]) -> None:
    counts = [_BEAMS[note.findtext("type") or ""] for note in run]
    for place, note in enumerate(run):
        before = counts[place - 1] if place else 0
        after = counts[place + 1] if place + 1 < len(run) else 0
        for number in range(1, counts[place] + 1):
            comes, goes = before >= number, after >= number
            word = "continue" if comes and goes else "end" if comes else "begin"
            if not (comes or goes):
                word = "backward hook" if place else "forward hook"
            beam = note.makeelement("beam", number=str(number))
            beam.text = word
            note.insert(_place_before(note, *_AFTER_BEAMS), beam)


def _place_before(note: Any, *tags: str) -> int:
    """Where in a note something stands that comes before these: the schema's order."""
    return next((n for n, child in enumerate(note) if child.tag in tags), len(note))
