-- title: Damping factor over the decades
-- question: Has the damping factor risen with the year of manufacture, overall and within each
--   technology? Amplifiers and receivers only.
-- conditions: 1 kHz; loudspeaker outputs; output with the lower value; bars: k = 2
-- grain: unit_key; one row per unit
-- metric: damping_factor
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column x: -; Year of manufacture
-- column y: -; Damping factor at 1 kHz
-- column y_low: -; Lower limit (k = 2)
-- column y_high: -; Upper limit (k = 2)
-- column decade: -; Decade
-- column marked: -; Marked unit
-- chart: trend; scale = log
SELECT
    unit_key, label, technology, made_year AS x, value AS y, low AS y_low, high AS y_high, decade,
    unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'impedance-1khz' AND metric = 'damping_factor' AND made_year IS NOT NULL
  AND kind_group = 'amplifiers'
  AND value > 0
ORDER BY x, unit_key
