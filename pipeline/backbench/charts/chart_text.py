"""How much room text takes, and how it is cut to the room."""

from __future__ import annotations

import unicodedata
from functools import lru_cache

BOLD = 1.08
NARROW = frozenset("iljtfrI.,:;'|!()[] /-·\u00a0\u202f")
WIDE = frozenset("mwMW@%—")


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
    """The text on at most so many lines, the last one shortened; a value keeps its unit."""
    lines: list[str] = []
    rest = text.split(" ") if text else []
    while rest and len(lines) < most:
        taken = [rest.pop(0)]
        while rest and text_width(" ".join([*taken, rest[0]]), size_px) <= room_px:
            taken.append(rest.pop(0))
        if rest and len(lines) == most - 1:
            taken, rest = [*taken, *rest], []
        lines.append(shortened(" ".join(taken), room_px, size_px))
    return lines


@lru_cache(maxsize=4096)
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
