"""Many recorded layers, few players: who takes what, section by section, and why.

``layer_roles`` tells what each layer is there for; ``condense`` shares the layers out. What a set
of layers is worth stands in ``worth``, what each term weighs in ``weights``, what a player can hold
in ``options`` and ``playing``, the search in ``search``, the reasons in ``reasons``.

The form of the worth (what a phrase serves in the whole, cover of chords and attacks, playability
as a hard rule) follows J.-L. Huang, S.-C. Chiu and M.-K. Shan, Towards an automatic music
arrangement framework using score reduction, ACM TOMCCAP 8(1) (2012), art. 8, and E. Nakamura and
K. Yoshii, Statistical piano reduction controlling performance difficulty, APSIPA Trans. SIP 7
(2018), e13 (both by their abstracts); all figures are ours.
"""

from __future__ import annotations

from arrange.condensing.condensation import Condensation, condense
from arrange.condensing.layers import layer_roles
from arrange.condensing.weights import ROLES, Weights

__all__ = ["ROLES", "Condensation", "Weights", "condense", "layer_roles"]
