"""A cell that says more than its figure: "12 W @ 8 Ω, 1 % THD", "0.08 ± 0.01 %"."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from backbench.metrics.metric_names import metric_called
from backbench.metrics.registry import registry
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.numerals import DecimalSign
from backbench.quantities.reading import ParsedQuantity, read_quantity
from backbench.quantities.writing import in_text

_APART = re.compile(r"\s*(?:@|;|\(|\)|,\s+|\b(?:at|into|with|in)\b)\s*", re.IGNORECASE)
_PLUS_MINUS = re.compile(r"\s*(?:±|\+/-|\+-)\s*")
_UNIT_AT_END = re.compile(r"\s*(?:[^\W\d_]+|[%‰°Ω])$")
_BEHIND = {"tone", "sine", "output", "load"}
"""Words that may stand behind a quantity without changing what it is, beside names of ratios."""
UNIT_OF_CONDITION = {
    "frequency_hz": "Hz", "power_w": "W", "load_ohm": "ohm", "limit_percent": "%",
}  # fmt: skip
"""The unit by which a condition is known. A percentage is one beside a power only."""


@dataclass(frozen=True)
class CompoundFigure:
    """A figure with the conditions that its own cell states.

    spread: the amount behind ±, in the figure's unit; None where there is none.
    """

    figure: ParsedQuantity
    at: dict[str, float] = field(default_factory=dict)
    spread: float | None = None


@dataclass(frozen=True)
class FigureUnits:
    """How a column's figures are read: unit wanted, unit of bare numbers, decimal sign, load."""

    unit: str
    usual_unit: str | None = None
    decimal: DecimalSign | None = None
    load_ohm: float | None = None

    def read(self, text: str, load_ohm: float | None = None) -> ParsedQuantity:
        """One quantity; load_ohm as its own cell states it. Raises UnreadableQuantity."""
        return read_quantity(
            text, self.unit, usual_unit=self.usual_unit, decimal=self.decimal,
            load_ohm=load_ohm or self.load_ohm,
        )  # fmt: skip


def read_compound(text: str, how: FigureUnits) -> CompoundFigure:
    """A figure and its conditions.

    Raises UnreadableQuantity, also where two pieces may be the figure, where a piece is neither
    figure nor condition, and where a condition is stated twice.
    """
    pieces = [piece for piece in _APART.split(text) if piece.strip()]
    if len(pieces) < 2:
        return _with_spread(text, text, how, {})
    stated = {piece: found for piece in pieces if (found := _condition(_bare(piece), how))}
    load = next((value for name, value in stated.values() if name == "load_ohm"), None)
    figures = [piece for piece in pieces if _is_figure(piece, how, load, stated.get(piece))]
    unread = [piece for piece in pieces if piece not in stated]
    if not figures and unread:
        _read(text, _bare(unread[0]), how, load)
    if len(figures) != 1:
        problem = "holds more than one figure" if figures else "holds no figure of this column"
        raise UnreadableQuantity(text, problem, "write one figure a cell")
    rest = list(pieces)
    rest.remove(figures[0])
    return _with_spread(text, _bare(figures[0]), how, _conditions(text, rest, stated))


def _bare(piece: str) -> str:
    """A piece without the words that say what its quantity is: "1 % THD" is "1 %"."""
    words = piece.split()
    while len(words) > 1 and (words[-1].lower() in _BEHIND or names_ratio(words[-1])):
        words.pop()
    return " ".join(words)


def names_ratio(word: str) -> bool:
    """Whether a word names a metric in per cent, as a distortion limit's does: "1 % THD"."""
    metric = metric_called(word)
    return metric is not None and registry().metrics[metric].unit == "%"


def _condition(piece: str, how: FigureUnits) -> tuple[str, float] | None:
    """The condition that a piece states, and its value; None where it states none."""
    for name, unit in UNIT_OF_CONDITION.items():
        if unit == "%" and how.unit != "W":
            continue
        try:
            read = read_quantity(piece, unit, decimal=how.decimal)
        except UnreadableQuantity:
            continue
        if read.bound is None and read.value > 0:
            return name, read.value
    return None


def _is_figure(
    piece: str, how: FigureUnits, load: float | None, stated: tuple[str, float] | None
) -> bool:
    """Whether a piece is a quantity of the column, and no condition in another unit."""
    if stated is not None and UNIT_OF_CONDITION[stated[0]] != how.unit:
        return False
    try:
        how.read(_before_spread(_bare(piece)), load)
    except UnreadableQuantity:
        return False
    return True


def _conditions(
    text: str, pieces: list[str], stated: dict[str, tuple[str, float]]
) -> dict[str, float]:
    at: dict[str, float] = {}
    for piece in pieces:
        if piece not in stated:
            reason = f"holds {piece!r}, which is neither a figure of this column nor a condition"
            raise UnreadableQuantity(text, reason, "take it out, or write it in another column")
        name, value = stated[piece]
        if at.setdefault(name, value) != value:
            raise UnreadableQuantity(text, f"states {name} twice", "write one figure a cell")
    return at


def _before_spread(piece: str) -> str:
    """The figure before a ±, with the unit that stands behind both."""
    parts = _PLUS_MINUS.split(piece)
    if len(parts) != 2 or not parts[0]:
        return piece
    unit = _UNIT_AT_END.search(parts[1])
    return parts[0] if _UNIT_AT_END.search(parts[0]) or not unit else f"{parts[0]}{unit[0]}"


def _with_spread(text: str, piece: str, how: FigureUnits, at: dict[str, float]) -> CompoundFigure:
    load = at.get("load_ohm")
    figure = _read(text, _before_spread(piece), how, load)
    parts = _PLUS_MINUS.split(piece)
    if len(parts) != 2 or not parts[0]:
        return CompoundFigure(figure, at)
    spread = _read(text, parts[1], how, load).value
    if spread <= 0 or figure.bound is not None:
        raise UnreadableQuantity(text, "has no uncertainty of a value behind ±")
    return CompoundFigure(figure, at, spread)


def _read(text: str, piece: str, how: FigureUnits, load: float | None) -> ParsedQuantity:
    try:
        return how.read(piece, load)
    except UnreadableQuantity as error:
        if piece == text:
            raise
        raise UnreadableQuantity(text, f"holds {piece!r}, which {error.reason}",
                                 error.remedy) from None  # fmt: skip


def contradiction(at: dict[str, float], known: dict[str, object]) -> str | None:
    """Why the conditions of a cell can't stand beside those of its column; None where they can."""
    for name, value in at.items():
        other = known.get(name)
        if isinstance(other, float) and other != value:
            unit = UNIT_OF_CONDITION[name]
            column, cell = in_text(other, unit, 6), in_text(value, unit, 6)
            return f"states {cell} where the map states {column} for its column"
    return None
