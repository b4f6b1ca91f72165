"""What does the ear hear when tones sound together, in any song?

Everything works on many moments at once: arrays whose last axis holds the notes or partials of
one moment, NaN where it has fewer. ``partials`` turns pitches into ``Partials``, on which the
rest works:

- ``spectra``: partials, levels, drives; joining and merging them
- ``critical_bands``: their width, in ERB and in Bark
- ``roughness``: beating within a critical band
- ``masking``: what hides what
- ``loudness``: phon, sone, about how loud a part is
- ``intermodulation``: what a driven amplifier adds, and how it beats

Pitches are sounding MIDI numbers, frequencies are in Hz, levels in dB.
"""

from arrange.hearing.critical_bands import bark, bark_width, erb, erb_frequency, erb_rate
from arrange.hearing.intermodulation import (
    Beats,
    Products,
    beats,
    clipped_tones,
    clipping_products,
    intermodulation_products,
)
from arrange.hearing.loudness import equal_loudness, loudness, loudness_level, phon, sone
from arrange.hearing.masking import (
    MaskTable,
    excitation,
    is_masked,
    mask_table,
    masked_share,
    masked_threshold,
    quiet_power,
    threshold_raised,
)
from arrange.hearing.roughness import (
    ToneTable,
    interval_roughness,
    roughest_difference,
    roughness,
    roughness_sethares,
    roughness_vassilakis,
    tone_table,
)
from arrange.hearing.spectra import (
    DRIVES,
    Drive,
    Partials,
    drive_named,
    joined,
    merged,
    partials,
    rolloff,
)

__all__ = [
    "DRIVES",
    "Beats",
    "Drive",
    "MaskTable",
    "Partials",
    "Products",
    "ToneTable",
    "bark",
    "bark_width",
    "beats",
    "clipped_tones",
    "clipping_products",
    "drive_named",
    "equal_loudness",
    "erb",
    "erb_frequency",
    "erb_rate",
    "excitation",
    "intermodulation_products",
    "interval_roughness",
    "is_masked",
    "joined",
    "loudness",
    "loudness_level",
    "mask_table",
    "masked_share",
    "masked_threshold",
    "merged",
    "partials",
    "phon",
    "quiet_power",
    "rolloff",
    "roughest_difference",
    "roughness",
    "roughness_sethares",
    "roughness_vassilakis",
    "sone",
    "threshold_raised",
    "tone_table",
]
