"""A Song written as a Standard MIDI File."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import mido
import numpy as np
import pandas as pd

from arrange.errors import ArrangeError
from arrange.formats.files import whole_file
from arrange.formats.midi.events import DRUM_CHANNEL, VOLUME, Array
from arrange.formats.midi.notes import FINE
from arrange.formats.midi.sounds import DRUM_KEYS, usual_program
from arrange.formats.notices import outlasting_notices
from arrange.tables.setups import part_setups
from arrange.tables.song import Song
from arrange.theory.pitch import key_fifths, key_name

VELOCITY = 90  # of every note; the channel volume says how loud a part is
RELEASE = 64  # what the format asks for where none is known
MOST_TICKS = 32_767  # in a quarter note, the format's limit
_TICKS = (
    480,
    960,
    1920,
    96,
    24,
    8,
    1,
)  # ticks that programs are used to; one of them times what is needed
_ODD_TICKS = 30_240  # 2^5 3^3 5 7, where no number of ticks is exact
_UNEVEN = (
    f"its times have no common grid of 1/{MOST_TICKS // FINE:,} quarter note or coarser: who reads "
    "the file may move them to one"
)
_CHANNELS = [channel for channel in range(16) if channel != DRUM_CHANNEL]
_UNITS = (1, 2, 4, 8, 16, 32, 64, 128)  # lower numbers of a meter
_MINOR = ("minor", "aeolian", "dorian", "phrygian", "locrian")


def write_midi(song: Song, path: str | os.PathLike[str]) -> tuple[str, ...]:
    """Write a Song as a Standard MIDI File of format 1: a conductor track, then one a part.

    Parameters
    ----------
    song : Song
    path : path
        Written whole or not at all; a file that is there is replaced.

    Returns
    -------
    tuple of str
        What of the song the file does not hold, a sentence each.

    Raises
    ------
    ArrangeError
        If more than 15 sounds are needed at once, a meter is beyond what the format
        holds, or the file cannot be written.

    Notes
    -----
    - Time: ticks are chosen so that every onset, end and bar line is exact, if 32,767 to a quarter
      note can do it; if not, each is at the nearest of 30,240. The tempo is that of each bar, in
      whole microseconds a quarter note.
    - A bar that is shorter or longer than its meter gets the meter that it fills: a pickup of one
      quarter is 1/4. Where no meter does, a longer one is cut short by the next time signature.
    - A key in a mode other than major and minor is written as its signature.
    - Sections become markers; the title, the parts' labels and instruments become names.
    - Each part has a channel of its own; beyond 15 pitched parts, those of one program share one,
      with the volume of the last. A part without a program gets the usual one of its family and
      drive. Where a guitar is driven otherwise in a section, its program changes there, unless its
      channel is shared.
    - Notes without a pitch go to channel 10: wood blocks and the like, since no drum is named.
      Several at once get keys of their own.
    - Quarter tones are rounded to semitones.

    Left out are grace notes, cue notes and other notes of no length, which a MIDI file cannot hold;
    chord symbols, strings and frets, tuning, capo, echo and technique: a muted or let-ring note
    sounds as long as it is written.

    Examples
    --------
    >>> import tempfile
    >>> import arrange as ar
    >>> song = ar.read("datasets/tarrow-weir.txt")
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     left_out = ar.write_midi(song, f"{folder}/song.mid")
    ...     again = ar.read(f"{folder}/song.mid")
    >>> left_out[0]
    'grace notes are left out, since MIDI does not hold them: 1'
    >>> len(song.notes) - len(again.notes)
    1
    """
    path = Path(path)
    outlasting = outlasting_notices(song)
    ends = np.minimum(song.notes["duration"], song.duration - song.notes["onset"])
    notes = song.notes.assign(duration=ends) if outlasting else song.notes
    ticks, is_kept = _ticks(song, notes)
    midi = mido.MidiFile(type=1, ticks_per_beat=ticks, charset="utf-8")
    midi.tracks.append(_track(_conductor(song, ticks)))
    channels = _channels(song)
    cue = notes["technique"].str.contains("cue", na=False).to_numpy(dtype=bool)
    grace = notes["grace"].to_numpy()
    short = ~cue & ~grace & (notes["duration"].to_numpy() <= 0)
    sounds = ~(cue | grace | short)
    whose = notes["part"].to_numpy()
    for row, part in enumerate(song.parts.to_dict("records")):
        own = notes[sounds & (whose == part["part"])]
        is_alone = channels.count(channels[row]) == 1 and channels[row] != DRUM_CHANNEL
        changes = _program_changes(song, part, ticks) if is_alone else []
        midi.tracks.append(_part(part, own, channels[row], changes, ticks))
    with whole_file(path) as draft:
        midi.save(draft)
    kinds = {
        "grace notes": int((grace & ~cue).sum()),
        "cue notes": int(cue.sum()),
        "notes of no length": int(short.sum()),
        "chord symbols": len(song.chords),
        "strings and frets": int(notes["string"].notna().sum()),
        "remarks": len(song.remarks),
        "players": len(song.players),
        "capos, echoes and layers of sections": _setups_left_out(song),
    }
    microtones = int((notes["pitch"] % 1 > 0).to_numpy()[sounds].sum())
    return (
        *(
            f"{kind} are left out, since MIDI does not hold them: {count:,}"
            for kind, count in kinds.items()
            if count
        ),
        *([f"quarter tones are rounded to semitones: {microtones:,}"] if microtones else []),
        *([] if is_kept else [_UNEVEN]),
        *outlasting,
    )


Timed = tuple[int, int, Any]  # tick, order at one tick, message


def _track(events: list[Timed]) -> mido.MidiTrack:
    """The events in order of time, each with the time since the one before."""
    events.sort(key=lambda event: event[:2])
    track = mido.MidiTrack()
    before = 0
    for tick, _, message in events:
        message.time = tick - before
        before = tick
        track.append(message)
    return track


def _ticks(song: Song, notes: pd.DataFrame) -> tuple[int, bool]:
    """Ticks in a quarter note that put every onset, end and bar line on a tick.

    And whether they are so much finer than the times that a reader takes these as meant.
    """
    onset, duration = notes["onset"].to_numpy(), notes["duration"].to_numpy()
    lines = song.measures["onset"].to_numpy()
    times = np.concatenate([onset, onset + duration, lines, [song.duration]])
    odd = np.unique(np.round(times % 1, 11))
    needed = 1
    for time in odd.tolist():
        if abs(needed * time - round(needed * time)) > 1e-6:
            needed = math.lcm(needed, Fraction(time).limit_denominator(MOST_TICKS).denominator)
            if needed > MOST_TICKS:
                return _ODD_TICKS, False
    # Some ticks apart, so that a reader knows a grid from what was played live.
    usual = [math.lcm(by, needed) for by in _TICKS]
    roomy = [ticks for ticks in usual if FINE * needed <= ticks <= MOST_TICKS]
    roomy += [ticks for ticks in (FINE * needed, *usual) if ticks <= MOST_TICKS]
    return roomy[0], roomy[0] >= FINE * needed


def _at(time: Any, ticks: int) -> Array:
    return np.rint(np.asarray(time) * ticks).astype(np.int64)


def _conductor(song: Song, ticks: int) -> list[Timed]:
    """Title, tempo, meters, keys and markers."""
    events: list[Timed] = []
    if song.title:
        events.append((0, 0, mido.MetaMessage("track_name", name=_text(song.title))))
    before: dict[str, list[int]] = {}
    for bar in song.measures[song.measures["duration"] > 0].to_dict("records"):
        tick = int(_at(bar["onset"], ticks))
        meter, fills = _meter(bar)
        for order, what, message in (
            (1, "meter", meter),
            (2, "key", _key(bar["key"])),
            (3, "tempo", _tempo(bar)),
        ):
            if message is not None and message.bytes() != before.get(what):
                before[what] = message.bytes()
                events.append((tick, order, message))
        if not fills:
            del before["meter"]  # the next bar repeats it, which cuts this one to its length
    for label, onset in zip(song.sections["section"], song.sections["onset"], strict=True):
        marker = mido.MetaMessage("marker", text=_text(label))
        events.append((int(_at(onset, ticks)), 4, marker))
    end = int(_at(song.duration, ticks))
    if "meter" not in before:  # the last bar, likewise
        events.append((end, 1, mido.MetaMessage("time_signature")))
    events.append((end, 5, mido.MetaMessage("end_of_track")))
    return events


def _text(text: str) -> str:
    return text.encode("utf-8", "replace").decode("utf-8")


def _meter(bar: dict[str, Any]) -> tuple[mido.MetaMessage, bool]:
    """The meter that a bar fills, with its own lower number if that can be; whether it does."""
    found = re.search(r"/(\d+)$", bar["meter"])
    unit = int(found[1]) if found else 4
    unit = unit if unit in _UNITS else 4
    length = bar["duration"]
    exact = [by for by in _UNITS if by >= unit and abs(length * by / 4 % 1 - 0.5) > 0.5 - 1e-6]
    unit = min(exact, default=_UNITS[-1])
    beats = max(math.ceil(length * unit / 4 - 1e-6), 1)
    if beats > 255:
        raise ArrangeError(
            f"measure {bar['measure']}: {beats}/{unit} is more than the 255 beats that MIDI "
            "allows in a bar; cut it into shorter ones"
        )
    clicks = 36 if unit >= 8 and beats % 3 == 0 and beats > 3 else max(96 // unit, 1)
    meter = mido.MetaMessage(
        "time_signature", numerator=beats, denominator=unit, clocks_per_click=clicks
    )
    return meter, bool(exact)


def _key(key: Any) -> mido.MetaMessage | None:
    """The key signature; none for a bar without a key."""
    if not isinstance(key, str):
        return None
    fifths = key_fifths(key)
    if abs(fifths) > 7:
        fifths += -12 if fifths > 0 else 12
    if key.partition(" ")[2] in _MINOR:
        name = key_name(fifths, "minor").removesuffix(" minor") + "m"
    else:
        name = key_name(fifths).removesuffix(" major")
    return mido.MetaMessage("key_signature", key=name)


def _tempo(bar: dict[str, Any]) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=round(60_000_000 / bar["tempo"]))


def _channels(song: Song) -> list[int]:
    """The channel of each part; parts without pitched notes that are drums have channel 10."""
    pitched = set(song.notes["part"][song.notes["pitch"].notna()])
    unpitched = set(song.notes["part"][song.notes["pitch"].isna()])
    drums = [
        part not in pitched and (family == "drums" or part in unpitched)
        for part, family in zip(song.parts["part"], song.parts["family"], strict=True)
    ]
    programs = [_program(part) for part in song.parts.to_dict("records")]
    sounds: Sequence[Any] = range(len(programs))
    if drums.count(False) > len(_CHANNELS):
        sounds = programs
    needed = list(dict.fromkeys(
        sound for sound, drum in zip(sounds, drums, strict=True) if not drum
    ))  # fmt: skip
    if len(needed) > len(_CHANNELS):
        raise ArrangeError(
            f"the song has parts with {len(needed)} different sounds and a MIDI file has 15 "
            "channels for them; give some parts the same program, or write fewer parts"
        )
    channel = dict(zip(needed, _CHANNELS, strict=False))
    return [
        DRUM_CHANNEL if drum else channel[sound] for sound, drum in zip(sounds, drums, strict=True)
    ]


def _program(part: dict[str, Any]) -> int:
    """A part's program, from 1; the usual one of its family if it names none."""
    if not pd.isna(part["program"]):
        return min(max(int(part["program"]), 1), 128)
    name = f"{part['part']} {part['instrument'] if isinstance(part['instrument'], str) else ''}"
    return usual_program(part["family"], part["drive"], name)


def _program_changes(song: Song, part: dict[str, Any], ticks: int) -> list[tuple[int, int]]:
    """Tick and program, from 1, of each section in which a guitar begins to sound otherwise."""
    if part["family"] != "guitar" or not (song.setups["part"] == part["part"]).any():
        return []
    setups = part_setups(song)
    drives = setups.loc[setups["part"] == part["part"], "drive"].tolist()
    changes: list[tuple[int, int]] = []
    program = _program(part)
    for drive, onset in zip(drives, song.sections["onset"].tolist(), strict=True):
        usual = part if drive == part["drive"] else {**part, "program": None, "drive": drive}
        if _program(usual) != program:
            program = _program(usual)
            changes.append((int(_at(onset, ticks)), program))
    return changes


def _setups_left_out(song: Song) -> int:
    """How many setups say more than how a part is driven."""
    setups = song.setups.merge(song.parts, on="part", suffixes=("", "_usual"))
    echo = setups["echo"].fillna("") != setups["echo_usual"].fillna("")
    return int((echo | (setups["capo"] != setups["capo_usual"]) | setups["layers"].notna()).sum())


def _part(
    part: dict[str, Any],
    notes: pd.DataFrame,
    channel: int,
    changes: list[tuple[int, int]],
    ticks: int,
) -> mido.MidiTrack:
    """Name, sound, volume and notes of a part, and where its program changes."""
    track = mido.MidiTrack([mido.MetaMessage("track_name", name=_text(part["part"]))])
    if isinstance(part["instrument"], str):
        track.append(mido.MetaMessage("instrument_name", name=_text(part["instrument"])))
    if channel != DRUM_CHANNEL:
        starts = [program for at, program in changes if not at]
        program = (*starts, _program(part))[0] - 1
        track.append(mido.Message("program_change", channel=channel, program=program))
    volume = min(max(round(127 * 10 ** (part["level"] / 40)), 0), 127)
    track.append(mido.Message("control_change", channel=channel, control=VOLUME, value=volume))
    onset = notes["onset"].to_numpy()
    down = _at(onset, ticks)
    up = np.maximum(_at(onset + notes["duration"].to_numpy(), ticks), down + 1)
    pitch = notes["pitch"].to_numpy()
    unpitched = np.isnan(pitch)
    key = np.rint(np.nan_to_num(pitch)).astype(np.int64)
    key[unpitched] = _drum_keys(down[unpitched], up[unpitched])
    channels = np.where(unpitched, DRUM_CHANNEL, channel)
    # All keys that go up at a tick do so before others go down.
    is_down = np.repeat([False, True], len(key))
    tick = np.concatenate([up, down])
    order = np.lexsort((is_down, tick))
    tick, is_down, rows = tick[order], is_down[order], order % max(len(key), 1)
    columns = (is_down, channels[rows], key[rows])
    events = [
        mido.Message(
            "note_on" if goes_down else "note_off",
            skip_checks=True,  # they are checked: the table holds pitches from 0 to 127
            channel=where,
            note=number,
            velocity=VELOCITY if goes_down else RELEASE,
        )
        for goes_down, where, number in zip(*(c.tolist() for c in columns), strict=True)
    ]
    later = [(at, program) for at, program in changes if at]
    # Between the notes that end there and those that begin.
    places = [int(((tick < at) | ((tick == at) & ~is_down)).sum()) for at, _ in later]
    for place, (_, program) in zip(reversed(places), reversed(later), strict=True):
        change = mido.Message("program_change", channel=channel, program=program - 1)
        events.insert(place, change)
    tick = np.insert(tick, places, [at for at, _ in later])
    for event, delta in zip(events, np.diff(tick, prepend=0).tolist(), strict=True):
        event.time = delta
    return mido.MidiTrack([*track, *events])


def _drum_keys(down: Array, up: Array) -> list[int]:
    """A key for each note without a pitch, the first that does not sound."""
    free_from = dict.fromkeys(DRUM_KEYS, 0)
    keys = [0] * len(down)
    for row in np.argsort(down, kind="stable").tolist():
        free = (key for key, tick in free_from.items() if tick <= down[row])
        key = next(free, min(free_from, key=lambda key: free_from[key]))
        free_from[key] = int(up[row])
        keys[row] = key
    return keys
