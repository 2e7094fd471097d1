-- title: Damping factor by technology
-- question: How does the damping factor at 1 kHz differ between technologies? Amplifiers and
--   receivers only. The output with the lower factor counts, from the newest review; the reading
--   states the load that it refers to.
-- conditions: 1 kHz; loudspeaker outputs; output with the lower value; newest review of each unit
-- grain: unit_key; one row per unit
-- metric: damping_factor
-- parameter unit: unit = ''; unit to mark
-- column unit_key: -; Unit
-- column label: -; Maker and model
-- column technology: -; Technology
-- column value: -; Damping factor at 1 kHz
-- column low: -; Lower limit (k = 2)
-- column high: -; Upper limit (k = 2)
-- column bound: -; Bound
-- column marked: -; Marked unit
-- chart: strip; scale = log
SELECT
    unit_key, label, technology, value, low, high, bound, unit_key = $unit AS marked
FROM worse
JOIN peer USING (unit_key)
WHERE point_key = 'impedance-1khz' AND metric = 'damping_factor'
  AND kind_group = 'amplifiers'
ORDER BY technology, value, unit_key
