-- title: Square-wave response
-- question: How does a unit reproduce a square wave? One period, with the points that rise time,
--   overshoot and tilt were read from; newest review; without a unit, the one reviewed last that
--   has one.
-- conditions: {frequency_hz} Hz; newest review; one period about the upward edge
-- grain: unit_key, output, kind, time_s; one row per unit, output, kind of point and time
-- metric: rise_time
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- parameter frequency_hz: number = 1000; frequency of the square wave
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column time_s: s; Time from the edge
-- column volts: V; Output voltage
-- column kind: -; Kind
-- column note: -; Reading
-- chart: square
WITH newest AS (
    SELECT curve.*, label
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN peer USING (unit_key)
    JOIN review ON review.review_key = curve.review_key
    WHERE curve = 'waveform' AND ($unit = '' OR unit_key = $unit)
      AND curve.frequency_hz BETWEEN 0.98 * $frequency_hz AND 1.02 * $frequency_hz
    QUALIFY dense_rank() OVER (
            ORDER BY review.reviewed DESC, curve.review_key DESC, unit_key) = 1
        AND row_number() OVER (
            PARTITION BY unit_key, curve.review_key, output ORDER BY analysis_key
        ) = 1
),
points AS (
    SELECT unit_key, label, output, unnest(x) AS time_s, unnest(y) AS volts,
           1 / frequency_hz AS period
    FROM newest
),
marked AS (
    SELECT min(output) AS output FROM newest
),
read AS (
    SELECT
        metric, value, bound,
        CASE WHEN bound = 'upper' THEN 'at most ' ELSE '' END AS most
    FROM reading
    JOIN (SELECT review_key, analysis_key, unit_key, output FROM newest) AS drawn
      USING (review_key, analysis_key, unit_key, output)
    JOIN marked USING (output)
    JOIN metric USING (metric, method_version)
    WHERE metric IN ('state_high', 'state_low', 'rise_time', 'overshoot', 'tilt')
      AND value IS NOT NULL
    QUALIFY row_number() OVER (PARTITION BY metric ORDER BY reading_key) = 1
),
high AS (SELECT points.* FROM points JOIN marked USING (output) WHERE time_s < 0.49 * period),
levels AS (
    SELECT max(value) FILTER (metric = 'state_low') AS low,
           max(value) FILTER (metric = 'state_high') AS high
    FROM read
),
spots AS (
    SELECT 'rise_time' AS metric, min(time_s) AS time_s, arg_min(volts, time_s) AS volts
    FROM high, levels
    WHERE time_s > -0.1 * period AND volts >= low + 0.1 * (levels.high - low)
    UNION ALL
    SELECT 'rise_time', min(time_s), arg_min(volts, time_s)
    FROM high, levels
    WHERE time_s > -0.1 * period AND volts >= low + 0.9 * (levels.high - low)
    UNION ALL
    SELECT 'overshoot', arg_max(time_s, volts), max(volts) FROM high WHERE time_s >= 0
    UNION ALL
    SELECT 'tilt', arg_min(time_s, abs(time_s - 0.15 * period)),
           arg_min(volts, abs(time_s - 0.15 * period)) FROM high
    UNION ALL
    SELECT 'tilt', arg_min(time_s, abs(time_s - 0.47 * period)),
           arg_min(volts, abs(time_s - 0.47 * period)) FROM high
),
notes AS (
    SELECT
        metric,
        CASE metric
            WHEN 'rise_time' THEN format('rise time {}{:.3g} µs', most, value * 1e6)
            WHEN 'overshoot' THEN format('overshoot {}{:.2g} %', most, value)
            ELSE format('tilt {}{:.2g} %', most, value) END AS note
    FROM read
    WHERE metric IN ('rise_time', 'overshoot', 'tilt')
)
SELECT unit_key, label, output, time_s, volts, 'trace' AS kind, NULL AS note
FROM points
UNION ALL
SELECT DISTINCT unit_key, label, output, time_s, volts, replace(metric, '_', ' '), note
FROM spots
JOIN notes USING (metric)
CROSS JOIN (SELECT DISTINCT unit_key, label, points.output FROM points JOIN marked USING (output))
WHERE time_s IS NOT NULL
ORDER BY unit_key, output, kind, time_s
