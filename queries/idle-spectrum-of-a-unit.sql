-- title: Spectrum at idle
-- question: What does a unit's residual noise consist of: hum, broadband noise, single tones? The
--   strongest line of each of 2,000 steps of equal ratio from 10 Hz to 100 kHz, so that no line
--   is lost; newest review; without a unit, the one reviewed last. Rows of kind mains are the hum
--   lines that stand out of the noise.
-- conditions: input terminated; newest review; strongest line of each step
-- grain: unit_key, output, frequency_hz, kind; one row per unit, output, frequency and kind of
--   line
-- metric: noise_a
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level: dBV/√Hz; Noise density
-- column kind: -; Kind
-- column y_unit: -; Unit of the level
-- column name: -; Name
-- chart: spectrum
WITH marked AS (
    SELECT unit_key, label FROM peer
    WHERE $unit = '' OR unit_key = $unit
    ORDER BY reviewed DESC, unit_key
    LIMIT 1
),
newest AS (
    SELECT curve.*, label
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN marked USING (unit_key)
    JOIN review USING (review_key)
    WHERE curve = 'idle_spectrum'
    QUALIFY row_number() OVER (
        PARTITION BY output
        ORDER BY reviewed DESC, review_key DESC, analysis_key
    ) = 1
),
points AS (
    SELECT unit_key, label, output, y_unit, unnest(x) AS hertz, unnest(y) AS level FROM newest
),
steps AS (
    SELECT unit_key, label, output, arg_max(hertz, level) AS frequency_hz, max(level) AS level,
           'idle' AS kind, y_unit
    FROM points
    WHERE hertz BETWEEN 10 AND 100000
    GROUP BY unit_key, label, output, y_unit, floor(500 * log10(hertz / 10))
),
mains AS (
    SELECT steps.unit_key, steps.label, steps.output,
           arg_max(steps.frequency_hz, steps.level) AS frequency_hz, max(steps.level) AS level,
           'mains' AS kind, steps.y_unit, format('{:.0f} Hz', review.mains_hz * order_n) AS name
    FROM reading
    JOIN newest ON newest.review_key = reading.review_key
        AND newest.unit_key = reading.unit_key AND newest.output = reading.output
    JOIN review ON review.review_key = reading.review_key
    JOIN steps ON steps.unit_key = reading.unit_key AND steps.output = reading.output
        AND steps.frequency_hz BETWEEN 0.985 * reading.frequency_hz AND 1.015 * reading.frequency_hz
    WHERE metric = 'mains_line' AND value IS NOT NULL AND bound IS NULL
    GROUP BY ALL
)
SELECT unit_key, label, output, frequency_hz, level, kind, y_unit, name
FROM (SELECT *, NULL AS name FROM steps UNION ALL SELECT * FROM mains)
ORDER BY unit_key, output, kind, frequency_hz
