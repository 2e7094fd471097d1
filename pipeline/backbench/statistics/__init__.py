"""Ranks, trends and tests on plain arrays."""
