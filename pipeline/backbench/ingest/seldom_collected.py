"""Circular references are looked for seldom while many rows and plans become objects."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

MADE_BETWEEN = 20_000
"""Objects that are made between two searches among the newest: the usual 700 are a few rows."""


@contextmanager
def collected_seldom() -> Iterator[None]:
    """Within it, or within the function that it decorates, searches are that seldom.

    Rows and plans hold no circles and stay until a group is loaded: each search goes through them
    in vain, which takes a sixteenth of the loading. What lies in circles meanwhile is a few
    megabytes.
    """
    first, *others = gc.get_threshold()
    gc.set_threshold(max(first, MADE_BETWEEN) if first else 0, *others)
    try:
        yield
    finally:
        gc.set_threshold(first, *others)
