"""Standard MIDI Files, read into a Song and written from one.

A MIDI file knows keys that go down and up, sounds, tempo, meters and markers; it knows no
strings, frets, chord symbols or repeats. So the page order is the played order, bars follow from
the time signatures, and what a score says besides is not there.

Reading: `events` (bytes → columns) → `bars` (meters, tempo, keys, markers) → `notes` (which key
down goes with which key up; the grid) → `parts` (names, sounds, loudness). Writing: `writing`.

Decisions where the format leaves room, or files differ:

- A part is what one track plays on one channel. Channel 10 is unpitched: its notes keep no pitch.
- Times that lie on a grid already are kept exactly; others are moved to one, part by part, and
  the notices say how far (`notes` has the rule).
- A time signature that does not fall on a bar line cuts the bar before it short.
- A tempo is kept in the file as whole microseconds: the roundest number of quarter notes a minute
  that gives the same microseconds is meant (652,174 is 92, not 91.99999).
- Markers name sections; a cue point or a text does if it is such a name: "Chorus 2".
- The level of a part is its channel volume (controller 7), 40 log10(volume / 127) dB as General
  MIDI asks, relative to the loudest part.
- The sustain pedal is not applied and pitch bends are left out, each with a notice.
"""

from __future__ import annotations

import math

from arrange.formats.midi.bars import lay_bars
from arrange.formats.midi.events import is_midi, read_events
from arrange.formats.midi.notes import GRID, pair_notes, place_notes
from arrange.formats.midi.parts import read_parts
from arrange.formats.midi.writing import write_midi
from arrange.formats.playing_order import Bar
from arrange.formats.song_making import song_reader
from arrange.formats.written import Written

__all__ = ["is_midi", "read_midi", "write_midi"]


@song_reader
def read_midi(data: bytes, name: str) -> Written:
    """Return the Song in a Standard MIDI File of format 0 or 1; `song_reader` has the parameters.

    A MIDI file has no repeats to play out, so that `played` changes nothing.

    Raises
    ------
    ReadError
        If the file is no Standard MIDI File, is of format 2, counts film frames instead of
        beats, is cut short or damaged, or is absurdly long.
    """
    notices: list[str] = []
    events = read_events(data, name, notices)
    ticks = math.lcm(events.ticks, GRID)
    pairs = pair_notes(events)
    bars = lay_bars(events, ticks, name, notices)
    parts, part_of_note = read_parts(events, pairs, name, notices)
    notes = place_notes(events, pairs, part_of_note, parts["part"], bars, notices)
    if not len(notes["part"]):
        notices.append("there are no notes in it")
    bars = bars.up_to(notes)
    return Written(
        ticks=ticks,
        parts=parts,
        notes=notes,
        voices=[],
        numbers=[str(number) for number in range(1, len(bars.lengths) + 1)],
        lengths=bars.lengths,
        meters=bars.meters,
        keys=bars.keys,
        tempos=bars.tempos,
        chords=[],
        marks=bars.marks,
        double_bars=[],
        bars=[Bar()] * len(bars.lengths),
        title=events.title,
        notices=notices,
    )
