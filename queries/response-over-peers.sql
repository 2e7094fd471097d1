-- title: Frequency response among peers
-- question: How flat is a unit's response from 20 Hz to 20 kHz, and what is usual for its
--   technology and kind? Third-octave means, dB re 1 kHz; the envelope reaches from the 10th to
--   the 90th percentile of the peers' outputs.
-- conditions: 20 Hz to 20 kHz, means over third octaves; newest review
-- grain: unit_key, output, frequency_hz; one row per unit, output and frequency
-- metric: response_spread
-- parameter unit: unit = ''; unit to draw; where empty, every unit of the technology
-- parameter technology: technology = ''; technology of the curves where no unit is marked; where
--   empty, the most common one
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column output: -; Output
-- column frequency_hz: Hz; Frequency
-- column level_db: dB; Response re 1 kHz
-- column low_db: dB; 10th percentile of the peers
-- column high_db: dB; 90th percentile of the peers
-- column peers: -; Outputs in the envelope
-- column level_u: dB; Standard uncertainty
-- column mask_db: dB; Specified spread
-- column mask_low_hz: Hz; Specified from
-- column mask_high_hz: Hz; Specified to
-- chart: response
WITH everyone AS MATERIALIZED (SELECT unit_key, label, technology, kind_group FROM peer),
chosen AS MATERIALIZED (
    SELECT unit_key, label, technology
    FROM everyone
    WHERE CASE WHEN $unit = ''
               THEN technology = coalesce(
                   nullif($technology, ''),
                   (SELECT technology FROM everyone
                    GROUP BY ALL ORDER BY count(*) DESC, technology LIMIT 1)
               )
               ELSE (technology, kind_group) IN (
                   SELECT (technology, kind_group) FROM everyone WHERE unit_key = $unit
               ) END
),
spread AS (
    SELECT DISTINCT review_key, analysis_key, unit_key, output
    FROM reading
    WHERE metric = 'response_spread'
),
newest AS (
    -- which curves, first: their arrays are read of these alone. Not one with tone controls
    -- turned or through a phono input, where another stands for the unit
    SELECT review_key, analysis_key, unit_key, output, curve,
           row_number() OVER (ORDER BY unit_key, output) AS place
    FROM response_curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN chosen USING (unit_key)
    JOIN review USING (review_key)
    LEFT JOIN (SELECT *, true AS told FROM spread) AS spread
        USING (review_key, analysis_key, unit_key, output)
    WHERE is_usual OR told IS NULL
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output ORDER BY reviewed DESC, review_key DESC, analysis_key
    ) = 1
),
points AS (
    SELECT place, unnest(x) AS hertz, unnest(y) AS level,
           unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM newest
    JOIN curve USING (review_key, analysis_key, unit_key, output, curve)
),
banded AS (
    SELECT place, round(10 * log10(hertz / 1000))::INTEGER AS band, avg(level) AS level_db,
           avg(u) AS level_u
    FROM points
    WHERE hertz BETWEEN 17.8 AND 22387
    GROUP BY ALL
),
outputs AS (SELECT count(*) AS n FROM newest),
envelope AS (
    SELECT band, count(*) AS peers,
           if(count(*) >= 0.8 * n, quantile_cont(level_db, 0.1), NULL) AS low_db,
           if(count(*) >= 0.8 * n, quantile_cont(level_db, 0.9), NULL) AS high_db
    FROM banded, outputs
    GROUP BY band, n
),
promised AS (
    SELECT unit_key, limit_value AS mask_db, band_low_hz AS mask_low_hz,
           band_high_hz AS mask_high_hz
    FROM published
    JOIN review USING (review_key)
    WHERE metric = 'response_spread' AND side = 'at most'
    QUALIFY row_number() OVER (
        PARTITION BY unit_key ORDER BY reviewed DESC, review_key DESC, position
    ) = 1
)
SELECT
    unit_key, label, technology, output, 1000 * pow(10, band / 10) AS frequency_hz, level_db,
    low_db, high_db, peers, level_u, mask_db, mask_low_hz, mask_high_hz
FROM banded
JOIN newest USING (place)
JOIN envelope USING (band)
JOIN chosen USING (unit_key)
LEFT JOIN promised USING (unit_key)
WHERE $unit = '' OR unit_key = $unit
ORDER BY unit_key, output, frequency_hz
