"""Views to try things out in a notebook, without code: choose, see, hear, record.

``explore_parts``
    a section of a song with other octaves, inversions, strings, capos, sounds and tempos

``trial`` makes a Song of a set of choices, ``trials`` makes each once; ``picture`` draws what
there is to see, ``sights`` draws each once; ``view`` puts it on the screen. ``page`` and
``serving`` show the same to people who open no notebook.
"""

from arrange.live.view import PartsView, explore_parts

__all__ = ["PartsView", "explore_parts"]
