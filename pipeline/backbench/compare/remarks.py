"""What is said beside a comparison: its method, warnings, and figures in a listener's terms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from backbench.compare import drift, listener, ranks
from backbench.compare.lines import LIMIT_LOADS, LIMIT_PERCENT, Line
from backbench.compare.peers import Peers
from backbench.settings import Settings
from backbench.store import Store

if TYPE_CHECKING:
    import polars as pl

WORSE = "where a unit has several outputs, the worse one is compared"


def listening(
    store: Store, unit: Mapping[str, Any], lines: Sequence[Line], settings: Settings
) -> list[str]:
    """Noise and loudness through the settings' loudspeakers; the list price in today's money."""
    told: list[str] = []
    powers: list[float] = []
    for line in lines:
        if line.metric == "noise_a" and line.value > 0:
            told += listener.noise_said(line.value, line.bound == "upper", settings)
        if line.metric == "power_at_limit" and line.limit_percent == LIMIT_PERCENT:
            load = LIMIT_LOADS[line.point_key]
            told += listener.loudest_said(
                line.value, load, f"{LIMIT_PERCENT:g} % distortion", settings
            )
            powers = _powers(store, line)
    if unit["price_amount"] is not None:
        price = unit["price_amount"], unit["price_currency"], unit["price_year"]
        told.append(listener.price_said(*price, powers))
    return told


def _powers(store: Store, line: Line) -> list[float]:
    """The power of each output of the unit at the limit."""
    rows = store.rows(
        "SELECT value FROM placed WHERE unit_key = $unit AND metric = 'power_at_limit' "
        "AND point_key = $point AND limit_percent = $limit ORDER BY output",
        {"unit": line.unit_key, "point": line.point_key, "limit": line.limit_percent},
    )
    return [float(value) for (value,) in rows if value > 0]


def notes(
    store: Store, chosen: Peers, lines: Sequence[Line], among: pl.DataFrame, unit_key: str
) -> list[str]:
    """How the places were found, and what a reader should beware of."""
    told = [chosen.note] if chosen.note else []
    if not lines:
        told.append("no reading of this unit is at a test point")
    told.append(f"ranks: 95 % intervals, {ranks.METHOD}; {WORSE}")
    return told + _drift_notes(store, among, unit_key)


def _drift_notes(store: Store, among: pl.DataFrame, unit_key: str) -> list[str]:
    """A warning for each step of a bench that lies between this unit's readings and a peer's."""
    import polars as pl

    own = among.filter(pl.col("unit_key") == unit_key).select("bench_key", "reviewed").unique()
    others = among.filter(pl.col("unit_key") != unit_key)
    notes = []
    for step in drift.steps(store):
        days = others.filter(pl.col("bench_key") == step.bench_key)
        mine = own.filter(pl.col("bench_key") == step.bench_key)["reviewed"].to_list()
        crossed = {
            row["unit_key"]
            for row in days.select("unit_key", "reviewed").unique().iter_rows(named=True)
            if any(step.spans(day, row["reviewed"]) for day in mine)
        }
        if crossed:
            notes.append(
                f"bench {step.bench_key}: {step.series} moved by {step.change:+.3g} {step.unit} "
                f"between {step.before} and {step.after}; {len(crossed)} peers were measured on "
                "the other side of it"
            )
    return notes
