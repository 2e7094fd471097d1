-- title: Response of the left and the right output
-- question: Where do the two outputs of a unit differ? Third-octave means of its newest review,
--   with right minus left beneath.
-- conditions: 20 Hz to 20 kHz, means over third octaves, dB re 1 kHz; newest review; band:
--   uncertainty (k = 2)
-- grain: series, x; one row per output and frequency
-- metric: response_spread
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Output
-- column output: -; Compared within
-- column x: Hz; Frequency
-- column y: dB; Response re 1 kHz
-- column y_u: dB; Standard uncertainty
-- chart: overlaid; across = frequency
WITH newest AS (
    SELECT response_curve.*, label, review.reviewed
    FROM response_curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN peer USING (unit_key)
    JOIN review USING (review_key)
    WHERE output IN ('left', 'right') AND ($unit = '' OR unit_key = $unit)
    QUALIFY row_number() OVER (
        PARTITION BY unit_key, output
        ORDER BY review.reviewed DESC, review_key DESC, is_usual DESC, analysis_key
    ) = 1
),
chosen AS (
    SELECT unit_key, review_key
    FROM newest
    GROUP BY unit_key, review_key
    HAVING count(*) = 2
    ORDER BY max(reviewed) DESC, unit_key
    LIMIT 1
),
points AS (
    SELECT unit_key, label, output, unnest(x) AS hertz, unnest(y) AS level,
           unnest(coalesce(uncertainty, list_transform(x, lambda f: NULL::DOUBLE))) AS u
    FROM newest
    SEMI JOIN chosen USING (unit_key, review_key)
)
SELECT
    unit_key, label, output AS series, NULL AS output,
    1000 * pow(10, round(10 * log10(hertz / 1000)) / 10) AS x, avg(level) AS y, avg(u) AS y_u
FROM points
WHERE hertz BETWEEN 17.8 AND 22387
GROUP BY unit_key, label, series, round(10 * log10(hertz / 1000))
ORDER BY series, x
