"""Golden values: one reading of each metric of a simulated day, as it was when it was checked.

A golden value is no evidence by itself; it shows that nothing moved. Where a change is meant to
move a figure, raise the method version of its metric and make the values again:
`BACKBENCH_GOLDEN=write python -m pytest -n0 FILE`.
"""

from __future__ import annotations

import csv
import os
from pathlib import Path

import polars as pl
import pytest

FOLDER = Path(__file__).parent / "golden"
PLACE = (
    "unit_key", "output", "against", "stimulus", "driven", "load_ohm", "volume", "order_n",
    "limit_percent", "detail", "frequency_hz", "generator_vrms",
)  # fmt: skip
"""What the reading of a metric is chosen by, where there are several; its value comes last, so that
the order of the rows makes no difference."""
COLUMNS = ("metric", "method_version", "unit_key", "output", "value", "uncertainty", "bound")
RELATIVE, OF_UNCERTAINTY = 1e-6, 1e-3
"""How far other versions of the numerics may move a value, and of its uncertainty."""


def of_day(readings: pl.DataFrame) -> list[dict[str, object]]:
    """One reading a metric: a number before a bound, then by its conditions."""
    chosen = readings.filter(pl.col("value").is_not_null()).sort(
        "metric", pl.col("bound").is_not_null(), *PLACE, "value", nulls_last=True
    )
    return chosen.unique("metric", keep="first", maintain_order=True).select(COLUMNS).to_dicts()


def held(name: str) -> list[dict[str, str]]:
    """The golden values of a day."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def metrics_with_one() -> set[str]:
    """The metrics that have a golden value of any day."""
    return {row["metric"] for path in FOLDER.glob("*.csv") for row in held(path.stem)}


def agree(name: str, readings: pl.DataFrame) -> None:
    """Fail with every value of the day that moved."""
    found = of_day(readings)
    if os.environ.get("BACKBENCH_GOLDEN") == "write":
        _write(name, found)
    now = {str(row["metric"]): row for row in found}
    moved = [wanted for wanted in held(name) if not _same(wanted, now.get(wanted["metric"]))]
    assert moved == [], [(row, now.get(row["metric"])) for row in moved]


def _write(name: str, found: list[dict[str, object]]) -> None:
    FOLDER.mkdir(exist_ok=True)
    with (FOLDER / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            {**row, **{n: format(row[n], ".9g") for n in ("value", "uncertainty")
                       if row[n] is not None}}
            for row in found
        )  # fmt: skip


def _same(wanted: dict[str, str], row: dict[str, object] | None) -> bool:
    if row is None or int(wanted["method_version"]) != row["method_version"]:
        return False
    u = float(wanted["uncertainty"] or 0.0)
    value = pytest.approx(float(wanted["value"]), rel=RELATIVE, abs=OF_UNCERTAINTY * u + 1e-12)
    same_u = pytest.approx(u, rel=0.01, abs=1e-12)
    return bool(
        row["value"] == value and (row["uncertainty"] or 0.0) == same_u
        and (row["bound"] or "") == wanted["bound"] and row["unit_key"] == wanted["unit_key"]
    )  # fmt: skip
