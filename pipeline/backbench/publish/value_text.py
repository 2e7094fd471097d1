"""Values as a reader of a page sees them: rounded to their uncertainty, with units."""

from __future__ import annotations

import math
from collections.abc import Iterable

from backbench.charts.chart_text import PREFIXES, number, quantity, symbol
from backbench.charts.chart_text import takes_prefix as plain_prefix

COVERAGE = 2.0
"""Uncertainties are shown expanded by this factor."""
MOST_DIGITS = 4


def measured(
    value: float | None, uncertainty: float | None, unit: str, bound: str | None = None
) -> str:
    """A value with its expanded uncertainty: "14.58 W ± 0.28 W"; a bound as "≤ 10.4 Hz".

    uncertainty: standard, in the value's unit; None where it isn't known. "" without a value.
    """
    if value is None:
        return ""
    if bound is not None:
        return f"{'≤' if bound == 'upper' else '≥'} {plain(value, unit)}"
    if not uncertainty:
        return plain(value, unit, MOST_DIGITS)
    power = _prefix_power(value, COVERAGE * uncertainty, unit)
    scaled, spread = value / 10.0**power, COVERAGE * uncertainty / 10.0**power
    places = _places(scaled, spread)
    mark = symbol(unit)
    if mark:
        mark = f" {PREFIXES[power] if takes_prefix(unit) else ''}{mark}"
    return f"{_fixed(scaled, places)}{mark} ± {_fixed(_up(spread, places), places)}{mark}"


def takes_prefix(unit: str) -> bool:
    """Whether numbers of this unit are written with µ, m, k: densities too."""
    return plain_prefix(unit) or unit.startswith("V/")


def plain(value: float, unit: str, digits: int = 3) -> str:
    """A value without its uncertainty, to so many digits: "21.3 µV", "0.2 %"."""
    return quantity(value, unit, digits).replace("%", " %")


def _prefix_power(value: float, spread: float, unit: str) -> int:
    """The power of ten of the unit's prefix, by the larger of value and spread."""
    size = max(abs(value), spread)
    if not takes_prefix(unit) or size == 0:
        return 0
    power = 3 * math.floor(math.log10(size) / 3)
    return min(max(power, min(PREFIXES)), max(PREFIXES))


def _places(value: float, spread: float) -> int:
    """Decimals: two digits of the spread, but at most MOST_DIGITS digits of the value."""
    wanted = 1 - math.floor(math.log10(spread))
    size = max(abs(value), spread)
    return max(0, min(wanted, MOST_DIGITS - 1 - math.floor(math.log10(size))))


def _up(spread: float, places: int) -> float:
    """The spread rounded up to the last place shown: never shown smaller than it is."""
    step = 10.0**-places
    return max(math.ceil(spread / step - 1e-9), 1) * step


def _fixed(value: float, places: int) -> str:
    text = f"{value:,.{places}f}".replace("-", "−")
    return text.removeprefix("−") if float(f"{value:.{places}f}") == 0 else text


def share(probability: float | None) -> str:
    """A probability in percent, never rounded to certainty."""
    if probability is None:
        return ""
    if probability < 0.01:
        return "under 1 %"
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def years(first: int | None, last: int | None) -> str:
    """The years of making: "1959 to 1963", or one year; "" where not stated."""
    if first is None:
        return ""
    return str(first) if last in (None, first) else f"{first} to {last}"


def listed(items: Iterable[str]) -> str:
    """ "a, b and c"."""
    found = list(items)
    if len(found) < 2:
        return "".join(found)
    return f"{', '.join(found[:-1])} and {found[-1]}"


def few(items: Iterable[str], most: int = 4) -> str:
    """The items listed; beyond `most`, how many more."""
    found = list(items)
    if len(found) <= most:
        return listed(found)
    return f"{', '.join(found[:most])} and {len(found) - most} more"


def sentence(text: str) -> str:
    """The text with a capital and a full stop."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) or not text else text + "."


__all__ = [
    "few", "listed", "measured", "number", "plain", "sentence", "share", "years",
]  # fmt: skip
