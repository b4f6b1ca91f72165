"""The live view of layers: share them out among players by hand, and see what that is worth.

``shares`` holds who has which layer, what is kept and what is forbidden; ``shares_file`` keeps it
beside the song. ``figures`` asks condensing for everything that is shown, each section once, by
what is known of hands; ``results`` learns more of them. ``panels`` puts it into words, and ``grid``
on the screen. ``layers_view`` joins them.
"""
