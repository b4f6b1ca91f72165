"""Every kind of finding, one row each. Everything that the kit knows about a kind is here.

A new kind is a finder in the file of its family and a row in ``KINDS``; pictures, reports, moves,
re-voicing, live views, songbooks and exercises read the row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from arrange.clashes.departures import find_grid, find_register, find_scale
from arrange.clashes.harmony import find_outside, find_thirds
from arrange.clashes.intervals import find_mud, find_rubs
from arrange.clashes.limits import Limits
from arrange.clashes.lines import find_crossings, find_crowding, find_doublings
from arrange.clashes.rhythm import find_busy, find_fusing, find_near
from arrange.clashes.scene import Clash, Scene
from arrange.clashes.sonority import find_drive, find_masking, find_roughness
from arrange.clashes.voice_and_bass import find_in_bass, find_in_voice

GROUPS = {
    "harmony": "what notes do to each other",
    "place": "who is in whose place",
    "rhythm": "what attacks do to each other",
}
MOVES = ("step", "octave", "shift")
EVIDENCE = ("distance", "interval", "lowest note", "chord", "attacks", "amplifier")


@dataclass(frozen=True)
class Kind:
    """One kind of finding.

    Parameters
    ----------
    find : function of a Scene and Limits
        Gives a list of ``Clash``, each of this kind.
    group : str
        A key of ``GROUPS``.
    lane : str
        What it says, in a few words, for the side of a picture.
    question : str
        What an exercise asks after "In which measure"; ``{parts}`` stands for the parts.
    meaning : str
        What it says, in a sentence without its full stop.
    noun : str
        What ends when it is mended.
    limit : str
        The field of ``Limits`` that its value is compared with.
    source : str
        A key of the bibliography.
    parts : int
        The least number of parts that it takes, 1 or 2.
    moves : tuple of str
        What may end it besides leaving notes out, of ``MOVES``: a few semitones, an octave, onto
        the other part's attacks.
    moves_one_pitch : bool
        Whether a move takes one pitch of a part at a time, else all its notes at once.
    is_of_attacks : bool
        Whether its notes count by their attacks, else by how long they sound.
    is_of_lines : bool
        Whether it goes on as long as a line does: notes more than two bars away may decide on it.
    is_of_the_song : bool
        Whether the whole song decides on it: it is a departure from what the song does elsewhere,
        and cannot be looked for in a passage.
    others_matter : bool
        Whether notes of parts that are not named may decide on it.
    pitches_are_ends : bool
        Whether its ``pitches`` are the ends of a register, else the notes themselves.
    family : str
        The family that one of its parts must have; empty for none.
    evidence : str
        What shows that it is not there, of ``EVIDENCE``.
    can_be_heard : bool
        Whether a listener hears which of two takes has it and which has not.
    may_be_meant : bool
        Whether it is as often meant as not: no reason to keep two layers apart.
    comes_with_a_double : bool
        Whether two parts that play the same line have it for that reason alone.
    one_note_ends_it : bool
        Whether moving a single note may end it.
    notes_can_be_named : bool
        Whether a player can say which notes make it.
    trait : str
        What a song does that has it throughout; ``{parts}`` stands for the parts. Empty where no
        song can.
    """

    find: Callable[[Scene, Limits], list[Clash]]
    group: str
    lane: str
    question: str
    meaning: str
    noun: str
    limit: str
    source: str
    parts: int = 2
    moves: tuple[str, ...] = ()
    moves_one_pitch: bool = False
    is_of_attacks: bool = False
    is_of_lines: bool = False
    is_of_the_song: bool = False
    others_matter: bool = False
    pitches_are_ends: bool = False
    family: str = ""
    evidence: str = "distance"
    can_be_heard: bool = False
    may_be_meant: bool = False
    comes_with_a_double: bool = False
    one_note_ends_it: bool = False
    notes_can_be_named: bool = False
    trait: str = ""


# In the order in which they are drawn and listed.
KINDS: dict[str, Kind] = {
    "rub": Kind(
        find=find_rubs,
        group="harmony",
        lane="a semitone apart",
        question="do {parts} rub",
        meaning="two parts hold a minor second or a minor ninth",
        noun="rub",
        limit="rub",
        source="minor-ninth rule",
        moves=("step", "octave"),
        others_matter=True,
        evidence="interval",
        can_be_heard=True,
        one_note_ends_it=True,
        notes_can_be_named=True,
        trait="{parts} hold semitones against each other",
    ),
    "mud": Kind(
        find=find_mud,
        group="harmony",
        lane="too close, too low",
        question="does an interval of {parts} stand so low that it tends to turn muddy",
        meaning="an interval stands lower than it tends to stay clear",
        noun="mud",
        limit="mud",
        source="low interval limits",
        parts=1,
        moves=("step", "octave"),
        moves_one_pitch=True,
        others_matter=True,
        evidence="lowest note",
        can_be_heard=True,
        one_note_ends_it=True,
        notes_can_be_named=True,
        trait="intervals of {parts} stand low",
    ),
    "roughness": Kind(
        find=find_roughness,
        group="harmony",
        lane="rough together",
        question="are {parts} together rougher than each alone",
        meaning="two parts together are rougher than each alone",
        noun="roughness",
        limit="roughness",
        source="roughness",
        moves=("octave",),
        others_matter=True,
        pitches_are_ends=True,
        trait="{parts} are rough together",
    ),
    "crowding": Kind(
        find=find_crowding,
        group="place",
        lane="same register",
        question="do {parts} crowd each other in one register",
        meaning="two parts live in the same register through a section",
        noun="crowding",
        limit="crowding",
        source="overlap coefficient",
        moves=("octave",),
        pitches_are_ends=True,
        comes_with_a_double=True,
        trait="{parts} share a register",
    ),
    "masking": Kind(
        find=find_masking,
        group="place",
        lane="one hides the other",
        question="does one of {parts} hide the other",
        meaning="one part hides much of another's sound",
        noun="masking",
        limit="masking",
        source="masking",
        moves=("octave",),
        others_matter=True,
        pitches_are_ends=True,
        comes_with_a_double=True,
        trait="one of {parts} hides the other",
    ),
    "crossing": Kind(
        find=find_crossings,
        group="place",
        lane="upper goes below",
        question="do {parts} cross, so that the upper one goes below the other",
        meaning="the part that should be on top goes below the other",
        noun="crossing",
        limit="crossing",
        source="part-crossing",
        moves=("octave",),
        is_of_lines=True,
        pitches_are_ends=True,
        trait="{parts} cross",
    ),
    "doubling": Kind(
        find=find_doublings,
        group="place",
        lane="same line twice",
        question="do {parts} play the same line",
        meaning="two parts play the same line",
        noun="doubling",
        limit="doubling",
        source="doubling",
        may_be_meant=True,
        is_of_attacks=True,
        is_of_lines=True,
        evidence="attacks",
        trait="{parts} play the same line",
    ),
    "third": Kind(
        find=find_thirds,
        group="harmony",
        lane="thirds disagree",
        question="do {parts} disagree about the third of the chord",
        meaning="one part has the major third, the other the minor or the suspended fourth",
        noun="clash of thirds",
        limit="third",
        source="thirds and suspensions",
        moves=("step",),
        evidence="chord",
        can_be_heard=True,
        one_note_ends_it=True,
        notes_can_be_named=True,
        trait="{parts} disagree about the thirds",
    ),
    "outside": Kind(
        find=find_outside,
        group="harmony",
        lane="outside the chord",
        question=(
            "does {parts} hold a note outside the chord symbol, or a semitone above one of its "
            "notes"
        ),
        meaning="a note is held outside the chord symbol, or a semitone above one of its notes",
        noun="clash with the chord",
        limit="outside",
        source="chord scales",
        parts=1,
        moves=("step",),
        evidence="chord",
        can_be_heard=True,
        one_note_ends_it=True,
        notes_can_be_named=True,
        trait="notes of {parts} stand outside the chord symbols",
    ),
    "drive": Kind(
        find=find_drive,
        group="harmony",
        lane="rough under drive",
        question="does {parts} hold an interval that its amplifier makes rough",
        meaning="an overdriven part holds an interval that its amplifier makes rough",
        noun="roughness under drive",
        limit="drive",
        source="drive",
        parts=1,
        moves=("step", "octave"),
        moves_one_pitch=True,
        others_matter=True,
        evidence="amplifier",
        can_be_heard=True,
        trait="the amplifier of {parts} makes intervals rough",
    ),
    "near": Kind(
        find=find_near,
        group="rhythm",
        lane="attacks just miss",
        question="do attacks of {parts} just miss each other",
        meaning="attacks that are meant together just miss",
        noun="near miss",
        limit="near",
        source="onset asynchrony",
        moves=("shift",),
        is_of_attacks=True,
        evidence="attacks",
        trait="attacks of {parts} just miss each other",
    ),
    "busy": Kind(
        find=find_busy,
        group="rhythm",
        lane="too many attacks",
        question="do {parts} attack more often together than the ear sorts out",
        meaning="more attacks from two parts at once than the ear sorts out",
        noun="bustle",
        limit="busy",
        source="density of attacks",
        is_of_attacks=True,
        evidence="attacks",
        trait="{parts} attack more often together than the ear sorts out",
    ),
    "fusing": Kind(
        find=find_fusing,
        group="rhythm",
        lane="two lines sound as one",
        question="do the lines of {parts} fuse into one",
        meaning="two picked lines that the ear takes for one",
        noun="fusing",
        limit="fusing",
        source="streaming",
        moves=("octave",),
        is_of_attacks=True,
        evidence="attacks",
        comes_with_a_double=True,
        trait="the lines of {parts} fuse into one",
    ),
    "voice": Kind(
        find=find_in_voice,
        group="place",
        lane="in the singer's way",
        question="do {parts} share the register that is being sung",
        meaning="a part stays around the note that is being sung",
        noun="crowd around the voice",
        limit="voice",
        source="room for the voice",
        moves=("octave",),
        pitches_are_ends=True,
        family="voice",
        trait="{parts} share the register that is being sung",
    ),
    "bass": Kind(
        find=find_in_bass,
        group="place",
        lane="in the bass's way",
        question="do {parts} meet at the bottom, so that one goes under the bass or right above it",
        meaning="a part goes under the bass, or right above it",
        noun="crowd at the bottom",
        limit="bass",
        source="room for the bass",
        moves=("step", "octave"),
        pitches_are_ends=True,
        family="bass",
        one_note_ends_it=True,
        trait="{parts} meet at the bottom",
    ),
    "register": Kind(
        find=find_register,
        group="place",
        lane="leaves its register",
        question="does {parts} leave the register in which it lives in the rest of the song",
        meaning="a part leaves its usual register for a while",
        noun="departure from the register",
        limit="register",
        source="departures",
        parts=1,
        moves=("octave",),
        is_of_the_song=True,
        others_matter=True,
        pitches_are_ends=True,
        may_be_meant=True,
    ),
    "scale": Kind(
        find=find_scale,
        group="harmony",
        lane="off the others' scale",
        question="does {parts} play outside the scale of the others",
        meaning="a part plays for a while outside the scale of the others",
        noun="departure from the scale",
        limit="scale",
        source="departures",
        parts=1,
        moves=("step",),
        is_of_the_song=True,
        others_matter=True,
    ),
    "grid": Kind(
        find=find_grid,
        group="rhythm",
        lane="off the song's grid",
        question="do attacks of {parts} miss those of the others, unlike in the rest of the song",
        meaning="the attacks of a part miss the others' for a while",
        noun="departure from the grid",
        limit="grid",
        source="departures",
        parts=1,
        is_of_attacks=True,
        is_of_the_song=True,
        others_matter=True,
        evidence="attacks",
    ),
}
