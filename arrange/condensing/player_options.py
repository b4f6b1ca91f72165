"""What one player can do in a section: lay out, take one layer, or merge two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from arrange.condensing.section_worth import SectionWorth
from arrange.tables.sounding import Array

Option = tuple[int, ...]  # the layers that one player plays together
LAY_OUT: Option = ()


@dataclass(frozen=True)
class SectionOptions:
    """What one player can do in a section.

    Parameters
    ----------
    options : tuple of Option
        Laying out first, then single layers and pairs, each in order of their names.
    masks : array of int
        Their layers as bits, as in the section's worth.
    """

    options: tuple[Option, ...]
    masks: Array


def section_options(worth: SectionWorth) -> SectionOptions:
    """Return the options in a section, of the layers that are kept.

    Layers that play exactly the same are not merged.
    """
    of = worth.class_of
    pairs = [pair for pair in combinations(worth.kept, 2) if of[pair[0]] != of[pair[1]]]
    options = (LAY_OUT, *((layer,) for layer in worth.kept), *pairs)
    masks = [worth.mask(option) for option in options]
    return SectionOptions(options, np.array(masks, dtype=np.int64))


def layer_names(option: Option, names: Sequence[str]) -> tuple[str, ...]:
    """Return the names of an option's layers."""
    return tuple(names[layer] for layer in option)
