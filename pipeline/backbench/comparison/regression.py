"""One quantity of the units over another: metrics and facts, one value a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from backbench.comparison import listening_terms
from backbench.comparison.compared_points import compared_points
from backbench.comparison.compared_sides import as_set
from backbench.comparison.standings import LIMIT_PERCENT
from backbench.errors import Fault, Refusal, UserError
from backbench.metrics.metric_names import metric_key
from backbench.quantities.writing import in_text
from backbench.querying.saved_queries import not_found
from backbench.statistics.trends import Screened, Trend, screen, trend
from backbench.storage.database import Database

if TYPE_CHECKING:
    import polars as pl

FACTS = {
    "age": ("Age at the newest review", "years"), "made_year": ("Year of making", "years"),
    "reviewed_year": ("Year of review", "years"), "rated_power_w": ("Rated power", "W"),
    "price_today": ("List price in today's money", "USD"),
}  # fmt: skip
"""Facts of a unit that are numbers, with title and unit."""


@dataclass(frozen=True)
class Quantity:
    """One value a unit. title says the test point too."""

    name: str
    title: str
    unit: str
    values: Mapping[str, float]


@dataclass(frozen=True)
class Regression:
    """A quantity over another: the units that have both, and their trend."""

    y: Quantity
    x: Quantity
    keys: tuple[str, ...]
    groups: tuple[str, ...]
    trend: Trend

    def frame(self) -> pl.DataFrame:
        """One row a unit that has both."""
        import polars as pl

        return pl.DataFrame({
            "unit_key": self.keys, "group": self.groups,
            "x": [self.x.values[key] for key in self.keys],
            "y": [self.y.values[key] for key in self.keys],
        })  # fmt: skip

    def group_frame(self) -> pl.DataFrame:
        """One row over all units and one for each group, every figure in full precision.

        withheld: the line over all units is not to be shown, because groups differ (note).
        seen: the interval of the slope excludes zero.
        """
        import polars as pl

        named = {"all": self.trend, **self.trend.within}
        rows = [
            {
                "group": name, "n": one.n, "slope": one.slope, "slope_low": one.low,
                "slope_high": one.high, "confidence": one.confidence, "intercept": one.intercept,
                "rho": one.rho, "p": one.p, "seen": one.is_seen, "withheld": one.is_withheld,
                "note": one.note, "x": self.x.name, "x_unit": self.x.unit, "y": self.y.name,
                "y_unit": self.y.unit,
            }
            for name, one in named.items()
        ]  # fmt: skip
        return pl.DataFrame(rows, infer_schema_length=None)


@dataclass(frozen=True)
class Screening:
    """Many metrics over one fact: least adjusted p first, and those without a trend."""

    x: Quantity
    metrics: tuple[tuple[Quantity, Screened], ...]
    refused: Mapping[str, str]

    def frame(self) -> pl.DataFrame:
        """One row a metric."""
        import polars as pl

        rows = [
            {
                "metric": y.name, "title": y.title, "unit": y.unit, "n": one.trend.n,
                "slope": one.trend.slope, "slope_low": one.trend.low,
                "slope_high": one.trend.high, "rho": one.trend.rho, "p": one.trend.p,
                "p_adjusted": one.adjusted_p, "note": one.trend.note,
            }
            for y, one in self.metrics
        ]  # fmt: skip
        return pl.DataFrame(rows, infer_schema_length=None)


def regression(store: Database, y: str, x: str, within: str = "technology") -> Regression:
    """The trend of y over x, pooled and within the groups of a column of the units.

    y, x: a fact of FACTS, or METRIC, METRIC/NUMBER (a distortion limit in percent or a harmonic's
    order), either with @POINT; the test point with the most units by default.
    Raises UserError for what isn't known, and Refusal where there are too few units.
    """
    upper, lower = quantity(store, y), quantity(store, x)
    group_of = _groups(store, within)
    keys = tuple(sorted(set(upper.values) & set(lower.values)))
    groups = tuple(group_of[key] for key in keys)
    fitted = trend([lower.values[k] for k in keys], [upper.values[k] for k in keys], groups)
    return Regression(upper, lower, keys, groups, fitted)


def screening(store: Database, x: str, within: str = "technology") -> Screening:
    """Every metric of the catalogue, at the test point where most units have it, over one fact
    or metric. Raises UserError for what isn't known."""
    import numpy as np

    lower = quantity(store, x)
    group_of = _groups(store, within)
    keys = sorted(set(lower.values) & set(group_of))
    quantities = {q.name: q for q in _every_metric(store) if q.name != lower.name}
    columns = {
        name: np.asarray([q.values.get(key, np.nan) for key in keys], float)
        for name, q in quantities.items()
    }
    trends, refused = screen(
        [lower.values[key] for key in keys], columns, [group_of[key] for key in keys]
    )
    return Screening(lower, tuple((quantities[one.name], one) for one in trends), refused)


def _groups(store: Database, within: str) -> dict[str, str]:
    from backbench.comparison.peers import CHOOSABLE

    if within not in CHOOSABLE:
        raise UserError("there is no such trend", [
            Fault("within", repr(within), f"one of {', '.join(CHOOSABLE)}")])  # fmt: skip
    frame = store.frame("SELECT * FROM peer ORDER BY unit_key")
    return {row["unit_key"]: str(row[within]) for row in frame.iter_rows(named=True)}


def quantity(store: Database, text: str) -> Quantity:
    """A fact or metric by name. Raises UserError, with near names, where it isn't known."""
    if text in FACTS:
        return _fact(store, text)
    name, _, point = text.partition("@")
    written, _, number = name.partition("/")
    metric = metric_key(written) or written
    known = {str(m) for (m,) in store.rows("SELECT metric FROM metric")}
    if metric not in known:
        raise UserError("there is no such trend", [
            not_found("quantity", metric, sorted(known | set(FACTS)), "metric or fact")
        ])  # fmt: skip
    rows = store.frame(VALUES, {"metric": metric, "as_set": []})
    return _chosen(metric, number, point, list(rows.iter_rows(named=True)))


def _fact(store: Database, name: str) -> Quantity:
    title, unit = FACTS[name]
    frame = store.frame(
        "SELECT *, year(reviewed) AS reviewed_year, year(reviewed) - made_year AS age "
        "FROM peer ORDER BY unit_key"
    )
    values = {row["unit_key"]: _number(name, row) for row in frame.iter_rows(named=True)}
    return Quantity(name, title, unit, {k: v for k, v in values.items() if v is not None})


def _number(name: str, row: Mapping[str, Any]) -> float | None:
    if name != "price_today":
        return None if row[name] is None else float(row[name])
    if row["price_amount"] is None:
        return None
    try:
        price = row["price_amount"], row["price_currency"], row["price_year"]
        return listening_terms.price_today(*price)[0]
    except Refusal:
        return None


VALUES = """
SELECT worse.unit_key, worse.metric, worse.point_key, worse.limit_percent, worse.order_n,
       worse.own_frequency_hz, worse.detail, value, metric.title, worse.unit,
       test_point.title AS point
FROM worse
JOIN metric USING (metric)
JOIN test_point USING (point_key)
WHERE ($metric = '' OR worse.metric = $metric) AND NOT list_contains($as_set, worse.metric)
  AND worse.detail NOT LIKE '%"weighting":"A"%'
ORDER BY worse.metric, worse.point_key, worse.limit_percent, worse.order_n,
         worse.own_frequency_hz, worse.unit_key
"""


def _every_metric(store: Database) -> list[Quantity]:
    """Each metric at one test point; where it has orders, limits or frequencies of its own, only
    the usual limit."""
    frame = store.frame(VALUES, {"metric": "", "as_set": as_set()})
    quantities = []
    for (metric,), part in frame.group_by(("metric",), maintain_order=True):
        rows = list(part.iter_rows(named=True))
        if all(row["order_n"] is None and row["own_frequency_hz"] is None for row in rows):
            quantities.append(_chosen(str(metric), "", "", rows))
    return [quantity for quantity in quantities if quantity.values]


def _chosen(metric: str, number: str, point: str, rows: Sequence[Mapping[str, Any]]) -> Quantity:
    """The values of a metric at the asked or else the usual test point, limit and order."""
    wanted = [row for row in rows if _has_number(row, number) and point in ("", row["point_key"])]
    if not wanted:
        if number or point:
            raise _none(metric, rows)
        return Quantity(metric, metric, "", {})
    counts: dict[str, int] = {}
    for row in wanted:
        counts[row["point_key"]] = counts.get(row["point_key"], 0) + 1
    usual = compared_points().get(metric, ())
    best = max(counts, key=lambda key: (counts[key], key in usual, key))
    taken = [row for row in wanted if row["point_key"] == best]
    first = taken[0]
    conditions = f" {first['order_n']}" if first["order_n"] is not None else ""
    if first["limit_percent"] is not None:
        conditions += f" at {in_text(first['limit_percent'], '%', 6)}"
    conditions += ", unweighted" if '"weighting":"none"' in first["detail"] else ""
    values = {row["unit_key"]: float(row["value"]) for row in taken}
    name = metric + (f"/{number}" if number else "")
    return Quantity(name, f"{first['title']}{conditions} ({first['point']})", first["unit"], values)


def _has_number(row: Mapping[str, Any], number: str) -> bool:
    given = row["order_n"] if row["limit_percent"] is None else row["limit_percent"]
    if number:
        return given is not None and f"{given:g}" == number
    return given is None or given == LIMIT_PERCENT


def _none(metric: str, rows: Sequence[Mapping[str, Any]]) -> UserError:
    points = sorted({str(row["point_key"]) for row in rows})
    fault = Fault(
        metric, "no value there", f"one of its test points: {', '.join(points) or 'none'}"
    )
    return UserError("there is no such trend", [fault])
