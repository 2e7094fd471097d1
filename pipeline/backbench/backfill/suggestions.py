"""What to write instead in a cell that was left out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache

from backbench.backfill.compound_cells import FigureUnits
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import NUMERAL
from backbench.quantities.units import UNITS, symbol

_RANGE = re.compile(
    rf"\s*(?P<low>{NUMERAL})\s*(?:-|–|to|\.\.\.?|…)\s*(?P<high>{NUMERAL})(?P<unit>.*)"
)
_NUMBER = re.compile(rf"(?P<number>{NUMERAL})\s*(?P<unit>[^\W\d_]\S*|[%‰°Ω])?")
_DECADE = re.compile(
    r"(?:the\s+)?(?:early|mid|late)?[\s-]*(?:19)?(?P<tens>[2-9])0['’]?s", re.IGNORECASE
)
_TENS = {
    "twenties": 2, "thirties": 3, "forties": 4, "fifties": 5, "sixties": 6, "seventies": 7,
    "eighties": 8, "nineties": 9,
}  # fmt: skip


def is_range(text: str) -> bool:
    """Whether a text gives two ends: "1-3 %"."""
    return _RANGE.fullmatch(text) is not None


def for_figure(text: str, how: FigureUnits, better: str) -> str:
    """How a figure may be written. better: the direction of its metric, as "lower"."""
    span = _RANGE.fullmatch(text)
    if span is not None:
        return _bound(span, how, better)
    found = _NUMBER.search(text)
    if found is None:
        return f"leave the cell empty, or add {text!r} to `empty` in the map"
    written = f"{found['number']} {_nearest_unit(found['unit'] or '', how)}".strip()
    try:
        how.read(written)
    except UnreadableQuantity as error:
        return error.remedy or f"write the figure with its unit, as 5 {symbol(how.unit)}".rstrip()
    return f"write {written} if that is what was read"


def _bound(span: re.Match[str], how: FigureUnits, better: str) -> str:
    unit = span["unit"].strip() or symbol(how.usual_unit or how.unit)
    sign, end = ("<", span["high"]) if better != "higher" else (">", span["low"])
    return f"write one figure, or the bound that is certain, as {sign} {end} {unit}".rstrip()


def _nearest_unit(written: str, how: FigureUnits) -> str:
    """The unit that was likely meant: the one most like it that fits the column, or the usual."""
    usual = symbol(how.usual_unit or how.unit)
    near = get_close_matches(written, _fitting(how.unit, how.usual_unit, how.load_ohm), n=1)
    return near[0] if near else usual


@cache
def _fitting(unit: str, usual_unit: str | None, load_ohm: float | None) -> list[str]:
    """Every spelling of a unit that a column of this unit takes, with usual prefixes."""
    how = FigureUnits(unit, usual_unit, ".", load_ohm)
    plain = [text for name, known in UNITS.items() for text in (name, *known.spellings)]
    prefixed = [f"{prefix}{text}" for prefix in "mkµu" for text in plain]
    return [text for text in (*plain, *prefixed) if _fits(text, how)]


def _fits(unit: str, how: FigureUnits) -> bool:
    try:
        how.read(f"5 {unit}")
    except UnreadableQuantity:
        return False
    return True


def for_choice(text: str, choices: Iterable[str], words: Mapping[str, str]) -> str:
    """The choice most like a word, or where its meaning is stated."""
    known = list(choices)
    near = get_close_matches(text.lower(), [*known, *map(str.lower, words)], n=1)
    if near:
        return f"did you mean {near[0]}?"
    return f'add it to `words` in the map, as {{ "{text}" = "{known[0]}" }}'


def for_years(text: str) -> str:
    """A year, or the decade that was meant, as the map takes them."""
    years = re.findall(r"(?<!\d)(?:19|20)\d\d(?!\d)", text)
    decade = _DECADE.fullmatch(text.strip())
    word = next((tens for name, tens in _TENS.items() if name in text.lower()), None)
    tens = int(decade["tens"]) if decade else word
    if tens is not None:
        return f"write 19{tens}0-{tens}9"
    if years:
        first, last = min(years), max(years)
        return f"write {first}" if first == last else f"write {first}-{last}"
    return "write a year as 1961, or the first and the last possible one as 1959-63"


def for_missing(column: str | None, name: str) -> str:
    """What to do about a cell that is empty though it is needed."""
    place = f"in column {column!r}" if column else "in the sheet"
    return f"write it {place}, or give `{name} = {{ always = … }}` in the map if all rows agree"
