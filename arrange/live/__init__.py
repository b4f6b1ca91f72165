"""The live view: choose, see, hear and record in a notebook, without code.

``explore_parts``
    a section of a song with other octaves, inversions, strings, capos, sounds and tempos

``choices`` holds what may be chosen, and ``chosen_song`` makes a Song of it. ``picture`` draws it
bar by bar, and ``moment_sound`` makes its sound. ``results_cache`` and ``picture_cache`` compute
and draw everything once, ``ahead`` before it is asked for. ``standing`` is the song as its log has
it. ``view`` puts it on the screen with its ``controls``. ``view_notebook`` and ``serving`` show the
same to people who open no notebook.
"""

from arrange.live.exploring import explore_parts
from arrange.live.view import PartsView

__all__ = ["PartsView", "explore_parts"]
