-- title: Channel separation over frequency
-- question: How does the separation of a unit's outputs change with frequency? From tones or sweeps
--   with one output driven, from bands of a test record or tape, or from a tuner's table or
--   captures.
-- conditions: one output driven; newest review; bounds left out
-- grain: setting, output, x; one row per kind of capture, output and frequency
-- metric: separation
-- parameter unit: unit = ''; unit; where empty, the one with the most frequencies
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column setting: -; Output and kind of capture
-- column output: -; Output
-- column x: Hz; Frequency
-- column y: dB; Channel separation
-- column y_u: dB; Standard uncertainty
-- chart: family; across = frequency
WITH tones AS (
    SELECT review_key, unit_key, output, frequency_hz, value, uncertainty, analysis_key,
           CASE reading.metric WHEN 'separation' THEN 'tones' WHEN 'separation_at' THEN 'sweep'
                               ELSE 'played tones' END
               || coalesce(', input ' || input, '') AS series
    FROM reading
    SEMI JOIN (FROM unit_period WHERE standing) AS standing USING (review_key, unit_key)
    JOIN metric ON metric.metric = reading.metric
        AND metric.method_version = reading.method_version
    WHERE reading.metric IN ('separation', 'separation_at', 'played_separation')
          AND value IS NOT NULL AND bound IS NULL AND frequency_hz > 0
          AND $unit IN ('', reading.unit_key)
),
newest AS (
    SELECT tones.*, count(DISTINCT frequency_hz) OVER (PARTITION BY unit_key) AS frequencies
    FROM tones
    JOIN review USING (review_key)
    QUALIFY reviewed = max(reviewed) OVER (PARTITION BY unit_key)
),
chosen AS (
    SELECT unit_key FROM newest WHERE frequencies >= 2
    ORDER BY frequencies DESC, unit_key LIMIT 1
)
SELECT unit_key, label, output || ', ' || series AS setting, output, frequency_hz AS x, value AS y,
       uncertainty AS y_u
FROM newest
SEMI JOIN chosen USING (unit_key)
JOIN (SELECT unit_key, label FROM peer) AS named USING (unit_key)
QUALIFY row_number() OVER (
    PARTITION BY series, output, frequency_hz ORDER BY review_key DESC, value, analysis_key
) = 1
ORDER BY setting, output, x
