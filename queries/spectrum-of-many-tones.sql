-- title: Spectrum of a two-tone or multitone capture
-- question: Which lines lie between the tones of a two-tone or multitone capture? The strongest
--   line of each of 2,000 steps of equal ratio from 10 Hz to 100 kHz, so that no line is lost;
--   newest review; without a unit, the one reviewed last that has one.
-- conditions: {stimulus}; newest review; strongest line of each step
-- grain: unit_key, output, frequency_hz, kind; one row per unit, output, frequency and kind of
--   line
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- parameter stimulus: text = 'multitone'; multitone or two tones
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level: dBV; Level of each line
-- column kind: -; Kind
-- chart: spectrum
WITH newest AS (
    SELECT curve.*, label
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN peer USING (unit_key)
    JOIN review ON review.review_key = curve.review_key
    JOIN capture ON capture.review_key = curve.review_key
        AND capture.analysis_key = curve.analysis_key
    WHERE curve = 'tones_spectrum' AND stimulus = $stimulus AND ($unit = '' OR unit_key = $unit)
    QUALIFY dense_rank() OVER (
            ORDER BY review.reviewed DESC, curve.review_key DESC, unit_key) = 1
        AND row_number() OVER (
            PARTITION BY unit_key, curve.review_key, output ORDER BY position, curve.analysis_key
        ) = 1
),
points AS (
    SELECT unit_key, label, output, unnest(x) AS hertz, unnest(y) AS level FROM newest
),
strongest AS (
    SELECT newest.unit_key, newest.output, reading.frequency_hz
    FROM newest
    JOIN reading USING (review_key, analysis_key, unit_key, output)
    WHERE metric = 'greatest_product' AND reading.frequency_hz > 0 AND reading.bound IS NULL
)
SELECT unit_key, label, output, arg_max(hertz, level) AS frequency_hz, max(level) AS level,
       'tone' AS kind
FROM points
WHERE hertz BETWEEN 10 AND 100000
GROUP BY unit_key, label, output, floor(500 * log10(hertz / 10))
UNION ALL
-- of what was not played
SELECT unit_key, label, output, arg_min(hertz, abs(hertz - frequency_hz)),
       arg_min(level, abs(hertz - frequency_hz)), 'distortion'
FROM points
JOIN strongest USING (unit_key, output)
GROUP BY unit_key, label, output
ORDER BY unit_key, output, frequency_hz, kind DESC
