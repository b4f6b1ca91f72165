"""By what a re-voicing is judged: from when on something is a finding, and what each thing costs.

All costs are in one coin: millimetres that a fretting hand would rather go. A finding that has
just reached its limit is worth some 50 mm of way along the neck, about three frets in first
position. All prices are ours, to be moved by ear: nobody has published any.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from arrange.clashes import Limits
from arrange.clashes.limits import DEFAULT_LIMITS


@dataclass(frozen=True)
class Prices:
    """What each thing costs in a re-voicing, in mm. A lower price lets more of it happen.

    The prices down to `grip` count while voicings are chosen; `finding`, `brought`, `guide`,
    `shifted` and `capo` when proposals are ranked; the others in both.

    Parameters
    ----------
    rub : float
        A weighted second of a minor second or ninth against another part.
    mud : float
        A semitone below a low interval limit, for a second.
    rough : float
        A second of two tones of roughness 1 (Hutchinson and Knopoff's scale).
    same_register : float
        A second on the very pitch of a part of another player; less to either side of it, nothing
        from a fifth on.
    crossing : float
        A semitone on the wrong side of the other part's top note, for a second.
    voice : float
        A second within a minor third of the sung note.
    bass : float
        A second under the bass or up to a third above it.
    grip : float
        A mm of what the grip costs the hand.
    finding : float
        A finding of severity 1 that is left.
    brought : float
        A finding of severity 1 that was not there before, on top.
    guide : float
        A third or seventh that no part sounds any longer.
    hand : float
        A mm of way along the neck.
    top : float
        A semitone that the line on top moves.
    written : float
        A semitone away from what was written, for a bar; the mean of its notes.
    lost : float
        A bar wholly left out.
    shifted : float
        A bar of which every note is moved in time.
    capo : float
        A new capo, for which the whole part is fingered anew.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> free = ar.Taste(prices=ar.Prices(lost=0))
    >>> scope = ar.Scope(ideas=["lay out"])
    >>> best = ar.revoice(song, "Guitar 1", "Chorus 1", scope=scope, taste=free)[0]
    >>> best.notes_lost, best.costs["lost"]
    (154, 0.0)
    """

    rub: float = 120.0
    mud: float = 25.0
    rough: float = 100.0
    same_register: float = 25.0
    crossing: float = 3.5
    voice: float = 40.0
    bass: float = 25.0
    grip: float = 0.5
    finding: float = 320.0
    brought: float = 160.0
    guide: float = 150.0
    hand: float = 0.5
    top: float = 2.0
    written: float = 3.0
    lost: float = 120.0
    shifted: float = 60.0
    capo: float = 300.0


@dataclass(frozen=True)
class Taste:
    """By what a re-voicing is judged.

    Parameters
    ----------
    limits : Limits
        From which value on something is a finding; the search avoids what these limits mean.
    prices : Prices
        What each thing costs.

    Examples
    --------
    >>> import arrange as ar
    >>> strict = ar.Taste(prices=ar.Prices(finding=800))
    >>> strict.prices.finding, strict.prices.lost
    (800, 120.0)
    """

    limits: Limits = DEFAULT_LIMITS
    prices: Prices = field(default_factory=Prices)
