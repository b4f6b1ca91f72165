"""Damage to a compressed MusicXML file: its members, its container and the zip's own headers."""

from __future__ import annotations

import functools
import io
import struct
import warnings
import zipfile
from random import Random

CONTAINER = "META-INF/container.xml"
ROOT_FILE = '<rootfile full-path="{}" media-type="application/vnd.recordare.musicxml+xml"/>'
ODD_NAMES = (
    "", ".", "/", "score.xml/", "../score.xml", "/etc/score.xml", "a\\b.xml", "ä🎸.xml", "x" * 300,
    "META-INF/container.xml", "meta-inf/CONTAINER.XML", "mimetype", "two\nlines.xml", "C:\\s.xml",
)  # fmt: skip
METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
ODD_FIELDS = (0, 1, 8, 9, 12, 14, 99, 0x7FFF, 0x8000, 0xFFFF)
# Signature of each header, and the offsets of its fields of two bytes (APPNOTE.TXT 4.3, from
# memory): version, flags, method, time, sizes and lengths, offsets.
HEADERS = {
    b"PK\x03\x04": (4, 6, 8, 10, 14, 18, 20, 22, 24, 26, 28),
    b"PK\x01\x02": (4, 6, 8, 10, 12, 16, 20, 22, 24, 26, 28, 30, 32, 34, 38, 42),
    b"PK\x05\x06": (4, 6, 8, 10, 12, 16, 20),
}
BOMB_BYTES = 300 * 2**20

Members = list[tuple[str, bytes, int]]


def packed(members: Members) -> bytes:
    """Return a zip file of (name, content, method), always with the same bytes."""
    stream = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(stream, "w") as archive:
        warnings.simplefilter("ignore")  # zipfile warns of a name given twice
        for name, content, method in members:
            info = zipfile.ZipInfo(name)
            info.compress_type = method
            archive.writestr(info, content)
    return stream.getvalue()


def container(*paths: str) -> bytes:
    """Return the member that says where the score is."""
    roots = "".join(ROOT_FILE.format(path) for path in paths)
    return f"<container><rootfiles>{roots}</rootfiles></container>".encode()


def compressed(score: bytes, name: str = "score.xml") -> bytes:
    """Return a score as a compressed file."""
    return packed(
        [
            (CONTAINER, container(name), zipfile.ZIP_DEFLATED),
            (name, score, zipfile.ZIP_DEFLATED),
        ]
    )


def change_members(score: bytes, rng: Random) -> bytes:
    """Rename, omit, double, empty or multiply members, or compress them in another way."""
    method = rng.choice(METHODS)
    head, body = (CONTAINER, container("score.xml"), method), ("score.xml", score, method)
    odd = rng.choice(ODD_NAMES)
    return packed(
        rng.choice(
            (
                [body],
                [head],
                [body, head],
                [head, (odd, score, method)],
                [(odd, head[1], method), body],
                [(CONTAINER, container(odd), method), (odd, score, method), body],
                [(CONTAINER, container("score.xml", "other.xml"), method), body,
                 ("other.xml", score, method)],
                [(CONTAINER, container("other.xml", "score.xml"), method), body],
                [(CONTAINER, container(), method), body],
                [(CONTAINER, container("score.xml").replace(b'"', b"", 1), method), body],
                [(CONTAINER, container(CONTAINER), method)],
                [(CONTAINER, container("score.xml").decode().encode("utf-16"), method), body],
                [(CONTAINER, b"", method), body],
                [head, ("score.xml", b"", method)],
                [head, ("score.xml", compressed(score), method)],
                [head, ("score.xml", b"MThd" + score, method)],
                [head, *[(f"{n}.xml", b"", method) for n in range(300)], body],
                [head, ("Score.XML", score, method)],
            )
        )
    )  # fmt: skip


def change_headers(data: bytes, rng: Random) -> bytes:
    """Set one field of one of the zip's headers to something odd."""
    signature = rng.choice(list(HEADERS))
    places = [at for at in range(len(data)) if data.startswith(signature, at)]
    if not places:
        return data[: rng.randrange(len(data) + 1)]
    at = rng.choice(places) + rng.choice(HEADERS[signature])
    changed = bytearray(data)
    changed[at : at + 2] = struct.pack("<H", rng.choice(ODD_FIELDS))
    return bytes(changed)


@functools.cache
def bomb(shape: int) -> bytes:
    """Return a small file that unpacks to much: blanks after a score, blanks as a container, a
    hundred large members.
    """
    blanks = b" " * BOMB_BYTES
    score = b"<score-partwise/>"
    method = zipfile.ZIP_DEFLATED
    if shape == 0:
        return packed([(CONTAINER, container("s.xml"), method), ("s.xml", score + blanks, method)])
    if shape == 1:
        return packed([(CONTAINER, blanks + container("s.xml"), method), ("s.xml", score, method)])
    some = blanks[: 2**22]
    return packed(
        [(CONTAINER, container("s.xml"), method), ("s.xml", b"<a>" + some + b"</a>", method)]
        + [(f"{number}.xml", some, method) for number in range(20)]
    )
