"""The arrangement, rebuilt from the original song and its log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from arrange.decisions.decision import Decision
from arrange.decisions.decision_log import DecisionLog
from arrange.decisions.note_changes import apply_change, passage_fingerprint
from arrange.errors import ArrangeError
from arrange.tables.song import Song
from arrange.text.words import listed, measures_words


@dataclass(frozen=True)
class Rebuilt:
    """A song built again from its source and its log.

    Parameters
    ----------
    song : Song
    applied : tuple of Decision
    stale : tuple of (Decision, str)
        Decisions that were not applied, since their passage has changed, and what is known of it.
    """

    song: Song
    applied: tuple[Decision, ...]
    stale: tuple[tuple[Decision, str], ...]


def rebuild(song: Song, log: DecisionLog) -> Rebuilt:
    """Return the song with all agreed changes made, one after the other.

    A decision whose passage is not as it was when it was decided is stale: it is reported and not
    applied; so is one that cannot be made on this song. One without a change is stale if its
    passage equals neither that of the original song nor that at this point of the log.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> built = ar.rebuild(song, ar.read_decisions("datasets/low-water-agreed.decisions.txt"))
    >>> len(built.applied), len(built.stale)
    (1, 0)
    """
    now, applied, stale = song, [], []
    for decision in log.decisions:
        if decision.status != "agreed":
            continue
        reason = _why_stale(decision, (now,) if decision.change else (now, song))
        if not reason and decision.change is not None:
            try:
                now = apply_change(now, decision.change)
            except ArrangeError as error:
                reason = f"it cannot be made on this song: {error}"
        if reason:
            stale.append((decision, reason))
        else:
            applied.append(decision)
    return Rebuilt(now, tuple(applied), tuple(stale))


def _why_stale(decision: Decision, songs: Sequence[Song]) -> str:
    """What has changed in a decision's passage; empty if nothing has, or nothing is known."""
    if not decision.passage:
        return ""
    removed = decision.removed
    for song in songs:
        if passage_fingerprint(song, decision.spans, removed) == decision.passage:
            return ""
    song = songs[0]
    gone = {part for part, _, _ in decision.spans} - set(song.parts["part"])
    if gone and not decision.change:
        return f"there is no part {min(gone)!r} any more"
    last = int(song.measures["measure"].iloc[-1])
    if any(end > last for _, _, end in decision.spans):
        return f"the song has {last} measures now"
    where = (f"{part} in {measures_words(first, end)}" for part, first, end in decision.spans)
    return f"the notes, chords or tuning have changed since: {listed(where)}"
