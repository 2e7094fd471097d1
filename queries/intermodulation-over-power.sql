-- title: Intermodulation against power
-- question: How do both kinds of two-tone distortion of a unit change with power? Difference
--   frequency of two equal high tones, and modulation of a high tone by a low one.
-- conditions: power of a sine of equal peak; newest review
-- grain: series, output, x; one row per kind of test, output and power
-- metric: difference_frequency_total, modulation_distortion_rms
-- parameter unit: unit = ''; unit; where empty, the one reviewed last that has two such powers
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Test
-- column output: -; Output
-- column x: W; Power of a sine of equal peak
-- column y: %; Distortion
-- column y_u: %; Standard uncertainty
-- chart: overlaid; across = power; scale = log
WITH found AS (
    SELECT reading.review_key, reading.unit_key, reading.output, reading.analysis_key,
           CASE reading.metric WHEN 'difference_frequency_total' THEN 'difference frequency'
                               ELSE 'modulation' END AS series,
           power.value AS power, reading.value, reading.uncertainty
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    JOIN reading AS power
      ON power.metric = 'equivalent_sine_power' AND power.analysis_key = reading.analysis_key
         AND power.review_key = reading.review_key
         AND power.unit_key = reading.unit_key AND power.output = reading.output
    WHERE reading.metric IN ('difference_frequency_total', 'modulation_distortion_rms')
          AND reading.value > 0 AND reading.bound IS NULL AND power.value > 0
          AND $unit IN ('', reading.unit_key)
),
newest AS (
    SELECT unit_key, review_key
    FROM found
    JOIN review USING (review_key)
    GROUP BY unit_key, review_key, reviewed, series, output
    HAVING count(*) >= 2
    ORDER BY reviewed DESC, review_key DESC, unit_key
    LIMIT 1
)
SELECT unit_key, label, series, output, power AS x, value AS y, uncertainty AS y_u
FROM found
SEMI JOIN newest USING (unit_key, review_key)
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
QUALIFY row_number() OVER (PARTITION BY series, output, power ORDER BY analysis_key) = 1
ORDER BY series, output, x
