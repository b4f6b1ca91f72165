"""Which two capos keep two players apart, with grips that a hand likes, over the whole song?

Every chord of the song in its order, both players holding it: for each capo and chord the
``CANDIDATES`` voicings that cost the hand least (for a part that need not play open shapes, so
many in all, spread evenly over three zones of the neck); for each two capos the best path through
the song, exact among those. Both players hold chords; their written lines count only as far as a
capo takes notes away from them (their bars, at the price ``Prices.lost``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise, product

import numpy as np
import pandas as pd

from arrange.best_path import best_path
from arrange.clashes.scene import Scene
from arrange.clashes.two_pitches import NO_ROOT
from arrange.errors import ArrangeError
from arrange.guitar.hands import Hand
from arrange.guitar.necks import Neck
from arrange.guitar.players import Player
from arrange.revoicing.candidates import OPEN_FRETS, Pool, voicing_pool
from arrange.revoicing.clash_costs import PART_TABLES, excuse, pair_costs, part_tables
from arrange.revoicing.harmonies import Harmonies, Harmony
from arrange.revoicing.ideas import CAPOS
from arrange.revoicing.preparing import player_neck, two_players
from arrange.revoicing.scope import TOP_FRET
from arrange.revoicing.taste import Taste
from arrange.revoicing.units import SILENT
from arrange.tables.song import Song
from arrange.tables.sounding import Array
from arrange.text.progress import steps

CANDIDATES = 18  # voicings of a chord and capo, divided evenly among the zones
_ZONES = (0, 5, 8, 99)  # frets from the capo at which a zone of the neck begins
_LEAST_NOTES = 3


def find_capos(
    song: Song,
    parts: Sequence[str],
    *,
    open_shapes: Iterable[str] = (),
    pinned: Mapping[str, int] | None = None,
    players: Sequence[Player] | None = None,
    taste: Taste | None = None,
) -> pd.DataFrame:
    """Return how well each pair of capos keeps two players apart over the whole song.

    Parameters
    ----------
    song : Song
    parts : two str
        Labels of parts with strings.
    open_shapes : iterable of str
        Those of the two that play open shapes only: a string rings open, and no finger is more
        than four frets above the capo.
    pinned : mapping of part to fret, optional
        Capos that stay.
    players : two Player, optional
        Who plays the parts, in their order.
    taste : Taste, optional
        By what the search decides: which intervals are low, and what each thing costs.

    Returns
    -------
    DataFrame
        A row for each pair of capos at frets 0 to 7, the best first: ``capo_a``, ``capo_b``;
        ``cost_mm``, what all chords cost together, by which the rows are ordered;
        ``separation``, semitones between the mean pitches of the two hands; ``shared``, which
        share of the range of both together they have in common; both are means over the time;
        ``open_a``, ``open_b``, share of the time on shapes with open strings;
        ``hand_a_mm``, ``hand_b_mm``, how far each hand goes along the neck; ``lost_a``,
        ``lost_b``, written notes that do not lie on the neck with that capo; ``shapes_a``,
        ``shapes_b``, what each holds for each chord, pitches low to high; ``chords``, the symbols
        of these chords. Pairs with which some chord cannot be played are left out.

    Raises
    ------
    ArrangeError
        If there are not two parts or two players, a part has no strings, a pin names neither part
        or lies off the neck, the song has no chords, or no pair can play them all.

    Examples
    --------
    >>> import arrange as ar
    >>> song = ar.read("datasets/low-water.musicxml")
    >>> guitars = ["Guitar 1", "Guitar 2"]
    >>> capos = ar.find_capos(song, guitars, pinned={"Guitar 1": 0, "Guitar 2": 3})
    >>> capos[["capo_a", "capo_b", "lost_a", "lost_b"]].iloc[0].tolist()
    [0, 3, 0, 0]
    """
    names = list(dict.fromkeys(parts))
    if len(names) != 2:
        raise ArrangeError(f"parts={tuple(parts)!r}; give the labels of two parts")
    own = two_players(players)
    necks = [player_neck(song, name, player) for name, player in zip(names, own, strict=True)]
    pins, opened = dict(pinned or {}), tuple(open_shapes)
    for option, name in [("pinned", n) for n in pins] + [("open_shapes", n) for n in opened]:
        if name not in names:
            raise ArrangeError(
                f"{option} names {name!r}, which is not among the two parts, {names}"
            )
    for name, capo in pins.items():
        if not 0 <= capo <= CAPOS:
            raise ArrangeError(f"{name}'s capo is pinned at fret {capo}; it lies at 0 to {CAPOS}")
    search = _CapoSearch(song, names, taste or Taste())
    hands_of = [player.hand if player else Hand() for player in own]
    hands = [
        {capo: search.candidates(replace(neck, capo=capo), hand, name in opened)
         for capo in ([pins[name]] if name in pins else range(CAPOS + 1))}
        for name, neck, hand in zip(names, necks, hands_of, strict=True)
    ]  # fmt: skip
    rows = []
    pairs = list(product(*hands))
    for capo_a, capo_b in steps(pairs, "Trying capos", "pair"):
        one, other = hands[0][capo_a], hands[1][capo_b]
        if all(len(held.pools[n].count) for held in (one, other) for n in range(len(held.pools))):
            row = search.best(one, other)
            if row:
                rows.append({"capo_a": capo_a, "capo_b": capo_b, **row})
    if not rows:
        raise ArrangeError(_why_none(hands, names, search, opened))
    return pd.DataFrame(rows).sort_values("cost_mm", kind="stable", ignore_index=True)


def _why_none(
    hands: Sequence[Mapping[int, _Held]],
    names: Sequence[str],
    search: _CapoSearch,
    opened: Sequence[str],
) -> str:
    for name, own in zip(names, hands, strict=True):
        for number, harmony in enumerate(search.different):
            if not any(len(held.pools[number].count) for held in own.values()):
                shape = "open shape" if name in opened else "shape"
                return f"{name} has no {shape} of {harmony.symbol} with any capo that is allowed"
    return (
        "no pair of capos can play every chord with its root, third and seventh; "
        "ask for fewer open shapes, or take a pin away"
    )


@dataclass(frozen=True, eq=False)
class _Held:
    """What one player could hold with one capo, for each different chord."""

    neck: Neck
    pools: list[Pool]


@dataclass(frozen=True, eq=False)
class _CapoSearch:
    """The chords of a song in order, and what the other parts play over them."""

    song: Song
    parts: Sequence[str]
    taste: Taste

    @cached_property
    def scene(self) -> Scene:
        return Scene(self.song)

    @cached_property
    def chords(self) -> list[tuple[Harmony, float, float]]:
        """Harmony, begin and end of each chord in a row; bar by bar where there is no symbol."""
        harmonies = Harmonies(self.song)
        chords, measures = self.song.chords, self.song.measures
        edges = {*measures["onset"], *chords["onset"], self.song.duration}
        found: list[tuple[Harmony, float, float]] = []
        for begin, end in pairwise(sorted(edges)):
            harmony = harmonies.at(float(begin))
            if harmony is None:
                continue
            if found and found[-1][0] == harmony and found[-1][2] == begin:
                found[-1] = (harmony, found[-1][1], float(end))
            else:
                found.append((harmony, float(begin), float(end)))
        if not found:
            raise ArrangeError(
                "the song has no chord symbols and none can be inferred; write them in first"
            )
        return found

    @cached_property
    def different(self) -> list[Harmony]:
        return list(dict.fromkeys(harmony for harmony, _, _ in self.chords))

    @cached_property
    def seconds(self) -> Array:
        return np.array([self.song.seconds(end) - self.song.seconds(begin)
                         for _, begin, end in self.chords])  # fmt: skip

    @cached_property
    def order(self) -> list[int]:
        """Which of the different chords each is."""
        return [self.different.index(harmony) for harmony, _, _ in self.chords]

    def candidates(self, neck: Neck, hand: Hand, is_open: bool) -> _Held:
        """The cheapest voicings of each different chord."""
        top = neck.capo + OPEN_FRETS if is_open else TOP_FRET
        pools = []
        for harmony in self.different:
            pool = voicing_pool(harmony, neck, hand, top)
            fits = pool.count >= _LEAST_NOTES
            if is_open:
                fits &= pool.opened > 0
            zones = (0, 99) if is_open else _ZONES
            above = np.maximum(pool.position - neck.capo, 0)
            chosen = [
                np.flatnonzero(fits & (above >= low) & (above < high))
                for low, high in pairwise(zones)
            ]
            most = CANDIDATES // len(chosen)
            rows = [own[np.argsort(pool.cost_mm[own], kind="stable")[:most]] for own in chosen]
            pools.append(pool.take(np.concatenate(rows)))
        return _Held(neck, pools)

    @cached_property
    def around(self) -> list[Array]:
        """What each pitch costs against the other parts in each chord, 129 a chord, mm."""
        scene = self.scene
        skipped = [scene.parts.index(part) for part in self.parts]
        table_of = part_tables(scene, self.parts[0])[scene.part]
        costs = []
        for harmony, begin, end in self.chords:
            held = np.minimum(scene.end, end) - np.maximum(scene.onset, begin)
            there = (held > 0) & ~np.isin(scene.part, skipped)
            cost = np.zeros(SILENT + 1)
            for name in PART_TABLES:
                own = there & (table_of == name)
                share = held[own] / (end - begin)
                time = np.bincount(scene.pitch[own].astype(np.int64), share, minlength=SILENT + 1)
                cost += self._table(name, harmony) @ time
            costs.append(cost * (self.song.seconds(end) - self.song.seconds(begin)))
        return costs

    def best(self, one: _Held, other: _Held) -> dict[str, object] | None:
        """What the best path of two players costs, and what it is like."""
        tables, prices = pair_costs(self.taste), self.taste.prices
        together = [
            self._together(harmony, one.pools[which], other.pools[which])
            for which, harmony in enumerate(self.different)
        ]
        own = [[_muddy(pool, tables["own"]) for pool in held.pools] for held in (one, other)]
        values, costs = [], []
        for step, which in enumerate(self.order):
            value = -self.seconds[step] * together[which]
            for axis, held in enumerate((one, other)):
                pool = held.pools[which]
                cost = self.around[step][pool.pitches].sum(axis=1) + prices.grip * pool.cost_mm
                cost = cost + self.seconds[step] * own[axis][which]
                value = value - (cost[:, None] if axis == 0 else cost[None, :])
            values.append(value)
            if step:
                before = self.order[step - 1]
                costs.append([self._moves(held.pools[before], held.pools[which])
                              for held in (one, other)])  # fmt: skip
        found = best_path(values, costs)
        if found is None:
            return None
        lost = [self._lost(part, held.neck) for part, held in zip(self.parts, (one, other),
                                                                  strict=True)]  # fmt: skip
        cost = -found.value + prices.lost * sum(bars for _, bars in lost)
        return self._row(found.choices, cost, (one, other), [notes for notes, _ in lost])

    def _table(self, name: str, harmony: Harmony) -> Array:
        """What each two pitches cost a second over a chord."""
        table = pair_costs(self.taste)[name]
        if harmony.excused_root == NO_ROOT:
            return table
        return table + excuse(self.taste.prices.rub, harmony.excused_root)

    def _together(self, harmony: Harmony, one: Pool, other: Pool) -> Array:
        """What two players' voicings of a chord cost a second; infinite if it is not named."""
        cost = np.zeros((len(one.count), len(other.count)))
        table = self._table("family", harmony)
        for first, second in product(one.pitches.T, other.pitches.T):
            cost += table[first[:, None], second]
        both = one.classes[:, None] | other.classes
        must = sum(1 << each for each in {harmony.root, *harmony.guides})
        return np.where(both & must == must, cost, np.inf)

    def _moves(self, before: Pool, after: Pool) -> Array:
        hand = np.nan_to_num(np.abs(before.place_mm[:, None] - after.place_mm))
        top = np.abs(_tops(before)[:, None] - _tops(after))
        prices = self.taste.prices
        return prices.hand * hand + prices.top * top

    def _row(
        self, choices: Array, cost: float, held: tuple[_Held, _Held], lost: Sequence[int]
    ) -> dict[str, object]:
        row: dict[str, object] = {"cost_mm": cost}
        share = self.seconds / self.seconds.sum()
        picked = [
            [(own.pools[which], int(choice)) for which, choice in zip(self.order, choices[:, axis],
                                                                      strict=True)]
            for axis, own in enumerate(held)
        ]  # fmt: skip
        means = [np.array([pool.mean[n] for pool, n in own]) for own in picked]
        row["separation"] = float(share @ np.abs(means[0] - means[1]))
        ends = [np.array([[pool.lowest[n], _tops(pool)[n]] for pool, n in own]) for own in picked]
        low, high = np.maximum(ends[0][:, 0], ends[1][:, 0]), np.minimum(ends[0][:, 1],
                                                                        ends[1][:, 1])  # fmt: skip
        whole = np.maximum(ends[0][:, 1], ends[1][:, 1]) - np.minimum(ends[0][:, 0], ends[1][:, 0])
        row["shared"] = float(share @ (np.maximum(high - low, 0) / np.maximum(whole, 1)))
        for letter, own in zip("ab", picked, strict=True):
            row[f"open_{letter}"] = float(share @ [pool.opened[n] > 0 for pool, n in own])
        for letter, own in zip("ab", picked, strict=True):
            place = np.array([pool.place_mm[n] for pool, n in own])
            row[f"hand_{letter}_mm"] = float(np.nansum(np.abs(np.diff(place))))
        row["lost_a"], row["lost_b"] = lost
        for letter, own in zip("ab", picked, strict=True):
            row[f"shapes_{letter}"] = tuple(
                tuple(pool.pitches[n, : pool.count[n]].tolist()) for pool, n in own
            )
        row["chords"] = tuple(harmony.symbol for harmony, _, _ in self.chords)
        return row

    def _lost(self, part: str, neck: Neck) -> tuple[int, float]:
        """How many written notes do not lie on a neck, and how many bars they last."""
        scene = self.scene
        own = np.flatnonzero(scene.part == scene.parts.index(part))
        known, which = np.unique(scene.pitch[own], return_inverse=True)
        gone = np.array([not neck.places(pitch) for pitch in known.tolist()], dtype=bool)[which]
        bars = (scene.end - scene.onset)[own] / scene.bar_at(scene.onset[own])
        return int(gone.sum()), float(bars[gone].sum())


def _tops(pool: Pool) -> Array:
    return pool.pitches[np.arange(len(pool.count)), pool.count - 1].astype(np.float64)


def _muddy(pool: Pool, table: Array) -> Array:
    """What each voicing costs by itself, mm a second."""
    cost = np.zeros(len(pool.count))
    for low in range(pool.pitches.shape[1]):
        for high in range(low + 1, pool.pitches.shape[1]):
            cost += table[pool.pitches[:, low], pool.pitches[:, high]]
    return cost
