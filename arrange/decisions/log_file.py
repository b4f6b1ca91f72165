"""The file of a log: it is read whole, and one writer at a time adds to its end."""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

from arrange.errors import ArrangeError, ReadError

try:
    import fcntl
except ImportError:  # this system has no such locks: only one writer at a time is safe
    fcntl = None  # type: ignore[assignment]

_MOST_BYTES = 64 * 2**20
_AS_IT_IS = getattr(os, "O_BINARY", 0)  # or some systems change the line ends
_AT_ONCE = getattr(os, "O_NONBLOCK", 0)  # do not wait for a pipe that nobody writes to


def read_log_bytes(path: Path) -> bytes:
    """Return the bytes of a log.

    Raises
    ------
    ReadError
        If it cannot be read.
    """
    try:
        handle = os.open(path, os.O_RDONLY | _AS_IT_IS | _AT_ONCE)
        try:
            return _content(handle, path)
        finally:
            os.close(handle)
    except OSError as error:
        raise ReadError(f"the log cannot be read: {error.strerror}", file=str(path)) from None


def fingerprint_of(data: bytes) -> str:
    """Return a text that differs for each content of a log; empty for an empty log."""
    return hashlib.sha256(data).hexdigest() if data else ""


def append_entry(path: Path, entry_after: Callable[[bytes], str], head: str) -> None:
    """Write an entry at the end of a log, whole or not at all, and wait until it is on the disk.

    Parameters
    ----------
    path : Path
        Made if it is not there.
    entry_after : callable
        Takes the bytes of the log and returns the entry to add, or raises; nobody else can write
        meanwhile. It may be called twice.
    head : str
        The first lines of a new log.

    Raises
    ------
    ArrangeError
        If the file cannot be written, or is no text; the log is then as it was.
    """
    if not path.exists():
        entry_after(b"")  # if this raises, no empty file is left
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT | _AS_IT_IS, 0o666)
    except OSError as error:
        raise _not_written(path, error) from None
    try:
        with _locked(handle):
            data = _content(handle, path)
            text = entry_after(data)
            if not data:
                text = f"{head}\n{text}"
            else:
                text = ("\n" if data.endswith(b"\n") else "\n\n") + text
            _write_end(handle, path, text.encode(), len(data))
    except OSError as error:
        raise _not_written(path, error) from None
    finally:
        os.close(handle)


def _write_end(handle: int, path: Path, new: bytes, size: int) -> None:
    if size + len(new) > _MOST_BYTES:
        raise ArrangeError(
            f"{path}: the decision was not written: a log holds at most {_MOST_BYTES >> 20} MB"
        )
    try:
        while new:
            new = new[os.write(handle, new) :]
        os.fsync(handle)
    except OSError as error:
        os.ftruncate(handle, size)
        raise ArrangeError(f"{_not_written(path, error)}; the log is as it was") from None


def _content(handle: int, path: Path) -> bytes:
    """All bytes of an open file."""
    about = os.fstat(handle)
    if stat.S_ISDIR(about.st_mode):
        raise ReadError("this is a folder; name a text file for the log", file=str(path))
    if not stat.S_ISREG(about.st_mode):  # a pipe or device may never end
        raise ReadError("this is no plain file; name a text file for the log", file=str(path))
    if about.st_size > _MOST_BYTES:
        raise ReadError(
            f"a log holds at most {_MOST_BYTES >> 20} MB; this file is larger", file=str(path)
        )
    with os.fdopen(os.dup(handle), "rb") as file:
        file.seek(0)
        data = file.read()
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        raise ReadError("this is UTF-16; save the file as UTF-8", file=str(path), line=1)
    return data


def _not_written(path: Path, error: OSError) -> ArrangeError:
    return ArrangeError(f"{path}: the decision was not written: {error.strerror}")


@contextlib.contextmanager
def _locked(handle: int) -> Iterator[None]:
    """Lock the file; the system frees the lock when the process ends, however it ends."""
    if fcntl is not None:
        fcntl.flock(handle, fcntl.LOCK_EX)
    yield
