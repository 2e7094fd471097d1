"""The battery's table of one unit in one review: each metric at each test point."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from backbench.comparison.compared_points import compared_points
from backbench.comparison.peers import Peers
from backbench.comparison.stale_figures import MARK, Stale
from backbench.comparison.standings import Standing
from backbench.documents.kinds import kind_of_unit
from backbench.metrics.declared_traits import declarations
from backbench.metrics.traits import AT_POWERS
from backbench.publish.peer_strips import PeerStrip, peer_strip
from backbench.publish.site_data import SiteData
from backbench.quantities.writing import measured
from backbench.storage.database import Database

Row = Mapping[str, Any]
Key = tuple[str, str, float | None]

READINGS = """
SELECT
    reading.*, reading_point.point_key, test_point.title AS point, metric.title, metric.unit,
    metric.better
FROM reading
JOIN reading_point USING (reading_key, review_key)
JOIN test_point USING (point_key)
JOIN metric USING (metric, method_version)
WHERE reading.review_key = $review AND unit_key = $unit AND order_n IS NULL
  AND NOT list_contains($aside, metric)
  AND (list_contains(test_point.metrics, metric) OR NOT metric IN (
        SELECT unnest(metrics) FROM test_point WHERE metrics IS NOT NULL))
ORDER BY point_key, metric, limit_percent, output, detail, reading_key
"""


@dataclass(frozen=True)
class Value:
    """One output's value in words; status and reason where it isn't plainly measured.

    detail: what the value refers to, where that is not the test point alone. mark: that it is out
    of date, where it is.
    """

    output: str
    detail: str
    shown: str
    status: str
    reason: str
    mark: str = ""


@dataclass(frozen=True)
class TableEntry:
    """A metric at a test point: its outputs, and its place among peers where it has one."""

    metric: str
    title: str
    point: str
    limit_percent: float | None
    values: tuple[Value, ...]
    place: str
    strip: PeerStrip | None

    @property
    def usual(self) -> bool:
        """Whether units are compared in it: the rest is shown on demand."""
        return self.metric in compared_points()

    @property
    def told(self) -> bool:
        """Whether an output has a value."""
        return any(value.shown for value in self.values)


def left_out() -> dict[str, list[str]]:
    """The parameter of READINGS that is the same for all: metrics that no table shows."""
    return {"aside": [*declarations().having(lambda traits: traits.sheet == "left out")]}


def battery(
    store: Database, site_data: SiteData, review_key: str, unit_key: str, kind_name: str,
    lines: Sequence[Standing], peers: Peers, stale: Stale,
) -> list[TableEntry]:  # fmt: skip
    """The table's rows: first those that units are compared in, then the rest by test point.

    kind_name: kind of the unit, which says whose test points come first.
    lines: the unit's places; one is shown only where it was found from this review's reading.
    stale: figures that are out of date, which say so.
    """
    frame = store.frame(READINGS, {"review": review_key, "unit": unit_key, **left_out()})
    groups: dict[Key, list[Row]] = {}
    for row in frame.iter_rows(named=True):
        key = (str(row["metric"]), str(row["point_key"]), row["limit_percent"])
        groups.setdefault(key, []).append(row)
    order, kind = [*compared_points()], kind_of_unit(kind_name)
    groups = {key: rows for key, rows in groups.items() if _is_listed(key, groups)}
    ranked = sorted(
        groups,
        key=lambda key: (
            key[0] not in order,
            not kind.shows_first(key[1]),
            order.index(key[0]) if key[0] in order else 0,
        ),
    )
    return [
        _entry(groups[key], _line_for(groups[key], lines), site_data, peers, stale)
        for key in ranked
    ]


def _is_listed(key: Key, groups: Iterable[Key]) -> bool:
    """Whether a quantity is shown at this test point."""
    metric, point, _ = key
    if declarations().traits(metric).sheet != "one power":
        return True
    taken = [other[1] for other in groups if other[0] == metric]
    wanted = next((p for p in AT_POWERS if p in taken), taken[0])
    return point == wanted


def _line_for(rows: Sequence[Row], lines: Iterable[Standing]) -> Standing | None:
    """The place that rests on one of these very readings."""
    for line in lines:
        for row in rows:
            same = (row["metric"], row["point_key"], row["limit_percent"], row["output"])
            wanted = (line.metric, line.point_key, line.limit_percent, line.output)
            if same == wanted and row["value"] == line.value:
                return line
    return None


def _entry(
    rows: Sequence[Row], line: Standing | None, site_data: SiteData, peers: Peers,
    stale: Stale,
) -> TableEntry:  # fmt: skip
    first = rows[0]
    return TableEntry(
        metric=first["metric"],
        title=first["title"],
        point=first["point"],
        limit_percent=first["limit_percent"],
        values=tuple(
            _value(row, stale.has(row["review_key"], row["analysis_key"])) for row in rows
        ),
        place=line.place if line else "",
        strip=peer_strip_of(line, site_data, peers) if line else None,
    )


def _value(row: Row, is_stale: bool) -> Value:
    shown = measured(row["value"], row["uncertainty"], row["unit"], row["bound"])
    return Value(
        output=row["output"],
        detail=_detail(row["detail"]),
        shown=shown,
        status=row["status"],
        reason=row["reason"] or "",
        mark=f"out of date: {MARK}" if is_stale and shown else "",
    )


def _detail(text: str) -> str:
    """Further conditions in words: "nominal load 8 ohm"."""
    return ", ".join(f"{name} {value}" for name, value in json.loads(text).items())


def peer_strip_of(line: Standing, site_data: SiteData, peers: Peers) -> PeerStrip | None:
    """A unit's standing as a strip plot among its peers."""
    column = site_data.values.get((line.metric, line.point_key, line.limit_percent), {})
    others = [
        float(column[key]["value"])
        for key in peers.at(line.point_key)
        if key in column and key != line.unit_key
    ]
    return peer_strip(others, line.value, line.uncertainty, line.unit, line.bound)
