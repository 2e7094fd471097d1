"""A count with its noun."""

from __future__ import annotations

from backbench.quantities.writing import ordinary, whole_number


def counted(count: int, noun: str, plural: str = "") -> str:
    """ "1 unit", "2 units", "12 000 entries": the noun agrees, thousands as in a quantity."""
    number = ordinary(whole_number(count))
    return f"{number} {noun if count == 1 else plural or noun + 's'}"
