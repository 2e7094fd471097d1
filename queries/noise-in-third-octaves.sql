-- title: Noise density in third octaves
-- question: How is a unit's residual noise spread over frequency, for bands of one third of an
--   octave? Mean power density of each band without its lines (what stands more than seven times
--   over the median of the five bands about it); newest review; without a unit, the one reviewed
--   last.
-- conditions: input terminated; mean power density of third octaves, lines left out; newest review
-- grain: output, x; one row per output and band
-- metric: noise_a
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Record
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dBV/√Hz; Noise density
-- chart: overlaid; across = frequency
WITH found AS (
    SELECT curve.*, reviewed
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    WHERE curve = 'idle_spectrum' AND y_unit = 'dBV/√Hz' AND $unit IN ('', unit_key)
),
newest AS (
    SELECT * FROM found
    QUALIFY dense_rank() OVER (ORDER BY reviewed DESC, review_key DESC, unit_key) = 1
        AND row_number() OVER (PARTITION BY review_key, unit_key, output ORDER BY analysis_key) = 1
),
points AS (
    SELECT unit_key, output, unnest(x) AS hertz, pow(10, unnest(y) / 10) AS density FROM newest
),
banded AS (
    SELECT *, round(10 * log10(hertz / 1000)) AS band,
           median(density) OVER (
               PARTITION BY unit_key, output ORDER BY band RANGE BETWEEN 2 PRECEDING AND 2 FOLLOWING
           ) AS middle
    FROM points
    WHERE hertz BETWEEN 17.8 AND 22387
)
SELECT unit_key, label, 'noise' AS series, output, 1000 * pow(10, band / 10) AS x,
       10 * log10(avg(density) FILTER (density <= 7 * middle)) AS y
FROM banded
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
GROUP BY unit_key, label, output, band
ORDER BY output, x
