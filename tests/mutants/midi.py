"""Damage to a Standard MIDI File: its chunks and their lengths, its events and their times.

References
----------
Standard MIDI Files 1.0 (RP-001), from memory: chunks, variable-length numbers, meta events.
"""

from __future__ import annotations

import struct
from random import Random

Event = tuple[int, bytes]  # ticks since the event before; status and data
ODD_DELTAS = (0, 1, 127, 128, 480, 16_383, 2_097_152, 2**28 - 1)
ODD_EVENTS = (
    "ff5103000000", "ff5103000001", "ff5103ffffff", "ff510207a1", "ff510407a12000",
    "ff580404021808", "ff580400021808", "ff58047f001808", "ff580404ff1808", "ff580401071808",
    "ff580401061808", "ff5804ff0018ff", "ff58020402", "ff59020000", "ff59027f7f", "ff5902ff05",
    "ff590100", "ff5405ffffffffff", "ff5405601e3b1d63", "ff2f00", "ff2f0101", "ff20010f",
    "ff2001ff",
    "ff2000", "ff21017f", "ff00020001", "ff7f054142434445", "ff7fffffff7f", "ff03ffffffff7f",
    "ff0300", "ff03043c623e26", "ff0304fffe0000", "ff0306f09f8eb80a22", "ff0603435321",
    "ff0602e4e9",
    "ff06052e2e2f2e2e", "ff04012b", "ff0101", "f07e7f0901f7", "f043", "f7037f0102", "f0ffffff7f",
    "c000", "c07f", "c080", "c9ff", "e00000", "e07f7f", "b06500", "b06400", "b00618", "b07b00",
    "b0407f", "b0ffff", "903c7f", "903c00", "90007f", "907f7f", "90807f", "903cff", "803c40",
    "993c7f", "99007f", "a03c7f", "d07f", "f1", "f4", "f8", "fe", "ff", "3c7f", "00", "80",
)  # fmt: skip


def number(value: int) -> bytes:
    """Return a variable-length number."""
    digits = [value & 0x7F]
    while value := value >> 7:
        digits.append(value & 0x7F | 0x80)
    return bytes(digits[::-1])


def chunks_of(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return name and content of each chunk of a sound file."""
    chunks, at = [], 0
    while at + 8 <= len(data):
        (length,) = struct.unpack(">I", data[at + 4 : at + 8])
        chunks.append((data[at : at + 4], data[at + 8 : at + 8 + length]))
        at += 8 + length
    return chunks


def joined(chunks: list[tuple[bytes, bytes]]) -> bytes:
    """Return a file made of chunks."""
    return b"".join(name + struct.pack(">I", len(body)) + body for name, body in chunks)


def events_of(body: bytes) -> list[Event]:
    """Return the events of a sound chunk, each with its own status."""
    events, at, status = [], 0, 0
    while at < len(body):
        delta, at = _read_number(body, at)
        if body[at] & 0x80:
            status, at = body[at], at + 1
        if status == 0xFF:
            length, to = _read_number(body, at + 1)
            end = to + length
        elif status in (0xF0, 0xF7):
            length, to = _read_number(body, at)
            end = to + length
        else:
            end = at + (1 if status & 0xE0 == 0xC0 else 2)
        events.append((delta, bytes([status]) + body[at:end]))
        at = end
    return events


def packed_events(events: list[Event]) -> bytes:
    """Return the content of a chunk made of events."""
    return b"".join(number(delta) + event for delta, event in events)


def change_chunks(data: bytes, rng: Random) -> bytes:
    """Rename, drop, double or move chunks, give false lengths, or put odd numbers in the header."""
    chunks = chunks_of(data)
    at, other = rng.randrange(len(chunks)), rng.randrange(len(chunks))
    name, body = chunks[at]
    way = rng.randrange(8)
    if way == 0:
        chunks[at] = rng.choice((b"MTrk", b"MThd", b"XXXX", b"\0\0\0\0")), body
    elif way == 1:
        del chunks[at]
    elif way == 2:
        chunks[at:at] = [chunks[at]] * rng.choices((1, 3, 300), (30, 9, 1))[0]
    elif way == 3:
        chunks.insert(other, chunks.pop(at))
    elif way == 4:
        before = joined(chunks[:at])
        length = rng.choice((0, 1, len(body) - 1, len(body) + 1, 2**31, 2**32 - 1)) % 2**32
        return before + name + struct.pack(">I", length) + body + joined(chunks[at + 1 :])
    elif way == 5:
        chunks[at] = name, body[: rng.randrange(len(body) + 1)]
    else:
        head = bytearray(chunks[0][1].ljust(6, b"\0"))
        odd = rng.choice((0, 1, 2, 3, 24, 96, 255, 0x7FFF, 0x8000, 0xE728, 0xE250, 0xFFFF))
        field = rng.choice((0, 2, 4, 4))
        head[field : field + 2] = struct.pack(">H", odd)
        chunks[0] = chunks[0][0], bytes(head)
    return joined(chunks)


def change_events(data: bytes, rng: Random) -> bytes:
    """Drop, double, swap, damage or move events in time, or insert odd ones."""
    chunks = chunks_of(data)
    which = [index for index, (name, body) in enumerate(chunks) if name == b"MTrk" and body]
    if not which:
        return change_chunks(data, rng)
    index = rng.choice(which)
    events = events_of(chunks[index][1])
    at, other = rng.randrange(len(events)), rng.randrange(len(events))
    delta, event = events[at]
    way = rng.randrange(9)
    if way == 0:
        del events[at : at + rng.choice((1, 1, 8))]
    elif way == 1:
        events[at:at] = [events[at]] * rng.choice((1, 1, 3, 500))
    elif way == 2:
        events[at], events[other] = events[other], events[at]
    elif way == 3:
        events[at] = rng.choice(ODD_DELTAS), event
    elif way == 4 and len(event) > 1:
        place = rng.randrange(1, len(event))
        odd = rng.choice((0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)))
        events[at] = delta, event[:place] + bytes([odd]) + event[place + 1 :]
    elif way == 5:
        events[at] = delta, bytes([rng.randrange(128, 256)]) + event[1:]
    else:
        odd_event = bytes.fromhex(rng.choice(ODD_EVENTS))
        events.insert(at, (rng.choice((0, 0, *ODD_DELTAS)), odd_event))
    chunks[index] = b"MTrk", packed_events(events)
    return joined(chunks)


def _read_number(body: bytes, at: int) -> tuple[int, int]:
    value = 0
    while True:
        value = value << 7 | body[at] & 0x7F
        at += 1
        if not body[at - 1] & 0x80:
            return value, at
