"""The neck and the hand: shapes, their names, all voicings of a chord, the fingers of a part."""
