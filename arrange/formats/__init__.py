"""Readers and writers: a path <-> a Song."""
