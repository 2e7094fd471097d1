-- title: Frequency responses of several units
-- question: How do the responses of two to four units compare? Third-octave means; of two units
--   the difference beneath.
-- conditions: 20 Hz to 20 kHz, means over third octaves, dB re 1 kHz; newest review of each unit
-- grain: series, output, x; one row per unit, output and frequency
-- metric: response_spread
-- parameter first: unit = ''; first unit; where empty, the two that were reviewed last
-- parameter second: unit = ''; second unit
-- parameter third: unit = ''; third unit
-- parameter fourth: unit = ''; fourth unit
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Curve
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dB; Response re 1 kHz
-- column y_u: dB; Standard uncertainty
-- chart: overlaid; across = frequency
WITH measured AS (
    -- which curves, first: their arrays are read of those that are drawn alone
    SELECT review_key, analysis_key, unit_key, output, curve, label, reviewed
    FROM response_curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN (SELECT unit_key, label FROM peer) AS named USING (unit_key)
    JOIN review USING (review_key)
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output
        ORDER BY reviewed DESC, review_key DESC, is_usual DESC, analysis_key
    ) = 1
),
newest AS (
    SELECT unit_key FROM measured GROUP BY ALL ORDER BY max(reviewed) DESC, unit_key LIMIT 2
),
chosen AS (
    SELECT unnest([$first, $second, $third, $fourth]) AS unit_key, unnest([1, 2, 3, 4]) AS place
    UNION ALL
    SELECT unit_key, row_number() OVER (ORDER BY unit_key) FROM newest
    WHERE $first || $second || $third || $fourth = ''
),
points AS (
    SELECT
        unit_key, label, place, output, unnest(x) AS hertz, unnest(y) AS level,
        unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM measured
    JOIN chosen USING (unit_key)
    JOIN curve USING (review_key, analysis_key, unit_key, output, curve)
)
SELECT
    unit_key, label, label AS series, output,
    1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x, avg(level) AS y, avg(u) AS y_u
FROM points
WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY unit_key, label, place, output, round(10 * log10(hertz / 1000))
ORDER BY place, series, output, x
