"""Condensing computed a second, slow and obvious way: every possible plan, one after the other.

The value of a set of layers is added up note by note and slice by slice from its definition;
``finger_part`` decides what can be played. Energy, findings and roles are taken from the package.
"""

# ruff: noqa: B019 -- a few small songs are held for the length of a test run
from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise, product

import numpy as np

from arrange.clashes import find_clashes
from arrange.condensing import layer_roles
from arrange.guitar.fingering import finger_part
from arrange.quantities.texture import song_energy

DRIVES = ["clean", "edge", "overdriven", "distorted"]


class Slow:
    """A song with layers, and their values."""

    def __init__(self, song, weights):
        self.song, self.weights = song, weights
        self.names = sorted(song.parts.loc[song.parts["family"] == "guitar", "part"])
        self.roles = layer_roles(song).set_index("layer")
        self.sections = song.sections["section"].tolist()
        self.notes = {
            (name, section): [
                (n.onset, n.onset + n.duration, n.pitch)
                for n in song.notes.itertuples()
                if n.part == name and n.section == section
            ]
            for name in self.names
            for section in self.sections
        }
        self.chords = list(song.chords.itertuples())
        self.findings = find_clashes(song)
        self.drive = dict(zip(song.parts["part"], song.parts["drive"], strict=True))

    @cache
    def ends(self, section):
        row = self.song.sections.set_index("section").loc[section]
        return row.onset, row.onset + row.duration

    @cache
    def playing(self, section):
        return [name for name in self.names if self.notes[name, section]]

    @cache
    def seconds(self, begin, end):
        return self.song.seconds(end) - self.song.seconds(begin)

    @cache
    def same(self, one, other, section):
        return sorted(self.notes[one, section]) == sorted(self.notes[other, section])

    @cache
    def layer_worth(self, name, section):
        """Return what a second of a layer is worth; among layers that play the same, the best
        one's.
        """
        return max(
            getattr(self.weights, self.roles.role[other]) * (1 + self.roles.salience[other]) / 2
            for other in self.playing(section)
            if self.same(name, other, section)
        )

    @cache
    def slices(self, section):
        _, last = self.ends(section)
        cuts = set(self.song.chords["onset"])
        for name in self.playing(section):
            for onset, end, _ in self.notes[name, section]:
                cuts |= {onset, min(end, last)}
        first, _ = self.ends(section)
        cuts = sorted(cut for cut in cuts if first <= cut <= last)
        return list(pairwise(cuts))

    @cache
    def sounding(self, name, section, begin):
        return [note for note in self.notes[name, section] if note[0] <= begin < note[1]]

    def line(self, chosen, section):
        """Return the line's term: for each note the greatest worth that a chosen layer gives it."""
        total = 0.0
        share = self.weights.octave
        for octave, part in ((12, 1 - share), (128, share)):
            best = {}
            for name in chosen:
                own = {}
                for begin, end in self.slices(section):
                    now = self.sounding(name, section, begin)
                    for onset, _, pitch in now:
                        key = onset, pitch % octave
                        own[key] = own.get(key, 0.0) + self.seconds(begin, end) / len(now)
                for key, amount in own.items():
                    amount *= self.layer_worth(name, section)
                    best[key] = max(best.get(key, 0.0), amount)
            total += part * sum(best.values())
        return total * self.weights.line

    def member_weight(self, above, has_bass):
        w = self.weights
        return {0: w.root_over_bass if has_bass else w.root, 3: w.third, 4: w.third, 7: w.fifth,
                10: w.seventh, 11: w.seventh}.get(above, w.other)  # fmt: skip

    @cache
    def has_bass(self, section):
        basses = set(self.song.parts.loc[self.song.parts["family"] == "bass", "part"])
        here = self.song.notes[self.song.notes["section"] == section]
        return bool(here["part"].isin(basses).any())

    def harmony(self, chosen, section):
        total = 0.0
        has_bass = self.has_bass(section)
        for begin, end in self.slices(section):
            of_all = self.classes_at(self.playing(section), section, begin)
            of_own = self.classes_at(chosen, section, begin)
            chord = [
                c
                for c in self.chords
                if c.onset <= begin < c.onset + c.duration and len(c.pitch_classes)
            ]
            if chord:
                members = {
                    pc: self.member_weight((pc - chord[0].root) % 12, has_bass)
                    for pc in chord[0].pitch_classes
                }
            else:
                members = dict.fromkeys(of_all, 1.0)
            if members:
                own = sum(value for pc, value in members.items() if pc in of_own)
                total += self.seconds(begin, end) * own / sum(members.values())
        return total * self.weights.harmony

    def classes_at(self, names, section, begin):
        return {n[2] % 12 for name in names for n in self.sounding(name, section, begin)}

    def attacks(self, chosen, section):
        every = {n[0] for name in self.playing(section) for n in self.notes[name, section]}
        own = {n[0] for name in chosen for n in self.notes[name, section]}
        if not every:
            return 0.0
        return self.weights.attacks * self.seconds(*self.ends(section)) * len(own) / len(every)

    def top(self, chosen, section):
        total = 0.0
        for begin, end in self.slices(section):
            every = [n[2] for name in self.playing(section)
                     for n in self.sounding(name, section, begin)]  # fmt: skip
            own = [n[2] for name in chosen for n in self.sounding(name, section, begin)]
            if every and own and max(own) == max(every):
                total += self.seconds(begin, end)
        return total * self.weights.top

    @cache
    def sounds(self, name, section):
        return sum(
            self.seconds(begin, end)
            for begin, end in self.slices(section)
            if self.sounding(name, section, begin)
        )

    def different(self, chosen, section):
        """Return one layer of each group that plays the same."""
        found = []
        for name in chosen:
            if not any(self.same(name, other, section) for other in found):
                found.append(name)
        return found

    def presence(self, chosen, section):
        own = self.different(chosen, section)
        return self.weights.presence * sum(self.sounds(name, section) for name in own)

    @cache
    def cover(self, chosen, section):
        return sum(
            term(chosen, section)
            for term in (self.line, self.harmony, self.attacks, self.top, self.presence)
        )

    def severity(self, one, other, section):
        """Return the severity of findings between two layers that differ, or their doubles."""
        if self.same(one, other, section):
            return 0.0
        here = self.playing(section)
        return max(
            self._severity(a, b, section)
            for a in here if self.same(a, one, section)
            for b in here if self.same(b, other, section)
        )  # fmt: skip

    @cache
    def _severity(self, one, other, section):
        total = 0.0
        for row in self.findings.itertuples():
            parts = row.parts.split(" + ")
            if row.section == section and row.kind != "doubling" and {one, other} <= set(parts):
                lasts = self.seconds(row.onset, row.onset + row.duration)
                total += row.severity * min(lasts / self.seconds(*self.ends(section)), 1)
        return min(total, 1.0)

    @cache
    def room(self, name, section):
        """Return the most that clashes may take from a layer, shared among all layers it clashes
        with.
        """
        here = self.playing(section)
        rest = [other for other in here if not self.same(name, other, section)]
        adds = self.cover(tuple(here), section) - self.cover(tuple(rest), section)
        every = sum(self.severity(name, other, section) for other in self.different(rest, section))
        return adds / max(every, 1.0)

    def clash(self, chosen, section):
        total = 0.0
        for one, other in combinations(self.different(chosen, section), 2):
            room = min(self.room(one, section), self.room(other, section))
            total += self.severity(one, other, section) * room
        return self.weights.clash * total

    @cache
    def recorded(self):
        return song_energy(self.song).set_index("section")["energy"]

    @cache
    def fullness(self):
        """Return the fullness of each section, and each layer's share of it."""
        energy = self.recorded()
        shares = {}
        for section in self.sections:
            here = self.different(self.playing(section), section)
            time = {name: self.sounds(name, section) for name in here}
            notes = {
                name: sum(self.seconds(begin, end) * len(self.sounding(name, section, begin))
                          for begin, end in self.slices(section))
                for name in here
            }  # fmt: skip
            struck = {name: len({n[0] for n in self.notes[name, section]}) for name in here}
            place = energy[section] / energy.max()
            shares[section] = (
                place,
                {
                    name: place
                    * np.mean([of[name] / sum(of.values()) for of in (time, notes, struck)])
                    for name in here
                },
            )
        return shares

    def growth(self, chosen, section, players):
        shares = self.fullness()
        fullest = max(sum(sorted(own.values())[-players:]) for _, own in shares.values())
        place, own = shares[section]
        full = sum(
            next(share for other, share in own.items() if self.same(name, other, section))
            for name in self.different(chosen, section)
        )
        excess = max(full / fullest - place, 0.0) if fullest else 0.0
        return self.weights.growth * self.seconds(*self.ends(section)) * excess

    @cache
    def first(self, option):
        """Return the layer that gives an option its role and sound."""

        def rank(name):
            role = self.roles.role[name]
            return getattr(self.weights, role) * (1 + self.roles.salience[name])

        return max(sorted(option, reverse=True), key=rank)

    def mixed(self, option, section):
        if len(option) < 2 or self.drive[option[0]] == self.drive[option[1]]:
            return 0.0
        other = next(name for name in option if name != self.first(option))
        return self.weights.mixed_sound * self.sounds(other, section)

    def merging(self, option, section):
        """Return how hard two lines at once are: how long, how far apart in time and in pitch."""
        if len(option) < 2:
            return 0.0
        one, other = option
        together, alone, attacks = 0.0, 0, 0
        for begin, end in self.slices(section):
            now = [self.sounding(name, section, begin) for name in option]
            if all(now):
                together += self.seconds(begin, end)
                struck = sum(any(note[0] == begin for note in own) for own in now)
                attacks += struck > 0
                alone += struck == 1
        apart = abs(self.mean_pitch((one,), section) - self.mean_pitch((other,), section)) / 12
        hard = 1 + (alone / attacks if attacks else 1) + min(apart, 1)
        return self.weights.merging * together * hard / 3

    @cache
    def change(self, before, now, section, following):
        """Return what it costs a player to change from one option to the next."""
        if not before:
            return 0.0
        left = [name for name in before if name not in now and self.notes[name, following]]
        cost = self.weights.leaving * len(left)
        if now and not set(before) & set(now):
            one, other = self.first(before), self.first(now)
            cost += self.weights.role_change * (self.roles.role[one] != self.roles.role[other])
            cost += self.weights.sound_change * (self.drive[one] != self.drive[other])
            apart = self.mean_pitch(before, section) - self.mean_pitch(now, following)
            cost += self.weights.place * abs(apart)
        return cost

    @cache
    def mean_pitch(self, option, section):
        own = [note for name in option for note in self.notes[name, section]]
        lasts = [end - onset for onset, end, _ in own]
        return float(np.average([pitch for _, _, pitch in own], weights=lasts))

    def can_play(self, option, section):
        """Return whether the merged notes can be fingered, without the strings of either layer."""
        if not option:
            return True
        _, last = self.ends(section)
        rows = self.song.notes
        rows = rows[rows["part"].isin(option) & (rows["section"] == section)]
        notes = []
        for row in rows.sort_values("onset").to_dict("records"):
            end = min(row["onset"] + row["duration"], last)
            for other in notes:
                other_end = other["onset"] + other["duration"]
                if other["pitch"] == row["pitch"] and other_end > row["onset"]:
                    end = max(end, other_end)
                    other["duration"] = row["onset"] - other["onset"]
            notes.append(row | {"duration": end - row["onset"], "part": option[0], "voice": None,
                                "string": None, "fret": None})  # fmt: skip
        notes = [note for note in notes if note["duration"] > 0]
        table = rows.iloc[: len(notes)].assign(
            **{name: [n[name] for n in notes] for name in ("part", "onset", "duration", "pitch")}
        )
        return finger_part(replace(self.song, notes=table), option[0])["problem"].isna().all()

    def every_option(self, section):
        here = self.playing(section)
        pairs = [p for p in combinations(here, 2) if not self.same(*p, section)]
        return [(), *((name,) for name in here), *pairs]

    def options(self, section):
        return [o for o in self.every_option(section) if self.can_play(o, section)]

    @cache
    def energy_terms(self, option, section):
        """Time that it sounds, notes that sound, attacks and power, each by the second."""
        if not option:
            return np.zeros(4)
        busy = notes = 0.0
        for begin, end in self.slices(section):
            now = [len(self.sounding(name, section, begin)) for name in option]
            notes += self.seconds(begin, end) * sum(now)
            busy += self.seconds(begin, end) * any(now)
        struck = len({note[0] for name in option for note in self.notes[name, section]})
        first = self.song.parts.set_index("part").loc[self.first(option)]
        decibels = first.level + 2 * DRIVES.index(first.drive)
        whole = self.seconds(*self.ends(section))
        return np.array([busy, notes, struck, busy * 10 ** (decibels / 10)]) / whole

    @cache
    def most_energy(self, players):
        each = []
        for section in self.sections:
            every = np.array([self.energy_terms(o, section) for o in self.every_option(section)])
            each.append(np.sort(every, axis=0)[-players:].sum(axis=0))
        return np.max(each, axis=0)

    @cache
    def energy(self, choice, section):
        """Of what all players take in a section, against the most that there could be."""
        total = sum(self.energy_terms(option, section) for option in choice)
        busy, notes, struck, power = total / self.most_energy(len(choice))
        return (busy + notes + struck + power**0.5) / 4

    def earlier(self, section):
        """The nearest section before that is called the same but for "(2)"."""
        at = self.sections.index(section)
        same = [s for s in self.sections[:at] if s.split(" (")[0] == section.split(" (")[0]]
        return same[-1] if same else None

    def returning(self, before, now, section):
        """What a section's choice costs by that of its earlier return."""
        earlier = self.earlier(section)

        def had(player):
            return [n for own in before[player] for n in self.playing(earlier)
                    if self.same(n, own, earlier)]  # fmt: skip

        count = 0
        for player, option in enumerate(now):
            others = {n for p in range(len(now)) if p != player for n in had(p)}
            count += sum(name in others and name not in had(player) for name in option)
        cost = self.weights.swapped * count
        recorded = self.recorded()
        if recorded[section] >= recorded[earlier] - 1e-9:
            less = self.energy(before, earlier) - self.energy(now, section)
            cost += self.weights.thinner * self.seconds(*self.ends(section)) * max(less, 0)
        return cost

    @cache
    def lead(self, section):
        leads = [name for name in self.playing(section) if self.roles.role[name] == "lead"]
        best = min(leads, key=lambda name: (-self.roles.on_top[name], name), default=None)
        loudest = min(leads, key=lambda name: (-self.roles.salience[name], name), default=None)
        if leads and self.roles.salience[loudest] > self.roles.salience[best] + 0.15:
            best = loudest
        return [n for n in self.playing(section) if best and self.same(n, best, section)]

    def joint(self, section, players):
        """Return every joint choice that is allowed, with its value."""
        found = {}
        worths = {}
        for choice in product(self.options(section), repeat=players):
            played = [name for option in choice for name in option]
            lead = self.lead(section)
            if len(set(played)) < len(played) or (lead and not set(lead) & set(played)):
                continue
            key = tuple(sorted(played))
            if key not in worths:
                worths[key] = (
                    self.cover(key, section) - self.clash(key, section)
                    - self.growth(key, section, players)
                )  # fmt: skip
            found[choice] = worths[key] - sum(
                self.mixed(option, section) + self.merging(option, section) for option in choice
            )
        return found

    def best(self, players):
        """Return the value of every plan, the best value, and all plans that reach it."""
        steps = [self.joint(section, players) for section in self.sections]
        total = np.array(list(steps[0].values()))
        for at in range(1, len(steps)):
            costs = np.array([
                [sum(self.change(b, n, self.sections[at - 1], self.sections[at])
                     for b, n in zip(before, now, strict=True)) for now in steps[at]]
                for before in steps[at - 1]
            ])  # fmt: skip
            total = total[..., None] - costs + np.array(list(steps[at].values()))
        for at, section in enumerate(self.sections):
            if self.earlier(section):
                before = self.sections.index(self.earlier(section))
                costs = [[self.returning(one, other, section) for other in steps[at]]
                         for one in steps[before]]  # fmt: skip
                shape = [1] * len(steps)
                shape[before], shape[at] = len(steps[before]), len(steps[at])
                total = total - np.reshape(costs, shape)
        best = total.max()
        plans = [
            [list(step)[place] for step, place in zip(steps, plan, strict=True)]
            for plan in np.argwhere(total > best - 1e-4)
        ]
        return best, plans
