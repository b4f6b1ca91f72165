"""The Song and its five tables: their columns, their limits, what sounds in them."""
