"""The live view: choose, see, hear and record in a notebook, without code.

``explore_parts``
    a section of a song with other octaves, inversions, strings, capos, sounds and tempos
``explore_layers``
    the layers of a song shared out among players by hand (``layers/``)

``choose_file``
    a song of a folder

``choices`` holds what may be chosen, and ``chosen_song`` makes a Song of it. ``picture`` draws it
bar by bar, and ``moment_sound`` makes its sound. ``results_cache`` and ``picture_cache`` compute
and draw everything once, ``ahead`` before it is asked for. ``standing`` is the song as its log has
it. ``view`` puts it on the screen with its ``controls``. ``view_notebook`` and ``serving`` show the
same to people who open no notebook.
"""

from arrange.live.exploring import explore_parts
from arrange.live.layers.explore import explore_layers
from arrange.live.layers.layers_view import LayersView
from arrange.live.song_chooser import choose_file
from arrange.live.view import PartsView

__all__ = ["LayersView", "PartsView", "choose_file", "explore_layers", "explore_parts"]
