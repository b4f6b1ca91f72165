"""Pitch, meter, chords and how voices move: true without any song."""
