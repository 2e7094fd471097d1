"""Which readings meet the conditions of which test points."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from backbench.metrics.declared_traits import declarations
from backbench.storage.database import Database
from backbench.storage.held_rows import hold_rows
from backbench.test_points.compared_readings import compared_readings
from backbench.test_points.frequencies import PLAYED, off_frequency, same_frequency, same_pair
from backbench.test_points.interpolate import assign_between, forget_between
from backbench.test_points.points import (
    TestPoint,
    all_points,
    shipped_points,
)
from backbench.test_points.repeatability import renew_repeatability
from backbench.test_points.scope import chosen_reviews
from backbench.test_points.values_at_points import renew_values, units_of

if TYPE_CHECKING:
    from backbench.documents.settings import Settings

LOAD_WITHIN = 0.05
BRIDGING_OHM = 5_000.0
"""A load of at least this loads a preamplifier's output no more than an amplifier's input does."""
USUAL_LOAD_OHM = 8.0
"""Of several taps, the one that is compared where a test point asks for no load."""

NEAR_CLIPPING_WITHIN = 0.05
"""Half-width of the power window above half the rated power, where distortion rises steeply."""

LISTS = ("tones_hz", "metrics")
"""Columns of table test_point that hold lists, or nothing."""


def sync_points(store: Database, settings: Settings) -> bool:
    """Make table test_point equal to the points in force; whether it was not.

    Inside the caller's transaction.
    """
    return hold_rows(store, "test_point", [_row(point) for point in all_points(settings)])


def _row(point: TestPoint) -> dict[str, object]:
    columns = {**vars(point), "volume_setting": point.volume}
    del columns["volume"], columns["driven"]
    lists = {name: list(columns[name]) if columns[name] else None for name in LISTS}
    return {**columns, **lists}


WINDOWS: dict[str, object] = {
    "load_within": LOAD_WITHIN, "bridging": BRIDGING_OHM,
    "usual_load": USUAL_LOAD_OHM, "near_clipping": NEAR_CLIPPING_WITHIN,
}  # fmt: skip

# One reading of a unit, output and metric stands for a test point: that of a stated volume where
# there are several, then with tone controls unset or flat, then the nearest in frequency,
# then in power, then with all channels driven, then from the tap that the load belongs to, then a
# single tone before steps, traces and sweeps, then the first in the manifest. Readings that differ
# in `detail` are different quantities, but for points made for a metric: there it tells what the
# reading refers to (the nominal load).
ASSIGN = """
CREATE OR REPLACE TEMP TABLE met_point AS
WITH
point AS MATERIALIZED (
    SELECT * EXCLUDE (stimulus), unnest(string_split(stimulus, ', ')) AS stimulus FROM test_point
),
taken AS (
    SELECT review_key, analysis_capture.analysis_key, min(capture.position) AS position,
           bool_or(lower(trim(capture.controls)) NOT IN ('flat', 'defeated', 'bypassed')) AS shaped,
           {played} AS tones_hz
    FROM analysis_capture
    JOIN capture USING (review_key, sha256)
    WHERE {chosen}
    GROUP BY ALL
),
levels AS (
    SELECT review_key, analysis_key, unit_key, output,
           first(value ORDER BY reading_key) AS volts
    FROM compared_reading
    WHERE list_contains($levels, metric) AND value IS NOT NULL
          AND stimulus IN ('tone', 'tone trace table', 'harmonics table')
    GROUP BY ALL
),
met AS (
    SELECT
        reading.reading_key, reading.review_key, point.point_key, reading.unit_key, reading.output,
        reading.against, reading.metric, reading.order_n, reading.limit_percent,
        CASE WHEN point.metrics IS NULL THEN reading.detail
             ELSE reading.detail ->> '$.weighting' END AS detail,
        CASE WHEN point.frequency_hz IS NULL AND reading.order_n IS NULL
             THEN reading.frequency_hz END AS own_frequency,
        coalesce(point.power_w, point.power_share * reading.rated_power_w) AS wanted_w,
        {off_frequency} AS off_frequency,
        coalesce(abs(ln(nullif(reading.power_w, 0) / wanted_w)),
                 abs(ln(nullif(levels.volts, 0) / point.level_v)), 0) AS distance,
        abs(ln(nullif(levels.volts, 0) / point.level_v)) AS level_offset,
        reading.driven IS NOT NULL AS one_driven,
        coalesce(reading.tap_ohm <> coalesce(point.load_ohm, $usual_load), false) AS other_tap,
        other_tap AND point.load_ohm IS NOT NULL AS wrong_tap,
        reading.stimulus,
        point.volume_setting IS NOT NULL AND reading.volume IS NULL AS volume_unknown,
        coalesce(taken.shaped, false) AS shaped,
        reading.stimulus IN ('steps', 'tone trace table', 'distortion table', 'harmonics table')
            OR (reading.stimulus IN ('sweep', 'response table') AND point.metrics IS NOT NULL)
            AS less_direct,
        reading.value IS NULL AS without_value, reading.status = 'entered' AS entered,
        coalesce(taken.position, 0) AS position
    FROM compared_reading AS reading
    JOIN point ON point.stimulus = reading.stimulus
    LEFT JOIN taken
      ON taken.analysis_key = reading.analysis_key AND taken.review_key = reading.review_key
    LEFT JOIN levels
      ON levels.analysis_key = reading.analysis_key AND levels.review_key = reading.review_key
         AND levels.unit_key = reading.unit_key
         AND levels.output = reading.output
    WHERE (point.frequency_hz IS NULL OR {same_frequency})
      AND (point.metrics IS NULL OR list_contains(point.metrics, reading.metric))
      AND (point.input_sort IS NULL OR point.input_sort = reading.input_sort)
      -- A point that asks for a volume is met by a reading without one only where it is full.
      AND (point.volume_setting IS NULL
           OR (point.volume_setting = 'full' AND reading.may_be_full)
           OR (point.volume_setting = 'least' AND reading.is_least))
      AND (NOT list_contains($all_driven, point.point_key) OR reading.driven IS NULL)
      AND (NOT list_contains($one_driven, point.point_key) OR reading.driven = reading.output)
      AND NOT reading.of_no_loudspeaker
      AND (point.load_ohm IS NULL OR (reading.load_kind = 'resistor'
           AND abs(reading.load_ohm / point.load_ohm - 1) <= $load_within))
      AND ((point.power_w IS NULL AND point.power_share IS NULL)
           OR (NOT reading.at_limit
               AND abs(reading.power_w / wanted_w - 1)
                   <= if(wanted_w > reading.rated_power_w / 2,
                         least(point.power_within, $near_clipping), point.power_within)))
      AND (point.level_v IS NULL
           OR (abs(levels.volts / point.level_v - 1) <= point.power_within
               AND (reading.load_kind IS DISTINCT FROM 'resistor'
                    OR reading.load_ohm >= $bridging)))
      AND (point.tones_hz IS NULL OR {same_pair})
)
SELECT reading_key, review_key, point_key, false AS interpolated, level_offset
FROM met
WHERE NOT (list_contains($shipped, point_key) AND (shaped OR wrong_tap))
QUALIFY row_number() OVER (
    PARTITION BY review_key, point_key, unit_key, output, against, metric, order_n, limit_percent,
                 detail, own_frequency
    ORDER BY without_value, entered, volume_unknown, shaped, off_frequency, distance, one_driven,
             other_tap, less_direct, position, reading_key
) = 1
ORDER BY review_key, point_key, reading_key
"""


def assign_points(
    store: Database, review_keys: Sequence[str], units_before: Collection[str] = ()
) -> None:
    """Fill reading_point for some reviews. Inside the caller's transaction; repeatable.

    units_before: units that these reviews had until now, whether they have them still or not.

    Windows: frequency 1 % (or the one clear of the mains that is played in its place), load 5 %,
    power and level as the test point says. A reading may meet several points; a reading without a
    value meets them too, where none with a value does. Where none is within a point's power, one is
    worked out between two steps of a power sweep.
    """
    _assign(store, review_keys)
    renew_kept(store, {*units_before, *units_of(store, review_keys)})


def assign_all_points(store: Database) -> None:
    """Fill reading_point for every review, after the points themselves were changed."""
    _assign(store, None)
    renew_kept(store, None)


def renew_kept(store: Database, unit_keys: Collection[str] | None) -> None:
    """Work out anew what is kept of the readings at test points, of some units or of all.

    Inside the caller's transaction. unit_keys: every unit that a changed review has, or had before
    it was changed.
    """
    renew_values(store, unit_keys)
    renew_repeatability(store, unit_keys)


def _assign(store: Database, review_keys: Sequence[str] | None) -> None:
    chosen, values = chosen_reviews(review_keys)
    forget_between(store, review_keys)
    store.run(f"DELETE FROM reading_point WHERE {chosen}", values)
    of_traits = {
        "levels": [*declarations().having(lambda traits: traits.own_stimulus == "voltage")],
        "shipped": [point.point_key for point in shipped_points()],
        **{
            f"{which}_driven": [p.point_key for p in shipped_points() if p.driven == which]
            for which in ("all", "one")
        },
    }
    reading_hz, point_hz = "reading.frequency_hz", "point.frequency_hz"
    sql = ASSIGN.format(
        chosen=chosen,
        same_frequency=same_frequency(reading_hz, point_hz),
        off_frequency=off_frequency(reading_hz, point_hz),
        played=PLAYED,
        same_pair=same_pair("taken.tones_hz", "point.tones_hz"),
    )
    with compared_readings(store, review_keys):
        store.run(sql, {**WINDOWS, **of_traits, **values})
        assign_between(store, {**WINDOWS, **of_traits}, review_keys)
        store.run("INSERT INTO reading_point BY NAME FROM met_point")
        store.run("DROP TABLE temp.met_point")
