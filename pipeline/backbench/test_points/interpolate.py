"""Readings at a test point's power or voltage, worked out between two steps of a sweep of levels.

Only where no reading meets the point and one sweep (the same output, frequency, load, input, tap,
volume and controls) has steps on both sides of its level, within a decade of each other. Nothing
is carried on beyond the sweep. Outputs with a load resistor go by power, others by voltage.
Straight in log level and log value (decibels are logarithms
already); how far a smooth curve through the steps can leave that line goes into the uncertainty.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from operator import itemgetter
from typing import Any, NamedTuple

from backbench.metrics.declared_traits import declarations
from backbench.metrics.power_sweep import LEAST_LEVELS
from backbench.quantities.writing import in_text
from backbench.signal.between_steps import Place, value_between
from backbench.storage.database import Database
from backbench.storage.rows_aside import rows_aside
from backbench.test_points.compared_readings import TOLD
from backbench.test_points.frequencies import off_frequency, same_frequency
from backbench.test_points.scope import chosen_reviews
from backbench.test_points.swept_readings import OF_READINGS, any_sweep, of_sweeps

WIDEST = 10.0
"""Ratio of the powers of two steps above which nothing is interpolated between them."""
EXACT = 0.01
"""Relative offset of power within which a reading is taken at that power: about what the power
itself is known to. What the offset can change is part of the uncertainty."""
REMARK = "interpolated in "
"""How the remark of such a reading begins."""


class SweptBy(NamedTuple):
    """What a sweep goes by: columns of a reading with its level and that level's relative standard
    uncertainty, the unit and the word of it."""

    column: str
    u: str
    unit: str
    word: str


POWER = SweptBy("power_w", "power_u", "W", "power")
VOLTAGE = SweptBy("volts", "volts_u", "V", "voltage")

Row = dict[str, Any]


class SweepLevel(NamedTuple):
    """One level of a sweep: log of W or V, and the value's logarithm or its decibels.

    u, own: standard uncertainty of y and the part from the record alone; u_x of x.
    """

    x: float
    y: float
    u: float
    own: float
    u_x: float
    row: Row


@dataclass(frozen=True)
class Between:
    """A value at a level between two steps, in the metric's unit."""

    value: float
    uncertainty: float
    estimation: float
    bound: str | None
    below: Row
    above: Row
    by: SweptBy = POWER

    def reading_columns(self) -> Row:
        """The columns of a reading that the interpolation sets; the others are the lower step's."""
        ends = [in_text(row[self.by.column], self.by.unit) for row in (self.below, self.above)]
        dof = [row["dof"] for row in (self.below, self.above) if row["dof"] is not None]
        return {
            "value": self.value,
            "uncertainty": self.uncertainty,
            "estimation": self.estimation,
            "dof": min(dof, default=None),
            "bound": self.bound,
            "status": "at_floor" if self.bound else "measured",
            "reason": f"{REMARK}{self.by.word} between {' and '.join(ends)}",
        }


def interpolated(rows: Sequence[Row], level: float, by: SweptBy = POWER) -> Between | None:
    """The value at a level (W or V, above 0) between the steps of one sweep, by rising level.

    rows: readings of one metric with unit, value, uncertainty, estimation, bound and the columns
    of `by`. None where fewer than three steps carry a value, where the level is not between two
    of them, where these are further than a decade apart, or where a bound on each side points the
    other way.
    """
    steps = sorted((_step(row, by) for row in rows if _usable(row, by)), key=lambda step: step.x)
    x = math.log(level)
    if len(steps) < LEAST_LEVELS or not steps[0].x < x < steps[-1].x:
        return None
    i = max(n for n, step in enumerate(steps) if step.x <= x)
    below, above = steps[i], steps[i + 1]
    bounds = {step.row["bound"] for step in (below, above)} - {None}
    if above.x - below.x > math.log(WIDEST) or len(bounds) > 1:
        return None
    weight = (x - below.x) / (above.x - below.x)
    return replace(_between(steps, i, weight, next(iter(bounds), None)), by=by)


def _between(steps: Sequence[SweepLevel], i: int, weight: float, bound: str | None) -> Between:
    below, above = steps[i], steps[i + 1]
    bracket = value_between([Place(step.x, step.y) for step in steps], i, weight)
    y = (1 - weight) * below.y + weight * above.y
    bent = max(bracket.high - y, y - bracket.low) / math.sqrt(3)
    slope = abs(above.y - below.y) / (above.x - below.x)
    # What both steps share (calibration) doesn't average out, so they add in full.
    both = (1 - weight) * below.u + weight * above.u
    own = math.hypot((1 - weight) * below.own, weight * above.own)
    off = math.hypot(bent, slope * max(below.u_x, above.u_x))
    decibels = below.row["unit"] == "dB"
    value, scale = (y, 1.0) if decibels else (math.exp(y), math.exp(y))
    return Between(
        value, scale * math.hypot(both, off), scale * math.hypot(own, off), bound,
        below.row, above.row,
    )  # fmt: skip


def _usable(row: Row, by: SweptBy) -> bool:
    return bool(row[by.column] > 0 and (row["unit"] == "dB" or row["value"] > 0))


def _step(row: Row, by: SweptBy) -> SweepLevel:
    decibels = row["unit"] == "dB"
    y, scale = (row["value"], 1.0) if decibels else (math.log(row["value"]), 1 / row["value"])
    return SweepLevel(
        math.log(row[by.column]), y, row["uncertainty"] * scale, row["estimation"] * scale,
        row[by.u] or 0.0, row,
    )  # fmt: skip


OF_STEP = {
    "place": "dense_rank() OVER (ORDER BY point_key, steps.review_key, steps.unit_key, "
             "steps.output, steps.metric, steps.order_n, steps.detail) AS place",
    **{name: name for name in ("point_key", "wanted")},
    **{name: f"steps.{name}" for name in (
        "review_key", "analysis_key", "reading_key", "unit", "by_voltage", "value", "uncertainty",
        "estimation", "dof", "bound", "power_w", "power_u", "volts", "volts_u",
    )},
}  # fmt: skip
"""What is asked of a step: its columns, by name, and the place that it is beside."""
PLACE = (*OF_READINGS, "controls", "by_voltage")
"""Conditions that the steps of one sweep have in common."""

# Each sweep beside each test point that asks for a level within it, and has no reading there.
SWEEPS = """
WITH
taken AS (
    SELECT review_key, analysis_key, min(controls) AS controls, min(position) AS position
    FROM capture WHERE {chosen} GROUP BY ALL
),
powers AS (
    SELECT review_key, analysis_key, unit_key, output, generator_vrms, frequency_hz,
           min(uncertainty / value) AS power_u
    FROM compared_reading WHERE list_contains($powers, metric) AND value > 0 GROUP BY ALL
),
levels AS (
    SELECT review_key, analysis_key, unit_key, output, generator_vrms, frequency_hz,
           min(value) AS volts, min(uncertainty / value) AS volts_u
    FROM compared_reading WHERE list_contains($levels, metric) AND value > 0 GROUP BY ALL
),
steps AS (
    SELECT reading.*, metric.unit, controls, position, power_u, volts, volts_u,
           reading.load_kind IS DISTINCT FROM 'resistor' OR reading.load_ohm >= $bridging
               AS by_voltage,
           if(by_voltage, volts, reading.power_w) AS swept
    FROM compared_reading AS reading
    JOIN metric USING (metric, method_version)
    JOIN taken USING (review_key, analysis_key)
    LEFT JOIN powers ON powers.review_key = reading.review_key
        AND powers.analysis_key = reading.analysis_key AND powers.unit_key = reading.unit_key
        AND powers.output = reading.output AND powers.frequency_hz = reading.frequency_hz
        AND powers.generator_vrms IS NOT DISTINCT FROM reading.generator_vrms
    LEFT JOIN levels ON levels.review_key = reading.review_key
        AND levels.analysis_key = reading.analysis_key AND levels.unit_key = reading.unit_key
        AND levels.output = reading.output AND levels.frequency_hz = reading.frequency_hz
        AND levels.generator_vrms IS NOT DISTINCT FROM reading.generator_vrms
    WHERE list_contains($metrics, reading.metric)
      AND stimulus IN ('tone', 'steps', 'distortion table')
      AND value IS NOT NULL AND uncertainty IS NOT NULL AND estimation IS NOT NULL AND swept > 0
      AND driven IS NULL AND against IS NULL
),
sweeps AS MATERIALIZED (
    SELECT {place}, min(swept) AS least, max(swept) AS greatest, min(position) AS position,
           any_value(rated_power_w) AS rated_power_w, any_value(input_sort) AS input_sort,
           any_value(tap_ohm) AS tap_ohm,
           coalesce(lower(trim(controls)) NOT IN ('flat', 'defeated', 'bypassed'), false) AS shaped
    FROM steps GROUP BY {place} HAVING count(*) >= $least
),
point AS MATERIALIZED (
    SELECT * EXCLUDE (stimulus), unnest(string_split(stimulus, ', ')) AS stimulus FROM test_point
    WHERE metrics IS NULL AND NOT list_contains($one_driven, point_key)
),
wanted AS (
    SELECT sweeps.*, point_key,
           if(by_voltage, point.level_v,
              coalesce(point.power_w, point.power_share * rated_power_w)) AS wanted,
           coalesce(tap_ohm <> point.load_ohm, false) AS other_tap,
           {off_frequency} AS off_frequency
    FROM sweeps
    JOIN point ON point.stimulus = sweeps.stimulus
        AND (point.input_sort IS NULL OR point.input_sort = sweeps.input_sort)
        AND NOT (list_contains($shipped, point_key)
                 AND (shaped OR coalesce(tap_ohm <> point.load_ohm, false)))
        AND {same_frequency}
        AND (point.load_ohm IS NULL
             OR abs(sweeps.load_ohm / point.load_ohm - 1) <= $load_within)
    WHERE wanted > least AND wanted < greatest
),
open_places AS (
    SELECT wanted.* FROM wanted
    ANTI JOIN (
        SELECT review_key, point_key, unit_key, output, metric, order_n, detail
        FROM met_point JOIN compared_reading AS reading USING (review_key, reading_key)
        JOIN test_point USING (point_key)
        WHERE list_contains($metrics, metric) AND status <> 'entered'
          AND coalesce(level_offset <= $exact, abs(reading.power_w / coalesce(test_point.power_w,
                  power_share * rated_power_w) - 1) <= $exact)
    ) AS met
      ON met.review_key = wanted.review_key AND met.point_key = wanted.point_key
         AND met.unit_key = wanted.unit_key AND met.output = wanted.output
         AND met.metric = wanted.metric AND met.detail = wanted.detail
         AND met.order_n IS NOT DISTINCT FROM wanted.order_n
    QUALIFY row_number() OVER (
        PARTITION BY review_key, point_key, unit_key, output, metric, order_n, detail
        ORDER BY off_frequency, other_tap, stimulus = 'steps', position
    ) = 1
)
SELECT {of_step}
FROM open_places
JOIN steps ON {same}
ORDER BY place, steps.swept, steps.reading_key
"""


def assign_between(
    store: Database, windows: dict[str, object], review_keys: Sequence[str] | None
) -> None:
    """Add the readings between steps, of some reviews or of all, once others are assigned.

    Inside the caller's transaction; those made before must be gone (`forget_between`). Table
    compared_reading holds the reviews' readings, met_point those that meet a test point.
    """
    if not any_sweep(store):
        return
    chosen, values = chosen_reviews(review_keys)
    same = " AND ".join(f"steps.{n} IS NOT DISTINCT FROM open_places.{n}" for n in PLACE)
    sweep_hz, point_hz = "sweeps.frequency_hz", "point.frequency_hz"
    sql = SWEEPS.format(
        chosen=chosen, place=", ".join(PLACE), same=same, of_step=", ".join(OF_STEP.values()),
        same_frequency=same_frequency(sweep_hz, point_hz),
        off_frequency=off_frequency(sweep_hz, point_hz),
    )  # fmt: skip
    names = ("load_within", "bridging", "levels", "shipped", "one_driven")
    values |= {
        **{n: windows[n] for n in names}, **of_sweeps(), "exact": EXACT,
        "powers": [*declarations().having(lambda traits: traits.own_stimulus == "power")],
    }  # fmt: skip
    rows = store.rows(sql, values)
    found = list(_interpolations(dict(zip(OF_STEP, row, strict=True)) for row in rows))
    if found:
        _insert(store, found)


def forget_between(store: Database, review_keys: Sequence[str] | None) -> None:
    """Remove what `assign_between` added to some reviews, or to all."""
    chosen, values = chosen_reviews(review_keys)
    of_these = f"FROM reading_point WHERE interpolated AND {chosen}"
    if not store.rows(f"SELECT 1 {of_these} LIMIT 1", values):
        return
    gone = (
        "SELECT review_key, analysis_key FROM reading JOIN reading_point "
        f"USING (review_key, reading_key) WHERE interpolated AND {chosen}"
    )
    for table in ("analysis_capture", "analysis", "reading"):
        store.run(f"DELETE FROM {table} WHERE (review_key, analysis_key) IN ({gone})", values)


def _interpolations(rows: Iterable[Row]) -> Iterator[Row]:
    """What a reading has of its own at each place of each test point that a sweep has steps
    around; it is like that of the step below in all else."""
    for _, same in groupby(rows, key=itemgetter("place")):
        steps = list(same)
        by = VOLTAGE if steps[0]["by_voltage"] else POWER
        between = interpolated(steps, steps[0]["wanted"], by)
        if between is not None:
            yield _row(between)


def _row(between: Between) -> Row:
    below, above = between.below, between.above
    keys = below["point_key"], below["reading_key"], above["reading_key"]
    return {
        **between.reading_columns(),
        "reading_key": _key("reading", *keys),
        "analysis_key": _key("analysis", *keys),
        "power_w": None if below["by_voltage"] else below["wanted"],
        "generator_vrms": None,
        "review_key": below["review_key"],
        "point_key": below["point_key"],
        "below_key": below["reading_key"],
        "below": below["analysis_key"],
        "above": above["analysis_key"],
    }


def _key(*parts: str) -> str:
    return hashlib.sha256("\n".join(("between", *parts)).encode()).hexdigest()[:32]


OWN = (
    "reading_key", "analysis_key", "power_w", "generator_vrms", "value", "uncertainty",
    "estimation", "dof", "bound", "status", "reason",
)  # fmt: skip
"""Columns in which such a reading differs from that of the step below."""
MADE = "read_parquet($made) AS made"
READINGS = f"""
INSERT INTO reading BY NAME
SELECT like_this.* EXCLUDE ({", ".join(TOLD)})
       REPLACE ({", ".join(f"made.{name} AS {name}" for name in OWN)})
FROM {MADE}
JOIN compared_reading AS like_this
  ON like_this.review_key = made.review_key AND like_this.reading_key = made.below_key
ORDER BY made.point_key, made.reading_key
"""
# Where a value was interpolated at a point's power, a reading nearby stands for it no more.
OFF_THE_POWER = f"""
DELETE FROM met_point WHERE (review_key, reading_key, point_key) IN (
    SELECT (near.review_key, near.reading_key, near.point_key)
    FROM (FROM met_point JOIN compared_reading USING (review_key, reading_key)) AS near
    SEMI JOIN (
        SELECT made.point_key, like_this.* FROM {MADE}
        JOIN compared_reading AS like_this
          ON like_this.review_key = made.review_key AND like_this.reading_key = made.below_key
    ) AS exact
      ON near.review_key = exact.review_key AND near.point_key = exact.point_key
         AND near.unit_key = exact.unit_key AND near.output = exact.output
         AND near.metric = exact.metric AND near.detail = exact.detail
         AND near.order_n IS NOT DISTINCT FROM exact.order_n
)
"""
POINTS = f"""
INSERT INTO met_point BY NAME
SELECT reading_key, review_key, point_key, true AS interpolated FROM {MADE}
"""
ANALYSES = f"""
INSERT INTO analysis BY NAME
SELECT made.analysis_key, made.review_key, calibration_key, environment_key
FROM {MADE}
JOIN analysis ON analysis.review_key = made.review_key AND analysis.analysis_key = made.below
"""
ORIGINALS = f"""
INSERT INTO analysis_capture BY NAME
SELECT DISTINCT made.analysis_key, made.review_key, sha256
FROM {MADE}
JOIN analysis_capture AS link
  ON link.review_key = made.review_key AND link.analysis_key IN (made.below, made.above)
"""


def _insert(store: Database, made: Sequence[Row]) -> None:
    """The readings, their places, and what leads back to the captures of both steps."""
    with rows_aside(made) as path:
        for statement in (READINGS, OFF_THE_POWER, POINTS, ANALYSES, ORIGINALS):
            store.run(statement, {"made": path})
