"""Test points: the conditions at which units may be compared, and the readings that meet them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from backbench.documents.file_names import SETTINGS_NAME
from backbench.documents.settings import CustomTestPoint, Settings
from backbench.errors import Fault, UserError
from backbench.metrics.registry import registry
from backbench.metrics.traits import BY_HAND, BY_HAND_POINT, PointFamily
from backbench.storage.database import Database
from backbench.test_points.frequencies import PLAYED, off_frequency, same_frequency, same_pair
from backbench.test_points.interpolate import assign_between, forget_between
from backbench.test_points.repeatability import sync_repeatability
from backbench.test_points.scope import chosen_reviews

LOAD_WITHIN = 0.05
BRIDGING_OHM = 5_000.0
"""A load of at least this loads a preamplifier's output no more than an amplifier's input does."""
USUAL_LOAD_OHM = 8.0
"""Of several taps, the one that is compared where a test point asks for no load."""

EQUALISED = r"\b(phono|mm|mc|riaa|mic|microphone)\b"
"""How an input says that it isn't a line input: readings through it stand for no shipped point,
but those of a phono preamplifier."""
NEAR_CLIPPING_WITHIN = 0.05
"""Half-width of the power window above half the rated power, where distortion rises steeply."""
FULL_VOLUME = r"^\s*(full|fully|max|maximum|100 ?%)\b"
"""How a volume setting says that the control is turned up whole: the setting of which idle noise
is compared where there are several."""


@dataclass(frozen=True)
class TestPoint:
    """Conditions to be met. None is not asked for.

    stimulus: analysis kinds, separated by ", ".
    power_w: watts measured at the output, within `power_within` (relative half-width).
    power_share: the same as a share of the unit's rated power.
    level_v: volts rms at an output without a load resistor, within `power_within`.
    tones_hz: both frequencies of a two-tone stimulus, in Hz, rising.
    metrics: the metrics that the point is for; all of the stimulus where None.
    """

    __test__ = False  # the name is the trade's; it is no test case

    point_key: str
    title: str
    stimulus: str
    frequency_hz: float | None = None
    power_w: float | None = None
    power_share: float | None = None
    power_within: float | None = None
    load_ohm: float | None = None
    level_v: float | None = None
    tones_hz: tuple[float, float] | None = None
    metrics: tuple[str, ...] | None = None


TONE = "tone, steps, tone trace table"
FREQUENCIES = {"20hz": ("20 Hz", 20.0), "1khz": ("1 kHz", 1000.0), "20khz": ("20 kHz", 20000.0)}
LOADS = (4.0, 8.0, 16.0)
POWERS: dict[str, tuple[str, float | None, float | None]] = {
    "1w": ("1 W", 1.0, None),
    "5w": ("5 W", 5.0, None),
    "half": ("half rated power", None, 0.5),
    "rated": ("rated power", None, 1.0),
}


def shipped_points() -> list[TestPoint]:
    """The points that every catalogue has, in the order that they are shown."""
    return [
        TestPoint("idle", "idle, input terminated", "idle"),
        *_powered(),
        *_unpowered(),
        TestPoint(
            point_key="preamp-1khz-2v",
            title="1 kHz, 2 V out, bridging load",
            stimulus=TONE,
            frequency_hz=1000.0,
            power_w=None,
            power_share=None,
            power_within=0.25,
            level_v=2.0,
        ),
        TestPoint("response", "response, 20 Hz to 20 kHz", "sweep, response table"),
        TestPoint(
            "two-tone-19k-20k", "19 kHz and 20 kHz, 1:1", "two tones", tones_hz=(19000.0, 20000.0)
        ),
        TestPoint("two-tone-60-7k", "60 Hz and 7 kHz", "two tones", tones_hz=(60.0, 7000.0)),
        TestPoint("square-1khz", "1 kHz square wave", "square", 1000.0),
        TestPoint("square-10khz", "10 kHz square wave", "square", 10000.0),
        TestPoint("transport-tone", "tone of a test record or tape", "transport"),
        TestPoint(BY_HAND_POINT, "entered by hand", BY_HAND),
        TestPoint("tuner-table", "table of RF levels", "tuner table"),
    ]


@cache
def shipped_point(key: str) -> TestPoint:
    """The shipped point of a key. Raises KeyError for any other."""
    return {point.point_key: point for point in shipped_points()}[key]


def _powered() -> Iterator[TestPoint]:
    """Tone at each frequency, power and load. Half-width of the power window: 25 %."""
    for frequency, (frequency_title, hertz) in FREQUENCIES.items():
        for power, (power_title, watts, share) in POWERS.items():
            for load in LOADS:
                yield TestPoint(
                    point_key=f"tone-{frequency}-{power}-{load:g}ohm",
                    title=f"{frequency_title}, {power_title}, {load:g} ohm",
                    stimulus=TONE,
                    frequency_hz=hertz,
                    power_w=watts,
                    power_share=share,
                    power_within=0.25,
                    load_ohm=load,
                )


def _unpowered() -> Iterator[TestPoint]:
    """Quantities that are ratios or limits: the power that they were taken at is not asked for."""
    for frequency, (frequency_title, hertz) in FREQUENCIES.items():
        yield TestPoint(
            f"impedance-{frequency}",
            f"output impedance at {frequency_title}",
            f"{TONE}, sweep",
            hertz,
            metrics=_family("output impedance"),
        )
        yield TestPoint(
            f"channels-{frequency}", f"between channels at {frequency_title}", TONE, hertz,
            metrics=_family("between channels"),
        )  # fmt: skip
        for load in LOADS:
            yield TestPoint(
                f"limit-{frequency}-{load:g}ohm",
                f"greatest power at {frequency_title}, {load:g} ohm",
                TONE,
                hertz,
                load_ohm=load,
                metrics=_family("greatest power"),
            )
    yield TestPoint("gain-1khz", "gain at 1 kHz", TONE, 1000.0, metrics=_family("gain at 1 kHz"))


def _family(family: PointFamily) -> tuple[str, ...]:
    return registry().having(lambda traits: traits.point_family == family)


def all_points(settings: Settings) -> list[TestPoint]:
    """Shipped points and the reviewer's own. Raises UserError where a key is used twice."""
    shipped = shipped_points()
    taken = {point.point_key for point in shipped}
    faults = []
    for position, window in enumerate(settings.test_point, start=1):
        if window.key in taken:
            where = f"{SETTINGS_NAME}, test_point {position}, key"
            faults.append(Fault(where, repr(window.key), "a key of its own", "name it otherwise"))
        taken.add(window.key)
    if faults:
        raise UserError(f"{SETTINGS_NAME} repeats a test point", faults)
    return shipped + [_own(window) for window in settings.test_point]


def _own(window: CustomTestPoint) -> TestPoint:
    return TestPoint(
        window.key, window.title, window.stimulus, window.frequency_hz, window.power_w,
        power_within=window.power_within_percent / 100 if window.power_w else None,
        load_ohm=window.load_ohm,
    )  # fmt: skip


def sync_points(store: Database, settings: Settings) -> None:
    """Make table test_point equal to the points in force. Inside the caller's transaction."""
    store.run("DELETE FROM test_point")
    for point in all_points(settings):
        store.run(
            "INSERT INTO test_point BY NAME SELECT $point_key AS point_key, $title AS title, "
            "$stimulus AS stimulus, $frequency_hz::DOUBLE AS frequency_hz, "
            "$power_w::DOUBLE AS power_w, $power_share::DOUBLE AS power_share, "
            "$power_within::DOUBLE AS power_within, $load_ohm::DOUBLE AS load_ohm, "
            "$level_v::DOUBLE AS level_v, $tones_hz::DOUBLE[] AS tones_hz, "
            "$metrics::VARCHAR[] AS metrics",
            {
                **vars(point),
                "tones_hz": list(point.tones_hz) if point.tones_hz else None,
                "metrics": list(point.metrics) if point.metrics else None,
            },
        )


WINDOWS: dict[str, object] = {
    "load_within": LOAD_WITHIN, "bridging": BRIDGING_OHM,
    "usual_load": USUAL_LOAD_OHM, "full": FULL_VOLUME, "equalised": EQUALISED,
    "near_clipping": NEAR_CLIPPING_WITHIN,
}  # fmt: skip

# One reading of a unit, output and metric stands for a test point: at idle that of full volume
# where there are several, then with tone controls unset or flat, then the nearest in frequency,
# then in power, then with all channels driven, then from the tap that the load belongs to, then a
# single tone before steps, traces and sweeps, then the first in the manifest. Readings that differ
# in `detail` are different quantities, but for points made for a metric: there it tells what the
# reading refers to (the nominal load).
ASSIGN = """
WITH
taken AS (
    SELECT review_key, analysis_capture.analysis_key, min(capture.position) AS position,
           first(capture.stimulus_json ORDER BY capture.position) AS stimulus_json,
           bool_or(lower(trim(capture.controls)) NOT IN ('flat', 'defeated', 'bypassed')) AS shaped
    FROM analysis_capture
    JOIN capture USING (review_key, sha256)
    WHERE {chosen}
    GROUP BY ALL
),
levels AS (
    SELECT review_key, analysis_key, unit_key, output,
           first(value ORDER BY reading_key) AS volts
    FROM reading
    WHERE {chosen} AND list_contains($levels, metric) AND value IS NOT NULL
          AND stimulus IN ('tone', 'tone trace table')
    GROUP BY ALL
),
met AS (
    SELECT
        reading.reading_key, reading.review_key, point.point_key, reading.unit_key, reading.output,
        reading.against, reading.metric, reading.order_n, reading.limit_percent,
        CASE WHEN point.metrics IS NULL THEN reading.detail END AS detail,
        CASE WHEN point.frequency_hz IS NULL AND reading.order_n IS NULL
             THEN reading.frequency_hz END AS own_frequency,
        coalesce(point.power_w, point.power_share * appearance.rated_power_w) AS wanted_w,
        {off_frequency} AS off_frequency,
        coalesce(abs(ln(nullif(reading.power_w, 0) / wanted_w)),
                 abs(ln(nullif(levels.volts, 0) / point.level_v)), 0) AS distance,
        abs(ln(nullif(levels.volts, 0) / point.level_v)) AS level_offset,
        reading.driven IS NOT NULL AS one_driven,
        coalesce(try_cast(regexp_extract(reading.tap, '[0-9.]+') AS DOUBLE)
                 <> coalesce(point.load_ohm, $usual_load), false) AS other_tap,
        other_tap AND point.load_ohm IS NOT NULL AS wrong_tap,
        coalesce(regexp_matches(lower(reading.input), $equalised), false)
            AND NOT regexp_matches(lower(appearance.kind), $equalised)
            AND NOT list_contains($of_equalised, reading.metric) AS other_input,
        reading.stimulus,
        reading.stimulus = 'idle'
            AND NOT coalesce(regexp_matches(lower(reading.volume), $full), false) AS turned_down,
        coalesce(taken.shaped, false) AS shaped,
        reading.stimulus IN ('steps', 'tone trace table')
            OR (reading.stimulus = 'sweep' AND point.metrics IS NOT NULL) AS less_direct,
        reading.value IS NULL AS without_value, reading.status = 'entered' AS entered,
        coalesce(taken.position, 0) AS position
    FROM reading
    JOIN appearance USING (review_key, unit_key)
    JOIN test_point AS point
      ON list_contains(string_split(point.stimulus, ', '), reading.stimulus)
    LEFT JOIN taken
      ON taken.analysis_key = reading.analysis_key AND taken.review_key = reading.review_key
    LEFT JOIN levels
      ON levels.analysis_key = reading.analysis_key AND levels.review_key = reading.review_key
         AND levels.unit_key = reading.unit_key
         AND levels.output = reading.output
    WHERE {chosen}
      AND (point.metrics IS NULL OR list_contains(point.metrics, reading.metric))
      AND (point.frequency_hz IS NULL OR {same_frequency})
      AND (point.load_ohm IS NULL OR (reading.load_kind = 'resistor'
           AND abs(reading.load_ohm / point.load_ohm - 1) <= $load_within))
      AND ((point.power_w IS NULL AND point.power_share IS NULL)
           OR (NOT list_contains($at_limits, reading.metric)
               AND abs(reading.power_w / wanted_w - 1)
                   <= if(wanted_w > appearance.rated_power_w / 2,
                         least(point.power_within, $near_clipping), point.power_within)))
      AND (point.level_v IS NULL
           OR (abs(levels.volts / point.level_v - 1) <= point.power_within
               AND (reading.load_kind IS DISTINCT FROM 'resistor'
                    OR reading.load_ohm >= $bridging)))
      AND (point.tones_hz IS NULL OR {same_pair})
)
INSERT INTO reading_point (reading_key, review_key, point_key, level_offset)
SELECT reading_key, review_key, point_key, level_offset
FROM met
WHERE NOT (list_contains($shipped, point_key) AND (shaped OR other_input OR wrong_tap))
QUALIFY row_number() OVER (
    PARTITION BY review_key, point_key, unit_key, output, against, metric, order_n, limit_percent,
                 detail, own_frequency
    ORDER BY without_value, entered, turned_down, shaped, off_frequency, distance, one_driven,
             other_tap, less_direct, position, reading_key
) = 1
ORDER BY review_key, point_key, reading_key
"""


def assign_points(store: Database, review_keys: Sequence[str]) -> None:
    """Fill reading_point for some reviews. Inside the caller's transaction; repeatable.

    Windows: frequency 1 % (or the one clear of the mains that is played in its place), load 5 %,
    power and level as the test point says. A reading may meet several points; a reading without a
    value meets them too, where none with a value does. Where none is within a point's power, one is
    worked out between two steps of a power sweep.
    """
    _assign(store, review_keys)


def assign_all_points(store: Database) -> None:
    """Fill reading_point for every review, after the points themselves were changed."""
    _assign(store, None)


def _assign(store: Database, review_keys: Sequence[str] | None) -> None:
    chosen, values = chosen_reviews(review_keys)
    forget_between(store, review_keys)
    store.run(f"DELETE FROM reading_point WHERE {chosen}", values)
    of_traits = {
        "levels": [*registry().having(lambda traits: traits.own_stimulus == "voltage")],
        "of_equalised": [*registry().having(lambda traits: traits.equalised)],
        "at_limits": [*_family("greatest power")],
        "shipped": [point.point_key for point in shipped_points()],
    }
    reading_hz, point_hz = "reading.frequency_hz", "point.frequency_hz"
    sql = ASSIGN.format(
        chosen=chosen,
        same_frequency=same_frequency(reading_hz, point_hz),
        off_frequency=off_frequency(reading_hz, point_hz),
        same_pair=same_pair(PLAYED, "point.tones_hz"),
    )
    store.run(sql, {**WINDOWS, **of_traits, **values})
    assign_between(store, {**WINDOWS, **of_traits}, review_keys)
    sync_repeatability(store)
