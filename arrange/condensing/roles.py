"""The roles that a recorded layer can have: what each one means."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Role:
    """A role of a recorded layer.

    Parameters
    ----------
    meaning : str
        In words, for whoever corrects a role.
    is_featured : bool
        Listeners know the song by such a layer.
    """

    meaning: str
    is_featured: bool = False


# The names are those of arranging and mixing handbooks (common practice). `Weights` has a weight
# for each.
ROLES = {
    "lead": Role("a line that moves in single notes, on top", is_featured=True),
    "hook": Role("a short figure in single notes that comes back", is_featured=True),
    "rhythm": Role("chords or picking that carry the song on"),
    "fill": Role("answers and echo figures: there for little of its sections, or with gaps"),
    "pad": Role("held, with few attacks"),
    "double": Role("another layer's line in unison or octaves"),
}
