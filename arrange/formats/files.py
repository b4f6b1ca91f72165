"""Bytes from a path, and files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from arrange.errors import ArrangeError, ReadError, shortened

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

MOST_BYTES = 256 * 2**20  # the largest orchestral scores are some 60 MB
_DRAFT = ".arrange-draft-"
_ABANDONED_SECONDS = 86_400  # age of a draft that is swept where folders cannot be locked


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
        if path.suffix.lower() == ".txt":
            raise ReadError("the chart is empty; type a section and its bars", file=name)
        raise ReadError("the file is empty; export it again", file=name)
    return data


def check_target(
    path: Path, *, overwrite: bool = True, source: str | os.PathLike[str] | None = None
) -> None:
    """Raise an ArrangeError if no file can be written to `path`; asked before work begins.

    `source` is what is read: it is never written over.
    """
    try:
        is_folder = path.is_dir()
        is_there = path.exists()
        is_source = (
            is_there and source is not None and os.path.exists(source) and path.samefile(source)
        )
    except OSError as error:  # such as a name that is too long
        raise _not_written(path, error) from None
    if is_folder:
        raise ArrangeError(f"{shortened(path)} is a folder, where a file is written; remove it or "
                           "choose another name")  # fmt: skip
    if is_source:
        raise ArrangeError(f"{shortened(path)} is the song that is read; choose another name")
    if is_there and not overwrite:
        raise ArrangeError(
            f"{shortened(path)} is there already; choose another name, or --overwrite"
        )


def check_folder(folder: Path) -> None:
    """Raise an ArrangeError if files cannot be written into `folder`; it need not be there yet."""
    try:
        is_other = folder.exists() and not folder.is_dir()
    except OSError as error:
        raise _not_written(folder, error) from None
    if is_other:
        raise ArrangeError(f"{shortened(folder)} is a file; name a folder to write into")


@contextlib.contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a path to write to; the file is moved to `path` when the block ends without an error.

    Raises
    ------
    ArrangeError
        If the file cannot be written; what was there before is as it was.
    """
    check_target(path)
    with _moved_at_the_end(path.parent, path) as draft:
        yield draft / path.name


@contextlib.contextmanager
def whole_files(folder: Path) -> Iterator[Path]:
    """Give a folder to write into; all that is in it is moved into `folder` when the block ends
    without an error. What else `folder` holds stays.

    Raises
    ------
    ArrangeError
        If one of the files cannot be written; then none is.
    """
    check_folder(folder)
    with _moved_at_the_end(folder, folder) as draft:
        yield draft


@contextlib.contextmanager
def _moved_at_the_end(folder: Path, named: Path) -> Iterator[Path]:
    # Inside the folder, or the one that it will stand in: moves stay within one disk.
    place = next((each for each in (folder, *folder.parents) if each.exists()), Path())
    try:
        with _draft(place) as draft:
            yield draft
            _move_all(draft, folder)
    except OSError as error:
        raise _not_written(named, error) from None


def _move_all(draft: Path, folder: Path) -> None:
    paths = sorted(draft.rglob("*"))
    moves = [(path, folder / path.relative_to(draft)) for path in paths]
    for path, target in moves:
        check_folder(target) if path.is_dir() else check_target(target)
    folder.mkdir(parents=True, exist_ok=True)
    for path, target in moves:
        target.mkdir(exist_ok=True) if path.is_dir() else path.replace(target)


def _not_written(path: Path, error: OSError) -> ArrangeError:
    reason = error.strerror or error
    return ArrangeError(f"{shortened(path)}: cannot be written: {reason}; choose another place")


@contextlib.contextmanager
def _draft(place: Path) -> Iterator[Path]:
    """A hidden folder that is gone after the block; what killed runs left there goes too."""
    _sweep(place)
    while True:
        draft = Path(tempfile.mkdtemp(prefix=_DRAFT, dir=place))
        handle = _lock(draft, wait=True)
        if draft.exists():  # else another run swept it before it was locked
            break
        _unlock(handle)
    try:
        yield draft
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        _unlock(handle)


def _sweep(place: Path) -> None:
    """Remove the drafts whose writers no longer live: nobody holds their locks."""
    for draft in place.glob(f"{_DRAFT}*"):
        try:
            handle = _lock(draft, wait=False)
            is_old = time.time() - draft.stat().st_mtime > _ABANDONED_SECONDS
        except OSError:
            continue  # its writer lives, or has just ended
        if handle is not None or is_old:
            shutil.rmtree(draft, ignore_errors=True)
        _unlock(handle)


def _lock(folder: Path, *, wait: bool) -> int | None:
    """Hold a folder alone until it is unlocked or the process ends, however it ends.

    None where folders cannot be locked; a BlockingIOError if another run holds it.
    """
    if fcntl is None:
        return None
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        os.close(handle)
        raise
    except OSError:  # some network disks
        os.close(handle)
        return None
    return handle


def _unlock(handle: int | None) -> None:
    if handle is not None:
        os.close(handle)
