"""The order of a set with the fewest changes of tuning and capo, exactly.

Held and Karp (1962) find the shortest way through a number of places by the best way through each
subset of them that ends at each place. Here the state at the end of a subset is not its last song
alone but what every player has in hand by then, since a player may rest.

Songs that need the same setup from every player are kept together. This loses nothing: retuned
strings, semitones and capo moves obey the triangle inequality, so to play such a song right after a
similar one costs nothing, and to leave it out elsewhere cannot cost more. So the work grows with
the number of different setups, not with that of songs.

References
----------
M. Held and R. M. Karp (1962), A dynamic programming approach to sequencing problems, Journal of
the Society for Industrial and Applied Mathematics 10(1), 196-210 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

from arrange.errors import ArrangeError
from arrange.songbook.book import Songbook, check_name
from arrange.songbook.setup_changes import NeckKey, Setup, necks_by_song, retuned

MOST_SETUPS = 12  # took 1 s for two players who always play, 6 s for five who come and go
_UNIT = 1_000_000  # a change, in semitones: fewer changes first, then fewer semitones

Necks = dict[NeckKey, tuple[Setup, Setup]]
# What each neck is set to: the number of its setup, -1 before it is played.
State = tuple[int, ...]


def order_by_changes(
    book: Songbook, *, first: str | None = None, last: str | None = None
) -> Songbook:
    """Return the book in the order with the fewest retuned strings and capo moves.

    Among orders with equally few changes, those that move strings by fewer semitones come first; an
    order that is already the best is kept. A moved capo counts as much as a retuned string (our
    choice). The search is exact: no other order has fewer.

    Parameters
    ----------
    book : Songbook
    first, last : str, optional
        Songs that the set must begin and end with.

    Raises
    ------
    ArrangeError
        If a name is not in the book, both are one song, or the songs ask for more than 12
        different setups: then order a part of the set (``book.in_order``).

    Examples
    --------
    >>> import arrange as ar
    >>> book = ar.read_songbook("datasets/harbour-set")
    >>> ordered = ar.order_by_changes(book, last="Slack Tide")
    >>> list(ordered.songs)
    ['Salt on the Step', 'Rope and Lantern', 'Gulls over the Roofs', 'Slack Tide']
    >>> [int(ar.changes_between(each)["changes"].sum()) for each in (book, ordered)]
    [9, 8]
    """
    for name in (first, last):
        if name is not None:
            check_name(book, name)
    if first is not None and first == last and len(book.studies) > 1:
        raise ArrangeError(f"{first!r} cannot be first and last; name two songs")
    necks = necks_by_song(book)
    groups = _groups(necks, first, last)
    if len(groups) > MOST_SETUPS:
        raise ArrangeError(
            f"these songs ask for {len(groups)} different setups, and up to {MOST_SETUPS} can be "
            "ordered exactly; order the halves of the set one by one, with book.in_order(names)"
        )
    path = _best_path([necks[group[0]] for group in groups], groups, first, last)
    best = [name for number in path for name in groups[number]]
    given = list(book.studies)
    is_allowed = not given or (first in (None, given[0]) and last in (None, given[-1]))
    is_as_good = is_allowed and _total(necks, given) <= _total(necks, best)
    return book if is_as_good else book.in_order(best)


def _total(necks: dict[str, Necks], names: Sequence[str]) -> int:
    """The effort of an order of songs."""
    now: dict[NeckKey, Setup] = {}
    total = 0
    for name in names:
        for key, (first, last) in necks[name].items():
            total += _effort(now.get(key, first), first)
            now[key] = last
    return total


def _groups(necks: dict[str, Necks], first: str | None, last: str | None) -> list[tuple[str, ...]]:
    """Groups of songs with the same setups for everybody; a first or last song stands alone."""
    groups: dict[object, list[str]] = {}
    for name, own in necks.items():
        asked = frozenset(
            (key, *((each.tuning, each.capo) for each in setups)) for key, setups in own.items()
        )
        # A song in which somebody changes costs something even behind a song like it.
        is_still = all(_effort(one, other) == 0 for one, other in own.values())
        is_alone = name in (first, last) or not is_still
        groups.setdefault(name if is_alone else asked, []).append(name)
    return [tuple(names) for names in groups.values()]


def _effort(one: Setup, other: Setup) -> int:
    strings = retuned(one, other)
    moves = len(strings) + (one.capo != other.capo)
    return moves * _UNIT + sum(abs(new - old) for _, old, new in strings)


def _best_path(
    asked: Sequence[Necks],
    groups: Sequence[tuple[str, ...]],
    first: str | None,
    last: str | None,
) -> tuple[int, ...]:
    """The cheapest order of the groups; of equal ones the one nearest to the order given."""
    count = len(groups)
    efforts, steps = _numbered(asked)
    begins = [number for number in range(count) if first in (None, groups[number][0])]
    ends = {number for number in range(count) if last in (None, groups[number][0])}
    nobody: State = (-1,) * len(efforts)
    # For each state, by the set of groups before it: the least cost and the way there.
    layer: dict[tuple[int, State], tuple[int, tuple[int, ...]]] = {(0, nobody): (0, ())}
    for place in range(count):
        following: dict[tuple[int, State], tuple[int, tuple[int, ...]]] = {}
        choices = begins if place == 0 else range(count)
        for (behind, state), (cost, path) in layer.items():
            for number in choices:
                is_early = last is not None and number in ends and place < count - 1
                if behind >> number & 1 or is_early:
                    continue
                now, more = list(state), 0
                for neck, enter, leave in steps[number]:
                    if now[neck] >= 0:
                        more += efforts[neck][now[neck]][enter]
                    now[neck] = leave
                key, way = (behind | 1 << number, tuple(now)), (cost + more, (*path, number))
                if key not in following or way < following[key]:
                    following[key] = way
        layer = following
    return min(layer.values())[1]


def _numbered(
    asked: Sequence[Necks],
) -> tuple[list[list[list[int]]], list[list[tuple[int, int, int]]]]:
    """Setups as numbers: for each neck the effort from each to each; for each group its steps.

    A step is a neck, the setup that it must have, and the one that it is left with.
    """
    keys = list(dict.fromkeys(key for own in asked for key in own))
    known: list[dict[object, Setup]] = [{} for _ in keys]
    steps = []
    for own in asked:
        now = []
        for key, setups in own.items():
            neck = keys.index(key)
            for each in setups:
                known[neck].setdefault((each.tuning, each.capo), each)
            setups_known = list(known[neck])
            enter, leave = (setups_known.index((each.tuning, each.capo)) for each in setups)
            now.append((neck, enter, leave))
        steps.append(now)
    efforts = [
        [[_effort(one, other) for other in own.values()] for one in own.values()] for own in known
    ]
    return efforts, steps
