"""A part that departs for a while from the rest of the song: ``register``, ``scale``, ``grid``.

Each compares stretches of about four bars (``stretches.py``) with what the part does in the rest of
the song and with what the others do there: what a part does throughout is its habit, and no
departure. Therefore the whole song decides on them, and a song of fewer than three stretches has
none.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from arrange.clashes.attacks import ALMOST, TOGETHER, Stream
from arrange.clashes.limits import Limits
from arrange.clashes.scene import Clash, Scene
from arrange.clashes.stretches import Stretches
from arrange.tables.setups import by_section
from arrange.tables.sounding import Array
from arrange.text.words import first_few, measures_words
from arrange.theory.pitch import an_interval, pitch_class_name

LEAST_TIME = 6.0  # quarter notes that a part must sound in a stretch (ours)
LEAST_OF_OTHERS = 16.0  # quarter notes that the others sound around (ours)
LEAST_CLASSES = 5  # pitch classes that make a scale: pentatonic ones have five (common practice)
EVEN_SHARE = 1 / 12  # of the others' time on each pitch class, were all alike
AROUND = 2  # bars around a stretch from which the others' scale is known (ours)
LEAST_ATTACKS = 3  # of a part in a stretch (ours)
SIXTEENTH = 0.25  # quarter notes
LEAST_FAR = 6.0  # semitones from its own median: more than a fourth (ours)
USUAL = 4.0  # semitones by which any line rises and falls from stretch to stretch (ours)
OF_THE_FORM = 0.75  # of a departure's distance, that its whole section lies apart (ours)
NAMES = 6  # note names in a sentence


def find_register(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where a part leaves the register in which it lives in the rest of the song.

    Three distances of its mean pitch in a stretch are taken: from its own median over the song,
    from where it usually lies to the other parts, and from its bars right before and after. Each is
    divided by what is usual for the part, the median of that distance over the song and four
    semitones. The value is their mean. It must lie farther than a fourth from its median. None is a
    part that stays there for a whole section: it is arranged so. A part that plays other recorded
    layers in other sections lives where each of them does: medians are taken layer by layer.
    """
    stretches = scene.stretches
    if not len(stretches.first):
        return []
    layers = _layers(scene)
    height = np.where(layers >= 0, _heights(stretches), np.nan)
    own = height - _usual(height, layers)
    beside = _beside(height)
    beside -= _usual(beside, layers)
    ratios = np.stack([_ratio(own), _ratio(beside), _ratio(height - _around(stretches))])
    known = np.isfinite(ratios)
    signed = np.where(known, ratios, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    is_far = (np.abs(own) >= LEAST_FAR) & (np.sign(signed) == np.sign(own))
    value = np.where(is_far, np.abs(signed), np.nan)
    value[~scene.is_asked] = np.nan
    found = []
    for part, first, last, at in stretches.apart(value, limits.register):
        if _is_of_the_form(scene, part, first, last, float(own[part, at])):
            continue
        begin, end = stretches.span(first, last)
        notes = _notes(scene, part, begin, end)
        begin = max(begin, float(scene.onset[notes].min()))
        end = min(end, float(scene.end[notes].max()))
        pitch = scene.pitch[notes]
        far = float(own[part, at])
        where = "above" if far > 0 else "below"
        found.append(
            Clash(
                "register", begin, end, (scene.parts[part],),
                sorted({float(pitch.min()), float(pitch.max())}), float(value[part, at]),
                limits.register, "times its usual swing",
                f"In {_bars(scene, begin, end)} {scene.parts[part]} plays about "
                f"{an_interval(far)} {where} where it lives in the rest of the song.",
                scene.row[notes],
            )
        )  # fmt: skip
    return found


def find_scale(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where a part plays for a while outside the scale of the others.

    The others' scale is what they and the chord symbols sound in a stretch and two bars around. A
    note counts in full where they never sound its pitch class, not at all where they give it an
    even share, a twelfth of their time, and in part between. The value is the share of its time
    that counts, less the part's median over the song. The others must have at least five pitch
    classes.
    """
    stretches = scene.stretches
    if not len(stretches.first):
        return []
    heard = stretches.classes.sum(axis=0) + _symbol_time(scene, stretches)
    value = np.stack([_foreign(stretches, heard, part)[1] for part in range(len(scene.parts))])
    value -= _median(value)
    value[~scene.is_asked] = np.nan
    return [
        _scale(scene, limits, part, (first, last), weight[:, at], float(value[part, at]))
        for part, first, last, at in stretches.apart(value, limits.scale)
        for weight in (_foreign(stretches, heard, part)[0],)
    ]


def _foreign(stretches: Stretches, heard: Array, part: int) -> tuple[Array, Array]:
    """How foreign each pitch class (rows) is in each stretch to what the others sound, 0 to 1, and
    the share of a part's time that is; NaN where one or the other sounds too little.

    `heard` is the time on each pitch class (rows) in each bar, of all parts and chord symbols.
    """
    others = stretches.total(heard - stretches.classes[part], AROUND)
    sums = others.sum(axis=0)
    weight = np.clip(1 - others / np.maximum(sums, ALMOST) / EVEN_SHARE, 0, 1)
    played = stretches.total(stretches.classes[part])
    time = played.sum(axis=0)
    is_known = (time >= LEAST_TIME) & (sums >= LEAST_OF_OTHERS)
    is_known &= np.count_nonzero(others > ALMOST, axis=0) >= LEAST_CLASSES
    share = (played * weight).sum(axis=0) / np.maximum(time, ALMOST)
    return weight, np.where(is_known, share, np.nan)


def _scale(
    scene: Scene, limits: Limits, part: int, run: tuple[int, int], weight: Array, value: float
) -> Clash:
    """The finding from the stretches of a part, and how foreign each pitch class is there."""
    notes = _notes(scene, part, *scene.stretches.span(*run))
    classes = np.rint(scene.pitch[notes]).astype(np.int64) % 12
    is_foreign = weight[classes] >= min(0.5, float(weight[classes].max()))
    notes, classes = notes[is_foreign], classes[is_foreign]
    begin, end = float(scene.onset[notes].min()), float(scene.end[notes].max())
    counts = np.bincount(classes, minlength=12)
    most = np.argsort(-counts, kind="stable")[: np.count_nonzero(counts)].tolist()
    key = scene.song.key_at(begin)
    names = first_few((pitch_class_name(each, key) for each in most), NAMES)
    return Clash(
        "scale", begin, end, (scene.parts[part],), sorted({*scene.pitch[notes].tolist()}), value,
        limits.scale, "share of its time",
        f"In {_bars(scene, begin, end)} much of what {scene.parts[part]} plays ({names}) is "
        "foreign to the scale of the others there.",
        scene.row[notes],
    )  # fmt: skip


def find_grid(scene: Scene, limits: Limits) -> list[Clash]:
    """Return where the attacks of a part miss those of the others for a while.

    An attack misses if no other part, drums included, attacks within 30 ms, but one does within a
    sixteenth. The value is the share of a part's attacks that miss, less its median over the song.
    """
    stretches = scene.stretches
    if not len(stretches.first):
        return []
    missing = [_missing(scene.attacks, part) for part in range(len(scene.parts))]
    attacks, missed = np.zeros((2, *stretches.time.shape))
    for part, (stream, misses) in enumerate(zip(scene.attacks, missing, strict=True)):
        bar = scene.measure_of(stream.onset)
        attacks[part] = np.bincount(bar, minlength=attacks.shape[1])
        missed[part] = np.bincount(bar, misses, minlength=attacks.shape[1])
    counts = stretches.total(attacks)
    share = stretches.total(missed) / np.maximum(counts, 1)
    share = np.where(counts >= LEAST_ATTACKS, share, np.nan)
    usual = _median(share)
    value = share - usual
    value[~scene.is_asked] = np.nan
    found = []
    for part, first, last, at in stretches.apart(value, limits.grid):
        stream = scene.attacks[part]
        begin, end = stretches.span(first, last)
        late = np.flatnonzero(missing[part] & (stream.onset >= begin) & (stream.onset < end))
        if not len(late):
            continue
        rows = stream.notes_of(late)
        notes = scene.song.notes
        end = float((notes["onset"].to_numpy() + notes["duration"].to_numpy())[rows].max())
        begin, pitch = float(stream.onset[late[0]]), stream.pitch[late]
        here = (stream.onset >= begin) & (stream.onset < end)
        elsewhere = missing[part][~here]
        found.append(
            Clash(
                "grid", begin, end, (scene.parts[part],),
                sorted({*pitch[np.isfinite(pitch)].tolist()}), float(value[part, at]), limits.grid,
                "share of its attacks",
                f"In {_bars(scene, begin, end)} {missing[part][here].mean():.0%} of the attacks of "
                f"{scene.parts[part]} miss the others' by a sixteenth or less; in the rest of the "
                f"song {elsewhere.mean() if len(elsewhere) else 0:.0%} do.",
                rows,
            )
        )  # fmt: skip
    return found


def _heights(stretches: Stretches) -> Array:
    """Mean pitch of each part in each stretch, NaN where it plays too little."""
    time = stretches.total(stretches.time)
    height = stretches.total(stretches.height) / np.maximum(time, ALMOST)
    return np.where(time >= LEAST_TIME, height, np.nan)


def _median(values: Array) -> Array:
    """Each part's median over the song, as a column; NaN for a part that has no value."""
    values = np.sort(values, axis=1)  # NaN last
    count = np.count_nonzero(~np.isnan(values), axis=1)
    rows, last = np.arange(len(values)), np.maximum(count - 1, 0)
    middle = values[rows, last // 2] + values[rows, (last + 1) // 2]
    return np.asarray(middle[:, None] / 2)


def _layers(scene: Scene) -> Array:
    """Parts x stretches: a number for the recorded layers that a part plays there, -1 where they
    change.
    """
    stretches = scene.stretches
    code, _ = pd.factorize(by_section(scene.song, "layers").ravel(), use_na_sentinel=False)
    bars = scene.section_of(stretches.lines[:-1])
    each = code.reshape(len(scene.parts), -1)[:, bars]
    last = stretches.first + stretches.bars - 1
    changes = np.cumsum(np.diff(each, axis=1, prepend=each[:, :1]) != 0, axis=1)
    is_one = changes[:, stretches.first] == changes[:, last]
    return np.where(is_one, each[:, stretches.first], -1)


def _usual(values: Array, layers: Array) -> Array:
    """Each part's median over the stretches in which it plays the same recorded layers."""
    usual = np.repeat(_median(values), values.shape[1], axis=1)
    for part in np.flatnonzero(np.ptp(layers, axis=1) > 0).tolist():
        for own in (layers[part] == which for which in np.unique(layers[part])):
            usual[part, own] = _median(values[part : part + 1, own])
    return usual


def _ratio(far: Array) -> Array:
    """Distances divided by what is usual for the part."""
    return far / (_median(np.abs(far)) + USUAL)


def _beside(height: Array) -> Array:
    """How far each part lies from the mean of the others."""
    known = np.isfinite(height)
    own = np.where(known, height, 0.0)
    others = known.sum(axis=0) - known
    mean = (own.sum(axis=0) - own) / np.maximum(others, 1)
    return np.where(known & (others > 0), height - mean, np.nan)


def _around(stretches: Stretches) -> Array:
    """Mean pitch of each part in the bars right before and after each stretch."""
    time, tall = (
        stretches.total(values, AROUND) - stretches.total(values)
        for values in (stretches.time, stretches.height)
    )
    return np.where(time > ALMOST, tall / np.maximum(time, ALMOST), np.nan)


def _is_of_the_form(scene: Scene, part: int, first: int, last: int, far: float) -> bool:
    """Whether a part lies so far apart in a whole section, longer than that: it is arranged so.

    Of sections of kind "other", which nobody named, none is known to be a whole.
    """
    stretches, starts = scene.stretches, scene.song.sections["onset"].to_numpy()
    begin, end = stretches.span(first, last)
    ends = np.array([each[2] for each in scene.sections])
    row = int((np.minimum(ends, end) - np.maximum(starts, begin)).argmax())
    is_named = scene.song.sections["kind"].iloc[row] != "other"
    if not is_named or ends[row] - starts[row] <= end - begin + ALMOST:
        return False
    bars = scene.section_of(stretches.lines[:-1]) == row
    time = stretches.time[part]
    if not time[~bars].any() or not time[bars].any():
        return False
    inside, outside = (
        stretches.height[part, which].sum() / time[which].sum() for which in (bars, ~bars)
    )
    return bool((inside - outside) * np.sign(far) >= OF_THE_FORM * abs(far))


def _symbol_time(scene: Scene, stretches: Stretches) -> Array:
    """The time on each pitch class (rows) that the chord symbols name in each bar."""
    chords = scene.song.chords
    time = np.zeros((12, stretches.time.shape[1]))
    members = [list(each) for each in chords["pitch_classes"]]
    sizes = [len(each) for each in members]
    if not sum(sizes):
        return time
    row = np.repeat(np.arange(len(chords)), sizes)
    pitch_class = np.concatenate([np.array(each, dtype=np.int64) for each in members])
    bar = scene.measure_of(chords["onset"].to_numpy()[row])
    np.add.at(time, (pitch_class % 12, bar), chords["duration"].to_numpy()[row])
    return time


def _missing(attacks: list[Stream], part: int) -> Array:
    """Which attacks of a part miss all others, but one of them by a sixteenth or less."""
    own = attacks[part]
    beside = [stream for other, stream in enumerate(attacks) if other != part]
    seconds = np.sort(np.concatenate([np.empty(0), *(stream.seconds for stream in beside)]))
    onset = np.sort(np.concatenate([np.empty(0), *(stream.onset for stream in beside)]))
    together = _nearest(seconds, own.seconds) <= TOGETHER + ALMOST
    return ~together & (_nearest(onset, own.onset) <= SIXTEENTH + ALMOST)


def _nearest(times: Array, own: Array) -> Array:
    """How far the nearest of some sorted times lies from each of others."""
    padded = np.concatenate([[-np.inf], times, [np.inf]])
    at = np.searchsorted(times, own)
    return np.minimum(own - padded[at], padded[at + 1] - own)


def _notes(scene: Scene, part: int, begin: float, end: float) -> Array:
    """The notes of a part that sound between two times, as indices of the scene."""
    inside = (scene.end > begin + ALMOST) & (scene.onset < end - ALMOST)
    return np.flatnonzero((scene.part == part) & inside)


def _bars(scene: Scene, begin: float, end: float) -> str:
    first, last = scene.measure_of(np.array([begin, end - 2 * ALMOST])).tolist()
    return measures_words(first + 1, max(last, first) + 1)
