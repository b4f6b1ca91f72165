"""What was seen last, in a small file beside the log, so that a view opened again goes on there.

The file is a convenience: one that is missing, damaged, or of another song is no view at all.
"""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from arrange.errors import ArrangeError
from arrange.formats.files import whole_file
from arrange.live.choices import AS_WRITTEN, ECHOES, INVERSIONS, Choices, PartChoice
from arrange.revoicing.ideas import CAPOS
from arrange.tables.schemas import DRIVES
from arrange.tables.song import Song

_MOST_BYTES = 100_000
_TEMPOS = (1.0, 1000.0)
_OCTAVES = 2


@dataclass(frozen=True)
class KeptView:
    """The part that changes, the one beside it, and the choices."""

    part: str
    beside: str | None
    choices: Choices


def kept_path(log: Path) -> Path:
    """Return where the view of a log is kept."""
    return log.with_name(log.name.removesuffix(".txt").removesuffix(".decisions") + ".view.json")


def keep_view(path: Path, view: KeptView) -> None:
    """Write what is seen; where that cannot be, nothing is kept."""
    with contextlib.suppress(ArrangeError, OSError), whole_file(path) as draft:
        draft.write_text(json.dumps(asdict(view), indent=1), encoding="utf-8")


def kept_view(path: Path, song: Song) -> KeptView | None:
    """Return what was seen last, if that can still be seen of this song."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            return None
        view = _view(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None
    parts, sections = set(song.parts["part"]), set(song.sections["section"])
    if view.part not in parts or view.choices.section not in sections:
        return None
    beside = view.beside if view.beside in parts - {view.part} else None
    return KeptView(view.part, beside, view.choices.that_fit(song))


def _view(data: Any) -> KeptView:
    kept = data["choices"]
    choices = Choices(str(kept["section"]))
    for part, own in kept["parts"]:
        choices = choices.with_part(str(part), _checked(PartChoice(**own)))
    tempo = kept["tempo"]
    if tempo is not None:
        _check(_TEMPOS[0] <= tempo <= _TEMPOS[1])
        choices = Choices(choices.section, choices.parts, float(tempo))
    return KeptView(str(data["part"]), data["beside"], choices)


def _checked(choice: PartChoice) -> PartChoice:
    _check(type(choice.octave) is int and abs(choice.octave) <= _OCTAVES)
    _check(choice.inversion in INVERSIONS)
    _check(choice.strings == AS_WRITTEN or isinstance(choice.strings, str))
    _check(choice.capo is None or (type(choice.capo) is int and 0 <= choice.capo <= CAPOS))
    _check(choice.drive is None or choice.drive in DRIVES)
    _check(choice.echo is None or choice.echo in ECHOES)
    return choice


def _check(is_right: bool) -> None:
    if not is_right:
        raise ValueError
