-- title: Intermodulation products of two tones
-- question: Which products does a unit make of two tones played together? Products of second and
--   third order re the reference of their test, and the tones as played; newest review; without a
--   unit, the one reviewed last that has them.
-- conditions: {point}; newest review; open marks: upper bounds
-- grain: unit_key, output, frequency_hz, name; one row per unit, output, frequency and product
-- metric: intermodulation_product
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- parameter point: point = 'two-tone-19k-20k'; test point
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level_db: dB; Level re the test's reference
-- column low_db: dB; Lower limit (k = 2)
-- column high_db: dB; Upper limit (k = 2)
-- column kind: -; Kind
-- column name: -; Name
-- column bound: -; Bound
-- chart: products; frequency = linear
WITH newest AS (
    SELECT reading.*, reviewed
    FROM reading_point
    JOIN reading USING (reading_key, review_key)
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN metric USING (metric, method_version)
    JOIN review USING (review_key)
    WHERE point_key = $point AND metric IN ('intermodulation_product', 'tone_level')
      AND value IS NOT NULL AND unit_key <> '' AND ($unit = '' OR unit_key = $unit)
    QUALIFY dense_rank() OVER (ORDER BY reviewed DESC, review_key DESC, unit_key) = 1
        AND row_number() OVER (
            PARTITION BY unit_key, review_key, output, metric, reading.frequency_hz, detail
            ORDER BY reading_key
        ) = 1
),
tones AS (
    SELECT
        *,
        sum(value) OVER (PARTITION BY output) AS together,
        max(value) OVER (PARTITION BY output) AS stronger,
        arg_max(value, frequency_hz) OVER (PARTITION BY output) AS upper_tone
    FROM newest
    WHERE metric = 'tone_level'
),
played AS (
    SELECT unit_key, output, frequency_hz,
           20 * log10(value / if(stronger > 2 * upper_tone, upper_tone, together)) AS level_db,
           NULL::DOUBLE AS u, 'tone' AS kind, 'played' AS name, NULL AS bound
    FROM tones
),
made AS (
    SELECT unit_key, output, frequency_hz, value AS level_db, uncertainty AS u, 'product' AS kind,
           coalesce(detail ->> '$.product', '') AS name, bound
    FROM newest
    WHERE metric = 'intermodulation_product'
)
SELECT
    unit_key, label, output, frequency_hz, level_db,
    CASE WHEN bound IS NULL THEN level_db - 2 * u END AS low_db,
    CASE WHEN bound IS NULL THEN level_db + 2 * u END AS high_db, kind, name, bound
FROM (FROM played UNION ALL FROM made)
JOIN (SELECT unit_key, label FROM peer) USING (unit_key)
ORDER BY unit_key, output, frequency_hz, name
