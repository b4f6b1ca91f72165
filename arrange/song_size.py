"""How large a song may be, for every format: the limits that ``Song`` and the readers check.

The largest score of the corpus that the tests read has 22,000 notes and lasts an hour, and a band
of forty parts that plays for an hour fits in too. Anything larger is a damaged or hostile file, on
which later steps (sound, findings, sheets) would run for hours.
"""

from __future__ import annotations

MOST_PARTS = 200  # the largest orchestral scores have some 60
MOST_SECTIONS = 1_000  # a song has a dozen or two; a score may mark every few bars
MOST_MEASURES = 20_000  # as played; an hour of 2/4 at 240 has 7,200
MOST_CHORDS = 40_000  # two in each of them
MOST_NOTES = 500_000  # as played; the longest symphonies have some 200,000
MOST_AT_ONCE = 256  # notes that one part strikes at one time: each of MIDI's 128 pitches twice
MOST_QUARTERS = 80_000.0  # as played: so many measures of 4/4
MOST_HOURS = 4.0  # as played; the longest acts of operas last two hours
# Two parts sounding in one slice of time, over all pairs and slices, that findings are looked for
# in: some 20 s of work. The 14-layer demo has 10,000, the longest quartets of the corpus 45,000.
MOST_MEETINGS = 2_000_000
MOST_BAR = 1024.0  # quarter notes in one bar; 255/1, the longest of MIDI, has 1,020
LEAST_TEMPO, MOST_TEMPO = 5.0, 2000.0  # quarter notes a minute; metronomes go from 30 to 250
MOST_COUNT, MOST_UNIT = 255, 128  # upper and lower number of a meter, as in MIDI
MOST_TERMS = 16  # of a meter such as 2/4 + 3/8
MOST_STRINGS, MOST_FRETS = 12, 36  # of a neck
MOST_CAPO = 24  # frets; most guitars have 20 to 24
MOST_TRANSPOSE = 48  # semitones; the piccolo's and the double bass's octave, with room
MOST_LEVEL = 120.0  # dB; as far as from the threshold of hearing to that of pain
MOST_TEXT = 1_000  # characters of a title, a label or a chord symbol; a page has some 3,000
MOST_REMARKS, MOST_REMARK = 1_000, 500  # to the players, as many as sections; characters of one
MOST_NOTICES = 50  # of one kind, shown one by one; a page of a report holds about as many
