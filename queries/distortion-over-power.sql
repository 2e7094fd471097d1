-- title: THD against power
-- question: How does THD at 1 kHz change with power into the load, compared with units of the
--   same technology and kind? Every tone or level step of each unit's newest review that has one.
-- conditions: 1 kHz; {load_ohm} ohm; newest review of each unit; bars: k = 2
-- grain: unit_key, output, power_w; one row per unit, output and power
-- metric: thd
-- parameter unit: unit = ''; unit to draw among its peers
-- parameter technology: technology = ''; technology of the curves where no unit is marked; where
--   empty, the most common one
-- parameter load_ohm: number = 8; load in ohms
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column technology: -; Technology
-- column power_w: W; Power
-- column thd_percent: %; THD
-- column thd_low: %; Lower limit (k = 2)
-- column thd_high: %; Upper limit (k = 2)
-- column bound: -; Bound
-- chart: distortion-power
WITH commonest AS (
    SELECT technology FROM peer GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1
),
marked AS (SELECT technology, kind_group FROM peer WHERE unit_key = $unit),
chosen AS (
    SELECT unit_key, label, technology
    FROM peer
    WHERE CASE WHEN $unit = '' THEN technology = coalesce(nullif($technology, ''), (FROM commonest))
               ELSE (technology, kind_group) IN (SELECT (technology, kind_group) FROM marked) END
),
found AS (
    SELECT reading.*, reviewed
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN chosen USING (unit_key)
    JOIN review USING (review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric = 'thd' AND stimulus IN ('tone', 'steps', 'distortion table')
      AND value IS NOT NULL
      AND frequency_hz BETWEEN 990 AND 1010 AND power_w > 0 AND load_kind = 'resistor'
      -- what was worked out between two steps is no step of its own
      AND NOT starts_with(coalesce(reading.reason, ''), 'interpolated')
      -- a record that ends below the tenth harmonic holds another distortion
      AND reading.detail NOT LIKE '%"harmonics"%'
      AND load_ohm BETWEEN 0.95 * $load_ohm AND 1.05 * $load_ohm
    QUALIFY dense_rank() OVER (
        PARTITION BY unit_key ORDER BY status = 'entered', reviewed DESC, review_key DESC
    ) = 1
)
SELECT
    unit_key, label, output, technology, power_w, value AS thd_percent,
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * uncertainty END AS thd_low,
    CASE WHEN bound IS DISTINCT FROM 'lower' THEN value + 2 * uncertainty END AS thd_high,
    bound
FROM found
JOIN chosen USING (unit_key)
QUALIFY row_number() OVER (
    PARTITION BY unit_key, output, power_w ORDER BY stimulus = 'steps', reading_key
) = 1
ORDER BY unit_key, output, power_w
