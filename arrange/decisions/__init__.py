"""The decision log: what was decided for a song, where and why, in a text file beside it.

Entries are only added to the file. Two people may write at once, since each entry is written whole
under a lock; a decision that was recorded stays, whatever happens to a later write. Two copies
merge by keeping the entries of both. What a decision changes is kept with it, so that the
arrangement can be built again from the original song and its log.
"""

from arrange.decisions.decision import Decision
from arrange.decisions.decision_log import (
    DecisionLog,
    decisions_path,
    decisions_so_far,
    is_song_path,
    read_decisions,
    waivers_of,
)
from arrange.decisions.rebuilding import Rebuilt, rebuild
from arrange.decisions.recording import change_status, record_decision

__all__ = [
    "Decision",
    "DecisionLog",
    "Rebuilt",
    "change_status",
    "decisions_path",
    "decisions_so_far",
    "is_song_path",
    "read_decisions",
    "rebuild",
    "record_decision",
    "waivers_of",
]
