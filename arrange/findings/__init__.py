"""What can be done with findings: list the notes of one, end it, group similar ones, waive what is
intended, and say what could not be checked.

``finding_notes``
    the notes that make a finding, with their beat
``smallest_moves``, ``apply_move``
    the changes by which one part alone could end it: a hint, not a search
``group_findings``
    similar findings as one row, so that they fit on a page
``Waiver``, ``waive``, ``waive_what_is_there``
    what is intended, with the reason
``not_asked``
    what could not be checked in a song, and why
"""

from arrange.findings.finding_notes import finding_notes
from arrange.findings.grouping import group_findings
from arrange.findings.moves import apply_move, smallest_move, smallest_moves
from arrange.findings.unanswered import not_asked
from arrange.findings.waivers import (
    Waiver,
    parse_waiver,
    read_waivers,
    waive,
    waive_what_is_there,
    waivers_table,
)

__all__ = [
    "Waiver",
    "apply_move",
    "finding_notes",
    "group_findings",
    "not_asked",
    "parse_waiver",
    "read_waivers",
    "smallest_move",
    "smallest_moves",
    "waive",
    "waive_what_is_there",
    "waivers_table",
]
