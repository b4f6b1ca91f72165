"""The Song and its six tables: their columns, their limits, what sounds in them."""
