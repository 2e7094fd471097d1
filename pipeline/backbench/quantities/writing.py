"""The formatter of quantities: rounding, unit and signs, the same wherever a value is shown."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from backbench.quantities.units import PREFIXES, symbol, takes_prefix

COVERAGE = 2.0
"""Uncertainties are shown expanded by this factor."""
MOST_DIGITS = 4
"""Of a value beside its uncertainty, or of one whose uncertainty isn't known."""
NO_BREAK = "\u00a0"
THIN = "\u202f"
"""Between thousands, of which neither a point nor a comma keeps them (SI Brochure, 5.4.4)."""
_TYPED_MINUS = re.compile(r"(?<![\w.,])-(?=[0-9.])")
_ORDINARY = str.maketrans({NO_BREAK: " ", THIN: " ", "−": "-"})


def measured(
    value: float | None, uncertainty: float | None, unit: str, bound: str | None = None
) -> str:
    """A value with its expanded uncertainty: "14.58 W ± 0.28 W"; a bound as "≤ 10.5 Hz".

    uncertainty: standard, in the value's unit; None where it isn't known. "" without a value.
    Two digits of the uncertainty, rounded up, and as many decimals of the value, four digits at
    most. A bound is rounded away from what it excludes.
    """
    shown = value_alone(value, uncertainty, unit, bound)
    if value is None or bound is not None or not uncertainty:
        return shown
    spread = COVERAGE * uncertainty
    power, places = decimals_beside(value, spread, unit)
    return f"{shown} ± {fixed(_up(spread / 10.0**power, places), places)}{unit_mark(unit, power)}"


def value_alone(
    value: float | None, uncertainty: float | None, unit: str, bound: str | None = None
) -> str:
    """The value as `measured` shows it, without its uncertainty, where there is no room for it."""
    if value is None:
        return ""
    if bound is not None:
        return f"{'≤' if bound == 'upper' else '≥'}{NO_BREAK}{_bound(value, unit, bound)}"
    if not uncertainty:
        return quantity(value, unit, MOST_DIGITS)
    power, places = decimals_beside(value, COVERAGE * uncertainty, unit)
    return f"{fixed(value / 10.0**power, places)}{unit_mark(unit, power)}"


def quantity(value: float, unit: str = "", digits: int = 3) -> str:
    """A value with its unit to so many significant digits: 0.0000213 V gives "21.3 µV"."""
    power = _thousands(value, digits) if takes_prefix(unit) else 0
    return number(value / 10.0**power, digits) + unit_mark(unit, power)


def number(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, thousands apart, with a true minus sign."""
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    if places > 12:
        mantissa, _, exponent = f"{value:.{digits - 1}e}".partition("e")
        return f"{_trimmed(mantissa)}e{int(exponent)}".replace("-", "−")
    text = fixed(round(value, places), max(places, 0))
    return _trimmed(text) if places > 0 else text


def axis_labels(values: Sequence[float], unit: str = "", *, log: bool = False) -> list[str]:
    """The labels of an axis' ticks: on a linear axis with one prefix and equal decimals.

    On a logarithmic axis every label has its own prefix and no trailing zeros.
    """
    if log or not any(values):
        return [quantity(value, unit, 10) for value in values]
    power = _thousands(max(map(abs, values)), 10) if takes_prefix(unit) else 0
    scaled = [value / 10.0**power for value in values]
    places = max(len(number(value, 10).partition(".")[2]) for value in scaled)
    return [fixed(value, places) + unit_mark(unit, power) for value in scaled]


def whole_number(count: int) -> str:
    """A count to its last digit, such as "1029" or "12 029"."""
    return fixed(count, 0)


def signed(value: float, unit: str = "", digits: int = 3) -> str:
    """A change, as `quantity` writes it, with its sign: "+0.12 dB"."""
    return ("+" if value > 0 else "") + quantity(value, unit, digits)


def in_text(value: float, unit: str = "", digits: int = 3) -> str:
    """As `quantity` writes it, in ordinary characters: for a reason or a remark in a sentence."""
    return ordinary(quantity(value, unit, digits))


def price(amount: float, currency: str) -> str:
    """A sum of money with two decimals: "129.50 USD"."""
    return f"{fixed(amount, 2)}{NO_BREAK}{currency}"


def exact(value: float, unit: str, bound: str | None = None) -> str:
    """For files that a person may edit: every digit, ordinary characters, no prefix.

    `read_quantity` gives the value back to 15 digits, which every decimal text survives.
    """
    mark = {"upper": "< ", "lower": "> "}.get(bound or "", "")
    return f"{mark}{value:.15g}" + ("" if unit == "1" else f" {unit}")


def ordinary(text: str) -> str:
    """The same text in characters that every terminal has and a reader can type: for a terminal."""
    return text.translate(_ORDINARY)


def with_minus_signs(text: str) -> str:
    """A text as somebody typed it, with a minus sign where a hyphen stands before a number."""
    return _TYPED_MINUS.sub("−", text)


def unit_mark(unit: str, power: int) -> str:
    """The unit behind a number, with its prefix; slew rates by a small unit of time."""
    if unit == "V/s" and power in (3, 6):
        return f"{NO_BREAK}V/{'m' if power == 3 else 'µ'}s"
    mark = symbol(unit)
    return f"{NO_BREAK}{PREFIXES[power]}{mark}" if mark else ""


def decimals_beside(value: float, spread: float, unit: str) -> tuple[int, int]:
    """The prefix' power of ten, by the larger of value and spread as shown, and the decimals.

    spread: expanded uncertainty, above 0, in the value's unit.
    """
    size = max(abs(value), spread)
    power = power_of(size) if takes_prefix(unit) else 0
    places = _places(size / 10.0**power, spread / 10.0**power)
    shown = round(size / 10.0**power, places) * 10.0**power
    if shown > size:
        power = power_of(shown) if takes_prefix(unit) else 0
        places = _places(shown / 10.0**power, spread / 10.0**power)
    return power, places


def power_of(size: float) -> int:
    """The power of ten of the usual prefix of a size above 0."""
    power = 3 * math.floor(math.log10(size) / 3 + 1e-12)
    return min(max(power, min(PREFIXES)), max(PREFIXES))


def _places(size: float, spread: float) -> int:
    """Decimals: two digits of the spread, but at most MOST_DIGITS digits of the value."""
    wanted = 1 - math.floor(math.log10(spread))
    return max(0, min(wanted, MOST_DIGITS - 1 - math.floor(math.log10(size))))


def _up(spread: float, places: int) -> float:
    """The spread rounded up to the last place shown: never shown smaller than it is."""
    return max(math.ceil(spread * 10.0**places * (1 - 1e-9)), 1) / 10.0**places


def _bound(value: float, unit: str, bound: str) -> str:
    """A bound to three digits: an upper one never shown lower than it is, a lower one never
    higher."""
    power = _thousands(value, 3) if takes_prefix(unit) else 0
    scaled = value / 10.0**power
    if scaled == 0:
        return quantity(value, unit)
    step = 10.0 ** (math.floor(math.log10(abs(scaled))) - 2)
    away = math.ceil if bound == "upper" else math.floor
    held = away(scaled / step - math.copysign(1e-9, 1 if bound == "upper" else -1)) * step
    return quantity(held * 10.0**power, unit)


def _thousands(value: float, digits: int) -> int:
    return power_of(float(f"{abs(value):.{digits - 1}e}")) if value else 0


def fixed(value: float, places: int) -> str:
    """So many decimals, thousands apart from five digits on, never a negative nothing."""
    text = f"{value:.{places}f}"
    text = text.removeprefix("-") if float(text) == 0 else text.replace("-", "−")
    whole, point, fraction = text.partition(".")
    if len(whole.removeprefix("−")) > 4:
        sign = "−" if whole.startswith("−") else ""
        whole = sign + f"{int(whole.removeprefix('−')):,}".replace(",", THIN)
    return whole + point + fraction


def _trimmed(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
