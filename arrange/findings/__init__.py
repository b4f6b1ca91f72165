"""What one does with findings: see the notes of one, end it, group those that are alike, waive
what is meant, and say what could not be checked.

``finding_notes``
    the notes that make a finding, with their beat
``smallest_moves``, ``apply_move``
    what each part alone could do to end it: a hint, not a search
``group_findings``
    a page instead of a phone book
``Waiver``, ``waive``
    what is meant to be so, with the reason
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
    "waivers_table",
]
