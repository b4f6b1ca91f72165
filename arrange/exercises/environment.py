"""A check of the machine before a workshop, without a network."""

from __future__ import annotations

import importlib
import importlib.metadata
import importlib.util
import os
import re
import shutil
import sys
import tempfile
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd

from arrange.errors import ArrangeError
from arrange.exercises.demo_songs import LOW_WATER, demo_path
from arrange.exercises.making import exercises_of
from arrange.exercises.papers import print_page
from arrange.formats.reading import read
from arrange.handouts.typesetting import PAPERS
from arrange.sound import Playback, render_sound

_FREE_MB = 500
_COLUMNS = ("what", "found", "wanted", "to_do", "ok", "needed")
_CLAUSE = re.compile(r"(>=|<=|==|<|>|!=|~=)\s*([0-9][0-9.]*)")

Row = tuple[str, str, str, str, bool]


def check_environment(song: str | os.PathLike[str] | None = None) -> pd.DataFrame:
    """Return whether this machine is ready for a workshop.

    Parameters
    ----------
    song : path, optional
        The song of the workshop; else the demo song, where it is there.

    Returns
    -------
    DataFrame
        A row each for Python, every package that the kit asks for, what JupyterLab needs, a sound,
        a printed page, the song with its exercises, free disk and a browser: ``what``; ``found``;
        ``wanted``; ``to_do``, empty where nothing is to be done; ``ok``, whether it is as wanted;
        ``needed``, whether the workshop depends on it.

    Examples
    --------
    >>> import arrange as ar
    >>> checks = ar.check_environment("datasets/tarrow-weir.txt")
    >>> bool(checks.set_index("what").loc["song and exercises", "ok"])
    True
    """

    def found() -> Path:
        return demo_path(LOW_WATER) if song is None else Path(song)

    rows = [_python(), *_packages()]
    with tempfile.TemporaryDirectory() as folder:
        rows += [
            _tried("notebook kernel", "Python 3", _kernel, "install jupyterlab again"),
            _tried("song and exercises", "exercises", lambda: _song(found()), _song_to_do(song)),
            _tried("sound", "a sound is written", lambda: _sound(found(), Path(folder)),
                   "install soundfile again; without it, leave out the exercise by ear"),
            _tried("a printed page", "one PDF page", lambda: _page(Path(folder)),
                   "install typst again; until then work from the notebooks"),
        ]  # fmt: skip
        rows.append(_disk(Path(folder)))
    needed = [(*row, True) for row in rows]
    table = pd.DataFrame([*needed, (*_browser(), False)], columns=list(_COLUMNS))
    return table.astype(dict.fromkeys(_COLUMNS[:4], "str") | {"ok": bool, "needed": bool})


def _python() -> Row:
    found = ".".join(map(str, sys.version_info[:3]))
    wanted = _asked_python()
    ok = _fits(found, wanted)
    return "Python", found, wanted, "" if ok else f"install a Python {wanted}", ok


def _asked_python() -> str:
    try:
        return str(importlib.metadata.metadata("arrange")["Requires-Python"])
    except importlib.metadata.PackageNotFoundError:
        return ">=3.11"


def _packages() -> Iterator[Row]:
    """A row for each package that the kit asks for."""
    try:
        asked = importlib.metadata.requires("arrange") or []
    except importlib.metadata.PackageNotFoundError:
        yield ("arrange", "not installed", "installed",
               "install the kit: pip install -e . in its folder", False)  # fmt: skip
        return
    for line in asked:
        if "extra ==" in line:
            continue
        name = re.split(r"[\s<>=!~\[;(]", line, maxsplit=1)[0]
        wanted = ",".join(a + b for a, b in _CLAUSE.findall(line.partition(";")[0])) or "any"
        yield _package(name, wanted)


def _package(name: str, wanted: str) -> Row:
    try:
        found = importlib.metadata.version(name)
        importlib.import_module(name.replace("-", "_"))
    except importlib.metadata.PackageNotFoundError:
        return name, "not installed", wanted, f"pip install '{name}{_version(wanted)}'", False
    except Exception as error:  # whatever a broken package raises is what has to be reported
        found = f"cannot be loaded: {type(error).__name__}"
        return name, found, wanted, f"pip install --force-reinstall {name}", False
    ok = _fits(found, wanted)
    return name, found, wanted, "" if ok else f"pip install '{name}{_version(wanted)}'", ok


def _version(wanted: str) -> str:
    return "" if wanted == "any" else wanted


def _fits(found: str, wanted: str) -> bool:
    """Whether a version lies within limits such as ">=9.7,<11"."""
    have = _numbers(found)
    checks: dict[str, Callable[[list[int], list[int]], bool]] = {
        ">=": lambda a, b: a >= b, "<=": lambda a, b: a <= b, "==": lambda a, b: a == b,
        "<": lambda a, b: a < b, ">": lambda a, b: a > b, "!=": lambda a, b: a != b,
        "~=": lambda a, b: a >= b and a[: len(b) - 1] == b[:-1],
    }  # fmt: skip
    for sign, text in _CLAUSE.findall(wanted):
        limit = _numbers(text)
        width = max(len(have), len(limit)) if sign != "~=" else len(limit)
        padded = [part + [0] * (width - len(part)) for part in (have, limit)]
        if not checks[sign](*padded):
            return False
    return True


def _numbers(version: str) -> list[int]:
    found = re.match(r"\d+(\.\d+)*", version)
    return [int(part) for part in found[0].split(".")] if found else [0]


def _tried(what: str, wanted: str, attempt: Callable[[], str], to_do: str) -> Row:
    try:
        return what, attempt(), wanted, "", True
    except ArrangeError as error:
        return what, " ".join(str(error).split()), wanted, to_do, False
    except Exception as error:  # a check must end in a row, whatever is broken
        return what, f"{type(error).__name__}: {error}", wanted, to_do, False


def _kernel() -> str:
    if importlib.util.find_spec("ipykernel") is None:
        raise ArrangeError("ipykernel is not installed")
    return f"ipykernel {importlib.metadata.version('ipykernel')}"


def _song(path: Path) -> str:
    made, _ = exercises_of(read(path), 1, "small")
    return f"{path.name}, {len(made)} exercises"


def _song_to_do(song: Any) -> str:
    if song is not None:
        return "mend the song or choose another"
    return "name the song of your workshop: arrange ready SONG"


def _sound(path: Path, folder: Path) -> str:
    song = read(path)
    target = folder / "sound.flac"
    clicks = Playback(click=True)  # the bar may be silent
    render_sound(song, target, measures=(1, 1), playback=clicks)
    return f"{target.stat().st_size // 1024} kB"


def _page(folder: Path) -> str:
    page = print_page(
        "Ready?", "A test", [{"kind": "text", "text": "It prints."}], next(iter(PAPERS))
    )
    target = folder / "page.pdf"
    target.write_bytes(page)
    return f"{target.stat().st_size // 1024} kB"


def _disk(folder: Path) -> Row:
    free = shutil.disk_usage(folder).free // 10**6
    ok = free >= _FREE_MB
    return "free disk", f"{free} MB", f"{_FREE_MB} MB", "" if ok else "delete something", ok


def _browser() -> Row:
    """A row that is only a hint: any browser will do, even one that Python does not know."""
    try:
        found = webbrowser.get().__class__.__name__
    except webbrowser.Error:
        return ("browser", "none known", "any, of the last two years",
                "open the address that JupyterLab prints in a browser by hand", False)  # fmt: skip
    return "browser", found, "any, of the last two years", "", True
