"""Shares and years as the sentences of a page have them."""

from __future__ import annotations

import re

from markupsafe import Markup

from backbench.quantities.writing import NO_BREAK, THIN, number

_WHOLE = re.compile(f"((?:[≤≥]{NO_BREAK})?−?[0-9{THIN}]+)(.*)", re.DOTALL)


def aligned(text: str) -> Markup | str:
    """A value whose digits before the point take one width, so that points stand beneath each
    other; a text without a number as it is."""
    found = _WHOLE.fullmatch(text)
    if found is None:
        return text
    return Markup('<span class="whole">{}</span>{}').format(*found.groups())


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
