"""A file's bytes as columns: what each track says, and when.

The structure is that of Standard MIDI Files 1.0 (MIDI Manufacturers Association): a head, then
chunks, of which those that are no tracks are skipped; in a track each event behind the time since
the one before, with running status. What is read here is read byte by byte rather than through
the library that writes: that one loses the time in front of meta events that it does not know,
and gives up on a whole file for one odd key signature.
"""

from __future__ import annotations

import codecs
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from arrange.errors import ReadError, cut_text
from arrange.song_size import MOST_MEASURES, MOST_NOTES, MOST_QUARTERS, MOST_TEXT

Array = np.ndarray[Any, Any]

NOTE_OFF, NOTE_ON, CONTROL, PROGRAM, BEND = 0x80, 0x90, 0xB0, 0xC0, 0xE0
VOLUME, SUSTAIN = 7, 64  # controllers
DRUM_CHANNEL = 9  # called channel 10 by everyone; counted from 0 in the file

_MOST_TEXT_BYTES = 8 * MOST_TEXT  # looked at, of one text; four make a letter at most
_MOST_EVENTS = 4 * MOST_NOTES  # channel events: two for each note, as many for pedals and bends
_MOST_METAS = 5 * MOST_MEASURES  # meta events: a meter, key, tempo, marker and word for each bar

# Kinds of meta event.
TEXT, TRACK_NAME, INSTRUMENT_NAME, LYRIC, MARKER, CUE = 1, 3, 4, 5, 6, 7
END_OF_TRACK, TEMPO, METER, KEY = 0x2F, 0x51, 0x58, 0x59


@dataclass(frozen=True)
class Meta:
    """A meta event: where it stands, its kind and its bytes."""

    track: int
    tick: int
    kind: int
    data: bytes

    @property
    def text(self) -> str:
        """Its bytes as text on one line; UTF-8 if they are, else as Western Windows wrote it."""
        return cut_text(self._plain, MOST_TEXT)

    @property
    def is_cut(self) -> bool:
        """Whether its bytes hold more text than ``text`` gives."""
        return len(self._plain) > MOST_TEXT

    @property
    def _plain(self) -> str:
        data = self.data[:_MOST_TEXT_BYTES]
        try:
            # What is cut inside a sign ends before it.
            text, _ = codecs.utf_8_decode(data, "strict", len(data) == len(self.data))
        except UnicodeDecodeError:
            text = data.decode("cp1252", errors="replace")
        plain = "".join(sign if sign.isprintable() else " " for sign in text)
        return " ".join(plain.split())


@dataclass(frozen=True)
class Events:
    """What a file says.

    Parameters
    ----------
    single : bool
        Format 0: one track that holds everything.
    ticks : int
        Ticks in a quarter note.
    track, tick, status, channel, first, second : arrays, a value a channel event
        In the order of the file: track from 0, ticks from the start, status without channel,
        channel from 0, the one or two bytes of data.
    metas : list of Meta
    ends : array, a value a track
        Tick of its last event.
    """

    single: bool
    ticks: int
    track: Array
    tick: Array
    status: Array
    channel: Array
    first: Array
    second: Array
    metas: list[Meta]
    ends: Array

    @property
    def title(self) -> str:
        """Name of the first track, if that is no part's."""
        if not self.single and ((self.track == 0) & (self.status == NOTE_ON)).any():
            return ""
        return self.name_of(0, TRACK_NAME)

    def name_of(self, track: int, kind: int) -> str:
        """The first name of that kind that a track has, or none."""
        return self._names.get((track, kind), "")

    @cached_property
    def _names(self) -> dict[tuple[int, int], str]:
        names: dict[tuple[int, int], str] = {}
        for meta in self.metas:
            if meta.kind in (TRACK_NAME, INSTRUMENT_NAME) and meta.text:
                names.setdefault((meta.track, meta.kind), meta.text)
        return names

    def metas_of(self, kind: int) -> list[Meta]:
        """All meta events of a kind in order of time; at one time, in order of the tracks."""
        return sorted((meta for meta in self.metas if meta.kind == kind), key=lambda m: m.tick)


def is_midi(data: bytes) -> bool:
    """Return whether bytes begin like a Standard MIDI File, bare or in a RIFF envelope."""
    return data.startswith(b"MThd") or (data.startswith(b"RIFF") and data[8:12] == b"RMID")


def read_events(data: bytes, name: str, notices: list[str]) -> Events:
    """Return what the tracks of a file say.

    Raises
    ------
    ReadError
        If it is no such file, or one that is cut short, damaged or absurdly long.
    """
    try:
        return _read_events(data, notices)
    except ReadError as error:
        raise ReadError(error.problem, file=name) from None


def _read_events(data: bytes, notices: list[str]) -> Events:
    if not is_midi(data):
        raise ReadError(
            "this is no Standard MIDI File, which begins with 'MThd'; export the song as .mid"
        )
    start = _riff_start(data) if data.startswith(b"RIFF") else 0
    form, promised, ticks, at = _read_head(data, start)
    columns: list[list[int]] = [[], [], [], [], []]
    metas: list[Meta] = []
    ends: list[int] = []
    for begin, end in _track_chunks(data, at, promised, notices):
        track = _Track(data[begin:end], begin, len(ends), ticks, notices)
        ends.append(track.read(columns, metas))
    if not ends:
        raise ReadError("there are no tracks in it; export the song again")
    if len(ends) < promised:
        raise ReadError(
            f"its head promises {promised} tracks and there {_are(len(ends))}: the file is cut "
            "short; copy or export it again"
        )
    if len(ends) > promised:
        notices.append(f"its head promises {promised} tracks and there {_are(len(ends))}; "
                       "all are read")  # fmt: skip
    track_, tick, status, first, second = (np.array(values, dtype=np.int64) for values in columns)
    return Events(
        form == 0 and len(ends) == 1, ticks, track_, tick, status & 0xF0, status & 0x0F, first,
        second, metas, np.array(ends, dtype=np.int64),
    )  # fmt: skip


def _are(count: int) -> str:
    return f"is {count}" if count == 1 else f"are {count}"


def _riff_start(data: bytes) -> int:
    """Where the file begins inside its RIFF envelope."""
    at = 12
    while at + 8 <= len(data):
        kind, length = struct.unpack_from("<4sL", data, at)
        if kind == b"data" and data.startswith(b"MThd", at + 8):
            return at + 8
        at += 8 + length + length % 2
    raise ReadError("its RIFF envelope holds no MIDI file; export the song as plain .mid")


def _read_head(data: bytes, start: int) -> tuple[int, int, int, int]:
    """Format, number of tracks, ticks in a quarter note, and where the head ends."""
    if len(data) < start + 14:
        raise ReadError("the file ends inside its head; copy or export it again")
    length, form, promised, division = struct.unpack_from(">LHHH", data, start + 4)
    if length < 6:
        raise ReadError(f"its head is {length} bytes long and must be 6; export the song again")
    if form == 2:
        raise ReadError(
            "it is of format 2: its tracks are songs of their own, not parts of one; "
            "export each of them as a file of format 1"
        )
    if form > 2:
        raise ReadError(f"it is of format {form}; there are 0, 1 and 2: export it as format 1")
    if division & 0x8000:
        raise ReadError(
            "its times are film frames (SMPTE), not beats, so it has no bars; "
            "export it with ticks per quarter note"
        )
    if division == 0:
        raise ReadError("it has 0 ticks to a quarter note; export it again, with 480, say")
    return form, promised, division, start + 8 + length


def _track_chunks(
    data: bytes, at: int, promised: int, notices: list[str]
) -> Iterator[tuple[int, int]]:
    """Begin and end of each track; other chunks are passed over, as the format asks."""
    found = 0
    while at + 8 <= len(data):
        kind, length = struct.unpack_from(">4sL", data, at)
        begin, end = at + 8, at + 8 + length
        is_track = kind == b"MTrk"
        if not is_track and found >= promised:
            break  # whatever stands behind the last track
        if end > len(data):
            what = f"track {found + 1}" if is_track else f"the chunk at byte {at:,}"
            raise ReadError(
                f"{what} claims {length:,} bytes and the file has {len(data) - begin:,} left: "
                "it is cut short or damaged; copy or export it again"
            )
        if is_track:
            found += 1
            yield begin, end
        at = end
    if at < len(data) and found < promised:
        raise ReadError(
            f"the file ends inside the head of a chunk, at byte {at:,}: it is cut short; "
            "copy or export it again"
        )
    if data[at:].strip(b"\x00") and not data.startswith(b"RIFF"):
        notices.append(f"{len(data) - at:,} bytes behind the last track are left out")


class _Track:
    """One track's bytes, read from front to back."""

    def __init__(
        self, data: bytes, begin: int, number: int, ticks: int, notices: list[str]
    ) -> None:
        self.data, self.begin, self.number = data, begin, number
        self.ticks, self.notices = ticks, notices

    def read(self, columns: list[list[int]], metas: list[Meta]) -> int:
        """Put the track's events behind those of the tracks before it; return its last tick."""
        tracks, all_ticks, statuses, firsts, seconds = columns
        data, number, end = self.data, self.number, len(self.data)
        at = tick = status = 0
        cancelled = bent = False
        try:
            while at < end and len(tracks) <= _MOST_EVENTS:
                byte = data[at]
                at += 1
                if byte < 128:
                    tick += byte
                else:
                    delta, at = self._length(at - 1)
                    tick += delta
                byte = data[at]
                if byte >= 0xF0:
                    kind, body, at = self._special(at)
                    cancelled = True
                    if kind >= 0:
                        metas.append(Meta(number, tick, kind, body))
                        if len(metas) > _MOST_METAS:
                            raise _too_many(_MOST_METAS, "texts, tempos, meters and keys")
                        if kind == END_OF_TRACK:
                            break
                    continue
                if byte >= 128:
                    status, cancelled = byte, False
                    at += 1
                elif not status:
                    raise self._refuse(at, f"a byte 0x{byte:02X} where an event should begin")
                bent |= cancelled
                first, second = data[at], 0
                if status & 0xE0 == 0xC0:  # program change, channel pressure: one byte of data
                    at += 1
                else:
                    second = data[at + 1]
                    at += 2
                if first > 127 or second > 127:
                    wrong = first if first > 127 else second
                    raise self._refuse(
                        at - 1, f"a data byte 0x{wrong:02X}; they go up to 0x7F, so an event is "
                        "cut off here"
                    )  # fmt: skip
                tracks.append(number)
                all_ticks.append(tick)
                statuses.append(status)
                firsts.append(first)
                seconds.append(second)
            else:
                self.notices.append(f"track {number + 1} has no end-of-track event; it is read")
        except IndexError:
            raise self._refuse(end, "the track ends inside an event") from None
        if len(tracks) > _MOST_EVENTS:
            raise _too_many(_MOST_EVENTS, "keys that go down or up, pedals and bends")
        if tick > MOST_QUARTERS * self.ticks:
            raise ReadError(
                f"track {number + 1} is {tick / self.ticks:,.0f} quarter notes long; "
                f"{MOST_QUARTERS:,.0f} is the most, so a time in it is damaged: export it again"
            )
        if at < end:
            self.notices.append(
                f"track {number + 1} goes on for {end - at:,} bytes behind its end; "
                "they are left out"
            )
        if bent:
            self.notices.append(
                f"track {number + 1} leaves out a status byte behind a meta or system event, "
                "which the format forbids; the last status is taken"
            )
        return tick

    def _length(self, at: int) -> tuple[int, int]:
        """A number of variable length, and where it ends."""
        value = 0
        for place in range(at, at + 4):
            byte = self.data[place]
            value = value << 7 | byte & 127
            if byte < 128:
                return value, place + 1
        raise self._refuse(at, "a time or length of more than four bytes")

    def _special(self, at: int) -> tuple[int, bytes, int]:
        """Kind (-1 for system exclusive), bytes and end of an event that is no channel's."""
        status = self.data[at]
        if status == 0xFF:
            kind = self.data[at + 1]
            length, begin = self._length(at + 2)
        elif status in (0xF0, 0xF7):
            kind = -1
            length, begin = self._length(at + 1)
        else:
            raise self._refuse(at, f"a status byte 0x{status:02X}, which no file may hold")
        if begin + length > len(self.data):
            raise self._refuse(
                at, f"an event of {length:,} bytes, and the track has "
                f"{len(self.data) - begin:,} left"
            )  # fmt: skip
        return kind, self.data[begin : begin + length], begin + length

    def _refuse(self, at: int, problem: str) -> ReadError:
        return ReadError(
            f"track {self.number + 1}, byte {self.begin + at:,} of the file: {problem}; "
            "the file is damaged: copy or export it again"
        )


def _too_many(most: int, what: str) -> ReadError:
    return ReadError(f"it holds more than {most:,} {what}: no song has so many; export it again")
