"""A compressed MusicXML file unpacked, within bounds: a few kilobytes can claim gigabytes.

Its members are stored or packed by DEFLATE (MusicXML 4.0, compressed .mxl files); others are
refused unopened, since a damaged head of theirs may ask for any amount of memory.
"""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Any

from lxml import etree

from arrange.errors import ReadError, cut_text, shown
from arrange.formats.files import MOST_BYTES

PARSER_OPTIONS: dict[str, Any] = {
    "resolve_entities": False,
    "no_network": True,
    "load_dtd": False,
    "huge_tree": False,
    "remove_blank_text": True,
    "remove_comments": True,
    "remove_pis": True,
}
# How many times its file a score may be: those of the corpus that the tests read reach 55. One
# with many silent bars may be packed tighter, but is small.
_MOST_TIMES = 100
_ANY_TIMES = 4 * 2**20  # bytes up to which it may be packed as tightly as it likes
_MOST_CONTAINER = 2**20
_MOST_MEMBERS = 1_000  # parts, pictures and sounds beside the score; most files hold two
_ENTRY = b"PK\x01\x02"  # begins each member's entry in the directory of a zip file
_MOST_SHOWN = 60  # characters of a name in a message
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_STEP = 2**16

# What unpacking a damaged file raises; ValueError where a name in it is no UTF-8.
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError)


def unpack(data: bytes, name: str) -> bytes:
    """Return the score inside a compressed file: where META-INF/container.xml says it lies.

    Raises
    ------
    ReadError
        If it is damaged, holds no score, or one that is absurdly much larger than the file.
    """
    if data.count(_ENTRY) > _MOST_MEMBERS:
        raise ReadError(
            f"the compressed file holds more than {_MOST_MEMBERS:,} files; export it again",
            file=name,
        )
    most = min(max(_MOST_TIMES * len(data), _ANY_TIMES), MOST_BYTES)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _member(archive, "META-INF/container.xml", _MOST_CONTAINER, name)
            return _member(archive, _root_file(container, name), most, name)
    except ReadError:
        raise
    except _DAMAGED as error:
        raise ReadError(
            f"the compressed file is damaged ({cut_text(str(error), 2 * _MOST_SHOWN)}); "
            "export it again",
            file=name,
        ) from None


def _member(archive: zipfile.ZipFile, member: str, most: int, name: str) -> bytes:
    shown_name = cut_text(member, _MOST_SHOWN)
    if member not in archive.namelist():
        held = [cut_text(other, _MOST_SHOWN) for other in archive.namelist()[:5]]
        raise ReadError(
            f"the compressed file has no {shown_name}; it holds {', '.join(held) or 'nothing'}. "
            "Export it again as MusicXML",
            file=name,
        )
    entry = archive.getinfo(member)
    if entry.compress_type not in _METHODS:
        raise ReadError(
            f"{shown_name} is packed by another method than DEFLATE, which MusicXML asks for; "
            "export it again",
            file=name,
        )
    content = bytearray()
    if entry.file_size <= most:  # which may be a lie: reading stops there too
        with archive.open(entry) as stream:
            while len(content) <= most and (step := stream.read(_STEP)):
                content += step
    if max(entry.file_size, len(content)) > most:
        raise ReadError(
            f"{shown_name} unpacks to more than {most / 2**20:.3g} MB; no score is packed so "
            "tightly: export it again",
            file=name,
        )
    return bytes(content)


def _root_file(container: bytes, name: str) -> str:
    try:
        root = etree.fromstring(container, etree.XMLParser(**PARSER_OPTIONS))
    except etree.XMLSyntaxError as error:
        raise ReadError(
            f"META-INF/container.xml is damaged: {cut_text(error.msg, 2 * _MOST_SHOWN)}", file=name
        ) from None
    path = next((element.get("full-path") for element in root.iter("{*}rootfile")), None)
    if not path:
        raise ReadError("META-INF/container.xml names no score; export it again", file=name)
    inner = PurePosixPath(path)
    if inner.is_absolute() or ".." in inner.parts or "\\" in path:
        raise ReadError(
            f"META-INF/container.xml points outside the file, to {shown(path)}", file=name
        )
    return str(inner)
