"""A recorded layer, one audio file: what is played in it, and how sure that is.

- ``audio_files``: a file as samples
- ``spectra``: how strong each pitch is, moment by moment
- ``net``: which pitches sound and are struck, heard by a net that datasets/note_net trains
- ``notes``: the notes, each with a confidence, and which may be repeats of an echo
"""
