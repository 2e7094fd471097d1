"""Lists and sentences as text has them, on pages and in a terminal alike."""

from __future__ import annotations

from collections.abc import Iterable


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


def lowered(title: str) -> str:
    """A title within a sentence: "Residual noise" reads "residual noise", "DC" stays."""
    return title[:1].lower() + title[1:] if title[1:2].islower() else title
