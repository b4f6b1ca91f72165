"""A section as it sounds: shared out by hand, at its best, and as recorded."""

from __future__ import annotations

from arrange.errors import ArrangeError
from arrange.live.layers.results import LayersResults
from arrange.live.layers.shares import Shares
from arrange.live.moment_sound import wav_bytes
from arrange.sound import Sound, join_sounds, render_sound
from arrange.tables.song import Song

WHAT = ("mine", "optimum", "recording", "each")


def section_sound(results: LayersResults, shares: Shares, section: int, what: str) -> bytes:
    """Return a section as the bytes of a WAV file: ``mine``, ``optimum``, ``recording`` or
    ``each`` of them, one after the other.

    Raises
    ------
    ArrangeError
        If nothing sounds there.
    """
    problem = results.problem
    name = problem.recorded.sections[section]

    def recording() -> Sound:
        return render_sound(problem.recorded.song, parts=list(problem.recorded.names), section=name)

    def played(song: Song) -> Sound:
        here = song.notes[song.notes["section"] == name]
        players = [each.name for each in problem.lineup.players]
        able = [who for who in players if (here["part"] == who).any()]
        if not able:
            raise ArrangeError(f"nobody plays in {name}: give somebody a layer first")
        return render_sound(song, parts=able, section=name)

    ways = {
        "mine": lambda: played(results.song(shares)),
        "optimum": lambda: played(results.best.song),
        "recording": recording,
    }
    if what == "each":
        return wav_bytes(join_sounds(*(make() for make in ways.values())))
    return wav_bytes(ways[what]())
