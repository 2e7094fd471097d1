"""Saved queries, a comparison and the overview page on 10,000 units and 1,000,000 readings.

Run: python tests/bench/large_catalogue.py [folder]. The catalogue is made by SQL. Every shipped
query is run up to three times as a reader would, beside the same SQL by hand on the same
connection: asked are 0.2 s and 1.5 times the SQL by hand (above 20 ms). A line a query goes to
stderr, with the processor's time over all threads and whether the declared grain is unique.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from rows import Row, tell

from backbench.comparison.unit_comparison import compare_unit
from backbench.documents.settings import Settings
from backbench.ingest.reference_tables import kind_rows
from backbench.publish.index_pages import index_pages
from backbench.publish.sheet_charts import ChartRenderer
from backbench.publish.site_builder import SiteBuilder
from backbench.publish.site_data import keep_views, read_site_data
from backbench.querying.saved_queries import SavedQuery, shipped
from backbench.storage.database import Database, reading, writing
from backbench.test_points.assign import sync_points
from backbench.test_points.values_at_points import renew_values

UNITS = 10_000
LIMIT_S = 0.2
OVERHEAD = 1.5
LEAST_S = 0.02
"""What a query may take however quick its SQL is by hand."""
ENOUGH_S = 1.5
"""Seconds of runs of one query after which no further one is made."""
METRICS = """
    ('noise_a', 'idle', 'V', 'lower'), ('noise', 'idle', 'V', 'lower'),
    ('gain', 'gain-1khz', 'dB', 'neither'), ('thd', 'tone-1khz-1w-8ohm', '%', 'lower'),
    ('thd', 'tone-1khz-5w-8ohm', '%', 'lower'), ('thd', 'tone-20hz-5w-8ohm', '%', 'lower'),
    ('thd', 'tone-20khz-5w-8ohm', '%', 'lower'), ('thd_n', 'tone-1khz-5w-8ohm', '%', 'lower'),
    ('snr', 'tone-1khz-5w-8ohm', 'dB', 'higher'),
    ('channel_balance', 'channels-1khz', 'dB', 'nearer zero'),
    ('separation', 'channels-1khz', 'dB', 'higher'),
    ('source_impedance', 'impedance-1khz', 'ohm', 'lower'),
    ('damping_factor', 'impedance-1khz', '1', 'higher'),
    ('response_spread', 'response', 'dB', 'lower'),
    ('response_low_3db', 'response', 'Hz', 'lower'),
    ('response_high_3db', 'response', 'Hz', 'higher'),
    ('dc_offset', 'tone-1khz-5w-8ohm', 'V', 'nearer zero'),
    ('level', 'tone-1khz-5w-8ohm', 'V', 'neither'),
    ('output_power', 'tone-1khz-5w-8ohm', 'W', 'neither'),
    ('sinad', 'tone-1khz-5w-8ohm', 'dB', 'higher')
"""
STEPS = (
    f"CREATE TEMP TABLE kinds (metric VARCHAR, point_key VARCHAR, unit VARCHAR, better VARCHAR);"
    f"INSERT INTO kinds VALUES {METRICS}",
    "INSERT INTO metric SELECT DISTINCT metric, metric, unit, better, '', '', '', 1 FROM kinds",
    "INSERT INTO metric VALUES ('harmonic', 'harmonic', 'dB', 'lower', '', '', '', 1), "
    "('mains_line', 'mains line', 'V', 'lower', '', '', '', 1), "
    "('power_at_limit', 'power at limit', 'W', 'higher', '', '', '', 1)",
    # a tenth of the units come twice, the second time restored
    """INSERT INTO review BY NAME
    SELECT 'r' || i AS review_key, DATE '2000-01-01' + (i % 9000)::INTEGER AS reviewed,
           'b1' AS bench_key, 50.0 AS mains_hz, '0' AS manifest_sha256, 1 AS receipt,
           '0' AS derived_with
    FROM range($n * 11 // 10) AS t(i)""",
    """INSERT INTO appearance BY NAME
    SELECT 'r' || i AS review_key, 'u' || (i % $n) AS unit_key, 1 AS position,
           'Maker ' || (i % $n // 2 % 97) AS maker, 'Model ' || (i % $n // 2) AS model,
           ['integrated amplifier', 'power amplifier', 'receiver', 'preamplifier'][i % 4 + 1]
               AS kind,
           ['tube', 'solid state', 'hybrid', 'switching'][i // 4 % 4 + 1] AS technology,
           1955 + i % 70 AS made_first, 1955 + i % 70 AS made_last,
           if(i >= $n, 'restored', 'as received') AS state, []::VARCHAR[] AS work,
           10.0 + i % 90 AS rated_power_w
    FROM range($n * 11 // 10) AS t(i)""",
    """INSERT INTO published BY NAME
    SELECT 'r' || i AS review_key, 'u' || i AS unit_key, 1 AS position,
           'power_at_limit' AS metric, 'at least' AS side, 20.0 AS limit_value,
           1.0 AS limit_percent, '20 W' AS printed, 'leaflet' AS printed_in
    FROM range($n) AS t(i)""",
    """CREATE TEMP TABLE places AS
    SELECT metric, point_key, NULL::INTEGER AS order_n, NULL::DOUBLE AS limit_percent FROM kinds
    UNION ALL SELECT 'harmonic', point, unnest(range(2, 11)), NULL
        FROM (VALUES ('tone-1khz-1w-8ohm'), ('tone-1khz-5w-8ohm')) AS p(point)
    UNION ALL SELECT 'mains_line', 'idle', unnest(range(1, 6)), NULL
    UNION ALL SELECT 'power_at_limit', 'limit-1khz-8ohm', NULL, unnest([1.0, 10.0])""",
    """CREATE TEMP TABLE made AS
    SELECT
        'k' || row_number() OVER () AS reading_key, review_key, 'a' AS analysis_key, unit_key,
        output, metric, 1 AS method_version,
        CASE WHEN point_key = 'idle' THEN 'idle' WHEN point_key = 'response' THEN 'sweep'
             ELSE 'tone' END AS stimulus,
        CASE WHEN point_key LIKE '%20hz%' THEN 20.0 WHEN point_key LIKE '%20khz%' THEN 20000.0
             WHEN point_key LIKE '%1khz%' THEN 1000.0
             WHEN order_n IS NOT NULL THEN 50.0 * order_n END AS frequency_hz,
        CASE WHEN point_key LIKE '%1w%' THEN 1.0 WHEN point_key LIKE '%5w%' THEN 5.0 END
            * (0.9 + 0.2 * random()) AS power_w,
        CASE WHEN point_key <> 'idle' THEN 8.0 END AS load_ohm,
        CASE WHEN point_key <> 'idle' THEN 'resistor' END AS load_kind,
        order_n, limit_percent, '{}' AS detail, exp(2 * random()) AS value,
        0.02 AS uncertainty, 0.01 AS estimation,
        CASE WHEN hash(review_key, metric, output) % 50 = 0 THEN 'upper' END AS bound,
        if(bound IS NULL, 'measured', 'at_floor') AS status, point_key
    FROM appearance, places, (VALUES ('left'), ('right')) AS outputs(output)
    ORDER BY review_key, unit_key, metric""",
    "INSERT INTO reading BY NAME SELECT * EXCLUDE (point_key) FROM made",
    "INSERT INTO reading_point BY NAME SELECT reading_key, review_key, point_key FROM made",
    """INSERT INTO curve BY NAME
    SELECT review_key, 'a' AS analysis_key, unit_key, output, 'response' AS curve,
           1 AS method_version, 'Hz' AS x_unit, 'dB' AS y_unit,
           list_transform(range(241), lambda k: 20 * pow(10, k / 80)) AS x,
           list_transform(range(241), lambda k: sin(k) - k / 100) AS y
    FROM appearance, (VALUES ('left'), ('right')) AS outputs(output)""",
    """INSERT INTO capture BY NAME
    SELECT 'r' || (i // 15) AS review_key, i % 15 AS position, i % 15 || '.flac' AS file,
           'tone' AS stimulus, '{}' AS stimulus_json, false AS loop_back, 'a' || i AS analysis_key,
           if(i % 997 = 0, 'failed', 'analysed') AS status
    FROM range($n * 15) AS t(i)""",
)


def make(folder: Path) -> None:
    """The catalogue, unless it is there."""
    if (folder / "catalogue.duckdb").exists():
        return
    with writing(folder) as store, store.transaction():
        sync_points(store, Settings())
        store.append("unit_kind", kind_rows())
        store.rows("SELECT setseed(0.5)")
        for step in STEPS:
            store.run(step, {"n": UNITS} if "$n" in step else ())
        renew_values(store, None)


def timed(work: Callable[[], object]) -> tuple[float, float, object]:
    """Median seconds by the clock and of processor time of up to three runs, and the result."""
    clock: list[float] = []
    processor: list[float] = []
    while len(clock) < 3 and sum(clock) < ENOUGH_S:
        start, busy = time.perf_counter(), time.process_time()
        result = work()
        clock.append(time.perf_counter() - start)
        processor.append(time.process_time() - busy)
    return statistics.median(clock), statistics.median(processor), result


@dataclass(frozen=True)
class QueryTiming:
    """Seconds of one saved query, and of the same SQL by hand."""

    name: str
    spent: float
    hand: float
    unique: bool

    @property
    def overhead(self) -> float:
        return self.spent / max(self.hand, LEAST_S / OVERHEAD)


def query_timing(store: Database, name: str, query: SavedQuery) -> QueryTiming:
    values = {"unit": "u1"} if any(p.name == "unit" for p in query.parameters) else {}
    bound = query.bound(values)
    hand, _, _ = timed(lambda: store.frame(query.sql, bound))
    spent, busy, frame = timed(lambda: query.run(store, values))
    unique = not frame.select(query.grain).is_duplicated().any()  # type: ignore[attr-defined]
    print(
        f"{name:32} {spent:6.3f} s  by hand {hand:6.3f} s  processor {busy:6.3f} s  "
        f"{frame.height:7} rows{'' if unique else '  not unique'}",  # type: ignore[attr-defined]
        file=sys.stderr, flush=True,
    )  # fmt: skip
    return QueryTiming(name, spent, hand, unique)


def overview(store: Database, folder: Path) -> float:
    """Seconds of the site's first page, what it is read from included."""
    began = time.perf_counter()
    keep_views(store)
    builder = SiteBuilder(
        ChartRenderer(store, {}, [folder]), read_site_data(store), Settings(), folder
    )
    written = next(page for page in index_pages(builder, {}) if page.path == "index.html")
    assert written.trouble == ""
    return time.perf_counter() - began


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    make(folder)
    with reading(folder) as store:
        (count,) = store.rows("SELECT count(*) FROM reading")[0]
        timings = [query_timing(store, name, query) for name, query in shipped().items()]
        compared, _, _ = timed(lambda: compare_unit(store, "u1"))
        first_page = overview(store, folder)
    slowest = max(timings, key=lambda one: one.spent)
    most = max(timings, key=lambda one: one.overhead)
    among = f"{len(timings)} saved queries, {count:,} readings"
    tell(Row(f"slowest of {among} ({slowest.name})", slowest.spent, target=LIMIT_S))
    tell(Row(f"most overhead of {among} ({most.name})", most.spent, "s", "the SQL by hand",
             max(most.hand, LEAST_S / OVERHEAD), OVERHEAD))  # fmt: skip
    tell(Row("grains that are not unique", sum(not one.unique for one in timings), "", target=0))
    tell(Row(f"`compare` of a unit there, {UNITS:,} units", compared, target=1.0))
    tell(Row("overview page there", first_page, target=1.0))


if __name__ == "__main__":
    main()
