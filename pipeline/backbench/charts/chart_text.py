"""Numbers as a reader expects them, and how much room text takes."""

from __future__ import annotations

import math
import unicodedata

PREFIXES = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
SYMBOLS = {"ohm": "Ω", "1": "", "percent": "%"}
PREFIXED = ("V", "W", "Ω", "Hz", "A", "s", "F")
BOLD = 1.08
NARROW = frozenset("iljtfrI.,:;'|!()[] /-·")
WIDE = frozenset("mwMW@%—")


def symbol(unit: str) -> str:
    """The symbol that stands behind a number of this unit."""
    return SYMBOLS.get(unit, unit)


def takes_prefix(unit: str) -> bool:
    """Whether numbers of this unit are written with µ, m, k and the like."""
    return symbol(unit).split(" ")[0] in PREFIXED


def quantity(value: float, unit: str = "", digits: int = 3) -> str:
    """A value with its unit to so many significant digits: 0.0000213 V gives "21.3 µV"."""
    mark = symbol(unit)
    if takes_prefix(unit):
        power = _thousands(value, digits)
        return f"{number(value / 10.0**power, digits)} {PREFIXES[power]}{mark}"
    joint = "" if mark in ("%", "") else " "
    return f"{number(value, digits)}{joint}{mark}"


def number(value: float, digits: int = 3) -> str:
    """A number to so many significant digits, thousands apart, with a true minus sign."""
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    text = f"{rounded:,.{max(places, 0)}f}"
    if "." in text and places > 0:
        text = text.rstrip("0").rstrip(".")
    return text.replace("-", "−")


def ordinal(position: int) -> str:
    """1st, 2nd, 3rd, 4th and on."""
    ending = (
        "th"
        if position % 100 in (11, 12, 13)
        else {1: "st", 2: "nd", 3: "rd"}.get(position % 10, "th")
    )
    return f"{position}{ending}"


def text_width(text: str, size_px: float, *, bold: bool = False) -> float:
    """About how wide the text runs, in pixels, in a plain sans-serif face; never too narrow."""
    width = size_px * sum(_advance(character) for character in text)
    return width * BOLD if bold else width


def shortened(text: str, room_px: float, size_px: float, *, bold: bool = False) -> str:
    """The text cut with an ellipsis where it would run wider than the room."""
    if text_width(text, size_px, bold=bold) <= room_px:
        return text
    kept = text
    while kept and text_width(kept + "…", size_px, bold=bold) > room_px:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def unit_name(label: str, room_px: float, size_px: float, *, bold: bool = False) -> str:
    """A unit's label cut to the room: its first word to an initial, then the end.

    What tells the unit from its like, after a comma, is kept.
    """
    if text_width(label, size_px, bold=bold) <= room_px:
        return label
    first, space, rest = label.partition(" ")
    if space and len(first) > 2:
        label = f"{first[0]}. {rest}"
    head, comma, tail = label.rpartition(", ")
    ending = comma + tail
    room = room_px - text_width(ending, size_px, bold=bold)
    if not comma or room < 5 * size_px:
        return shortened(label, room_px, size_px, bold=bold)
    return shortened(head, room, size_px, bold=bold) + ending


def wrapped(text: str, room_px: float, size_px: float, most: int = 2) -> list[str]:
    """The text on at most so many lines, the last one shortened."""
    lines: list[str] = []
    rest = text.split()
    while rest and len(lines) < most:
        taken = [rest.pop(0)]
        while rest and text_width(" ".join([*taken, rest[0]]), size_px) <= room_px:
            taken.append(rest.pop(0))
        if rest and len(lines) == most - 1:
            taken, rest = [*taken, *rest], []
        lines.append(shortened(" ".join(taken), room_px, size_px))
    return lines


def _thousands(value: float, digits: int) -> int:
    if value == 0:
        return 0
    rounded = float(f"{abs(value):.{digits - 1}e}")
    power = 3 * math.floor(math.floor(math.log10(rounded)) / 3)
    return min(max(power, min(PREFIXES)), max(PREFIXES))


def _advance(character: str) -> float:
    if character in NARROW:
        return 0.3
    if unicodedata.east_asian_width(character) in "WF":
        return 1.0
    if unicodedata.combining(character):
        return 0.0
    if character in WIDE:
        return 0.86
    return 0.68 if character.isupper() else 0.55
