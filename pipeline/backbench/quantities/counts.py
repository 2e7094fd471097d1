"""A count with its noun."""

from __future__ import annotations


def counted(count: int, noun: str, plural: str = "") -> str:
    """ "1 unit", "2 units", "1,200 entries": the noun agrees, thousands are set apart."""
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"
