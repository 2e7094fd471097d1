-- title: Upper −3 dB frequency by technology
-- question: At which frequency above 1 kHz has the response fallen by 3 dB? The output with the
--   lower frequency counts; the value is a lower bound where it lies above the measured range. Units of
--   the marked unit's kind, amplifiers and receivers being one kind; amplifiers by default.
-- conditions: −3 dB re 1 kHz; output with the lower frequency; newest review of each unit
-- grain: unit_key; one row per unit
-- metric: response_high_3db
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: kHz; Upper −3 dB frequency
-- column low: kHz; Lower limit (k = 2)
-- column high: kHz; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: strip; scale = log
SELECT
    unit_key, label, technology, value / 1000 AS value, low / 1000 AS low, high / 1000 AS high,
    bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'response' AND metric = 'response_high_3db'
  AND kind_group = coalesce((SELECT kind_group FROM peer WHERE unit_key = $unit), 'amplifiers')
ORDER BY technology, value, unit_key
