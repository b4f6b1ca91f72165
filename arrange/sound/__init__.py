"""A song as sound: parts, pairs, sections and clashing moments, at any tempo.

``render_sound``
    a song, some of its parts or some of its measures
``finding_sound``
    the bars of a finding: each of its parts alone, then together
``Playback``
    how they are played: tempo, place of the parts, clicks, loop, instruments
``join_sounds``, ``write_sound``
    sounds one after the other; a sound -> a file

Everything is made from the tables, and the same call gives the same samples. Levels stay low and
never jump: the loudest sample is at most ``PEAK``, and clicks are softer than that. Still, turn
your headphones down before you press play and up afterwards: 85 dBA over a working day is the
limit that NIOSH recommends, and each 3 dB more halves the time (``exposure_hours``).

References
----------
ISO 16 (1975): A4 is 440 Hz. NIOSH, Criteria for a recommended standard: occupational noise
exposure, publication 98-126 (1998).
"""

from arrange.sound.playback import MOST_COUNT_IN, Playback
from arrange.sound.rendering import LONGEST_SECONDS, PEAK, finding_sound, render_sound
from arrange.sound.sounds import Sound, exposure_hours, join_sounds, write_sound
from arrange.sound.tones import RATE

__all__ = [
    "LONGEST_SECONDS",
    "MOST_COUNT_IN",
    "PEAK",
    "RATE",
    "Playback",
    "Sound",
    "exposure_hours",
    "finding_sound",
    "join_sounds",
    "render_sound",
    "write_sound",
]
