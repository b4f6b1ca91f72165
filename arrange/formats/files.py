"""Bytes from a path, and files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from arrange.errors import ReadError

MOST_BYTES = 256 * 2**20  # the largest orchestral scores are some 60 MB


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    ReadError
        If there is no such file, or it is a folder, empty, too large or not readable.
    """
    name = str(path)
    try:
        if not path.exists():
            raise ReadError("there is no such file; look for a typing error in the path", file=name)
        if path.is_dir():
            raise ReadError("this is a folder; name a file in it", file=name)
        if not path.is_file():  # a pipe or device may never end
            raise ReadError("this is no plain file; save the song as one", file=name)
        if path.stat().st_size > MOST_BYTES:
            raise ReadError(f"the file is larger than {MOST_BYTES >> 20} MB", file=name)
        data = path.read_bytes()
    except OSError as error:
        raise ReadError(f"the file cannot be read: {error.strerror}", file=name) from None
    if not data.strip():
        raise ReadError("the file is empty; export it again", file=name)
    return data


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; move it there when the block ends without an error."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    os.close(handle)
    mask = os.umask(0)
    os.umask(mask)
    try:
        yield Path(draft)
        Path(draft).chmod(0o666 & ~mask)  # as any new file; mkstemp makes it private
        Path(draft).replace(path)
    finally:
        Path(draft).unlink(missing_ok=True)
