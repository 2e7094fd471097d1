"""Has the bench moved? Control charts of individual values and their moving range.

Limits are from the median moving range (Shewhart's chart for individuals, with the median in
place of the mean so that a step doesn't widen its own limits): the median of |a - b| of two
normal values is 0.9539 standard deviations. Beside the limits: the run rules of Western Electric
(NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2; the numbers from memory), which see a
slow drift before a single value leaves the limits.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from backbench.errors import Refusal
from backbench.metrics.declared_traits import declarations
from backbench.quantities.writing import in_text
from backbench.storage.database import Database
from backbench.storage.light_rows import LightRows

if TYPE_CHECKING:
    import polars as pl

Floats = npt.NDArray[np.float64]
MEDIAN_RANGE = 0.67448975019608 * 2**0.5
SIGMAS = 3.0
SIDE = 4
"""Values on each side that a step is judged from, at most."""
FEWEST = 5


@dataclass(frozen=True)
class BrokenRule:
    """Values that together break a run rule. at: position of the last of them."""

    at: int
    rule: str


@dataclass(frozen=True, eq=False)
class Control:
    """A control chart. beyond: positions outside the limits. steps: positions where the level
    changed: the first value after the change. runs: where a run rule is broken, in words."""

    centre: float
    sigma: float
    low: float
    high: float
    beyond: tuple[int, ...]
    steps: tuple[int, ...]
    runs: tuple[BrokenRule, ...] = ()


@dataclass(frozen=True)
class LevelChange:
    """A change of one bench's level: in which series, between which days, from which value."""

    bench_key: str
    series: str
    before: dt.date
    after: dt.date
    first: float
    last: float
    unit: str

    @property
    def change(self) -> float:
        """The value after less that before."""
        return self.last - self.first

    def spans(self, one: dt.date, other: dt.date) -> bool:
        """Whether two days lie on different sides of the change."""
        early, late = min(one, other), max(one, other)
        return early <= self.before and late >= self.after


def control(values: Any) -> Control:
    """The chart of values in order of time, at least five. Raises Refusal for fewer."""
    x = np.asarray(values, float)
    if x.size < FEWEST:
        raise Refusal(f"{x.size} values; a control chart takes at least {FEWEST}")
    sigma = float(np.median(np.abs(np.diff(x)))) / MEDIAN_RANGE
    centre = float(np.median(x))
    low, high = centre - SIGMAS * sigma, centre + SIGMAS * sigma
    beyond = np.flatnonzero((x < low) | (x > high))
    outside = tuple(map(int, beyond))
    return Control(
        centre=centre, sigma=sigma, low=low, high=high, beyond=outside, steps=_steps(x, sigma),
        runs=tuple(_breaks(x, sigma)),
    )  # fmt: skip


SIDE_RULES = ((2, 3, 2.0), (4, 5, 1.0), (8, 8, 0.0))
"""So many of so many values in a row on one side, further from the centre than so many sigma."""
RISING = 6
"""Values in a row that rise, or fall."""


def _breaks(x: Floats, sigma: float) -> Iterator[BrokenRule]:
    """The first break of each run rule on each side; none where all values are equal."""
    if sigma <= 0:
        return
    for sign, side in ((1.0, "above"), (-1.0, "below")):
        distance = sign * (x - np.median(x)) / sigma
        for least, among, beyond in SIDE_RULES:
            counts = _in_last(distance > beyond, among)
            if counts.max(initial=0) >= least:
                reach = f"more than {in_text(beyond)} sigma {side}" if beyond else side
                count = f"{least} of {among}" if least < among else f"{least}"
                rule = f"{count} in a row {reach} the centre"
                yield BrokenRule(int(np.argmax(counts >= least)), rule)
        moves = _in_last(sign * np.diff(x) > 0, RISING - 1)
        if moves.max(initial=0) >= RISING - 1:
            word = "rising" if sign > 0 else "falling"
            yield BrokenRule(int(np.argmax(moves >= RISING - 1)) + 1, f"{RISING} in a row {word}")


def _in_last(holds: npt.NDArray[np.bool_], among: int) -> npt.NDArray[np.int64]:
    """How many of the last so many values hold, at each position."""
    return np.convolve(holds.astype(np.int64), np.ones(among, np.int64))[: holds.size]


def _steps(x: Floats, sigma: float) -> tuple[int, ...]:
    """Positions where the median of the next few differs from that of the last few.

    The scale is that of a difference of two such medians; of neighbouring positions the one
    with the greatest jump between single values counts. A lone outlier moves no median of
    three or more.
    """
    positions = []
    for i in range(2, x.size - 1):
        before, after = x[max(0, i - SIDE) : i], x[i : i + SIDE]
        error = sigma * 1.2533 * (1 / before.size + 1 / after.size) ** 0.5
        if abs(np.median(after) - np.median(before)) > max(SIGMAS * error, SIGMAS * sigma):
            positions.append(i)
    return tuple(max(run, key=lambda i: abs(x[i] - x[i - 1])) for run in _runs(positions))


def _runs(positions: Sequence[int]) -> list[list[int]]:
    """Positions that follow each other, together."""
    runs: list[list[int]] = []
    for position in positions:
        if runs and position == runs[-1][-1] + 1:
            runs[-1].append(position)
        else:
            runs.append([position])
    return runs


@dataclass(frozen=True, eq=False)
class Series:
    """One quantity of one bench over time. chart: None where there are too few values."""

    bench_key: str
    name: str
    unit: str
    days: tuple[dt.date, ...]
    values: tuple[float, ...]
    chart: Control | None

    @property
    def lacking(self) -> int:
        """How many more values the limits need; 0 where there are enough."""
        return max(0, FEWEST - len(self.values))

    def runs(self) -> list[tuple[dt.date, str]]:
        """The run rules that are broken, with the day of the last value of each run."""
        return [(self.days[run.at], run.rule) for run in (self.chart.runs if self.chart else ())]

    def steps(self) -> list[LevelChange]:
        """Its flagged steps, by date."""
        return [
            LevelChange(
                bench_key=self.bench_key,
                series=self.name,
                before=self.days[i - 1],
                after=self.days[i],
                first=self.values[i - 1],
                last=self.values[i],
                unit=self.unit,
            )
            for i in (self.chart.steps if self.chart else ())
        ]


# A unit that is measured again and again tells of the bench as a loop-back does.
REFERENCE = """
SELECT bench_key, metric.title || ', ' || test_point.title || ', ' || output AS series,
       reviewed, value, reading.uncertainty AS u, metric.unit
FROM reading
JOIN reading_point USING (review_key, reading_key)
JOIN test_point USING (point_key)
JOIN review USING (review_key)
JOIN metric USING (metric, method_version)
WHERE unit_key = $unit AND value IS NOT NULL AND list_contains($what, metric || '@' || point_key)
ORDER BY bench_key, series, reviewed, reading_key
"""


def of_unit(store: Database, unit_key: str) -> list[Series]:
    """The gain, noise and distortion of one unit over its reviews, on each bench."""
    known = declarations()
    watched = known.having(lambda traits: traits.watched_at)
    what = [f"{name}@{point}" for name in watched for point in known.traits(name).watched_at]
    return _series(store.records(REFERENCE, {"unit": unit_key, "what": what}))


def over_time(store: Database) -> list[Series]:
    """Every series of every bench: loop-back gain, residual and noise, and its calibrations."""
    from backbench.querying.saved_queries import one_shipped

    answer = LightRows.of(one_shipped("bench-over-time").answer(store))
    rows = (dict(zip(answer.columns, row, strict=True)) for row in answer.rows)
    return _series(row for row in rows if row["value"] is not None)


def events(store: Database, bench_key: str) -> list[tuple[dt.date, str]]:
    """What was done to a bench, by day, as the settings record it."""
    return [
        (day, str(what))
        for day, what in store.rows(
            "SELECT day, what FROM bench_event WHERE bench_key = $bench ORDER BY day, what",
            {"bench": bench_key},
        )
    ]


def _series(rows: Iterable[Mapping[str, Any]]) -> list[Series]:
    parts: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in rows:
        parts.setdefault((str(row["bench_key"]), str(row["series"])), []).append(row)
    series = []
    for (bench, name), part in parts.items():
        values = tuple(row["value"] for row in part)
        days = tuple(row["reviewed"] for row in part)
        series.append(Series(bench, name, str(part[0]["unit"]), days, values, _chart(values)))
    return series


def value_frame(all_series: Sequence[Series]) -> pl.DataFrame:
    """A row a value of each series, with its control limits and whether it lies outside them.

    step: the level changed at this value.
    """
    import polars as pl

    rows = [
        {"bench": one.bench_key, "series": one.name, "date": day, "value": value,
         "unit": one.unit, "centre": one.chart.centre if one.chart else None,
         "low": one.chart.low if one.chart else None,
         "high": one.chart.high if one.chart else None,
         "outside": position in one.chart.beyond if one.chart else None,
         "step": position in one.chart.steps if one.chart else None}
        for one in all_series
        for position, (day, value) in enumerate(zip(one.days, one.values, strict=True))
    ]  # fmt: skip
    kinds = {"bench": pl.String, "series": pl.String, "date": pl.Date, "value": pl.Float64,
             "unit": pl.String, "centre": pl.Float64, "low": pl.Float64, "high": pl.Float64,
             "outside": pl.Boolean, "step": pl.Boolean}  # fmt: skip
    return pl.DataFrame(rows, schema=kinds)


def _chart(values: tuple[float, ...]) -> Control | None:
    try:
        return control(values)
    except Refusal:
        return None


def steps(store: Database) -> list[LevelChange]:
    """Every flagged step of every loop-back series. Calibrations are meant to change: not here."""
    loops = [series for series in over_time(store) if series.name.startswith("loop-back")]
    return [step for series in loops for step in series.steps()]
