"""Tables to numbers: where the parts lie, how busy they are, how they sound together."""
