"""Findings on rhythm, computed a second way: attack by attack, pair by pair.

It is slow and obvious, and follows the descriptions of ``find_near``, ``find_busy`` and
``find_fusing``; only the limits are shared. Rows are (part, pitch, onset, duration); a bar has four
quarters, and "Guitar 1" may have an echo.
"""

from itertools import combinations, pairwise

GUITARS = ("Guitar 1", "Guitar 2")
PARTS = (*GUITARS, "Voice", "Drums")


def grouped(times):
    """Return lists of (seconds, ...) that follow each other within 30 ms."""
    groups = []
    for time in sorted(times):
        if groups and time[0] - groups[-1][-1][0] <= 0.03 + 1e-6:
            groups[-1].append(time)
        else:
            groups.append([time])
    return groups


def slow_attacks(rows, part, tempo):
    """Return (seconds, onset, pitches) of a part's attacks."""
    own = [(onset * 60 / tempo, onset, pitch) for name, pitch, onset, _ in rows if name == part]
    return [(group[0][0], group[0][1], [pitch for *_, pitch in group]) for group in grouped(own)]


def slow_echoed(rows, part, tempo, echo):
    """Return (seconds, onset, weight) of a part's attacks and repeats, the loudest of those
    together.
    """
    quarters = {"dotted eighth": 3 / 4, "triplet quarter": 2 / 3}[echo]
    times = [(seconds, onset, 1.0) for seconds, onset, _ in slow_attacks(rows, part, tempo)]
    for onset in {onset for name, _, onset, _ in rows if name == part}:
        for repeat in (1, 2, 3):
            at = onset + repeat * quarters
            times.append((at * 60 / tempo, at, 10 ** (-6 * repeat / 20)))
    return [max(group, key=lambda time: (time[2], -time[0])) for group in grouped(times)]


def slow_misses(one, other, repeats_only=False):
    """Return (earlier onset, later onset, gap in seconds, weight, both seconds) of each miss."""
    misses = []
    for a in one:
        for b in other:
            gap, quarters = abs(b[0] - a[0]), abs(b[1] - a[1])
            times = 2 if quarters < 1 / 4 - 1e-6 else 3
            others = [abs(a[0] - c[0]) for c in other if c is not b]
            others += [abs(b[0] - c[0]) for c in one if c is not a]
            if not 0.03 + 1e-6 < gap <= 0.25 + 1e-6 or quarters > 1 / 4 + 1e-6:
                continue
            if any(rest < times * gap - 1e-6 for rest in others):
                continue
            if repeats_only and (a[2] == 1 or times == 3):
                continue
            weight = (a[2] if repeats_only else 1) * (0.5 if gap < 0.05 - 1e-6 else 1)
            misses.append((min(a[1], b[1]), max(a[1], b[1]), b[0] - a[0], weight, a, b))
    return misses


def slow_runs(one, other, misses, late):
    """Return misses in runs: late by a sixteenth if `late`, else by less."""
    runs = []
    for miss in misses:
        if (abs(miss[5][1] - miss[4][1]) >= 1 / 4 - 1e-6) != late:
            continue
        previous = runs[-1][-1] if runs else None
        if previous and miss[0] - previous[0] <= 4 + 1e-6:
            between = [a for a in one if previous[4][0] < a[0] < miss[4][0]]
            beside = [b for b in other if previous[5][0] < b[0] < miss[5][0]]
            shared = [a for a in between for b in other if abs(a[0] - b[0]) <= 0.03 + 1e-6]
            if late:
                goes_on = not shared and (previous[2] > 0) == (miss[2] > 0)
            else:
                goes_on = min(len(between), len(beside)) <= 1
            if goes_on:
                runs[-1].append(miss)
                continue
        runs.append([miss])
    return runs


def slow_near(rows, tempo, echo, limits):
    """Return (parts, onset, end, value) of each finding."""
    found = []
    for pair in combinations(PARTS, 2):
        one, other = (slow_attacks(rows, part, tempo) for part in pair)
        runs = [
            run
            for late in (False, True)
            for run in slow_runs(one, other, slow_misses(one, other), late)
        ]
        if pair[0] == "Guitar 1" and echo:
            echoed = slow_echoed(rows, "Guitar 1", tempo, echo)
            runs += slow_runs(echoed, other, slow_misses(echoed, other, True), False)
        for run in runs:
            value = sum(miss[3] for miss in run)
            if value >= limits.near - 1e-6:
                found.append((" + ".join(pair), run[0][0], run[-1][1], value))
    return found


def slow_busy(rows, tempo, echo, limits):
    """Return the same for busy stretches."""
    heard = {part: [(*a[:2], 1.0) for a in slow_attacks(rows, part, tempo)] for part in PARTS}
    if echo:
        heard["Guitar 1"] = slow_echoed(rows, "Guitar 1", tempo, echo)
    found = []
    for pair in combinations(PARTS[:3], 2):
        times = [(*time, part) for part in pair for time in heard[part]]
        moments = []
        for group in grouped(times):
            loud = [max((t[2] for t in group if t[3] == part), default=0) for part in pair]
            moments.append((group[0][0], group[0][1], loud))
        changed, before, when = [], 0.0, 0.0
        for seconds, _, (one, other) in moments:
            alone = one - other
            turned = alone * before < 0 and seconds - when < limits.busy_seconds - 1e-6
            changed.append(min(abs(alone), abs(before)) if turned else 0)
            if abs(alone) > 1e-6:
                before, when = alone, seconds
        stretches = []
        for first, moment in enumerate(moments):
            until = moment[0] + limits.busy_seconds - 1e-6
            span = [at for at in range(first, len(moments)) if moments[at][0] < until]
            attacks = sum(max(moments[at][2]) for at in span)
            rate = attacks / limits.busy_seconds
            turns = sum(changed[at] for at in span)
            if rate < limits.busy - 1e-6 or turns < attacks / 2 - 1e-6:
                continue
            if stretches and first <= stretches[-1][1]:
                stretches[-1][1] = span[-1]
                stretches[-1][2].append(rate)
            else:
                stretches.append([first, span[-1], [rate]])
        for first, last, rates in stretches:
            ends = moments[first][1], moments[last][1]
            found.append((" + ".join(pair), *ends, sum(rates) / len(rates)))
    return found


def slow_fusing(rows, tempo, limits):
    """Return the same for lines that fuse, of the two guitars."""
    attacks = sorted(
        (seconds, onset, part, pitches)
        for part in GUITARS
        for seconds, onset, pitches in slow_attacks(rows, part, tempo)
    )
    stretches = []
    for first in range(len(attacks) - limits.fusing + 1):
        some = attacks[first : first + limits.fusing]
        steps = list(pairwise(some))
        alone = all(
            len(a[3]) == 1 and not any(abs(a[0] - b[0]) <= 0.03 + 1e-6 for b in attacks if b != a)
            for a in some
        )
        turns = alone and all(a[2] != b[2] and b[0] - a[0] <= 0.25 + 1e-6 for a, b in steps)
        if turns and sum(abs(a[3][0] - b[3][0]) for a, b in steps) < limits.fusing_semitones * len(
            steps
        ):
            if stretches and first <= stretches[-1][1]:
                stretches[-1][1] = first + limits.fusing - 1
            else:
                stretches.append([first, first + limits.fusing - 1])
    return [
        (" + ".join(GUITARS), attacks[first][1], attacks[last][1], last - first + 1)
        for first, last in stretches
    ]
