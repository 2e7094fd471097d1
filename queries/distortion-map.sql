-- title: Distortion over frequency and power
-- question: Where over frequency and power is a unit clean, and where does its distortion rise? THD
--   of every tone, step and tabled point of its newest review, with the points that gave none.
-- conditions: {load_ohm} ohm; each tone at its measured power; newest review
-- grain: unit_key, output, frequency_hz, power_w, generator_vrms; one row per unit, output and tone
-- metric: thd
-- needed: frequency_hz, power_w, thd_percent, status
-- parameter unit: unit = ''; unit; where empty, the one with the most frequencies and powers
-- parameter load_ohm: number = 8; load in ohms
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column load_ohm: Ω; Load
-- column frequency_hz: Hz; Frequency
-- column power_w: W; Power
-- column generator_vrms: V; Generator
-- column thd_percent: %; THD
-- column thd_low: %; Lower limit (k = 2)
-- column thd_high: %; Upper limit (k = 2)
-- column bound: -; Bound
-- column harmonics: -; Harmonics
-- column status: -; Status
-- column reason: -; Reason
-- chart: distortion-map
WITH found AS (
    SELECT reading.*, reviewed
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric = 'thd' AND stimulus IN ('tone', 'steps', 'distortion table')
      AND frequency_hz IS NOT NULL AND (power_w > 0 OR value IS NULL)
      AND load_kind = 'resistor' AND load_ohm BETWEEN 0.95 * $load_ohm AND 1.05 * $load_ohm
      -- what was worked out between two steps is no step of its own
      AND NOT starts_with(coalesce(reading.reason, ''), 'interpolated')
      AND (driven IS NULL OR driven = output) AND $unit IN ('', reading.unit_key)
),
chosen AS (
    SELECT unit_key
    FROM found
    GROUP BY ALL
    ORDER BY count(DISTINCT round(log10(frequency_hz), 2)) FILTER (value IS NOT NULL) DESC,
             count(DISTINCT power_w) DESC, unit_key
    LIMIT 1
),
newest AS (
    FROM found
    SEMI JOIN chosen USING (unit_key)
    QUALIFY dense_rank() OVER (ORDER BY status = 'entered', reviewed DESC, review_key DESC) = 1
)
SELECT
    unit_key, label, output, load_ohm, frequency_hz, power_w, generator_vrms,
    value AS thd_percent,
    CASE WHEN bound IS DISTINCT FROM 'upper' THEN value - 2 * uncertainty END AS thd_low,
    CASE WHEN bound IS DISTINCT FROM 'lower' THEN value + 2 * uncertainty END AS thd_high,
    bound,
    -- a record that ends below the tenth harmonic holds fewer of them
    CASE WHEN value IS NOT NULL
         THEN coalesce(json_extract_string(detail, '$.harmonics'), '2 to 10') END AS harmonics,
    status, reason
FROM newest
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
QUALIFY row_number() OVER (
    PARTITION BY output, frequency_hz, power_w, generator_vrms
    ORDER BY driven IS NOT NULL, stimulus = 'steps', value IS NULL, reading_key
) = 1
ORDER BY output, frequency_hz, power_w, generator_vrms
