-- title: Distortion against frequency
-- question: How does the distortion of a unit change with frequency, at each level that was held
--   over several frequencies? Second and third harmonic together, so that the recording's
--   bandwidth makes no difference; the three levels with the most frequencies.
-- conditions: harmonics 2 and 3; one level of the generator for each curve, named by the median
--   power; newest review
-- grain: series, output, x; one row per level, output and frequency
-- metric: harmonic
-- parameter unit: unit = ''; unit; where empty, the one reviewed last that has such a curve
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Level
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: %; Distortion by harmonics 2 and 3
-- column y_u: %; Standard uncertainty
-- chart: overlaid; across = frequency; scale = log
WITH pairs AS (
    SELECT reading.review_key, reading.unit_key, reading.output, reading.analysis_key,
           frequency_hz, generator_vrms, load_ohm, input, volume, driven,
           any_value(power_w) AS power_w,
           100 * sqrt(sum(10 ** (value / 10))) AS percent,
           100 * sqrt(sum((10 ** (value / 10) * uncertainty * ln(10) / 20) ** 2))
               / sqrt(sum(10 ** (value / 10))) AS u
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric = 'harmonic' AND order_n IN (2, 3) AND stimulus = 'tone'
          AND value IS NOT NULL AND bound IS NULL AND generator_vrms > 0
          AND $unit IN ('', reading.unit_key)
    GROUP BY ALL
    HAVING count(DISTINCT order_n) = 2 AND count(*) = 2
),
held AS (
    -- One name for both outputs, whose powers differ by their gains.
    SELECT *, count(DISTINCT frequency_hz) OVER levels AS frequencies,
           median(power_w) OVER settings AS power
    FROM pairs
    WINDOW settings AS (
        PARTITION BY review_key, unit_key, generator_vrms, load_ohm, input, volume
    ), levels AS (
        PARTITION BY review_key, unit_key, output, generator_vrms, load_ohm, input, volume, driven
    )
),
newest AS (
    SELECT unit_key, review_key
    FROM held
    JOIN review USING (review_key)
    WHERE frequencies >= 3
    ORDER BY reviewed DESC, review_key DESC, unit_key
    LIMIT 1
),
named AS (
    SELECT held.*, coalesce(printf('%.2g W', power), printf('%.2g V in', generator_vrms)) AS series
    FROM held
    SEMI JOIN newest USING (unit_key, review_key)
    WHERE frequencies >= 3
),
most AS (
    SELECT series FROM named GROUP BY ALL
    ORDER BY max(frequencies) DESC, count(*) DESC, series LIMIT 3
)
SELECT unit_key, label, series, output, frequency_hz AS x, percent AS y, u AS y_u
FROM named
SEMI JOIN most USING (series)
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
QUALIFY row_number() OVER (
    PARTITION BY series, output, frequency_hz ORDER BY driven IS NOT NULL, analysis_key
) = 1
ORDER BY series, output, x
