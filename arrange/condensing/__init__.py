"""Many recorded layers, few players: who takes what, section by section, and why.

``layer_roles`` says what each layer is there for; ``condense`` shares the layers out. In the order
of the work: the layers as columns (``recorded_layers``), their roles (``estimated_roles``, by
``line_figures`` and ``followed_lines``), who plays and what is decided (``lineup``,
``pins_and_bans``), what layers are worth together in a section (``section_worth``), what a player
can do there, at what cost, and what a hand can hold (``player_options``, ``player_costs``,
``held_together``), all of it as one ``problem``; when a capo can be moved (``capo_changes``) and
what returns cost (``returns``, ``played_energy``); then the search (``group_search``,
``plan_search``), the best plan that can be fingered (``playable_plan``, ``fingered_lines``), what
else could be chosen (``other_choices``), and the answer (``condensed_song``, ``reasons``).
``plan_by_hand`` weighs in the same way what somebody has shared out by hand.

The form of the worth (what a phrase serves in the whole, cover of chords and attacks, playability
as a hard rule) follows J.-L. Huang, S.-C. Chiu and M.-K. Shan, Towards an automatic music
arrangement framework using score reduction, ACM TOMCCAP 8(1) (2012), art. 8, and E. Nakamura and
K. Yoshii, Statistical piano reduction controlling performance difficulty, APSIPA Trans. SIP 7
(2018), e13 (both by their abstracts); all figures are ours.
"""

from __future__ import annotations

from arrange.condensing.condensation import Condensation, condense
from arrange.condensing.estimated_roles import layer_roles
from arrange.condensing.roles import ROLES
from arrange.condensing.weights import Weights

__all__ = ["ROLES", "Condensation", "Weights", "condense", "layer_roles"]
