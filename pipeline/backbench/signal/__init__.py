"""Numerics on arrays. Knows nothing of files, databases or the catalogue."""
