-- title: Noise over time
-- question: Is a unit's residual noise even in time, or does it come in bursts, crackle and popcorn?
--   Blocks of the record, each overlapping the next by half; 20 Hz to 20 kHz without hum; newest
--   review; without a unit, the one reviewed last.
-- conditions: input terminated; hum left out; level re the mean of the record; newest review
-- grain: output, x; one row per output and block of time
-- metric: noise_a
-- parameter unit: unit = ''; unit; where empty, the one reviewed last
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column series: -; Record
-- column output: -; Output
-- column x: s; Time
-- column y: dB; Noise re the record's mean
-- chart: overlaid; across = time
WITH found AS (
    SELECT curve.*, reviewed
    FROM curve
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN review USING (review_key)
    WHERE curve = 'noise_over_time' AND $unit IN ('', unit_key)
),
newest AS (
    SELECT * FROM found
    QUALIFY dense_rank() OVER (ORDER BY reviewed DESC, review_key DESC, unit_key) = 1
        AND row_number() OVER (PARTITION BY review_key, unit_key, output ORDER BY analysis_key) = 1
)
SELECT unit_key, label, 'noise' AS series, output, unnest(newest.x) AS x, unnest(newest.y) AS y
FROM newest
JOIN (SELECT unit_key, label FROM peer) AS known USING (unit_key)
ORDER BY output, x
