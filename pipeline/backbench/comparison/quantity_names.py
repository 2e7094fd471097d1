"""A compared quantity as a table names it: its title, its limit and the conditions it holds at."""

from __future__ import annotations

from backbench.documents.input_sorts import LINE
from backbench.metrics.declared_traits import declarations
from backbench.quantities.writing import in_text, number
from backbench.test_points.points import shipped_point


def titled(metric: str, title: str, limit_percent: float | None) -> str:
    """The title, with the distortion limit where one is part of the quantity."""
    if limit_percent is None:
        return title
    known = declarations().traits(metric).title_at_limit
    limit = number(limit_percent)
    return known.format(limit=limit) if known else f"{title} ({in_text(limit_percent, '%')})"


def quantity_name(metric: str, title: str, limit_percent: float | None, point_key: str) -> str:
    """As `titled`, with what its test point asks for: "THD, 1 kHz, 5 W, 8 Ω"."""
    return ", ".join(filter(None, (titled(metric, title, limit_percent), conditions(point_key))))


def of_point(point_key: str, title: str) -> str:
    """The conditions of a test point, shipped or the reviewer's own, by its title."""
    try:
        return conditions(point_key)
    except KeyError:
        return title


def conditions(point_key: str) -> str:
    """What a shipped test point asks for, without what every reading of it has by its nature."""
    point = shipped_point(point_key)
    if point.input_sort not in (None, LINE):
        return point.title
    if point.tones_hz:
        return " + ".join(in_text(hertz, "Hz") for hertz in point.tones_hz)
    if point.frequency_hz is None:
        return ""
    if point.power_w or point.power_share or point.level_v:
        return point.title
    parts = [in_text(point.frequency_hz, "Hz")]
    parts += [in_text(point.load_ohm, "ohm")] if point.load_ohm else []
    return ", ".join([*parts, *(["one output driven"] if point.driven == "one" else [])])
