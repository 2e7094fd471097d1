-- title: The bench over time
-- question: Has the measuring chain drifted? Loop-back gain, residual and noise of each review,
--   the full-scale voltage of each calibration, and what was done to the bench.
-- conditions: loop-back captures of each review; limits from the median moving range
-- grain: bench_key, series, reviewed; one row per bench, series and day
-- needed: bench_key, series, reviewed, value, event, u
-- column bench_key: -; Bench
-- column series: -; Series
-- column reviewed: -; Date
-- column value: {unit}; Value
-- column u: {unit}; Standard uncertainty
-- column unit: -; Unit of measure
-- column event: -; What was done
-- chart: control
WITH loop_back AS (
    SELECT bench_key, reviewed, output, metric, value, uncertainty, generator_vrms, reading_key
    FROM reading
    JOIN review USING (review_key)
    WHERE unit_key = '' AND value IS NOT NULL AND metric IN ('level', 'thd_n', 'noise_a')
      AND (frequency_hz BETWEEN 990 AND 1010 OR metric = 'noise_a')
),
series AS (
    SELECT bench_key, 'loop-back gain at 1 kHz, ' || output AS series, reviewed,
           20 * log10(value / generator_vrms) AS value,
           20 / ln(10) * uncertainty / value AS u, 'dB' AS unit, reading_key AS tie
    FROM loop_back
    WHERE metric = 'level' AND value > 0 AND generator_vrms > 0
    UNION ALL
    SELECT bench_key, 'loop-back THD+N at 1 kHz, ' || output, reviewed, value, uncertainty, '%',
           reading_key
    FROM loop_back
    WHERE metric = 'thd_n'
    UNION ALL
    SELECT bench_key, 'loop-back noise, A-weighted, ' || output, reviewed, value * 1e6,
           uncertainty * 1e6, 'µV', reading_key
    FROM loop_back
    WHERE metric = 'noise_a'
    UNION ALL
    SELECT bench_key,
           'calibration, track ' || track || coalesce(', range ' || input_range, ''), since,
           volts_peak_at_full_scale, volts_peak_at_full_scale * uncertainty_percent / 100, 'V', ''
    FROM calibration
)
SELECT bench_key, series, reviewed, value, u, unit, NULL AS event
FROM series
QUALIFY row_number() OVER (PARTITION BY bench_key, series, reviewed ORDER BY tie) = 1
UNION ALL
SELECT bench_key, 'event', day, NULL, NULL, '', string_agg(what, '; ' ORDER BY what)
FROM bench_event
GROUP BY bench_key, day
ORDER BY bench_key, series, reviewed
