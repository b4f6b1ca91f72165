"""The sounds of General MIDI: names of the programs, keys of the drums."""

from __future__ import annotations

import re

# General MIDI System Level 1, sound set; program 1 first.
PROGRAM_NAMES = (
    "Acoustic Grand Piano", "Bright Acoustic Piano", "Electric Grand Piano", "Honky-tonk Piano",
    "Electric Piano 1", "Electric Piano 2", "Harpsichord", "Clavinet",
    "Celesta", "Glockenspiel", "Music Box", "Vibraphone",
    "Marimba", "Xylophone", "Tubular Bells", "Dulcimer",
    "Drawbar Organ", "Percussive Organ", "Rock Organ", "Church Organ",
    "Reed Organ", "Accordion", "Harmonica", "Tango Accordion",
    "Acoustic Guitar (nylon)", "Acoustic Guitar (steel)", "Electric Guitar (jazz)",
    "Electric Guitar (clean)", "Electric Guitar (muted)", "Overdriven Guitar",
    "Distortion Guitar", "Guitar Harmonics",
    "Acoustic Bass", "Electric Bass (finger)", "Electric Bass (pick)", "Fretless Bass",
    "Slap Bass 1", "Slap Bass 2", "Synth Bass 1", "Synth Bass 2",
    "Violin", "Viola", "Cello", "Contrabass",
    "Tremolo Strings", "Pizzicato Strings", "Orchestral Harp", "Timpani",
    "String Ensemble 1", "String Ensemble 2", "Synth Strings 1", "Synth Strings 2",
    "Choir Aahs", "Voice Oohs", "Synth Choir", "Orchestra Hit",
    "Trumpet", "Trombone", "Tuba", "Muted Trumpet",
    "French Horn", "Brass Section", "Synth Brass 1", "Synth Brass 2",
    "Soprano Sax", "Alto Sax", "Tenor Sax", "Baritone Sax",
    "Oboe", "English Horn", "Bassoon", "Clarinet",
    "Piccolo", "Flute", "Recorder", "Pan Flute",
    "Blown bottle", "Shakuhachi", "Whistle", "Ocarina",
    "Lead 1 (square)", "Lead 2 (sawtooth)", "Lead 3 (calliope)", "Lead 4 (chiff)",
    "Lead 5 (charang)", "Lead 6 (voice)", "Lead 7 (fifths)", "Lead 8 (bass + lead)",
    "Pad 1 (new age)", "Pad 2 (warm)", "Pad 3 (polysynth)", "Pad 4 (choir)",
    "Pad 5 (bowed)", "Pad 6 (metallic)", "Pad 7 (halo)", "Pad 8 (sweep)",
    "FX 1 (rain)", "FX 2 (soundtrack)", "FX 3 (crystal)", "FX 4 (atmosphere)",
    "FX 5 (brightness)", "FX 6 (goblins)", "FX 7 (echoes)", "FX 8 (sci-fi)",
    "Sitar", "Banjo", "Shamisen", "Koto",
    "Kalimba", "Bagpipe", "Fiddle", "Shanai",
    "Tinkle Bell", "Agogo", "Steel Drums", "Woodblock",
    "Taiko Drum", "Melodic Tom", "Synth Drum", "Reverse Cymbal",
    "Guitar Fret Noise", "Breath Noise", "Seashore", "Bird Tweet",
    "Telephone Ring", "Helicopter", "Applause", "Gunshot",
)  # fmt: skip

# What a part is played with that names no program: by how a guitar is driven, by the first words
# that its name or instrument has (common practice), by its family. Drums with a pitch are timpani.
_DRIVEN = {"overdriven": "Overdriven Guitar", "distorted": "Distortion Guitar"}
_NAMED = (
    ("guitar", r"classical|nylon|spanish|ukulele", "Acoustic Guitar (nylon)"),
    ("guitar", r"banjo", "Banjo"),
    (
        "guitar",
        r"acoustic|western|folk|steel.strings?|mandolin\w*|bouzouki",
        "Acoustic Guitar (steel)",
    ),
    ("bass", r"upright|double|acoustic|(contra|kontra)bass\w*", "Acoustic Bass"),
    ("bass", r"fretless", "Fretless Bass"),
    ("keys", r"organ|orgel", "Drawbar Organ"),
)
_FAMILIES = {
    "guitar": "Electric Guitar (clean)",
    "bass": "Electric Bass (finger)",
    "voice": "Voice Oohs",
    "keys": "Acoustic Grand Piano",
    "drums": "Timpani",
    "other": "Acoustic Grand Piano",
}


def usual_program(family: str, drive: str, name: str) -> int:
    """Return the program, from 1, that plays an instrument of a name where the song names none."""
    sound = _DRIVEN.get(drive) if family == "guitar" else None
    if sound is None:
        named = (own for of, words, own in _NAMED
                 if of == family and re.search(rf"\b({words})\b", name, re.I))  # fmt: skip
        sound = next(named, _FAMILIES[family])
    return PROGRAM_NAMES.index(sound) + 1


# Keys of the percussion channel for notes without a pitch, the first that is free: wood blocks,
# claves, side stick and the like first, since no drum is meant; then all others.
_CLICKS = (76, 77, 75, 37, 54, 70, 69, 56, 39, 67, 68)
DRUM_KEYS = (*_CLICKS, *(key for key in range(35, 82) if key not in _CLICKS))
