"""What makers promised of models of which no unit came to the bench."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from backbench.documents.strict_model import Strict
from backbench.documents.unit_facts import Name, PublishedFigure, Technology, Year
from backbench.quantities.faults import UnreadableQuantity
from backbench.quantities.reading import read_quantity

BOUNDS = {"at most": "upper", "at least": "lower"}


class Specification(Strict):
    """The published figures of one model. Units are held against those of their class."""

    maker: Name
    """Who made it. Example: `"Marrowgate"`"""
    model: Name
    """The product. Example: `"Heron 60"`"""
    kind: Name
    """Kind of unit, of the program or of your own. Example: `"integrated amplifier"`"""
    technology: Technology | None = None
    """Technology of the output stage. Example: `"tube"`"""
    made: Year | None = None
    """Year of make. Example: `1963`"""
    published: Annotated[list[PublishedFigure], Field(min_length=1)]
    """What the maker promised."""


def limit_value(figure: PublishedFigure, unit: str) -> float:
    """A published limit in a metric's unit: "0.5 mV" in V is 0.0005.

    Raises UnreadableQuantity, also where the limit is marked as the other side.
    """
    side, text = printed_limit(figure)
    written = read_quantity(text, unit, load_ohm=figure.at.load_ohm)
    if written.bound is not None and written.bound != BOUNDS[side]:
        raise UnreadableQuantity(text, f"contradicts {side!r}", "write the limit alone")
    return written.value


def printed_limit(figure: PublishedFigure) -> tuple[str, str]:
    """Side and text of a published limit."""
    if figure.at_most is not None:
        return "at most", figure.at_most
    assert figure.at_least is not None
    return "at least", figure.at_least


def limit_columns(figure: PublishedFigure, unit: str) -> dict[str, object]:
    """A published figure as the columns of table published. unit: of its metric."""
    side, text = printed_limit(figure)
    low, high = figure.at.band_hz or (None, None)
    return {
        "metric": figure.metric, "side": side, "limit_value": limit_value(figure, unit),
        "frequency_hz": figure.at.frequency_hz, "band_low_hz": low, "band_high_hz": high,
        "power_w": figure.at.power_w, "load_ohm": figure.at.load_ohm,
        "limit_percent": figure.at.limit_percent, "weighting": figure.at.weighting,
        "driven": figure.at.driven, "supply_vrms": figure.at.supply_vrms,
        "printed": text, "printed_in": figure.printed_in,
    }  # fmt: skip
