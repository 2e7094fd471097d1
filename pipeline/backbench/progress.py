"""Who waits gets the number of captures that were just done."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[int], None]


def nothing(_: int) -> None:
    """No progress is shown."""
