-- title: Measured and specified power
-- question: Which units miss their specified power, and by how much? Output power at the
--   specified distortion and load, 1 kHz, output with the lower power, newest review.
-- grain: unit_key, position; one row per power specification of a unit
-- parameter missed: flag = no; only those that miss it
-- column unit_key: -; Unit
-- column position: -; Position among the specifications
-- column label: -; Maker and model
-- column technology: -; Technology
-- column promised: W; Specified
-- column value: W; Measured
-- column state: -; State
-- column excess_db: dB; Measured re specified
-- column low: W; Lower limit (k = 2)
-- column high: W; Upper limit (k = 2)
-- column limit_percent: %; Distortion limit
-- column load_ohm: ohm; Load
WITH held AS (
    SELECT
        unit_key, published.position, label, technology, limit_value AS promised,
        reading.value, reading.uncertainty, reading.dof, reading.limit_percent, reading.load_ohm,
        bound
    FROM published
    JOIN peer USING (review_key, unit_key)
    JOIN reading USING (review_key, unit_key, metric)
    JOIN metric USING (metric, method_version)
    WHERE metric = 'power_at_limit' AND side = 'at least' AND reading.value IS NOT NULL
      AND abs(reading.limit_percent - published.limit_percent) < 0.001
      AND (published.load_ohm IS NULL
           OR abs(reading.load_ohm / published.load_ohm - 1) <= 0.05)
      AND (published.frequency_hz IS NULL
           OR abs(reading.frequency_hz / published.frequency_hz - 1) <= 0.01)
      AND published.band_low_hz IS NULL
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, published.position ORDER BY reading.value, reading_key
    ) = 1
),
compared AS (
    SELECT
        *,
        value - 2 * uncertainty AS low,
        value + 2 * uncertainty AS high,
        (promised - value) / nullif(uncertainty, 0) AS short
    FROM held
)
SELECT
    unit_key, position, label, technology, promised, value,
    CASE WHEN bound = 'lower' AND value < promised THEN 'inconclusive'
         WHEN uncertainty IS NULL THEN 'inconclusive'
         WHEN uncertainty = 0 THEN CASE WHEN value >= promised THEN 'meets' ELSE 'fails' END
         WHEN short <= -student_quantile(1.6449, dof) THEN 'meets'
         WHEN short >= student_quantile(1.6449, dof) THEN 'fails'
         ELSE 'inconclusive' END AS state,
    10 * log10(value / promised) AS excess_db, low, high, limit_percent, load_ohm
FROM compared
WHERE NOT $missed OR state = 'fails'
ORDER BY excess_db, unit_key, position
