-- title: THD against power before and after work
-- question: What did service, restoration or modification change in a unit's distortion over
--   power? As received and in its newest later state, with the difference beneath.
-- conditions: 1 kHz; {load_ohm} ohm; bounds left out; band: uncertainty (k = 2)
-- grain: series, output, x; one row per review, output and power
-- metric: thd
-- parameter unit: unit = ''; unit; where empty, the one whose work was reviewed last
-- parameter load_ohm: number = 8; load in ohms
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Review
-- column output: -; Output
-- column x: W; Power
-- column y: %; THD
-- column y_u: %; Standard uncertainty
-- chart: overlaid; across = power; scale = log
WITH chosen AS (
    SELECT before_after.*, label, after.reviewed AS worked
    FROM before_after
    JOIN peer USING (unit_key)
    JOIN review AS after ON after.review_key = after_key
    WHERE $unit = '' OR unit_key = $unit
    ORDER BY worked DESC, unit_key
    LIMIT 1
),
reviews AS (
    SELECT unit_key, label, unnest([before_key, after_key]) AS review_key, unnest([1, 2]) AS place
    FROM chosen
)
SELECT
    unit_key, label, strftime(reviewed, '%Y-%m-%d') || ', ' || state AS series, output,
    power_w AS x, value AS y, reading.uncertainty AS y_u
FROM reading
JOIN reviews USING (unit_key, review_key)
JOIN review USING (review_key)
JOIN appearance USING (unit_key, review_key)
JOIN metric USING (metric, method_version)
WHERE metric = 'thd' AND stimulus IN ('tone', 'steps') AND value IS NOT NULL
  AND reading.bound IS NULL AND frequency_hz BETWEEN 990 AND 1010 AND power_w > 0
  AND load_kind = 'resistor' AND load_ohm BETWEEN 0.95 * $load_ohm AND 1.05 * $load_ohm
  AND NOT starts_with(coalesce(reading.reason, ''), 'interpolated')
  AND reading.detail NOT LIKE '%"harmonics"%'
QUALIFY row_number() OVER (
    PARTITION BY review_key, output, power_w ORDER BY stimulus = 'steps', reading_key
) = 1
ORDER BY place, series, output, x
