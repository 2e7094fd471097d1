-- title: Frequency response before and after work
-- question: What did service, restoration or modification change in a unit's response? As
--   received and in its newest later state, third-octave means, with the difference beneath.
-- conditions: 20 Hz to 20 kHz, means over third octaves, dB re 1 kHz; band: uncertainty (k = 2)
-- grain: series, output, x; one row per review, output and frequency
-- metric: response_spread
-- parameter unit: unit = ''; unit; where empty, the one whose work was reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Review
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dB; Response re 1 kHz
-- column y_u: dB; Standard uncertainty
-- chart: overlaid; across = frequency
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
),
points AS (
    SELECT
        unit_key, label, place, strftime(reviewed, '%Y-%m-%d') || ', ' || state AS series, output,
        unnest(x) AS hertz, unnest(y) AS level,
        unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM response_curve
    JOIN reviews USING (unit_key, review_key)
    JOIN review USING (review_key)
    JOIN appearance USING (unit_key, review_key)
    QUALIFY row_number() OVER (
        PARTITION BY review_key, output ORDER BY is_usual DESC, analysis_key
    ) = 1
)
SELECT
    unit_key, label, series, output, 1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x,
    avg(level) AS y, avg(u) AS y_u
FROM points
WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY unit_key, label, place, series, output, round(10 * log10(hertz / 1000))
ORDER BY place, series, output, x
