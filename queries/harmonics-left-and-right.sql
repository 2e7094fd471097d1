-- title: Harmonics of both outputs at two powers
-- question: Which harmonics does a unit produce at a low and at a higher power, and do its
--   outputs agree? Levels re the fundamental; newest review; without a unit, the one reviewed
--   last.
-- conditions: {low}; {high}; newest review
-- grain: unit_key, output, power_w, order_n; one row per unit, output, power and harmonic
-- metric: harmonic
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- parameter low: point = 'tone-1khz-1w-8ohm'; test point of the low power
-- parameter high: point = 'tone-1khz-5w-8ohm'; test point of the higher power
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column power_w: W; Power
-- column order_n: -; Harmonic
-- column level_db: dB; Level re the fundamental
-- column bound: -; Bound
-- chart: harmonics
WITH marked AS (
    SELECT unit_key FROM peer
    WHERE $unit = '' OR unit_key = $unit
    ORDER BY reviewed DESC, unit_key
    LIMIT 1
),
found AS (
    SELECT reading.*
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN marked USING (unit_key)
    JOIN metric USING (metric, method_version)
    JOIN review USING (review_key)
    JOIN reading_point USING (reading_key, review_key)
    WHERE metric = 'harmonic' AND point_key IN ($low, $high) AND value IS NOT NULL
    QUALIFY dense_rank() OVER (
        PARTITION BY point_key, order_n ORDER BY status = 'entered', reviewed DESC, review_key DESC
    ) = 1
)
SELECT unit_key, label, output, power_w, order_n, value AS level_db, bound
FROM found
JOIN peer USING (unit_key)
QUALIFY row_number() OVER (PARTITION BY output, power_w, order_n ORDER BY reading_key) = 1
ORDER BY unit_key, output, power_w, order_n
