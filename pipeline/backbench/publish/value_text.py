"""Counts, shares, years and lists as the sentences of a page have them."""

from __future__ import annotations

from collections.abc import Iterable

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


def listed(items: Iterable[str]) -> str:
    """ "a, b and c"."""
    texts = list(items)
    if len(texts) < 2:
        return "".join(texts)
    return f"{', '.join(texts[:-1])} and {texts[-1]}"


def first_few(items: Iterable[str], most: int = 4) -> str:
    """The items listed; beyond `most`, how many more."""
    texts = list(items)
    if len(texts) <= most:
        return listed(texts)
    return f"{', '.join(texts[:most])} and {len(texts) - most} more"


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) or not text else text + "."
