"""Shares and years as the sentences of a page have them."""

from __future__ import annotations

from backbench.quantities.writing import NO_BREAK, number


def share(probability: float | None) -> str:
    """A probability in percent, never rounded to certainty."""
    if probability is None:
        return ""
    if probability < 0.01:
        return f"under 1{NO_BREAK}%"
    shown = "over 99" if probability > 0.99 else number(round(100 * probability))
    return f"{shown}{NO_BREAK}%"


def years(first: int | None, last: int | None) -> str:
    """The years of making: "1959 to 1963", or one year; "" where not stated."""
    if first is None:
        return ""
    return str(first) if last in (None, first) else f"{first} to {last}"
