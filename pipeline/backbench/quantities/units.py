"""Units of measurement: how each is shown and spelled, its prefixes, the values it may have."""

from __future__ import annotations

from dataclasses import dataclass

PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
"""Symbols of the SI prefixes by their power of ten (SI Brochure, 9th edition, table 7)."""
_POWERS = {symbol: power for power, symbol in PREFIXES.items() if symbol}
_POWERS |= {"u": -6, "K": 3}
"""As typed: u where a keyboard has no µ, K as in KHz."""
LEAST = 1e-15
"""The least magnitude but 0 of any value: what is smaller was never measured."""


@dataclass(frozen=True)
class UnitOfMeasure:
    """symbol: behind a number. spellings: other texts for it, whatever their case.

    prefixed: shown with µ, m, k and the like. greatest: a magnitude beyond that of any unit on a
    bench; what exceeds it is a slip of the pen.
    """

    symbol: str
    greatest: float
    prefixed: bool = False
    spellings: tuple[str, ...] = ()
    exact: tuple[str, ...] = ()


UNITS = {
    "V": UnitOfMeasure("V", 1e5, True, ("v", "volt", "volts", "vrms", "v rms")),
    "W": UnitOfMeasure("W", 1e5, True, ("w", "watt", "watts", "wrms", "w rms")),
    "A": UnitOfMeasure("A", 1e4, True, ("amp", "amps", "ampere", "amperes")),
    "ohm": UnitOfMeasure("Ω", 1e12, True, ("ohm", "ohms", "ω"), ("R",)),
    "Hz": UnitOfMeasure("Hz", 1e11, True, ("hz", "hertz", "c/s", "cps")),
    "s": UnitOfMeasure("s", 1e8, True, ("sec", "secs", "second", "seconds")),
    "F": UnitOfMeasure("F", 1e3, True),
    "V/√Hz": UnitOfMeasure("V/√Hz", 1e4, True, ("v/√hz", "v/rthz", "v/sqrt(hz)")),
    "V/s": UnitOfMeasure("V/s", 1e13, True),
    "%": UnitOfMeasure("%", 1e4, False, ("percent", "per cent", "pct", "％")),
    "‰": UnitOfMeasure("‰", 1e5),
    "ppm": UnitOfMeasure("ppm", 1e8, False, ("ppm",)),
    "dB": UnitOfMeasure("dB", 400.0, False, ("db",)),
    "dBV": UnitOfMeasure("dBV", 400.0, False, ("dbv",)),
    "dBu": UnitOfMeasure("dBu", 400.0, False, ("dbu",)),
    "dBf": UnitOfMeasure("dBf", 400.0, False, ("dbf",)),
    "dB/h": UnitOfMeasure("dB/h", 1e4, False, ("db/h",)),
    "degC": UnitOfMeasure("°C", 1e4, False, ("°c", "degc", "celsius", "℃")),
    "S": UnitOfMeasure("S", 1e4, True, ("siemens", "mho", "mhos", "a/v")),
    "VA": UnitOfMeasure("VA", 1e5, True, ("va",)),
    "deg": UnitOfMeasure("°", 3600.0, False, ("deg", "degree", "degrees")),
    "arcmin": UnitOfMeasure("arcmin", 21_600.0, False, ("arcminutes", "minutes of arc")),
    "/min": UnitOfMeasure("/min", 1e6, False, ("per minute", "1/min")),
    "rad": UnitOfMeasure("rad", 100.0, False, ("rad", "radian", "radians")),
    "bit": UnitOfMeasure("bit", 64.0, False, ("bit", "bits")),
    "1": UnitOfMeasure("", 1e9),
}  # fmt: skip
_SPELLED = {text: name for name, unit in UNITS.items() for text in unit.spellings}
_EXACT = {text: name for name, unit in UNITS.items() for text in (name, unit.symbol, *unit.exact)}
_PER_TIME = {"V/µs": 6, "V/us": 6, "V/ms": 3}
"""Slew rates are spelled by a small unit of time."""


def symbol(unit: str) -> str:
    """The symbol that stands behind a number of this unit; a unit not known here is its own."""
    head, space, rest = unit.partition(" ")
    return (UNITS[head].symbol if head in UNITS else head) + space + rest


def takes_prefix(unit: str) -> bool:
    """Whether numbers of this unit are written with µ, m, k: of "V p-p" too."""
    known = UNITS.get(unit.partition(" ")[0])
    return known is not None and known.prefixed


def spelled_unit(text: str) -> tuple[str, int] | None:
    """The unit that a text names and the power of ten of its prefix; None where it names none.

    "kΩ" is ("ohm", 3), "mV rms" ("V", -3), "V/µs" ("V/s", 6). "mhz" names none: it may be meant
    as MHz.
    """
    plain = " ".join(text.replace("\u2126", "Ω").replace("\u03bc", "µ").split())
    if plain in _PER_TIME:
        return "V/s", _PER_TIME[plain]
    if (known := _named(plain)) is not None:
        return known, 0
    prefix, base = plain[:1], _named(plain[1:].strip())
    if base is None or prefix not in _POWERS or not UNITS[base].prefixed:
        return None
    return None if plain.startswith("mh") else (base, _POWERS[prefix])


def bare_prefix(text: str) -> int | None:
    """The power of ten of a prefix that stands alone: "k" and "K" are 3; None for other texts."""
    plain = {"K": "k", "u": "µ", "\u03bc": "µ"}.get(text, text)
    return _POWERS.get(plain)


def scaled(number: float, power: int) -> float:
    """A number times a power of ten, rounded once: 0.7 and -3 give 0.0007."""
    return number / 10.0**-power if power < 0 else number * 10.0**power


def factor(text: str, unit: str) -> float | None:
    """What a number with this unit is multiplied by to be in `unit`; None where it can't be."""
    spelled = spelled_unit(text)
    return scaled(1.0, spelled[1]) if spelled is not None and spelled[0] == unit else None


def _named(text: str) -> str | None:
    return _EXACT.get(text) or _SPELLED.get(text.lower())
